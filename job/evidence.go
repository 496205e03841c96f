package job

import (
	"headstack/diagnosis"
	"headstack/unit"
)

// Evidence is what the current entries of a job say to the diagnosis: checks of
// functions that were tried, readings in base units, and what was measured on
// captures. [Bench.ShapedEvidence] adds what the shapes of the losses say.
func (b *Bench) Evidence(v *View) diagnosis.Evidence { return Evidence(v) }

// Evidence is what [Bench.Evidence] returns; it needs no bench.
func Evidence(v *View) diagnosis.Evidence {
	var out diagnosis.Evidence
	for _, e := range v.Current {
		switch {
		case e.Check != nil:
			if c := e.Check; c.Function != "" && c.Outcome != diagnosis.NotTried && c.Outcome != diagnosis.NotFitted {
				out.Checks = append(out.Checks, diagnosis.Check{Ref: e.Ref, Function: c.Function, Key: c.Key,
					Outcome: c.Outcome, Symptom: c.Symptom, Case: e.Case})
			}
		case e.Reading != nil:
			r := e.Reading
			if value, base, ok := unit.ToBase(r.Value, r.Unit); ok {
				out.Readings = append(out.Readings, diagnosis.Reading{Ref: e.Ref, TestPoint: r.TestPoint, Key: r.Key,
					Value: value, Unit: base, ToneHz: r.ToneHz, Instrument: r.Instrument, Session: r.Session, Setting: r.Setting, Case: e.Case})
			}
		case e.Capture != nil:
			if c := e.Capture; len(c.Report.Measures) > 0 {
				out.Measures = append(out.Measures, diagnosis.Measured{Ref: e.Ref, Function: c.Function, Results: c.Report.Measures})
			}
		}
	}
	return out
}
