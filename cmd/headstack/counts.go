package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"

	"headstack/job"
	"headstack/learn"
	"headstack/unit"
)

type countsVerb struct {
	Show   countsShowVerb   `cmd:"" default:"withargs" help:"What was found so far on one type of recorder."`
	Export countsExportVerb `cmd:"" help:"Write this bench's counts for another shop: counts and sums only."`
	Merge  countsMergeVerb  `cmd:"" help:"Take in the counts of another shop."`
}

func (countsVerb) Help() string {
	return `Examples: headstack counts --definition hexastrand
          headstack counts export > counts.json
          headstack counts merge theirs.json

Counts come from closed jobs: headstack closing closes one.`
}

type countsShowVerb struct {
	benchFlag
	Definition string `placeholder:"ID" help:"Definition; without it the one of which most machines were closed."`
	JSON       bool   `help:"One JSON object on standard output."`
}

// foundJSON is the answer of counts --json; scripts depend on it.
type foundJSON struct {
	Definition string          `json:"definition"`
	Machines   int             `json:"machines"` // closed, of this type
	Others     int             `json:"others"`   // of other types
	Priors     string          `json:"priors"`   // what they rest on; empty: on the definition
	Merged     int             `json:"merged"`   // files of other shops
	Counts     *learn.Machines `json:"counts"`
	Changes    []learn.Change  `json:"changes"`
	Rates      learn.Rates     `json:"rates"`
}

func (v *countsShowVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		id := v.Definition
		if id == "" {
			c, err := b.Counts(e.ctx)
			if err != nil {
				return err
			}
			if id = mostClosed(c); id == "" {
				return &fault{exitNoJudge, errors.New("no job is closed yet, and no counts were merged"), "headstack closing JOB closes one; headstack counts --definition ID shows what a definition starts from"}
			}
		}
		f, err := b.Found(e.ctx, id)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, foundJSON{f.Info.ID, f.Lesson.Machines, f.Lesson.Others, f.Lesson.PriorsText(), len(f.Merged),
				f.Counts.Clone().Of(f.Info.ID), append([]learn.Change{}, f.Lesson.Changes...), f.Lesson.Rates})
		}
		printFound(e.out, f)
		return nil
	})
}

func mostClosed(c *learn.Counts) string {
	best := ""
	for _, id := range slices.Sorted(maps.Keys(c.Definitions)) {
		if best == "" || c.Of(id).Closed > c.Of(best).Closed {
			best = id
		}
	}
	return best
}

// screen bounds what is printed of each list.
const screen = 8

func printFound(w io.Writer, f *job.Found) {
	m := f.Counts.Of(f.Info.ID)
	fmt.Fprintf(w, "%s: %d closed", f.Info.Name, m.Closed)
	if f.Lesson.Others > 0 {
		fmt.Fprintf(w, ", %d of other types", f.Lesson.Others)
	}
	if n := len(f.Merged); n > 0 {
		fmt.Fprintf(w, "; with the counts of %d files of other shops", n)
	}
	fmt.Fprintln(w)
	rows := f.Stages()
	if len(rows) > 0 {
		fmt.Fprintln(w, "\nAt fault")
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, r := range rows[:min(screen, len(rows))] {
			fmt.Fprintf(t, "  %s\t%s\t%d of %d machines\t%d of %d parts\t%s\n", r.ID, r.Name, r.Machines, m.Closed, r.Faults, r.Instances, r.Causes)
		}
		t.Flush()
	}
	if changes := f.Lesson.Largest(screen); len(changes) > 0 {
		fmt.Fprintln(w, "\nWhat it changed, the most first")
		for _, c := range changes {
			fmt.Fprintf(w, "  %s\n", c.Text(f.Def))
		}
		if n := len(f.Lesson.Changes) - len(changes); n > 0 {
			fmt.Fprintf(w, "  ... %d more numbers (--json)\n", n)
		}
	}
	printRates(w, f.Lesson.Rates)
}

func printRates(w io.Writer, r learn.Rates) {
	fmt.Fprintln(w, "\nHow often it goes wrong, all types (shown; the diagnosis does not use it yet)")
	for _, x := range []struct {
		what string
		rate learn.Rate
	}{{"readings", r.Readings[0]}, {"checks", r.Checks[0]}} {
		fmt.Fprintf(w, "  %s: %d of %d noticed; %s\n", x.what, x.rate.Wrong, x.rate.Of, rateText(x.rate))
	}
	for _, x := range r.Returns {
		fmt.Fprintf(w, "  back inside %d days after %s: %d of %d; %s\n", learn.ReturnDays, x.What, x.Wrong, x.Of, rateText(x))
	}
}

func rateText(r learn.Rate) string {
	return fmt.Sprintf("%s (95 %%: %s to %s), before %s", unit.Probability(r.Is), unit.Probability(r.Lo), unit.Probability(r.Hi), unit.Probability(r.Was))
}

type countsExportVerb struct{ benchFlag }

func (v *countsExportVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		c, err := b.OwnCounts(e.ctx)
		if err != nil {
			return err
		}
		if c.Machines() == 0 {
			return &fault{exitNoJudge, errors.New("this bench has closed no job: there is nothing to export"), "headstack closing JOB closes one"}
		}
		_, err = e.out.Write(c.Encode())
		return err
	})
}

type countsMergeVerb struct {
	benchFlag
	File string `arg:"" help:"File of counts, as headstack counts export writes it."`
}

func (countsMergeVerb) Help() string {
	return `Example: headstack counts merge theirs.json

The same counts merged twice count once. A later export of the same shop holds its earlier machines
again, and that cannot be told: merge one export of each shop. What was merged stays merged.`
}

func (v *countsMergeVerb) Run(e *env) error {
	data, err := os.ReadFile(v.File)
	if err != nil {
		return err
	}
	return v.with(e, func(b *job.Bench) error {
		f, again, err := b.MergeCounts(e.ctx, filepath.Base(v.File), data)
		if err != nil {
			return err
		}
		var types []string
		for _, id := range slices.Sorted(maps.Keys(f.Counts.Definitions)) {
			types = append(types, fmt.Sprintf("%d %s", f.Counts.Of(id).Closed, id))
		}
		if again {
			fmt.Fprintf(e.out, "merged before, on %s: it counts once (%s)\n", f.Added.Format("2006-01-02"), strings.Join(types, ", "))
			return nil
		}
		fmt.Fprintf(e.out, "merged: %s\ndoubt: whether some of these machines are counted already, from another file or here, cannot be told\n", strings.Join(types, ", "))
		return nil
	})
}
