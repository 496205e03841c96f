package diagnosis

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// quantity writes a value with a prefix and three significant digits at most:
// "98 mV", "1.1 V".
func quantity(v float64, unit string) string {
	if unit == "V" || unit == "A" || unit == "ohm" || unit == "Hz" {
		switch a := math.Abs(v); {
		case a == 0:
		case a < 0.9995e-3:
			v, unit = v*1e6, "µ"+unit
		case a < 0.9995:
			v, unit = v*1e3, "m"+unit
		case a >= 999.5e3:
			v, unit = v/1e6, "M"+unit
		case a >= 999.5:
			v, unit = v/1e3, "k"+unit
		}
	}
	return minus(strconv.FormatFloat(roundTo(v, 3), 'f', -1, 64)) + " " + unit
}

// roundTo keeps n significant digits.
func roundTo(v float64, n int) float64 {
	if v == 0 {
		return 0
	}
	s := strconv.FormatFloat(v, 'e', n-1, 64)
	out, _ := strconv.ParseFloat(s, 64)
	return out
}

// minus writes a number with the true minus sign.
func minus(s string) string { return strings.Replace(s, "-", "−", 1) }

// decibels writes a size of a difference: whole dB from 3 on, else one digit.
func decibels(d float64) string {
	d = math.Abs(d)
	if d >= 3 {
		return fmt.Sprintf("%.0f dB", d)
	}
	return fmt.Sprintf("%.1f dB", d)
}

// offBy says how a value lies against what is expected.
func offBy(d, tolerance float64) string {
	switch {
	case math.Abs(d) <= tolerance:
		return "right"
	case d < 0:
		return decibels(d) + " low"
	}
	return decibels(d) + " high"
}

// tone writes a frequency: "315 Hz", "10 kHz".
func tone(hz float64) string {
	if hz >= 1000 {
		return strconv.FormatFloat(roundTo(hz/1000, 4), 'f', -1, 64) + " kHz"
	}
	return strconv.FormatFloat(roundTo(hz, 4), 'f', -1, 64) + " Hz"
}

// item names what a function repeats over: "track 3".
func item(f *machine.Function, key string) string {
	if f == nil || f.Each == "" || key == "" {
		return ""
	}
	return f.Each + " " + key
}

func checkText(def *machine.Definition, c *Check) string {
	f, _ := def.Function(c.Function)
	name := c.Function
	if f != nil {
		name = f.ID
	}
	if it := item(f, c.Key); it != "" {
		name += " on " + it
	}
	switch {
	case c.Outcome == Faulty && c.Symptom == SymptomUnknown:
		return name + ": faulty"
	case c.Outcome == Faulty:
		return name + ": " + string(c.Symptom)
	}
	return name + ": " + string(c.Outcome)
}

// pointName is a test point's designator, with the replica where the
// designator does not tell.
func pointName(def *machine.Definition, tp *machine.TestPoint, key string) string {
	name := def.Designator(tp.Part, tp.Each, key)
	if tp.Each != "" && name == tp.Part {
		return name + " for " + tp.Each + " " + key
	}
	return name
}

func readingText(def *machine.Definition, tp *machine.TestPoint, key string, value float64, want machine.Expected, toneHz float64, own bool) string {
	name := pointName(def, tp, key)
	if own {
		return fmt.Sprintf("%s at %s, %s expected", quantity(value, want.Unit), name, quantity(want.Value, want.Unit))
	}
	return fmt.Sprintf("%s at %s with %s", quantity(value, want.Unit), name, tone(toneHz))
}

func resultText(f *machine.Function, key string, fig figure, y float64) string {
	value := minus(fmt.Sprintf("%+.1f dB", y))
	switch fig.name {
	case "level":
		return fmt.Sprintf("%s, %s: level %s re full scale at %s", f.ID, item(f, key), value, tone(fig.toneHz))
	case "noise":
		return fmt.Sprintf("%s, %s: noise %s re the reference tone", f.ID, item(f, key), value)
	}
	return fmt.Sprintf("%s, %s: %s at %s re the reference tone", f.ID, item(f, key), value, tone(fig.toneHz))
}

// listed joins words: "a, b and c".
func listed(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// places names a set of replica keys: a whole group by its name.
func (e *Engine) places(f *machine.Function, keys []string) string {
	keys = slices.Clone(keys)
	slices.SortFunc(keys, compareKeys)
	keys = slices.Compact(keys)
	if f == nil || f.Each == "" {
		return ""
	}
	if f.Each == machine.EachTrack {
		for _, g := range e.def.Groups {
			var of []string
			for _, t := range g.Tracks {
				of = append(of, strconv.Itoa(t))
			}
			if slices.Equal(of, keys) && len(of) > 1 {
				return fmt.Sprintf("group %s (tracks %s)", g.Name, strings.Join(of, ", "))
			}
		}
	}
	if all := e.def.ReplicaKeys(f.Each); len(all) == len(keys) && len(all) > 1 {
		return fmt.Sprintf("every %s", f.Each)
	}
	if len(keys) == 1 {
		return f.Each + " " + keys[0]
	}
	return f.Each + "s " + listed(keys)
}

// capital makes the first letter of a sentence large.
func capital(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}
