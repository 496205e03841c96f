package job

import (
	"strings"

	"headstack/lineup"
	"headstack/trim"
)

// LiveTrim says which way to turn the trim of a step while its figure is read about ten times
// a second. It is not safe for several goroutines.
type LiveTrim struct {
	live *trim.Live
	// A deviation of 1 in the target's unit is k for the model, whose target lies at zero.
	k, zero float64
}

// LiveTrim is the display for the trim of a step, at what the record says of its
// sensitivity. ok is false where the step has no trim, or the model no figure for it; then
// a reading can still be shown, and not which way to turn.
func (l *LineUp) LiveTrim(step string) (t *LiveTrim, ok bool) {
	s, ok := l.Step(step)
	if !ok || s.Part == "" {
		return nil, false
	}
	for _, b := range l.speeds {
		if s.SpeedCmS != 0 && s.SpeedCmS != b.cmS {
			continue
		}
		target, k, ok := b.aim(s)
		if !ok {
			continue
		}
		if live, ok := b.bench.LiveFor(trim.ID(s.Part), target); ok {
			return &LiveTrim{live, k, target.Value}, true
		}
	}
	return nil, false
}

// aim is the target of a step for the model, with what 1 of the step's unit is there. ok
// is false where a turn cannot be reckoned for it.
func (b *speedBench) aim(s *LineUpStep) (x trim.Target, k float64, ok bool) {
	q, ok := b.quantity(&s.Step)
	t := s.closed
	if !ok || t.Refused != "" || t.Side != lineup.Both {
		return x, 0, false
	}
	unitName := strings.TrimSuffix(t.Unit, "FS")
	k, ok = convertible(1, unitName, b.model.Unit(q))
	if !ok || !(t.Tolerance > 0) {
		return x, 0, false
	}
	x = trim.Target{Quantity: q, Tolerance: k * t.Tolerance}
	if unitName != "dB" {
		x.Value = sense(q) * k * t.Value
	}
	return x, sense(q) * k, true
}

// Feed takes a reading less its target, in the target's unit, with the half width of its
// 95 % interval, at a time in seconds later than the one before.
func (t *LiveTrim) Feed(seconds, off, half float64) trim.Sign {
	k := t.k
	if k < 0 {
		k = -k
	}
	return t.live.Feed(seconds, t.zero+t.k*off, k*half/z95)
}

// At is the sign at a time without a new reading.
func (t *LiveTrim) At(seconds float64) trim.Sign { return t.live.At(seconds) }
