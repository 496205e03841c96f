package learn_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"headstack/learn"
	"headstack/machine"
)

// small is a recorder of two stages, of which one repeats over four tracks.
func small(t testing.TB, id string, p float64) *machine.Definition {
	t.Helper()
	d := hexastrand(t).Clone()
	d.ID = id
	d.Tracks.Count = 4
	d.Stages = []machine.Stage{
		{ID: "C1", Name: "capacitor", Part: "C1-{track}", Kind: "coupling-capacitor", Each: "track", Prior: p, Faults: []machine.FaultMode{
			{Mode: machine.Weak, Cause: "dried out", Weight: 3, CureMin: 15}, {Mode: machine.Dead, Cause: "open", Weight: 1, CureMin: 15}}},
		{ID: "PS", Name: "supply", Part: "PS", Kind: "supply", Prior: p},
	}
	return d.Clone() // with its index made anew
}

func prior(t testing.TB, d *machine.Definition, stage string) float64 {
	t.Helper()
	s, ok := d.Stage(stage)
	if !ok {
		t.Fatalf("no stage %s", stage)
	}
	p, _ := d.FaultModes(s)
	return p
}

func TestNothingCountedChangesNothing(t *testing.T) {
	d := hexastrand(t)
	if l := learn.Learn(d, &learn.Counts{}); l.Definition != d || len(l.Changes) != 0 || l.PriorsText() != "" {
		t.Errorf("%d changes, %q", len(l.Changes), l.PriorsText())
	}
}

// TestByHand: six machines of four capacitors, four of them at fault on four machines,
// one cured unproven. Prior 0.02 weighing 20 machines of 4: a = 1.6 of 80; then
// (1.6 + 4)/(80 + 24 − 1) = 0.054369. Causes 3:1 weighing 3 faults: dried out
// (2.25 + 3)/(3 + 4) = 0.75. Minutes: 15 weighs 4, then 30 and 30: the mean of
// logarithms (4·ln 15 + 2·ln 30)/6 gives 15·2^(1/3) = 18.899.
func TestByHand(t *testing.T) {
	d := small(t, "one", 0.02)
	var c learn.Counts
	for i := range 6 {
		var x learn.Closed
		if i < 4 {
			cause := "dried out"
			if i == 3 {
				cause = "open"
			}
			x.Faults = []learn.Fault{{Stage: "C1", Key: "2", Cause: cause, Proven: true, Work: "repair"}}
		}
		if i < 2 {
			x.Minutes.Repairs = map[string]map[string]learn.Log{"coupling-capacitor": {"dried out": learn.LogOf(30)}}
		}
		if i == 5 {
			x.Faults = []learn.Fault{{Stage: "C1", Key: "1", Work: "clean"}}
		}
		c.Merge(learn.Count(d, x))
	}
	l := learn.Learn(d, &c)
	close := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6*want {
			t.Errorf("%s = %.8g, want %.8g", what, got, want)
		}
	}
	close("prior", prior(t, l.Definition, "C1"), 5.6/103)
	// The supply: none of 6, prior 0.02 weighing 20: 0.4/26.
	close("prior of the supply", prior(t, l.Definition, "PS"), 0.4/26)
	s, _ := l.Definition.Stage("C1")
	_, modes := l.Definition.FaultModes(s)
	close("dried out", modes[0].Weight, 0.75)
	close("minutes", modes[0].CureMin, 15*math.Cbrt(2))
	close("minutes of the other cause", modes[1].CureMin, 15)
	if d.Stages[0].Prior != 0.02 || d.Stages[0].Faults[0].Weight != 3 {
		t.Error("the definition given was changed")
	}
	if got := l.PriorsText(); got != "priors from 6 machines of this type" {
		t.Error(got)
	}
	if got := c.StageText("one", "C1"); got != "C1: at fault in 4 of 6 machines of this type" {
		t.Error(got)
	}
	// prior_weight says how fast: weighing 5 machines it is (0.4 + 4)/(20 + 23).
	d.PriorWeight = 5
	close("prior weighing 5 machines", prior(t, learn.Apply(d, &c), "C1"), 4.4/43)
}

// TestAFamilyScalesTheOtherTypes: ten machines of one type with 8 capacitors at fault where
// 40·0.05 = 2 were expected: the factor is (5+8)/(5+2); another type of which nothing is
// known starts at 13/7 of its prior, and that still weighs 20 machines.
func TestAFamilyScalesTheOtherTypes(t *testing.T) {
	a, b := small(t, "one", 0.05), small(t, "two", 0.01)
	var c learn.Counts
	for i := range 10 {
		var x learn.Closed
		if i < 8 {
			x.Faults = []learn.Fault{{Stage: "C1", Key: "3", Cause: "open", Proven: true, Work: "repair"}}
		}
		c.Merge(learn.Count(a, x))
	}
	l := learn.Learn(b, &c)
	want := 0.01 * 13 / 7
	if got := prior(t, l.Definition, "C1"); math.Abs(got-want) > 1e-9 {
		t.Errorf("prior %g, want %g", got, want)
	}
	if l.PriorsText() != "priors from like stages of 10 machines of other types" {
		t.Error(l.PriorsText())
	}
	c.Merge(learn.Count(b, learn.Closed{}))
	if got, want := prior(t, learn.Apply(b, &c), "C1"), want*80/84; math.Abs(got-want) > 1e-9 {
		t.Errorf("after one good machine of its own %g, want %g", got, want)
	}
	// Its own machines say nothing about its family twice.
	if got, want := prior(t, learn.Apply(a, &c), "C1"), (0.05*(5./(5+4*0.01))*80+8)/120; math.Abs(got-want) > 1e-9 {
		t.Errorf("the first type: %g, want %g", got, want)
	}
}

// TestMoreEvidenceNarrows: ten times the same counts give narrower intervals.
func TestMoreEvidenceNarrows(t *testing.T) {
	d := hexastrand(t)
	rapid.Check(t, func(t *rapid.T) {
		one := learn.Count(d, anyClosed(t, d))
		var ten learn.Counts
		for range 10 {
			ten.Merge(one)
		}
		first, many := learn.Learn(d, one), learn.Learn(d, &ten)
		if len(first.Changes) != len(many.Changes) {
			t.Fatalf("%d and %d numbers", len(first.Changes), len(many.Changes))
		}
		for i, c := range first.Changes {
			width := func(c learn.Change) float64 {
				if c.Kind == learn.PriorNumber || c.Kind == learn.CauseNumber {
					// As spread of the number itself where it stayed; where it moved,
					// in units of the spread that a probability of that size has.
					return (c.Hi - c.Lo) / math.Sqrt(c.Is*(1-c.Is))
				}
				return math.Log(c.Hi / c.Lo)
			}
			m := many.Changes[i]
			if !(c.Lo <= c.Is && c.Is <= c.Hi) && c.Is > 1e-3 {
				t.Fatalf("the interval does not hold the number: %+v", c)
			}
			if w, n := width(c), width(m); n > w*(1+1e-9) && c.Is > 1e-3 {
				t.Fatalf("once %+v (width %g), ten times %+v (width %g)", c, w, m, n)
			}
		}
	})
}

// shop draws machines of a definition whose stages fail at the rates given.
func shop(rng *rand.Rand, d *machine.Definition, rate map[string]float64, n int, c *learn.Counts) {
	for range n {
		var x learn.Closed
		for _, in := range d.Instances() {
			if rng.Float64() < rate[in.Stage.ID] {
				x.Faults = append(x.Faults, learn.Fault{Stage: in.Stage.ID, Key: in.Key, Proven: true, Work: "repair"})
			}
		}
		c.Merge(learn.Count(d, x))
	}
}

// TestLearnedPriorsConverge: rates that differ from the definition's by up to a factor of
// 5 either way. After 2000 machines each learned prior lies within what the posterior of
// the true rate allows: bias w/(w+n)·|p0−p| and five standard errors of the counts.
func TestLearnedPriorsConverge(t *testing.T) {
	d := hexastrand(t)
	rng := rand.New(rand.NewPCG(7, 20))
	rate := map[string]float64{}
	for i := range d.Stages {
		p, _ := d.FaultModes(&d.Stages[i])
		rate[d.Stages[i].ID] = math.Min(0.4, p*math.Exp((2*rng.Float64()-1)*math.Log(5)))
	}
	var c learn.Counts
	var before float64
	for _, n := range []int{0, 2000} {
		shop(rng, d, rate, n, &c)
		l := learn.Apply(d, &c)
		sum := 0.0
		for i := range d.Stages {
			s := &d.Stages[i]
			p, p0, m := rate[s.ID], prior(t, d, s.ID), float64(len(d.ReplicaKeys(s.Each)))
			got := prior(t, l, s.ID)
			sum += math.Abs(math.Log(got/p)) / float64(len(d.Stages))
			w := d.Weight()
			bound := w/(w+float64(n))*math.Abs(p0-p) + 5*math.Sqrt(p*(1-p)*float64(n)*m)/(m*(w+float64(n)))
			if math.Abs(got-p) > bound+1e-12 {
				t.Errorf("%s after %d machines: %.5f, true %.5f ± %.5f", s.ID, n, got, p, bound)
			}
		}
		t.Logf("after %d machines the priors are off by a factor of %.2f in the mean", n, math.Exp(sum))
		if n == 0 {
			before = sum
		} else if sum > before/3 { // rates of a few in a thousand are known no better from 2000 machines
			t.Errorf("mean error of the logarithm %.3f, was %.3f", sum, before)
		}
	}
}

// TestAWrongPriorIsMended: a stage on four tracks that fails at 0.06 where the definition
// says a third or three times as much. Weighing 20 machines against n, the prior is expected
// at (20·p0 + n·p)/(20 + n): after 30 machines three times too high becomes 1.8 times,
// a third becomes 0.73; after 30 machines and a weight of 5 it is 1.29 and 0.90.
func TestAWrongPriorIsMended(t *testing.T) {
	const p, shops = 0.06, 400
	for _, c := range []struct{ factor, weight, want float64 }{
		{3, 0, 1.8}, {1. / 3, 0, 0.733}, {3, 5, 1.286}, {1. / 3, 5, 0.905},
	} {
		d := small(t, "one", p*c.factor)
		d.PriorWeight = c.weight
		rng := rand.New(rand.NewPCG(11, 3))
		var sum, squares float64
		nearer := 0
		for range shops {
			var counts learn.Counts
			shop(rng, d, map[string]float64{"C1": p, "PS": 0.02}, 30, &counts)
			got := prior(t, learn.Apply(d, &counts), "C1") / p
			sum, squares = sum+got, squares+got*got
			if math.Abs(math.Log(got)) < math.Ln2 {
				nearer++
			}
		}
		mean := sum / shops
		sd := math.Sqrt(squares/shops - mean*mean)
		t.Logf("prior %.2f times the truth, weight %g: after 30 machines %.2f times, sd %.2f; within a factor of 2 in %d of %d shops", c.factor, c.weight, mean, sd, nearer, shops)
		if math.Abs(mean-c.want) > 4*sd/math.Sqrt(shops)+0.002 {
			t.Errorf("factor %.2f, weight %g: %.3f times the truth after 30 machines, want %.3f", c.factor, c.weight, mean, c.want)
		}
		if nearer < shops*8/10 {
			t.Errorf("factor %.2f, weight %g: mended in %d of %d shops only", c.factor, c.weight, nearer, shops)
		}
	}
}

// TestIntervalsCover: rates drawn from the prior itself, and machines from the rates: the
// 95 % interval holds the rate in 95 % of cases. 3000 cases: ±1.2 % at three sigma.
func TestIntervalsCover(t *testing.T) {
	d := small(t, "one", 0.05)
	rng := rand.New(rand.NewPCG(5, 1))
	in, cases := 0, 3000
	for range cases {
		// Beta(a, b) of whole a, b: the a-th smallest of a+b−1 uniform numbers; the
		// prior 0.05 weighing 20 machines of 4 is Beta(4, 76).
		p := smallest(rng, 4, 79)
		var c learn.Counts
		shop(rng, d, map[string]float64{"C1": p}, 5, &c)
		for _, ch := range learn.Learn(d, &c).Changes {
			if ch.Kind == learn.PriorNumber && ch.Stage == "C1" && ch.Lo <= p && p <= ch.Hi {
				in++
			}
		}
	}
	if share := float64(in) / float64(cases); math.Abs(share-0.95) > 0.012 {
		t.Errorf("95 %% intervals hold the rate in %.1f %% of %d", 100*share, cases)
	}
}

func smallest(rng *rand.Rand, k, n int) float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.Float64()
	}
	for i := range k {
		for j := i + 1; j < n; j++ {
			if x[j] < x[i] {
				x[i], x[j] = x[j], x[i]
			}
		}
	}
	return x[k-1]
}

func TestMinutesOfOpeningsChecksAndReadings(t *testing.T) {
	d := hexastrand(t)
	o, f := d.Openings[0], d.Functions[0]
	l := learn.Learn(d, learn.Count(d, learn.Closed{Minutes: learn.Minutes{
		Down: map[string]learn.Log{o.ID: log(4 * o.DownMin)}, Up: map[string]learn.Log{o.ID: log(o.UpMin, o.UpMin)},
		Checks: map[string]learn.Log{f.ID: log(32 * f.CheckMinutes)}, Reading: log(3, 3, 3)}}))
	got, _ := l.Definition.Opening(o.ID)
	// One against four: the logarithm moves a fifth of the way.
	if want := o.DownMin * math.Pow(4, 0.2); math.Abs(got.DownMin-want) > 1e-5*want || math.Abs(got.UpMin-o.UpMin) > 1e-5 || got.AfterMin != o.AfterMin {
		t.Errorf("%+v, want %g min down, %g up", got, want, o.UpMin)
	}
	g, _ := l.Definition.Function(f.ID)
	if want := f.CheckMinutes * 2; math.Abs(g.CheckMinutes-want) > 1e-5*want {
		t.Errorf("check %g min, want %g", g.CheckMinutes, want)
	}
	ratio := 0.0
	for i, tp := range l.Definition.TestPoints {
		was := d.TestPoints[i].Minutes
		if was == 0 {
			was = 2
		}
		if r := tp.Minutes / was; ratio != 0 && math.Abs(r-ratio) > 1e-9 {
			t.Errorf("%s scaled by %g, others by %g", tp.ID, r, ratio)
		} else {
			ratio = r
		}
	}
	if ratio == 1 {
		t.Error("readings of three minutes changed nothing")
	}
}

func TestRates(t *testing.T) {
	d := hexastrand(t)
	c := learn.Count(d, learn.Closed{Readings: learn.Tally{Taken: 100, Wrong: map[string]int{learn.TooLarge: 3}},
		Faults: []learn.Fault{{Stage: "AZ", Work: "clean", Back: true}}, Minutes: learn.Minutes{Works: map[string]learn.Log{"clean": log(10)}}})
	r := learn.RatesOf(c)
	for _, x := range r.Readings {
		if x.What == learn.TooLarge && math.Abs(x.Is-(0.5+3)/200) > 1e-12 {
			t.Errorf("%+v, want (0.5 + 3)/200", x)
		}
		if !(x.Lo < x.Is && x.Is < x.Hi) {
			t.Errorf("%+v", x)
		}
	}
	if x := r.Readings[0]; x.What != learn.AnyError || x.Wrong != 3 || x.Of != 100 {
		t.Errorf("%+v", x)
	}
	if len(r.Returns) != 1 || math.Abs(r.Returns[0].Is-6./21) > 1e-12 {
		t.Errorf("%+v, want (5 + 1)/(20 + 1)", r.Returns)
	}
	if want := 5 * math.Pow(2, 0.2); math.Abs(r.Cleaning.Is-want) > 1e-5 {
		t.Errorf("cleaning %g min, want %g", r.Cleaning.Is, want)
	}
}
