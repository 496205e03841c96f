package plot

import (
	"fmt"
	"slices"
	"strings"

	"headstack/measure"
	"headstack/unit"
)

// Named is a picture with the short name that its file or its place on a page has.
type Named struct {
	Name string // "response", "speed", "crosstalk", ...
	Drawing
}

// ReportOf draws everything that a report of measures has a picture for, in the order
// in which it is read: response, speed and its spectrum, drift, delay across the head,
// level steps, crosstalk, staircase, level against time. What was not measured has no
// picture. prefix keeps the ids of several reports on one page apart.
func ReportOf(rep measure.Report, centres []unit.Metre, prefix string, opt Options) []Named {
	var out []Named
	add := func(name string, draw func(Options) Drawing) {
		// Sections of several captures may be called alike.
		for n := 2; slices.ContainsFunc(out, func(o Named) bool { return o.Name == name }); n++ {
			name = fmt.Sprintf("%s-%d", strings.TrimSuffix(name, fmt.Sprintf("-%d", n-1)), n)
		}
		o := opt
		o.ID = prefix + name
		out = append(out, Named{name, draw(o)})
	}
	has := func(name string) bool {
		return slices.ContainsFunc(rep.Measures, func(r measure.Result) bool { return r.Name == name && r.Refused == "" })
	}
	if has("response") {
		add("response", func(o Options) Drawing { return DrawResponse(rep.Measures, o) })
	}
	for _, name := range []string{"speed", "speed_spectrum", "drift"} {
		if ts := tracesNamed(rep, name); len(ts) > 0 {
			add(name, func(o Options) Drawing { return Traces(ts, o) })
		}
	}
	if has("delay") {
		add("delay", func(o Options) Drawing { return DelayAcross(rep.Measures, centres, o) })
	}
	steps := append(tracesNamed(rep, "level_steps"), tracesNamed(rep, "distortion_steps")...)
	if len(steps) > 0 {
		add("steps", func(o Options) Drawing { return Steps(steps, rep.Measures, o) })
	}
	if has("crosstalk") {
		add("crosstalk", func(o Options) Drawing { return Crosstalk(rep.Measures, o) })
	}
	if ts := tracesNamed(rep, "staircase"); len(ts) > 0 {
		add("staircase", func(o Options) Drawing { return Traces(ts, o) })
	}
	for _, group := range bySection(tracesNamed(rep, "level_time")) {
		name := "level-" + letters(group[0].Section)
		add(name, func(o Options) Drawing { return Traces(group, o) })
	}
	return out
}

// tracesNamed are the courses of one name that have points.
func tracesNamed(rep measure.Report, name string) []measure.Trace {
	var out []measure.Trace
	for _, t := range rep.Traces {
		if t.Name == name && len(t.Points) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// bySection groups courses by the section that they are of, in order.
func bySection(ts []measure.Trace) [][]measure.Trace {
	var out [][]measure.Trace
	for _, t := range ts {
		i := slices.IndexFunc(out, func(g []measure.Trace) bool {
			return g[0].Section == t.Section && g[0].Conditions.Capture == t.Conditions.Capture
		})
		if i < 0 {
			out = append(out, nil)
			i = len(out) - 1
		}
		out[i] = append(out[i], t)
	}
	return out
}

// letters keeps of a section's name what a file name may hold.
func letters(s string) string {
	out := []rune{}
	for _, r := range s {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '.':
			out = append(out, r)
		case len(out) > 0 && out[len(out)-1] != '-':
			out = append(out, '-')
		}
	}
	return string(out)
}
