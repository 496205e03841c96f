package measure

import (
	"math"
	"math/rand/v2"
	"slices"

	"headstack/dsp"
)

// speedFigure is a figure that cannot be negative, in percent, with its 95 % interval.
type speedFigure struct {
	value, lo, hi float64
	ok            bool
	noise         float64 // part of the reading's power that was the carrier's noise
}

// speedFigures are the figures of one speed signal.
type speedFigures struct {
	unweighted, wow, flutter speedFigure
	weighted                 speedFigure
	twoSigma, quasiPeak      speedFigure
	drift                    dsp.Estimate // %/min
	driftOK                  bool
	lines                    []float64 // slow lines found beside the drift, cycles per block
	weightedSeconds          float64   // judged by the peak methods

	mean, slope float64 // of the straight line taken off, per sample
}

const (
	percentile   = 0.95 // share of time in which a peak reading is not exceeded (AES6-2008, from memory)
	noiseKnownTo = 0.05 // of the noise power: the noise is measured beside the band, not in it
	// driftWiden: the way's error is not quite white either where the flutter begins. In
	// 300 runs of each of the four scenes of the coverage test the intervals held 90 to
	// 96 % without it; in 500 with 1.15 they held 92 to 96 %.
	driftWiden    = 1.25
	startDiscard  = 1    // s of weighted signal not judged: the filter is started on a mirrored signal
	smallestNoise = 1e-5 // part of power below which noise moves no reading
)

// figuresOf computes all figures of a speed signal. start holds slow lines known from
// the common signal.
func figuresOf(s *speedSeries, split *bandSplitter, start []float64) *speedFigures {
	f := &speedFigures{}
	flat := f.takeDriftOff(s, start)
	wow, flutter := split.split(flat)
	power := make([]float64, len(flat))
	square := func(into func(i int) float64) []float64 {
		for i := range power {
			power[i] = into(i)
		}
		y, _ := means(inner(power, s.rate), s.rate)
		return y
	}
	wn, fn := s.noise*split.wowNoise, s.noise*split.flutterNoise
	f.wow = rootMean(square(func(i int) float64 { return wow[i] * wow[i] }), wn)
	f.flutter = rootMean(square(func(i int) float64 { return flutter[i] * flutter[i] }), fn)
	f.unweighted = rootMean(square(func(i int) float64 { return wow[i]*wow[i] + flutter[i]*flutter[i] }), wn+fn)
	f.weigh(flat, s, split)
	return f
}

// takeDriftOff fits a straight line together with slow sinusoids, so that a slow wow cut
// off by the section's ends does not pass for drift, and takes the line off.
func (f *speedFigures) takeDriftOff(s *speedSeries, start []float64) []float64 {
	y, dt := means(s.dev, s.rate)
	fit, ok := dsp.FitSlope(y, maxFlutterLines, start)
	if !ok {
		return slices.Clone(s.dev)
	}
	f.lines = fit.Freqs
	f.drift, f.driftOK = driftOf(y, dt, fit.Freqs)
	m := dt * s.rate // samples per block; the fit counts blocks from their middle
	f.slope = fit.Slope.Value / m
	f.mean = fit.Intercept + f.slope*(0.5-m*float64(len(y))/2)
	return f.flat(s)
}

// driftOf is the slope of the speed in %/min, from the curvature of the tape's way with
// the lines fitted beside it: of flutter, which has little below some tenths of a hertz,
// the way keeps a white error where the speed's own error rises with frequency, and an
// interval from the latter's flat top would be too wide.
func driftOf(speed []float64, dt float64, lines []float64) (dsp.Estimate, bool) {
	n := len(speed)
	way := make([]float64, n)
	cols := [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	sum := 0.0
	for i, v := range speed {
		sum += v
		way[i] = sum
		t := float64(i) - float64(n-1)/2
		cols[0][i], cols[1][i], cols[2][i] = 1, t, t*t
	}
	for _, w := range lines {
		c, q := make([]float64, n), make([]float64, n)
		for i := range c {
			q[i], c[i] = math.Sincos(2 * math.Pi * w * float64(i))
		}
		cols = append(cols, c, q)
	}
	e, ok := dsp.LeastSquares(way, cols, 2)
	k := 2 * 100 * 60 / dt
	return dsp.Estimate{Value: k * e.Value, SE: driftWiden * k * e.SE, Dof: math.Max(4, e.Dof-2*float64(len(lines)))}, ok
}

// flat is the speed signal without the straight line.
func (f *speedFigures) flat(s *speedSeries) []float64 {
	out := make([]float64, len(s.dev))
	for i, v := range s.dev {
		out[i] = v - f.mean - f.slope*float64(i)
	}
	return out
}

// weigh computes the weighted figures.
func (f *speedFigures) weigh(flat []float64, s *speedSeries, split *bandSplitter) {
	noise := s.noise * split.weightedNoise // what the weighting lets through of the carrier's
	w, from := speedWeighted(flat, s.rate)
	from += int(startDiscard * s.rate)
	judged := w[from:]
	f.weightedSeconds = float64(len(judged)) / s.rate
	sq := make([]float64, len(judged))
	for i, v := range judged {
		sq[i] = v * v
	}
	blocks, _ := means(sq, s.rate)
	f.weighted = rootMean(blocks, noise)
	part := noise / meanOf(sq)
	var more []float64 // the same signal with as much noise again
	if part > smallestNoise {
		more = addNoise(w, s, split.noise())
	}
	f.twoSigma = exceeded(peakReading{func(x []float64) []float64 { return absolute(x[from:]) }, deviationTail}, w, more, s.rate, part)
	f.quasiPeak = exceeded(peakReading{func(x []float64) []float64 { return meterReading(x, split.meter)[from:] }, meterTail}, w, more, s.rate, part)
}

// speedWeighted passes a speed signal through the weighting of IEC 60386. Filter, and
// meter after it, first run over the signal's mirror image before the start, so that
// they have settled; x[0] is at from in what is returned.
func speedWeighted(x []float64, rate float64) (w []float64, from int) {
	from = weightedLead(rate, len(x))
	w = make([]float64, from+len(x))
	for i := range w {
		w[i] = mirrored(x, i-from, from)
	}
	dsp.NewFilterFlutter(rate).Process(w, w)
	return w, from
}

// weightedLead is how many samples of the mirror image speedWeighted puts before x.
func weightedLead(rate float64, samples int) int { return min(int(bandPadSeconds*rate), samples-1) }

// meterReading is what the quasi-peak meter, at rest before, shows over time.
func meterReading(w []float64, meter dsp.DetectorFlutter) []float64 {
	out := make([]float64, len(w))
	meter.Process(out, w)
	return out
}

func absolute(x []float64) []float64 {
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = math.Abs(v)
	}
	return y
}

// addNoise adds noise like the carrier's own, as it is after the weighting; unit is a
// carrierNoise at least as long.
func addNoise(w []float64, s *speedSeries, unit []float64) []float64 {
	// White phase noise; its density is that of the deviation over f².
	sd := math.Sqrt(s.noise * s.rate / 2)
	n := make([]float64, len(w))
	for i, v := range unit[:len(w)] {
		n[i] = w[i] + sd*v
	}
	return n
}

// carrierNoise is the weighted deviation of a carrier with white phase noise of 1 rad
// r.m.s. at its sampling rate. To draw it costs more than all that is done with it, so
// the tracks of a tape share it.
func carrierNoise(rate float64, samples int) []float64 {
	r := rand.New(rand.NewPCG(1, 0x6e6f697365))
	phase := make([]float64, samples+2*differentiatorEnds+1)
	for i := range phase {
		phase[i] = r.NormFloat64()
	}
	inc := make([]float64, len(phase)-1)
	for i := range inc {
		inc[i] = (phase[i+1] - phase[i]) * rate / (2 * math.Pi)
	}
	n := differentiate(inc)
	dsp.NewFilterFlutter(rate).Process(n, n)
	return n
}

// rootMean is the root of the mean of squares less the noise's, in percent. The blocks'
// own unsteadiness gives the interval.
func rootMean(squares []float64, noise float64) speedFigure {
	e, ok := dsp.Mean(squares)
	if !ok || !(e.Value > 0) {
		return speedFigure{}
	}
	out := speedFigure{ok: true, noise: math.Min(1, noise/e.Value)}
	power := e.Value - noise
	half := dsp.Student95(e.Dof) * math.Hypot(e.SE, noiseKnownTo*noise)
	out.value = 100 * math.Sqrt(math.Max(0, power))
	if power > 0 && half < 0.7*power {
		k := math.Exp(half / power / 2) // symmetrical on the scale of decibels, as variances scatter
		out.lo, out.hi = out.value/k, out.value*k
		return out
	}
	out.lo = 100 * math.Sqrt(math.Max(0, power-half))
	out.hi = 100 * math.Sqrt(math.Max(0, power+half))
	return out
}

// peakReading is how a peak figure is read off a weighted signal.
type peakReading struct {
	of   func(weighted []float64) []float64
	tail func(sorted []float64) (density, dofShare float64) // at the level exceeded 5 % of the time
}

// deviationTail is the density of |deviation| from the quantiles to either side, 2.5 to
// 7.5 %.
func deviationTail(sorted []float64) (density, dofShare float64) {
	const d = (1 - percentile) / 2
	return 2 * d / (at(sorted, percentile+d) - at(sorted, percentile-d)), 1
}

// meterTail is the density of a meter's reading where an exponential tail from 20 to 5 %
// has it. The meter is slow, so some 20 s hold few swings that far out; the quantiles
// close by are then drawn together with the figure itself and promise too much. The
// share of the degrees of freedom was chosen in a trial of 300 runs of 20 s each of
// three kinds of noise and two of random lines: a third covered 93.7 to 97.3 %, and 91.5
// to 96 % in the coverage test, so it is a quarter.
func meterTail(sorted []float64) (density, dofShare float64) {
	scale := (at(sorted, percentile) - at(sorted, 0.8)) / math.Log(0.2/(1-percentile))
	return (1 - percentile) / scale, 0.25
}

// exceeded is the reading that is exceeded 5 % of the time, in percent of speed; more is
// the signal with as much carrier noise again as it has. What that noise adds to the
// reading's square is taken off: exact for flutter that is itself noise, and near enough
// for any other, since it is known which way the noise pushes (J. R. Cook, L. A.
// Stefanski, J. Amer. Stat. Assoc. 89, 1994: extrapolation to no error). A third of it
// is counted as doubt.
func exceeded(r peakReading, w, more []float64, rate, part float64) speedFigure {
	q, se, dof, ok := timeQuantile(r.of(w), rate, r.tail)
	if !ok {
		return speedFigure{}
	}
	out := speedFigure{ok: true, noise: part, value: q}
	if more != nil {
		q1 := dsp.TwoSigma(r.of(more))
		out.value = math.Sqrt(math.Max(0, 2*q*q-q1*q1))
		se = math.Hypot(se, (q-out.value)/3)
	}
	half := dsp.Student95(dof) * se
	out.lo, out.hi = 100*math.Max(0, out.value-half), 100*(out.value+half)
	if half < 0.7*out.value {
		k := math.Exp(half / out.value)
		out.lo, out.hi = 100*out.value/k, 100*out.value*k
	}
	out.value *= 100
	return out
}

// timeQuantile is the value that x exceeds 5 % of the time, with its standard error: to
// first order the quantile errs as the mean of
//
//	(1{x > q} − 0.05) / density of x at q
//
// does, and the error of a mean of correlated values is [dsp.Mean]'s business.
func timeQuantile(x []float64, rate float64, tail func([]float64) (float64, float64)) (q, se, dof float64, ok bool) {
	q, sorted := quantileOf(x, percentile)
	density, dofShare := tail(sorted)
	above := make([]float64, len(x))
	for i, v := range x {
		if v > q {
			above[i] = 1
		}
	}
	blocks, _ := means(above, rate)
	e, ok := dsp.Mean(blocks)
	if !ok {
		return 0, 0, 0, false
	}
	return q, e.SE / density, e.Dof * dofShare, true
}

// quantileOf is the p quantile, and the values in order of which only those from the
// 0.78 quantile up are sorted: a whole sort would cost more than all filters.
func quantileOf(x []float64, p float64) (q float64, sorted []float64) {
	sorted = slices.Clone(x)
	k := int(0.78 * float64(len(sorted)))
	if len(sorted) > 0 {
		dsp.Select(sorted, k)
		slices.Sort(sorted[k:])
	}
	return at(sorted, p), sorted
}

// at, for p from 0.78 up, is the least of the values that at most 1 − p of all exceed, as [dsp.TwoSigma]
// counts.
func at(sorted []float64, p float64) float64 {
	k := int(math.Ceil(p*float64(len(sorted))-1e-9)) - 1
	return sorted[max(0, min(len(sorted)-1, k))]
}
