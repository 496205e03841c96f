package web

import (
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

func (s *server) sheetPages(page func(pattern string, h func(w http.ResponseWriter, r *http.Request) error)) {
	page("GET /jobs/{job}/sheet", s.sheetPage)
	page("POST /jobs/{job}/sheet", s.recordCheck)
	page("POST /jobs/{job}/sheet/rest", s.recordRest)
	page("POST /jobs/{job}/sheet/undo", s.undoChecks)
}

func (s *server) sheetPage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.sheetModel(r)
	if err != nil {
		return err
	}
	return render(w, http.StatusOK, "sheet", m)
}

func (s *server) recordCheck(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	id := r.PathValue("job")
	c, state, err := checkOf(r)
	var e job.Entry
	if err == nil {
		e, err = s.bench.RecordCheck(r.Context(), id, c, state, r.PostFormValue("remark"))
	}
	if err == nil {
		to := r.PostFormValue("back")
		if to == "" {
			to = sheetURL(r, "at", r.PostFormValue("after"))
		}
		return goTo(w, r, to, e)
	}
	m, err2 := s.sheetModel(r)
	if err2 != nil {
		return err
	}
	var status int
	m.Problem, status = problemOf(err)
	m.Case = r.PostFormValue("case")
	m.keepTyped(r)
	return render(w, status, "sheet", m)
}

// sheetURL is the sheet with what the form carries on and further pairs. The row to go to
// is no fragment: a browser gives the focus to a row that asks for it only without one.
func sheetURL(r *http.Request, pairs ...string) string {
	q := url.Values{"case": {r.PostFormValue("case")}}
	if part := r.PostFormValue("part"); part != "" {
		q.Set("part", part)
	}
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			q.Set(pairs[i], pairs[i+1])
		}
	}
	return "/jobs/" + url.PathEscape(r.PathValue("job")) + "/sheet?" + q.Encode()
}

// recordRest records that each control named was tried and works: one entry each, so that
// the record says no less than if they had been tapped one by one.
func (s *server) recordRest(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	state, err := parseCase(r.PostFormValue("case"))
	if err != nil {
		return err
	}
	items := append(pairsOf(r.PostForm["item"], func(c *job.Check, v string) { c.Item = v }),
		pairsOf(r.PostForm["function"], func(c *job.Check, v string) { c.Function, c.Key = splitKey(v) })...)
	if len(items) == 0 {
		return &job.InvalidError{Field: "controls", Problem: "are none: nothing was left to try there"}
	}
	var first, last job.Entry
	for i, c := range items {
		last, err = s.bench.RecordCheck(r.Context(), r.PathValue("job"), c, state, "")
		if err != nil {
			kept := "Nothing was written."
			if i > 0 {
				kept = plural(i, "check before it was", "checks before it were") + " kept."
			}
			e := *explain(err)
			e.what, e.kept = fmt.Sprintf("%s%s%s: %s", c.Item, c.Function, c.Key, e.what), kept
			return &e
		}
		if i == 0 {
			first = last
		}
	}
	return goTo(w, r, sheetURL(r, "at", r.PostFormValue("after"), "since", strconv.FormatInt(first.Seq, 10)), last)
}

func pairsOf(values []string, set func(c *job.Check, v string)) []job.Check {
	out := make([]job.Check, len(values))
	for i, v := range values {
		out[i].Outcome = diagnosis.Works
		set(&out[i], v)
	}
	return out
}

// splitKey parts a function from the track behind its last slash.
func splitKey(s string) (function, key string) {
	for i := len(s) - 1; i >= 0; i-- {
		if s[i] == '/' {
			return s[:i], s[i+1:]
		}
	}
	return s, ""
}

// undoChecks takes back the entries named, in the order given: the newest first.
func (s *server) undoChecks(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	var last job.Entry
	for i, v := range r.PostForm["seq"] {
		seq, err := strconv.ParseInt(v, 10, 64)
		if err != nil {
			return &job.NotFoundError{What: "entry", ID: v}
		}
		last, err = s.bench.Withdraw(r.Context(), r.PathValue("job"), seq, "")
		if err != nil {
			e := *explain(err)
			if i > 0 {
				e.kept = plural(i, "newer one was", "newer ones were") + " taken back."
			}
			return &e
		}
	}
	if last.Seq == 0 {
		return &job.InvalidError{Field: "entries", Problem: "are none: nothing is there to take back"}
	}
	return goTo(w, r, sheetURL(r, "at", r.PostFormValue("after")), last)
}

// keepTyped puts a refused remark back into its row.
func (m *sheetModel) keepTyped(r *http.Request) {
	for i := range m.Groups {
		for j := range m.Groups[i].Rows {
			row := &m.Groups[i].Rows[j]
			if row.Item == r.PostFormValue("item") && row.Function == r.PostFormValue("function") && row.Key == r.PostFormValue("key") {
				row.Remark = r.PostFormValue("remark")
				m.At = row.ID
			}
		}
	}
}

func checkOf(r *http.Request) (job.Check, measure.CaseState, error) {
	c := job.Check{Item: r.PostFormValue("item"), Function: r.PostFormValue("function"), Key: r.PostFormValue("key"),
		Outcome: diagnosis.Outcome(r.PostFormValue("outcome")), Symptom: diagnosis.Symptom(r.PostFormValue("symptom")),
		Provoked: diagnosis.Provocation(r.PostFormValue("provoked"))}
	number := r.PostFormValue("fault")
	// The choice of a symptom and the number on the label stand beside the buttons; they
	// mean something only with what they can explain.
	if c.Outcome != diagnosis.Faulty && c.Outcome != diagnosis.Intermittent {
		c.Symptom, number = "", ""
	}
	if number != "" {
		n, err := strconv.Atoi(number)
		if err != nil || n < 1 {
			return c, "", &job.InvalidError{Field: "fault number", Value: number, Problem: "is not a whole number from 1 up"}
		}
		c.Fault = n
	}
	state, err := parseCase(r.PostFormValue("case"))
	return c, state, err
}
