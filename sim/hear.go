package sim

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"

	"headstack/machine"
)

// The answers that a check of a function can have, in the words of the record.
const (
	Works        = "works"
	Faulty       = "faulty"
	Intermittent = "intermittent"
)

// Checked is the outcome of trying one function by ear.
type Checked struct {
	Function, Key string
	Outcome       string // Works, Faulty or Intermittent
	Symptom       string // dead, weak, dull, thin or noisy when it does not work
	Effect        Effect // what was to be heard
	// Heard is the key of the replica that was really heard: Key, unless the verdict
	// is wrong.
	Heard string
}

// Check tries a function by ear, the recorder not provoked and nothing said of its case.
// look tells repeated tries apart. An ear hears 3 dB of level, 4 dB of treble, 5 dB of
// bass and 8 dB of noise, each give or take 0.7 dB (common practice, no source), and
// names what stands out most. The error is [ErrBench].
func (b *Bench) Check(function, key string, look int) (Checked, error) {
	return b.CheckUnder(function, key, look, Condition{})
}

// CheckUnder is [Bench.Check] under a condition. With WrongTrack and DullElsewhere the
// verdict may be that of another replica; a function that has no others is then said to
// work. The error is [ErrBench].
func (b *Bench) CheckUnder(function, key string, look int, c Condition) (Checked, error) {
	right, err := b.hear(function, key, look, c)
	if err != nil || b.WrongTrack == 0 && b.DullElsewhere == 0 {
		return right, err
	}
	heard, wrong := b.mistaken(function, key, look, c)
	if !wrong {
		return right, nil
	}
	if heard == key {
		return Checked{Function: function, Key: key, Outcome: Works, Effect: right.Effect}, nil
	}
	other, err := b.hear(function, heard, look, c)
	other.Key = key
	return other, err
}

// mistaken is the replica whose verdict is booked for key.
func (b *Bench) mistaken(function, key string, look int, c Condition) (heard string, wrong bool) {
	f, _ := b.Def.Function(function)
	keys := b.Def.ReplicaKeys(f.Each)
	n := strconv.Itoa(look)
	// A dull track and the one that it is taken for change places.
	taken := map[string]string{}
	for _, k := range keys {
		if len(keys) < 2 || taken[k] != "" || b.random("dull", function, k, n).Float64() >= b.DullElsewhere {
			continue
		}
		if v, err := b.hear(function, k, look, c); err != nil || v.Symptom != "dull" {
			continue
		}
		if other := b.another(keys, k, "dull as", function, n); taken[other] == "" {
			taken[k], taken[other] = other, k
		}
	}
	if taken[key] != "" {
		return taken[key], true
	}
	if b.random("wrong", function, key, n).Float64() < b.WrongTrack {
		return b.another(keys, key, "wrong as", function, n), true
	}
	return key, false
}

// hear is what one try of a function sounds like.
func (b *Bench) hear(function, key string, look int, c Condition) (Checked, error) {
	path, err := b.Def.Path(function, key)
	if err != nil {
		return Checked{}, fmt.Errorf("%w: %w", ErrBench, err)
	}
	id := fmt.Sprintf("check %s %s %d", function, key, look)
	out := Checked{Function: function, Key: key, Effect: b.effect(path, id, c), Heard: key}
	out.Outcome, out.Symptom = verdict(out.Effect, b.random(id))
	if b.SeesBoth > 0 && b.fickle(path, c) && b.random("both", id).Float64() < b.SeesBoth {
		there := b.sum(path, func(f *Fault) bool { return f.shows(c) > 0 })
		gone := b.sum(path, func(f *Fault) bool { return f.shows(c) >= 1 })
		worse, sounds := verdict(there, b.random(id))
		if better, as := verdict(gone, b.random(id)); worse != better || sounds != as {
			out.Outcome, out.Symptom = Intermittent, sounds
		}
	}
	return out, nil
}

// fickle says whether something on a path comes and goes.
func (b *Bench) fickle(path []machine.Instance, c Condition) bool {
	return slices.ContainsFunc(b.Faults, func(f Fault) bool { p := f.shows(c); return p > 0 && p < 1 && f.on(path) })
}

// Audible says whether an average ear hears an effect, and as what.
func Audible(e Effect) (symptom string, ok bool) {
	outcome, symptom := verdict(e, nil)
	return symptom, outcome == Faulty
}

// verdict is what an ear says of an effect; without ear, an average one.
func verdict(e Effect, ear *rand.Rand) (outcome, symptom string) {
	hear := func(lossDB, threshold float64) float64 {
		if ear != nil {
			lossDB += 0.7 * ear.NormFloat64()
		}
		return lossDB / threshold
	}
	heard := []struct {
		symptom string
		size    float64
	}{
		{"weak", hear(-e.LevelDB, 3)}, {"dull", hear(-e.TrebleDB, 4)},
		{"thin", hear(-e.BassDB, 5)}, {"noisy", hear(e.NoiseDB, 8)},
	}
	outcome = Works
	most := 1.0
	for _, h := range heard {
		if h.size >= most {
			outcome, symptom, most = Faulty, h.symptom, h.size
		}
	}
	// An open head lead hisses louder than anything is missing; else what is gone
	// is gone.
	if (e.Dead || e.LevelDB < -25) && e.NoiseDB < 10 {
		return Faulty, "dead"
	} else if e.NoiseDB >= 10 && e.LevelDB < -25 {
		return Faulty, "noisy"
	}
	return outcome, symptom
}
