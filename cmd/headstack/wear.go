package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"headstack/job"
	"headstack/plot"
	"headstack/report"
)

type wearVerb struct {
	benchFlag
	Draw string `placeholder:"DIR" help:"Also write the plots as PNG and SVG and their tables into a folder."`
	JSON bool   `help:"One JSON object on standard output."`
	Job  string `arg:"" help:"A job of the machine; all jobs of the same definition and serial number are compared."`
}

func (wearVerb) Help() string {
	return `Example: headstack wear job-0005

The treble loss of each track of a test tape, taken as gap and taken as spacing, against the
date: captures as left after each job are compared with each other, and those as found with
each other. One capture hardly parts gap from spacing; the course over jobs can, for dirt is
cleaned away and a gap only grows.

Exit code 3 when a track wears, 4 when there is no trend yet: it wants three dates.`
}

func (v *wearVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		w, err := b.Wear(e.ctx, v.Job)
		if err != nil {
			return err
		}
		return v.say(e, w)
	})
}

// say prints and draws; its error carries what the trends mean for the exit code.
func (v *wearVerb) say(e *env, w job.Wear) error {
	if v.JSON {
		if err := printJSON(e.out, w); err != nil {
			return err
		}
	} else {
		printWear(e.out, report.WearOf(w, ""))
	}
	if v.Draw != "" && len(w.Series) > 0 {
		if err := os.MkdirAll(v.Draw, 0o777); err != nil {
			return err
		}
		if err := drawAll(e, v.Draw, report.WearPlots(w)); err != nil {
			return err
		}
	}
	return wearing(w)
}

// wearing is nil where trends were worked out and nothing grows.
func wearing(w job.Wear) error {
	if w.Refused != "" {
		return &fault{exitNoJudge, errors.New("no trend: " + w.Refused), "headstack capture keeps and measures the replay of a test tape; open each job of the machine with the same --serial"}
	}
	var grow []string
	trend, why := false, ""
	for _, s := range w.Series {
		for _, t := range s.Tracks {
			trend = trend || t.Spacing.Refused == "" || t.Gap.Refused == ""
			why = t.Spacing.Refused
			if s.When == job.AsLeft && s.Wears(t) {
				grow = append(grow, fmt.Sprintf("track %d", t.Track))
			}
		}
	}
	switch {
	case !trend:
		return &fault{exitNoJudge, errors.New("no trend: " + why), "capture the test tape again at the next job of this machine"}
	case len(grow) > 0:
		return &fault{code: exitNotInOrder, err: fmt.Errorf("treble loss grows as left: %s", strings.Join(grow, ", "))}
	}
	return nil
}

// printWear writes what a person needs, sentences first.
func printWear(w io.Writer, t report.WearText) {
	fmt.Fprintf(w, "Wear of the heads over %s\n", t.Of)
	if t.Refused != "" {
		fmt.Fprintf(w, "  nothing to say: %s\n", t.Refused)
	}
	for _, s := range t.Series {
		fmt.Fprintf(w, "\n%s: %s\n", s.Title, s.About)
		for _, line := range s.Sentences {
			fmt.Fprintf(w, "  ▲ %s\n", line)
		}
		if s.Steady != "" {
			fmt.Fprintf(w, "  ■ %s\n", s.Steady)
		}
		fmt.Fprintln(w)
		printWearTable(w, s)
		printDated(w, s.Picture.Table)
	}
	for _, d := range t.Warnings {
		fmt.Fprintln(w, "doubt:", d)
	}
}

func printWearTable(w io.Writer, s report.WearSeriesText) {
	fmt.Fprintf(w, "%s, %s; intervals are 95 %%\n", s.Table.Title, s.Table.Unit)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, s.Table.RowHead+"\t"+strings.Join(s.Table.Columns, "\t"))
	for _, r := range s.Table.Rows {
		cells := []string{r.Label}
		for _, c := range r.Cells {
			cells = append(cells, c.Text)
		}
		fmt.Fprintln(tw, strings.Join(cells, "\t"))
	}
	tw.Flush()
}

// printDated writes the figures of each date; the trend stands above already.
func printDated(w io.Writer, t plot.Table) {
	fmt.Fprintf(w, "\n%s\n", t.Caption)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, row := range append([][]string{t.Head}, t.Rows...) {
		fmt.Fprintln(tw, strings.Join(row[:len(row)-1], "\t"))
	}
	tw.Flush()
	for _, n := range t.Notes {
		fmt.Fprintln(w, n)
	}
}
