package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"

	"headstack/job"
	"headstack/report"
)

// lossModel is what a capture's page says of its losses.
type lossModel struct {
	Losses  *report.Losses // nil: not asked, for nothing was measured
	Against againstForm
	Changed *report.Losses // the comparison that was asked for; nil: none was, or Problem says why not
	Refused *problem
}

// againstForm asks for a comparison with an earlier capture of the job.
type againstForm struct {
	Choices []choice
	Chosen  string // Seq of the entry
	Doing   string
}

// lossModel explains a capture and compares it where the query asks for that.
func (s *server) lossModel(r *http.Request, v *job.View, e job.Entry) (m lossModel, err error) {
	if len(e.Capture.Report.Measures) == 0 {
		return m, nil
	}
	x, err := s.bench.Explain(r.Context(), v.Job.ID, e.Seq)
	u, told := errors.AsType[*job.UnexplainedError](err)
	switch {
	case errors.Is(err, context.Canceled):
		return m, err
	case told:
		x.Unexplained = u.Err.Error()
	case err != nil: // the figures are there all the same
		s.log(r, "explaining failed", http.StatusInternalServerError, err)
		x.Unexplained = err.Error()
	}
	l := report.LossesOf(x, "p-")
	m.Losses = &l
	m.Against = againstForm{againstChoices(v, e), r.URL.Query().Get("against"), r.URL.Query().Get("doing")}
	if m.Against.Chosen == "" {
		return m, nil
	}
	x, err = s.compared(r.Context(), v.Job.ID, e.Seq, m.Against.Chosen, m.Against.Doing)
	switch {
	case errors.Is(err, context.Canceled):
		return m, err
	case err != nil:
		m.Refused, _ = problemOf(err)
	default:
		l := report.LossesOf(x, "c-")
		m.Changed = &l
	}
	return m, nil
}

// compared is the comparison of a capture with an earlier one, by what a query names.
func (s *server) compared(ctx context.Context, id string, seq int64, against, doing string) (job.Explained, error) {
	before, err := strconv.ParseInt(against, 10, 64)
	if err != nil || before < 1 {
		return job.Explained{}, notCompared("The number of an entry is wanted", against, "Take the number of a capture's entry, as the record lists it.", err)
	}
	x, err := s.bench.CompareCaptures(ctx, id, before, seq, doing)
	if e, ok := errors.AsType[*job.InvalidError](err); ok {
		return x, notCompared("Not compared: "+e.Field+" "+e.Problem, e.Value, "Choose another capture of the same tape, with tracks in common.", err)
	}
	return x, err
}

func notCompared(title, what, hint string, err error) error {
	return &pageError{status: http.StatusUnprocessableEntity, title: title, what: what, hint: hint, kept: "Nothing is written by looking.", field: "against", err: err}
}

// againstChoices are the captures of a job that another can be compared with: of the same
// tape or programme, and measured.
func againstChoices(v *job.View, e job.Entry) []choice {
	var out []choice
	for _, o := range v.Current {
		if o.Capture == nil || o.Seq == e.Seq || len(o.Capture.Report.Measures) == 0 ||
			o.Capture.TapeSHA+o.Capture.ProgrammeSHA != e.Capture.TapeSHA+e.Capture.ProgrammeSHA {
			continue
		}
		text := o.Ref + ", " + report.CaseWord(o.Case)
		if o.Remark != "" {
			text += ", " + o.Remark
		}
		out = append(out, choice{Value: strconv.FormatInt(o.Seq, 10), Text: text})
	}
	return out
}

// apiExplanation answers with the explanation of a capture, or of its difference from an
// earlier one.
func (s *server) apiExplanation(w http.ResponseWriter, r *http.Request) error {
	seq, err := seqParam(r)
	if err != nil {
		return err
	}
	var x job.Explained
	if against := r.URL.Query().Get("against"); against != "" {
		x, err = s.compared(r.Context(), r.PathValue("job"), seq, against, r.URL.Query().Get("doing"))
	} else {
		x, err = s.bench.Explain(r.Context(), r.PathValue("job"), seq)
	}
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, x.Explanation)
}
