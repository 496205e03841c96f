package main

import (
	"fmt"
	"math"
	"strings"

	"headstack/instrument"
	"headstack/job"
)

type instrumentAskVerb struct {
	benchFlag
	For  string `default:"a.c. volts" placeholder:"QUANTITY" help:"a.c. volts, d.c. volts, a.c. amps, d.c. amps, resistance or frequency; without it: ${default}."`
	JSON bool   `help:"One JSON object."`
	ID   string `arg:"" help:"Instrument, as the register has it."`
}

func (instrumentAskVerb) Help() string {
	return `Example: headstack instrument ask dmm1 --for resistance`
}

// asked is the answer of instrument ask --json.
type asked struct {
	Instrument string  `json:"instrument"` // what it says it is
	Quantity   string  `json:"quantity"`
	Value      float64 `json:"value"` // as it is shown, in unit
	Unit       string  `json:"unit"`
	How        string  `json:"how"` // how it was come by
}

func (v *instrumentAskVerb) Run(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		line := e.settling()
		what, taken, err := b.AskInstrument(e.ctx, v.ID, instrument.Quantity(v.For), line.seen)
		line.end()
		if err != nil {
			return unread(what, err)
		}
		if v.JSON {
			return printJSON(e.out, asked{what.String(), string(taken.Quantity), taken.Shown, taken.ShownUnit, taken.Text()})
		}
		fmt.Fprintf(e.out, "it says it is: %s\n%s: %.5g %s, %s\n", what, taken.Quantity, taken.Shown, taken.ShownUnit, taken.Text())
		return nil
	})
}

// unread says what an instrument is that gave no value: the line is good then.
func unread(what instrument.Identity, err error) error {
	if what == (instrument.Identity{}) {
		return err
	}
	return fmt.Errorf("%s answered, but gave no value: %w", what, err)
}

// take takes the reading from an instrument.
func (v *readingVerb) take(e *env) error {
	return v.with(e, func(b *job.Bench) error {
		line := e.settling()
		x, _, err := b.TakeReading(e.ctx, v.Job, job.Taking{
			Reading: job.Reading{TestPoint: v.Point, ToneHz: v.Tone, Instrument: v.From, Session: v.Session, Setting: v.Setting},
			Same:    v.Same, Entry: job.Entry{Case: caseState(v.Case), Remark: v.Remark}, Seen: line.seen})
		line.end()
		if err != nil {
			return err
		}
		if !v.JSON {
			fmt.Fprintln(e.out, x.Remark)
		}
		return v.say(e, x)
	})
}

// settlingLine shows on a terminal what a meter shows while its value is waited for.
type settlingLine struct {
	e    *env
	wide int
}

func (e *env) settling() *settlingLine { return &settlingLine{e: e} }

func (l *settlingLine) seen(s instrument.Seen) {
	if !l.e.errIsTerminal {
		return
	}
	value := "over-range"
	if !math.IsNaN(s.Value.Value) && !math.IsInf(s.Value.Value, 0) {
		value = fmt.Sprintf("%.5g %s", s.Value.Value, s.Value.Unit)
	}
	text := fmt.Sprintf("%s, %s, %.0f %%", value, s.Phase, 100*s.Share)
	l.wide = max(l.wide, len(text))
	fmt.Fprintf(l.e.err, "\r%-*s", l.wide, text)
}

func (l *settlingLine) end() {
	if l.wide > 0 {
		fmt.Fprintf(l.e.err, "\r%s\r", strings.Repeat(" ", l.wide))
	}
}
