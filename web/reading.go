package web

import (
	"net/http"
	"slices"
	"strings"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

// readingOf reads the form of a reading. The probe setting is new unless the
// person says that the probe was not lifted: repeats within one setting are one
// piece of evidence, and only the hand knows.
func (s *server) readingOf(r *http.Request, v *job.View) (job.Reading, error) {
	point, key, _ := strings.Cut(r.PostFormValue("point"), "/")
	tp, ok := v.Def.TestPoint(point)
	if !ok {
		return job.Reading{}, &job.InvalidError{Field: "test point", Value: point, Problem: "is not in the definition"}
	}
	value, name, err := job.ParseValue("value", r.PostFormValue("value"), tp.Expect.Unit)
	if err != nil {
		return job.Reading{}, err
	}
	rd := job.Reading{TestPoint: point, Key: key, Value: value, Unit: name, ToneHz: tp.ToneHz,
		Instrument: strings.TrimSpace(r.PostFormValue("instrument")), Session: strings.TrimSpace(r.PostFormValue("session")),
		Provoked: diagnosis.Provocation(r.PostFormValue("provoked"))}
	if t := strings.TrimSpace(r.PostFormValue("tone")); t != "" {
		if rd.ToneHz, err = parseTone(t); err != nil {
			return rd, err
		}
	}
	if rd.Session == "" {
		rd.Session = strings.TrimSpace(s.opt.Now().UTC().Format("2006-01-02") + " " + rd.Instrument)
	}
	rd.Setting = s.opt.Now().UTC().Format("2006-01-02T15:04:05.000")
	if r.PostFormValue("same") != "" {
		for _, e := range slices.Backward(v.Current) {
			if o := e.Reading; o != nil && o.TestPoint == rd.TestPoint && o.Key == rd.Key {
				rd.Setting = o.Setting
				break
			}
		}
	}
	return rd, nil
}

// parseTone reads a frequency as typed: "315", "10k".
func parseTone(s string) (hz float64, err error) {
	v, name, err := unit.ParseTyped(s, "Hz")
	if err != nil {
		return 0, &job.InvalidError{Field: "tone", Value: s, Problem: "is not a frequency", Nearest: []string{"315", "10k"}}
	}
	hz, _, _ = unit.ToBase(v, name)
	return hz, nil
}
