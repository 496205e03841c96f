package sim

import (
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"headstack/machine"
)

// Bench answers for a recorder with known faults what instruments read at its test
// points and how its functions behave. Every answer depends only on Seed and on what
// was asked, not on the order of asking. Make it with [NewBench].
type Bench struct {
	Def    *machine.Definition
	Faults []Fault
	Seed   uint64

	// ReadingNoiseDB is the r.m.s. scatter between probe settings; repeats within
	// one setting scatter by a quarter of it.
	ReadingNoiseDB float64
	// InstrumentDB is the r.m.s. gain error that an instrument keeps through a
	// session. Direct voltages are read ten times better than alternating ones, in
	// this and in the scatter.
	InstrumentDB float64
	// Spread scales the scatter among good parts that the definition states; 1 is
	// as stated, 0 makes all siblings alike.
	Spread float64
	// SlipRate is the probability that a reading goes wrong by itself in one of
	// the ways of [Slip].
	SlipRate float64
}

// Fault is one stage instance that does not do what it should, with its effect on
// what passes it, in dB re the same stage when good.
type Fault struct {
	Stage      string // machine.Stage id
	Key        string // replica key; empty for a shared stage
	Mode       machine.Mode
	Cause      string
	Mechanical bool    // of contact, dirt, alignment: treble goes as spacing does
	Dead       bool    // nothing passes
	LevelDB    float64 // at the reference tone
	TrebleDB   float64 // at 10 kHz re the reference tone
	BassDB     float64 // at 63 Hz re the reference tone
	NoiseDB    float64 // rise of the noise
	Presence   float64 // probability that it shows at one look; 0: always
}

// ErrBench is the error of a fault, probe or check that the definition has no place
// for.
var ErrBench = errors.New("not in the machine definition")

// NewBench makes a bench with readings that scatter by 0.2 dB, instruments that are
// off by 0.3 dB, parts that spread as the definition says, and no slips. The error is
// [ErrBench].
func NewBench(def *machine.Definition, seed uint64, faults ...Fault) (*Bench, error) {
	for _, f := range faults {
		s, ok := def.Stage(f.Stage)
		if !ok {
			return nil, fmt.Errorf("%w: stage %q", ErrBench, f.Stage)
		}
		if !slices.Contains(def.ReplicaKeys(s.Each), f.Key) {
			return nil, fmt.Errorf("%w: stage %s with key %q", ErrBench, f.Stage, f.Key)
		}
	}
	return &Bench{Def: def, Faults: faults, Seed: seed, ReadingNoiseDB: 0.2, InstrumentDB: 0.3, Spread: 1}, nil
}

// NewFault makes a fault from the definition's fault modes: the one with the given
// cause, or the first of the given mode when cause is empty. depth from 0 to 1 goes
// from the mild to the severe end of each of its ranges. The error is [ErrBench].
func NewFault(def *machine.Definition, stage, key string, mode machine.Mode, cause string, depth float64) (Fault, error) {
	s, ok := def.Stage(stage)
	if !ok {
		return Fault{}, fmt.Errorf("%w: stage %q", ErrBench, stage)
	}
	_, modes := def.FaultModes(s)
	for _, m := range modes {
		if m.Mode != mode || cause != "" && m.Cause != cause {
			continue
		}
		return Fault{
			Stage: stage, Key: key, Mode: m.Mode, Cause: m.Cause, Mechanical: m.Mechanical,
			Dead: m.Mode == machine.Dead, Presence: m.Presence,
			LevelDB: within(m.LevelDB, depth), TrebleDB: within(m.TrebleDB, depth),
			BassDB: within(m.BassDB, depth), NoiseDB: within(m.NoiseDB, depth),
		}, nil
	}
	return Fault{}, fmt.Errorf("%w: stage %s fails in no way that is %s %q", ErrBench, stage, mode, cause)
}

// within goes from the end of a range nearer to nought to the one farther from it.
func within(r []float64, depth float64) float64 {
	if len(r) != 2 {
		return 0
	}
	mild, severe := r[0], r[1]
	if math.Abs(mild) > math.Abs(severe) {
		mild, severe = severe, mild
	}
	return mild + depth*(severe-mild)
}

// Effect is what the faults of a path together do to its signal, as in [Fault].
type Effect struct {
	LevelDB, TrebleDB, BassDB, NoiseDB float64
	Dead                               bool
}

// at is the change of level at a tone. Treble and bass come in evenly over the
// logarithm of frequency, full at 10 kHz and 63 Hz. Bias and direct voltage only know
// the level.
func (e Effect) at(toneHz, referenceHz float64) float64 {
	if e.Dead {
		return math.Inf(-1)
	}
	db := e.LevelDB
	if toneHz <= 0 || toneHz > 25000 || referenceHz <= 0 {
		return db
	}
	if toneHz > referenceHz {
		return db + e.TrebleDB*min(1.1, math.Log(toneHz/referenceHz)/math.Log(10000/referenceHz))
	}
	return db + e.BassDB*min(1.3, math.Log(referenceHz/toneHz)/math.Log(referenceHz/63))
}

// effect sums the faults on a path as one look finds them; look tells looks at
// intermittent faults apart.
func (b *Bench) effect(path []machine.Instance, look string) Effect {
	var e Effect
	for _, f := range b.Faults {
		on := slices.ContainsFunc(path, func(i machine.Instance) bool { return i.Stage.ID == f.Stage && i.Key == f.Key })
		if !on || f.Presence > 0 && b.random("presence", f.Stage, f.Key, look).Float64() >= f.Presence {
			continue
		}
		e.LevelDB += f.LevelDB
		e.TrebleDB += f.TrebleDB
		e.BassDB += f.BassDB
		e.NoiseDB += f.NoiseDB
		e.Dead = e.Dead || f.Dead
	}
	return e
}

// random is the generator that belongs to a question.
func (b *Bench) random(about ...string) *rand.Rand {
	h := fnv.New64a()
	for _, s := range about {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(b.Seed^streamBench, h.Sum64()))
}

// The answers that a check of a function can have, in the words of the record.
const (
	Works  = "works"
	Faulty = "faulty"
)

// Checked is the outcome of trying one function by ear.
type Checked struct {
	Function, Key string
	Outcome       string // Works or Faulty
	Symptom       string // dead, weak, dull, thin or noisy when faulty
	Effect        Effect // what was to be heard
}

// Check tries a function by ear. look tells repeated tries apart. An ear hears 3 dB of
// level, 4 dB of treble, 5 dB of bass and 8 dB of noise, each give or take 0.7 dB
// (common practice, no source), and names what stands out most. The error is
// [ErrBench].
func (b *Bench) Check(function, key string, look int) (Checked, error) {
	path, err := b.Def.Path(function, key)
	if err != nil {
		return Checked{}, fmt.Errorf("%w: %w", ErrBench, err)
	}
	id := fmt.Sprintf("check %s %s %d", function, key, look)
	e, ear := b.effect(path, id), b.random(id)
	hear := func(lossDB, threshold float64) float64 { return (lossDB + 0.7*ear.NormFloat64()) / threshold }
	heard := []struct {
		symptom string
		size    float64
	}{
		{"weak", hear(-e.LevelDB, 3)}, {"dull", hear(-e.TrebleDB, 4)},
		{"thin", hear(-e.BassDB, 5)}, {"noisy", hear(e.NoiseDB, 8)},
	}
	c := Checked{Function: function, Key: key, Outcome: Works, Effect: e}
	most := 1.0
	for _, h := range heard {
		if h.size >= most {
			c.Outcome, c.Symptom, most = Faulty, h.symptom, h.size
		}
	}
	// An open head lead hisses louder than anything is missing; else what is gone
	// is gone.
	if (e.Dead || e.LevelDB < -25) && e.NoiseDB < 10 {
		c.Outcome, c.Symptom = Faulty, "dead"
	} else if e.NoiseDB >= 10 && e.LevelDB < -25 {
		c.Outcome, c.Symptom = Faulty, "noisy"
	}
	return c, nil
}
