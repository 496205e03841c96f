package bias

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// bench draws staircases of seeded tracks.
type bench struct {
	r     *rand.Rand
	truth truth
	trim  Trim
	noise float64 // of a reading, dB
	peak  float64 // position of the treble's peak
	slope float64 // true span over the one believed
}

// newBench draws a track whose treble peaks somewhere in the middle of the trim, which
// stands 1 to 4 dB of bias past it. With spread 0 the law of the trim is known, else its
// slope is off by up to spread and its bend by 0.3.
func newBench(seed int, spread, play float64) *bench {
	r := rand.New(rand.NewPCG(uint64(seed), 0xb1a5))
	u := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	b := &bench{r: r, truth: drawTruth(r), noise: 0.15}
	b.trim = Trim{ID: "T", Track: 1, Sign: 1, Backlash: play, Law: Law{SpanDB: u(11, 15), Spread: spread, Bend: 0.2}}
	real := b.trim.Law
	if spread > 0 {
		b.trim.Law.BendSD = 0.2
		real.SpanDB *= u(1-spread, 1+spread)
		real.Bend = u(-0.1, 0.5)
	}
	b.slope = real.SpanDB / b.trim.Law.SpanDB
	b.peak = u(0.35, 0.5)
	b.truth.bias = func(p float64) float64 { return real.DB(p) - real.DB(b.peak) }
	b.trim.Now = clamp(b.peak + u(1, 4)/b.trim.Law.SpanDB)
	return b
}

// wiper is where the trim really stands, set to p from below: the hand misses, and the
// play is taken up by another part of it each time.
func (b *bench) wiper(p float64) float64 {
	return p + b.trim.Backlash*(b.r.Float64()-0.5) + hand*b.r.NormFloat64()
}

// positions of the first staircase that is planned.
func (b *bench) positions(t testing.TB) []float64 {
	t.Helper()
	p, err := New(Want{Tones: studio}, b.trim)
	if err != nil {
		t.Fatal(err)
	}
	return p.Tracks[0].Positions
}

func (b *bench) record(at []float64) Staircase {
	var s Staircase
	for _, p := range at {
		s.Readings = append(s.Readings, b.read(p, b.wiper(p)))
	}
	return s
}

// read is a step that is thought to stand at p and stands at wiper.
func (b *bench) read(p, wiper float64) Reading {
	x := b.truth.bias(wiper)
	return Reading{Position: p,
		Treble: &Level{Value: -3 + b.truth.treble(x) + b.noise*b.r.NormFloat64(), SD: b.noise},
		Low:    &Level{Value: -2 + b.truth.low(x) + b.noise*b.r.NormFloat64(), SD: b.noise}}
}

// fallAt is the true fall of the treble with the wiper at p.
func (b *bench) fallAt(p float64) float64 { return -b.truth.treble(b.truth.bias(p)) }

// meets is the position past the peak at which the treble has truly fallen by db.
func (b *bench) meets(db float64) float64 {
	lo, hi := b.peak, b.peak+1
	for range 60 {
		if m := (lo + hi) / 2; b.fallAt(m) < db {
			lo = m
		} else {
			hi = m
		}
	}
	return lo
}

var studio = Tones{TrebleHz: 10000, LowHz: 1000, SpeedCmS: 38.1}

// runs is the size of a statistic: few, a quarter of long with HEADSTACK_LONG=1, which is
// what CI affords, or long with HEADSTACK_LONG=full.
func runs(few, long int) int {
	switch os.Getenv("HEADSTACK_LONG") {
	case "":
		return few
	case "full":
		return long
	}
	return max(few, long/4)
}

// tally counts intervals that hold the truth.
type tally struct{ hit, all int }

func (y *tally) add(lo, truth, hi float64) {
	y.all++
	if lo <= truth && truth <= hi {
		y.hit++
	}
}

// check wants 92 to 98 % of 500, or what chance allows of fewer.
func (y tally) check(t *testing.T, what string) {
	t.Helper()
	got := float64(y.hit) / float64(y.all)
	lo, hi := 0.92, 0.98
	if y.all < 450 {
		lo, hi = 0.95-3.3*math.Sqrt(0.95*0.05/float64(y.all)), 1
	}
	t.Logf("%s: %.3f of %d intervals hold the truth", what, got, y.all)
	if got < lo || got > hi {
		t.Errorf("%s: %.3f of %d intervals hold the truth, want %.3f to %.3f (seeds from 0)", what, got, y.all, lo, hi)
	}
}

// shares are the r.m.s., the 95th percentile and the greatest of errors.
func shares(errs []float64) (rms, q95, most float64) {
	s := 0.0
	abs := make([]float64, len(errs))
	for i, e := range errs {
		s += e * e
		abs[i] = math.Abs(e)
	}
	slices.Sort(abs)
	return math.Sqrt(s / float64(len(errs))), quantile(abs, 0.95), abs[len(abs)-1]
}

// The bar: seven steps with 0.15 dB of scatter on tracks of two families of curves that
// are not the fit's. Without and with a trim whose law is off by up to 25 % and whose play
// is 3 %.
func TestSevenSteps(t *testing.T) {
	for _, c := range []struct {
		name              string
		spread, play      float64
		peakRMS, peak95   float64 // dB of bias
		fallRMS, biasFall float64 // dB of fall, r.m.s.; dB of bias, 95 %
	}{
		{"law known", 0, 1e-3, 0.15, 0.25, 0.3, 0.3},
		{"law within 25 %, play 3 %", 0.25, 0.03, 0.2, 0.35, 0.35, 0.4},
	} {
		t.Run(c.name, func(t *testing.T) {
			var peaks, falls, biases []float64
			var peak, peakDB, set, fall, slope tally
			n, none := runs(50, 500), 0
			for seed := range n {
				b := newBench(seed, c.spread, c.play)
				got, err := Fit(b.trim, studio, b.record(b.positions(t)))
				if err != nil {
					t.Fatal(err)
				}
				if got.Verdict != Peak {
					t.Logf("seed %d: %s: %s", seed, got.Verdict, got.Why)
					none++
					continue
				}
				peaks = append(peaks, b.truth.bias(got.Peak.Position))
				peak.add(got.Peak.Lo, b.peak, got.Peak.Hi)
				peakDB.add(got.Peak.Bias.Lo, -b.truth.bias(b.trim.Now), got.Peak.Bias.Hi)
				slope.add(got.Slope.Lo, b.slope, got.Slope.Hi)
				if l := got.Learned(); l.Spread > 1.1*b.trim.Law.Spread+1e-9 { // 800 draws tell a spread to 3 %
					t.Errorf("seed %d: a spread of %.3f learned from %.3f", seed, l.Spread, b.trim.Law.Spread)
				}
				s := got.Set(Aim{FallDB: 3})
				if s.Refused != "" {
					t.Logf("seed %d: %s", seed, s.Refused)
					none++
					continue
				}
				falls = append(falls, b.fallAt(s.At.Position)-3)
				right := b.meets(3)
				biases = append(biases, b.truth.bias(s.At.Position)-b.truth.bias(right))
				set.add(s.At.Lo, right, s.At.Hi)
				fall.add(s.Fall.Lo, b.fallAt(b.wiper(s.At.Position)), s.Fall.Hi)
			}
			rms, q95, most := shares(peaks)
			t.Logf("peak: %.3f dB of bias r.m.s., 95 %% within %.3f, all within %.3f; %d of %d without", rms, q95, most, none, n)
			if rms > c.peakRMS || q95 > c.peak95 {
				t.Errorf("peak off by %.3f dB of bias r.m.s., 95 %% within %.3f, want %.2f and %.2f", rms, q95, c.peakRMS, c.peak95)
			}
			frms, f95, fmost := shares(falls)
			brms, b95, bmost := shares(biases)
			t.Logf("fall of 3 dB: %.3f dB r.m.s., 95 %% within %.3f, all within %.3f; in bias %.3f, %.3f, %.3f dB", frms, f95, fmost, brms, b95, bmost)
			if frms > c.fallRMS || b95 > c.biasFall {
				t.Errorf("fall off by %.3f dB r.m.s. and 95 %% within %.3f dB of bias, want %.2f and %.2f", frms, b95, c.fallRMS, c.biasFall)
			}
			if none > n/20 {
				t.Errorf("%d of %d staircases gave no setting", none, n)
			}
			peak.check(t, "peak, position")
			peakDB.check(t, "peak, dB of bias")
			set.check(t, "setting, position")
			fall.check(t, "fall at the setting, set by hand")
			if c.spread > 0 {
				slope.check(t, "slope of the law")
			}
		})
	}
}

// A second staircase where the first says, both fitted together.
func TestSecondStaircase(t *testing.T) {
	var peaks, falls, biases, ratio []float64
	var set, fall tally
	w := Want{Tones: studio, Aim: Aim{FallDB: 3}}
	n := runs(20, 100)
	for seed := range n {
		b := newBench(seed, 0.25, 0.03)
		first := b.record(b.positions(t))
		one, err := Fit(b.trim, studio, first)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := Next(w, one)
		if err != nil {
			t.Fatal(err)
		}
		two, err := Fit(b.trim, studio, first, b.record(plan.Tracks[0].Positions))
		if err != nil {
			t.Fatal(err)
		}
		s := two.Set(w.Aim)
		if s.At == nil {
			t.Logf("seed %d: %s, %s", seed, two.Verdict, s.Refused)
			continue
		}
		peaks = append(peaks, b.truth.bias(two.Peak.Position))
		falls = append(falls, b.fallAt(s.At.Position)-3)
		right := b.meets(3)
		biases = append(biases, b.truth.bias(s.At.Position)-b.truth.bias(right))
		set.add(s.At.Lo, right, s.At.Hi)
		fall.add(s.Fall.Lo, b.fallAt(b.wiper(s.At.Position)), s.Fall.Hi)
		if m := one.More(w, 1e-3); len(m.HalfWidthDB) > 1 { // what was foretold of this pass
			ratio = append(ratio, (s.Fall.Hi-s.Fall.Lo)/2/m.HalfWidthDB[1])
		}
	}
	rms, q95, _ := shares(peaks)
	frms, f95, _ := shares(falls)
	_, b95, _ := shares(biases)
	slices.Sort(ratio)
	t.Logf("%d of %d: peak %.3f dB of bias r.m.s., 95 %% within %.3f; fall %.3f dB r.m.s., 95 %% within %.3f, in bias %.3f; half width over the one foretold %.2f, 90 %% from %.2f to %.2f",
		len(peaks), n, rms, q95, frms, f95, b95, quantile(ratio, 0.5), quantile(ratio, 0.05), quantile(ratio, 0.95))
	if len(peaks) < n*95/100 || rms > 0.15 || frms > 0.3 || b95 > 0.3 {
		t.Error("too many without, or too far off")
	}
	if m := quantile(ratio, 0.5); m < 0.75 || m > 1.33 {
		t.Errorf("half widths come out at %.2f of what was foretold", m)
	}
	set.check(t, "setting, position")
	fall.check(t, "fall at the setting, set by hand")
}

// One bad step is found, left out, and does not move the peak.
func TestBadStep(t *testing.T) {
	found, n := 0, runs(20, 100)
	var errs []float64
	var peak tally
	for seed := range n {
		b := newBench(seed, 0.25, 0.03)
		s := b.record(b.positions(t))
		k := seed % len(s.Readings)
		s.Readings[k].Treble.Value -= 3.5
		s.Readings[k].Low.Value -= 3
		c, err := Fit(b.trim, studio, s)
		if err != nil {
			t.Fatal(err)
		}
		if len(c.LeftOut) == 1 && c.LeftOut[0].Step == k+1 {
			found++
		}
		if c.Peak != nil {
			errs = append(errs, b.truth.bias(c.Peak.Position))
			peak.add(c.Peak.Lo, b.peak, c.Peak.Hi)
		}
	}
	rms, q95, _ := shares(errs)
	peak.check(t, "peak beside a drop-out")
	t.Logf("%d of %d drop-outs of 3.5 dB named; %d peaks, %.3f dB of bias r.m.s., 95 %% within %.3f", found, n, len(errs), rms, q95)
	if found < n*85/100 || len(errs) < n*85/100 || rms > 0.3 {
		t.Error("drop-outs are not found, or move the peak")
	}
}

// A missed mark is found where the curve is steep enough to show it, and the peak stays.
func TestMissedMark(t *testing.T) {
	named, wrong, n := 0, 0, runs(20, 100)
	var errs []float64
	var peak tally
	for seed := range n {
		b := newBench(seed, 0.25, 0.03)
		at := b.positions(t)
		k := 1 + seed%(len(at)-1)
		var s Staircase
		for i, p := range at {
			from := i
			if i >= k {
				from = i - 1
			}
			s.Readings = append(s.Readings, b.read(p, b.wiper(at[from])))
		}
		c, err := Fit(b.trim, studio, s)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range c.LeftOut {
			if l.Step == k+1 {
				named++
			} else {
				wrong++
			}
		}
		if c.Peak != nil {
			errs = append(errs, b.truth.bias(c.Peak.Position))
			peak.add(c.Peak.Lo, b.peak, c.Peak.Hi)
		}
	}
	rms, q95, _ := shares(errs)
	t.Logf("%d of %d missed marks named at their step, %d at another; %d peaks, %.3f dB of bias r.m.s., 95 %% within %.3f; %d intervals hold the truth", named, n, wrong, len(errs), rms, q95, peak.hit)
	// On the flat of a curve a missed mark does not show: what is left is a step too far.
	if named < n/2 || rms > 0.7 || peak.hit < peak.all*3/4 {
		t.Error("missed marks are not found, or move the peak")
	}
}

// With nothing wrong hardly a step is left out.
func TestNothingLeftOut(t *testing.T) {
	false1, n := 0, runs(20, 100)
	for seed := range n {
		b := newBench(1000+seed, 0.25, 0.03)
		c, err := Fit(b.trim, studio, b.record(b.positions(t)))
		if err != nil {
			t.Fatal(err)
		}
		false1 += len(c.LeftOut)
	}
	t.Logf("%d steps left out of %d good staircases", false1, n)
	if false1 > n/10 {
		t.Error("too many")
	}
}

// A peak outside is said to be outside, on the right side.
func TestPeakOutside(t *testing.T) {
	n := runs(10, 100)
	for _, c := range []struct {
		want     Verdict
		from, to float64 // dB of bias re the true peak
	}{{Above, -8, -1.5}, {Below, 1.5, 7}} {
		ok := 0
		for seed := range n {
			b := newBench(seed, 0, 1e-3)
			mid := b.trim.Law.DB(b.peak)
			law := b.trim.Law
			var at []float64
			for i := range 7 {
				at = append(at, law.Position(mid+c.from+(c.to-c.from)*float64(i)/6))
			}
			at = slices.DeleteFunc(at, func(p float64) bool { return p < 0 || p > 1 })
			got, err := Fit(b.trim, studio, b.record(at))
			if err != nil {
				t.Fatal(err)
			}
			if got.Verdict == c.want {
				ok++
			} else if got.Verdict == Peak || got.Verdict == Above || got.Verdict == Below {
				t.Errorf("seed %d: verdict %s of a staircase from %+.1f to %+.1f dB about the peak", seed, got.Verdict, c.from, c.to)
			}
			if s := got.Set(Aim{FallDB: 3}); s.Refused == "" {
				t.Errorf("seed %d: a setting without a peak", seed)
			}
		}
		t.Logf("%s: %d of %d", c.want, ok, n)
		if ok < n*8/10 {
			t.Errorf("%d of %d say %s", ok, n, c.want)
		}
	}
}

// What says nothing is refused, with a reason.
func TestRefusals(t *testing.T) {
	b := newBench(1, 0, 1e-3)
	flat := b.record(b.positions(t))
	for i := range flat.Readings {
		flat.Readings[i].Treble.Value = -3 + 0.05*float64(i%2)
	}
	short := b.record(b.positions(t)[:3])
	narrow := b.record([]float64{0.5, 0.51, 0.52, 0.53, 0.54})
	wild := b.record(b.positions(t))
	for i := range wild.Readings {
		wild.Readings[i].Treble.Value += 3 * float64(i%2)
	}
	for name, s := range map[string]Staircase{"flat": flat, "short": short, "narrow": narrow, "wild": wild} {
		c, err := Fit(b.trim, studio, s)
		if err != nil {
			t.Fatal(err)
		}
		if c.Verdict != Refused && c.Verdict != Ambiguous || c.Why == "" {
			t.Errorf("%s: %s (%s)", name, c.Verdict, c.Why)
		}
		if s := c.Set(Aim{FallDB: 3}); s.Refused == "" || s.Fall.Refused == "" {
			t.Errorf("%s: a setting all the same", name)
		}
		t.Logf("%s: %s", name, c.Why)
	}
}

// The same level on everything changes nothing but rounding.
func TestLevelDoesNotMatter(t *testing.T) {
	b := newBench(3, 0.25, 0.03)
	s := b.record(b.positions(t))
	one, _ := Fit(b.trim, studio, s)
	for i := range s.Readings {
		s.Readings[i].Treble.Value += 7
		s.Readings[i].Low.Value += 7
	}
	two, _ := Fit(b.trim, studio, s)
	if math.Abs(one.Peak.Position-two.Peak.Position) > 2e-3 {
		t.Errorf("peak at %.4f, with 7 dB more at %.4f", one.Peak.Position, two.Peak.Position)
	}
	if three, _ := Fit(b.trim, studio, s); fmt.Sprint(three.Peak) != fmt.Sprint(two.Peak) {
		t.Error("two answers to the same readings")
	}
}

// The curve has its peak at 0, the curvature asked for, and slopes in the ratio.
func TestHyperbola(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(0.05, 5).Draw(t, "curvature")
		q := rapid.Float64Range(0.5, 8).Draw(t, "ratio")
		h := newHyperbola(c, q)
		if v := h.at(0); math.Abs(v) > 1e-9 {
			t.Fatalf("f(0) = %g", v)
		}
		const d = 1e-3
		if v := -(h.at(d) - 2*h.at(0) + h.at(-d)) / (d * d); math.Abs(v/c-1) > 1e-3 {
			t.Fatalf("curvature %g, want %g", v, c)
		}
		if slope := (h.at(d) - h.at(-d)) / (2 * d); math.Abs(slope) > 1e-5*c {
			t.Fatalf("slope at the peak %g", slope)
		}
		far := 100 / h.b
		if v := (h.at(-far-1) - h.at(-far)) / (h.at(far+1) - h.at(far)); math.Abs(v/q-1) > 1e-3 {
			t.Fatalf("slopes far away in the ratio %g, want %g", v, q)
		}
	})
}

func BenchmarkFit(bb *testing.B) {
	b := newBench(1, 0.25, 0.03)
	s := b.record(b.positions(bb))
	for bb.Loop() {
		if _, err := Fit(b.trim, studio, s); err != nil {
			bb.Fatal(err)
		}
	}
	bb.ReportMetric(float64(bb.N)/bb.Elapsed().Seconds(), "staircases/s")
}
