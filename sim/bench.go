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
// points and how its functions behave, and lets it be worked on. Every answer depends
// only on Seed, on what was asked and on the faults that are left, not on the order of
// asking. Make it with [NewBench].
type Bench struct {
	Def    *machine.Definition
	Faults []Fault // those that are there now; [Bench.Do] takes them away
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
	// WrongTrack is the probability that a check is made on another track than the
	// one it is booked for, and DullElsewhere that a dull track is booked as another.
	WrongTrack, DullElsewhere float64
	// SeesBoth is the probability that one check of an intermittent fault meets it
	// both there and gone.
	SeesBoth float64
	// RepairFails is the probability that a repair leaves the fault in place, FalseCure
	// that an exchange sends an intermittent one to sleep.
	RepairFails, FalseCure float64

	done map[Work]int // how often each work was done
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
	// Shows and CuredBy are those of [machine.FaultMode].
	Shows, CuredBy map[string]float64
	// Asleep says that it is there and does not show, because it was disturbed.
	Asleep bool
}

// ErrBench is the error of a fault, probe or check that the definition has no place
// for.
var ErrBench = errors.New("not in the machine definition")

// NewBench makes a bench with readings that scatter by 0.2 dB, instruments that are
// off by 0.3 dB, parts that spread as the definition says, no slips and no wrong
// verdicts; 2 % of repairs fail and 15 % of exchanges of an intermittent part are a
// false cure (common practice, no source). The error is [ErrBench].
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
	return &Bench{Def: def, Faults: slices.Clone(faults), Seed: seed, ReadingNoiseDB: 0.2, InstrumentDB: 0.3, Spread: 1,
		RepairFails: 0.02, FalseCure: 0.15, done: map[Work]int{}}, nil
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
			Shows: m.Shows, CuredBy: m.CuredBy,
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
func (b *Bench) effect(path []machine.Instance, look string, c Condition) Effect {
	return b.sum(path, func(f *Fault) bool {
		p := f.shows(c)
		return p >= 1 || b.random("presence", f.Stage, f.Key, look).Float64() < p
	})
}

// sum adds up the faults on a path that are there.
func (b *Bench) sum(path []machine.Instance, there func(*Fault) bool) Effect {
	var e Effect
	for i := range b.Faults {
		f := &b.Faults[i]
		if !f.on(path) || !there(f) {
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

// on says whether the fault lies on a path.
func (f *Fault) on(path []machine.Instance) bool {
	return slices.ContainsFunc(path, func(i machine.Instance) bool { return i.Stage.ID == f.Stage && i.Key == f.Key })
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
