package machine

import (
	"fmt"
	"slices"
	"strings"
)

// Severity says how much a finding matters.
type Severity string

// The two severities. A problem makes verdicts wrong or work unsafe; a hint
// makes the definition less useful than it could be.
const (
	SeverityProblem Severity = "problem"
	SeverityHint    Severity = "hint"
)

// Finding is something that [Load] accepts and a technician should look at.
type Finding struct {
	Severity Severity `json:"severity"`
	Line     int      `json:"line"`
	Column   int      `json:"column"`
	Path     string   `json:"path"` // the field, e.g. "connectors[4].b.pins"
	Text     string   `json:"text"` // what is the matter
	Hint     string   `json:"hint,omitempty"`
}

// String writes "line:column: severity: path: text; hint".
func (f Finding) String() string {
	s := fmt.Sprintf("%d:%d: %s: %s: %s", f.Line, f.Column, f.Severity, f.Path, f.Text)
	if f.Hint != "" {
		s += "; " + f.Hint
	}
	return s
}

// linter collects findings.
type linter struct {
	d   *Definition
	out []Finding
}

// Lint looks for what is legal and probably wrong: connectors whose sides
// disagree, stages that no function passes, test points on no path, trims that
// move nothing measurable, parts that turn too fast or too slow, missing expected values, colliding designators, and
// missing cautions. Findings come in the order of the file.
func (d *Definition) Lint() []Finding {
	l := &linter{d: d}
	for i := range d.Connectors {
		l.connector(fmt.Sprintf("connectors[%d]", i), &d.Connectors[i])
	}
	l.reach()
	l.points()
	l.trims()
	l.transport()
	l.designators()
	l.coverage()
	l.safety()
	slices.SortStableFunc(l.out, func(a, b Finding) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return l.out
}

func (l *linter) add(s Severity, path, text, hint string) {
	at, ok := l.d.pos[path]
	for p := path; !ok && p != ""; {
		p = p[:max(0, strings.LastIndexAny(p, ".["))]
		at, ok = l.d.pos[p]
	}
	l.out = append(l.out, Finding{s, at.line, at.column, path, text, hint})
}

// connector compares the two sides.
func (l *linter) connector(p string, c *Connector) {
	a, b := c.A.Pins, c.B.Pins
	if len(a) != len(b) {
		l.add(SeverityProblem, p+".b.pins", fmt.Sprintf("%s has %d pins on %s and %d on %s", c.ID, len(a), c.A.Board, len(b), c.B.Board),
			"list every pin on both sides; write spare for an unused one")
		return
	}
	if s, side, ok := onOneSideOnly(a, b); ok {
		board := c.A.Board
		if side == 1 {
			board = c.B.Board
		}
		l.add(SeverityProblem, p+".b.pins", fmt.Sprintf("signal %q of %s is on the %s side only", s, c.ID, board), "give the signal one name on both sides")
		return
	}
	mirror := slices.Clone(a)
	slices.Reverse(mirror)
	if c.Mirrored {
		if i := firstDifference(mirror, b); i >= 0 {
			l.add(SeverityProblem, fmt.Sprintf("%s.b.pins[%d]", p, i), fmt.Sprintf("%s is mirrored, so pin %d on %s should be pin %d on %s, %q, and is %q",
				c.ID, i+1, c.B.Board, len(a)-i, c.A.Board, mirror[i], b[i]), "correct the pin list, or take mirrored out")
		}
		return
	}
	i := firstDifference(a, b)
	switch {
	case i < 0:
	case slices.Equal(mirror, b):
		l.add(SeverityProblem, p+".b.pins", fmt.Sprintf("the sides of %s run against each other", c.ID), "add mirrored: true, so that every probing step says so")
	default:
		l.add(SeverityProblem, fmt.Sprintf("%s.b.pins[%d]", p, i), fmt.Sprintf("pin %d of %s is %q on %s and %q on %s", i+1, c.ID, a[i], c.A.Board, b[i], c.B.Board),
			"pin n is the same signal on both sides of a connector that is not mirrored")
	}
}

// onOneSideOnly finds a signal that one list has more often than the other;
// side says which list (0 or 1) has it.
func onOneSideOnly(a, b []string) (signal string, side int, found bool) {
	count := map[string]int{}
	for _, s := range a {
		count[s]++
	}
	for _, s := range b {
		count[s]--
	}
	for _, s := range a {
		if count[s] > 0 {
			return s, 0, true
		}
	}
	for _, s := range b {
		if count[s] < 0 {
			return s, 1, true
		}
	}
	return "", 0, false
}

func firstDifference(a, b []string) int {
	for i := range a {
		if a[i] != b[i] {
			return i
		}
	}
	return -1
}

// reach reports stages that no function passes, boards without parts, and sets
// that nothing uses.
func (l *linter) reach() {
	d := l.d
	passed, used := map[string]bool{}, map[string]bool{}
	for _, f := range d.Functions {
		for _, item := range f.Through {
			passed[item] = true
		}
		used[f.Each] = true
	}
	busy := map[string]bool{}
	for i, s := range d.Stages {
		used[s.Each], busy[s.Board] = true, true
		if !passed[s.ID] {
			l.add(SeverityProblem, fmt.Sprintf("stages[%d].id", i), fmt.Sprintf("no function passes stage %s (%s)", s.ID, s.Name),
				"add it to the through list of a function, or take it out: no check can say anything about it")
		}
	}
	for _, t := range d.TestPoints {
		used[t.Each], busy[t.Board] = true, true
	}
	for _, t := range d.Trims {
		used[t.Each], busy[t.Board] = true, true
	}
	for _, c := range d.Controls {
		used[c.Each], busy[c.Board] = true, true
	}
	for _, c := range d.Connectors {
		busy[c.A.Board], busy[c.B.Board] = true, true
	}
	for i, b := range d.Boards {
		if !busy[b.ID] {
			l.add(SeverityHint, fmt.Sprintf("boards[%d].id", i), fmt.Sprintf("board %s carries nothing", b.ID), "put its stages, test points and connectors on it")
		}
	}
	for name := range d.Replicas {
		if !used[name] {
			l.add(SeverityHint, "replicas."+name, fmt.Sprintf("nothing repeats over %s", name), "use it or take it out")
		}
	}
}

// points reports test points that cannot help a diagnosis.
func (l *linter) points() {
	for i, t := range l.d.TestPoints {
		p := fmt.Sprintf("test_points[%d]", i)
		if t.Function == "" && (t.ToneHz > 0 || t.Each != "") {
			l.add(SeverityProblem, p+".id", fmt.Sprintf("test point %s reads a signal and lies on no path", t.ID), "name the function and the stage after which it lies")
		}
		q := t.Expect
		if q.Value == 0 && q.Low == 0 && q.Max == 0 {
			l.add(SeverityProblem, p+".expect", fmt.Sprintf("test point %s has no expected value", t.ID), "give value, low with high, or max; siblings alone can be compared only with each other")
		}
		if q.Value != 0 && q.SpreadDB == 0 && q.SpreadPercent == 0 {
			l.add(SeverityProblem, p+".expect", fmt.Sprintf("the expected value of %s has no spread", t.ID), "add spread_db or spread_percent: how far good recorders differ, about 95 % of them")
		}
		if t.Mode == "" {
			l.add(SeverityHint, p+".id", fmt.Sprintf("nothing says in which state %s is read", t.ID), `add mode, e.g. "play, test tape 315 Hz at reference"`)
		}
		if t.Instrument == "" {
			l.add(SeverityHint, p+".id", fmt.Sprintf("nothing says with what %s is read", t.ID), "add instrument")
		}
	}
}

// trims reports adjusters without a measure to set them by.
func (l *linter) trims() {
	for i, t := range l.d.Trims {
		p := fmt.Sprintf("trims[%d]", i)
		if t.Sets == "" {
			l.add(SeverityProblem, p+".sets", fmt.Sprintf("trim %s sets no measure", t.ID), "name what it moves: "+listed(Measures()))
		}
		if t.At == "" {
			l.add(SeverityHint, p+".id", fmt.Sprintf("nothing says at which function or test point %s is set", t.ID), "add at")
		}
	}
}

// designators reports parts of different stages that would carry one name.
func (l *linter) designators() {
	d := l.d
	owner := map[string]string{}
	for i := range d.Stages {
		s := &d.Stages[i]
		for _, k := range d.ReplicaKeys(s.Each) {
			for _, part := range partNames(Instance{s, k}.Part()) {
				if o, ok := owner[part]; ok && o != s.ID {
					l.add(SeverityProblem, fmt.Sprintf("stages[%d].part", i), fmt.Sprintf("%s is the designator of a part of stage %s and of stage %s", part, o, s.ID), "one part has one designator; look at both patterns")
					break
				}
				owner[part] = s.ID
			}
		}
	}
	owner = map[string]string{}
	for i, t := range d.Trims {
		for _, k := range d.ReplicaKeys(t.Each) {
			part := expand(t.Part, t.Each, k)
			if o, ok := owner[part]; ok && o != t.ID {
				l.add(SeverityProblem, fmt.Sprintf("trims[%d].part", i), fmt.Sprintf("%s is the designator of trim %s and of trim %s", part, o, t.ID), "one part has one designator")
				break
			}
			owner[part] = t.ID
		}
	}
}
