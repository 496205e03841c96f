package report

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// matrices names the measures that go from each track into each other.
var matrices = map[string]bool{"crosstalk": true, "overdub_bleed": true}

// matricesOf sets out one table a tone: what goes from the track of a row into that of
// a column.
func matricesOf(name string, of []measure.Result) []Table {
	var tones []float64
	var tracks []int
	for _, r := range of {
		if !slices.ContainsFunc(tones, func(hz float64) bool { return cmp.Compare(hz, r.ToneHz) == 0 }) {
			tones = append(tones, r.ToneHz)
		}
		for _, t := range []int{r.Track, r.TrackB} {
			if !slices.Contains(tracks, t) {
				tracks = append(tracks, t)
			}
		}
	}
	slices.Sort(tones)
	slices.Sort(tracks)
	var out []Table
	for _, hz := range tones {
		at := slices.DeleteFunc(slices.Clone(of), func(r measure.Result) bool { return cmp.Compare(r.ToneHz, hz) != 0 })
		out = append(out, matrixOf(name, hz, at, tracks))
	}
	return out
}

func matrixOf(name string, hz float64, of []measure.Result, tracks []int) Table {
	t := titled(name)
	t.Matrix, t.RowHead = true, "from"
	if hz > 0 {
		t.Title += " at " + unit.Frequency(unit.Hertz(hz))
	}
	t.Unit, t.Reference, t.Method = headings(of)
	for _, b := range tracks {
		t.Columns = append(t.Columns, "into "+strconv.Itoa(b))
	}
	for _, a := range tracks {
		row := Row{Label: strconv.Itoa(a)}
		for _, b := range tracks {
			row.Cells = append(row.Cells, t.matrixCell(of, a, b))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (t *Table) matrixCell(of []measure.Result, a, b int) Cell {
	i := slices.IndexFunc(of, func(r measure.Result) bool { return r.Track == a && r.TrackB == b })
	if i < 0 {
		return Cell{Text: map[bool]string{true: "itself", false: "–"}[a == b], Empty: true}
	}
	r, f := of[i], of[i].Figure()
	cell := Cell{Text: f.String(), Refused: r.Refused != ""}
	if !cell.Refused {
		cell.Value, cell.Spread = f.Number(), f.Spread()
	} else if bound, why, ok := boundOf(r.Refused); ok {
		cell.Text = "below " + bound
		cell.Notes = append(cell.Notes, t.note(why))
	} else {
		cell.Text = "not measured"
		cell.Notes = append(cell.Notes, t.note("not measured: "+r.Refused))
	}
	for _, w := range r.Warnings {
		cell.Notes = append(cell.Notes, t.note(w))
	}
	return cell
}

// boundOf takes the level out of a refusal of the form "nothing found: below -87.1 dB
// (95 %), which is the noise": that is a result, and stands in the cell. The rest is the
// same for many cells.
func boundOf(refused string) (bound, rest string, ok bool) {
	before, after, ok := strings.Cut(refused, "below ")
	if !ok {
		return "", "", false
	}
	number, after, ok := strings.Cut(after, " dB")
	v, err := strconv.ParseFloat(strings.Replace(number, unit.Minus, "-", 1), 64)
	if !ok || err != nil {
		return "", "", false
	}
	return unit.Signed(v, 1), "not measured: " + before + "below the level in the cell" + after, true
}
