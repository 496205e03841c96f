package plot

import (
	"cmp"
	"slices"
	"strconv"

	"headstack/measure"
	"headstack/unit"
)

// responseTable has tracks as rows and tones as columns, as every table of the bench.
func responseTable(measures []measure.Result, field mask, opt Options) Table {
	t := Table{Caption: opt.Title + ", dB; 0 dB is each track's own level at the reference tone; intervals are 95 %", Head: []string{"track"}}
	var of []measure.Result
	for _, r := range measures {
		if r.Name == "response" {
			of = append(of, r)
		}
	}
	tracks, columns := []int{}, []toneOf{}
	for _, r := range of {
		if !slices.Contains(tracks, r.Track) {
			tracks = append(tracks, r.Track)
		}
		if !slices.ContainsFunc(columns, func(c toneOf) bool { return c.holds(r) }) {
			columns = append(columns, toneOf{r.ToneHz, r.Section})
		}
	}
	slices.Sort(tracks)
	slices.SortStableFunc(columns, func(a, b toneOf) int { return cmp.Compare(a.hz, b.hz) })
	for i, c := range columns {
		name := unit.Frequency(unit.Hertz(c.hz))
		if i > 0 && cmp.Compare(columns[i-1].hz, c.hz) == 0 || i+1 < len(columns) && cmp.Compare(columns[i+1].hz, c.hz) == 0 {
			name += ", " + cmp.Or(c.section, "all sections")
		}
		t.Head = append(t.Head, name)
	}
	for _, tr := range tracks {
		row := []string{strconv.Itoa(tr)}
		for _, c := range columns {
			row = append(row, responseCell(of, field, tr, c))
		}
		t.Rows = append(t.Rows, row)
	}
	if len(field) > 0 {
		t.Notes = append(t.Notes, "Tolerance field: "+field.words()+". Source: "+field.sources()+".")
	}
	t.Notes = append(t.Notes, warningsOf(of)...)
	return t
}

// toneOf is a column: a tone of a section.
type toneOf struct {
	hz      float64
	section string
}

func (c toneOf) holds(r measure.Result) bool {
	return cmp.Compare(c.hz, r.ToneHz) == 0 && c.section == r.Section
}

// responseCell is the first figure of a track in a column.
func responseCell(of []measure.Result, field mask, track int, c toneOf) string {
	for _, r := range of {
		if r.Track != track || !c.holds(r) {
			continue
		}
		s := r.Figure().String()
		if by := field.outside(c.hz, r.Value); by != 0 && r.Refused == "" {
			b := breach{track, r, by}
			s += ", outside by " + b.amount()
			if field.unsure(b) {
				s += ", within its interval"
			}
		}
		return s
	}
	return none
}

// warningsOf lists each warning once, with the places it belongs to.
func warningsOf(of []measure.Result) []string {
	var texts []string
	places := map[string]string{}
	for _, r := range of {
		for _, w := range r.Warnings {
			if !slices.Contains(texts, w) {
				texts = append(texts, w)
			} else {
				places[w] += ", "
			}
			places[w] += placeOf(r)
		}
	}
	var out []string
	for _, w := range texts {
		out = append(out, places[w]+": "+w)
	}
	return out
}

// placeOf says where a figure belongs: "track 3 at 1 kHz".
func placeOf(r measure.Result) string {
	s := "all tracks"
	switch {
	case r.TrackB != 0:
		s = "tracks " + strconv.Itoa(r.Track) + " and " + strconv.Itoa(r.TrackB)
	case r.Track != 0:
		s = "track " + strconv.Itoa(r.Track)
	}
	if r.ToneHz != 0 {
		s += " at " + unit.Frequency(unit.Hertz(r.ToneHz))
	}
	return s
}
