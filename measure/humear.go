package measure

import (
	"math"
	"slices"

	"headstack/dsp"
)

// Mains hum is looked for from 45 to 65 Hz with harmonics up to 1 kHz: what lies above
// is buzz, and a tone. Common practice, no source.
const (
	humLowest, humHighest = 45.0, 65.0
	humTopHz              = 1000.0
	humRate               = 3000.0 // least rate of the spectra, Hz
	humBlockMost          = 5.0    // seconds: the mains wander by some hundredths of a hertz
	// humWander is how far a line may wander in a section, relative.
	humWander = 4e-4
	// humChance is the chance that noise passes for a line at one frequency. Some 60
	// frequencies and three harmonics are looked at.
	humChance = 1e-6
	// humStepHz is the step of the search, a fraction of a bin at the 20th harmonic.
	humStepHz = 0.004
)

// humEar keeps the spectrum up to 1 kHz of a silent section.
type humEar struct {
	decimate *dsp.Decimator
	welch    *dsp.Welch
	n        int     // of a block
	df       float64 // bin, Hz
	seconds  float64 // of a block
	density  []float64
	blocks   int
}

func newHumEar(rate, seconds float64) *humEar {
	factor := max(1, int(rate/humRate))
	e := &humEar{decimate: dsp.NewDecimator(rate, factor, humTopHz*1.05)}
	low := e.decimate.Rate()
	e.n = 256
	for float64(2*e.n)/low <= math.Min(humBlockMost, seconds/2) {
		e.n *= 2
	}
	e.df, e.seconds = low/float64(e.n), float64(e.n)/low
	e.welch = dsp.NewWelch(e.n, low, humLowest, humTopHz)
	return e
}

func (e *humEar) feed(x []float64) {
	e.decimate.Feed(x)
	e.welch.Feed(e.decimate.Drain())
}

func (e *humEar) finish() {
	e.density, _ = e.welch.Density()
	e.blocks = e.welch.Blocks()
	e.welch, e.decimate = nil, nil
}

// humLine is one harmonic.
type humLine struct {
	number int
	hz     float64
	power  dsp.Estimate // mean square, the noise under it taken off
	seen   bool         // it stands out of the noise
	over   float64      // its peak density over the noise's
}

// humFound is what the spectrum says of hum.
type humFound struct {
	ok          bool
	fundamental float64
	total       dsp.Estimate // mean square of all harmonics
	lines       []humLine
	bound       float64 // mean square that hum, were it there, does not exceed
}

// find fits the harmonics jointly: the fundamental between 45 and 65 Hz at which most
// harmonics stand out most, then the mean of what each line says of it, weighted by
// its certainty.
func (e *humEar) find() humFound {
	floor := e.floor()
	least := e.leastRatio()
	best, bestScore := 0.0, 0.0
	for f := humLowest; f <= humHighest; f += humStepHz {
		if s := e.score(f, floor, least); s > bestScore {
			best, bestScore = f, s
		}
	}
	if bestScore == 0 {
		return humFound{bound: e.bound(floor)}
	}
	for range 3 {
		best = e.refine(best, floor, least)
	}
	out := humFound{fundamental: best, lines: e.lines(best, floor, least)}
	for _, l := range out.lines {
		out.ok = out.ok || l.seen && l.number <= 3
		out.total = combine([]float64{1, 1}, out.total, l.power)
	}
	out.total.Dof = e.noiseDof()
	if out.total.Value < 2*out.total.SE {
		out.ok = false
	}
	if !out.ok {
		out.bound = e.bound(floor)
	}
	return out
}

// halfWidth of harmonic h in bins: the main lobe of the window and the wandering.
func (e *humEar) halfWidth(h int, f float64) float64 {
	return 2.5 + humWander*float64(h)*f/e.df
}

// floor is the noise's density about each bin: the median of the bins near it, corrected
// for the median of a chi-square (Wilson and Hilferty). Lines are too few to move it.
func (e *humEar) floor() []float64 {
	out := make([]float64, len(e.density))
	top := min(len(out)-1, int(humTopHz*1.05/e.df))
	dof := e.dof()
	bias := math.Pow(1-2/(9*dof), 3)
	reach := e.reach()
	for k := 0; k <= top; k++ {
		near := slices.Clone(e.density[max(1, k-reach):min(top, k+reach+1)])
		slices.Sort(near)
		out[k] = math.Max(near[len(near)/2]/bias, 1e-300)
	}
	return out
}

// dof are the degrees of freedom of one bin of the averaged spectrum: half-overlapping
// Hann blocks share a thirty-sixth of their power (P. D. Welch 1967).
func (e *humEar) dof() float64 {
	k := float64(e.blocks)
	return 2 * k / (1 + 2*(k-1)/(k*36))
}

// reach is how many bins on either side of a line tell the noise under it.
func (e *humEar) reach() int { return max(10, int(5/e.df)) }

// noiseDof are the degrees of freedom of the noise under a line: the median of the bins
// on both sides counts for 2/π of them, and neighbours share 4/9 and 1/36 of their power.
func (e *humEar) noiseDof() float64 {
	return float64(2*e.reach()) * e.dof() * 2 / math.Pi / 1.94
}

// leastRatio is the ratio to the noise that noise itself exceeds with humChance.
func (e *humEar) leastRatio() float64 {
	lo, hi := 1.0, 40.0
	for range 60 {
		mid := (lo + hi) / 2
		if dsp.ChiSquaredTail(e.dof(), mid*e.dof()) > humChance {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// peak is the highest ratio to the noise within a bin of f, and its bin.
func (e *humEar) peak(f float64, floor []float64) (ratio float64, bin int) {
	mid := int(math.Round(f / e.df))
	for k := max(1, mid-1); k <= min(len(floor)-2, mid+1); k++ {
		if floor[k] > 0 && e.density[k]/floor[k] > ratio {
			ratio, bin = e.density[k]/floor[k], k
		}
	}
	return ratio, bin
}

// score adds up what the harmonics of f stand out by, in nepers of power. It is 0
// unless one of the first three does: lines further up may be anything.
func (e *humEar) score(f float64, floor []float64, least float64) float64 {
	sum, low := 0.0, false
	for h := 1; float64(h)*f <= humTopHz; h++ {
		k := int(math.Round(float64(h) * f / e.df))
		if r := e.density[k] / floor[k]; r > least {
			sum += math.Log(r)
			low = low || h <= 3
		}
	}
	if !low {
		return 0
	}
	return sum
}

// refine improves the fundamental by the places of its lines. A place is known the
// better the more the line stands out, and tells of f with h times its certainty.
func (e *humEar) refine(f float64, floor []float64, least float64) float64 {
	num, den := 0.0, 0.0
	for h := 1; float64(h)*f <= humTopHz; h++ {
		r, k := e.peak(float64(h)*f, floor)
		if r < least || k < 1 {
			continue
		}
		// Parabola through the logarithms, good to a twentieth of a bin for a Hann window.
		a, b, c := math.Log(e.density[k-1]), math.Log(e.density[k]), math.Log(e.density[k+1])
		d := 0.0
		if q := a - 2*b + c; q < 0 {
			d = math.Max(-1, math.Min(1, 0.5*(a-c)/q))
		}
		w := float64(h*h) / (1/r + 0.0025)
		num += w * (float64(k) + d) * e.df / float64(h)
		den += w
	}
	if den == 0 {
		return f
	}
	return num / den
}

// lines measures each harmonic of f: the power in its bins less the noise's. Its error
// is that of the noise in step with the line and of the noise's own power.
func (e *humEar) lines(f float64, floor []float64, least float64) []humLine {
	var out []humLine
	for h := 1; float64(h)*f <= humTopHz; h++ {
		hz := float64(h) * f
		w := e.halfWidth(h, f)
		lo, hi := int(math.Ceil(hz/e.df-w)), int(math.Floor(hz/e.df+w))
		under := e.besides(lo, hi, floor)
		p := 0.0
		for k := lo; k <= hi; k++ {
			p += (e.density[k] - under) * e.df
		}
		n, k := float64(hi-lo+1), float64(e.blocks)
		inStep := 2 * math.Max(0, p) * under / (18 * k * k / (41*k - 6) * e.seconds)
		// Neighbouring bins share 4/9 and 1/36 of their power.
		alone := under * e.df * under * e.df * n * 1.94 * 2 / e.dof()
		known := n * n * under * e.df * under * e.df * 2 / e.noiseDof()
		l := humLine{number: h, hz: hz, power: dsp.Estimate{Value: p, SE: math.Sqrt(inStep + alone + known), Dof: e.noiseDof()}}
		r, _ := e.peak(hz, floor)
		l.over, l.seen = r, r > least
		out = append(out, l)
	}
	return out
}

// besides is the noise under a line, as the mean of the two sides: a slope cancels.
func (e *humEar) besides(lo, hi int, floor []float64) float64 {
	reach := e.reach()
	bias := math.Pow(1-2/(9*e.dof()), 3)
	left := slices.Clone(e.density[max(1, lo-1-reach):max(2, lo-1)])
	right := slices.Clone(e.density[min(hi+2, len(e.density)-2):min(hi+2+reach, len(e.density)-1)])
	slices.Sort(left)
	slices.Sort(right)
	return math.Max((left[len(left)/2]+right[len(right)/2])/2/bias, 1e-300)
}

// bound is the greatest mean square of harmonics at any fundamental, with the upper
// end of its error (95 %, one-sided).
func (e *humEar) bound(floor []float64) float64 {
	most := 0.0
	for f := humLowest; f <= humHighest; f += 0.1 {
		p, v := 0.0, 0.0
		for _, l := range e.lines(f, floor, math.Inf(1)) {
			p += l.power.Value
			v += l.power.SE * l.power.SE
		}
		most = math.Max(most, math.Max(0, p)+1.645*math.Sqrt(v))
	}
	return most
}
