package job

import (
	"cmp"
	"errors"
	"fmt"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// unitsFor names some units that convert to a base unit, for an error message.
func unitsFor(base string) []string {
	switch base {
	case "V":
		return []string{"V", "mV", "µV", "dBu", "dBV"}
	case "%", "dB":
		return []string{base}
	case "ohm", "Hz":
		return []string{base, "k" + base, "M" + base}
	case "F":
		return []string{"µF", "nF", "pF"}
	}
	return []string{base, "m" + base, "µ" + base}
}

// ParsePoint finds a test point and its replica key. s is an id ("TP1"), a
// designator as printed ("TP21-a") or id and key with a slash ("TP21/a"); case
// does not matter. key, when not empty, is the replica key beside an id.
func ParsePoint(def *machine.Definition, s, key string) (id, k string, err error) {
	s, key = strings.TrimSpace(s), strings.TrimSpace(key)
	if before, after, ok := strings.Cut(s, "/"); ok && key == "" {
		s, key = before, after
	}
	var ids, designators []string
	for i := range def.TestPoints {
		tp := &def.TestPoints[i]
		ids = append(ids, tp.ID)
		keys := def.ReplicaKeys(tp.Each)
		if strings.EqualFold(s, tp.ID) {
			return pointKey(tp, keys, key)
		}
		for _, k := range keys {
			d := def.Designator(tp.Part, tp.Each, k)
			designators = append(designators, d)
			if strings.EqualFold(s, d) && (key == "" || key == k) {
				return tp.ID, k, nil
			}
		}
	}
	if !strings.Contains(s, "-") {
		designators = ids
	}
	return "", "", &InvalidError{Field: "test point", Value: shorten(s), Problem: "is not in the definition", Nearest: nearest(s, designators)}
}

func pointKey(tp *machine.TestPoint, keys []string, key string) (string, string, error) {
	for _, k := range keys {
		if strings.EqualFold(k, key) {
			return tp.ID, k, nil
		}
	}
	if tp.Each == "" {
		return "", "", &InvalidError{Field: "key", Value: shorten(key), Problem: fmt.Sprintf("does not go with %s, of which there is one only", tp.ID)}
	}
	return "", "", &InvalidError{Field: tp.Each, Value: shorten(key), Problem: "is none of those at which there is a " + tp.ID, Nearest: keys}
}

// ParseReading reads what is typed at the bench: a test point as in
// [ParsePoint] and a value as in [unit.ParseTyped], where the unit understood is
// that of the test point's expected value.
func ParseReading(def *machine.Definition, point, value string) (Reading, error) {
	id, key, err := ParsePoint(def, point, "")
	if err != nil {
		return Reading{}, err
	}
	tp, _ := def.TestPoint(id)
	v, name, err := unit.ParseTyped(value, tp.Expect.Unit)
	if err != nil {
		if te, ok := errors.AsType[*unit.TypedError](err); ok && te.Unit != "" {
			return Reading{}, cmp.Or(checkUnit(tp, &Reading{Unit: te.Unit}), err)
		}
		return Reading{}, invalidValue("value", value, err)
	}
	r := Reading{TestPoint: id, Key: key, Value: v, Unit: name}
	return r, checkReading(def, &r)
}

// ParseValue is [unit.ParseTyped] for a named field of a form; its error is an
// [InvalidError].
func ParseValue(field, text, understood string) (value float64, unitName string, err error) {
	value, unitName, err = unit.ParseTyped(text, understood)
	if err != nil {
		return 0, "", invalidValue(field, text, err)
	}
	return value, unitName, nil
}

func invalidValue(field, text string, err error) error {
	problem := err.Error()
	if te, ok := errors.AsType[*unit.TypedError](err); ok {
		problem = fmt.Sprintf("is not understood at position %d: %s", te.Position(), te.Want)
	}
	return &InvalidError{Field: field, Value: shorten(text), Problem: problem, Nearest: []string{"38 mV", "38m", "4m7", "3k3 ohm", "1.1 V"}}
}
