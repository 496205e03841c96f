package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

type verdictVerb struct {
	benchFlag
	JSON bool   `help:"One JSON object on standard output."`
	All  bool   `help:"Every stage, also those nothing was learned about."`
	Job  string `arg:"" help:"Job id."`
}

func (verdictVerb) Help() string {
	return `Example: headstack verdict job-0001

Exit code 4 when nothing was observed yet that a diagnosis could use.`
}

func (v *verdictVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		verdict, view, err := b.Diagnose(e.ctx, v.Job)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, verdict)
		}
		printVerdict(e.out, verdict, v.All)
		if ev := b.Evidence(view); len(ev.Checks)+len(ev.Readings)+len(ev.Measures) == 0 {
			return &fault{exitNoJudge, errors.New("nothing observed yet"), "start with the checks under Next, or headstack capture"}
		}
		return nil
	})
}

// printVerdict writes a verdict as a person reads it, most important first.
func printVerdict(w io.Writer, v *diagnosis.Verdict, all bool) {
	for _, s := range v.Sentences {
		fmt.Fprintln(w, s)
	}
	printStages(w, "Suspect", "▲", v.Stages, diagnosis.Suspect, true)
	if all {
		printStages(w, "Proved good", "■", v.Stages, diagnosis.Proved, false)
		printStages(w, "Not known", "○", v.Stages, diagnosis.Unknown, true)
	} else {
		printParts(w, "Proved good (headstack verdict --all says by what)", v.Stages)
	}
	if len(v.Next) > 0 {
		fmt.Fprintln(w, "\nNext, most information per minute first")
		for i, a := range v.Next[:min(3, len(v.Next))] {
			printAction(w, i+1, a)
		}
	}
	fmt.Fprintf(w, "\nChance that repairing the leading explanation is a wrong fix: %s. Left out of the count (more faults at once): %s.\n",
		unit.Probability(v.WrongFix), unit.Probability(v.OutsideMass))
}

func printStages(w io.Writer, title, mark string, stages []diagnosis.StageState, status diagnosis.Status, withP bool) {
	first := true
	for _, s := range stages {
		if s.Status != status {
			continue
		}
		if first {
			fmt.Fprintf(w, "\n%s\n", title)
			first = false
		}
		line := fmt.Sprintf("  %s %s %s", mark, s.Part, s.Name)
		if withP {
			line += " " + unit.Probability(s.P)
			if len(s.Modes) > 0 {
				line += ", " + s.Modes[0].Cause
			}
		}
		fmt.Fprintln(w, line)
		because := s.ClearedBy
		if status == diagnosis.Suspect {
			because = s.AccusedBy
		}
		for _, b := range because[:min(2, len(because))] {
			fmt.Fprintf(w, "      %s\n", b.Text)
		}
	}
}

// printParts names the proved stages, a few to a line.
func printParts(w io.Writer, title string, stages []diagnosis.StageState) {
	var parts []string
	for _, s := range stages {
		if s.Status == diagnosis.Proved {
			parts = append(parts, s.Part)
		}
	}
	if len(parts) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	for line := range slices.Chunk(parts, 12) {
		fmt.Fprintf(w, "  ■ %s\n", strings.Join(line, "  "))
	}
}

func printAction(w io.Writer, n int, a diagnosis.Action) {
	fmt.Fprintf(w, "  %d. %s (%.0f min)\n", n, a.Text, math.Ceil(float64(a.Minutes)))
	for _, l := range []struct{ label, text string }{
		{"where", a.Where}, {"opening", a.Opening}, {"expect", a.Expect}, {"why", a.Why},
		{"caution", strings.Join(a.Cautions, " ")},
	} {
		if l.text != "" {
			fmt.Fprintf(w, "     %s: %s\n", l.label, l.text)
		}
	}
}
