package main

import (
	"fmt"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/sim"
)

// mostSteps is how many steps of the advice the demo does at most.
const mostSteps = 15

// mend does what the advice says until it names nothing but what nobody has tried yet;
// then it puts the recorder together and tries what failed.
func (d *demonstration) mend() error {
	d.sayf("\nWhat to do next (headstack next)")
	for n := range mostSteps {
		bar := d.progress("planning")
		bar.at(0)
		advice, view, err := d.bench.Advise(d.ctx, d.job.ID)
		bar.done()
		if err != nil {
			return err
		}
		if len(advice.Actions) == 0 {
			break
		}
		s := advice.Actions[0]
		if n == 0 {
			printStep(d.out, view, s)
			d.sayf("\nAs advised, step by step, of about %s to a verified fix", minutes(advice.Minutes))
		}
		if s.Kind != diagnosis.StepClose && !untried(view, s) {
			if err := d.step(s, n); err != nil {
				return err
			}
			continue
		}
		if mended, err := d.tryAll(view); err != nil || mended {
			return err
		}
	}
	d.sayf("  the demo ends here: headstack next goes on")
	return nil
}

// untried tells whether a step is to try what nothing has tried, which no complaint asks
// for.
func untried(v *job.View, s diagnosis.Step) bool {
	return s.Kind == diagnosis.StepCheck && !slices.ContainsFunc(v.Current, func(e job.Entry) bool {
		return e.Check != nil && e.Check.Function == s.Function && e.Check.Key == s.Key
	})
}

// step does one action and says why.
func (d *demonstration) step(s diagnosis.Step, n int) error {
	for _, id := range s.Close {
		if err := d.putBack(id); err != nil {
			return err
		}
	}
	for _, id := range s.Open {
		if err := d.reach(id); err != nil {
			return err
		}
	}
	switch s.Kind {
	case diagnosis.StepCheck, diagnosis.StepProvoke:
		_, err := d.check(s.Function, s.Key, s.Provoked, s.Why)
		return err
	case diagnosis.StepReading:
		return d.read(sim.Probe{TestPoint: s.TestPoint, Key: s.Key, ToneHz: s.ToneHz}, s.Siblings, 100+n, s.Why)
	case diagnosis.StepRepair, diagnosis.StepClean:
		return d.work(s)
	}
	return fmt.Errorf("the demo cannot do a step of kind %q", s.Kind)
}

// work does a repair or a cleaning and records it with its minutes.
func (d *demonstration) work(s diagnosis.Step) error {
	w := job.Work{Kind: diagnosis.WorkKind(s.Kind), Stage: s.Stage, Key: s.Key}
	if _, err := d.sim.Do(sim.Work{Kind: string(w.Kind), Stage: w.Stage, Key: w.Key}); err != nil {
		return err
	}
	// The head's seating is no fault of the recorder made up here, but of its scenario.
	d.lined = d.lined || s.Kind == diagnosis.StepRepair && s.Stage == d.story.headStage
	d.minutes += float64(s.Minutes)
	x, err := d.bench.Record(d.ctx, d.job.ID, job.Entry{Kind: job.KindWork, Case: measure.CaseUnknown, Work: &w, Minutes: s.Minutes})
	if err != nil {
		return err
	}
	d.sayf("  %s: %s (%s)%s", x.Ref, w.Text(d.sim.Def), minutes(s.Minutes), because(s.Why))
	return nil
}

// tryAll puts the recorder together and tries again what ever failed, up to the first
// that still does. Where all of it works a capture follows, to stand beside the first.
func (d *demonstration) tryAll(v *job.View) (mended bool, err error) {
	d.sayf("  nothing left to work on: put together, and what failed tried again")
	for _, id := range v.Open {
		if err := d.putBack(id); err != nil {
			return false, err
		}
	}
	for _, t := range d.complaint {
		if works, err := d.check(t.function, t.key, diagnosis.Unprovoked, "it failed as it came in"); err != nil || !works {
			return false, err
		}
	}
	d.sayf("\nAs left, case closed, after %.0f minutes at the bench", d.minutes)
	if err := d.capture("as-left", d.story.passes[len(d.story.passes)-1]); err != nil {
		return false, err
	}
	left := "none"
	if len(d.sim.Faults) > 0 {
		var parts []string
		for _, f := range d.sim.Faults {
			parts = append(parts, d.part(f)+" "+f.Cause)
		}
		left = strings.Join(parts, ", ")
	}
	d.sayf("  what failed works; hidden faults left: %s", left)
	return true, nil
}

// reach makes the openings to one that are not made yet.
func (d *demonstration) reach(id string) error {
	v, err := d.bench.View(d.ctx, d.job.ID)
	if err != nil {
		return err
	}
	for _, o := range d.sim.Def.OpeningChain(id) {
		if !slices.Contains(v.Open, o.ID) {
			if err := d.opening(job.Opening{Opening: o.ID}, o.DownMin); err != nil {
				return err
			}
		}
	}
	return nil
}

// putBack closes an opening, and with it what hangs on it.
func (d *demonstration) putBack(id string) error {
	v, err := d.bench.View(d.ctx, d.job.ID)
	if err != nil || !slices.Contains(v.Open, id) {
		return err
	}
	up := 0.0
	for _, open := range v.Open {
		chain := d.sim.Def.OpeningChain(open)
		for _, o := range chain {
			if o.ID == id {
				last := chain[len(chain)-1]
				up += last.UpMin + last.AfterMin
			}
		}
	}
	return d.opening(job.Opening{Opening: id, Closed: true}, up)
}

func (d *demonstration) opening(o job.Opening, took float64) error {
	d.minutes += took
	x, err := d.bench.Record(d.ctx, d.job.ID, job.Entry{Kind: job.KindOpening, Case: measure.CaseUnknown, Opening: &o})
	if err != nil {
		return err
	}
	d.sayf("  %s: %s (%g min)", x.Ref, o.Text(), took)
	return nil
}
