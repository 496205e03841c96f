package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"headstack/job"
	"headstack/report"
	"headstack/signature"
	"headstack/unit"
)

// printExplained writes what a person needs, most probable first: findings, what stays
// open, what was not used, and a line for each track.
func printExplained(w io.Writer, x job.Explained) {
	l := report.LossesOf(x, "")
	switch {
	case l.Compared && l.Between != "":
		fmt.Fprintf(w, "What %s changed, from %s\n", l.Between, l.Of)
	case l.Compared:
		fmt.Fprintf(w, "What changed from %s\n", l.Of)
	default:
		fmt.Fprintf(w, "What the losses on %s say\n", l.Of)
	}
	if l.Unexplained != "" {
		fmt.Fprintf(w, "  nothing: %s\n", l.Unexplained)
		return
	}
	if l.Sound && !l.Compared {
		fmt.Fprintln(w, "Sound: no loss beyond what sound machines show.")
	}
	said := cautioned{}
	for i, f := range l.Findings {
		printFinding(w, i+1, f, said)
	}
	if len(l.Open) > 0 {
		fmt.Fprintln(w, "\nNot told apart by these tones")
		for _, o := range l.Open {
			fmt.Fprintf(w, "  ○ %s\n", o.Sentence)
			printTest(w, o.WouldTell, o.Cautions, said)
		}
	}
	if len(l.SetAside) > 0 {
		fmt.Fprintln(w, "\nSet aside, not used")
		for _, s := range l.SetAside {
			fmt.Fprintf(w, "  ✕ %s\n", s)
		}
	}
	printTrackLosses(w, x.Explanation)
	for _, d := range l.Warnings {
		fmt.Fprintln(w, "doubt:", d)
	}
}

// cautioned holds the cautions already printed in full: a page of repeats is not read.
type cautioned map[string]bool

func printFinding(w io.Writer, n int, f report.LossFinding, said cautioned) {
	head := fmt.Sprintf("%d. %s, %s: %s", n, f.Chance, f.Likely, f.Cause)
	if f.Tracks != "" {
		head += ", " + f.Tracks
	}
	if f.Nature != "" {
		head += " (" + f.Mark + " " + f.Nature + ")"
	}
	fmt.Fprintf(w, "\n%s\n   %s\n", head, f.Sentence)
	for _, s := range f.Figures {
		fmt.Fprintf(w, "   %s\n", s)
	}
	printTest(w, f.WouldTell, f.Cautions, said)
}

func printTest(w io.Writer, test string, cautions []string, said cautioned) {
	if test == "" {
		return
	}
	fmt.Fprintf(w, "   what would tell: %s\n", test)
	again := 0
	for _, c := range cautions {
		if said[c] {
			again++
			continue
		}
		said[c] = true
		fmt.Fprintf(w, "   caution: %s\n", c)
	}
	if again > 0 {
		fmt.Fprintln(w, "   caution: as above")
	}
}

// printTrackLosses is one line a track: what each cause takes where it takes most, and
// what the fit leaves.
func printTrackLosses(w io.Writer, x signature.Explanation) {
	if len(x.Curves) == 0 {
		return
	}
	fmt.Fprintf(w, "\nEach track; 0 dB is %s\n", x.Reference)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "track\ttones\tlowest ±95 %\tcauses, where they take most\tleft over, r.m.s.")
	for _, c := range x.Curves {
		rms, n := remainder(c)
		fmt.Fprintf(tw, "%d\t%d\t%s\t%s\t%s\n", c.Track, n, lowest(c), takes(c), leftOver(rms, n))
	}
	tw.Flush()
}

func lowest(c signature.Curve) string {
	at := -1
	for i, p := range c.Points {
		if !p.SetAside && (at < 0 || p.MeasuredDB < c.Points[at].MeasuredDB) {
			at = i
		}
	}
	if at < 0 {
		return "not measured"
	}
	p := c.Points[at]
	f := unit.Figure{Value: p.MeasuredDB, Lo: p.Lo, Hi: p.Hi, Unit: "dB", Difference: true}
	return fmt.Sprintf("%s at %s", f, unit.Frequency(unit.Hertz(p.Hz)))
}

// takes names each cause with the level it makes where that is farthest from 0.
func takes(c signature.Curve) string {
	var out []string
	for _, k := range c.Contributions {
		at := -1
		for i := range k.DB {
			if i < len(c.Points) && (at < 0 || math.Abs(k.DB[i]) > math.Abs(k.DB[at])) {
				at = i
			}
		}
		if at >= 0 {
			out = append(out, fmt.Sprintf("%s %s dB at %s", k.Cause.Words(), unit.Signed(k.DB[at], 1), unit.Frequency(unit.Hertz(c.Points[at].Hz))))
		}
	}
	if len(out) == 0 {
		return "–"
	}
	return strings.Join(out, "; ")
}

func leftOver(rms float64, n int) string {
	if n == 0 {
		return "–"
	}
	return fmt.Sprintf("%.2f dB", rms)
}

// remainder is what a fit leaves on a track: r.m.s. of measured less fitted, in dB, over
// the points that were used, and how many those are.
func remainder(c signature.Curve) (rms float64, n int) {
	for _, p := range c.Points {
		if !p.SetAside {
			d := p.MeasuredDB - p.FittedDB
			rms, n = rms+d*d, n+1
		}
	}
	return rootOf(rms, n), n
}

// rootOf is the root of a mean square, 0 of nothing.
func rootOf(sum float64, n int) float64 {
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
