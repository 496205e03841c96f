package job

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/trim"
)

// Turn records that a trim was turned. Clockwise is positive. Where nobody noted how far,
// By is 0 with Stopped false: it counts as turned all the same.
type Turn struct {
	Trim string // machine.Trim id
	Key  string `json:",omitempty"` // replica; empty for a trim of which there is one
	// By is how far, in Unit: "°" or "turns".
	By   float64
	Unit trim.TravelUnit
	// From and To are positions from the anticlockwise stop in Unit, where they were noted;
	// By is their difference then.
	From *float64 `json:",omitempty"`
	To   *float64 `json:",omitempty"`
	// Stopped says that the end of the travel was felt.
	Stopped bool `json:",omitempty"`
	// Travel is how far it goes from stop to stop, in Unit, as was seen on this recorder. It
	// holds for its siblings and for the turns before, in place of what the definition says
	// or what is usual; 0: nobody looked.
	Travel float64 `json:",omitempty"`
}

// Part is the designator of the trim: "VRa-3".
func (t Turn) Part(def *machine.Definition) string {
	for i := range def.Trims {
		if x := &def.Trims[i]; x.ID == t.Trim {
			return def.Designator(x.Part, x.Each, t.Key)
		}
	}
	return strings.TrimSuffix(t.Trim+"/"+t.Key, "/")
}

// Text says in a few words what was done: "turned VRa-3 by 30° clockwise".
func (t Turn) Text(def *machine.Definition) string { return t.text(t.Part(def)) }

func (t Turn) text(part string) string {
	s := "turned " + part
	switch way := "clockwise"; {
	case t.By == 0 && !t.Stopped && t.From == nil:
		s += ", how far was not noted"
	default:
		if t.By < 0 {
			way = "anticlockwise"
		}
		s += fmt.Sprintf(" by %s %s", travelText(math.Abs(t.By), t.Unit), way)
	}
	if t.From != nil && t.To != nil {
		s += fmt.Sprintf(", from %s to %s", travelText(*t.From, t.Unit), travelText(*t.To, t.Unit))
	}
	if t.Stopped {
		s += ", to the stop"
	}
	if t.Travel > 0 {
		s += fmt.Sprintf(" (of %s from stop to stop)", travelText(t.Travel, t.Unit))
	}
	return s
}

// travelText writes a travel: "30°", "1.25 turns".
func travelText(x float64, u trim.TravelUnit) string {
	if u == trim.Degrees {
		return fmt.Sprintf("%.4g°", x)
	}
	return fmt.Sprintf("%.4g %s", x, u)
}

// ParseTrim finds a trim and its replica key. s is a designator as printed ("VRa-3"), an
// id and key with a stroke ("VRa/3"), or an id with the key beside it; case does not
// matter. Errors: [InvalidError] with the nearest designators.
func ParseTrim(def *machine.Definition, s, key string) (id, k string, err error) {
	s, key = strings.TrimSpace(s), strings.TrimSpace(key)
	var designators []string
	for i := range def.Trims {
		t := &def.Trims[i]
		for _, k := range def.ReplicaKeys(t.Each) {
			part := def.Designator(t.Part, t.Each, k)
			designators = append(designators, part)
			if strings.EqualFold(part, s) && (key == "" || strings.EqualFold(key, k)) {
				return t.ID, k, nil
			}
		}
	}
	if before, after, ok := strings.Cut(s, "/"); ok && key == "" {
		s, key = before, after
	}
	for i := range def.Trims {
		t := &def.Trims[i]
		if !strings.EqualFold(t.ID, s) {
			continue
		}
		keys := def.ReplicaKeys(t.Each)
		for _, k := range keys {
			if strings.EqualFold(k, key) {
				return t.ID, k, nil
			}
		}
		if t.Each == "" {
			return "", "", &InvalidError{Field: "key", Value: shorten(key), Problem: fmt.Sprintf("does not go with %s, of which there is one only", t.ID)}
		}
		return "", "", &InvalidError{Field: t.Each, Value: shorten(key), Problem: "is none of those at which there is a " + t.ID, Nearest: keys}
	}
	return "", "", &InvalidError{Field: "trim", Value: shorten(s), Problem: "is no trim of the definition", Nearest: nearest(s, designators)}
}

func trimOf(def *machine.Definition, id string) *machine.Trim {
	i := slices.IndexFunc(def.Trims, func(t machine.Trim) bool { return t.ID == id })
	if i < 0 {
		return nil
	}
	return &def.Trims[i]
}

// TravelOf is the travel of a trim from stop to stop, by its range or by what presets,
// screws and slugs usually have (see [trim.ParseRange]). ok is false where the range is
// not understood.
func TravelOf(def *machine.Definition, id string) (travel float64, u trim.TravelUnit, ok bool) {
	t := trimOf(def, id)
	if t == nil {
		return 0, "", false
	}
	r, err := trim.RangeOf(t)
	return r.Travel, r.TravelUnit, err == nil
}

const (
	degreesInTurn = 360.0
	// mostTurns bounds the travel of a trim whose range is not understood, in turns.
	mostTurns = 100.0
	// travelSlack is by how much the travel of a real trim may exceed that of its definition,
	// which is often a usual one only: 300° in place of 270°, 25 turns in place of 20.
	travelSlack = 1.5
)

// AsSeen is the definition of a job with the travels of trims that were seen on this
// recorder; the definition itself where none was.
func (v *View) AsSeen() *machine.Definition { return asSeen(v.Def, v.Current) }

func asSeen(def *machine.Definition, entries []Entry) *machine.Definition {
	travels := map[string]Turn{}
	for _, e := range entries {
		if e.Turn != nil && e.Turn.Travel > 0 {
			travels[e.Turn.Trim] = *e.Turn
		}
	}
	if len(travels) == 0 {
		return def
	}
	out := def.Clone()
	out.Trims = slices.Clone(def.Trims)
	for i := range out.Trims {
		t := &out.Trims[i]
		seen, ok := travels[t.ID]
		if !ok {
			continue
		}
		base, _, _ := strings.Cut(t.Range, " over ")
		amended := *t
		amended.Range = fmt.Sprintf("%s over %g turns", base, inUnit(seen.Travel, seen.Unit, trim.Turns))
		if strings.Contains(base, "tune for") { // "4 turns, tune for least"
			_, rule, _ := strings.Cut(base, "tune")
			amended.Range = fmt.Sprintf("%g turns, tune%s", inUnit(seen.Travel, seen.Unit, trim.Turns), rule)
		}
		if _, err := trim.RangeOf(&amended); err == nil { // else it is left as it was
			*t = amended
		}
	}
	return out
}

// inUnit converts a travel.
func inUnit(x float64, from, to trim.TravelUnit) float64 {
	switch {
	case from == to:
		return x
	case from == trim.Turns:
		return x * degreesInTurn
	}
	return x / degreesInTurn
}

// checkTurn completes trim and key, and By of positions.
func checkTurn(def *machine.Definition, t *Turn) error {
	var err error
	if t.Trim, t.Key, err = ParseTrim(def, t.Trim, t.Key); err != nil {
		return err
	}
	travel, own, known := TravelOf(def, t.Trim)
	if t.Unit == "" && known {
		t.Unit = own
	}
	if t.Unit != trim.Degrees && t.Unit != trim.Turns {
		return &InvalidError{Field: "unit", Value: shorten(string(t.Unit)), Problem: "is no unit of a turn", Nearest: []string{string(trim.Degrees), string(trim.Turns)}}
	}
	most := inUnit(mostTurns, trim.Turns, t.Unit)
	switch {
	case !(t.Travel >= 0 && t.Travel <= most):
		return &InvalidError{Field: "travel", Value: travelText(t.Travel, t.Unit), Problem: fmt.Sprintf("is not between 0 (nobody looked) and %s", travelText(most, t.Unit))}
	case t.Travel > 0:
		most = t.Travel
	case known:
		most = travelSlack * inUnit(travel, own, t.Unit)
	}
	bound := func(field string, x, least float64) error {
		if x >= least && x <= most { // false for what is no number
			return nil
		}
		return &InvalidError{Field: field, Value: travelText(x, t.Unit), Problem: fmt.Sprintf("is beyond the travel of %s, which is at most %s", t.Part(def), travelText(most, t.Unit))}
	}
	switch {
	case (t.From == nil) != (t.To == nil):
		return &InvalidError{Field: "position", Problem: "is given once; a turn has one before and one after it"}
	case t.From != nil:
		if err := firstError(bound("position before", *t.From, 0), bound("position after", *t.To, 0)); err != nil {
			return err
		}
		by := *t.To - *t.From
		if t.By != 0 && math.Abs(t.By-by) > 1e-9*most {
			return &InvalidError{Field: "turn", Value: travelText(t.By, t.Unit), Problem: fmt.Sprintf("is not the difference of the positions, which is %s", travelText(by, t.Unit))}
		}
		t.By = by
	}
	return bound("turn", t.By, -most)
}
