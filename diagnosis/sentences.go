package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// kinds of trouble, in words.
const (
	isWeak  = "weak"
	isDead  = "dead"
	isDull  = "dull"
	isThin  = "thin"
	isNoisy = "noisy"
	isOff   = "faulty"
	isFick  = "intermittent"
)

// trouble is one symptom at all places where it was seen.
type trouble struct {
	function string
	kind     string
	keys     []string
	amounts  []string // "10 kHz is 9 dB low on track 4"
}

// sentences writes the finding in bench words.
func (p *problem) sentences(post *posterior, a *accusation, v *Verdict) []string {
	var out []string
	// A doubted reading goes before what was concluded from it; a doubted
	// verdict by ear is a remark.
	var heard []string
	for _, d := range v.Doubts {
		if strings.HasPrefix(d.Text, tryAgain) {
			heard = append(heard, d.Text)
		} else {
			out = append(out, d.Text)
		}
	}
	for _, t := range p.troubles(post) {
		out = append(out, p.troubleText(post, a, t))
	}
	out = append(out, heard...)
	for _, x := range p.aside {
		if !x.ok {
			out = append(out, fmt.Sprintf("%s, %s: out of range.", capital(x.ref), x.text))
		}
	}
	if len(out) == 0 && len(p.model.obs) > 0 {
		out = append(out, "Nothing heard or measured so far points to a fault.")
	}
	if len(p.model.obs) == 0 {
		out = append(out, "Nothing is known yet: no check, reading or capture has been recorded.")
	}
	if len(v.Explanations) > 0 && len(v.Explanations[0].Faults) > 0 {
		lead := v.Explanations[0]
		out = append(out, fmt.Sprintf("Leading explanation: %s (%s). Curing only that would leave a fault in %s of cases.",
			faultNames(lead.Faults), unit.Probability(lead.P), unit.Probability(v.WrongFix)))
	}
	out = append(out, p.countText(v)...)
	if v.OutsideMass > 0.02 {
		out = append(out, fmt.Sprintf("Left out: more than %d faults at once in one scope, %s beforehand.", p.model.maxFaults, unit.Probability(v.OutsideMass)))
	}
	return out
}

func faultNames(faults []Fault) string {
	var out []string
	for _, f := range faults {
		out = append(out, f.Part+" ("+f.Cause+")")
	}
	return listed(out)
}

// countText says how much is proved and how much was never tried.
func (p *problem) countText(v *Verdict) []string {
	proved, untried := 0, len(v.Stages)-len(p.seen)
	for _, s := range v.Stages {
		if s.Status == Proved {
			proved++
		}
	}
	if len(p.model.obs) == 0 {
		return nil
	}
	text := fmt.Sprintf("Proved good: %d of %d stages", proved, len(v.Stages))
	if untried > 0 {
		text += fmt.Sprintf("; %d not tried by anything yet", untried)
	}
	return []string{text + "."}
}

// troubles gathers what is wrong from checks and captures, by function and
// kind.
func (p *problem) troubles(post *posterior) []trouble {
	var out []trouble
	at := func(function, kind string) *trouble {
		for i := range out {
			if out[i].function == function && out[i].kind == kind {
				return &out[i]
			}
		}
		out = append(out, trouble{function: function, kind: kind})
		return &out[len(out)-1]
	}
	for o := range p.notes {
		n := &p.notes[o]
		if n.check != nil && n.check.Outcome != Works {
			t := at(n.function, kindOf(n.check))
			t.keys = append(t.keys, n.key)
		}
		if n.shape != nil && n.shape.kind != "" && post.wrong[o][0] > 0.5 {
			t := at(n.function, n.shape.kind)
			t.keys = append(t.keys, n.shape.keys...)
			t.amounts = append(t.amounts, n.shape.amount)
		}
		if n.measure == "" || n.shape != nil {
			continue
		}
		off := p.off(post, o)
		if kind, amount := measureTrouble(n, off); kind != "" && post.wrong[o][0] > 0.5 {
			t := at(n.function, kind)
			t.keys = append(t.keys, n.key)
			t.amounts = append(t.amounts, amount+" on "+p.eng.places(p.function(n.function), []string{n.key}))
		}
	}
	slices.SortStableFunc(out, func(a, b trouble) int {
		return cmp.Or(cmp.Compare(len(b.keys), len(a.keys)), cmp.Compare(a.function+a.kind, b.function+b.kind))
	})
	return out
}

func (p *problem) function(id string) *machine.Function {
	f, _ := p.eng.def.Function(id)
	return f
}

func kindOf(c *Check) string {
	switch {
	case c.Outcome == Intermittent:
		return isFick
	case c.Symptom == SymptomUnknown:
		return isOff
	}
	return string(c.Symptom)
}

// noticeDB is the deviation of a capture's figure from which it is spoken of.
const noticeDB = 2.5

func measureTrouble(n *note, off float64) (kind, amount string) {
	switch {
	case n.measure == "noise" && off > noticeDB:
		return isNoisy, "noise is " + decibels(off) + " high"
	case n.measure == "noise" || off > -noticeDB:
		return "", ""
	case n.measure == "level" && off < -hearDeadDB:
		return isDead, "the level is " + decibels(off) + " low"
	case n.measure == "level":
		return isWeak, "the level is " + decibels(off) + " low"
	case n.measure == "treble":
		return isDull, tone(n.toneHz) + " is " + decibels(off) + " low"
	}
	return isThin, tone(n.toneHz) + " is " + decibels(off) + " low"
}

// off is an observed value against what a sound machine would show: the mean
// of the posterior of its offset taken off.
func (p *problem) off(post *posterior, o int) float64 {
	f := post.s.shared[o]
	if f < 0 {
		return p.notes[o].y
	}
	return p.notes[o].y - post.offsetMean(f)
}

// troubleText is the sentence about one trouble: where, what, which suspects,
// and between which test points it lies.
func (p *problem) troubleText(post *posterior, a *accusation, t trouble) string {
	f := p.function(t.function)
	where := p.eng.places(f, t.keys)
	head := capital(where) + ", " + f.ID + ": " + t.kind
	if where == "" {
		head = capital(f.ID) + ": " + t.kind
	}
	if len(t.amounts) > 0 {
		head += " (" + strings.Join(t.amounts, "; ") + ")"
	}
	suspects := p.suspectsOn(post, a, t)
	if len(suspects) == 0 {
		return head + ". No part stands out yet."
	}
	text := head + ". Suspects: " + strings.Join(suspects, ", ") + "."
	if between := p.betweenText(post, t); between != "" {
		text += " " + between
	}
	return text
}

// suspectsOn names the accused parts on the trouble's paths with their likeliest
// cause of this kind.
func (p *problem) suspectsOn(post *posterior, a *accusation, t trouble) []string {
	type named struct {
		comp int
		p    float64
		text string
	}
	var all []named
	on := p.pathsOf(t)
	for c := range p.seen {
		if !a.in[c] || !on[c] {
			continue
		}
		best, bestP, sum := cause{}, 0.0, 0.0
		byMode := map[int]float64{}
		for k, at := range p.model.components[c].atoms {
			if gives(at.effect, t.kind) {
				byMode[at.mode] += post.fault[c][k]
				sum += post.fault[c][k]
				if byMode[at.mode] > bestP {
					best, bestP = cause{c, at.mode}, byMode[at.mode]
				}
			}
		}
		if sum < suspectP {
			continue
		}
		m := p.mode(best)
		why := m.Cause
		if m.Mechanical {
			why = "mechanical: " + why
		}
		text := fmt.Sprintf("%s %s (%s)", p.seen[c].Part(), unit.Probability(sum), why)
		if mended := p.mendedBy(post, c); mended != "" {
			text = fmt.Sprintf("%s (%s), since %s", p.seen[c].Part(), why, mended)
		}
		all = append(all, named{c, sum, text})
	}
	slices.SortStableFunc(all, func(x, y named) int { return cmp.Compare(y.p, x.p) })
	var out []string
	for _, n := range all[:min(len(all), 5)] {
		out = append(out, n.text)
	}
	return out
}

// mendedBy says which work has cured a component, where one has with 90 %; empty where
// it may still be at fault.
func (p *problem) mendedBy(post *posterior, c int) string {
	all := post.faulty(c)
	for i := range p.works {
		w := &p.works[i]
		cured := 0.0
		for k, at := range p.model.components[c].atoms {
			if at.effect.until == w.Seq {
				cured += post.fault[c][k]
			}
		}
		if all > 0 && p.eng.worksOn(w, p.seen[c]) && cured >= 0.9*all {
			return fmt.Sprintf("mended by %s with %s", w.Ref, unit.Probability(cured/all))
		}
	}
	return ""
}

// gives says whether an effect can be heard or measured as a kind of trouble.
func gives(e effect, kind string) bool {
	switch kind {
	case isWeak:
		return e.db[qLevel] < 0 || e.dead
	case isDead:
		return e.db[qLevel] < -hearDeadDB/2 || e.dead
	case isDull:
		return e.db[qTreble] < 0
	case isThin:
		return e.db[qBass] < 0
	case isNoisy:
		return e.db[qNoise] > 0
	case isFick:
		return e.presence < 1
	}
	return !e.none()
}

// pathsOf is the components on the paths of a trouble.
func (p *problem) pathsOf(t trouble) map[int]bool {
	on := map[int]bool{}
	for o := range p.notes {
		n := &p.notes[o]
		if n.point == nil && n.function == t.function && slices.Contains(t.keys, n.key) {
			for _, c := range p.model.obs[o].path {
				on[c] = true
			}
		}
	}
	return on
}

// betweenText names the last point that reads right and the first that reads
// wrong on the way of a trouble.
func (p *problem) betweenText(post *posterior, t trouble) string {
	on := p.pathsOf(t)
	type probe struct {
		depth int
		name  string
		off   float64
		tol   float64
	}
	var all []probe
	for o := range p.notes {
		n := &p.notes[o]
		if n.point == nil || n.wide && post.s.shared[o] < 0 || post.wrong[o][0] < 0.5 || dc(n.point) {
			continue
		}
		ob := p.model.obs[o]
		if slices.ContainsFunc(ob.path, func(c int) bool { return !on[c] }) {
			continue
		}
		tol := 1.5
		if post.s.shared[o] < 0 {
			tol = 2 * p.priors[ob.fam].sd
		}
		all = append(all, probe{len(ob.path), pointName(p.eng.def, n.point, n.key), p.off(post, o), tol})
	}
	slices.SortStableFunc(all, func(a, b probe) int { return cmp.Or(cmp.Compare(a.depth, b.depth), cmp.Compare(a.name, b.name)) })
	right, wrong := "", ""
	for _, x := range all {
		if math.Abs(x.off) > x.tol {
			wrong = x.name + " is " + offBy(x.off, x.tol)
			break
		}
		right = x.name + " is right"
	}
	switch {
	case wrong == "":
		return ""
	case right == "":
		return wrong + "."
	}
	return right + " and " + wrong + "."
}
