package learn

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"headstack/machine"
	"headstack/unit"
)

// StageText says how often a stage was at fault: "C31: at fault in 4 of 6 machines of
// this type". It is empty where no machine of the type was closed.
func (c *Counts) StageText(definition, stage string) string {
	m := c.Of(definition)
	if m.Closed == 0 || m.Stages[stage].Instances == 0 {
		return ""
	}
	return fmt.Sprintf("%s: at fault in %s of %s of this type", stage, none(m.Stages[stage].Machines), machines(m.Closed))
}

// FamilyText says the same of a kind of stage over all types: "coupling-capacitor: 9 of
// 480 at fault, 3.8 expected". It is empty where none was counted.
func (c *Counts) FamilyText(kind string) string {
	f := c.Total().Families[kind]
	if f.Instances == 0 {
		return ""
	}
	return fmt.Sprintf("%s: %s of %d at fault, %s expected", kind, none(f.Faults), f.Instances, short(float64(f.Expected)/1e6))
}

// PriorsText says what the priors rest on; it is empty where on the definition only.
func (l *Lesson) PriorsText() string {
	switch {
	case l.Machines > 0:
		return fmt.Sprintf("priors from %s of this type", machines(l.Machines))
	case len(l.Changes) > 0:
		return fmt.Sprintf("priors from like stages of %s of other types", machines(l.Others))
	}
	return ""
}

// Text says in words what a number was and is.
func (c Change) Text(def *machine.Definition) string {
	switch c.Kind {
	case PriorNumber:
		s := fmt.Sprintf("One %s is faulty on an untouched machine with %s (%s), not %s", c.name(def), Percent(c.Is), c.interval(Percent), Percent(c.Was))
		if c.N > 0 {
			s += fmt.Sprintf(": %s of %d were at fault", none(c.Hits), c.N)
		}
		if c.Family != 1 {
			s += fmt.Sprintf("; like stages of other types fail %s times as often as was thought", short(c.Family))
		}
		return s + "."
	case CauseNumber:
		return fmt.Sprintf("Of the faults of %s, %q is %s (%s), not %s: %d of %d.", c.name(def), c.Cause, Percent(c.Is), c.interval(Percent), Percent(c.Was), c.Hits, c.N)
	case RepairNumber:
		return fmt.Sprintf("Curing %q at %s and its like takes %s min (%s), not %s: %s.", c.Cause, c.name(def), short(c.Is), c.interval(short), short(c.Was), times(c.N))
	}
	what := map[ChangeKind]string{DownNumber: "Opening " + c.ID, UpNumber: "Putting back " + c.ID, CheckNumber: "Trying " + c.ID, ReadingNumber: "One reading"}[c.Kind]
	return fmt.Sprintf("%s takes %s min (%s), not %s: %s.", what, short(c.Is), c.interval(short), short(c.Was), times(c.N))
}

func (c Change) name(def *machine.Definition) string {
	if s, ok := def.Stage(c.Stage); ok {
		return c.Stage + " " + s.Name
	}
	return c.Stage
}

func (c Change) interval(text func(float64) string) string {
	return "95 %: " + text(c.Lo) + " to " + text(c.Hi)
}

// Largest are the n changes that move their number most, as a ratio, the largest first.
// Numbers of which something was seen go before those that moved because nothing was;
// causes that only made room for others are left out, and of what is learned for a whole
// family one is enough.
func (l *Lesson) Largest(n int) []Change {
	by := func(c Change) float64 {
		if c.Was <= 0 || c.Is <= 0 {
			return 0
		}
		return math.Abs(math.Log(c.Is / c.Was))
	}
	out := slices.DeleteFunc(slices.Clone(l.Changes), func(c Change) bool { return c.Kind == CauseNumber && c.Hits == 0 })
	told := map[Change]bool{}
	out = slices.DeleteFunc(out, func(c Change) bool {
		c.Stage = ""
		again := c.Kind == RepairNumber && told[c]
		told[c] = true
		return again
	})
	seen := func(c Change) int {
		if c.Kind == PriorNumber && c.Hits == 0 {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b Change) int { return cmp.Or(cmp.Compare(seen(a), seen(b)), cmp.Compare(by(b), by(a))) })
	return out[:min(n, len(out))]
}

func machines(n int) string {
	if n == 1 {
		return "1 machine"
	}
	return strconv.Itoa(n) + " machines"
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return strconv.Itoa(n) + " times"
}

func none(n int) string {
	if n == 0 {
		return "none"
	}
	return strconv.Itoa(n)
}

// Percent keeps two digits of a small probability, which unit.Probability would not.
func Percent(p float64) string {
	switch {
	case p > 0.99:
		return unit.Probability(p)
	case p < 1e-4:
		return "under 0.01" + unit.ThinSpace + "%"
	}
	return short(100*p) + unit.ThinSpace + "%"
}

// short writes a number with two significant digits, whole from 10 on.
func short(x float64) string {
	if math.Abs(x) >= 10 {
		return strconv.FormatFloat(math.Round(x), 'f', -1, 64)
	}
	return strconv.FormatFloat(x, 'g', 2, 64)
}
