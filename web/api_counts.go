package web

import (
	"cmp"
	"errors"
	"net/http"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/learn"
)

type apiClosing struct {
	Complaint []diagnosis.Symptom `json:"complaint"`
	Faults    []apiClosedFault    `json:"faults"`
	Returned  string              `json:"returned,omitempty"`
}

type apiClosedFault struct {
	Stage  string             `json:"stage,omitempty"`
	Key    string             `json:"key,omitempty"`
	Part   string             `json:"part,omitempty"` // in place of stage and key
	Cause  string             `json:"cause,omitempty"`
	Proven bool               `json:"proven"`
	Work   diagnosis.WorkKind `json:"work,omitempty"`
}

type newClosingJSON struct {
	apiClosing
	Remark string `json:"remark,omitempty"`
	Seen   int64  `json:"seen,omitempty"`
}

func closingJSON(c job.Closing) *apiClosing {
	out := &apiClosing{Complaint: list(c.Complaint), Faults: []apiClosedFault{}, Returned: c.Returned}
	for _, f := range c.Faults {
		out.Faults = append(out.Faults, apiClosedFault{Stage: f.Stage, Key: f.Key, Cause: f.Cause, Proven: f.Proven, Work: f.Work})
	}
	return out
}

// apiClosingOf answers with the closing that stands, or the one that the record suggests.
func (s *server) apiClosingOf(w http.ResponseWriter, r *http.Request) error {
	c, v, err := s.bench.ProposeClosing(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	out := map[string]any{"closed": v.Closing() != nil, "closing": closingJSON(c), "seen": v.Seen()}
	return sendJSON(w, http.StatusOK, out)
}

func (s *server) apiClose(w http.ResponseWriter, r *http.Request) error {
	var in newClosingJSON
	if err := readJSON(w, r, &in); err != nil {
		return err
	}
	c := job.Closing{Complaint: in.Complaint, Returned: in.Returned}
	for _, f := range in.Faults {
		c.Faults = append(c.Faults, job.ClosedFault{Stage: cmp.Or(f.Stage, f.Part), Key: f.Key, Cause: f.Cause, Proven: f.Proven, Work: f.Work})
	}
	e, err := s.keepClosing(r, job.Entry{Closing: &c, Remark: in.Remark, Seen: in.Seen})
	return created(w, e, err)
}

// apiFound answers with what was found so far on one type of recorder.
func (s *server) apiFound(w http.ResponseWriter, r *http.Request) error {
	f, err := s.bench.Found(r.Context(), r.PathValue("definition"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, map[string]any{
		"definition": f.Info.ID, "machines": f.Lesson.Machines, "others": f.Lesson.Others, "priors": f.Lesson.PriorsText(), "merged": len(f.Merged),
		"counts": f.Counts.Clone().Of(f.Info.ID), "changes": list(f.Lesson.Changes), "rates": f.Lesson.Rates,
	})
}

// apiCounts is the file for another shop.
func (s *server) apiCounts(w http.ResponseWriter, r *http.Request) error {
	c, err := s.bench.OwnCounts(r.Context())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(c.Encode())
	return nil
}

func (s *server) apiMergeCounts(w http.ResponseWriter, r *http.Request) error {
	name, data, err := readDocument(w, r)
	if err != nil {
		return err
	}
	f, again, err := s.bench.MergeCounts(r.Context(), name, data)
	if p, ok := errors.AsType[*learn.ParseError](err); ok {
		return &pageError{status: http.StatusUnprocessableEntity, title: "The counts were not merged", what: p.Error(), hint: p.Want, kept: "Nothing was kept.", field: "file", err: err}
	}
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusCreated, map[string]any{"sha256": f.SHA, "machines": f.Counts.Machines(), "again": again})
}
