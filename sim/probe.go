package sim

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/machine"
)

// Probe is one reading to be taken.
type Probe struct {
	TestPoint, Key string
	ToneHz         float64 // 0: the test point's own
	Instrument     string
	Session        string  // an instrument keeps its gain error within it
	Setting        string  // one placing of the probe
	Repeat         int     // tells readings within one setting apart
	BandwidthHz    float64 // of a meter that falls by one pole there; 0: wide enough
	Slip           Slip    // to be made on purpose
	Condition              // of the recorder while it is read
}

// Reading is what was read and what would have been right.
type Reading struct {
	Probe
	Value float64 // in Unit, as read
	Unit  string  // base unit: V, A, ohm, Hz
	Slip  Slip    // the slip that was made, if any
	// Right is the value of this recorder at that point, read without error.
	Right float64
}

// Parts of the signal that remain where nothing passes: what leaks past, and the
// noise that any a.c. meter sees, both re the expected value (invented, plausible).
const (
	leakageDB = -60.0
	floorDB   = -50.0
)

// Read takes a reading. The right value is the definition's expected one, with its
// exceptions and the spread of good parts, changed at the tone by every fault on the
// path up to the test point; a point that must only stay below a limit reads a third
// of it, or three times it when the stage it is read at is faulty. The expected value
// is taken to hold for every tone. The error is [ErrBench].
func (b *Bench) Read(p Probe) (Reading, error) {
	right, unit, err := b.right(p)
	if err != nil {
		return Reading{}, err
	}
	slip := p.Slip
	if slip == NoSlip {
		slip = b.slip(p)
	}
	tp, _ := b.Def.TestPoint(p.TestPoint)
	if p.ToneHz == 0 {
		p.ToneHz = tp.ToneHz
	}
	r := Reading{Probe: p, Unit: unit, Slip: slip, Right: right}
	r.Value = b.touched(p, slip, right) * math.Pow(10, b.errorDB(p)/20)
	if p.BandwidthHz > 0 && p.ToneHz > 0 {
		r.Value /= math.Hypot(1, p.ToneHz/p.BandwidthHz)
	}
	r.Value = b.written(p, slip, r.Value)
	return r, nil
}

// right is the true value at a test point.
func (b *Bench) right(p Probe) (value float64, unit string, err error) {
	tp, ok := b.Def.TestPoint(p.TestPoint)
	if !ok {
		return 0, "", fmt.Errorf("%w: test point %q", ErrBench, p.TestPoint)
	}
	if !slices.Contains(b.Def.ReplicaKeys(tp.Each), p.Key) {
		return 0, "", fmt.Errorf("%w: test point %s with key %q", ErrBench, p.TestPoint, p.Key)
	}
	path, err := b.Def.TestPointPath(tp, p.Key)
	if err != nil {
		return 0, "", fmt.Errorf("%w: %w", ErrBench, err)
	}
	e := b.Def.Expected(tp, p.Key)
	part := b.random("part", tp.ID, p.Key).NormFloat64() * b.Spread
	look := fmt.Sprintf("reading %s %s %s %s", p.TestPoint, p.Key, p.Session, p.Setting)
	if !e.Known {
		if e.Max == 0 {
			return 0, "", fmt.Errorf("%w: an expected value for test point %s", ErrBench, tp.ID)
		}
		return b.limited(e, path, part, look, p.Condition), e.Unit, nil
	}
	value = e.Value * math.Exp(e.SDLn*part)
	tone := p.ToneHz
	if tone == 0 {
		tone = tp.ToneHz
	}
	return value * b.factor(b.effect(path, look, p.Condition), tone), e.Unit, nil
}

// factor is what is left of a signal: what passes or leaks, and, of an alternating
// one, the noise that is read with it.
func (b *Bench) factor(e Effect, toneHz float64) float64 {
	passed := math.Pow(10, max(leakageDB, e.at(toneHz, b.Def.Reference.ToneHz))/20)
	if toneHz == 0 {
		return passed
	}
	return math.Hypot(passed, math.Pow(10, min(0, floorDB+e.NoiseDB)/20))
}

// limited is the value at a point that has only a limit.
func (b *Bench) limited(e machine.Expected, path []machine.Instance, part float64, look string, c Condition) float64 {
	value := e.Max / 3 * math.Exp(0.2*part)
	if len(path) > 0 && b.effect(path[len(path)-1:], look, c) != (Effect{}) {
		value *= 9
	}
	return value
}

// errorDB is the reading's error: of the instrument in this session, of this placing
// of the probe, of this repeat.
func (b *Bench) errorDB(p Probe) float64 {
	gain := b.InstrumentDB * b.random("instrument", p.Instrument, p.Session).NormFloat64()
	setting := b.random("setting", p.Instrument, p.Session, p.Setting, p.TestPoint, p.Key).NormFloat64()
	repeat := b.random("repeat", p.Instrument, p.Session, p.Setting, p.TestPoint, p.Key,
		strconv.FormatFloat(p.ToneHz, 'g', -1, 64), strconv.Itoa(p.Repeat)).NormFloat64()
	db := gain + b.ReadingNoiseDB*(setting+repeat/4)
	if p.ToneHz == 0 {
		db /= 10
	}
	return db
}
