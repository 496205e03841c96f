package web

import (
	"math"
	"net/http"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/unit"
)

// correctLineUp fills in the form for an entry of the line-up: what it says now. Gates and
// sign-offs keep their step: one of another step is taken back.
func (s *server) correctLineUp(r *http.Request, m *correctModel) error {
	e, f := m.Entry, &m.LineUp
	if step := lineUpStep(m.View, e); step != "" {
		m.StepHref = jobRoot(m.View) + "/line-up" + stepHref(step)
	}
	switch {
	case e.Figure != nil:
		f.Value, f.Half, f.Instrument = plainFigure(e.Figure.Value, e.Figure.Unit), plainHalf(e.Figure.Half, e.Figure.Unit), e.Figure.Instrument
	case e.Soak != nil:
		f.Value, f.Half, f.At = plainFigure(e.Soak.Value, e.Soak.Unit), plainHalf(e.Soak.Half, e.Soak.Unit), plainNumber(e.Soak.AtMinutes)
	case e.Turn != nil:
		t := e.Turn
		f.Way, f.Stopped = "clockwise", t.Stopped
		if t.By < 0 {
			f.Way = "anticlockwise"
		}
		if t.By != 0 {
			f.By = plainFigure(math.Abs(t.By), string(t.Unit))
		}
		if t.Travel > 0 {
			f.Travel = plainFigure(t.Travel, string(t.Unit))
		}
		if _, u, ok := job.TravelOf(m.View.AsSeen(), t.Trim); ok {
			m.Travel = string(u)
		}
	case e.Staircase != nil:
		for _, t := range e.Staircase.Tracks {
			var at []string
			for _, p := range t.Positions {
				at = append(at, strconv.FormatFloat(100*p, 'f', 1, 64))
			}
			f.Stairs = append(f.Stairs, typedStairs{t.Bias.ID, strings.Join(at, " ")})
		}
	case e.Gate != nil:
		f.Lost = e.Gate.Lost
	case e.SignOff != nil:
		f.Reason, f.Initials = e.SignOff.Reason, e.SignOff.By
	case e.Pass != nil:
		tapes, err := s.bench.Tapes(r.Context())
		if err != nil {
			return err
		}
		for _, t := range tapes {
			m.Tapes = append(m.Tapes, choice{t.ID, t.Name, ""})
			if t.Name == e.Pass.Tape {
				f.Tape = t.ID
			}
		}
	}
	return nil
}

// plainFigure writes a figure as it would be typed: all its digits, no narrow spaces.
func plainFigure(v float64, u string) string {
	if u == "°" {
		return plainNumber(v) + u
	}
	return strings.TrimSpace(plainNumber(v) + " " + u)
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// plainHalf is empty where nobody said one.
func plainHalf(v float64, u string) string {
	if v == 0 {
		return ""
	}
	return plainFigure(v, u)
}

// typedStep is what was typed of an entry of the line-up.
func typedStep(r *http.Request) stepForm {
	var stairs []typedStairs
	for i, text := range r.PostForm["positions"] {
		part := ""
		if parts := r.PostForm["part-of"]; i < len(parts) {
			part = parts[i]
		}
		stairs = append(stairs, typedStairs{part, text})
	}
	return stepForm{Stairs: stairs, Value: r.PostFormValue("figure"), Half: r.PostFormValue("half"), Instrument: r.PostFormValue("instrument"),
		By: r.PostFormValue("by"), Way: r.PostFormValue("way"), Stopped: r.PostFormValue("stopped") != "", Travel: r.PostFormValue("travel"),
		Reason: r.PostFormValue("reason"), Initials: r.PostFormValue("initials"), Lost: r.PostFormValue("lost") != "", Tape: r.PostFormValue("tape"), At: r.PostFormValue("at")}
}

// correct puts what was typed into the replacement of an entry of the line-up.
func (f stepForm) correct(old job.Entry, out *job.Entry) (err error) {
	switch {
	case old.Figure != nil:
		x := *old.Figure
		x.Instrument = f.Instrument
		if x.Value, x.Unit, err = typedFigure("value", f.Value, x.Unit); err == nil {
			x.Half, err = typedHalf(f.Half, x.Unit)
		}
		out.Figure = &x
	case old.Soak != nil:
		x := *old.Soak
		if x.AtMinutes, err = strconv.ParseFloat(strings.Replace(strings.TrimSpace(f.At), ",", ".", 1), 64); err != nil {
			return &job.InvalidError{Field: "minutes of the soak", Value: f.At, Problem: "are no number"}
		}
		if x.Value, x.Unit, err = typedFigure("value", f.Value, x.Unit); err == nil {
			x.Half, err = typedHalf(f.Half, x.Unit)
		}
		out.Soak = &x
	case old.Turn != nil:
		x := job.Turn{Trim: old.Turn.Trim, Key: old.Turn.Key}
		err = f.turn(&x)
		if err == nil && old.Turn.From != nil && x.By == old.Turn.By && x.Unit == old.Turn.Unit {
			x.From, x.To = old.Turn.From, old.Turn.To // the turn stands; so do the positions that it came of
		}
		out.Turn = &x
	case old.Staircase != nil:
		out.Staircase = old.Clone().Staircase
		for i := range out.Staircase.Tracks {
			if i >= len(f.Stairs) {
				break
			}
			t := &out.Staircase.Tracks[i]
			t.Positions = nil
			for _, w := range strings.Fields(f.Stairs[i].Text) {
				p, err := strconv.ParseFloat(strings.TrimSuffix(strings.Replace(w, ",", ".", 1), "%"), 64)
				if err != nil {
					return &job.InvalidError{Field: "position", Value: w, Problem: "is no share of the travel in %"}
				}
				t.Positions = append(t.Positions, p/100)
			}
		}
	case old.Gate != nil:
		out.Gate = &job.Gate{Step: old.Gate.Step, Lost: f.Lost}
	case old.SignOff != nil:
		out.SignOff = &job.SignOff{Step: old.SignOff.Step, Reason: f.Reason, By: f.Initials}
	case old.Pass != nil:
		out.Pass = &job.Pass{Tape: f.Tape}
	}
	return err
}

// typedHalf reads half a width in the unit of its figure; empty is 0, not said.
func typedHalf(text, unitName string) (float64, error) {
	text = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(text), "±"))
	if text == "" {
		return 0, nil
	}
	half, name, err := typedFigure("half width", text, unitName)
	if err == nil && name != unitName {
		err = &job.InvalidError{Field: "half width", Value: text, Problem: "is not in the unit of the reading, " + unitName, Nearest: []string{"0.1" + unit.ThinSpace + unitName}}
	}
	return half, err
}

// turn reads how far and which way, and the travel beside it.
func (f stepForm) turn(t *job.Turn) (err error) {
	t.Stopped = f.Stopped
	if t.By, t.Unit, err = parseTravel(f.By); err != nil {
		return err
	}
	travel, u, err := parseTravel(f.Travel)
	if err != nil {
		return err
	}
	t.Travel = travel
	if t.Unit == "" {
		t.Unit = u
	}
	if u != "" && u != t.Unit {
		return &job.InvalidError{Field: "turn", Value: f.Travel, Problem: "is not in the unit of the turn beside it", Nearest: []string{"270°", "12 turns"}}
	}
	switch f.Way {
	case "clockwise":
	case "anticlockwise":
		t.By = -t.By
	default:
		return &job.InvalidError{Field: "way", Value: f.Way, Problem: "is no way to turn", Nearest: []string{"clockwise", "anticlockwise"}}
	}
	return nil
}
