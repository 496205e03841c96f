package trim_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"headstack/machine"
	"headstack/tape"
	"headstack/trim"
	"headstack/unit"
)

// hexa is the built-in cassette recorder with a truth of its own, reckoned here from the
// laws of tape and not from the package under test.
type hexa struct {
	rng   *rand.Rand
	d     *machine.Definition
	model *trim.Model
	speed unit.MetrePerSecond
	// Bases: what each is with every trim as found.
	level, treble, record, recordTreble, bias []float64
	azimuth                                   float64
	biasLevel, biasTreble, recTreble          []float64
	sens                                      map[trim.ID]float64
	done                                      map[trim.ID]float64 // true travel since
	last                                      map[trim.ID]float64
}

func newHexa(t testing.TB, rng *rand.Rand) *hexa {
	t.Helper()
	d, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no hexastrand")
	}
	m, err := trim.ForMachine(d, trim.Options{})
	if err != nil {
		t.Fatal(err)
	}
	h := &hexa{rng: rng, d: d, model: m, speed: unit.MetrePerSecond(d.Speeds[0].CmS / 100),
		sens: map[trim.ID]float64{}, done: map[trim.ID]float64{}, last: map[trim.ID]float64{}}
	family := map[string]float64{}
	for _, x := range m.Trims() {
		if _, ok := family[x.Family]; !ok {
			family[x.Family] = rng.NormFloat64() * x.FamilySpread
		}
		sign := float64(x.Sign)
		if sign == 0 { // of the azimuth screw the model does not know it
			sign = float64(2*rng.IntN(2) - 1)
		}
		h.sens[x.ID] = sign * x.Sensitivity() * math.Exp(family[x.Family]+x.OwnSpread*rng.NormFloat64())
	}
	for range d.Tracks.Count {
		h.level = append(h.level, 2.5*rng.NormFloat64())
		h.treble = append(h.treble, 1.5*rng.NormFloat64())
		h.record = append(h.record, 2*rng.NormFloat64())
		h.recordTreble = append(h.recordTreble, 0.8*rng.NormFloat64())
		h.bias = append(h.bias, 0.425*math.Exp(0.15*rng.NormFloat64()))
		h.biasLevel = append(h.biasLevel, -0.15+0.2*rng.NormFloat64())
		h.biasTreble = append(h.biasTreble, -0.8+0.3*math.Max(-2, math.Min(2, rng.NormFloat64())))
		h.recTreble = append(h.recTreble, -0.05+0.05*rng.NormFloat64())
	}
	h.azimuth = 8 * rng.NormFloat64()
	return h
}

func (h *hexa) moved(id string) float64 { return h.sens[trim.ID(id)] * h.done[trim.ID(id)] }

func (h *hexa) angle() float64 { return h.azimuth + h.moved("AZ") }

func (h *hexa) loss(hz float64) float64 {
	return float64(tape.AzimuthLoss(unit.Metre(h.d.Tracks.WidthMm/1000), unit.Radian(h.angle())*tape.Arcminute, tape.Wavelength(h.speed, unit.Hertz(hz))))
}

// truth is a quantity now.
func (h *hexa) truth(q trim.Quantity) float64 {
	i := q.Track - 1
	id := func(p string) string { return fmt.Sprintf("%s-%d", p, q.Track) }
	level := func() float64 { return h.level[i] + h.moved(id("VRa")) }
	biasDB := func() float64 { return 20 * math.Log10((h.bias[i]+h.moved(id("VRd")))/0.425) }
	record := func() float64 { return h.record[i] + level() + h.biasLevel[i]*biasDB() + h.moved(id("VRc")) }
	treble := func() float64 { return h.treble[i] + h.moved(id("VRb")) }
	switch q.Measure {
	case "level":
		return level()
	case "response":
		return treble() - h.loss(q.ToneHz) + h.loss(h.d.Reference.ToneHz)
	case "bias":
		return h.bias[i] + h.moved(id("VRd"))
	case "record_level":
		return record()
	case "record_response":
		return h.recordTreble[i] + treble() + h.biasTreble[i]*biasDB() + h.recTreble[i]*record()
	case "azimuth":
		return h.angle()
	case "delay":
		tr := h.d.Geometry().Tracks
		return 1e6 * float64(tape.AzimuthDelay(tr[q.TrackB-1].Centre-tr[i].Centre, unit.Radian(h.angle())*tape.Arcminute, h.speed))
	}
	panic(q.Measure)
}

func (h *hexa) noise(q trim.Quantity) float64 {
	switch q.Measure {
	case "bias":
		return 0.002
	case "delay":
		return 1
	}
	return 0.1
}

func (h *hexa) read(qs ...trim.Quantity) []trim.Reading {
	var out []trim.Reading
	for _, q := range qs {
		out = append(out, trim.Reading{Quantity: q, Value: h.truth(q) + h.noise(q)*h.rng.NormFloat64(), SD: h.noise(q)})
	}
	return out
}

// turn moves a trim as a hand does: 2 % and 1.5° off, less 3 % on reversal.
func (h *hexa) turn(id trim.ID, by float64) {
	x, _ := h.model.Trim(id)
	mark := 1.5
	if x.Unit == trim.Turns {
		mark /= 360
	}
	true_ := by + math.Hypot(0.02*by, mark)*h.rng.NormFloat64()
	before := h.last[id]
	if before == 0 {
		before = float64(2*h.rng.IntN(2) - 1)
	}
	if before*by < 0 {
		true_ -= 0.03 * by
	}
	h.done[id] += true_
	h.last[id] = by
}

func (h *hexa) quantities() []trim.Quantity {
	var out []trim.Quantity
	for i := 1; i <= h.d.Tracks.Count; i++ {
		out = append(out, level(i), trim.Quantity{Measure: "response", Track: i, ToneHz: 10000}, trim.Quantity{Measure: "bias", Track: i},
			trim.Quantity{Measure: "record_level", Track: i}, trim.Quantity{Measure: "record_response", Track: i, ToneHz: 10000})
	}
	for i := 2; i <= h.d.Tracks.Count; i++ {
		out = append(out, trim.Quantity{Measure: "delay", Track: 1, TrackB: i})
	}
	return out
}

func (h *hexa) targets() []trim.Target {
	out := []trim.Target{{Quantity: trim.Quantity{Measure: "azimuth"}, Tolerance: 1}}
	for i := 1; i <= h.d.Tracks.Count; i++ {
		out = append(out,
			trim.Target{Quantity: level(i), Tolerance: 0.5},
			trim.Target{Quantity: trim.Quantity{Measure: "response", Track: i, ToneHz: 10000}, Tolerance: 1},
			trim.Target{Quantity: trim.Quantity{Measure: "record_level", Track: i}, Tolerance: 0.5},
			// No trim of its own: the bias sets it.
			trim.Target{Quantity: trim.Quantity{Measure: "record_response", Track: i, ToneHz: 10000}, Tolerance: 1})
	}
	return out
}

type cover struct{ in, n int }

func (c *cover) add(f trim.Figure, truth float64) {
	if f.Lo <= truth && truth <= f.Hi {
		c.in++
	}
	c.n++
}

func (c cover) check(t *testing.T, name string) {
	t.Helper()
	share := float64(c.in) / float64(c.n)
	t.Logf("%s: %.1f %% of %d", name, 100*share, c.n)
	if share < 0.92 || share > 0.98 {
		t.Errorf("%s: 95 %% intervals cover %.1f %% of %d", name, 100*share, c.n)
	}
}

// TestCover holds that of 500 recorders the intervals cover the truth as often as they say:
// of one trim's reading after the first turn and after the second, of states read and not
// read since, and of sensitivities.
func TestCover(t *testing.T) {
	var first, second, state, unread, sens, sibling, turns cover
	promised, inside := 0.0, 0.0
	for seed := range uint64(500) {
		h := newHexa(t, rand.New(rand.NewPCG(seed, 5)))
		b := trim.NewBench(h.model)
		mustRead(t, b, h.read(h.quantities()...))
		q := level(2)
		if math.Abs(h.truth(q)) < 0.8 {
			h.level[1] += math.Copysign(2, h.level[1])
			b = trim.NewBench(h.model)
			mustRead(t, b, h.read(h.quantities()...))
		}
		for n := range 2 {
			x := turnFor(t, b, q)
			if x.Do != trim.DoTurn {
				break
			}
			exact := -h.truth(q) / h.sens["VRa-2"]
			h.turn(x.Trim, x.By)
			mustTurn(t, b, x.Trim, x.By)
			f, _ := b.State(q)
			unread.add(f, h.truth(q))
			rec, _ := b.State(trim.Quantity{Measure: "record_level", Track: 2})
			unread.add(rec, h.truth(trim.Quantity{Measure: "record_level", Track: 2}))
			promised += x.After95
			if math.Abs(h.truth(q)) <= x.Target.Tolerance {
				inside++
			}
			r := h.read(q)
			if n == 0 {
				first.add(x.After, r[0].Value)
				// Backlash and hand are no part of the turn that would have been exact.
				turns.add(trim.Figure{Lo: x.Lo, Hi: x.Hi}, exact)
			} else {
				second.add(x.After, r[0].Value)
			}
			mustRead(t, b, r)
			f, _ = b.State(q)
			state.add(f, h.truth(q))
		}
		s, _ := b.Sensitivity("VRa-2")
		sens.add(s, h.sens["VRa-2"])
		s, _ = b.Sensitivity("VRa-5")
		sibling.add(s, h.sens["VRa-5"])
	}
	first.check(t, "reading after the first turn")
	second.check(t, "reading after the second turn")
	state.check(t, "state, read")
	unread.check(t, "state, not read since a turn")
	sens.check(t, "sensitivity")
	sibling.check(t, "sensitivity of a sibling")
	turns.check(t, "the turn that is exact")
	n := float64(first.n + second.n)
	t.Logf("inside after a turn: %.1f %%, promised %.1f %%", 100*inside/n, 100*promised/n)
	if math.Abs(inside-promised) > 3*math.Sqrt(n)/2 { // three standard deviations at the most
		t.Errorf("inside after a turn: %g of %g, promised %.1f", inside, n, promised)
	}
}

func mustRead(t testing.TB, b *trim.Bench, rs []trim.Reading) []trim.Doubt {
	t.Helper()
	d, err := b.Read(rs...)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func mustTurn(t testing.TB, b *trim.Bench, id trim.ID, by float64) {
	t.Helper()
	if err := b.Turn(trim.Move{Trim: id, By: by}); err != nil {
		t.Fatal(err)
	}
}

// turnFor is what to do about a level.
func turnFor(t testing.TB, b *trim.Bench, q trim.Quantity) trim.Turn {
	t.Helper()
	next, err := b.Next([]trim.Target{{Quantity: q, Tolerance: 0.3}})
	if err != nil {
		t.Fatal(err)
	}
	return next[0]
}

// TestWholeRecorder lines up azimuth, levels, treble, bias and record level of
// recorders by the advice, in passes and one after the other.
func TestWholeRecorder(t *testing.T) {
	const recorders = 12
	for _, onePass := range []bool{true, false} {
		moves, passes, out, missed, doubts, n := 0, 0, 0, 0, 0, 0
		for seed := range uint64(recorders) {
			h := newHexa(t, rand.New(rand.NewPCG(seed, 6)))
			b := trim.NewBench(h.model)
			doubts += len(mustRead(t, b, h.read(h.quantities()...)))
			for _, x := range h.targets() {
				if math.Abs(h.truth(x.Quantity)) > x.Tolerance {
					out++
				}
			}
			for range 60 {
				next, err := b.Next(h.targets())
				if err != nil {
					t.Fatal(err)
				}
				if next[0].Do == trim.DoEnough || next[0].Do == trim.DoFault {
					break
				}
				passes++
				seen := map[trim.ID]bool{}
				for _, x := range next {
					if x.Do == trim.DoTurn && !seen[x.Trim] {
						h.turn(x.Trim, x.By)
						mustTurn(t, b, x.Trim, x.By)
						seen[x.Trim] = true
						moves++
						if !onePass {
							break
						}
					}
				}
				d := mustRead(t, b, h.read(h.quantities()...))
				doubts += len(d)
			}
			for _, x := range h.targets() {
				n++
				if math.Abs(h.truth(x.Quantity)) > x.Tolerance {
					missed++
				}
			}
		}
		t.Logf("one pass %v: %.2f turns per target that was out (%d of %d), %.1f passes a recorder, %.1f %% missed, %d doubts", onePass, float64(moves)/float64(out), out, n, float64(passes)/recorders, 100*float64(missed)/float64(n), doubts)
		if share := float64(missed) / float64(n); share > 0.05 {
			t.Errorf("%.1f %% of targets left outside", 100*share)
		}
		if float64(moves) > 2.0*float64(out) {
			t.Errorf("%d turns for %d targets that were out", moves, out)
		}
	}
}
