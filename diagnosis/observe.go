package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
)

// Offsets and spreads of readings, in dB (common practice, no source, where
// nothing else is said).
const (
	acInstrumentDB = 0.3  // absolute error of a millivoltmeter on a.c.
	dcInstrumentDB = 0.05 // of a voltmeter on d.c., 0.5 %
	dcSpreadDB     = 0.05 // repeat of a d.c. reading
	wideOffsetDB   = 20   // of a tone for which the definition gives no value
	misleading     = 0.15 // a single absolute reading misleads in 15 % of cases
	misleadingDB   = 1.5  // and then by about this much more
)

// offsetPrior is what is known beforehand of a shared offset.
type offsetPrior struct {
	sd   float64
	slip float64 // further spread of the 15 % that mislead
	look float64 // standard deviation of one observation about it
	wide bool
	// falls are equally likely falls of a meter that nobody knows, each below what the
	// rest of the prior says; none: it reaches the tone.
	falls []float64
}

// step is the grid step for n observations: twice the standard deviation of
// their mean, where summing a normal density on a grid is still right to about
// 1 %, and no coarser than the prior.
func (o offsetPrior) step(n int) float64 {
	if n < 2 {
		return math.Min(o.look, o.sd)
	}
	return math.Min(2*o.look/math.Sqrt(float64(n)), o.sd)
}

// verdictOf turns a check into what was said; ok is false when it says nothing.
func verdictOf(c *Check) (report int, ok bool, err error) {
	switch c.Outcome {
	case Works:
		return saysWorks, true, nil
	case Intermittent:
		return saysIntermittent, true, nil
	case NotFitted, NotTried:
		return 0, false, nil
	case Faulty:
	default:
		return 0, false, fmt.Errorf("diagnosis: %s: outcome %q is none of works, faulty, intermittent, not fitted, not tried", c.Ref, c.Outcome)
	}
	switch c.Symptom {
	case SymptomUnknown:
		return saysFaulty, true, nil
	case SymptomDead:
		return saysDead, true, nil
	case SymptomWeak:
		return saysWeak, true, nil
	case SymptomDull:
		return saysDull, true, nil
	case SymptomThin:
		return saysThin, true, nil
	case SymptomNoisy:
		return saysNoisy, true, nil
	}
	return 0, false, fmt.Errorf("diagnosis: %s: symptom %q is none of dead, weak, dull, thin, noisy", c.Ref, c.Symptom)
}

func (p *problem) addCheck(c *Check) error {
	report, ok, err := verdictOf(c)
	if err != nil || !ok {
		return err
	}
	path, err := p.eng.def.Path(c.Function, c.Key)
	if err != nil {
		return fmt.Errorf("diagnosis: %s: %w", c.Ref, err)
	}
	o := &observation{path: p.path(path), fam: -1, states: 2, space: newSpace(everything), like: checkModel{report}.like}
	p.add(o, note{ref: c.Ref, function: c.Function, key: c.Key, check: c, text: checkText(p.eng.def, c)})
	return nil
}

// everything is the projection of a check: the ear takes in all quantities, but
// not what they have for a shape.
func everything(e effect) effect {
	e.own, e.common = 0, 0
	return e
}

// toneShares is how much of a fault's treble and bass effect, which are stated
// at 10 kHz and 63 Hz, shows at another tone. Losses in tape and circuits lie
// between proportional to frequency and a first-order corner.
func toneShares(toneHz, refHz float64) (treble, bass float64) {
	switch {
	case toneHz > 2*refHz:
		return math.Min(1.2, math.Pow(toneHz/10000, 0.7)), 0
	case toneHz > 0 && toneHz < refHz/2:
		return 0, math.Min(1.2, math.Pow(63/toneHz, 0.7))
	}
	return 0, 0
}

// ratioDB is the reading over the expected value in dB; signed is false when
// the sign is the wrong one.
func ratioDB(value, want float64) (y float64, signed bool) {
	if value == 0 {
		return zeroDB, true
	}
	ratio := value / want
	if ratio < 0 {
		return 20 * math.Log10(-ratio), false
	}
	return math.Max(zeroDB, 20*math.Log10(ratio)), true
}

// judge says whether a reading that no stage explains lies in its range.
func judge(def *machine.Definition, tp *machine.TestPoint, r Reading, value float64, want machine.Expected) aside {
	name := pointName(def, tp, r.Key)
	a := aside{ref: r.Ref, ok: true}
	got := quantity(value, want.Unit)
	switch {
	case want.Max != 0:
		a.ok = math.Abs(value) <= want.Max
		a.text = fmt.Sprintf("%s at %s, at most %s allowed", got, name, quantity(want.Max, want.Unit))
	case want.Known:
		low, high := want.Value*math.Exp(-2*want.SDLn), want.Value*math.Exp(2*want.SDLn)
		a.ok = math.Abs(value) >= math.Abs(low) && math.Abs(value) <= math.Abs(high) && value*want.Value > 0
		a.text = fmt.Sprintf("%s at %s, %s to %s expected", got, name, quantity(low, want.Unit), quantity(high, want.Unit))
	default:
		a.text = fmt.Sprintf("%s at %s, nothing is said of what to expect", got, name)
	}
	return a
}

func refsOf(g []Reading) string {
	var refs []string
	for _, r := range g {
		if !slices.Contains(refs, r.Ref) {
			refs = append(refs, r.Ref)
		}
	}
	return strings.Join(refs, ", ")
}

// offset finds or makes the family of a shared offset.
func (p *problem) offset(name string, prior offsetPrior) int {
	f, ok := p.fams[name]
	if !ok {
		f = len(p.model.families)
		p.fams[name] = f
		p.model.families = append(p.model.families, family{wide: prior.wide})
		p.priors = append(p.priors, prior)
	}
	return f
}

// makeFamilies puts the offsets on grids. A wide offset has no value of its
// own to go by; its grid covers the neighbourhood of its siblings' readings.
func (p *problem) makeFamilies() {
	values := make([][]float64, len(p.model.families))
	for _, o := range p.model.obs {
		if o.fam >= 0 {
			values[o.fam] = append(values[o.fam], o.y)
		}
	}
	for f := range p.model.families {
		slices.Sort(values[f])
		p.model.families[f] = gridOf(p.priors[f], values[f])
	}
}

const maxNodes = 250

func gridOf(prior offsetPrior, sorted []float64) family {
	out := family{wide: prior.wide}
	step := prior.step(len(sorted))
	usual := func(x float64) float64 {
		return (1-misleading)*gauss(x, prior.sd) + misleading*gauss(x, math.Hypot(prior.sd, prior.slip))
	}
	density := usual
	keep := func(float64) bool { return true }
	low, high := -3*(prior.sd+prior.slip), 3*(prior.sd+prior.slip)
	if len(prior.falls) > 0 {
		low -= slices.Max(prior.falls)
		density = func(x float64) float64 {
			sum := 0.0
			for _, d := range prior.falls {
				sum += usual(x + d)
			}
			return sum
		}
	}
	if prior.wide {
		median := sorted[len(sorted)/2]
		density = func(x float64) float64 { return gauss(x-median, prior.sd) }
		low, high = sorted[0]-3, sorted[len(sorted)-1]+24
		// A good sibling reads the offset itself, a weak one up to 24 dB less.
		keep = func(x float64) bool {
			return slices.ContainsFunc(sorted, func(y float64) bool { return x > y-3 && x < y+24 })
		}
	}
	step = math.Max(step, (high-low)/maxNodes)
	sum := 0.0
	for k := math.Ceil(low / step); k <= high/step; k++ {
		if x := k * step; keep(x) {
			out.nodes = append(out.nodes, x)
			out.p = append(out.p, density(x))
			sum += density(x)
		}
	}
	for i := range out.p {
		out.p[i] /= sum
	}
	return out
}
