package web

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"net/url"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// shownValue is a value of the draft as its field shows it.
func shownValue(v machine.Value, kind fieldKind) string {
	switch v := v.(type) {
	case machine.Text:
		return string(v)
	case machine.Plain:
		if kind == fieldTick {
			if v == "true" {
				return "1"
			}
			return ""
		}
		return string(v)
	case machine.List:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = shownValue(x, fieldText)
		}
		if kind == fieldLines || slices.ContainsFunc(parts, func(s string) bool { return strings.Contains(s, ",") }) {
			return strings.Join(parts, "\n")
		}
		return strings.Join(parts, ", ")
	case machine.Fields:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = x.Key + ": " + shownValue(x.Value, fieldText)
		}
		return strings.Join(parts, ", ")
	}
	return ""
}

// figureWords are the figures of a list as its rows say them: a bare one says nothing.
var figureWords = map[string]string{
	"cm_s": "%s cm/s", "high_us": "high %s µs", "low_us": "low %s µs", "tolerance_percent": "±%s %%", "gap_um": "gap %s µm",
	"down_minutes": "opens in %s min", "up_minutes": "back in %s min", "after_minutes": "%s min of realignment",
	"check_minutes": "%s min", "minutes": "%s min", "speed_cm_s": "%s cm/s", "order": "place %s",
}

// withUnit is a shown value with what its figure is.
func (f defineField) withUnit(s string) string {
	if words := figureWords[f.Key]; words != "" && s != "" {
		return fmt.Sprintf(words, s)
	}
	return s
}

// typedValue is what was typed into a field, as a value of the draft; nil: nothing.
func (f defineField) typedValue(s string) (machine.Value, error) {
	s = strings.TrimSpace(strings.ReplaceAll(s, "\r\n", "\n"))
	switch f.Kind {
	case fieldTick:
		if s != "" {
			return machine.Plain("true"), nil
		}
		if f.Always {
			return machine.Plain("false"), nil
		}
		return nil, nil
	case fieldNumber:
		if s == "" {
			return nil, nil
		}
		return typedNumber(s)
	case fieldWords, fieldLines:
		return f.typedList(s)
	case fieldPairs:
		return typedPairs(s)
	}
	switch {
	case s == "":
		return nil, nil
	case f.Plain:
		return typedNumber(s)
	}
	return machine.Text(s), nil
}

var decimal = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?$`)

// typedNumber takes a comma for a decimal point, as keyboards of some countries have it.
func typedNumber(s string) (machine.Value, error) {
	t := strings.NewReplacer(",", ".", "\u2212", "-", " ", "").Replace(s)
	x, err := strconv.ParseFloat(t, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return nil, fmt.Errorf("%q is not a number: write digits with a decimal point and no unit", s)
	}
	if decimal.MatchString(t) {
		return machine.Plain(t), nil // as typed: 1.10 says how well it is known
	}
	return machine.Plain(strconv.FormatFloat(x, 'f', -1, 64)), nil
}

func (f defineField) typedList(s string) (machine.Value, error) {
	sep := ","
	if f.Kind == fieldLines || strings.Contains(s, "\n") {
		sep = "\n"
	}
	var out machine.List
	for part := range strings.SplitSeq(s, sep) {
		part = strings.Trim(part, ", \t")
		if part == "" {
			continue
		}
		if !f.Plain {
			out = append(out, machine.Text(part))
			continue
		}
		v, err := typedNumber(part)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	if out == nil {
		return nil, nil
	}
	return out, nil
}

func typedPairs(s string) (machine.Value, error) {
	var out machine.Fields
	for part := range strings.FieldsFuncSeq(s, func(r rune) bool { return r == ',' || r == '\n' }) {
		name, value, ok := strings.Cut(part, ":")
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if !ok || name == "" || value == "" {
			return nil, fmt.Errorf("%q is not a set and its member: write side: L", strings.TrimSpace(part))
		}
		out = out.With(name, machine.Text(value))
	}
	if out == nil {
		return nil, nil
	}
	return out, nil
}

// valueAt is a value by its key, in which a point leads into nested fields.
func valueAt(f machine.Fields, key string) machine.Value {
	head, rest, nested := strings.Cut(key, ".")
	v := f.Get(head)
	if !nested {
		return v
	}
	inner, _ := v.(machine.Fields)
	return valueAt(inner, rest)
}

// withAt is a copy with a value at a key; nested fields of which nothing is left go.
func withAt(f machine.Fields, key string, v machine.Value) machine.Fields {
	head, rest, nested := strings.Cut(key, ".")
	if !nested {
		return f.With(head, v)
	}
	inner, _ := f.Get(head).(machine.Fields)
	inner = withAt(inner, rest, v)
	if len(inner) == 0 {
		return f.With(head, nil)
	}
	return f.With(head, inner)
}

// filled puts what was typed in a step's form over what an item holds. Fields that the
// form does not show stay. Problems come by the key of their field.
func (st *defineStep) filled(item machine.Fields, form url.Values) (machine.Fields, map[string]string) {
	wrong := map[string]string{}
	for _, f := range st.Fields {
		old := valueAt(item, f.Key)
		var v machine.Value
		var err error
		if f.Kind == fieldFaults {
			v, err = typedFaults(old, form)
		} else {
			v, err = f.typedValue(form.Get("f." + f.Key))
		}
		if err != nil {
			wrong[f.Key] = err.Error()
			continue
		}
		// What looks the same is the same: a pin written +5 without quotes stays so.
		if old != nil && v != nil && reflect.TypeOf(old).Kind() == reflect.TypeOf(v).Kind() && f.Kind != fieldFaults && shownValue(old, f.Kind) == shownValue(v, f.Kind) {
			v = old
		}
		item = withAt(item, f.Key, v)
	}
	return item, wrong
}

// digest tells whether a form was changed since it was shown.
func (st *defineStep) digest(value func(key string) string) string {
	h := sha256.New()
	for _, f := range st.Fields {
		fmt.Fprintf(h, "%s\x00%s\x00", f.Key, strings.TrimSpace(strings.ReplaceAll(value(f.Key), "\r\n", "\n")))
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}

// posted is a field of the form as digest and view see it.
func posted(st *defineStep, form url.Values) func(string) string {
	return func(key string) string {
		if key == "faults" {
			return strings.Join(form["f.faults"], "\n") + form.Get("own.family") + form.Get("own.cause") + form.Get("own.cure") + form.Get("own.minutes")
		}
		return form.Get("f." + key)
	}
}
