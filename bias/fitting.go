package bias

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// row is one step of one pass.
type row struct {
	pass, step  int
	x           float64 // bias by the law, dB
	treble, low *Level
}

// fitting weighs curves by exact sums over grids: hypotheses of a bad or a missed step,
// the scatter, and peak, curvature and ratio of each tone. Given these the level of a
// tone and its smooth departure from the [hyperbola] are normal, and so integrated in
// closed form.
type fitting struct {
	trim   Trim
	tones  Tones
	rows   []row
	lo, hi float64 // least and most bias of the readings, dB by the law
	voices []*voice
	at     []float64
	draws  []draw
	noise  float64 // mean factor on the stated scatter

	badWeight, missWeight []float64 // by row
}

// voice is one tone of the staircase.
type voice struct {
	rows   []int // of the fitting's, that have a reading
	y, sd  []float64
	slope  []float64 // dB of output per dB of bias near each, for errors of position
	prior  shape
	depart []float64 // standard deviation of the departure at each, dB
	least  float64   // of it
	share  float64   // of the fall that is added to it
	length float64   // over which it is alike, dB of bias
	peaks  []float64 // grid, dB
	shapes []node
}

// node is a curvature and a ratio with their prior weight.
type node struct {
	h         hyperbola
	logC      float64
	logWeight float64
}

// hypothesis is what went wrong: reading bad, or nobody turned before reading missed.
// Both are indices of rows, -1 for none.
type hypothesis struct {
	bad, missed int
	logPrior    float64
}

const (
	badPrior, missedPrior = 0.06, 0.03 // that a staircase has one; common practice, no source
	badDB                 = 6.0        // how far off a bad reading is, standard deviation
	levelSD               = 20.0       // of a tone's level: as good as unknown
	passSD                = 0.07       // of one pass's level re another's: tape along its length
	dialDrift             = 2.0        // of the dial between passes, over the scatter of a position
	// The departure of true curves from the hyperbola, dB at the peak and more by a share
	// of the fall, smooth over so many dB of bias. Chosen on curves of the two other
	// families that the tests draw, so that intervals cover: with shares of 0.03, 0.06,
	// 0.1 and 0.15 those of a set bias held the truth in 85, 93, 97 and over 99 of 100.
	leastDepart, departureShare, departureLength = 0.06, 0.12, 2.5

	drawCount = 800
)

// factors on the stated scatter, and their prior weights: log-normal, 0.35 nepers.
var factors = []float64{0.7, 1, 1.4, 2, 2.8}

func factorPrior(f float64) float64 { return -0.5 * math.Pow(math.Log(f)/0.35, 2) }

func newFitting(trim Trim, tones Tones, passes []Staircase) *fitting {
	f := &fitting{trim: trim, tones: tones, lo: math.Inf(1), hi: math.Inf(-1)}
	for q, s := range passes {
		for i, r := range s.Readings {
			x := trim.Law.DB(r.Position)
			w := row{pass: q, step: i, x: x, treble: r.Treble, low: r.Low}
			if tones.LowHz == 0 {
				w.low = nil
			}
			f.rows = append(f.rows, w)
			if r.Treble != nil {
				f.lo, f.hi = math.Min(f.lo, x), math.Max(f.hi, x)
			}
		}
	}
	v := tones.SpeedCmS / 100
	f.voices = []*voice{f.voice(func(r row) *Level { return r.treble }, shapeOf(v/tones.TrebleHz))}
	if tones.LowHz > 0 {
		if low := f.voice(func(r row) *Level { return r.low }, shapeOf(v/tones.LowHz)); len(low.rows) >= leastSteps {
			f.voices = append(f.voices, low)
		}
	}
	return f
}

func (f *fitting) hasLow() bool { return len(f.voices) > 1 }

func (f *fitting) voice(of func(row) *Level, prior shape) *voice {
	v := &voice{prior: prior, least: leastDepart, share: departureShare, length: departureLength}
	if prior.flat {
		v.least, v.share = v.least/2, 0.18
	}
	for i, r := range f.rows {
		if l := of(r); l != nil {
			v.rows = append(v.rows, i)
			v.y = append(v.y, l.Value)
			v.sd = append(v.sd, l.sd())
		}
	}
	for k := range v.rows {
		v.slope = append(v.slope, v.slopeNear(f, k))
		v.depart = append(v.depart, v.departureSD(slices.Max(v.y)-v.y[k]))
	}
	// The law's slope stretches the axis, and with its square the curvature.
	r := f.trim.Law.logSD()
	sd := math.Hypot(prior.curvatureSD, 2*r)
	const nc, nr, reach = 7, 5, 2.2
	for i := range nc {
		zc := reach * (2*float64(i)/(nc-1) - 1)
		for j := range nr {
			zr := reach * (2*float64(j)/(nr-1) - 1)
			logC := prior.logCurvature + zc*sd
			v.shapes = append(v.shapes, node{h: newHyperbola(math.Exp(logC), math.Exp(prior.logRatio+zr*prior.ratioSD)), logC: logC, logWeight: -(zc*zc + zr*zr) / 2})
		}
	}
	return v
}

// slopeNear is the slope through the neighbours of reading k in the same pass.
func (v *voice) slopeNear(f *fitting, k int) float64 {
	a, b := k, k
	if k > 0 && f.rows[v.rows[k-1]].pass == f.rows[v.rows[k]].pass {
		a = k - 1
	}
	if k+1 < len(v.rows) && f.rows[v.rows[k+1]].pass == f.rows[v.rows[k]].pass {
		b = k + 1
	}
	if a == b {
		return 0
	}
	s := (v.y[b] - v.y[a]) / (f.rows[v.rows[b]].x - f.rows[v.rows[a]].x)
	return math.Max(-4, math.Min(4, s))
}

// tooLittle says why there is nothing to fit.
func (f *fitting) tooLittle() string {
	v := f.voices[0]
	if n := len(v.rows); n < leastSteps {
		return fmt.Sprintf("%d steps have a treble reading, %d are needed", n, leastSteps)
	}
	if f.hi-f.lo < 1.5 {
		return fmt.Sprintf("the staircase spans %.1f dB of bias by the trim's law: too little to see a peak; take wider steps", f.hi-f.lo)
	}
	sds := slices.Sorted(slices.Values(v.sd))
	lo, hi, sd := slices.Min(v.y), slices.Max(v.y), quantile(sds, 0.5)
	if hi-lo < math.Max(0.25, 3*sd) {
		return fmt.Sprintf("the treble moves by %.2f dB over the whole staircase, no more than it scatters: is it this track's bias trim, was record on, is the bias feed whole?", hi-lo)
	}
	return ""
}

// run fills the draws.
func (f *fitting) run() {
	hyps := f.hypotheses()
	treble := f.voices[0]
	treble.peaks = line(f.lo-3, f.hi+3, 0.3)
	f.lowPeaks(0.3)
	t := f.table(hyps, factors[1:4:4])
	// Once more, finely, where the first look leaves anything.
	m := t.peakWeights()
	first, last := 0, len(m)-1
	for first < last && m[first] < 1e-6 {
		first++
	}
	for last > first && m[last] < 1e-6 {
		last--
	}
	lo, hi := treble.peaks[max(0, first-1)], treble.peaks[min(len(m)-1, last+1)]
	treble.peaks = line(lo, hi, math.Max(0.02, (hi-lo)/64))
	hyps = t.kept()
	f.lowPeaks(0.2)
	t = f.table(hyps, factors)
	f.at = line(math.Min(f.lo, lo)-1, math.Max(f.hi, hi)+4, 0.3)
	f.marginals(t)
	t.draw()
}

// lowPeaks spans the low tone's peaks over what the treble's allow.
func (f *fitting) lowPeaks(step float64) {
	if !f.hasLow() {
		return
	}
	mean, sd := lag(f.tones.TrebleHz, f.tones.LowHz)
	p := f.voices[0].peaks
	f.voices[1].peaks = line(p[0]+mean-2.5*sd, p[len(p)-1]+mean+2.5*sd, step)
}

// line is values from lo to hi, about step apart.
func line(lo, hi, step float64) []float64 {
	n := max(2, int(math.Ceil((hi-lo)/step))+1)
	out := make([]float64, n)
	for i := range out {
		out[i] = lo + (hi-lo)*float64(i)/float64(n-1)
	}
	return out
}

func (f *fitting) hypotheses() []hypothesis {
	n := float64(len(f.rows))
	out := []hypothesis{{-1, -1, math.Log(1 - badPrior - missedPrior)}}
	for i, r := range f.rows {
		out = append(out, hypothesis{i, -1, math.Log(badPrior / n)})
		if r.step > 0 {
			out = append(out, hypothesis{-1, i, math.Log(missedPrior / n)})
		}
	}
	return out
}

// stood is the row whose position row i had under a hypothesis.
func (h hypothesis) stood(f *fitting, i int) int {
	if h.missed >= 0 && f.rows[i].pass == f.rows[h.missed].pass && i >= h.missed {
		return i - 1
	}
	return i
}

// x is where row i stood under a hypothesis.
func (h hypothesis) x(f *fitting, i int) float64 { return f.rows[h.stood(f, i)].x }

// covariance of a voice's readings about the hyperbola, level and departure included.
func (v *voice) covariance(f *fitting, h hypothesis, factor float64) [][]float64 {
	k := square(len(v.rows))
	pos := f.trim.scatter() * f.trim.Law.SpanDB
	// Positions count as in the last pass, which is how the trim stands now; earlier ones
	// may have been another by what turning to and fro loses.
	lash, last := dialDrift*pos, f.rows[len(f.rows)-1].pass
	for i := range k {
		ri, xi := f.rows[v.rows[i]], h.x(f, v.rows[i])
		for j := range k {
			rj, xj := f.rows[v.rows[j]], h.x(f, v.rows[j])
			k[i][j] = levelSD*levelSD + v.depart[i]*v.depart[j]*v.alike(xi, xj)
			if last > 0 && ri.pass == rj.pass {
				k[i][j] += passSD * passSD
				if ri.pass < last {
					k[i][j] += v.slope[i] * v.slope[j] * lash * lash
				}
			}
		}
		e := factor * v.sd[i]
		k[i][i] += e*e + math.Pow(v.slope[i]*pos, 2)
		if v.rows[i] == h.bad {
			k[i][i] += badDB * badDB
		}
	}
	return k
}

// alike is the correlation of the departure at two places.
func (v *voice) alike(a, b float64) float64 {
	z := (a - b) / v.length
	return math.Exp(-z * z / 2)
}

// departureSD is the standard deviation of the departure where the output has fallen by
// so many dB from the top.
func (v *voice) departureSD(fallDB float64) float64 {
	return math.Hypot(v.least, v.share*fallDB)
}

// departAt is that at any place: between the readings straight from one to the next,
// beyond them with the slope of the last pair.
func (v *voice) departAt(f *fitting, x float64) float64 {
	// The nearest reading on each side.
	l, h := -1, -1
	for k, i := range v.rows {
		at := f.rows[i].x
		if at <= x && (l < 0 || at > f.rows[v.rows[l]].x) {
			l = k
		}
		if at > x && (h < 0 || at < f.rows[v.rows[h]].x) {
			h = k
		}
	}
	best := slices.Max(v.y)
	switch {
	case l < 0:
		return v.departureSD(best - v.y[h] + math.Max(0, v.slope[h])*(f.rows[v.rows[h]].x-x))
	case h < 0:
		return v.departureSD(best - v.y[l] + math.Max(0, -v.slope[l])*(x-f.rows[v.rows[l]].x))
	}
	a, b := f.rows[v.rows[l]].x, f.rows[v.rows[h]].x
	y := v.y[l] + (v.y[h]-v.y[l])*(x-a)/(b-a)
	return v.departureSD(best - y)
}

// miss is how far row i lies off the mean of the draws, dB.
func (f *fitting) miss(i int) float64 {
	k := slices.Index(f.voices[0].rows, i)
	if k < 0 || len(f.draws) == 0 {
		return 0
	}
	sum := 0.0
	for _, d := range f.draws {
		sum += between(f.at, d.treble, f.rows[i].x)
	}
	return f.voices[0].y[k] - sum/float64(len(f.draws))
}

// between is the straight line through the points on both sides of x.
func between(at, y []float64, x float64) float64 {
	step := (at[len(at)-1] - at[0]) / float64(len(at)-1)
	i := max(0, min(len(at)-2, int((x-at[0])/step)))
	return y[i] + (y[i+1]-y[i])*(x-at[i])/(at[i+1]-at[i])
}

// source of the draws: the same for the same readings.
func (f *fitting) source() *rand.Rand { return rand.New(rand.NewPCG(0x62696173, uint64(len(f.rows)))) }
