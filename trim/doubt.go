package trim

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"headstack/unit"
)

// DoubtKind is what is doubted.
type DoubtKind string

// What may be wrong with a move or a reading.
const (
	NoEffect  DoubtKind = "no effect"  // the move changed nothing that the trim moves
	OtherTrim DoubtKind = "other trim" // a sibling's quantity moved instead
	WrongWay  DoubtKind = "wrong way"  // it went against the trim's direction
	Outlier   DoubtKind = "outlier"    // a reading that nothing entered explains
	Confirmed DoubtKind = "confirmed"  // an outlier was read again: the quantity did change
	Unlike    DoubtKind = "unlike"     // the trim does much more or less than its siblings
)

// Doubt is something that contradicts what was entered, and what to check.
type Doubt struct {
	Kind     DoubtKind
	Trim     ID       // of a move
	Other    ID       // the sibling that seems to have been turned
	Quantity Quantity // of a reading
	// Chance that the move went as named here, of a move; of an outlier the chance of a
	// reading as far off, were all well.
	Chance   float64
	Sentence string
}

// Chances of slips at the bench before anything is read: wrong trim or track about 5 %
// of readings, of which part is seen here; estimates, no source.
const (
	chanceNone  = 0.02
	chanceOther = 0.02 // over all siblings
	chanceBack  = 0.01
	believed    = 0.6 // a slip is taken for true from here on
	farOff      = 3.5 // standard deviations from which a reading is an outlier
	widen       = 4.0 // times a trim's own spread, where it is unlike its siblings
)

// slip is one way in which a move may not have gone as entered.
type slip struct {
	kind   DoubtKind
	trim   int
	factor float64
	log    float64 // of the chance
}

// judge holds new readings against what the entries before them led to expect. It
// changes moves that went otherwise than entered and marks readings that do not fit.
func (b *Bench) judge(rs []read) []Doubt {
	var out []Doubt
	for k := b.fresh; k < len(b.moves); k++ {
		if d, ok := b.judgeMove(k, rs); ok {
			out = append(out, d)
		}
	}
	p := b.eval(b.fit.z, b.here(), nil, true)
	for i := range rs {
		if d, ok := b.judgeReading(&rs[i], p); ok {
			out = append(out, d)
		}
	}
	return out
}

// slips are the ways in which a move may have gone. A sibling that was turned instead is
// seen only where what it sets was read; else nothing has moved.
func (b *Bench) slips(k int, rs []read) []slip {
	said := b.moves[k].said
	if b.sure[b.m.family[said]] < 0.99 { // either way is as said
		half := math.Log((1 - chanceNone) / 2)
		return []slip{{"", said, 1, half}, {"", said, -1, half}, {NoEffect, said, 0, math.Log(chanceNone)}}
	}
	out := []slip{{"", said, 1, math.Log(1 - chanceNone - chanceOther - chanceBack)},
		{NoEffect, said, 0, math.Log(chanceNone)}, {WrongWay, said, -1, math.Log(chanceBack)}}
	// A sibling is blamed only where it was looked whether the trim as named did its part.
	own := b.m.varAt[b.m.trims[said].Sets]
	if !slices.ContainsFunc(rs, func(r read) bool { return r.v == own }) {
		return out
	}
	var siblings []int
	for i := range b.m.trims {
		v := b.m.varAt[b.m.trims[i].Sets]
		if i != said && b.m.family[i] == b.m.family[said] && slices.ContainsFunc(rs, func(r read) bool { return r.v == v }) {
			siblings = append(siblings, i)
		}
	}
	for _, i := range siblings {
		out = append(out, slip{OtherTrim, i, 1, math.Log(chanceOther / float64(len(siblings)))})
	}
	return out
}

func (b *Bench) apply(k int, s slip) { b.moves[k].trim, b.moves[k].factor = s.trim, s.factor }

// judgeMove weighs the ways in which a move may have gone by all readings on which they
// differ.
func (b *Bench) judgeMove(k int, rs []read) (Doubt, bool) {
	slips := b.slips(k, rs)
	points := make([]point, len(slips))
	for h, s := range slips {
		b.apply(k, s)
		points[h] = b.eval(b.fit.z, b.here(), nil, true)
	}
	b.apply(k, slips[0])
	var seen []int
	for i, r := range rs {
		for h := range slips {
			if math.Abs(points[h].y[r.v]-points[0].y[r.v]) > 1e-6*r.SD {
				seen = append(seen, i)
				break
			}
		}
	}
	if len(seen) == 0 {
		return Doubt{}, false
	}
	best, sum, logs := 0, 0.0, make([]float64, len(slips))
	var fits float64 // chi-squared of the best
	for h, s := range slips {
		l, q := b.surprise(rs, seen, points[h])
		logs[h] = s.log + l
		if h == 0 || logs[h] > logs[best] {
			best, fits = h, q
		}
	}
	for _, l := range logs {
		sum += math.Exp(l - logs[best])
	}
	chance := min(1/sum, 1-1e-6)
	// Where even the best way fits badly, it is the readings that are doubted.
	ok := slips[best].kind != "" && chance >= believed && fits < farOff*farOff*float64(len(seen))
	b.count(k, slips[best], ok, chance)
	if !ok {
		return Doubt{}, false
	}
	b.apply(k, slips[best])
	return b.moveDoubt(k, slips[best], chance), true
}

// count keeps how often in a row a trim did nothing.
func (b *Bench) count(k int, s slip, doubted bool, chance float64) {
	said := b.moves[k].said
	switch {
	case doubted && s.kind == NoEffect:
		b.voids[said]++
	case s.kind == "" && chance >= believed:
		b.voids[said] = 0
	}
}

// surprise is the log density of readings under a point, and their chi-squared.
func (b *Bench) surprise(rs []read, seen []int, p point) (log, chi2 float64) {
	n := len(seen)
	s, e := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a, i := range seen {
		e.SetVec(a, rs[i].Value-p.y[rs[i].v])
		for c, j := range seen[:a+1] {
			x := b.fit.covariance(p.g[rs[i].v], p.g[rs[j].v])
			if a == c {
				x += rs[i].SD * rs[i].SD
			}
			s.SetSym(a, c, x)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		return math.Inf(-1), math.Inf(1)
	}
	var x mat.VecDense
	if err := chol.SolveVecTo(&x, e); err != nil {
		return math.Inf(-1), math.Inf(1)
	}
	chi2 = mat.Dot(e, &x)
	return -chi2/2 - chol.LogDet()/2 - float64(n)/2*math.Log(2*math.Pi), chi2
}

func (b *Bench) moveDoubt(k int, s slip, chance float64) Doubt {
	mv := b.moves[k]
	t := b.m.trims[mv.said]
	d := Doubt{Kind: s.kind, Trim: t.ID, Chance: chance}
	turned := fmt.Sprintf("%s was turned %s", called(t), turnText(mv.By, t.Unit))
	switch s.kind {
	case NoEffect:
		d.Sentence = turned + ", and nothing that it moves has moved (" + unit.Probability(chance) + "). Check that it was this trim and that this track is heard."
		if b.voids[mv.said] > 1 {
			d.Sentence = turned + fmt.Sprintf(", and for the %s time nothing moved (%s). It does nothing: oxide under the wiper, a broken slug, or it is not on this path.", ordinal(b.voids[mv.said]), unit.Probability(chance))
		}
	case OtherTrim:
		o := b.m.trims[s.trim]
		d.Other = o.ID
		d.Sentence = turned + fmt.Sprintf(", and %s moved instead (%s). It is reckoned as a turn of %s: check which one it was.", o.Sets, unit.Probability(chance), o.ID)
	case WrongWay:
		d.Sentence = turned + ", and it went the other way (" + unit.Probability(chance) + "). Check which way it was turned, and the trim's sign in the definition."
	}
	return d
}

func called(t Trim) string {
	if t.Name == "" {
		return string(t.ID)
	}
	return fmt.Sprintf("%s (%s)", t.ID, t.Name)
}

func ordinal(n int) string {
	if n == 2 {
		return "second"
	}
	return fmt.Sprintf("%dth", n)
}

// judgeReading marks a reading that is too far from what was expected, unless one before
// it was as far off: then both count, and the quantity has changed.
func (b *Bench) judgeReading(r *read, p point) (Doubt, bool) {
	if b.unsettled(p.g[r.v]) {
		return Doubt{}, false
	}
	resid := r.Value - p.y[r.v]
	known := b.fit.variance(p.g[r.v])
	z := b.courseAlong(b.here(), r.v, p).away(r.Value, r.SD)
	if z < farOff {
		return Doubt{}, false
	}
	if d, ok := b.unlike(r); ok {
		return d, true
	}
	if before := b.lastDoubted(r.v); before >= 0 {
		o := b.reads[before]
		if math.Abs(o.resid-resid) < farOff*math.Sqrt(o.SD*o.SD+r.SD*r.SD+known) {
			b.change(before, resid)
			return Doubt{Kind: Confirmed, Quantity: r.Quantity, Chance: 1, Sentence: fmt.Sprintf(
				"%s is read twice as %s off what the turns explain: it did change. Something else was turned, or a fault comes and goes.", upper(r.Quantity.String()), plain(resid, b.m.vars[r.v].Unit))}, true
		}
	}
	r.doubted, r.resid = true, resid
	return Doubt{Kind: Outlier, Quantity: r.Quantity, Chance: 2 * phi(-z), Sentence: b.outlier(r, p, math.Sqrt(known+r.SD*r.SD))}, true
}

// unlike widens what is believed of a trim's own sensitivity, where that explains a
// reading after a turn of it; the reading counts then.
func (b *Bench) unlike(r *read) (Doubt, bool) {
	for _, mv := range b.moves[b.fresh:] {
		i := mv.trim
		if b.m.varAt[b.m.trims[i].Sets] != r.v || mv.factor == 0 {
			continue
		}
		k := b.at.own + i
		if b.params[k].sd > b.m.trims[i].OwnSpread { // once only
			continue
		}
		wide := b.ahead()
		wide.params[k].sd *= widen
		wide.fit.z[k] /= widen
		if wide.course(wide.here(), r.v).away(r.Value, r.SD) >= farOff {
			continue
		}
		b.params[k].sd *= widen
		b.fit.z[k] /= widen
		return Doubt{Kind: Unlike, Trim: b.m.trims[i].ID, Quantity: r.Quantity, Chance: believed, Sentence: fmt.Sprintf(
			"%s moved %s to %s, much further or less far than its siblings would. Check that it was turned as far as entered; it is reckoned as one of its own kind.", called(b.m.trims[i]), r.Quantity, plain(r.Value, b.m.vars[r.v].Unit))}, true
	}
	return Doubt{}, false
}

// unsettled is whether a quantity hangs on a trim whose direction is not known yet.
func (b *Bench) unsettled(g slopes) bool {
	for f, sure := range b.sure {
		if sure < 0.99 && g.of(b.at.family+f) != 0 {
			return true
		}
	}
	return false
}

func (b *Bench) lastDoubted(v int) int {
	for i := len(b.reads) - 1; i >= 0; i-- {
		if b.reads[i].v == v {
			if b.reads[i].doubted {
				return i
			}
			return -1
		}
	}
	return -1
}

// change lets a quantity be another one from a doubted reading on.
func (b *Bench) change(k int, resid float64) {
	r := &b.reads[k]
	r.doubted = false
	b.jumps = append(b.jumps, jump{r.v, r.batch, len(b.params)})
	b.params = append(b.params, param{0, 2 * math.Abs(resid)})
	b.fit.z = append(b.fit.z, 0)
}

// outlier says what a reading that does not fit looks like.
func (b *Bench) outlier(r *read, p point, sd float64) string {
	u := b.m.vars[r.v].Unit
	s := fmt.Sprintf("%s reads %s, where %s was expected.", upper(r.Quantity.String()), plain(r.Value, u), figure(p.y[r.v], p.y[r.v]-z95*sd, p.y[r.v]+z95*sd, u))
	if u == "dB" && r.Value-p.y[r.v] < -12 {
		return s + " That is as if it were muted or another track soloed: check solo, mute and which track is on this channel, and read again."
	}
	var like []int
	for v, o := range b.m.vars {
		q := o.Quantity
		q.Track = r.Quantity.Track
		if v != r.v && q == r.Quantity && math.Abs(r.Value-p.y[v]) < 2*math.Sqrt(r.SD*r.SD+b.fit.variance(p.g[v])) {
			like = append(like, o.Quantity.Track)
		}
	}
	if len(like) == 1 {
		return s + fmt.Sprintf(" Track %d should read so: check which track was heard, and read again.", like[0])
	}
	return s + " Read again; if it stays, another trim or track was turned, or a fault comes and goes."
}
