package trim

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"headstack/measure"
)

// Prop is what holds an open recorder, and at which angle.
type Prop struct {
	Name  string
	Angle float64 // of lid or deck, degrees
}

// CaseReading is one figure, read with the case closed or open.
type CaseReading struct {
	Machine  string // serial or any name of the one machine
	Quantity Quantity
	State    measure.CaseState // closed, else open or propped
	Prop     Prop              // of an open reading
	// Epoch counts how often trims were touched: readings of one machine in one epoch are
	// of one setting.
	Epoch int
	// Closing counts how often this machine was closed, of an open reading how often it
	// was opened: readings of one closing share how it came to sit.
	Closing   int
	Value, SD float64
}

func (r CaseReading) closed() bool { return r.State == measure.CaseClosed }

// Case tells what the open case does to a quantity: offset = open − closed, of this
// machine with this prop, as it stands open now. What is known of it comes from pairs of
// readings of one setting, of this machine and, less so, of others of its definition and
// of other props; how well closing repeats comes from closings of one setting.
//
// All are jointly normal given two spreads, τ from machine to machine and ρ from closing
// to closing, which are summed over (so few closings give a wide interval):
//
//	closed = setting + c,  c ~ ρ²        for each closing
//	open   = setting + O + p,  p ~ ρ²    for each opening
//	cov(O, O′) = S² + τ²·[same machine] + τ²·κ(prop, prop′)
//
// with κ 1 for the same prop at the same angle, falling by 1/e over 10° of angle, and 0
// for another prop. S, and the prior middles of τ and ρ, are estimates of bench figures:
// azimuth 2 to 10 arcminutes, 10 kHz 0.5 to 3 dB (estimates, no source).
type Case struct {
	machine string
	now     Prop
	unit    func(Quantity) string
	reads   []CaseReading
	opening int
}

// NewCase is of one machine that is propped up as given; history holds readings of it and
// of others of its definition. The error names a reading that is no number or has no
// spread, or no machine or case state.
func NewCase(m *Model, machineName string, now Prop, history []CaseReading) (*Case, error) {
	c := &Case{machine: machineName, now: now, unit: m.Unit}
	for _, r := range history {
		if err := c.Add(r); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// Add enters a reading. A closed one that follows an open one of the same epoch, after
// closing, is the proof that teaches the offset.
func (c *Case) Add(r CaseReading) error {
	switch {
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || !(r.SD > 0) || math.IsInf(r.SD, 0):
		return fmt.Errorf("%s, case %s: a reading of %g with a spread of %g", r.Quantity, r.State, r.Value, r.SD)
	case r.Machine == "":
		return fmt.Errorf("%s: the reading is of no machine", r.Quantity)
	case r.State == measure.CaseUnknown:
		return fmt.Errorf("%s: whether the case was open is not said", r.Quantity)
	}
	if r.Machine == c.machine && !r.closed() {
		c.opening = max(c.opening, r.Closing)
	}
	c.reads = append(c.reads, r)
	return nil
}

// spreads are the prior middles of a class of quantities, in its unit.
type spreads struct{ common, machines, closings float64 }

// kind is the class whose spreads a quantity shares. Common practice and estimates, no source.
func (c *Case) kind(q Quantity) (string, spreads) {
	switch u := c.unit(q); {
	case u == "arcmin":
		return u, spreads{8, 3, 1}
	case u == "µs":
		return u, spreads{60, 25, 8}
	case u == "dB" && q.ToneHz >= 4000:
		return "treble", spreads{2, 0.7, 0.2}
	case u == "dB":
		return "level", spreads{0.5, 0.2, 0.05}
	case u == "%":
		return u, spreads{0.3, 0.1, 0.03}
	default:
		return u, spreads{1, 0.5, 0.2}
	}
}

// Offset is what the open case adds to a quantity.
type Offset struct {
	Quantity Quantity
	// Figure is open − closed for this machine, prop and opening, to the next closing:
	// its interval holds how closings scatter.
	Figure Figure
	// Closing is the standard deviation from one closing to the next, Known that of the
	// offset without it.
	Closing, Known float64
	Pairs          int // of this machine with this prop
}

const (
	spreadLog  = 0.8 // sd of the logarithm of τ and ρ
	spreadGrid = 7   // points on either
)

// Offset returns what the open case adds to a quantity, with its 95 % interval. Without
// a pair it is the prior or what other machines teach.
func (c *Case) Offset(q Quantity) Offset {
	name, s := c.kind(q)
	byQ := map[Quantity][]CaseReading{}
	for _, r := range c.reads {
		if n, _ := c.kind(r.Quantity); n == name {
			byQ[r.Quantity] = append(byQ[r.Quantity], r)
		}
	}
	type cell struct{ log, mean, variance, rho float64 }
	var cells []cell
	most := math.Inf(-1)
	for i := range spreadGrid {
		for j := range spreadGrid {
			zi, zj := grid(i), grid(j)
			g := caseGaussian{s.common, s.machines * math.Exp(spreadLog*zi), s.closings * math.Exp(spreadLog*zj)}
			x := cell{log: -(zi*zi + zj*zj) / 2, rho: g.rho}
			for _, other := range sortedQuantities(byQ) {
				x.log += g.logDensity(byQ[other])
			}
			x.mean, x.variance = g.predict(byQ[q], c.machine, c.now, c.opening)
			cells = append(cells, x)
			most = max(most, x.log)
		}
	}
	sum, mean, sq, rho2 := 0.0, 0.0, 0.0, 0.0
	for _, x := range cells {
		w := math.Exp(x.log - most)
		sum += w
		mean += w * x.mean
		sq += w * (x.mean*x.mean + x.variance)
		rho2 += w * x.rho * x.rho
	}
	mean, rho2 = mean/sum, rho2/sum
	known := math.Sqrt(max(0, sq/sum-mean*mean))
	// The interval is of the mixture itself, whose tails are heavier than a normal's.
	at := func(q float64) float64 {
		return bisect(mean-40*math.Hypot(known, math.Sqrt(rho2)), mean+40*math.Hypot(known, math.Sqrt(rho2)), func(x float64) bool {
			p := 0.0
			for _, k := range cells {
				p += math.Exp(k.log-most) / sum * phi((x-k.mean)/math.Sqrt(k.variance+k.rho*k.rho))
			}
			return p < q
		})
	}
	return Offset{Quantity: q, Figure: Figure{Value: mean, Lo: at(0.025), Hi: at(0.975), Unit: c.unit(q)},
		Closing: math.Sqrt(rho2), Known: known, Pairs: c.pairs(byQ[q])}
}

func grid(i int) float64 { return -2.4 + 4.8*float64(i)/(spreadGrid-1) }

// bisect finds where below turns false.
func bisect(lo, hi float64, below func(float64) bool) float64 {
	for range 60 {
		if m := (lo + hi) / 2; below(m) {
			lo = m
		} else {
			hi = m
		}
	}
	return (lo + hi) / 2
}

func sortedQuantities(byQ map[Quantity][]CaseReading) []Quantity {
	out := make([]Quantity, 0, len(byQ))
	for q := range byQ {
		out = append(out, q)
	}
	slices.SortFunc(out, func(a, b Quantity) int {
		return cmp.Or(cmp.Compare(a.Measure, b.Measure), cmp.Compare(a.ToneHz, b.ToneHz), cmp.Compare(a.Track, b.Track), cmp.Compare(a.TrackB, b.TrackB), cmp.Compare(a.At, b.At))
	})
	return out
}

// pairs counts settings of this machine that were read both ways with the present prop.
func (c *Case) pairs(rs []CaseReading) int {
	closed, open := map[int]bool{}, map[int]bool{}
	for _, r := range rs {
		switch {
		case r.Machine != c.machine:
		case r.closed():
			closed[r.Epoch] = true
		case alike(r.Prop, c.now) > 0.9:
			open[r.Epoch] = true
		}
	}
	n := 0
	for e := range open {
		if closed[e] {
			n++
		}
	}
	return n
}

// alike is κ of two props.
func alike(a, b Prop) float64 {
	if a.Name != b.Name {
		return 0
	}
	d := (a.Angle - b.Angle) / 10
	return math.Exp(-d * d)
}

// caseGaussian is the joint normal of readings of one quantity, at spreads.
type caseGaussian struct{ common, tau, rho float64 }

const settingSD = 100.0 // of what was set: nothing is known of it

// cov is the covariance of two readings without their noise.
func (g caseGaussian) cov(a, b CaseReading) float64 {
	same, x := a.Machine == b.Machine, 0.0
	if same && a.Epoch == b.Epoch {
		x += settingSD * settingSD
	}
	if same && a.closed() == b.closed() && a.Closing == b.Closing {
		x += g.rho * g.rho
	}
	if !a.closed() && !b.closed() {
		x += g.offsets(same, a.Prop, b.Prop)
	}
	return x
}

func (g caseGaussian) offsets(same bool, a, b Prop) float64 {
	x := g.common*g.common + g.tau*g.tau*alike(a, b)
	if same {
		x += g.tau * g.tau
	}
	return x
}

func (g caseGaussian) factor(rs []CaseReading) (*mat.Cholesky, *mat.VecDense, bool) {
	s, y := mat.NewSymDense(len(rs), nil), mat.NewVecDense(len(rs), nil)
	for i, r := range rs {
		y.SetVec(i, r.Value)
		for j := range i + 1 {
			x := g.cov(r, rs[j])
			if i == j {
				x += r.SD * r.SD
			}
			s.SetSym(i, j, x)
		}
	}
	var chol mat.Cholesky
	return &chol, y, chol.Factorize(s)
}

func (g caseGaussian) logDensity(rs []CaseReading) float64 {
	if len(rs) == 0 {
		return 0
	}
	chol, y, ok := g.factor(rs)
	if !ok {
		return math.Inf(-1)
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, y); err != nil {
		return math.Inf(-1)
	}
	return -(mat.Dot(y, &x) + chol.LogDet()) / 2
}

// predict is mean and variance of offset and present opening together.
func (g caseGaussian) predict(rs []CaseReading, name string, now Prop, opening int) (mean, variance float64) {
	prior := g.offsets(true, now, now) + g.rho*g.rho
	if len(rs) == 0 {
		return 0, prior
	}
	chol, y, ok := g.factor(rs)
	if !ok {
		return 0, prior
	}
	k := mat.NewVecDense(len(rs), nil)
	for i, r := range rs {
		if r.closed() {
			continue
		}
		x := g.offsets(r.Machine == name, r.Prop, now)
		if r.Machine == name && r.Closing == opening {
			x += g.rho * g.rho
		}
		k.SetVec(i, x)
	}
	var w mat.VecDense
	if err := chol.SolveVecTo(&w, k); err != nil {
		return 0, prior
	}
	return mat.Dot(&w, y), max(0, prior-mat.Dot(&w, k))
}

// OpenTarget is where a quantity is to be set with the case open, so that it is at its
// target once closed: target + offset, with the interval of the offset.
func (c *Case) OpenTarget(t Target) (Target, Figure) {
	o := c.Offset(t.Quantity)
	f := o.Figure
	f.Value, f.Lo, f.Hi = f.Value+t.Value, f.Lo+t.Value, f.Hi+t.Value
	t.Value = f.Value
	return t, f
}

// Usability says whether a quantity can be set with the case open.
type Usability struct {
	OK       bool
	Half     float64 // half width of the offset's 95 % interval
	Sentence string
	// Instead is what helps where it is not OK, in the order to try.
	Instead []string
}

// Usable says whether the offset is known well enough to set a quantity open to within
// tolerance (above 0) once closed, and what to do mechanically where it is not.
func (c *Case) Usable(q Quantity, tolerance float64) Usability {
	o := c.Offset(q)
	u := Usability{Half: (o.Figure.Hi - o.Figure.Lo) / 2}
	u.OK = u.Half <= tolerance
	if u.OK {
		u.Sentence = fmt.Sprintf("Set %s open: the open case adds %s, known to within the tolerance of ±%s.", q, o.Figure, plain(tolerance, o.Figure.Unit))
		return u
	}
	u.Sentence = fmt.Sprintf("%s cannot be set open to ±%s: the open case adds %s.", upper(q.String()), plain(tolerance, o.Figure.Unit), o.Figure)
	if o.Pairs == 0 {
		u.Instead = append(u.Instead, "Read it closed, as found, and open on this prop before anything is touched.")
	}
	if z95*o.Closing > 0.7*tolerance {
		u.Sentence += fmt.Sprintf(" One closing differs from the next by %s (standard deviation).", plain(o.Closing, o.Figure.Unit))
		u.Instead = append(u.Instead,
			"Support the case at the same angle and the same points each time, on a stiff prop that bears on the frame, not on the lid.",
			"Put the lid's screws back in one order, evenly tightened, and read again: that shows whether closing repeats.",
			"Trim through the door opening with the case closed, where the trim can be reached so.",
			"Else go by small steps: turn, close, read closed, open, turn the rest.")
	} else if o.Pairs > 0 {
		u.Instead = append(u.Instead, "Read it longer, or twice, closed and open: the readings' own intervals are what is wide.")
	}
	return u
}
