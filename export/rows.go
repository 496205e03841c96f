package export

import (
	"fmt"
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

// entry writes the row of an entry, or its rows: a closing has one for each fault, a
// staircase one for each track, a capture one more for each figure in the table "measured".
func (t *tables) entry(e job.Entry, stands string) error {
	row := func(name string, cells ...string) error {
		return t.row(name, append([]string{e.Job, strconv.FormatInt(e.Seq, 10), e.Ref, timeText(e.At), timeText(e.Clock),
			string(e.Case), given(float64(e.Minutes)), whole(e.Corrects), stands, e.Remark}, cells...)...)
	}
	switch {
	case e.Check != nil:
		c := e.Check
		return row("checks", c.Item, c.Function, c.Key, string(c.Outcome), string(c.Symptom), string(c.Provoked), whole(c.Fault))
	case e.Reading != nil:
		r := e.Reading
		return row("readings", r.TestPoint, r.Key, number(r.Value), r.Unit, given(r.ToneHz), r.Instrument, r.Session, r.Setting, string(r.Provoked))
	case e.Capture != nil:
		return captureRows(e.Capture, row)
	case e.Work != nil:
		w := e.Work
		return row("works", string(w.Kind), w.Stage, w.Key, w.With, yes(w.Back))
	case e.Opening != nil:
		return row("openings", e.Opening.Opening, yes(e.Opening.Closed))
	case e.Closing != nil:
		return closingRows(e.Closing, row)
	case e.Photograph != nil:
		p := e.Photograph
		return row("photographs", p.File, p.SHA256, strconv.FormatInt(p.Bytes, 10), p.Opening, p.Caption, whole(p.Width), whole(p.Height), p.Copy)
	case e.Turn != nil:
		u := e.Turn
		return row("turns", u.Trim, u.Key, number(u.By), maybe(u.From), maybe(u.To), string(u.Unit), yes(u.Stopped), given(u.Travel))
	case e.Gate != nil:
		return row("gates", e.Gate.Step, yes(e.Gate.Lost))
	case e.Pass != nil:
		return row("passes", e.Pass.Tape)
	case e.Figure != nil:
		f := e.Figure
		return row("figures", f.Step, number(f.Value), given(f.Half), f.Unit, f.Instrument)
	case e.SignOff != nil:
		return row("sign-offs", e.SignOff.Step, e.SignOff.Reason, e.SignOff.By)
	case e.Soak != nil:
		s := e.Soak
		return row("soaks", number(s.AtMinutes), s.Measure, whole(s.Track), number(s.Value), given(s.Half), s.Unit)
	case e.Staircase != nil:
		for _, s := range e.Staircase.Tracks {
			if err := row("staircases", e.Staircase.Programme, s.Trim, s.Key, strconv.Itoa(s.Round+1), joined(s.Positions, number)); err != nil {
				return err
			}
		}
		return nil
	}
	return row("notes")
}

func captureRows(c *job.Capture, row func(string, ...string) error) error {
	voids := joined(c.Voids, func(v job.Void) string {
		return fmt.Sprintf("%s to %s: %s", number(v.FromS), number(v.ToS), v.Why)
	})
	err := row("captures", c.File, c.SHA256, strconv.FormatInt(c.Bytes, 10), c.Tape, c.Programme, c.Interface, yes(c.WhileRecording),
		c.Function, joined(c.Tracks, strconv.Itoa), voids, joined(c.Report.Warnings, asIs))
	for i := 0; err == nil && i < len(c.Report.Measures); i++ {
		err = row("measured", measureCells(c.Report.Measures[i])...)
	}
	return err
}

func measureCells(r measure.Result) []string {
	value, lo, hi := number(r.Value), number(r.Lo), number(r.Hi)
	if r.Refused != "" { // then they carry nothing
		value, lo, hi = "", "", ""
	}
	return []string{r.Name, whole(r.Track), whole(r.TrackB), r.Section, given(r.ToneHz), value, lo, hi, r.Unit,
		r.Reference, r.Refused, joined(r.Warnings, asIs), r.Method, given(r.Conditions.SpeedCmS), whole(r.Conditions.Channel)}
}

func closingRows(c *job.Closing, row func(string, ...string) error) error {
	complaint := joined(c.Complaint, func(s diagnosis.Symptom) string { return string(s) })
	if len(c.Faults) == 0 {
		return row("closings", complaint, c.Returned, "", "", "", "", "", "")
	}
	for i, f := range c.Faults {
		if err := row("closings", complaint, c.Returned, strconv.Itoa(i+1), f.Stage, f.Key, f.Cause, yes(f.Proven), string(f.Work)); err != nil {
			return err
		}
	}
	return nil
}

func asIs(s string) string { return s }
