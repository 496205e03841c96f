package trim

import (
	"fmt"
	"math"

	"headstack/machine"
	"headstack/unit"
)

// Extremum finds the setting of an adjuster that is tuned for least or most, a trap or an
// erase peak, from its turns and readings in dB. Near the best place p0 a tuned circuit
// reads
//
//	y(p) = A ± 10·log10(1 + ((p − p0)/w)²)
//
// with + for a dip and − for a peak; w is where it is 3 dB from the best. Place, width and
// depth are unknown; all sums are over a grid of places and widths, so that two places
// that are equally likely, as after one reading, both stay open.
type Extremum struct {
	trim  Trim
	at    float64 // now, from the first place
	varAt float64 // of all moves
	last  float64 // last move
	reads []tuning
	post  *tuningGrid // nil until asked
}

// tuning is one reading: where, how uncertain the moves before it were together, and what.
type tuning struct{ at, varAt, y, sd float64 }

const (
	// The width of a trap on its slug, as a share of the travel, with the spread of its
	// logarithm: common practice, no source.
	widthShare  = 1.0 / 10
	widthSpread = 0.7
	depthSD     = 60.0 // dB, of what the best reads: nearly nothing is known
)

// grids are one finer than the other, each about where the weight of the one before lies;
// least is the least noise in dB on it, which a step of it must not jump over.
var grids = []struct {
	places, widths int
	least          float64
}{{161, 13, 1.5}, {121, 15, 0.3}, {161, 21, 0}}

// NewExtremum is for a trim whose law is Dip or Peak. It panics with another law or no
// travel: a programmer's mistake.
func NewExtremum(t Trim) *Extremum {
	if t.Law != Dip && t.Law != Peak || !(t.Travel > 0) {
		panic("trim: an extremum needs the law dip or peak and a travel")
	}
	return &Extremum{trim: t}
}

// Extrema are the adjusters of a recorder at one speed that are tuned for least or most.
func Extrema(d *machine.Definition, opt Options) ([]*Extremum, error) {
	sp, ok := d.Speed(opt.SpeedCmS)
	if !ok {
		return nil, fmt.Errorf("%s has no speed of %g cm/s", d.ID, opt.SpeedCmS)
	}
	var out []*Extremum
	bd := &builder{d: d, opt: opt, speed: sp}
	for i := range d.Trims {
		t := &d.Trims[i]
		r, err := RangeOf(t)
		if err != nil {
			return nil, err
		}
		if !atSpeed(t, sp) || r.Law != Dip && r.Law != Peak {
			continue
		}
		for _, key := range d.ReplicaKeys(t.Each) {
			x := New(ID(d.Designator(t.Part, t.Each, key)), t.ID, bd.quantity(t, key, r), 0, r)
			x.Name, x.Cautions = t.Name, t.Cautions
			if t.Each != "" {
				x.Name += ", " + t.Each + " " + key
			}
			out = append(out, NewExtremum(x))
		}
	}
	return out, nil
}

// Trim is the adjuster.
func (e *Extremum) Trim() Trim { return e.trim }

// Turn enters a move; sd is the standard deviation of by, 0 as of a hand against a mark.
func (e *Extremum) Turn(by, sd float64) {
	if sd == 0 {
		sd = e.trim.dialSD(by)
	}
	loss := 0.0
	switch {
	case e.last == 0:
		loss = e.trim.Backlash * by / 2
		sd = math.Hypot(sd, loss)
	case e.last*by < 0:
		loss = e.trim.Backlash * by
		sd = math.Hypot(sd, loss/3)
	}
	e.at += by - loss
	e.varAt += sd * sd
	e.last, e.post = by, nil
}

// Read enters a reading in dB with its standard deviation, above 0.
func (e *Extremum) Read(dB, sd float64) error {
	if math.IsNaN(dB) || math.IsInf(dB, 0) || !(sd > 0) || math.IsInf(sd, 0) {
		return fmt.Errorf("%s: a reading of %g dB with a spread of %g", e.trim.ID, dB, sd)
	}
	e.reads = append(e.reads, tuning{e.at, e.varAt, dB, sd})
	e.post = nil
	return nil
}

// tuningGrid is the posterior over places (from the first one) and logarithms of widths
// (in their spreads about the prior middle).
type tuningGrid struct {
	place, width axis
	p            [][]float64 // by width, then place; sums to 1
	sum          [][]float64 // running sums over places
}

type axis struct {
	lo, step float64
	n        int
}

func (a axis) at(i int) float64 { return a.lo + a.step*float64(i) }

func newAxis(lo, hi float64, n int) axis { return axis{lo, (hi - lo) / float64(n-1), n} }

// around is the part of an axis that holds all but a trace of the weights.
func (a axis) around(weights []float64, n int) axis {
	most, lo, hi := 0.0, -1, 0
	for _, w := range weights {
		most = max(most, w)
	}
	for i, w := range weights {
		if w > 1e-5*most {
			if lo < 0 {
				lo = i
			}
			hi = i
		}
	}
	return newAxis(a.at(max(lo-1, 0)), a.at(min(hi+1, a.n-1)), n)
}

// excess is how far from the best a place is, in dB ≥ 0.
func excess(p, p0, w float64) float64 {
	x := (p - p0) / w
	return 10 * math.Log10(1+x*x)
}

func (e *Extremum) widthOf(z float64) float64 {
	return e.trim.Travel * widthShare * math.Exp(widthSpread*z)
}

func (e *Extremum) sign() float64 {
	if e.trim.Law == Peak {
		return -1
	}
	return 1
}

// posterior weighs places and widths by the readings, the depth summed out, on finer and
// finer grids.
func (e *Extremum) posterior() *tuningGrid {
	if e.post != nil {
		return e.post
	}
	place, width := axis{-e.trim.Travel, 2 * e.trim.Travel, 2}, axis{-2.5, 5, 2}
	byPlace, byWidth := []float64{1, 1}, []float64{1, 1}
	for _, k := range grids {
		e.post = e.weigh(place.around(byPlace, k.places), width.around(byWidth, k.widths), k.least)
		place, width = e.post.place, e.post.width
		byPlace, byWidth = e.post.marginals()
	}
	return e.post
}

func (g *tuningGrid) marginals() (byPlace, byWidth []float64) {
	byPlace, byWidth = make([]float64, g.place.n), make([]float64, g.width.n)
	for j, row := range g.p {
		for i, m := range row {
			byPlace[i] += m
			byWidth[j] += m
		}
	}
	return byPlace, byWidth
}

func (e *Extremum) weigh(place, width axis, least float64) *tuningGrid {
	g := &tuningGrid{place: place, width: width}
	most := math.Inf(-1)
	for j := range width.n {
		z, row := width.at(j), make([]float64, place.n)
		for i := range row {
			p0 := place.at(i)
			// A first place anywhere and a best one anywhere in the travel differ as a triangle.
			row[i] = math.Log(max(0, 1-math.Abs(p0)/e.trim.Travel)+1e-9) - z*z/2 + e.fits(p0, e.widthOf(z), least)
			most = max(most, row[i])
		}
		g.p = append(g.p, row)
	}
	sum := 0.0
	for _, row := range g.p {
		for i := range row {
			row[i] = math.Exp(row[i] - most)
			sum += row[i]
		}
	}
	for _, row := range g.p {
		run := make([]float64, place.n+1)
		for i := range row {
			row[i] /= sum
			run[i+1] = run[i] + row[i]
		}
		g.sum = append(g.sum, run)
	}
	return g
}

// fits is the log density of the readings at one place and width. Where a reading was
// taken is less sure the more was turned since: what counts is the place from here.
func (e *Extremum) fits(p0, w, least float64) float64 {
	prec, mean := 1/(depthSD*depthSD), 0.0
	log, sq := 0.0, 0.0
	for _, r := range e.reads {
		x := (r.at - p0) / w
		slope := 20 / math.Ln10 * x / (1 + x*x) / w
		sd := max(r.sd, least)
		v := sd*sd + slope*slope*(e.varAt-r.varAt)
		y := r.y - e.sign()*excess(r.at, p0, w)
		prec += 1 / v
		mean += y / v
		sq += y * y / v
		log -= math.Log(v) / 2
	}
	return log - math.Log(prec)/2 - (sq-mean*mean/prec)/2
}

// Best is how far from here the best setting lies, clockwise positive, with its 95 %
// interval in the trim's unit.
func (e *Extremum) Best() Figure {
	g := e.posterior()
	weights, _ := g.marginals()
	at := func(q float64) float64 {
		sum := 0.0
		for i, m := range weights {
			if sum += m; sum >= q {
				// The weight of a place lies about it; within, in proportion.
				return g.place.at(i) + (0.5-(sum-q)/m)*g.place.step - e.at
			}
		}
		return g.place.at(g.place.n-1) - e.at
	}
	return Figure{Value: at(0.5), Lo: at(0.025), Hi: at(0.975), Unit: string(e.trim.Unit)}
}

// inside is the chance that a place is within a tolerance of the best.
func (e *Extremum) inside(p, tolerance float64) float64 {
	g, sum := e.posterior(), 0.0
	for j, run := range g.sum {
		reach := e.widthOf(g.width.at(j)) * math.Sqrt(math.Pow(10, tolerance/10)-1)
		below := func(p float64) float64 {
			x := min(max((p-g.place.lo)/g.place.step+0.5, 0), float64(g.place.n)) // a place stands for one step about it
			i := min(int(x), g.place.n-1)
			return run[i] + (x-float64(i))*g.p[j][i]
		}
		sum += below(p+reach) - below(p-reach)
	}
	return min(sum, 1-1e-6)
}

// Next says how to turn to come within tolerance dB (above 0) of the best reading.
func (e *Extremum) Next(tolerance float64) Turn {
	t := e.trim
	word := "least"
	if t.Law == Peak {
		word = "most"
	}
	out := Turn{Trim: t.ID, Unit: t.Unit, Target: Target{Quantity: t.Sets, Tolerance: tolerance}}
	if len(e.reads) == 0 {
		out.Do, out.Sentence = DoRead, fmt.Sprintf("Read %s first.", t.Sets)
		return out
	}
	out.Now = e.reading(e.at, 0)
	out.Chance = e.inside(e.at, tolerance)
	out.After, out.After95 = out.Now, out.Chance
	if out.Chance >= Enough {
		out.Do = DoEnough
		out.Sentence = fmt.Sprintf("Enough: %s stands within %s of the %s (%s).", called(t), plain(tolerance, "dB"), word, unit.Probability(out.Chance))
		return out
	}
	goal := e.goal(tolerance)
	out.Cautions = t.Cautions
	best := e.Best()
	out.Do, out.By = DoTurn, goal-e.at
	out.Lo, out.Hi = best.Lo, best.Hi
	out.After = e.reading(goal, e.reads[len(e.reads)-1].sd)
	out.After95 = e.inside(goal, tolerance)
	if len(e.reads) == 1 {
		out.Sentence = fmt.Sprintf("Turn %s %s and read: one reading does not tell on which side the %s lies.", called(t), turnText(out.By, t.Unit), word)
		return out
	}
	out.Sentence = fmt.Sprintf("Turn %s %s: there it reads %s, within %s of the %s with %s.", called(t), turnText(out.By, t.Unit), out.After, plain(tolerance, "dB"), word, unit.Probability(out.After95))
	return out
}

// goal is the place to go to: the likeliest to be inside, if it was not read yet; else
// one beside it that tells the sides apart.
func (e *Extremum) goal(tolerance float64) float64 {
	if len(e.reads) == 1 {
		return e.at + e.trim.Travel*widthShare*0.8
	}
	g := e.posterior()
	best, most := e.at, -1.0
	for i := range g.place.n {
		if c := e.inside(g.place.at(i), tolerance); c > most {
			best, most = g.place.at(i), c
		}
	}
	near := 0.0
	for _, r := range e.reads {
		if math.Abs(r.at-best) < e.trim.Travel/200 {
			near++
		}
	}
	if near > 0 {
		f := e.Best()
		away := max((f.Hi-f.Lo)/3, e.trim.Travel/100) * near
		if f.Value+e.at < best {
			away = -away
		}
		return best + away
	}
	return best
}

// reading is what a place is expected to read, mean and 95 % interval of its mixture
// taken for normal, with the noise of a reading.
func (e *Extremum) reading(p, noise float64) Figure {
	g, mean, sq := e.posterior(), 0.0, 0.0
	for j, row := range g.p {
		w := e.widthOf(g.width.at(j))
		for i, m := range row {
			if m < 1e-9 {
				continue
			}
			p0 := g.place.at(i)
			prec, d := 1/(depthSD*depthSD), 0.0
			for _, r := range e.reads {
				prec += 1 / (r.sd * r.sd)
				d += (r.y - e.sign()*excess(r.at, p0, w)) / (r.sd * r.sd)
			}
			y := d/prec + e.sign()*excess(p, p0, w)
			mean += m * y
			sq += m * (y*y + 1/prec)
		}
	}
	h := z95 * math.Sqrt(max(0, sq-mean*mean)+noise*noise)
	return Figure{Value: mean, Lo: mean - h, Hi: mean + h, Unit: "dB"}
}
