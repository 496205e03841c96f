package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// Table is a title, a head and rows of equal length.
type Table struct {
	Title string
	Head  []string
	Rows  [][]string
	Note  string
}

// Text writes the table for a terminal, Markdown for a document.
func (t Table) Text() string { return t.write("  ", "") }

// Markdown is explained at [Table.Text].
func (t Table) Markdown() string { return t.write(" | ", "| ") }

func (t Table) write(between, edge string) string {
	wide := make([]int, len(t.Head))
	for _, row := range append([][]string{t.Head}, t.Rows...) {
		for i, cell := range row {
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	var b strings.Builder
	line := func(cells []string) {
		b.WriteString(edge)
		for i, cell := range cells {
			if i > 0 {
				b.WriteString(between)
			}
			b.WriteString(cell + strings.Repeat(" ", wide[i]-utf8.RuneCountInString(cell)))
		}
		b.WriteString(strings.TrimRight(" "+strings.TrimSpace(edge), " ") + "\n")
	}
	if edge == "" {
		fmt.Fprintf(&b, "%s\n", t.Title)
	} else {
		fmt.Fprintf(&b, "**%s**\n\n", t.Title)
	}
	line(t.Head)
	if edge != "" {
		rule := make([]string, len(wide))
		for i, w := range wide {
			rule[i] = strings.Repeat("-", w)
		}
		line(rule)
	}
	for _, row := range t.Rows {
		line(row)
	}
	if t.Note != "" {
		fmt.Fprintf(&b, "\n%s\n", t.Note)
	}
	return b.String()
}

// Tables are the report's tables, most important first. The first policy is compared
// with the others.
func (r *Report) Tables() []Table {
	out := []Table{r.policies(), r.comparisons(), r.parts(), r.wrongReadings()}
	for _, p := range r.Policies {
		if p != Clairvoyant().Name {
			out = append(out, r.reliability(p))
		}
	}
	return append(out, r.drawn())
}

// Text is all tables for a terminal, Markdown for a document.
func (r *Report) Text() string {
	var parts []string
	for _, t := range r.Tables() {
		parts = append(parts, t.Text())
	}
	return strings.Join(parts, "\n")
}

// Markdown is explained at [Report.Text].
func (r *Report) Markdown() string {
	var parts []string
	for _, t := range r.Tables() {
		parts = append(parts, t.Markdown())
	}
	return strings.Join(parts, "\n")
}

func (r *Report) series() string {
	s := fmt.Sprintf("%s, %d recorders, seeds from %d", r.Machine, len(r.Rows), r.FirstSeed)
	if r.PriorFactor > 1 {
		s += fmt.Sprintf(", priors wrong by up to %g", r.PriorFactor)
	}
	return s
}

// number writes an estimate with its interval.
func number(x Interval, digits int) string {
	if math.IsNaN(x.Value) {
		return "–"
	}
	return fmt.Sprintf("%.*f (%.*f to %.*f)", digits, x.Value, digits, x.Low, digits, x.High)
}

func percent(x Interval) string {
	return number(Interval{100 * x.Value, 100 * x.Low, 100 * x.High}, 1)
}

func (r *Report) policies() Table {
	t := Table{Title: "Minutes to a verified fix: " + r.series(),
		Head: []string{"policy", "minutes", "after the intake", "given up at the limit", "wrong fix %", "given up", "readings", "checks", "openings", "repairs", "of good stages"},
		Note: "Means with 95 % intervals (bootstrap over recorders; shares: Wilson). What was given up counts with its minutes, in the column that says so as 600 minutes in all."}
	for _, p := range r.Policies {
		s := summarise(r.Rows, p)
		t.Rows = append(t.Rows, []string{p, number(s.Minutes, 0), number(s.AfterIntake, 0), number(s.Charged, 0), percent(s.WrongFix), fmt.Sprint(s.Unfinished),
			fmt.Sprintf("%.1f", s.Readings), fmt.Sprintf("%.1f", s.Checks), fmt.Sprintf("%.1f", s.Openings), fmt.Sprintf("%.1f", s.Repairs), fmt.Sprintf("%.2f", s.Needless)})
	}
	return t
}

func (r *Report) comparisons() Table {
	t := Table{Title: "Recorder by recorder: " + r.series(),
		Head: []string{"policy", "against", "minutes less", "ratio", "ratio after the intake", "given up at the limit"},
		Note: "Paired by seed; 95 % bootstrap intervals over recorders. The intake costs all policies the same."}
	for _, other := range r.Policies[min(1, len(r.Policies)):] {
		c := compare(r.Rows, r.Policies[0], other)
		t.Rows = append(t.Rows, []string{c.Policy, c.Against, number(c.Less, 0), number(c.Ratio, 2), number(c.RatioAfter, 2), number(c.Charged, 2)})
	}
	return t
}

// parts are the recorders in kinds.
func (r *Report) parts() Table {
	t := Table{Title: "Minutes after the intake, by kind of recorder: " + r.series(), Head: append([]string{"recorders with", "n"}, r.Policies...)}
	for _, k := range kinds {
		rows := slices.DeleteFunc(slices.Clone(r.Rows), func(x Row) bool { return !k.is(&x) })
		line := []string{k.name, fmt.Sprint(len(rows))}
		for _, p := range r.Policies {
			cell := "–"
			if s := summarise(rows, p); s.N > 0 {
				cell = fmt.Sprintf("%.0f", s.AfterIntake.Value)
				if w := int(math.Round(s.WrongFix.Value * float64(s.N))); w+s.Unfinished > 0 {
					cell += fmt.Sprintf(", %d wrong, %d given up", w, s.Unfinished)
				}
			}
			line = append(line, cell)
		}
		t.Rows = append(t.Rows, line)
	}
	return t
}

// kinds of recorders.
var kinds = []struct {
	name string
	is   func(*Row) bool
}{
	{"one fault", func(r *Row) bool { return len(r.Hidden) == 1 }},
	{"two faults", func(r *Row) bool { return len(r.Hidden) == 2 }},
	{"three faults", func(r *Row) bool { return len(r.Hidden) == 3 }},
	{"an intermittent fault", func(r *Row) bool { return r.Fickle }},
	{"none intermittent", func(r *Row) bool { return !r.Fickle }},
	{"a mechanical fault", func(r *Row) bool { return r.Mechanical }},
	{"none mechanical", func(r *Row) bool { return !r.Mechanical }},
}

func (r *Report) wrongReadings() Table {
	t := Table{Title: "Wrong readings: " + r.series(),
		Head: []string{"policy", "wrong", "that mattered", "never questioned", "share % of those", "further readings until questioned"},
		Note: "A wrong reading matters when it is off by more than 2 dB or of the wrong sign."}
	for _, p := range r.Policies {
		s := summarise(r.Rows, p)
		after := "–"
		if s.Matter > s.Forgotten {
			after = number(s.After, 1)
		}
		t.Rows = append(t.Rows, []string{p, fmt.Sprint(s.Slips), fmt.Sprint(s.Matter), fmt.Sprint(s.Forgotten), percent(wilson(s.Forgotten, s.Matter)), after})
	}
	return t
}

func (r *Report) reliability(policy string) Table {
	t := Table{Title: "Stated probability of suspects against how often they were faulty, " + policy + ": " + r.series(),
		Head: []string{"stated %", "suspects", "mean stated %", "faulty %"},
		Note: "Over all steps; suspects of one recorder hang together, the 95 % intervals are a bootstrap over recorders."}
	s := summarise(r.Rows, policy)
	for i, b := range s.Stated {
		if b.N == 0 {
			continue
		}
		t.Rows = append(t.Rows, []string{fmt.Sprintf("%g to %g", 100*edges[i], 100*edges[i+1]), fmt.Sprint(b.N),
			fmt.Sprintf("%.1f", 100*b.SumP/float64(b.N)), percent(reliability(r.Rows, policy, i))})
	}
	return t
}

func (r *Report) drawn() Table {
	t := Table{Title: "The recorders: " + r.series(), Head: []string{"what", "count"}}
	add := func(what string, n any) { t.Rows = append(t.Rows, []string{what, fmt.Sprint(n)}) }
	faults, shown, draws, complaints, intake := 0, 0, 0, 0, 0.0
	for i := range r.Rows {
		x := &r.Rows[i]
		faults, draws, complaints, intake = faults+len(x.Hidden), draws+x.Draws, complaints+x.Complaints, intake+x.IntakeMinutes
		for _, h := range x.Hidden {
			if h.Shows {
				shown++
			}
		}
	}
	for _, k := range kinds {
		n := 0
		for i := range r.Rows {
			if k.is(&r.Rows[i]) {
				n++
			}
		}
		add("with "+k.name, n)
	}
	add("hidden faults", faults)
	add("of them, that show in the complaint", shown)
	add("draws until a complaint, mean", fmt.Sprintf("%.1f", float64(draws)/float64(max(1, len(r.Rows)))))
	add("functions that failed at the intake, mean", fmt.Sprintf("%.1f", float64(complaints)/float64(max(1, len(r.Rows)))))
	add("minutes of the intake", fmt.Sprintf("%.0f", intake/float64(max(1, len(r.Rows)))))
	return t
}
