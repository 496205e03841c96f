package web

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/unit"
)

// openingTap is an opening that is made or put back by one tap.
type openingTap struct {
	ID, Name string
	Closed   bool // it is to be put back
	Minutes  unit.Minutes
	Cautions []string // those that the step before does not have
}

// further is an action that is not the first.
type further struct {
	Text     string
	Minutes  unit.Minutes
	Saves    string
	Cautions []string
}

// workAsk asks to record that a work was done.
type workAsk struct {
	Kind                    diagnosis.WorkKind
	Stage, Key, With, Parts string
	Minutes                 unit.Minutes
	Back                    bool
}

// furtherShown is how many actions beside the first a card lists.
const furtherShown = 6

// adviceCard makes the card from advice.
func adviceCard(v *job.View, a *diagnosis.Advice) (*card, place) {
	var c *card
	var where place
	if len(a.Actions) == 0 {
		c = stopCard(v, a)
	} else {
		s := a.Actions[0]
		c, where = stepCard(v, s), place{s.Function, s.TestPoint, s.Key}
		for _, o := range a.Actions[1:min(len(a.Actions), 1+furtherShown)] {
			c.Further = append(c.Further, further{o.Text, o.Minutes, savesText(o), o.Cautions})
		}
		c.Stop = fmt.Sprintf("That repairing now would be a wrong fix: %s.", unit.Probability(a.Stop.WrongFixProbability))
		if a.Stop.Reached {
			c.Stop += " " + a.Stop.Reason
		}
		c.Stop += lowersText(a)
	}
	c.Alarms, c.Unproven = a.Recheck, len(a.Unproven)
	return c, where
}

// stopCard says why there is nothing to do next.
func stopCard(v *job.View, a *diagnosis.Advice) *card {
	root := "/jobs/" + v.Job.ID
	return &card{Text: "Nothing left would shorten the work.", Why: a.Stop.Reason,
		Stop:  fmt.Sprintf("A wrong fix: %s.%s", unit.Probability(a.Stop.WrongFixProbability), lowersText(a)),
		Links: []link{{root + "/report", "Read the report"}, {root + "/works", "Works and openings"}}}
}

// lowersText says what would lower the chance of a wrong fix.
func lowersText(a *diagnosis.Advice) string {
	if a.Stop.Lowers == "" {
		return ""
	}
	return " What lowers it: " + strings.TrimSuffix(a.Stop.Lowers, ".") + "."
}

func stepCard(v *job.View, s diagnosis.Step) *card {
	c := &card{Text: s.Text, Where: s.Where, Expect: s.Expect, Minutes: s.Minutes, Why: s.Why,
		Cautions: slices.Clone(s.Cautions), Means: job.Foreseen(s.Predicts), Saves: savesText(s)}
	c.openings(v.Def, s)
	if tp, ok := v.Def.TestPoint(s.TestPoint); ok && s.Kind == diagnosis.StepReading {
		c.forReading(v, tp, diagnosis.Action{TestPoint: s.TestPoint, Key: s.Key, ToneHz: s.ToneHz, Siblings: s.Siblings})
		c.Reading.Provoked = s.Provoked
		if strings.Contains(s.Text, c.Mode) { // said once is enough
			c.Mode = ""
		}
		if strings.Contains(s.Text, c.Instrument) {
			c.Instrument = ""
		}
		return c
	}
	switch s.Kind {
	case diagnosis.StepClean, diagnosis.StepRepair, diagnosis.StepSwap:
		c.Work = workOf(v, s)
	default:
		if f, ok := v.Def.Function(s.Function); ok {
			c.Check = &checkAsk{s.Function, s.Key, cmp.Or(f.Name, f.ID), v.Case, s.Provoked}
		}
	}
	return c
}

// openings lists what is to be put back and opened before the step, and how far the
// recorder is open then.
func (c *card) openings(def *machine.Definition, s diagnosis.Step) {
	for _, id := range s.Close {
		c.tap(def, id, true)
	}
	for _, id := range s.Open {
		c.tap(def, id, false)
	}
	if len(c.Openings) == 0 {
		c.Opening = "nothing more than is open already"
		if s.Opening != "" {
			c.Opening = openingText(def, s.Opening)
		}
	}
}

func (c *card) tap(def *machine.Definition, id string, closed bool) {
	if o, ok := def.Opening(id); ok {
		t := tapOf(o, closed)
		t.Cautions = slices.DeleteFunc(t.Cautions, func(w string) bool { return slices.Contains(c.Cautions, w) })
		c.Cautions = append(c.Cautions, t.Cautions...)
		c.Openings = append(c.Openings, t)
	}
}

func tapOf(o *machine.Opening, closed bool) openingTap {
	t := openingTap{ID: o.ID, Name: o.Name, Closed: closed, Minutes: unit.Minutes(o.DownMin), Cautions: slices.Clone(o.Cautions)}
	if closed {
		t.Minutes = unit.Minutes(o.UpMin)
	}
	return t
}

func workOf(v *job.View, s diagnosis.Step) *workAsk {
	w := job.Work{Kind: diagnosis.WorkRepair, Stage: s.Stage, Key: s.Key, With: s.With}
	switch s.Kind {
	case diagnosis.StepClean:
		w.Kind = diagnosis.WorkClean
	case diagnosis.StepSwap:
		w.Kind = diagnosis.WorkSwap
	}
	return &workAsk{Kind: w.Kind, Stage: w.Stage, Key: w.Key, With: w.With, Parts: w.Part(v.Def), Minutes: s.Minutes}
}

func savesText(s diagnosis.Step) string {
	switch g := math.Round(s.GainMinutes); {
	case g >= 1:
		return "saves " + minutesText(unit.Minutes(g))
	case g <= -1:
		return "costs " + minutesText(unit.Minutes(-g)) + " more"
	}
	return "saves nothing"
}

// openingLine says in the words of the definition what was opened or put back.
func openingLine(def *machine.Definition, o job.Opening) string {
	name := openingText(def, o.Opening)
	if o.Closed {
		return "put back: " + name
	}
	return "opened: " + strings.TrimSpace(name)
}
