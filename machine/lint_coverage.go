package machine

import (
	"fmt"
	"slices"
	"strings"
)

// coverage reports what a complete definition has and this one lacks.
func (l *linter) coverage() {
	d := l.d
	if _, ok := d.Function("play"); !ok {
		l.add(SeverityHint, "functions", "there is no function called play", "captures of a test tape are judged by the path of play")
	}
	uses := map[string]bool{}
	for _, h := range d.Heads {
		uses[h.Use] = true
	}
	if (uses["record"] || uses["record-play"]) && !slices.ContainsFunc(d.Functions, func(f Function) bool { return strings.HasPrefix(f.ID, "record") }) {
		l.add(SeverityHint, "functions", "a head records and no function is called record", "add the record path")
	}
	l.ungrouped()
	for i, f := range d.Functions {
		if len(f.Modes) == 0 {
			l.add(SeverityHint, fmt.Sprintf("functions[%d].modes", i), fmt.Sprintf("nothing says in which state %s is active", f.ID), "add e.g. modes: [play]")
		}
	}
	for i, o := range d.Openings {
		if o.DownMin == 0 && o.UpMin == 0 {
			l.add(SeverityHint, fmt.Sprintf("openings[%d].down_minutes", i), fmt.Sprintf("opening %s costs no time", o.ID), "give the minutes down and up: they decide which check comes first")
		}
		if o.AfterMin > 0 && o.AfterWhy == "" {
			l.add(SeverityHint, fmt.Sprintf("openings[%d].after_minutes", i), fmt.Sprintf("opening %s costs work afterwards and does not say which", o.ID), "add after_why")
		}
	}
	l.conditions()
	for i, x := range d.Controls {
		if x.Try == "" {
			l.add(SeverityHint, fmt.Sprintf("controls[%d].id", i), fmt.Sprintf("nothing says how %s is tried", x.ID), "add try: what to do and what should happen")
		}
	}
}

// conditions reports fault modes whose conditions are half said.
func (l *linter) conditions() {
	for i, s := range l.d.Stages {
		for j, f := range s.Faults {
			at := fmt.Sprintf("stages[%d].faults[%d].shows", i, j)
			switch {
			case len(f.Shows) == 0:
			case f.Mode == Intermittent && f.Presence == 0:
				l.add(SeverityHint, at, fmt.Sprintf("nothing says how often %s of %s shows under no condition", f.Cause, s.ID), "add presence; 0.5 is taken")
			case f.Mode != Intermittent:
				l.add(SeverityHint, at, fmt.Sprintf("%s of %s shows by condition and is called %s", f.Cause, s.ID, f.Mode), "a fault that comes and goes is mode: intermittent")
			}
		}
	}
}

// ungrouped reports tracks that belong to no group although there are groups.
// A path that needs the group is refused by Load already.
func (l *linter) ungrouped() {
	d := l.d
	if len(d.Groups) == 0 {
		return
	}
	var out []string
	for t := 1; t <= d.Tracks.Count; t++ {
		if _, ok := d.GroupOf(t); !ok {
			out = append(out, fmt.Sprint(t))
		}
	}
	if len(out) > 0 {
		l.add(SeverityProblem, "groups", "tracks in no group: "+strings.Join(out, ", "), "give every track its group, or take the groups out")
	}
}

// safety reports steps that can hurt somebody and carry no caution.
func (l *linter) safety() {
	d := l.d
	for i, t := range d.TestPoints {
		if l.highFrequency(t) && len(t.Cautions) == 0 {
			l.add(SeverityProblem, fmt.Sprintf("test_points[%d].id", i), fmt.Sprintf("test point %s touches bias or erase and has no caution", t.ID), "add cautions: [bias]")
		}
	}
	for i, c := range d.Connectors {
		if c.Mirrored && len(c.Cautions) == 0 {
			l.add(SeverityProblem, fmt.Sprintf("connectors[%d].id", i), fmt.Sprintf("%s is mirrored and has no caution", c.ID), "add cautions: [mirrored]")
		}
		if !c.Keyed && len(c.Cautions) == 0 {
			l.add(SeverityProblem, fmt.Sprintf("connectors[%d].id", i), fmt.Sprintf("%s goes in both ways and has no caution", c.ID), "add cautions: [mark-plug]")
		}
	}
	for i, t := range d.Trims {
		if (t.Sets == "bias" || t.Sets == "erase" || t.Sets == "trap_leak" || t.Sets == "bias_frequency") && len(t.Cautions) == 0 {
			l.add(SeverityProblem, fmt.Sprintf("trims[%d].id", i), fmt.Sprintf("trim %s lies on the bias or erase path and has no caution", t.ID), "add cautions: [trimmer, bias]")
		}
	}
	if d.Supply.Class != "I" {
		return
	}
	for i, o := range d.Openings {
		// What lies behind a reel cover or head cover carries no mains: an
		// opening that leaves the case closed is not asked for the note.
		if o.Case != "closed" && len(o.Cautions) == 0 {
			l.add(SeverityProblem, fmt.Sprintf("openings[%d].id", i), fmt.Sprintf("opening %s of a class I recorder has no caution", o.ID), "add cautions: [mains], and [capacitors] where the supply is reached")
		}
	}
}

// highFrequency tells whether a point meets bias or erase: by its tone, or
// because an oscillator feeds it.
func (l *linter) highFrequency(t TestPoint) bool {
	if t.ToneHz > 30000 {
		return true
	}
	keys := l.d.ReplicaKeys(t.Each)
	if len(keys) == 0 {
		return false
	}
	path, err := l.d.TestPointPath(&t, keys[0])
	return err == nil && slices.ContainsFunc(path, func(in Instance) bool { return in.Stage.Kind == "oscillator" })
}
