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
// tracks as rows and tones as columns, then doubts.
func printReport(w io.Writer, rep measure.Report) {
	for _, s := range rep.Sections {
		if !s.Found {
			fmt.Fprintf(w, "not found: %s. %s\n", s.Name, s.Reason)
		}
	}
	printTable(w, rep, "level", "Level")
	printTable(w, rep, "response", "Response")
	printTable(w, rep, "noise", "Noise")
	printLines(w, rep, "speed_error", "Speed error", func(r measure.Result) bool { return r.Track == 0 })
	printLines(w, rep, "azimuth", "Azimuth", func(measure.Result) bool { return true })
	printLines(w, rep, "azimuth_line", "Azimuth of the head, all pairs together", func(measure.Result) bool { return true })
	for _, d := range doubts(rep) {
		fmt.Fprintln(w, "doubt:", d)
	}
}

// printTable writes one measure, tracks down and sections across.
func printTable(w io.Writer, rep measure.Report, name, title string) {
	rs := named(rep, name, func(measure.Result) bool { return true })
	if len(rs) == 0 {
		return
	}
	var sections []string
	var tracks []int
	for _, r := range rs {
		if !slices.Contains(sections, r.Section) {
			sections = append(sections, r.Section)
		}
		if !slices.Contains(tracks, r.Track) {
			tracks = append(tracks, r.Track)
		}
	}
	slices.Sort(tracks)
	fmt.Fprintf(w, "\n%s, %s ±95 %%; %s\n", title, rs[0].Unit, rs[0].Reference)
	for part := range slices.Chunk(sections, columns) {
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintf(tw, "track\t%s\n", strings.Join(part, "\t"))
		for _, t := range tracks {
			fmt.Fprintf(tw, "%d", t)
			for _, s := range part {
				fmt.Fprint(tw, "\t", cell(rs, t, s))
			}
			fmt.Fprintln(tw)
		}
		tw.Flush()
	}
}

// cell is one figure without its unit, which the heading has; several where a
// track was captured more than once.
func cell(rs []measure.Result, track int, section string) string {
	var out []string
	for _, r := range rs {
		if r.Track != track || r.Section != section {
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

// printLines writes figures one a line.
func printLines(w io.Writer, rep measure.Report, name, title string, keep func(measure.Result) bool) {
	rs := named(rep, name, keep)
	if len(rs) == 0 {
		return
	}
	reference := rs[0].Reference
	if rs[0].TrackB != 0 { // each names its own pair
		reference, _, _ = strings.Cut(reference, ";")
		reference += "; positive: the higher track is later"
	}
	fmt.Fprintf(w, "\n%s; %s\n", title, reference)
	for _, r := range rs {
		who := ""
		if r.TrackB != 0 {
			who = fmt.Sprintf("tracks %d and %d: ", r.Track, r.TrackB)
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

// doubts gathers the warnings, each once with how many figures it concerns.
func doubts(rep measure.Report) []string {
	out := slices.Clone(rep.Warnings)
	type key struct{ name, text string }
	count, order, where := map[key]int{}, []key{}, map[key]string{}
	for _, r := range rep.Measures {
		for _, t := range r.Warnings {
			k := key{r.Name, t}
			if count[k]++; count[k] == 1 {
				order = append(order, k)
				where[k] = place(r)
			}
		}
	}
	for _, k := range order {
		s := fmt.Sprintf("%s, %s: %s", k.name, where[k], k.text)
		if n := count[k]; n > 1 {
			s += fmt.Sprintf(" (and %d more)", n-1)
		}
		out = append(out, s)
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
