package report

import (
	"fmt"
	"strconv"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

// CaseWord names a case state as the pages do.
func CaseWord(c measure.CaseState) string {
	if c == measure.CaseUnknown {
		return "case not stated"
	}
	return "case " + string(c)
}

// ModeWord names a fault mode with its cause: "weak, dried out".
func ModeWord(m machine.Mode, cause string) string {
	if cause == "" {
		return string(m)
	}
	return string(m) + ", " + cause
}

// FaultsText names a set of faults: "C31-a weak (dried out) and H-5 weak (dirt)".
func FaultsText(faults []diagnosis.Fault) string {
	if len(faults) == 0 {
		return "no fault"
	}
	var parts []string
	for _, f := range faults {
		s := f.Part + " " + string(f.Mode)
		if f.Cause != "" {
			s += " (" + f.Cause + ")"
		}
		parts = append(parts, s)
	}
	return strings.Join(parts, " and ")
}

// EntryText says in one line what an entry of the record holds.
func EntryText(def *machine.Definition, e job.Entry) string {
	switch {
	case e.Withdraw:
		return "takes back an entry"
	case e.Check != nil:
		return checkText(def, *e.Check)
	case e.Reading != nil:
		return readingText(def, *e.Reading)
	case e.Capture != nil:
		return captureText(*e.Capture)
	case e.Work != nil:
		return e.Work.Text(def)
	case e.Opening != nil:
		return e.Opening.Text()
	case e.Closing != nil:
		return e.Closing.Text(def)
	case e.Photograph != nil:
		return e.Photograph.Text(def)
	}
	if text := e.LineUpText(def); text != "" {
		return text
	}
	return "note"
}

func checkText(def *machine.Definition, c job.Check) string {
	what := c.Item
	if c.Function != "" {
		what = c.Function
		if f, ok := def.Function(c.Function); ok && f.Name != "" {
			what = f.Name
		}
		if c.Key != "" {
			what += " on " + replica(c.Key)
		}
	}
	s := what + ": " + string(c.Outcome)
	if c.Symptom != diagnosis.SymptomUnknown {
		s += ", " + string(c.Symptom)
	}
	if c.Fault > 0 {
		s += ", fault " + strconv.Itoa(c.Fault)
	}
	return s
}

func replica(key string) string {
	if _, err := strconv.Atoi(key); err == nil {
		return "track " + key
	}
	return key
}

func readingText(def *machine.Definition, r job.Reading) string {
	s := fmt.Sprintf("%s at %s", Typed(r), PointName(def, r.TestPoint, r.Key))
	if r.ToneHz != 0 {
		s += ", " + unit.Frequency(unit.Hertz(r.ToneHz))
	}
	if r.Instrument != "" {
		s += ", " + r.Instrument
	}
	return s
}

// Typed writes a reading's value as it was typed: "38 mV".
func Typed(r job.Reading) string {
	return strings.Replace(strconv.FormatFloat(r.Value, 'g', -1, 64), "-", "\u2212", 1) + "\u2009" + r.Unit
}

// PointName is the designator of a test point's replica: "TP11-3".
func PointName(def *machine.Definition, id, key string) string {
	if p, ok := def.TestPoint(id); ok {
		return def.Designator(p.Part, p.Each, key)
	}
	if key == "" {
		return id
	}
	return id + "-" + key
}

func captureText(c job.Capture) string {
	s := fmt.Sprintf("%s, %s of %s", c.File, c.Function, c.Played())
	if len(c.Tracks) > 0 {
		var t []string
		for _, n := range c.Tracks {
			t = append(t, strconv.Itoa(n))
		}
		s += ", tracks " + strings.Join(t, ", ")
	}
	if c.WhileRecording {
		s += ", while recording"
	}
	if c.Interface != "" {
		s += ", through " + c.Interface
	}
	return s
}
