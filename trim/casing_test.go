package trim_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"headstack/measure"
	"headstack/trim"
)

func treble(track int) trim.Quantity {
	return trim.Quantity{Measure: "response", Track: track, ToneHz: 10000}
}

// casing is one machine whose lid does something, with its truth.
type casing struct {
	rng     *rand.Rand
	name    string
	offset  map[trim.Quantity]float64 // of the prop in use
	setting map[trim.Quantity]float64
	rho     float64
	sd      float64
	closing int
	c       map[trim.Quantity]float64 // how it came to sit this time
	epoch   int
}

func (k *casing) close() {
	k.closing++
	k.c = map[trim.Quantity]float64{}
	for q := range k.setting {
		k.c[q] = 0
	}
	for i := 1; i <= 6; i++ { // in one order, that seeds give the same
		k.c[treble(i)] = k.rho * k.rng.NormFloat64()
	}
}

func (k *casing) read(q trim.Quantity, state measure.CaseState, prop trim.Prop) trim.CaseReading {
	y := k.setting[q] + k.c[q] + k.sd*k.rng.NormFloat64()
	if state != measure.CaseClosed {
		y += k.offset[q]
	}
	return trim.CaseReading{Machine: k.name, Quantity: q, State: state, Prop: prop, Epoch: k.epoch, Closing: k.closing, Value: y, SD: k.sd}
}

func hexaModel(t testing.TB) *trim.Model {
	t.Helper()
	return newHexa(t, rand.New(rand.NewPCG(0, 0))).model
}

var stick = trim.Prop{Name: "stick", Angle: 40}

// TestCaseCover draws machines from the law: 500 of them, with or without other machines
// in the history, closed and open once, trimmed open, closed, read: the interval of the
// offset and of the closed proof must hold as often as they say.
func TestCaseCover(t *testing.T) {
	m := hexaModel(t)
	var found, proof, learned cover
	halves, after := 0.0, 0.0
	const runs = 500
	for seed := range uint64(runs) {
		rng := rand.New(rand.NewPCG(seed, 41))
		draw := func(mid float64) float64 { return mid * math.Exp(0.8*rng.NormFloat64()) }
		tau, rho := draw(0.7), draw(0.2)
		common := map[trim.Quantity]float64{}
		for i := 1; i <= 6; i++ {
			common[treble(i)] = 2 * rng.NormFloat64()
		}
		propShare := map[trim.Quantity]float64{}
		for i := 1; i <= 6; i++ {
			propShare[treble(i)] = tau * rng.NormFloat64() // of this prop, all machines
		}
		machineOf := func(name string) *casing {
			k := &casing{rng: rng, name: name, offset: map[trim.Quantity]float64{}, setting: map[trim.Quantity]float64{}, rho: rho, sd: 0.05}
			for i := 1; i <= 6; i++ {
				k.offset[treble(i)] = common[treble(i)] + propShare[treble(i)] + tau*rng.NormFloat64()
				k.setting[treble(i)] = 3 * rng.NormFloat64()
			}
			return k
		}
		var history []trim.CaseReading
		for n := range int(seed % 3) { // none, one or two other machines
			k := machineOf(fmt.Sprintf("other %d", n))
			for _, state := range []measure.CaseState{measure.CaseClosed, measure.CaseClosed, measure.CaseOpen} {
				k.close()
				for i := 1; i <= 6; i++ {
					history = append(history, k.read(treble(i), state, stick))
				}
			}
		}
		k := machineOf("this")
		c, err := trim.NewCase(m, "this", stick, history)
		if err != nil {
			t.Fatal(err)
		}
		both := func(state measure.CaseState) {
			k.close()
			for i := 1; i <= 6; i++ {
				if err := c.Add(k.read(treble(i), state, stick)); err != nil {
					t.Fatal(err)
				}
			}
		}
		both(measure.CaseClosed)
		both(measure.CaseOpen)
		open := k.closing
		q := treble(1 + int(seed%6))
		o := c.Offset(q)
		sits := k.c[q]
		halves += (o.Figure.Hi - o.Figure.Lo) / 2 / runs
		// Trimmed open to the target, read open, closed.
		target, _ := c.OpenTarget(trim.Target{Quantity: q, Value: 0, Tolerance: 0.5})
		k.epoch++
		k.setting[q] = target.Value - k.offset[q] - sits
		k.closing = open
		if err := c.Add(k.read(q, measure.CaseOpen, stick)); err != nil {
			t.Fatal(err)
		}
		k.closing = open + 100
		k.close()
		found.add(o.Figure, k.offset[q]+sits-k.c[q])
		closed := k.setting[q] + k.c[q]
		proof.add(trim.Figure{Lo: o.Figure.Lo - o.Figure.Value, Hi: o.Figure.Hi - o.Figure.Value}, closed)
		if err := c.Add(k.read(q, measure.CaseClosed, stick)); err != nil {
			t.Fatal(err)
		}
		o2 := c.Offset(q)
		after += (o2.Figure.Hi - o2.Figure.Lo) / 2 / runs
		k.close()
		learned.add(o2.Figure, k.offset[q]+sits-k.c[q])
	}
	t.Logf("half width %.3f dB, after the closed proof %.3f dB", halves, after)
	found.check(t, "offset, closed and open once")
	proof.check(t, "closed proof")
	learned.check(t, "offset after the closed proof")
	if after >= halves {
		t.Error("the closed proof teaches nothing")
	}
}

// TestUsable: what repeats well can be set open, what does not is told, with what helps.
func TestUsable(t *testing.T) {
	m := hexaModel(t)
	for _, c := range []struct {
		rho, tolerance float64
		ok             bool
		says           string
	}{{0.05, 0.5, true, "Set play response"}, {0.6, 0.5, false, "One closing differs from the next"}} {
		k := &casing{rng: rand.New(rand.NewPCG(2, 2)), name: "this", offset: map[trim.Quantity]float64{}, setting: map[trim.Quantity]float64{}, rho: c.rho, sd: 0.03}
		for i := 1; i <= 6; i++ {
			k.offset[treble(i)], k.setting[treble(i)] = 1.5, 0
		}
		cs, err := trim.NewCase(m, "this", stick, nil)
		if err != nil {
			t.Fatal(err)
		}
		if u := cs.Usable(treble(1), c.tolerance); u.OK || len(u.Instead) == 0 || !strings.Contains(u.Instead[0], "as found") {
			t.Errorf("nothing read: %+v", u)
		}
		for _, state := range []measure.CaseState{measure.CaseClosed, measure.CaseClosed, measure.CaseClosed, measure.CaseOpen} {
			k.close()
			for i := 1; i <= 6; i++ {
				if err := cs.Add(k.read(treble(i), state, stick)); err != nil {
					t.Fatal(err)
				}
			}
		}
		u := cs.Usable(treble(1), c.tolerance)
		t.Log(u.Sentence, u.Instead)
		if u.OK != c.ok || !strings.Contains(u.Sentence, c.says) || c.ok != (len(u.Instead) == 0) {
			t.Errorf("closing repeats to %g dB, tolerance %g dB: %+v", c.rho, c.tolerance, u)
		}
		// Another prop tells less, the same one at nearly the same angle the same.
		width := func(p trim.Prop) float64 {
			x, err := trim.NewCase(m, "this", p, nil)
			if err != nil {
				t.Fatal(err)
			}
			k.rng = rand.New(rand.NewPCG(1, 3))
			k.closing = 0
			for _, state := range []measure.CaseState{measure.CaseClosed, measure.CaseClosed, measure.CaseClosed, measure.CaseOpen} {
				k.close()
				for i := 1; i <= 6; i++ {
					if err := x.Add(k.read(treble(i), state, stick)); err != nil {
						t.Fatal(err)
					}
				}
			}
			f := x.Offset(treble(1)).Figure
			return f.Hi - f.Lo
		}
		same, near, other := width(stick), width(trim.Prop{Name: "stick", Angle: 45}), width(trim.Prop{Name: "book", Angle: 40})
		if !(same < near && near < other) {
			t.Errorf("widths: same prop %.3f, 5° off %.3f, another %.3f dB", same, near, other)
		}
	}
}

// TestClosingLearned: over 20 machines, how closing scatters is learned without a lean,
// from three closings of six tracks each, whatever the prior middle of 0.2 dB says.
func TestClosingLearned(t *testing.T) {
	m := hexaModel(t)
	for _, rho := range []float64{0.08, 0.2, 0.5} {
		lean := 0.0
		const runs = 20
		for seed := range uint64(runs) {
			k := &casing{rng: rand.New(rand.NewPCG(seed, 43)), name: "this", offset: map[trim.Quantity]float64{}, setting: map[trim.Quantity]float64{}, rho: rho, sd: 0.03}
			for i := 1; i <= 6; i++ {
				k.offset[treble(i)], k.setting[treble(i)] = 1.5, 0
			}
			cs, err := trim.NewCase(m, "this", stick, nil)
			if err != nil {
				t.Fatal(err)
			}
			for range 3 {
				k.close()
				for i := 1; i <= 6; i++ {
					if err := cs.Add(k.read(treble(i), measure.CaseClosed, stick)); err != nil {
						t.Fatal(err)
					}
				}
			}
			lean += math.Log(cs.Offset(treble(1)).Closing/rho) / runs
		}
		t.Logf("closing repeats to %g dB: learned %.2f times as much", rho, math.Exp(lean))
		if math.Abs(lean) > 0.25 {
			t.Errorf("closing repeats to %g dB: learned %.2f times as much", rho, math.Exp(lean))
		}
	}
}

func TestCaseRefuses(t *testing.T) {
	m := hexaModel(t)
	for _, r := range []trim.CaseReading{
		{Machine: "a", Quantity: treble(1), State: measure.CaseOpen, Value: 1},
		{Machine: "a", Quantity: treble(1), State: measure.CaseOpen, Value: math.NaN(), SD: 1},
		{Quantity: treble(1), State: measure.CaseOpen, Value: 1, SD: 1},
		{Machine: "a", Quantity: treble(1), Value: 1, SD: 1},
	} {
		if _, err := trim.NewCase(m, "a", stick, []trim.CaseReading{r}); err == nil {
			t.Errorf("%+v is taken", r)
		}
	}
}
