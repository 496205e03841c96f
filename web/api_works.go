package web

import (
	"cmp"
	"net/http"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/unit"
)

// work is what a caller says was done; Part names a stage as it is printed, in the place
// of Stage and Key.
func (w apiWork) work() job.Work {
	return job.Work{Kind: w.Kind, Stage: cmp.Or(w.Stage, w.Part), Key: w.Key, With: w.With, Back: w.Back}
}

func (s *server) apiRecordWork(w http.ResponseWriter, r *http.Request) error {
	var in newWorkJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	state, err := parseCase(in.Case)
	if err != nil {
		return err
	}
	done := in.work()
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{Work: &done, Case: state, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)})
	return created(w, e, err)
}

func (s *server) apiRecordOpening(w http.ResponseWriter, r *http.Request) error {
	var in newOpeningJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	e, err := s.bench.Record(r.Context(), r.PathValue("job"), job.Entry{
		Opening: &job.Opening{Opening: in.Opening, Closed: in.Closed}, Remark: in.Remark, Minutes: unit.Minutes(in.Minutes)})
	return created(w, e, err)
}

func (s *server) apiInstruments(w http.ResponseWriter, r *http.Request) error {
	found, err := s.bench.Instruments(r.Context())
	if err != nil {
		return err
	}
	out := []apiInstrument{}
	for _, in := range found {
		out = append(out, apiInstrument(in))
	}
	return sendJSON(w, http.StatusOK, map[string]any{"instruments": out})
}

func (s *server) apiAddInstrument(w http.ResponseWriter, r *http.Request) error {
	var in apiInstrument
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	if in.Address != "" {
		if err := here(r, "an instrument's address: the bench connects to it"); err != nil {
			return err
		}
	}
	kept, err := s.bench.AddInstrument(r.Context(), diagnosis.Instrument(in))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, apiInstrument(kept))
}

// apiNext answers with the advice as it is: its form is itself the contract. Who asks for
// the reasons later gets the same actions sooner.
func (s *server) apiNext(w http.ResponseWriter, r *http.Request) error {
	v, err := s.bench.View(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	switch reasons := r.URL.Query().Get("reasons"); reasons {
	case "":
	case "later":
		// Where that fails, the whole says why.
		if next, err := s.nexts.of(r.Context(), s.bench, v); err == nil && next.Advice != nil {
			return sendJSON(w, http.StatusOK, next.Advice)
		}
	default:
		return &job.InvalidError{Field: "reasons", Value: reasons, Problem: "is not a way to ask for them; leave it out for all at once", Nearest: []string{"later"}}
	}
	advice, err := s.advices.of(r.Context(), s.bench, v)
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, advice)
}
