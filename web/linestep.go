package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
	"headstack/trim"
	"headstack/unit"
)

// stepPanel is one step as it is worked on: what hurts first, then what to read and turn,
// with the entry of both.
type stepPanel struct {
	*job.LineUpStep
	Name     string
	Mark     shape
	IsNext   bool
	Next     *link // the next step, where another one is shown
	Waits    []link
	Openings []openingTap // still to be made before the hand gets there, outermost first
	Where    string       // of the trim
	Probe    string       // of the reading
	Plays    string
	Lines    []targetLine
	Total    string // of the lines, with the interval of what is not known exactly
	Means    string
	Now      string // the latest reading, with its interval
	NowMark  *shape
	Err      string
	Since    bool // its trim was turned after that
	Turn     *turnView
	Moves    []string // what a turn makes stale
	Checks   []link   // taken again when it reads out
	Offsets  []offsetView
	Judged   bool   // no figure: a person sees to it
	Lost     bool   // it is a gate that holds, and can be lost
	CanSign  bool   // it can be left as it is
	AsFound  bool   // nothing was touched yet: what is read says how it came in
	Travel   string // the unit of its travel: "°"
	Goes     string // that travel, from stop to stop
	Unit     string // that a bare number is taken in
	Example  string
	Stairs   *stairView // of a bias step
	Form     stepForm
}

// stepForm is what was typed.
type stepForm struct {
	Value, Half, Instrument, Case string
	By, Way, Travel               string
	Stopped                       bool
	Reason, Initials              string
	Tape, At                      string // where an entry is corrected: of a pass, of a soak
	Lost                          bool
	Stairs                        []typedStairs // of a bias staircase
}

// typedStairs are the positions of one trim, in % of its travel from least bias.
type typedStairs struct{ Part, Text string }

type targetLine struct{ Figure, Term, Why string }

// turnView is how far to turn, and what comes of it.
type turnView struct {
	Mark     shape
	By       string // "40°", without sign: the mark says which way
	Within   string // its 95 % interval: "±12"
	Text     string
	Cautions []string
}

func turnOf(t *job.LineUpTurn) *turnView {
	v := &turnView{Text: t.Text, Cautions: t.Cautions}
	switch t.Do {
	case trim.DoTurn:
		v.Mark = shape{"due", "↻", "turn clockwise"}
		by, lo, hi := t.By, t.Lo, t.Hi
		if by < 0 {
			v.Mark = shape{"due", "↺", "turn anticlockwise"}
			by, lo, hi = -by, -hi, -lo
		}
		v.By, v.Within = travelText(by, lo, hi, t.Unit)
	case trim.DoRead:
		v.Mark = shape{"unknown", "○", "read it"}
	case trim.DoFault:
		v.Mark = shape{"suspect", "✕", "no turn reaches it"}
	default:
		v.Mark = shape{"proved", "■", "enough: leave it"}
	}
	return v
}

// travelText writes a travel and its interval: "40°" and "±12", "0.50 turns" and "±0.06".
func travelText(v, lo, hi float64, u trim.TravelUnit) (string, string) {
	value, spread := unit.Figure{Value: v, Lo: lo, Hi: hi}.Parts()
	if u != trim.Degrees {
		value += unit.ThinSpace
	}
	return value + string(u), spread
}

// beside leaves out what is said already.
func beside(cautions []string, said ...[]string) []string {
	return slices.DeleteFunc(slices.Clone(cautions), func(c string) bool {
		return slices.ContainsFunc(said, func(list []string) bool { return slices.Contains(list, c) })
	})
}

// offsetView is what the open case adds to a figure.
type offsetView struct {
	job.CaseOffset
	Figures string
}

func offsetViews(l *job.LineUp, step string) []offsetView {
	var out []offsetView
	for _, o := range l.Offsets {
		if step == "" || slices.Contains(o.Steps, step) {
			out = append(out, offsetView{o, lineUpFigure(o.Offset)})
		}
	}
	return out
}

// panel describes the chosen step.
func (l *lining) panel(v *job.View) *stepPanel {
	s, ok := l.Step(l.here)
	if !ok {
		return nil
	}
	x, c := s.Standing, l.cell(s)
	p := &stepPanel{LineUpStep: s, Name: c.Name, Mark: c.Mark, IsNext: s.ID == l.Status.Next, Now: c.Read, Err: c.Err, Plays: playsText(s.Source),
		Judged: s.Target.Refused != "" && s.Kind != lineup.CaseClosed, CanSign: x.State != lineup.StateDone,
		AsFound: l.Status.Touched < 0, Offsets: offsetViews(l.LineUp, s.ID), Form: stepForm{Case: string(v.Case)}}
	p.Lost = s.Gate && p.Judged && x.State == lineup.StateDone && x.Signed == nil
	p.Judged = p.Judged && !p.Lost
	if !p.IsNext && l.Status.Next != "" {
		p.Next = l.link(l.Status.Next)
	}
	for _, w := range x.Waits {
		p.Waits = append(p.Waits, *l.link(w))
	}
	for _, w := range s.Checks {
		p.Checks = append(p.Checks, *l.link(w))
	}
	if p.Since = l.turnedSince(s); x.Judgement != nil && !p.Since {
		m := verdictMark(x.Judgement.Verdict)
		p.NowMark = &m
	}
	if s.Turn != nil {
		p.Turn = turnOf(s.Turn)
		p.Turn.Cautions = beside(p.Turn.Cautions, s.Cautions)
	}
	p.places()
	p.targetLines()
	p.openings(v)
	p.moves(l)
	if travel, u, ok := job.TravelOf(v.AsSeen(), s.Trim); ok {
		p.Travel, p.Goes = string(u), number(travel)+" "+string(u)
		if u == trim.Degrees {
			p.Goes = number(travel) + "°"
		}
	}
	return p
}

func (p *stepPanel) moves(l *lining) {
	if p.Trim == "" {
		return
	}
	for _, c := range l.Order.Stale(p.Trim, p.Key) {
		if w, ok := l.Order.Step(c.Step); ok && c.Step != p.ID {
			p.Moves = append(p.Moves, stepLabel(w)+": "+c.Why)
		}
	}
}

func (l *lining) link(step string) *link {
	name := step
	if s, ok := l.Order.Step(step); ok {
		name = stepLabel(s)
	}
	return &link{stepHref(step), name}
}

func stepHref(step string) string { return "?step=" + url.QueryEscape(step) + "#now" }

// places says where the hand and the probe go.
func (p *stepPanel) places() {
	if p.Trim != "" {
		p.Where = reachText(p.Reach)
	}
	p.Probe = p.AtName
	if p.AtPart != "" {
		p.Probe = p.AtPart + ", " + p.AtName
		if r := reachText(p.LineUpStep.Probe); r != p.Where {
			p.Probe += "; " + r
		}
	}
}

func (p *stepPanel) targetLines() {
	t := &p.Target
	if t.Refused != "" {
		return
	}
	p.Unit = t.Unit
	p.Example = "0.4 " + t.Unit
	if t.At != nil {
		p.Example += ", or " + t.At.Text()
	}
	for _, x := range t.Lines {
		p.Lines = append(p.Lines, targetLine{termText(x.Value, x.Lo, x.Hi, x.Unit), x.Term, x.Why})
	}
	p.Total = termText(t.Value, t.Lo, t.Hi, t.Unit)
	if t.Means != nil {
		p.Means = t.Means.Text()
	}
}

// termText writes a term: one that is stated stands without interval.
func termText(v, lo, hi float64, u string) string {
	if lo == hi {
		if isDifference(u) {
			return unit.Signed(v, 2) + unit.ThinSpace + u
		}
		return number(v) + unit.ThinSpace + u
	}
	return unit.Figure{Value: v, Lo: lo, Hi: hi, Unit: u, Difference: isDifference(u)}.String()
}

// openings are those not made yet on the way to the trim and to the probe.
func (p *stepPanel) openings(v *job.View) {
	for _, r := range []lineup.Reach{p.Reach, p.LineUpStep.Probe} {
		for _, o := range v.Def.OpeningChain(r.Opening) {
			if slices.Contains(v.Open, o.ID) || slices.ContainsFunc(p.Openings, func(t openingTap) bool { return t.ID == o.ID }) {
				continue
			}
			t := tapOf(o, false)
			t.Cautions = beside(t.Cautions, p.Cautions)
			p.Openings = append(p.Openings, t)
		}
	}
}

// reachText says where the hand goes.
func reachText(r lineup.Reach) string {
	parts := []string{"from outside"}
	if len(r.Chain) > 0 {
		parts[0] = strings.Join(r.Chain, ", then ")
	}
	for _, s := range []string{r.Board, r.Place} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if r.Case != "" && r.Case != measure.CaseClosed {
		parts = append(parts, "case "+string(r.Case))
	}
	return strings.Join(parts, "; ")
}

// playsText says what plays.
func playsText(s lineup.Source) string {
	level := ""
	if s.ToneHz > 0 {
		level = fmt.Sprintf("%s at %s\u2009dB", unit.Frequency(unit.Hertz(s.ToneHz)), unit.Signed(s.LevelDB, 0))
	}
	switch s.Carrier {
	case lineup.TestTape:
		name := "test tape"
		if s.Tape != "" {
			name = s.Tape
		}
		if s.Section != "" {
			return fmt.Sprintf("%s, section “%s”", name, s.Section)
		}
		return name + ", " + level
	case lineup.OwnTape:
		t := fmt.Sprintf("own recording, part “%s”", s.Section)
		if level != "" {
			t += ": " + level
		}
		return t
	}
	return ""
}
