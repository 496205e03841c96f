package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/report"
	"headstack/unit"
)

type nextVerb struct {
	benchFlag
	Job  string `required:"" short:"j" placeholder:"ID" help:"Job id."`
	JSON bool   `help:"One JSON object on standard output: suspects, cleared, recheck, actions, stop."`
	All  bool   `help:"Every action as a card, and all that is proved."`
}

func (nextVerb) Help() string {
	return `Example: headstack next --job job-0001

What to do next so that the whole repair takes least time: where, with what, what to expect, how long. Then what is
suspect, what is proved and by what, what to take again, which cure is unproven, and the chance of a wrong fix.`
}

func (v *nextVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		advice, view, err := b.Advise(e.ctx, v.Job)
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, advice)
		}
		printAdvice(e.out, view, advice, v.All)
		return nil
	})
}

// What one screen holds of each list.
const (
	screenActions  = 4
	screenSuspects = 5
	screenCleared  = 5 // sets of observations,
	screenParts    = 8 // and parts that one of them proves
)

// printAdvice writes advice as a person reads it: what could mislead first, then what
// to do, then why.
func printAdvice(w io.Writer, view *job.View, a *diagnosis.Advice, all bool) {
	fmt.Fprintf(w, "%s: %s, serial %s; %s\n", view.Job.ID, view.Job.Name, orNone(view.Job.Serial), openText(view))
	printRechecks(w, a.Recheck)
	printSteps(w, view, a, all)
	printSuspects(w, a.Suspects, all)
	printCleared(w, a.Cleared, all)
	printUnproven(w, a.Unproven)
	printStop(w, a)
}

func printRechecks(w io.Writer, list []diagnosis.Recheck) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(w, "\nTake again before building on it")
	for _, r := range list {
		fmt.Fprintf(w, "  ◆ %s, %s likely wrong: %s\n", r.Reading, unit.Probability(r.ProbabilityWrong), r.Why)
		if r.How != "" {
			fmt.Fprintf(w, "      how: %s\n", r.How)
		}
	}
}

func printSteps(w io.Writer, view *job.View, a *diagnosis.Advice, all bool) {
	if len(a.Actions) == 0 {
		fmt.Fprintln(w, "\nNext: nothing that would shorten the work")
		return
	}
	fmt.Fprintf(w, "\nNext, of about %s to a verified fix\n", minutes(a.Minutes))
	for i, s := range a.Actions {
		switch {
		case i == 0 || all:
			printStep(w, view, s)
		case i < screenActions:
			if i == 1 {
				fmt.Fprintln(w, "  or")
			}
			fmt.Fprintf(w, "    %s (%s, %s)\n", s.Text, minutes(s.Minutes), gainText(s))
		}
	}
	if n := len(a.Actions); n > 1 && !all {
		more := ""
		if n > screenActions {
			more = fmt.Sprintf("%d more; ", n-screenActions)
		}
		fmt.Fprintf(w, "    (%sheadstack next --all has their cautions)\n", more)
	}
}

// printStep is the card of one action.
func printStep(w io.Writer, view *job.View, s diagnosis.Step) {
	fmt.Fprintf(w, "  ▶ %s (%s, %s)\n", s.Text, minutes(s.Minutes), gainText(s))
	for _, c := range s.Cautions {
		fmt.Fprintf(w, "      caution: %s\n", c)
	}
	instrument, state := "", ""
	if tp, ok := view.Def.TestPoint(s.TestPoint); ok {
		instrument, state = unsaid(s.Text, tp.Instrument), unsaid(s.Text, tp.Mode)
	}
	var comes []string
	for _, p := range job.Foreseen(s.Predicts) {
		comes = append(comes, p.Outcome+" "+unit.Probability(p.Probability))
	}
	for _, l := range []struct{ label, text string }{
		{"put back first", strings.Join(s.Close, ", ")}, {"open", cmp.Or(strings.Join(s.Open, ", "), s.Opening)},
		{"where", s.Where}, {"state", state}, {"with", instrument}, {"expect", s.Expect},
		{"will be", strings.Join(comes, "; ")}, {"why", s.Why},
	} {
		if l.text != "" {
			fmt.Fprintf(w, "      %s: %s\n", l.label, l.text)
		}
	}
}

// unsaid is what a text does not say already.
func unsaid(text, more string) string {
	if strings.Contains(text, more) {
		return ""
	}
	return more
}

func gainText(s diagnosis.Step) string {
	switch g := math.Round(s.GainMinutes); {
	case g >= 1:
		return "saves " + minutes(unit.Minutes(g))
	case g <= -1:
		return "costs " + minutes(unit.Minutes(-g)) + " more"
	}
	return "saves nothing"
}

// minutes writes a time as a person plans by it.
func minutes(m unit.Minutes) string { return fmt.Sprintf("%.0f min", math.Ceil(float64(m))) }

func printSuspects(w io.Writer, list []diagnosis.SuspectStage, all bool) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(w, "\nSuspect")
	shown := list
	if !all {
		shown = list[:min(screenSuspects, len(list))]
	}
	for _, s := range shown {
		fmt.Fprintf(w, "  ▲ %s %s, %s\n", cmp.Or(s.Part, s.Stage+" "+s.Track), unit.Probability(s.Probability), report.ModeWord(s.Mode, s.Cause))
		if s.Why != "" {
			fmt.Fprintf(w, "      %s\n", s.Why)
		}
	}
	if n := len(list) - len(shown); n > 0 {
		fmt.Fprintf(w, "  ... %d more\n", n)
	}
}

// printCleared names the stages that one set of observations proves on one line, the
// largest such group first.
func printCleared(w io.Writer, list []diagnosis.ClearedStage, all bool) {
	if len(list) == 0 {
		return
	}
	parts := map[string][]string{}
	var by []string
	for _, c := range list {
		k := strings.Join(c.By, ", ")
		if parts[k] == nil {
			by = append(by, k)
		}
		parts[k] = append(parts[k], cmp.Or(c.Part, c.Stage+" "+c.Track))
	}
	slices.SortStableFunc(by, func(a, b string) int { return len(parts[b]) - len(parts[a]) })
	fmt.Fprintf(w, "\nProved good: %d stages\n", len(list))
	for i, k := range by {
		if i == screenCleared && !all {
			fmt.Fprintf(w, "  ... by %d other sets of observations\n", len(by)-i)
			return
		}
		names := parts[k]
		if n := len(names) - screenParts; n > 0 && !all {
			names = append(slices.Clone(names[:screenParts]), fmt.Sprintf("... %d more", n))
		}
		fmt.Fprintf(w, "  ■ by %s: %s\n", cmp.Or(k, "all observations together"), strings.Join(names, "  "))
	}
}

func printUnproven(w io.Writer, list []diagnosis.Unproven) {
	if len(list) == 0 {
		return
	}
	fmt.Fprintln(w, "\nUnproven: it went, and nobody knows why")
	for _, u := range list {
		fmt.Fprintf(w, "  ◨ %s gone after %s; comes back with %s\n", u.Symptom, u.Work, unit.Probability(u.Returns))
		for _, ask := range u.Asks {
			fmt.Fprintf(w, "      would prove it: %s\n", ask)
		}
	}
}

func printStop(w io.Writer, a *diagnosis.Advice) {
	verb := "Not yet"
	if a.Stop.Reached {
		verb = "Stop"
	}
	fmt.Fprintf(w, "\n%s: %s Chance of a wrong fix: %s.", verb, a.Stop.Reason, unit.Probability(a.Stop.WrongFixProbability))
	if a.Stop.Lowers != "" {
		fmt.Fprintf(w, " What lowers it: %s.", strings.TrimSuffix(a.Stop.Lowers, "."))
	}
	fmt.Fprintf(w, "\nNothing wrong that matters: %s. Left out of the count (more faults at once): %s.\n",
		unit.Probability(a.PFaultFree), unit.Probability(a.MassLeftOut))
}
