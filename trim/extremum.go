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
// that are equally likely, as after one reading, both stay open. The trim's place at the
// first reading is 0.
type Extremum struct {
	trim  Trim
	at    float64 // now, from the start
	varAt float64 // of it, in travel units²
	last  float64 // last move
	reads []struct{ at, varAt, y, sd float64 }
	post  [][]float64 // by width, then place; nil until asked
}

const (
	places = 401 // over two travels
	widths = 21
	// The width of a trap on its slug, as a share of the travel, with the spread of its
	// logarithm: common practice, no source.
	widthShare  = 1.0 / 10
	widthSpread = 0.7
	depthSD     = 60.0 // dB, of what the best reads: nearly nothing is known
)

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
			x.Name = t.Name
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
	e.reads = append(e.reads, struct{ at, varAt, y, sd float64 }{e.at, e.varAt, dB, sd})
	e.post = nil
	return nil
}

func (e *Extremum) place(i int) float64 {
	return e.trim.Travel * (2*float64(i)/(places-1) - 1)
}

func (e *Extremum) width(j int) float64 {
	return e.trim.Travel * widthShare * math.Exp(widthSpread*2.5*(2*float64(j)/(widths-1)-1))
}

// excess is how far from the best a place is, in dB ≥ 0.
func excess(p, p0, w float64) float64 {
	x := (p - p0) / w
	return 10 * math.Log10(1+x*x)
}

// posterior weighs all places and widths by the readings, the depth summed out.
func (e *Extremum) posterior() [][]float64 {
	if e.post != nil {
		return e.post
	}
	sign := 1.0
	if e.trim.Law == Peak {
		sign = -1
	}
	logs, most := make([][]float64, widths), math.Inf(-1)
	for j := range logs {
		logs[j] = make([]float64, places)
		w := e.width(j)
		zw := 2.5 * (2*float64(j)/(widths-1) - 1)
		for i := range logs[j] {
			p0 := e.place(i)
			// A start anywhere and a best place anywhere in the travel differ as a triangle.
			l := math.Log(1-math.Abs(p0)/e.trim.Travel+1e-9) - zw*zw/2
			logs[j][i] = l + e.fits(p0, w, sign)
			most = max(most, logs[j][i])
		}
	}
	sum := 0.0
	for j := range logs {
		for i := range logs[j] {
			logs[j][i] = math.Exp(logs[j][i] - most)
			sum += logs[j][i]
		}
	}
	for j := range logs {
		for i := range logs[j] {
			logs[j][i] /= sum
		}
	}
	e.post = logs
	return logs
}

// fits is the log density of the readings at one place and width.
func (e *Extremum) fits(p0, w, sign float64) float64 {
	prec, mean := 1/(depthSD*depthSD), 0.0
	log, sq := math.Log(prec)/2, 0.0
	for _, r := range e.reads {
		x := (r.at - p0) / w
		slope := 20 / math.Ln10 * x / (1 + x*x) / w
		v := r.sd*r.sd + slope*slope*r.varAt
		y := r.y - sign*excess(r.at, p0, w)
		prec += 1 / v
		mean += y / v
		sq += y * y / v
		log -= math.Log(v) / 2
	}
	return log - math.Log(prec)/2 - (sq-mean*mean/prec)/2
}

// Best is the place of the best setting from the first one, clockwise positive, with its
// 95 % interval in the trim's unit.
func (e *Extremum) Best() Figure {
	marginal := e.places()
	at := func(q float64) float64 {
		sum := 0.0
		for i, m := range marginal {
			if sum += m; sum >= q {
				// the mass of a place lies about it; within, in proportion
				return e.place(i) + (0.5-(sum-q)/m)*e.step()
			}
		}
		return e.trim.Travel
	}
	return Figure{Value: at(0.5), Lo: at(0.025), Hi: at(0.975), Unit: string(e.trim.Unit)}
}

func (e *Extremum) step() float64 { return 2 * e.trim.Travel / (places - 1) }

func (e *Extremum) places() []float64 {
	out := make([]float64, places)
	for _, row := range e.posterior() {
		for i, m := range row {
			out[i] += m
		}
	}
	return out
}

// inside is the chance that a place is within a tolerance of the best.
func (e *Extremum) inside(p, tolerance float64) float64 {
	sum := 0.0
	for j, row := range e.posterior() {
		reach := e.width(j) * math.Sqrt(math.Pow(10, tolerance/10)-1)
		for i, m := range row {
			// A place stands for one step about it.
			lo, hi := max(e.place(i)-e.step()/2, p-reach), min(e.place(i)+e.step()/2, p+reach)
			if hi > lo {
				sum += m * (hi - lo) / e.step()
			}
		}
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
	best := e.Best()
	out.Do, out.By = DoTurn, goal-e.at
	out.Lo, out.Hi = best.Lo-e.at, best.Hi-e.at
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
	best, most := e.at, -1.0
	for i := range places {
		if c := e.inside(e.place(i), tolerance); c > most {
			best, most = e.place(i), c
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
		if f.Value < best {
			away = -away
		}
		return best + away
	}
	return best
}

// reading is what a place is expected to read, mean and 95 % interval of its mixture
// taken for normal, with the noise of a reading.
func (e *Extremum) reading(p, noise float64) Figure {
	sign := 1.0
	if e.trim.Law == Peak {
		sign = -1
	}
	mean, sq := 0.0, 0.0
	for j, row := range e.posterior() {
		w := e.width(j)
		for i, m := range row {
			if m < 1e-9 {
				continue
			}
			p0 := e.place(i)
			prec, d := 1/(depthSD*depthSD), 0.0
			for _, r := range e.reads {
				prec += 1 / (r.sd * r.sd)
				d += (r.y - sign*excess(r.at, p0, w)) / (r.sd * r.sd)
			}
			y := d/prec + sign*excess(p, p0, w)
			mean += m * y
			sq += m * (y*y + 1/prec)
		}
	}
	h := z95 * math.Sqrt(max(0, sq-mean*mean)+noise*noise)
	return Figure{Value: mean, Lo: mean - h, Hi: mean + h, Unit: "dB"}
}
