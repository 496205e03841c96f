package main

import (
	"fmt"
	"io"
	"strings"

	"headstack/job"
	"headstack/teardown"
	"headstack/unit"
)

type openingsVerb struct {
	benchFlag
	JSON         bool     `help:"One JSON object on standard output: visits, decisions, cost."`
	Without      []string `placeholder:"TASK" help:"Leave a task out, by its id; may be given several times." sep:"none"`
	NoPreventive bool     `help:"Leave out what is only worth doing while inside."`
	Together     []string `placeholder:"OPENING" help:"An opening that repeats and of which several may be open at once."`
	Job          string   `arg:"" help:"Job id."`
}

func (openingsVerb) Help() string {
	return `Example: headstack openings job-0001

All that the diagnosis and the line-up want done inside, in the fewest and cheapest openings: what to have ready, what to
photograph and mark, each step with its minutes, and what is worth doing beside it. The plan begins with what is open now.`
}

func (v *openingsVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		plan, view, err := b.Openings(e.ctx, v.Job, job.OpeningOptions{Without: v.Without, NoPreventive: v.NoPreventive, Together: v.Together})
		if err != nil {
			return err
		}
		if v.JSON {
			return printJSON(e.out, plan)
		}
		printOpenings(e.out, view, plan)
		return nil
	})
}

func printOpenings(w io.Writer, view *job.View, p *teardown.Plan) {
	fmt.Fprintf(w, "%s: %s, serial %s; %s\n", view.Job.ID, view.Job.Name, orNone(view.Job.Serial), openText(view))
	for _, c := range p.Cautions {
		fmt.Fprintf(w, "caution: %s\n", c)
	}
	for _, x := range p.Warnings {
		fmt.Fprintf(w, "  ◆ %s\n", x)
	}
	if len(p.Visits) == 0 {
		fmt.Fprintln(w, "Nothing is worth an opening yet: headstack next says what to try first.")
	} else {
		fmt.Fprintf(w, "%s in all, at the bench\n%s\n", p.Total.Figure(), p.SpreadText())
	}
	for i, v := range p.Visits {
		printVisit(w, i+1, v)
	}
	if len(p.Decisions) > 0 {
		fmt.Fprintln(w, "\nWorth doing beside it, or not")
	}
	for _, d := range p.Decisions {
		fmt.Fprintf(w, "  %s (needed later: %s): %s\n", d.Task, unit.Probability(d.Chance), d.Text)
	}
	fmt.Fprintf(w, "\n%s\n", p.Verdict)
}

func printVisit(w io.Writer, n int, v teardown.Visit) {
	fmt.Fprintf(w, "\nVisit %d: %s\n", n, minutes(v.Cost.Total()))
	r := v.Preparation
	for _, x := range []struct {
		label string
		list  []string
	}{{"parts to exchange", r.Parts}, {"for cleaning and soldering", r.Materials}, {"tools", r.Tools}} {
		if len(x.list) > 0 {
			fmt.Fprintf(w, "  %s: %s\n", x.label, strings.Join(x.list, ", "))
		}
	}
	for _, x := range r.Photographs {
		fmt.Fprintf(w, "  photograph: %s\n", x.Text)
	}
	for _, x := range r.Connectors {
		fmt.Fprintf(w, "  mark %s: %s\n", x.Connector, x.Mark)
		for _, c := range x.Cautions {
			fmt.Fprintf(w, "      caution: %s\n", c)
		}
	}
	for _, x := range r.Insertions {
		fmt.Fprintf(w, "  flat cable %s: %s\n", x.Connector, x.Text)
	}
	for _, c := range r.Cautions {
		fmt.Fprintf(w, "  caution: %s\n", c)
	}
	for _, s := range v.Steps {
		what := s.Text
		if s.Task != "" {
			what += " [" + s.Task + "]"
		}
		if s.Minutes > 0 {
			what += ", " + minutes(s.Minutes)
		}
		fmt.Fprintf(w, "  ▶ %s\n", what)
		for _, c := range s.Cautions {
			fmt.Fprintf(w, "      caution: %s\n", c)
		}
	}
	for _, t := range r.Tests {
		fmt.Fprintf(w, "  try before closing: %s, %s\n", t.Text, minutes(t.Minutes))
	}
	for _, c := range r.Power {
		fmt.Fprintf(w, "  at the first power: %s\n", c.Text)
	}
}
