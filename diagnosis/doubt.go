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

// doubtP is the probability of being wrong from which an observation is better
// taken again, and doubtTimes by how much its odds must exceed those beforehand.
const (
	doubtP     = 0.25
	doubtTimes = 3
)

// tryAgain begins the doubt of a check.
const tryAgain = "Try again before building on it"

// doubts lists the observations that the rest contradicts, worst first.
func (p *problem) doubts(post *posterior) []Doubt {
	var out []Doubt
	for o, states := range post.wrong {
		wrong, before := 1-states[0], p.priorWrong(o)
		if wrong < doubtP || wrong*(1-before) < doubtTimes*before*(1-wrong) {
			continue
		}
		out = append(out, p.doubt(post, o))
	}
	slices.SortStableFunc(out, func(a, b Doubt) int { return cmp.Or(cmp.Compare(b.P, a.P), cmp.Compare(a.Ref, b.Ref)) })
	return out
}

// priorWrong is the probability that an observation of this kind is wrong.
func (p *problem) priorWrong(o int) float64 {
	n := &p.notes[o]
	switch {
	case n.shape != nil:
		return n.shape.wrong
	case n.model != nil:
		before := 1 - n.model.prior()[readRight]
		if n.model.droop > 0 {
			before += chanceOfDroop(n.toneHz, misleadsDB) * (1 - before)
		}
		return before
	case n.measure != "":
		return wrongResult
	}
	return wrongCheck
}

// wrongCheck is how often what is said of a function is wrong, in round figures.
const wrongCheck = 0.02

// doubt says what contradicts an observation, how it probably went wrong and how to
// take it again.
func (p *problem) doubt(post *posterior, o int) Doubt {
	n := &p.notes[o]
	d := Doubt{Ref: n.ref, P: 1 - post.wrong[o][0]}
	wrong := fmt.Sprintf("(wrong with %s)", unit.Probability(d.P))
	against := p.contradiction(post, o)
	switch {
	case n.check != nil:
		d.Why = strings.TrimSpace(fmt.Sprintf("%s, which the rest contradicts.%s", capital(n.text), against))
		d.How = "Try it again, on the track and with the switches that are meant."
		d.Text = fmt.Sprintf(tryAgain+": %s says %s, which the rest contradicts %s.%s", n.ref, n.text, wrong, against)
	case n.shape != nil && len(n.shape.keys) > 1:
		d.Why = "It does not fit the rest"
		if d.P > 0.9 {
			d.Why = "No stage as described does that"
		}
		d.How = "Is the tape what it is said to be, and does every switch stand where it should?"
		d.Text = fmt.Sprintf("%s: %s. %s %s. %s", capital(n.ref), n.text, d.Why, wrong, d.How)
	case n.measure != "":
		d.Why = capital(n.text) + " does not fit the rest."
		d.How = "Is the channel the track it is said to be?"
		d.Text = fmt.Sprintf("Capture again before building on %s: %s does not fit the rest %s. %s", n.ref, n.text, wrong, d.How)
	default:
		r := p.recheck(post, o)
		d.Kind, d.How = r.kind, r.how
		d.Why = fmt.Sprintf("%s %s.%s %s", n.text, r.kind.finds(), against, r.why)
		d.Text = fmt.Sprintf("Re-take %s first: %s %s %s.%s %s %s", n.ref, n.text, r.kind.finds(), wrong, against, r.why, r.how)
	}
	return d
}

// recheck is how a reading probably went wrong and how it is taken again.
type recheck struct {
	kind     WrongKind
	why, how string
}

// recheck picks the most probable way in which reading o went wrong.
func (p *problem) recheck(post *posterior, o int) recheck {
	n := &p.notes[o]
	states := post.wrong[o]
	worst := readSpot
	for k := readSpot; k < len(states); k++ {
		if states[k] > states[worst] {
			worst = k
		}
	}
	r := recheck{kind: kindOfState[worst]}
	c, at, other, ok := p.eng.side(n.point)
	switch r.kind {
	case WrongSpot, WrongPin, WrongSide, WrongShield:
		r.why = r.kind.guess()
		if ok {
			r.why = r.kind.guessOn(c)
			r.how = fmt.Sprintf("The %s side of %s is meant, not the %s side: count from the pin 1 printed there.", at.Board, c.ID, other.Board)
		}
	default:
		r.why = r.kind.guess()
	}
	r.how = strings.TrimSpace(r.how + " " + r.kind.again(tone(n.toneHz)))
	if r.kind.touches() {
		r.how += p.eng.tipCheck(n.point)
	}
	return r
}

// finds says how a reading stands to the rest.
func (k WrongKind) finds() string {
	switch k {
	case WrongRangeHigh:
		return "is about 1000 times what fits the rest"
	case WrongRangeLow:
		return "is about a thousandth of what fits the rest"
	case WrongTrack:
		return "looks like another track's"
	case WrongPoint:
		return "is ten times too much or too little to fit the rest"
	case WrongLeads:
		return "has the wrong sign"
	case WrongBandwidth:
		return "tells the meter's limit as well as the point"
	}
	return "does not fit the rest"
}

// guess is the way it probably came about, as a question.
func (k WrongKind) guess() string {
	switch k {
	case WrongRangeHigh:
		return "Unit slip, mV read as V?"
	case WrongRangeLow:
		return "Unit slip, V read as mV?"
	case WrongTrack:
		return "Wrong track probed, or solo left on?"
	case WrongRanging:
		return "Display caught while the meter was ranging?"
	case WrongBandwidth:
		return "A meter of ordinary bandwidth reads such a tone low."
	case WrongAverage:
		return "An average-responding meter on noise or a mixture?"
	case WrongMode:
		return "Meter on d.c. for a.c., or the other way?"
	case WrongLead:
		return "A lead open, or its ground off? That reads like a dead point."
	case WrongLeads:
		return "Leads exchanged?"
	case WrongPoint:
		return "Decimal point mistyped, or a range misread?"
	case WrongDigits:
		return "Mistyped?"
	}
	return "Wrong spot, or mistyped?"
}

// guessOn is the same for a kind that is about the pins of a connector.
func (k WrongKind) guessOn(c *machine.Connector) string {
	switch {
	case k == WrongPin:
		return "Wrong pin: it is what the next pin of " + c.ID + " carries?"
	case k == WrongShield:
		return "Wrong pin: a shield or common pin of " + c.ID + "?"
	case c.Mirrored:
		return "Wrong pin: " + c.ID + " is mirrored, its pins run the other way on the other board. Or mistyped?"
	case k == WrongSide:
		return "Wrong pin: " + c.ID + " counted from the other end?"
	}
	return "Wrong pin or wrong side of " + c.ID + ", or mistyped?"
}

// again says how to take it again.
func (k WrongKind) again(tone string) string {
	switch k {
	case WrongRangeHigh, WrongRangeLow, WrongPoint, WrongDigits:
		return "Read the display again and write value, unit and range down."
	case WrongRanging:
		return "Wait until the display stands, fix the range, and write range and unit down."
	case WrongTrack:
		return "No solo on, only that track up; then again with a fresh probe."
	case WrongBandwidth:
		return "Take it with a scope and ×10 probe or a meter good to " + tone + ", or read a sibling with the same meter."
	case WrongAverage:
		return "Take it with a meter that shows true r.m.s., or compare with a sibling."
	case WrongMode:
		return "Set a.c. or d.c. by hand, and write range and unit down."
	case WrongLeads:
		return "Black to zero volts, red to the point, with a fresh probe."
	}
	return "Again with a fresh probe; write range and unit down."
}

// touches says whether the tip is to be tried on a known voltage first.
func (k WrongKind) touches() bool {
	switch k {
	case WrongSpot, WrongPin, WrongSide, WrongShield, WrongLead, WrongMode, WrongLeads:
		return true
	}
	return false
}

// tipCheck names a steady voltage of the definition, a volt or more and known to some
// 5 %, on which to try the tip before a point is read again: a rail before a logic level,
// on its connector, else on its board, else anywhere, without danger before with; empty
// where there is none.
func (e *Engine) tipCheck(tp *machine.TestPoint) string {
	var best *machine.TestPoint
	rank := func(x *machine.TestPoint) int {
		r := len(e.cautionsAt(x, nil))
		if x.Function == "" {
			r += 40
		}
		if x.Board != tp.Board {
			r += 10
		}
		if x.Connector == "" || x.Connector != tp.Connector {
			r += 20
		}
		return r
	}
	for i := range e.def.TestPoints {
		x := &e.def.TestPoints[i]
		if want := x.ExpectedSI(); x.ID == tp.ID || x.Each != "" || !dc(x) || !want.Known || want.Unit != "V" ||
			math.Abs(want.Value) < 1 || want.SDLn > 0.025 {
			continue
		}
		if best == nil || rank(x) < rank(best) {
			best = x
		}
	}
	if best == nil {
		return ""
	}
	out := fmt.Sprintf(" Before it, check the tip on a known voltage: %s, %s (%s).", best.Name, quantity(best.ExpectedSI().Value, "V"), e.whereIs(best, ""))
	for _, c := range e.cautionsAt(best, nil) {
		out += " Caution: " + c
	}
	return out
}

// contradiction names an observation, itself probably right, that passes every stage
// that o does and found nothing wrong; the one that passes the fewest more. It is empty
// where there is none, or where o found nothing wrong either.
func (p *problem) contradiction(post *posterior, o int) string {
	if p.findsNothing(o) {
		return ""
	}
	best := -1
	for x, ob := range p.model.obs {
		if x == o || post.wrong[x][0] < 0.5 || !p.findsNothing(x) || best >= 0 && len(ob.path) >= len(p.model.obs[best].path) {
			continue
		}
		if !slices.ContainsFunc(p.model.obs[o].path, func(c int) bool { return !slices.Contains(ob.path, c) }) {
			best = x
		}
	}
	if best < 0 {
		return ""
	}
	return fmt.Sprintf(" %s (%s) passes the same stages and finds nothing wrong.", capital(p.notes[best].ref), p.notes[best].text)
}

// findsNothing says that an observation found nothing wrong.
func (p *problem) findsNothing(o int) bool {
	n := &p.notes[o]
	if n.check != nil {
		return n.check.Outcome == Works
	}
	return n.model != nil && !n.wide && n.y > -nearDB && n.y < nearDB
}

// nearDB is how near to what is expected a value is called right.
const nearDB = 2
