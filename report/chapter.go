package report

import (
	"cmp"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// Chapter is what belongs together of a report of measures, in reading order: what
// must be known before anything is believed, pictures, tables.
type Chapter struct {
	ID       string   // "speed"
	Title    string   // "Speed, wow and flutter"
	Doubts   []string // that put other figures in question too: swapped tracks, polarity, courses
	Pictures []Picture
	Tables   []Table
	Nothing  []string // measures that were refused everywhere, with the reason
}

// Picture is a drawing with its figures as a table.
type Picture struct {
	Name    string // of [plot.Named]: "speed_spectrum"
	ID      string // begins the ids of its elements
	Title   string
	Of      string // the section that a level against time is of
	Words   string // what it shows, for those who do not see it
	SVG     template.HTML
	Drawing plot.Drawing // the same, to be drawn elsewhere
	Table   plot.Table
	Over    bool // a level against time: long, and one for each section
	Doubled bool // its figures stand in a table of the chapter too
}

// chapter says what stands in a [Chapter].
type chapter struct {
	id, title       string
	names, pictures []string // measures and drawings
}

// chapters in the order of [measure.Headings]; pictures by the names of [plot.ReportOf].
var chapters = []chapter{
	{"identity", "Which track, which way round", []string{"identity", "polarity"}, nil},
	{"level", "Level and response", []string{"level", "response"}, []string{"response"}},
	{"speed", "Speed, wow and flutter", []string{"speed_error", "drift", "wow_flutter_2sigma", "wow_flutter_quasi_peak", "wow_flutter_rms",
		"flutter_unweighted_rms", "wow_rms", "flutter_rms", "flutter_track_rms", "flutter_line"}, []string{"speed", "speed_spectrum", "drift"}},
	{"azimuth", "Azimuth and delay", []string{"azimuth", "azimuth_line", "delay"}, []string{"delay"}},
	{"noise", "Noise and hum", []string{"noise", "noise_a", "noise_468", "noise_floor", "hum", "hum_line"}, nil},
	{"distortion", "Distortion and saturation", []string{"thd", "harmonic_2", "harmonic_3", "mol_3pct", "sol", "intermodulation",
		"intermodulation_2", "noise_reduction_left_on", "treble_follows_level"}, []string{"steps", "staircase"}},
	{"crosstalk", "Crosstalk and erasure", []string{"crosstalk", "overdub_bleed", "erase_depth"}, []string{"crosstalk"}},
	{"steadiness", "Steadiness of the level", []string{"flicker", "flicker_all_band", "flicker_treble", "flicker_coherence", "dropouts"}, nil},
	{"other", "Other measures", nil, nil},
}

// drawnFromMeasures are the pictures whose figures are measures of the same name. The
// others are drawn from courses.
var drawnFromMeasures = map[string]bool{"response": true, "delay": true, "crosstalk": true}

// chapterOf is the place of a measure in chapters; what is not listed comes last.
func chapterOf(name string) int {
	for i, c := range chapters {
		if slices.Contains(c.names, name) {
			return i
		}
	}
	return len(chapters) - 1
}

func chapterOfPicture(name string) int {
	for i, c := range chapters {
		if slices.Contains(c.pictures, name) {
			return i
		}
	}
	if strings.HasPrefix(name, "level-") {
		return chapterOf("flicker")
	}
	return len(chapters) - 1
}

// Chapters sets out a whole report of measures. centres are the places of the tracks
// across the tape; prefix keeps the element ids of several reports on one page apart.
// Chapters without content are left out.
func Chapters(rep measure.Report, centres []unit.Metre, prefix string) []Chapter {
	all := make([]Chapter, len(chapters))
	for i, c := range chapters {
		all[i].ID, all[i].Title = c.id, c.title
	}
	for _, t := range Tables(rep.Measures) {
		c := &all[chapterOf(t.Name)]
		if line, ok := nothingIn(t, rep.Measures); ok {
			c.Nothing = append(c.Nothing, line)
			continue
		}
		c.Tables = append(c.Tables, t)
	}
	for _, p := range pictures(rep, centres, prefix) {
		c := &all[chapterOfPicture(p.Name)]
		p.Doubled = drawnFromMeasures[p.Name] && slices.ContainsFunc(c.Tables, func(t Table) bool { return t.Name == p.Name })
		c.Pictures = append(c.Pictures, p)
	}
	for i := range all {
		all[i].Tables = joinSingles(all[i].Title, all[i].Tables)
	}
	all[0].Doubts = identityDoubts(rep.Measures)
	for _, t := range rep.Traces {
		c := &all[chapterOfTrace(t)]
		for _, w := range t.Warnings {
			add(&c.Doubts, courseName(t)+": "+w)
		}
	}
	return slices.DeleteFunc(all, func(c Chapter) bool { return len(c.Doubts)+len(c.Pictures)+len(c.Tables)+len(c.Nothing) == 0 })
}

// pictures draws what there is. Ids that two pictures would share are told apart: the
// names of two sections can differ in a sign that no id may hold.
func pictures(rep measure.Report, centres []unit.Metre, prefix string) []Picture {
	var out []Picture
	times := map[string]int{}
	sections := levelSections(rep)
	for _, d := range plot.ReportOf(rep, centres, prefix, plot.Options{}) {
		svg, id := string(d.SVG()), prefix+d.Name
		if times[d.Name]++; times[d.Name] > 1 {
			id += "-" + strconv.Itoa(times[d.Name])
			for _, end := range []string{"-t", "-d"} {
				svg = strings.ReplaceAll(svg, prefix+d.Name+end, id+end)
			}
		}
		p := Picture{Name: d.Name, ID: id, Title: d.Title(), Words: d.Describe(), SVG: template.HTML(svg), Drawing: d.Drawing, Table: plot.TableOf(d.Drawing)}
		if p.Over = strings.HasPrefix(d.Name, "level-"); p.Over && len(sections) > 0 {
			p.Of, sections = sections[0], sections[1:]
			p.Title += ", " + p.Of
		}
		out = append(out, p)
	}
	return out
}

// levelSections names the sections whose level was followed, in the order in which
// [plot.ReportOf] draws them: as they come, those of each capture apart.
func levelSections(rep measure.Report) []string {
	type of struct{ section, capture string }
	var seen []of
	var out []string
	for _, t := range rep.Traces {
		if k := (of{t.Section, t.Conditions.Capture}); t.Name == "level_time" && len(t.Points) > 0 && !slices.Contains(seen, k) {
			seen, out = append(seen, k), append(out, t.Section)
		}
	}
	return out
}

// identityDoubts are the warnings and refusals of identity and polarity: they say
// whether the figures of a channel belong to the track that they stand at.
func identityDoubts(measures []measure.Result) []string {
	var out []string
	for _, r := range measures {
		if r.Name != "identity" && r.Name != "polarity" {
			continue
		}
		where := fmt.Sprintf("Track %d: ", r.Track)
		for _, w := range r.Warnings {
			add(&out, where+w)
		}
		if r.Refused != "" {
			add(&out, where+r.Refused)
		}
	}
	return out
}

// chapterOfTrace is where a course belongs: with its picture.
func chapterOfTrace(t measure.Trace) int {
	switch t.Name {
	case "level_steps", "distortion_steps":
		return chapterOfPicture("steps")
	case "level_time":
		return chapterOfPicture("level-")
	}
	return chapterOfPicture(t.Name)
}

// courseName names a course in a sentence: "speed spectrum of 3150 Hz, track 2".
func courseName(t measure.Trace) string {
	s := strings.ReplaceAll(cmp.Or(t.Name, "course"), "_", " ")
	if t.Section != "" {
		s += " of " + t.Section
	}
	switch {
	case t.TrackB != 0:
		s += fmt.Sprintf(", tracks %d and %d", t.Track, t.TrackB)
	case t.Track != 0:
		s += fmt.Sprintf(", track %d", t.Track)
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// add appends what is not there yet.
func add(list *[]string, s string) {
	if s != "" && !slices.Contains(*list, s) {
		*list = append(*list, s)
	}
}
