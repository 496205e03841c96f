package trial

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"headstack/diagnosis"
	"headstack/sim"
	"headstack/unit"
)

// Story tells, while it happens, what one policy does on the recorder of one seed: what
// was hidden, what was advised, done and seen, and what would have been right. Stages
// marked * are faulty.
func (t Trial) Story(ctx context.Context, w io.Writer, seed uint64, p Maker) error {
	m, told, a, err := t.prepare(seed)
	if err != nil {
		return err
	}
	tell := func(format string, args ...any) {
		fmt.Fprintln(w, strings.TrimRight(fmt.Sprintf(format, args...), " "))
	}
	tell("%s, seed %d, %s", m.Def.Name, seed, p.Name)
	for _, h := range m.Hidden {
		tell("          hidden: %s", m.describe(h))
	}
	tell("%4.0f min  intake: %d functions tried, %d failed", m.IntakeMinutes, len(m.Intake), len(m.Complaint))
	for _, c := range m.Intake {
		if c.Outcome != diagnosis.Works {
			tell("            %s: %s %s: %s %s", c.Ref, c.Function, c.Key, c.Outcome, c.Symptom)
		}
	}
	r, err := mend(ctx, m, told, a, p.New(), p.Ask, tell)
	if err != nil {
		return err
	}
	tell("%s after %.0f min, %.0f of them intake: %d actions, %d checks, %d readings, %d openings, %d repairs (%d of good stages)",
		r.Outcome, r.Minutes, m.IntakeMinutes, r.Actions, r.Checks, r.Readings, r.Openings, r.Repairs, r.Needless)
	tell("the advisor took %.1f s in all, %.1f s at most", r.Thinking.Seconds(), r.Slowest.Seconds())
	return nil
}

// describe names a hidden fault and its size.
func (m *Machine) describe(h Hidden) string {
	s, _ := m.Def.Stage(h.Stage)
	out := fmt.Sprintf("%s (%s) %s: %s", m.Def.Designator(s.Part, s.Each, h.Key), s.ID, h.Mode, h.Cause)
	for _, e := range []struct {
		name string
		db   float64
	}{{"level", h.LevelDB}, {"treble", h.TrebleDB}, {"bass", h.BassDB}, {"noise", h.NoiseDB}} {
		if e.db != 0 {
			out += fmt.Sprintf(", %s %+.1f dB", e.name, e.db)
		}
	}
	if h.Presence > 0 {
		out += fmt.Sprintf(", there at %.0f %% of looks", 100*h.Presence)
	}
	if !h.Shows {
		out += " [does not show in the complaint]"
	}
	return out
}

func (t *technician) clock() string { return fmt.Sprintf("%4.0f min ", t.out.Minutes) }

// suspectsTold is how many suspects and actions a story names.
const suspectsTold = 6

// slow is what an advisor may take before a story says so.
const slow = time.Second

func (t *technician) tellAdvice(a *diagnosis.Advice, took time.Duration) {
	if took > slow {
		t.tell("            (the advisor took %.1f s)", took.Seconds())
	}
	var list []string
	for i, s := range a.Suspects {
		if i == suspectsTold {
			list = append(list, "...")
			break
		}
		mark := ""
		if t.there(s.Stage, s.Track) {
			mark = "*"
		}
		list = append(list, fmt.Sprintf("%s-%s%s %s %s", s.Stage, s.Track, mark, s.Mode, unit.Probability(s.Probability)))
	}
	t.tell("%s suspects: %s", t.clock(), strings.Join(list, ", "))
	for _, r := range a.Recheck {
		t.tell("            doubts %s, wrong with %s: %s", r.Reading, unit.Probability(r.ProbabilityWrong), r.Why)
	}
	if t.situation.Fast {
		return
	}
	for i, s := range a.Actions {
		if i == suspectsTold {
			break
		}
		t.tell("            %d. %s %s, %.0f min, gains %.1f min", i+1, s.Kind, s.Target, float64(s.Minutes), s.GainMinutes)
	}
	t.tell("            stop %v, wrong fix %s, %.0f min expected: %s", a.Stop.Reached, unit.Probability(a.Stop.WrongFixProbability), float64(a.Minutes), a.Stop.Reason)
}

func (t *technician) tellCheck(c diagnosis.Check, heard sim.Checked) {
	note := ""
	if heard.Heard != c.Key {
		note = fmt.Sprintf("   [wrong: that was track %s]", heard.Heard)
	}
	how := strings.TrimSpace(fmt.Sprintf("%s %s", c.Provoked, c.Case))
	t.tell("%s %s: %s %s (%s): %s %s%s", t.clock(), c.Ref, c.Function, c.Key, how, c.Outcome, c.Symptom, note)
}

func (t *technician) tellReading(r diagnosis.Reading, got sim.Reading) {
	tp, _ := t.m.Def.TestPoint(r.TestPoint)
	note := ""
	if got.Slip != sim.NoSlip {
		note = fmt.Sprintf("   [wrong, %s: %.3g %s would be right]", got.Slip, got.Right, r.Unit)
	}
	off := ""
	if want := t.m.Def.Expected(tp, r.Key).Value; want != 0 && r.Value/want > 0 {
		off = fmt.Sprintf(", %+.1f dB", 20*math.Log10(r.Value/want))
	}
	t.tell("%s %s: %s %s with %g Hz: %.3g %s%s%s", t.clock(), r.Ref, r.TestPoint, r.Key, r.ToneHz, r.Value, r.Unit, off, note)
}

func (t *technician) tellWork(w diagnosis.Work, did sim.Worked) {
	note := "nothing changed"
	switch {
	case len(did.Cured) > 0:
		note = "cured " + did.Cured[0].Cause
	case len(did.Slept) > 0:
		note = "sent to sleep: " + did.Slept[0].Cause
	case t.there(w.Stage, w.Key):
		note = "the fault is still there"
	}
	if w.Kind == diagnosis.WorkSwap && len(did.Slept) == 0 {
		note = "with " + w.With
		if w.Back {
			note += ", back"
		}
	}
	t.tell("%s %s: %s %s-%s   [%s]", t.clock(), w.Ref, w.Kind, w.Stage, w.Key, note)
}
