package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"headstack/measure"
	"headstack/unit"
)

// columns is how many tones stand side by side on a terminal.
const columns = 5

// printReport writes what was measured: sections, then one table a measure with
// tracks as rows and tones as columns, then doubts. Without all, what would fill
// screens is left to --all and --json: see details.
func printReport(w io.Writer, rep measure.Report, all bool) {
	if none := printMissing(w, rep.Sections); none {
		for _, d := range rep.Warnings {
			fmt.Fprintln(w, "doubt:", d)
		}
		return
	}
	left := []string{}
	for _, h := range headings(rep) {
		rs := named(rep, h.Name, func(measure.Result) bool { return true })
		common := named(rep, h.Name, func(r measure.Result) bool { return r.Track == 0 && r.TrackB == 0 })
		why, none := allRefused(rs)
		switch {
		case details[h.Name] && !all:
			left = append(left, strings.ToLower(h.Title))
		case none:
			fmt.Fprintf(w, "\n%s: not measured: %s\n", h.Title, why)
		case len(common) > 0:
			printLines(w, common, h)
			if all {
				printTable(w, rep, h)
			}
		case matrix[h.Name]:
			printMatrix(w, rs, h)
		case rs[0].TrackB != 0:
			printLines(w, rs, h)
		default:
			printTable(w, rep, h)
		}
	}
	if len(left) > 0 {
		fmt.Fprintf(w, "\nalso measured, see --all: %s\n", strings.Join(left, ", "))
	}
	for _, d := range doubts(rep) {
		fmt.Fprintln(w, "doubt:", d)
	}
}

// printMissing names the sections that were not found, those with one reason together,
// and tells whether that is all of them.
func printMissing(w io.Writer, sections []measure.SectionFound) (none bool) {
	var reasons []string
	names := map[string][]string{}
	none = len(sections) > 0
	for _, s := range sections {
		if s.Found {
			none = false
			continue
		}
		if names[s.Reason] == nil {
			reasons = append(reasons, s.Reason)
		}
		names[s.Reason] = append(names[s.Reason], s.Name)
	}
	for _, why := range reasons {
		what := strings.Join(names[why], ", ")
		if len(names[why]) == len(sections) && len(sections) > 3 {
			what = fmt.Sprintf("none of the %d sections", len(sections))
		}
		fmt.Fprintf(w, "not found: %s. %s\n", what, why)
	}
	return none
}

// details are measures of every pair, line or section, which others sum up.
var details = map[string]bool{"delay": true, "flicker": true, "flicker_coherence": true, "dropouts": true, "hum_line": true, "flutter_line": true, "harmonic_2": true, "drift": true}

// allRefused tells that a measure was given nowhere, and the reason that most have.
func allRefused(rs []measure.Result) (why string, none bool) {
	count := map[string]int{}
	for _, r := range rs {
		if r.Refused == "" {
			return "", false
		}
		if count[r.Refused]++; count[r.Refused] > count[why] {
			why = r.Refused
		}
	}
	return why, true
}

// matrix names the measures from each track into each other.
var matrix = map[string]bool{"crosstalk": true, "overdub_bleed": true, "flicker_coherence": true}

// headings are those of the measures in a report, in the common order, then others.
func headings(rep measure.Report) []measure.Heading {
	var out []measure.Heading
	there := map[string]bool{}
	for _, r := range rep.Measures {
		there[r.Name] = true
	}
	for _, h := range measure.Headings() {
		if there[h.Name] {
			out = append(out, h)
			delete(there, h.Name)
		}
	}
	for _, r := range rep.Measures {
		if there[r.Name] {
			out = append(out, measure.HeadingOf(r.Name))
			delete(there, r.Name)
		}
	}
	return out
}

// column is where figures of one section and tone stand.
type column struct {
	section string
	toneHz  float64
}

// printTable writes one measure, tracks down and sections across; a section of many
// tones has a column for each.
func printTable(w io.Writer, rep measure.Report, h measure.Heading) {
	rs := named(rep, h.Name, func(r measure.Result) bool { return r.Track != 0 })
	if len(rs) == 0 {
		return
	}
	var cols []column
	var tracks []int
	tones := map[string]int{}
	for _, r := range rs {
		if c := (column{r.Section, r.ToneHz}); !slices.Contains(cols, c) {
			cols = append(cols, c)
			tones[r.Section]++
		}
		if !slices.Contains(tracks, r.Track) {
			tracks = append(tracks, r.Track)
		}
	}
	slices.Sort(tracks)
	fmt.Fprintf(w, "\n%s, %s ±95 %%; %s\n", h.Title, unitText(rs[0].Unit), rs[0].Reference)
	for part := range slices.Chunk(cols, columns) {
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprint(tw, "track")
		for _, c := range part {
			head := c.section
			if tones[c.section] > 1 && c.toneHz > 0 {
				head += " " + unit.Frequency(unit.Hertz(c.toneHz))
			}
			fmt.Fprint(tw, "\t", head)
		}
		fmt.Fprintln(tw)
		for _, t := range tracks {
			fmt.Fprintf(tw, "%d", t)
			for _, c := range part {
				fmt.Fprint(tw, "\t", cell(rs, t, c))
			}
			fmt.Fprintln(tw)
		}
		tw.Flush()
	}
}

// unitText names a unit in a heading; a plain number has none.
func unitText(u string) string {
	if u == "" {
		return "number"
	}
	return u
}

// printMatrix writes what goes from the track of a row into that of a column, for
// each tone.
func printMatrix(w io.Writer, rs []measure.Result, h measure.Heading) {
	var tones []float64
	var tracks []int
	for _, r := range rs {
		if !slices.Contains(tones, r.ToneHz) {
			tones = append(tones, r.ToneHz)
		}
		for _, t := range []int{r.Track, r.TrackB} {
			if !slices.Contains(tracks, t) {
				tracks = append(tracks, t)
			}
		}
	}
	slices.Sort(tracks)
	for _, hz := range tones {
		fmt.Fprintf(w, "\n%s at %s, %s ±95 %%; %s\n", h.Title, unit.Frequency(unit.Hertz(hz)), unitText(rs[0].Unit), h.About)
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprint(tw, "from \\ into")
		for _, t := range tracks {
			fmt.Fprintf(tw, "\t%d", t)
		}
		fmt.Fprintln(tw)
		for _, a := range tracks {
			fmt.Fprintf(tw, "%d", a)
			for _, b := range tracks {
				i := slices.IndexFunc(rs, func(r measure.Result) bool { return r.Track == a && r.TrackB == b && r.ToneHz == hz })
				fmt.Fprint(tw, "\t", matrixCell(rs, i))
			}
			fmt.Fprintln(tw)
		}
		tw.Flush()
	}
}

// matrixCell is short: the figure and its interval, or the bound that a refusal names.
func matrixCell(rs []measure.Result, i int) string {
	if i < 0 {
		return ""
	}
	if rs[i].Refused == "" {
		f := rs[i].Figure()
		return strings.TrimSpace(f.Number() + " " + f.Spread())
	}
	if _, bound, ok := strings.Cut(rs[i].Refused, "below "); ok {
		bound, _, _ = strings.Cut(bound, " dB")
		return "below " + bound
	}
	return "not measured"
}

// cell is one figure without its unit, which the heading has; several where a
// track was captured more than once.
func cell(rs []measure.Result, track int, c column) string {
	var out []string
	for _, r := range rs {
		if r.Track != track || r.Section != c.section || r.ToneHz != c.toneHz {
			continue
		}
		if r.Refused != "" {
			reason, _, _ := strings.Cut(r.Refused, ":")
			out = append(out, "not measured: "+reason)
			continue
		}
		f := r.Figure()
		s := strings.TrimSpace(f.Number() + " " + f.Spread())
		if len(r.Warnings) > 0 {
			s += " *"
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

// printLines writes figures one a line; a single one on the line of its title.
func printLines(w io.Writer, rs []measure.Result, h measure.Heading) {
	reference := rs[0].Reference
	if rs[0].TrackB != 0 { // each names its own pair
		reference, _, _ = strings.Cut(reference, ";")
		reference += "; positive: the higher track is later"
	}
	if len(rs) == 1 {
		fmt.Fprintf(w, "\n%s: %s; %s\n", h.Title, rs[0].Figure(), reference)
		return
	}
	fmt.Fprintf(w, "\n%s; %s\n", h.Title, reference)
	for _, r := range rs {
		who := ""
		switch {
		case r.Name == "flutter_line":
			who, _, _ = strings.Cut(strings.TrimPrefix(r.Method, "line at "), ";")
			who += ": "
		case r.TrackB != 0:
			who = fmt.Sprintf("tracks %d and %d: ", r.Track, r.TrackB)
		case r.Section != "":
			who = r.Section + ": "
		}
		fmt.Fprintf(w, "  %s%s\n", who, r.Figure())
	}
}

func named(rep measure.Report, name string, keep func(measure.Result) bool) []measure.Result {
	var out []measure.Result
	for _, r := range rep.Measures {
		if r.Name == name && keep(r) {
			out = append(out, r)
		}
	}
	return out
}

// doubts gathers the warnings, each once with the measures and how many figures it
// concerns.
func doubts(rep measure.Report) []string {
	out := slices.Clone(rep.Warnings)
	type concern struct {
		names []string
		where string
		count int
	}
	var order []string
	found := map[string]*concern{}
	for _, r := range rep.Measures {
		for _, text := range r.Warnings {
			c := found[text]
			if c == nil {
				c = &concern{where: place(r)}
				found[text] = c
				order = append(order, text)
			}
			c.count++
			if name := strings.ToLower(measure.HeadingOf(r.Name).Title); !slices.Contains(c.names, name) {
				c.names = append(c.names, name)
			}
		}
	}
	for _, text := range order {
		c := found[text]
		s := strings.Join(c.names, ", ")
		if c.where != "" {
			s += ", " + c.where
		}
		if c.count > 1 {
			s += fmt.Sprintf(" and %d more", c.count-1)
		}
		out = append(out, s+": "+text)
	}
	return out
}

func place(r measure.Result) string {
	var p []string
	switch {
	case r.TrackB != 0:
		p = append(p, fmt.Sprintf("tracks %d and %d", r.Track, r.TrackB))
	case r.Track != 0:
		p = append(p, fmt.Sprintf("track %d", r.Track))
	}
	if r.ToneHz > 0 {
		p = append(p, unit.Frequency(unit.Hertz(r.ToneHz)))
	}
	return strings.Join(p, " at ")
}
