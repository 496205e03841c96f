package job

import (
	"cmp"
	"slices"

	"headstack/diagnosis"
	"headstack/unit"
)

// Evidence is what the current entries of a job say to the diagnosis: checks of
// functions that were tried, readings in base units, what was measured on captures,
// what was done to the recorder, and the registered instruments that were read with.
// What was corrected keeps its place in the order of things.
// [Bench.ShapedEvidence] adds what the shapes of the losses say.
func (b *Bench) Evidence(v *View) diagnosis.Evidence { return Evidence(v) }

// Evidence is what [Bench.Evidence] returns; it needs no bench.
func Evidence(v *View) diagnosis.Evidence {
	var out diagnosis.Evidence
	first := observed(v.Entries)
	for _, e := range v.Current {
		seq := cmp.Or(first[e.Seq], e.Seq)
		switch {
		case e.Check != nil:
			if c := e.Check; c.Function != "" && c.Outcome != diagnosis.NotTried && c.Outcome != diagnosis.NotFitted {
				out.Checks = append(out.Checks, diagnosis.Check{Ref: e.Ref, Function: c.Function, Key: c.Key,
					Outcome: c.Outcome, Symptom: c.Symptom, Case: e.Case, Seq: seq, Provoked: c.Provoked})
			}
		case e.Reading != nil:
			r := e.Reading
			if value, base, ok := unit.ToBase(r.Value, r.Unit); ok {
				out.Readings = append(out.Readings, diagnosis.Reading{Ref: e.Ref, TestPoint: r.TestPoint, Key: r.Key,
					Value: value, Unit: base, ToneHz: r.ToneHz, Instrument: r.Instrument, Session: r.Session, Setting: r.Setting, Case: e.Case,
					Seq: seq, Provoked: r.Provoked})
			}
		case e.Capture != nil:
			if c := e.Capture; len(c.Report.Measures) > 0 {
				out.Measures = append(out.Measures, diagnosis.Measured{Ref: e.Ref, Function: c.Function, Results: c.Report.Measures, Seq: seq})
			}
		case e.Work != nil:
			w := e.Work
			out.Works = append(out.Works, diagnosis.Work{Ref: e.Ref, Seq: seq, Kind: w.Kind, Stage: w.Stage, Key: w.Key, With: w.With, Back: w.Back})
		}
	}
	slices.SortStableFunc(out.Works, func(a, b diagnosis.Work) int { return cmp.Compare(a.Seq, b.Seq) })
	for _, in := range v.Instruments {
		if slices.ContainsFunc(out.Readings, func(r diagnosis.Reading) bool { return r.Instrument == in.ID }) {
			out.Instruments = append(out.Instruments, in)
		}
	}
	return out
}

// Situation is what is at hand on a job: what is open, and the instrument and session
// of the last reading.
func Situation(v *View) diagnosis.Situation {
	now := diagnosis.Situation{Open: slices.Clone(v.Open)}
	for _, e := range v.Current {
		if r := e.Reading; r != nil {
			now.Instrument, now.Session = r.Instrument, r.Session
		}
	}
	return now
}
