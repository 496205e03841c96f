package trim

import (
	"fmt"
	"math"

	"headstack/measure"
)

// Bench is what was turned and read on one recorder, in its order, and what that says of
// every quantity and trim now. Turn and Read change it; the rest only asks. It is made
// anew from the same entries to the same state, and serves one goroutine.
type Bench struct {
	m      *Model
	params []param // fixed ones of the model first, then one a move and one a jump
	at     offsets
	moves  []move
	reads  []read
	seen   []seen
	batch  int // of readings, counted from 1
	fresh  int // moves before it were followed by a reading
	jumps  []jump
	voids  []int // moves without effect, of each trim, since one that had one
	sign   []float64
	sure   []float64 // chance of the sign of a family
	fit    fit
}

// param is one unknown, z in x = mean + sd·z, with z standard normal before all readings.
type param struct{ mean, sd float64 }

// offsets say which unknown is which: those of gains in the order of all influences and
// those of starts by trim, -1 where it is known or does not matter.
type offsets struct {
	family, own int
	gain, start []int
}

// Move is one turn of one trim.
type Move struct {
	Trim ID
	// By is how far, in the trim's unit, clockwise positive.
	By float64
	// SD is the standard deviation of By; 0: as a hand turns against a mark, 2 % of it
	// and 1.5° (common practice, no source).
	SD float64
	// Stopped is whether the end of the travel was felt at the end of the move.
	Stopped bool
}

type move struct {
	Move
	said   int     // trim named
	trim   int     // trim that, by what was read, was turned
	factor float64 // 1, 0 where the move had no effect, -1 where it went the other way
	param  int
}

// Reading is one figure read.
type Reading struct {
	Quantity Quantity
	Value    float64
	SD       float64 // standard deviation, above 0
}

type read struct {
	Reading
	v       int // variable
	moment  int // moves before it
	batch   int
	doubted bool
	resid   float64 // of a doubted one: read less expected
}

type jump struct{ v, batch, param int }

// ReadingOf takes a measured figure as a reading of the model: under its own name, or
// under another one where that is not empty (a level of a machine's own recording is its
// "record_level"). Where the model knows the quantity without a tone, that is meant.
// Levels in dBFS are taken as they are: targets are then in dBFS too. ok is false where the
// figure was refused, has no finite interval, or is not in the model in its unit. The
// interval is taken for a normal one.
func (m *Model) ReadingOf(r measure.Result, as string) (out Reading, ok bool) {
	q := Quantity{Measure: r.Name, Track: r.Track, TrackB: r.TrackB, ToneHz: r.ToneHz}
	switch {
	case as != "":
		q.Measure = as
	case r.Name == "azimuth_line":
		q = Quantity{Measure: "azimuth"}
	}
	sd := (r.Hi - r.Lo) / (2 * z95)
	if r.Refused != "" || !(sd > 0) || math.IsInf(sd, 0) || math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return Reading{}, false
	}
	if _, known := m.varAt[q]; !known {
		q.ToneHz = 0
	}
	v, known := m.varAt[q]
	if !known || m.vars[v].Unit != r.Unit && !(m.vars[v].Unit == "dB" && r.Unit == "dBFS") {
		return Reading{}, false
	}
	return Reading{Quantity: q, Value: r.Value, SD: sd}, true
}

const z95 = 1.959963984540054

// NewBench is a recorder of which nothing is known but its model.
func NewBench(m *Model) *Bench {
	b := &Bench{m: m, voids: make([]int, len(m.trims))}
	add := func(mean, sd float64) { b.params = append(b.params, param{mean, sd}) }
	for _, v := range m.vars {
		add(v.Base, v.BaseSD)
	}
	for _, v := range m.vars {
		for _, in := range v.Moved {
			k := -1
			if in.GainSD > 0 {
				k = len(b.params)
				add(in.Gain, in.GainSD)
			}
			b.at.gain = append(b.at.gain, k)
		}
	}
	b.at.family = len(b.params)
	b.sign, b.sure = make([]float64, len(m.families)), make([]float64, len(m.families))
	for f := range m.families {
		for i, t := range m.trims {
			if m.family[i] == f {
				add(0, t.FamilySpread)
				b.sign[f], b.sure[f] = float64(t.Sign), 1
				if t.Sign == 0 {
					b.sign[f], b.sure[f] = 1, 0.5
				}
				break
			}
		}
	}
	b.at.own = len(b.params)
	for _, t := range m.trims {
		add(0, t.OwnSpread)
	}
	for _, t := range m.trims {
		k := -1
		if t.Law == Divider { // only there the place in the travel matters
			k = len(b.params)
			mean, sd := t.start()
			add(mean/t.Travel, sd/t.Travel)
		}
		b.at.start = append(b.at.start, k)
	}
	b.refit()
	return b
}

// Turn enters a move. The error says that the trim is not known or the move no number.
func (b *Bench) Turn(mv Move) error {
	i, ok := b.m.trimAt[mv.Trim]
	if !ok {
		return fmt.Errorf("no trim %q: it is no adjuster of this model", mv.Trim)
	}
	if math.IsNaN(mv.By) || math.IsInf(mv.By, 0) || !(mv.SD >= 0) {
		return fmt.Errorf("trim %s: a move of %g with a spread of %g", mv.Trim, mv.By, mv.SD)
	}
	if mv.SD == 0 {
		mv.SD = b.m.trims[i].dialSD(mv.By)
	}
	mean, sd := b.moveError(i, mv.By, mv.SD)
	b.moves = append(b.moves, move{Move: mv, said: i, trim: i, factor: 1, param: len(b.params)})
	b.params = append(b.params, param{mean, sd})
	b.fit.z = append(b.fit.z, 0)
	return nil
}

// moveError is mean and standard deviation of what a move does more than it says: what
// backlash takes of it and how well a hand turns.
func (b *Bench) moveError(trim int, by, sd float64) (mean, spread float64) {
	before := 0.0
	for _, mv := range b.moves {
		if mv.trim == trim && mv.By*mv.factor != 0 {
			before = mv.By * mv.factor
		}
	}
	loss := b.m.trims[trim].Backlash * by
	switch {
	case before == 0: // as likely a reversal as not
		return -loss / 2, math.Hypot(sd, loss/2)
	case before*by < 0:
		return -loss, math.Hypot(sd, loss/3)
	}
	return 0, sd
}

// Read enters readings that were taken together, at the state that the last move left,
// and returns what is to be doubted in them or in the moves before them. Readings that are
// doubted count for nothing until they are confirmed. The error names a reading that the
// model does not know, or that is no number or has no spread; then none was entered.
func (b *Bench) Read(rs ...Reading) ([]Doubt, error) {
	fresh := make([]read, len(rs))
	for k, r := range rs {
		v, ok := b.m.varAt[r.Quantity]
		if !ok {
			return nil, fmt.Errorf("no quantity %s in this model", r.Quantity)
		}
		if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) || !(r.SD > 0) || math.IsInf(r.SD, 0) {
			return nil, fmt.Errorf("%s: a reading of %g with a spread of %g", r.Quantity, r.Value, r.SD)
		}
		fresh[k] = read{Reading: r, v: v, moment: len(b.moves), batch: b.batch + 1}
	}
	b.batch++
	doubts := b.judge(fresh)
	b.reads = append(b.reads, fresh...)
	b.fresh = len(b.moves)
	b.refit()
	b.settleSigns()
	return doubts, nil
}

// Figure is a value with its 95 % interval, in the unit of what it is of.
type Figure struct {
	Value, Lo, Hi float64
	Unit          string
}

func (f Figure) String() string { return figure(f.Value, f.Lo, f.Hi, f.Unit) }

// State is what a quantity is now, after all moves; ok is false for one that the model
// does not know.
func (b *Bench) State(q Quantity) (Figure, bool) {
	v, ok := b.m.varAt[q]
	if !ok {
		return Figure{}, false
	}
	return b.figure(b.here(), v, 0), true
}

// Sensitivity is what one unit of a trim's travel does, with its sign, in the unit of the
// quantity it sets; of a Divider on average over its travel.
func (b *Bench) Sensitivity(id ID) (Figure, bool) {
	i, ok := b.m.trimAt[id]
	if !ok {
		return Figure{}, false
	}
	f := b.m.family[i]
	fam, own := b.at.family+f, b.at.own+i
	g := slopes{[]int{fam, own}, []float64{b.params[fam].sd, b.params[own].sd}}
	logSD, log := math.Sqrt(b.fit.variance(g)), g.dot(b.fit.z)
	t := b.m.trims[i]
	s := b.sign[f] * t.Sensitivity()
	out := Figure{s * math.Exp(log), s * math.Exp(log-z95*logSD), s * math.Exp(log+z95*logSD), b.m.vars[b.m.varAt[t.Sets]].Unit + "/" + perTravel(t.Unit)}
	if out.Lo > out.Hi {
		out.Lo, out.Hi = out.Hi, out.Lo
	}
	return out, true
}

// SignChance is the chance that the direction which is assumed for a trim is right: 1
// where the model gives it, 0.5 before a reading after a move.
func (b *Bench) SignChance(id ID) float64 {
	i, ok := b.m.trimAt[id]
	if !ok {
		return math.NaN()
	}
	return b.sure[b.m.family[i]]
}

func perTravel(u TravelUnit) string {
	if u == Turns {
		return "turn"
	}
	return string(u)
}
