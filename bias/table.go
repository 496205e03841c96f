package bias

import (
	"math"
	"math/rand/v2"
	"slices"
)

// table holds the logarithms of the weights of all that a fit sums over.
type table struct {
	f       *fitting
	hyps    []hypothesis
	factors []float64
	cells   []cell // by hypothesis, then factor
	link    [][]float64
}

// cell is one hypothesis with one factor on the scatter.
type cell struct {
	hyp    hypothesis
	factor float64
	voices []seen
	joint  []float64 // by the treble's peak, log
	total  float64   // log
}

// seen is a voice in a cell.
type seen struct {
	chol lower
	like []float64 // peak × shape, log, prior of the shape included
	peak []float64 // like summed over shapes, log
}

// table weighs everything.
func (f *fitting) table(hyps []hypothesis, factors []float64) *table {
	t := &table{f: f, hyps: hyps, factors: factors}
	if f.hasLow() {
		t.link = f.link()
	}
	models := make([][]float64, len(f.voices))
	for i, v := range f.voices {
		models[i] = v.model(f)
	}
	var usual [][]float64 // rests with each step where it was put
	for _, h := range hyps {
		curves := usual
		if curves == nil || h.missed >= 0 {
			curves = nil
			for i, v := range f.voices {
				curves = append(curves, v.rests(f, h, models[i]))
			}
			if h.missed < 0 {
				usual = curves
			}
		}
		for _, x := range factors {
			c := cell{hyp: h, factor: x}
			for i, v := range f.voices {
				c.voices = append(c.voices, v.see(f, h, x, curves[i]))
			}
			c.join(t)
			t.cells = append(t.cells, c)
		}
	}
	return t
}

// link is the logarithm of the prior of the low tone's peak given the treble's.
func (f *fitting) link() [][]float64 {
	mean, sd := lag(f.tones.TrebleHz, f.tones.LowHz)
	a, b := f.voices[0].peaks, f.voices[1].peaks
	step := (b[len(b)-1] - b[0]) / float64(len(b)-1)
	out := make([][]float64, len(a))
	for i, p := range a {
		out[i] = make([]float64, len(b))
		for j, q := range b {
			z := (q - p - mean) / sd
			out[i][j] = -z*z/2 + math.Log(step/(sd*math.Sqrt(2*math.Pi)))
		}
	}
	return out
}

// model is the hyperbola at every row, for each peak and shape in turn.
func (v *voice) model(f *fitting) []float64 {
	out := make([]float64, 0, len(v.peaks)*len(v.shapes)*len(f.rows))
	for _, p := range v.peaks {
		for _, s := range v.shapes {
			for _, r := range f.rows {
				out = append(out, s.h.at(r.x-p))
			}
		}
	}
	return out
}

// rests are the readings less the model, for each peak and shape in turn.
func (v *voice) rests(f *fitting, h hypothesis, model []float64) []float64 {
	stood := make([]int, len(v.rows))
	for k, i := range v.rows {
		stood[k] = h.stood(f, i)
	}
	out := make([]float64, 0, len(v.peaks)*len(v.shapes)*len(v.rows))
	for at := 0; at < len(model); at += len(f.rows) {
		for k, i := range stood {
			out = append(out, v.y[k]-model[at+i])
		}
	}
	return out
}

// see weighs a voice's peaks and shapes.
func (v *voice) see(f *fitting, h hypothesis, factor float64, rests []float64) seen {
	n := len(v.rows)
	s := seen{chol: factorise(v.covariance(f, h, factor)), like: make([]float64, len(v.peaks)*len(v.shapes)), peak: make([]float64, len(v.peaks))}
	base := -s.chol.logDet()/2 - float64(n)*math.Log(2*math.Pi)/2
	white := make([]float64, n)
	for i := range s.like {
		s.chol.whiten(rests[i*n:(i+1)*n], white)
		s.like[i] = base - dot(white, white)/2 + v.shapes[i%len(v.shapes)].logWeight
	}
	for p := range s.peak {
		s.peak[p] = logSum(s.like[p*len(v.shapes) : (p+1)*len(v.shapes)])
	}
	return s
}

// join sums the low tone out.
func (c *cell) join(t *table) {
	c.joint = slices.Clone(c.voices[0].peak)
	if len(c.voices) > 1 {
		buf := make([]float64, len(c.voices[1].peak))
		for i := range c.joint {
			for j, l := range c.voices[1].peak {
				buf[j] = l + t.link[i][j]
			}
			c.joint[i] += logSum(buf)
		}
	}
	c.total = logSum(c.joint) + c.hyp.logPrior + factorPrior(c.factor)
}

// shares are the probabilities of the cells.
func (t *table) shares() []float64 {
	v := make([]float64, len(t.cells))
	for i, c := range t.cells {
		v[i] = c.total
	}
	return normalised(v)
}

// peakWeights is the probability of each of the treble's peaks.
func (t *table) peakWeights() []float64 {
	out := make([]float64, len(t.f.voices[0].peaks))
	for i, share := range t.shares() {
		if share < 1e-9 {
			continue
		}
		for p, w := range normalised(t.cells[i].joint) {
			out[p] += share * w
		}
	}
	return out
}

// kept are the hypotheses that still count.
func (t *table) kept() []hypothesis {
	var out []hypothesis
	shares, n := t.shares(), len(t.factors)
	for i, h := range t.hyps {
		sum := 0.0
		for _, s := range shares[i*n : (i+1)*n] {
			sum += s
		}
		if sum > 1e-5 || h.bad < 0 && h.missed < 0 {
			out = append(out, h)
		}
	}
	return out
}

// marginals says what each step and the scatter are thought to be.
func (f *fitting) marginals(t *table) {
	f.badWeight, f.missWeight = make([]float64, len(f.rows)), make([]float64, len(f.rows))
	for i, s := range t.shares() {
		c := t.cells[i]
		f.noise += s * c.factor
		if c.hyp.bad >= 0 {
			f.badWeight[c.hyp.bad] += s
		}
		if c.hyp.missed >= 0 {
			f.missWeight[c.hyp.missed] += s
		}
	}
}

// draw takes curves in proportion to their weights.
func (t *table) draw() {
	f, r := t.f, t.f.source()
	for i, n := range systematic(t.shares(), drawCount, r.Float64()) {
		if n == 0 {
			continue
		}
		c := &t.cells[i]
		seers := make([]*continuation, len(f.voices))
		for k, v := range f.voices {
			seers[k] = newContinuation(f, v, c, c.voices[k].chol)
		}
		for p, m := range systematic(normalised(c.joint), n, r.Float64()) {
			for range m {
				f.draws = append(f.draws, t.one(c, p, seers, r))
			}
		}
	}
}

// one is a curve with the treble's peak near grid point p.
func (t *table) one(c *cell, p int, seers []*continuation, r *rand.Rand) draw {
	f := t.f
	var d draw
	var logC float64
	d.treble, logC = seers[0].curve(c.voices[0], p, r)
	if len(seers) > 1 {
		w := make([]float64, len(c.voices[1].peak))
		for j, l := range c.voices[1].peak {
			w[j] = l + t.link[p][j]
		}
		d.low, _ = seers[1].curve(c.voices[1], pick(normalised(w), r), r)
		d.lowPeak, d.lowTop = top(f.at, d.low)
	}
	d.peak, d.top = top(f.at, d.treble)
	switch {
	case d.peak < f.lo-beyondDB:
		d.beyond = -1
	case d.peak > f.hi+beyondDB:
		d.beyond = 1
	}
	d.slope = f.slope(logC, r)
	d.bend = f.trim.Law.Bend + f.trim.Law.BendSD*r.NormFloat64()
	return d
}

// slope draws the factor on the law's slope from its prior and the treble's curvature: an
// axis stretched by s has s² times the curvature. The low tone's says little beside: the
// two are sharp or broad together. The law's bend and the hyperbola's want of fit make the
// curvature a weaker witness than its prior says.
func (f *fitting) slope(logC float64, r *rand.Rand) float64 {
	sd := f.trim.Law.logSD()
	if sd == 0 {
		return 1
	}
	witness := math.Hypot(f.voices[0].prior.curvatureSD, 0.6)
	precision := 1/(sd*sd) + 4/(witness*witness)
	mean := 2 * (logC - f.voices[0].prior.logCurvature) / (witness * witness) / precision
	return math.Exp(mean + r.NormFloat64()/math.Sqrt(precision))
}

// continuation draws a voice's curve at all of fitting.at, given the readings.
type continuation struct {
	f    *fitting
	v    *voice
	hyp  hypothesis
	chol lower
	cols [][]float64 // L⁻¹·k(readings, at), by at
	rest lower       // of the covariance at at, given the readings
}

func newContinuation(f *fitting, v *voice, c *cell, chol lower) *continuation {
	n := len(v.rows)
	s := &continuation{f: f, v: v, hyp: c.hyp, chol: chol}
	k, sd := make([]float64, n), make([]float64, len(f.at))
	for j, x := range f.at {
		sd[j] = v.departAt(f, x)
		for i, at := range v.rows {
			k[i] = levelSD*levelSD + sd[j]*v.depart[i]*v.alike(x, c.hyp.x(f, at))
		}
		col := make([]float64, n)
		chol.whiten(k, col)
		s.cols = append(s.cols, col)
	}
	cov := square(len(f.at))
	for i, a := range f.at {
		for j, b := range f.at[:i+1] {
			cov[i][j] = levelSD*levelSD + sd[i]*sd[j]*v.alike(a, b) - dot(s.cols[i], s.cols[j])
		}
		cov[i][i] += 1e-6 // a thousandth of a decibel, so that rounding leaves it definite
	}
	s.rest = factorise(cov)
	return s
}

// curve draws shape, place within the grid's step, level and departure.
func (s *continuation) curve(seen seen, p int, r *rand.Rand) (y []float64, logC float64) {
	v, n := s.v, len(s.v.shapes)
	node := v.shapes[pick(normalised(seen.like[p*n:(p+1)*n]), r)]
	step := (v.peaks[len(v.peaks)-1] - v.peaks[0]) / float64(len(v.peaks)-1)
	at := v.peaks[p] + step*(r.Float64()-0.5)
	rest, white := make([]float64, len(v.rows)), make([]float64, len(v.rows))
	for k, i := range v.rows {
		rest[k] = v.y[k] - node.h.at(s.hyp.x(s.f, i)-at)
	}
	s.chol.whiten(rest, white)
	z := make([]float64, len(s.f.at))
	for i := range z {
		z[i] = r.NormFloat64()
	}
	y = s.rest.times(z)
	for i, x := range s.f.at {
		y[i] += node.h.at(x-at) + dot(s.cols[i], white)
	}
	return y, node.logC
}

// top is the greatest of y and where, by the parabola through it and its neighbours.
func top(at, y []float64) (x, value float64) {
	k := 0
	for i, v := range y {
		if v > y[k] {
			k = i
		}
	}
	if k == 0 || k == len(y)-1 {
		return at[k], y[k]
	}
	l, m, h := y[k-1], y[k], y[k+1]
	bend := l - 2*m + h
	if bend >= 0 {
		return at[k], m
	}
	off := math.Max(-0.5, math.Min(0.5, (l-h)/(2*bend)))
	return at[k] + off*(at[k+1]-at[k]), m - (l-h)*off/4
}

func logSum(v []float64) float64 {
	m := slices.Max(v)
	if math.IsInf(m, -1) {
		return m
	}
	s := 0.0
	for _, x := range v {
		s += math.Exp(x - m)
	}
	return m + math.Log(s)
}

// normalised turns logarithms of weights into probabilities.
func normalised(logs []float64) []float64 {
	m := logSum(logs)
	out := make([]float64, len(logs))
	for i, l := range logs {
		out[i] = math.Exp(l - m)
	}
	return out
}

// systematic shares n draws among weights with one uniform number.
func systematic(weights []float64, n int, u float64) []int {
	out := make([]int, len(weights))
	at, sum := u, 0.0
	for i, w := range weights {
		sum += w * float64(n)
		for at < sum && n > 0 {
			out[i]++
			at++
		}
	}
	return out
}

func pick(weights []float64, r *rand.Rand) int {
	u := r.Float64()
	for i, w := range weights {
		if u -= w; u < 0 {
			return i
		}
	}
	return len(weights) - 1
}
