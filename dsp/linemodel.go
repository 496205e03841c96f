package dsp

import (
	"math"
	"slices"
)

// lineParams are the parameters of a straight line and sinusoids, see [LineFit].
type lineParams struct {
	p0, p1 float64
	freq   []float64
	a, b   []float64
}

func (p *lineParams) add(w float64) {
	p.freq = append(p.freq, w)
	p.a = append(p.a, 0)
	p.b = append(p.b, 0)
}

func (p *lineParams) clone() lineParams {
	return lineParams{p.p0, p.p1, slices.Clone(p.freq), slices.Clone(p.a), slices.Clone(p.b)}
}

// lineModel is the state of a fit in progress. Its series are folded about the
// middle, where t is 0: constant and cosines are even, t and sines are odd.
type lineModel struct {
	lineParams
	n         int
	y, res    folded
	tau       []float64 // t outwards from the middle
	one, line []float64 // the columns 1 and t
	waves     []*wave
}

// wave is a sinusoid of w cycles per sample: columns cos and sin, and room for the
// derivative by ω.
type wave struct {
	w         float64
	cos, sin  []float64
	even, odd []float64
}

func newLineModel(y []float64) *lineModel {
	h := (len(y) + 1) / 2
	f := &lineModel{n: len(y), y: fold(y), tau: make([]float64, h), one: make([]float64, h), line: make([]float64, h)}
	if f.y.odd == nil {
		f.y.odd = make([]float64, h)
	}
	f.res = folded{make([]float64, h), make([]float64, h)}
	for j := range f.tau {
		f.tau[j] = float64(j) + 0.5*float64(1-f.n%2)
		f.one[j], f.line[j] = math.Sqrt2, math.Sqrt2*f.tau[j]
	}
	if f.n%2 == 1 {
		f.one[0] = 1
	}
	return f
}

// wave returns line k's sinusoid.
func (f *lineModel) wave(k int) *wave {
	for len(f.waves) <= k {
		room := rows(4, len(f.tau))
		f.waves = append(f.waves, &wave{w: math.NaN(), cos: room[0], sin: room[1], even: room[2], odd: room[3]})
	}
	v := f.waves[k]
	if w := f.freq[k]; v.w != w {
		v.w = w
		fillSinusoid(w, f.tau[0], v.cos, v.sin)
		if f.n%2 == 1 {
			v.cos[0] = 1 // the middle stands once
		}
	}
	return v
}

// fillSinusoid writes √2·cos and √2·sin of 2πw(first + j): the first few of each 1024 by
// turning from one to the next, the others from those 16 before, so that none waits
// for its neighbour and rounding cannot grow beyond that of 80 turns.
func fillSinusoid(w, first float64, c, s []float64) {
	const apart, block = 16, 1024
	ds, dc := math.Sincos(2 * math.Pi * w)
	fs, fc := math.Sincos(2 * math.Pi * w * apart)
	for at := 0; at < len(c); at += block {
		cc, ss := c[at:min(at+block, len(c))], s[at:min(at+block, len(c))]
		y, x := math.Sincos(2 * math.Pi * w * (first + float64(at)))
		x, y = math.Sqrt2*x, math.Sqrt2*y
		for j := range min(apart, len(cc)) {
			cc[j], ss[j] = x, y
			x, y = x*dc-y*ds, x*ds+y*dc
		}
		if len(cc) <= apart {
			return
		}
		nc, ns := cc[apart:], ss[apart:]
		ns, cc, ss = ns[:len(nc)], cc[:len(nc)], ss[:len(nc)]
		for j := range nc {
			x, y := cc[j], ss[j]
			nc[j], ns[j] = x*fc-y*fs, x*fs+y*fc
		}
	}
}

// columns returns 1, t, and per line cos, sin and, once it has an amplitude,
// the derivative by ω, t·(b·cos − a·sin).
func (f *lineModel) columns() *columns {
	c := &columns{make([][]float64, 0, 2+3*len(f.freq)), make([][]float64, 0, 2+3*len(f.freq))}
	c.add(f.one, nil)
	c.add(nil, f.line)
	for k := range f.freq {
		v := f.wave(k)
		c.add(v.cos, nil)
		c.add(nil, v.sin)
		if a, b := f.a[k], f.b[k]; a != 0 || b != 0 {
			even, odd, cos, sin := v.even[:len(f.tau)], v.odd[:len(f.tau)], v.cos[:len(f.tau)], v.sin[:len(f.tau)]
			for j, t := range f.tau {
				even[j], odd[j] = -a*t*sin[j], b*t*cos[j]
			}
			c.add(v.even, v.odd)
		}
	}
	return c
}

// update subtracts the model from y into res.
func (f *lineModel) update() {
	copy(f.res.even, f.y.even)
	copy(f.res.odd, f.y.odd)
	axpy(-f.p0, f.one, f.res.even)
	axpy(-f.p1, f.line, f.res.odd)
	for k := range f.freq {
		v := f.wave(k)
		axpy(-f.a[k], v.cos, f.res.even)
		axpy(-f.b[k], v.sin, f.res.odd)
	}
}

func (f *lineModel) sse() float64 { return f.res.dot(f.res) }

// refine does at most steps of Gauss and Newton; it returns false when the
// lines cannot be told apart.
func (f *lineModel) refine(steps int) bool {
	f.update()
	sse := f.sse()
	for range steps {
		cols := f.columns()
		nrm, ok := newNormal(cols)
		if !ok {
			return false
		}
		step := nrm.solve(cols.times(f.res))
		before, was := f.clone(), sse
		scale := 1.0
		for try := 0; ; try++ {
			f.apply(&before, step, scale)
			f.update()
			if sse = f.sse(); sse <= was || try == 6 {
				break
			}
			scale /= 2
		}
		if sse > was*(1-1e-9) {
			if sse > was {
				f.lineParams = before
				f.update()
			}
			break
		}
	}
	for _, w := range f.freq {
		if !(w > 0 && w < 0.5) {
			return false
		}
	}
	return true
}

// apply sets the parameters to those of from plus scale·step.
func (f *lineModel) apply(from *lineParams, step []float64, scale float64) {
	f.p0, f.p1 = from.p0+scale*step[0], from.p1+scale*step[1]
	at := 2
	limit := 0.5 / float64(f.n) // half a cycle over the series keeps a step inside its peak
	for k := range f.freq {
		moves := from.a[k] != 0 || from.b[k] != 0
		f.a[k], f.b[k] = from.a[k]+scale*step[at], from.b[k]+scale*step[at+1]
		f.freq[k] = from.freq[k]
		at += 2
		if moves {
			d := scale * step[at] / (2 * math.Pi)
			f.freq[k] += math.Max(-limit, math.Min(limit, d))
			at++
		}
	}
}

// prune takes out lines that are not worth their place, left over from stages of the
// search at which others were not yet right. The worth is Wald's statistic of a line's
// two amplitudes, which is the rise of the sum of squares without it.
func (f *lineModel) prune() {
	for len(f.freq) > 0 {
		cols := f.columns()
		nrm, ok := newNormal(cols)
		if !ok || cols.len() >= f.n {
			return
		}
		variance := f.sse() / float64(f.n-cols.len())
		worst, least := -1, lineWorth*variance
		at := 2
		for k := range f.freq {
			if worth := wald(nrm, at, f.a[k], f.b[k]); worth < least {
				worst, least = k, worth
			}
			at += 2
			if f.a[k] != 0 || f.b[k] != 0 {
				at++
			}
		}
		if worst < 0 {
			return
		}
		f.freq = slices.Delete(f.freq, worst, worst+1)
		f.a = slices.Delete(f.a, worst, worst+1)
		f.b = slices.Delete(f.b, worst, worst+1)
		f.refine(20)
	}
}

// wald is vᵀC⁻¹v for v = (a, b) and C their block of (XᵀX)⁻¹, from column at on.
func wald(nrm *normal, at int, a, b float64) float64 {
	e := make([]float64, nrm.p)
	e[at] = 1
	ca := nrm.solve(e)
	e[at], e[at+1] = 0, 1
	cb := nrm.solve(e)
	aa, ab, bb := ca[at], ca[at+1], cb[at+1]
	det := aa*bb - ab*ab
	if !(det > 0) {
		return 0
	}
	return (bb*a*a - 2*ab*a*b + aa*b*b) / det
}

// separate reports whether all lines are apart and none is a drift.
func (f *lineModel) separate() bool {
	n := float64(f.n)
	w := slices.Sorted(slices.Values(f.freq))
	for k, v := range w {
		if v*n < lineMin || k > 0 && (v-w[k-1])*n < lineGap {
			return false
		}
	}
	return true
}
