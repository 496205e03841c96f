package web

import (
	"fmt"
	"slices"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/unit"
)

// phaseView is one phase of a line-up: what is of the whole recorder as a list, what
// repeats over tracks as a matrix of tracks by steps.
type phaseView struct {
	Name, ID string
	Tally    []tallyMark
	Open     bool // shown unfolded: something is to be done here
	Singles  []stepCell
	Matrices []stepMatrix
}

// tallyMark counts the steps in one state.
type tallyMark struct {
	shape
	N int
}

// stepCell is where one step stands.
type stepCell struct {
	Step *lineup.Step
	Name string
	Mark shape
	Read string // the latest reading that counts, with its interval
	Err  string // that less the target, with the interval of both
	Why  string // what moved it, what it waits for
	Here bool   // the one that is shown on top
}

type stepMatrix struct {
	Title   string
	Columns []matrixColumn
	Rows    []matrixRow
}

type matrixColumn struct{ Name, Trim, Target string }

type matrixRow struct {
	Track int
	Cells []*stepCell // nil: the step has no such track
}

var phaseNames = map[lineup.Phase]string{
	lineup.PhaseGates: "Gates", lineup.PhaseTransport: "Transport", lineup.PhaseReplay: "Replay of the test tape", lineup.PhaseRecord: "Recording",
	lineup.PhaseSync: "Sync", lineup.PhaseLast: "What remains", lineup.PhaseProof: "Closing proof, case closed",
}

// stateMark is shape and word of a step's state.
func stateMark(x lineup.Standing) shape {
	switch {
	case x.Signed != nil:
		return shape{"unproven", "◧", "signed off"}
	case x.State == lineup.StateDone:
		return shape{"proved", "■", "done"}
	case x.State == lineup.StateDue:
		return shape{"due", "▶", "due"}
	case x.State == lineup.StateStale:
		return shape{"retake", "◱", "stale"}
	case x.State == lineup.StateBlocked:
		return shape{"unknown", "‖", "blocked"}
	}
	return shape{"unknown", "–", "not needed"}
}

// verdictMark is shape and word of a reading held against its target.
func verdictMark(v lineup.Verdict) shape {
	switch v {
	case lineup.In:
		return shape{"proved", "■", "in"}
	case lineup.Out:
		return shape{"suspect", "✕", "out"}
	case lineup.Doubt:
		return shape{"retake", "≈", "in doubt"}
	}
	return shape{"unknown", "○", "not measured"}
}

// stepLabel names a step: name, track, speed.
func stepLabel(s *lineup.Step) string {
	t := s.Name
	switch {
	case len(s.Tracks) == 1:
		t += fmt.Sprintf(", track %d", s.Tracks[0])
	case s.Key != "":
		t += ", " + s.Each + " " + s.Key
	}
	if s.SpeedCmS > 0 && !s.AllSpeeds && s.Trim == "" {
		t += fmt.Sprintf(", %g\u2009cm/s", s.SpeedCmS)
	}
	return t
}

// lining is a line-up as the page shows it, with one step chosen.
type lining struct {
	*job.LineUp
	here string
}

func (l *lining) phases() []phaseView {
	var out []phaseView
	for i := range l.Steps {
		s := &l.Steps[i]
		if len(out) == 0 || out[len(out)-1].ID != "phase-"+string(s.Phase) {
			out = append(out, phaseView{Name: phaseNames[s.Phase], ID: "phase-" + string(s.Phase)})
		}
		p := &out[len(out)-1]
		c := l.cell(s)
		p.count(c.Mark)
		p.Open = p.Open || s.Standing.Ready() || c.Here || s.Standing.State == lineup.StateStale
		if len(s.Tracks) == 0 {
			p.Singles = append(p.Singles, c)
			continue
		}
		p.place(&s.Step, &c, targetText(s))
	}
	return out
}

// tallied are the states in the order in which they are counted.
var tallied = []string{"done", "due", "out", "stale", "blocked", "signed off", "not needed"}

func (p *phaseView) count(m shape) { p.Tally = addTally(p.Tally, tallyMark{m, 1}) }

func addTally(list []tallyMark, t tallyMark) []tallyMark {
	if i := slices.IndexFunc(list, func(x tallyMark) bool { return x.Word == t.Word }); i >= 0 {
		list[i].N += t.N
		return list
	}
	list = append(list, t)
	slices.SortFunc(list, func(a, b tallyMark) int { return slices.Index(tallied, a.Word) - slices.Index(tallied, b.Word) })
	return list
}

func total(phases []phaseView) (out []tallyMark) {
	for _, p := range phases {
		for _, t := range p.Tally {
			out = addTally(out, t)
		}
	}
	return out
}

// place puts a step into the matrix of its speed, in its column, at each of its tracks.
func (p *phaseView) place(s *lineup.Step, c *stepCell, target string) {
	title := phaseNames[s.Phase]
	if s.SpeedCmS > 0 {
		title = fmt.Sprintf("%s, %g\u2009cm/s", title, s.SpeedCmS)
	}
	i := slices.IndexFunc(p.Matrices, func(m stepMatrix) bool { return m.Title == title })
	if i < 0 {
		i = len(p.Matrices)
		p.Matrices = append(p.Matrices, stepMatrix{Title: title})
	}
	m := &p.Matrices[i]
	col := slices.IndexFunc(m.Columns, func(x matrixColumn) bool { return x.Name == s.Name && x.Trim == s.Trim })
	if col < 0 {
		col = len(m.Columns)
		m.Columns = append(m.Columns, matrixColumn{Name: s.Name, Trim: s.Trim, Target: target})
		for r := range m.Rows {
			m.Rows[r].Cells = append(m.Rows[r].Cells, nil)
		}
	}
	if m.Columns[col].Target != target {
		m.Columns[col].Target = "" // tracks differ: each says its own where it is worked on
	}
	for _, track := range s.Tracks {
		row := slices.IndexFunc(m.Rows, func(x matrixRow) bool { return x.Track == track })
		if row < 0 {
			m.Rows = append(m.Rows, matrixRow{Track: track, Cells: make([]*stepCell, len(m.Columns))})
			slices.SortFunc(m.Rows, func(a, b matrixRow) int { return a.Track - b.Track })
			row = slices.IndexFunc(m.Rows, func(x matrixRow) bool { return x.Track == track })
		}
		m.Rows[row].Cells[col] = c
	}
}

// targetText is the target that a step was or is to be read against, empty where it has
// none.
func targetText(s *job.LineUpStep) string {
	if s.Target.Refused != "" {
		return ""
	}
	return s.Target.Text()
}

func (l *lining) cell(s *job.LineUpStep) stepCell {
	x := s.Standing
	c := stepCell{Step: &s.Step, Name: stepLabel(&s.Step), Mark: stateMark(x), Here: s.ID == l.here, Why: x.Why}
	switch {
	case x.State == lineup.StateBlocked && len(x.Waits) > 0:
		c.Why = "by " + l.waitText(&s.Step, x.Waits)
	case x.State == lineup.StateStale && len(x.Waits) > 0:
		c.Why += "; waits for " + l.waitText(&s.Step, x.Waits)
	case x.Signed != nil:
		c.Why = x.Signed.Reason
	case x.State == lineup.StateDone && x.Judgement != nil && x.Judgement.Verdict == lineup.Doubt:
		c.Why = "inside; the limit lies within the doubt"
	}
	if s.Read != nil {
		c.Read = lineUpFigure(*s.Read)
	}
	if l.turnedSince(s) && x.State == lineup.StateDue {
		c.Why = "turned since it was read"
		return c
	}
	if x.Judgement != nil && x.Judgement.Verdict != lineup.NotMeasured {
		c.Err = errorText(x.Judgement)
		if x.Judgement.Verdict == lineup.Out && x.State == lineup.StateDue {
			c.Mark = shape{"suspect", "✕", "out"}
			c.Why = "off by " + c.Err
		}
	}
	return c
}

// turnedSince reports that the trim of a step was turned after it was last read: what it
// read is not what it would read now.
func (l *lining) turnedSince(s *job.LineUpStep) bool {
	last := s.Standing.Last
	return s.Trim != "" && last >= 0 && slices.ContainsFunc(l.Log[last:], func(e lineup.Event) bool {
		return e.Kind == lineup.Turned && e.Trim == s.Trim && (e.Key == "" || e.Key == s.Key)
	})
}

// lineUpFigure writes a figure with its interval.
func lineUpFigure(f job.LineUpFigure) string {
	return unit.Figure{Value: f.Value, Lo: f.Lo, Hi: f.Hi, Unit: f.Unit, Difference: isDifference(f.Unit)}.String()
}

// isDifference tells the units whose figures bear their sign always.
func isDifference(u string) bool {
	return u == "dB" || u == "arcmin" || u == "µs" || strings.HasPrefix(u, "%")
}

// waitText names the first thing that a step waits for and counts the rest; its own track
// is not said again.
func (l *lining) waitText(s *lineup.Step, waits []string) string {
	text := waits[0]
	if w, ok := l.Order.Step(waits[0]); ok {
		text = w.Name
		if len(w.Tracks) == 0 || !slices.Equal(w.Tracks, s.Tracks) {
			text = stepLabel(w)
		}
	}
	if n := len(waits) - 1; n > 0 {
		text += fmt.Sprintf(" and %d more", n)
	}
	return text
}

// errorText is reading less target.
func errorText(j *lineup.Judgement) string {
	if j.Bound {
		return "at most " + unit.Signed(j.Error, 1) + unit.ThinSpace + j.Unit
	}
	return unit.Figure{Value: j.Error, Lo: j.Lo, Hi: j.Hi, Unit: j.Unit, Difference: true}.String()
}
