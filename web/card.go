package web

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/plot"
	"headstack/report"
	"headstack/unit"
)

// card answers what next: where, with what, what to expect, how long, why, and
// what could hurt.
type card struct {
	Text       string
	Where      string
	Opening    string // how far the recorder has to be opened for it
	Instrument string
	Mode       string // transport state and source
	Expect     string
	Also       string // the siblings to be read too
	Minutes    unit.Minutes
	Why        string
	Cautions   []string

	Alarms   []diagnosis.Recheck    // to be taken again before anything else
	Means    []diagnosis.Prediction // what would come out, most probable first
	Saves    string                 // against going straight to the repairs
	Openings []openingTap           // to put back and to make first, in this order
	Further  []further              // the other actions
	Stop     string                 // whether to stop, and the chance of a wrong fix
	Unproven int                    // cures that nobody has shown the cause of
	OpenNow  []openingTap           // innermost first
	Swaps    []swapTap              // exchanges that stand

	CannotTell []string // with the instrument in hand

	Reading *readingAsk // enter a reading here
	Check   *checkAsk   // or the outcome of a check
	Work    *workAsk    // or that it was done
	Links   []link      // or go to
	Working bool        // not known yet, ask again
	Spots   []spotView  // where it is on a picture
	Pins    template.HTML
	PinText string
}

type readingAsk struct {
	TestPoint, Key, Part, Unit string
	ToneHz                     float64
	Instrument, Session        string
	Case                       measure.CaseState
	Provoked                   diagnosis.Provocation
	Meters                     []diagnosis.Instrument // that can be asked for it
	Ready                      bool                   // the last one was taken from one: the next is a key away
}

type checkAsk struct {
	Function, Key, Name string
	Case                measure.CaseState
	Provoked            diagnosis.Provocation
}

type link struct{ Href, Text string }

// nextCard makes the card from the first action of the advice, or of the verdict where
// there is no advice. Before anything was recorded it says to measure as found: that
// chance comes once.
func nextCard(v *job.View, verdict *diagnosis.Verdict, advice *diagnosis.Advice, noVerdict string, planning bool) (*card, place) {
	root := "/jobs/" + v.Job.ID
	switch {
	case len(v.Current) == 0:
		return &card{
			Text:  "Measure as found, before anything is cleaned, turned or opened.",
			Where: "case closed, as it came in",
			Why:   "It is the only chance to know how the machine came in. The sheet then finds what a hand can find.",
			Cautions: []string{
				"Mains and adaptor: check the plate, the polarity and the off-load voltage of the adaptor before it feeds the machine. Never bridge a mains earth.",
				"Test tape: run a scrap tape first. A machine that chews or a magnetised head costs the test tape.",
			},
			Links: []link{{root + "/captures", "Capture a test tape"}, {root + "/sheet", "Try controls and functions"}},
		}, place{}
	case advice != nil:
		return adviceCard(v, advice)
	case planning:
		return &card{Working: true, Text: "Working out what to do next.",
			Why:   "Every fault set is weighed against the whole record. What was recorded is kept; go on meanwhile.",
			Links: []link{{root + "/path", "Look again"}, {root + "/sheet", "Go on with the check sheet"}}}, place{}
	case verdict == nil:
		return &card{Text: "No next step: the diagnosis gave no answer.", Why: noVerdict,
			Links: []link{{root + "/sheet", "Go on with the check sheet"}, {root + "/record", "Look through the record"}}}, place{}
	case len(verdict.Next) == 0:
		return doneCard(v, verdict), place{}
	}
	a := verdict.Next[0]
	return actionCard(v, a), place{a.Function, a.TestPoint, a.Key}
}

func doneCard(v *job.View, verdict *diagnosis.Verdict) *card {
	root := "/jobs/" + v.Job.ID
	c := &card{Links: []link{{root + "/report", "Read the report"}, {root + "/path", "Look at the paths"}}}
	if len(verdict.Explanations) == 0 || len(verdict.Explanations[0].Faults) == 0 {
		c.Text = "No check would tell more: nothing that was tried is out of order."
		c.Why = "What was not tried is listed in the report."
		return c
	}
	c.Text = "No check would tell more. Repair first: " + report.FaultsText(verdict.Explanations[0].Faults) + "."
	c.Why = fmt.Sprintf("It is %s likely; that this repair does not cure the machine is %s.", unit.Probability(verdict.Explanations[0].P), unit.Probability(verdict.WrongFix))
	c.Cautions = []string{"Before the iron or the solvent: unplug, let the supply run down, and check with a meter. Solder and solvent fumes: work by an open window, keep solvent off rubber and plastic."}
	return c
}

func actionCard(v *job.View, a diagnosis.Action) *card {
	c := &card{Text: a.Text, Where: a.Where, Opening: openingText(v.Def, a.Opening), Expect: a.Expect,
		Minutes: a.Minutes, Why: a.Why, Cautions: slices.Clone(a.Cautions)}
	if tp, ok := v.Def.TestPoint(a.TestPoint); ok && a.TestPoint != "" {
		c.forReading(v, tp, a)
		return c
	}
	name := a.Function
	if f, ok := v.Def.Function(a.Function); ok {
		name = f.Name
	}
	c.Check = &checkAsk{Function: a.Function, Key: a.Key, Name: name, Case: v.Case}
	return c
}

// forReading asks for a reading at a test point: of a only place, tone and siblings count.
func (c *card) forReading(v *job.View, tp *machine.TestPoint, a diagnosis.Action) {
	c.Instrument, c.Mode = tp.Instrument, tp.Mode
	part := v.Def.Designator(tp.Part, tp.Each, a.Key)
	ask := &readingAsk{TestPoint: tp.ID, Key: a.Key, Part: part, Unit: tp.Expect.Unit, ToneHz: a.ToneHz, Case: v.Case, Meters: metersOf(v)}
	if last := lastReading(v); last != nil {
		ask.Instrument, ask.Session = last.Instrument, last.Session
	}
	if ask.ToneHz == 0 {
		ask.ToneHz = tp.ToneHz
	}
	c.Reading = ask
	c.CannotTell = v.CannotTell(job.Reading{TestPoint: tp.ID, Key: a.Key, ToneHz: ask.ToneHz, Instrument: ask.Instrument})
	if len(a.Siblings) > 0 {
		var parts []string
		for _, k := range a.Siblings {
			parts = append(parts, v.Def.Designator(tp.Part, tp.Each, k))
		}
		c.Also = strings.Join(parts, ", ") + ": the same meter, range and tone; only the comparison tells"
	}
	if c.Expect == "" {
		c.Expect = quantityText(tp.Expect)
	}
	c.connector(v.Def, tp, a.Key)
}

// connector draws the connector from the side that is probed and says in words
// what pin it is and what its neighbours carry.
func (c *card) connector(def *machine.Definition, tp *machine.TestPoint, key string) {
	con, ok := def.Connector(tp.Connector)
	if tp.Connector == "" || !ok {
		return
	}
	side := con.A
	if con.B.Board == tp.Board {
		side = con.B
	}
	want := def.Designator(tp.Pin, tp.Each, key)
	i := slices.IndexFunc(side.Pins, func(p string) bool { return def.Designator(p, con.Each, key) == want })
	if i < 0 {
		return
	}
	c.Pins = plot.Connector(plot.ConnectorPlot{ID: "pins", Title: con.ID + " seen from " + side.Board, Pins: len(side.Pins), Touch: i + 1})
	c.PinText = fmt.Sprintf("%s from the %s side: pin %d of %d, %s.", con.ID, side.Board, i+1, len(side.Pins), side.Pins[i])
	var near []string
	for _, j := range []int{i - 1, i + 1} {
		if j >= 0 && j < len(side.Pins) {
			near = append(near, fmt.Sprintf("%d %s", j+1, side.Pins[j]))
		}
	}
	c.PinText += " Neighbours: " + strings.Join(near, ", ") + "."
	if con.Mirrored {
		c.PinText += " Mirrored: the other side counts the other way."
	}
	for _, w := range con.Cautions {
		if !slices.Contains(c.Cautions, w) {
			c.Cautions = append(c.Cautions, w)
		}
	}
}

func openingText(def *machine.Definition, id string) string {
	if id == "" || id == "closed" {
		return "closed, nothing to open"
	}
	for _, o := range def.Openings {
		if o.ID == id {
			return o.Name
		}
	}
	return id
}

func lastReading(v *job.View) *job.Reading {
	for _, e := range slices.Backward(v.Current) {
		if e.Reading != nil {
			return e.Reading
		}
	}
	return nil
}

// quantityText writes an expected value: "38 mV ± 2 dB", "below 60 mV".
func quantityText(q machine.Quantity) string {
	var s string
	switch {
	case q.Value != 0:
		s = number(q.Value) + "\u2009" + q.Unit
		if q.SpreadDB != 0 {
			s += " ±\u2009" + number(q.SpreadDB) + "\u2009dB"
		} else if q.SpreadPercent != 0 {
			s += " ±\u2009" + number(q.SpreadPercent) + "\u2009%"
		}
	case q.Low != 0 || q.High != 0:
		s = number(q.Low) + " to " + number(q.High) + "\u2009" + q.Unit
	}
	if q.Max != 0 {
		if s != "" {
			s += ", "
		}
		s += "below " + number(q.Max) + "\u2009" + q.Unit
	}
	if q.Note != "" {
		s += " (" + q.Note + ")"
	}
	if s == "" {
		return "no value in the definition; compare with the siblings"
	}
	return s
}
