package lining

import (
	"fmt"
	"math"

	"headstack/lineup"
	"headstack/trim"
)

// How often the recorder is closed at most: with care for the limits at first, then until
// nothing reads out.
const careful, closings = 3, 8

// prove closes the recorder and measures; what is out or too near its limit is turned by
// what it is off, and closed and measured again.
func (t *technician) prove() error {
	for try := range closings {
		t.close()
		if err := t.readAll(true); err != nil {
			return err
		}
		if t.way.NoCase {
			t.closed = t.last
			break
		}
		if try == closings-1 {
			break
		}
		margin := near
		if try >= careful {
			margin = 0
		}
		n, err := t.nudge(margin)
		if err != nil {
			return err
		}
		if n == 0 {
			break
		}
	}
	t.proof()
	return nil
}

// nudge turns again what is wrong with the case closed, by what it is off. What a trim
// moves besides is allowed for, so that two figures with one cause are not both mended.
func (t *technician) nudge(margin float64) (n int, err error) {
	order := []lineup.Kind{lineup.Speed, lineup.Azimuth, lineup.Level, lineup.Treble, lineup.RecordAzimuth, lineup.RecordLevel, lineup.RecordTreble, lineup.PlayBass, lineup.SyncLevel, lineup.SyncTreble}
	for _, kind := range order {
		for _, s := range t.steps(0, kind) {
			off, out := t.outBy(s, margin)
			if !out {
				continue
			}
			id := trim.ID(s.Part)
			switch {
			case s.Trim != "":
			case s.Kind == lineup.Level: // at another speed, by the trim that serves both: half of it
				l, ok := findTrim(t.m, "level", trackKey(s), s.SpeedCmS, "")
				if !ok {
					continue
				}
				x := trimOf(t.def, l.ID)
				id = trim.ID(t.def.Designator(x.Part, x.Each, l.Key))
				off /= 2
			case s.Kind != lineup.RecordTreble:
				continue
			default:
				// Only bias sets it: half a dB for each.
				b, _ := findTrim(t.m, "bias", trackKey(s), s.SpeedCmS, "")
				x := trimOf(t.def, b.ID)
				id = trim.ID(t.def.Designator(x.Part, x.Each, b.Key))
			}
			if err := t.open(t.opening(id)); err != nil {
				return n, err
			}
			n++
			t.tell("closed, %s track %v is off by %.2f: %s is turned again", s.Name, s.Tracks, off, id)
			if err := t.nudgeBy(s, id, off); err != nil {
				return n, err
			}
		}
	}
	return n, nil
}

func trackKey(s *lineup.Step) string { return fmt.Sprint(s.Tracks[0]) }

func (t *technician) opening(id trim.ID) string { return trimOf(t.def, t.refs[id].ID).Opening }

// near is how many standard deviations of a reading from its limit a figure may lie with
// the case closed before it is turned again. Of 60 cassette recorders 60 end in tolerance
// with 1.5 and 59 with 1, which takes a tenth fewer passes.
const near = 1.5

// outBy is by how much a figure is off its target with the case closed, and whether that
// is nearer its limit than so many standard deviations of a reading.
func (t *technician) outBy(s *lineup.Step, margin float64) (off float64, out bool) {
	q, ok := t.quantity(s)
	if !ok {
		return 0, false
	}
	v, read := t.closed[key{s.SpeedCmS, q}]
	x := t.order.Target(s.ID, lineup.Setup{Tapes: t.setup.Tapes, ReadBy: t.setup.ReadBy})
	if !read || x.Refused != "" {
		return 0, false
	}
	return v - x.Value, math.Abs(v-x.Value) > x.Tolerance-margin*sdOf(q)
}

func (t *technician) nudgeBy(s *lineup.Step, id trim.ID, off float64) error {
	b := t.play[s.SpeedCmS]
	if s.Phase == lineup.PhaseRecord {
		b = t.own[s.SpeedCmS]
	}
	f, ok := b.Sensitivity(id)
	if !ok || f.Value == 0 {
		return fmt.Errorf("lining: no sensitivity of %s", id)
	}
	by := -off / f.Value
	if s.Kind == lineup.RecordTreble && s.Trim == "" {
		by = t.biasTravel(id) * off / 2
	}
	q, _ := t.quantity(s)
	t.closed[key{s.SpeedCmS, q}] -= off
	also := map[string]string{"level": "record_level", "response": "record_response"}[q.Measure]
	if also != "" {
		for k := range t.closed {
			if k.q.Measure == also && k.q.Track == q.Track && (k.cmS == s.SpeedCmS || s.AllSpeeds || q.Measure == "level") && (k.q.ToneHz == q.ToneHz || q.Measure == "level") {
				t.closed[k] -= off
			}
		}
		if q.Measure == "level" {
			for k := range t.closed {
				if k.q == q && k.cmS != s.SpeedCmS {
					t.closed[k] -= off
				}
			}
		}
	}
	return t.turn(s.SpeedCmS, id, by)
}

// proof enters what was read with the case closed, for what was turned last and for the
// proof itself.
func (t *technician) proof() {
	t.setup.Offset = nil
	st := t.order.Status(t.log)
	for i := range t.order.Steps {
		s := &t.order.Steps[i]
		if s.Phase == lineup.PhaseProof {
			continue
		}
		if x, _ := st.Of(s.ID); x.State == lineup.StateDone || x.State == lineup.StateNotNeeded {
			continue
		}
		if q, ok := t.quantity(s); ok {
			if v, read := t.closed[key{s.SpeedCmS, q}]; read && s.Kind != lineup.Bias {
				t.measured(s, v, levelSD)
				continue
			}
		}
		x := t.order.Target(s.ID, t.setup)
		t.measured(s, x.Value, 0.01)
	}
	for _, s := range t.order.Steps {
		if s.Gate && s.Phase == lineup.PhaseProof && s.Kind != lineup.CaseClosed {
			t.log = append(t.log, lineup.Event{Kind: lineup.GateDone, Step: s.ID})
		}
	}
	for i := range t.order.Steps {
		s := &t.order.Steps[i]
		if !s.Kind.Proof() {
			continue
		}
		if q, ok := t.quantity(s); ok {
			if v, read := t.closed[key{s.SpeedCmS, q}]; read {
				t.measured(s, v, levelSD)
				continue
			}
		}
		x := t.order.Target(s.ID, t.setup)
		t.measured(s, x.Value-1, 0.1) // what this recorder has no figures of: good by a margin
	}
}
