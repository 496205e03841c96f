package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/report"
)

// base is what the layout of each page needs.
type base struct {
	Title   string
	Here    string // the page, for the menu: "sheet"
	Job     *job.Job
	Steps   []step
	Card    *card
	Saved   *saved    // what was just kept
	Problem *problem  // why a form was refused
	Last    []lastOne // entries that can be taken back, newest first
	Back    string    // where the page's forms return to
	Outside bool      // of someone who may not see the bench yet: without its menu
}

// saved says what was just kept, with a way to take it back.
type saved struct {
	Seq  int64
	Text string
	Undo bool
	// Spoken is what was understood of a reading, in full words.
	Spoken string
	Open   []string // what the instrument of a reading cannot tell
	How    string   // the remark of a reading: how a meter's value was come by
}

// problem is a refused form; what was typed stays in the form.
type problem struct{ Title, What, Hint, Kept, Field string }

// lastOne is one of the last entries.
type lastOne struct {
	Seq       int64
	Ref, Text string
}

func problemOf(err error) (*problem, int) {
	e := explain(err)
	return &problem{e.title, e.what, e.hint, e.kept, e.field}, e.status
}

// jobBase loads a job with its verdict and makes the frame of one of its pages.
type jobData struct {
	base
	View      *job.View
	Verdict   *diagnosis.Verdict
	NoVerdict string            // why there is none
	Working   bool              // it is still being worked out
	Unsaid    bool              // of the verdict there are the marks, the words are being worked out
	Advice    *diagnosis.Advice // nil: none, or not yet
	Place     place             // of the next action
	Spots     *job.Spots        // where things are on the pictures of the definition
}

// place is where the next action is done.
type place struct{ Function, TestPoint, Key string }

func (s *server) jobData(r *http.Request, here, title string) (jobData, error) {
	id := r.PathValue("job")
	v, err := s.bench.View(r.Context(), id)
	if err != nil {
		return jobData{}, err
	}
	d := jobData{View: v}
	planning, err := s.think(r, &d, here)
	if err != nil {
		return jobData{}, err
	}
	d.base = base{Title: title + ", " + v.Job.Name, Here: here, Job: &v.Job, Back: r.URL.RequestURI(), Last: lastOnes(v, 6)}
	if r.Method != http.MethodGet { // a refused form: its page is the one it came from
		d.Back = "/jobs/" + url.PathEscape(id) + "/" + here
	}
	d.Steps = stepsOf(v, d.Verdict, s.stepsDue(r, v), here)
	if d.Unsaid { // how many faults explain it is not known yet
		d.Steps[3].Dark, d.Steps[3].Done = d.Steps[3].Open == 0, false
	}
	d.Card, d.Place = nextCard(v, d.Verdict, d.Advice, d.NoVerdict, planning)
	d.Card.OpenNow, d.Card.Swaps = openNow(v), swapsNow(v)
	d.Saved = savedOf(v, r.URL.Query().Get("saved"))
	return d, s.cardSpots(r, &d)
}

// think asks for what is next and waits for it as long as the page may. The words of the
// verdict follow: the overview, which is about them, waits for them too, unless it answers
// an entry; other pages take them where they are there. planning says that the advice is
// not there yet. The error is that of the request.
func (s *server) think(r *http.Request, d *jobData, here string) (planning bool, err error) {
	if s.patience(r) == 0 {
		return s.remember(d), nil
	}
	wait, cancel := context.WithTimeout(r.Context(), s.patience(r))
	defer cancel()
	next, err := s.nexts.within(r.Context(), wait, s.bench, d.View)
	switch {
	case errors.Is(err, errWorking):
		return s.remember(d), nil
	case r.Context().Err() != nil:
		return false, r.Context().Err()
	case err != nil || next.Advice == nil: // then one of the two may be there by itself
		return s.thinkWhole(r, wait, d)
	}
	d.Advice, d.Verdict, d.Unsaid = next.Advice, next.Marks, true
	words := s.verdicts.start(s.bench, d.View)
	defer s.verdicts.left(words)
	var verdict *diagnosis.Verdict
	if here == "" && r.Method == http.MethodGet && !r.URL.Query().Has("saved") {
		verdict, err = s.verdicts.within(r.Context(), wait, s.bench, d.View)
	} else {
		verdict, err = s.verdicts.peek(d.View)
	}
	switch {
	case err == nil:
		d.Verdict, d.Unsaid = verdict, false
	case r.Context().Err() != nil:
		return false, r.Context().Err()
	case !errors.Is(err, errWorking):
		d.Verdict, d.Unsaid, d.NoVerdict = nil, false, err.Error()
	}
	return false, nil
}

// remember takes what is there and begins nothing.
func (s *server) remember(d *jobData) (planning bool) {
	var err error
	d.Verdict, err = s.verdicts.peek(d.View)
	if d.Working = errors.Is(err, errWorking); err != nil && !d.Working {
		d.NoVerdict = err.Error()
	}
	if next, err := s.nexts.peek(d.View); err == nil && next.Advice != nil {
		d.Advice = next.Advice
		if d.Working {
			d.Verdict, d.Working, d.Unsaid = next.Marks, false, true
		}
		return false
	}
	d.Advice, err = s.advices.peek(d.View)
	return errors.Is(err, errWorking) || d.Advice == nil && d.Working
}

// thinkWhole asks for verdict and advice, both at once and each by itself.
func (s *server) thinkWhole(r *http.Request, wait context.Context, d *jobData) (planning bool, err error) {
	defer s.advices.left(s.advices.start(s.bench, d.View))
	d.Verdict, err = s.verdicts.within(r.Context(), wait, s.bench, d.View)
	switch {
	case errors.Is(err, errWorking):
		d.Working = true
	case err != nil && r.Context().Err() != nil:
		return false, err
	case err != nil:
		d.NoVerdict = err.Error()
	}
	// Without advice the card falls back on the verdict.
	d.Advice, err = s.advices.within(r.Context(), wait, s.bench, d.View)
	if err != nil && r.Context().Err() != nil {
		return false, err
	}
	return errors.Is(err, errWorking) || d.Advice == nil && d.Working, nil
}

func lastOnes(v *job.View, n int) []lastOne {
	var out []lastOne
	for _, e := range slices.Backward(v.Current) {
		if len(out) == n {
			break
		}
		out = append(out, lastOne{e.Seq, e.Ref, entryLine(v, e)})
	}
	return out
}

func entryLine(v *job.View, e job.Entry) string {
	switch {
	case e.Withdraw:
		return report.LineOf(v, e).Text
	case e.Kind == job.KindNote:
		return e.Remark
	case e.Work != nil:
		return e.Work.Text(v.Def)
	case e.Closing != nil:
		return e.Closing.Text(v.Def)
	case e.LineUpText(v.Def) != "":
		return e.LineUpText(v.Def)
	case e.Opening != nil:
		return openingLine(v.Def, *e.Opening)
	}
	t := report.LineOf(v, e).Text
	if e.Check != nil && e.Check.Item != "" {
		for _, it := range v.Sheet {
			if it.Item == e.Check.Item {
				return it.Name + ": " + outcomeText(*e.Check)
			}
		}
	}
	return t
}

// outcomeText is what was found: "faulty, noisy, fault 3".
func outcomeText(c job.Check) string {
	s := string(c.Outcome)
	if c.Symptom != "" {
		s += ", " + string(c.Symptom)
	}
	if c.Fault > 0 {
		s += ", fault " + strconv.Itoa(c.Fault)
	}
	return s
}

func savedOf(v *job.View, seq string) *saved {
	n, err := strconv.ParseInt(seq, 10, 64)
	if err != nil {
		return nil
	}
	for _, e := range v.Entries {
		if e.Seq == n {
			out := &saved{Seq: n, Text: e.Ref + ", " + entryLine(v, e), Undo: !e.Withdraw && v.CorrectedBy(n) == nil}
			if e.Reading != nil {
				out.Open, out.How, out.Spoken = v.CannotTell(*e.Reading), e.Remark, spoken(v, *e.Reading)
			}
			return out
		}
	}
	return nil
}

func lastSeq(v *job.View) int64 {
	if len(v.Entries) == 0 {
		return 0
	}
	return v.Entries[len(v.Entries)-1].Seq
}

func parseCase(s string) (measure.CaseState, error) {
	for _, c := range cases {
		if c.Value == s {
			return measure.CaseState(s), nil
		}
	}
	return "", &job.InvalidError{Field: "case state", Value: s, Problem: "is not one a bench knows", Nearest: []string{"closed", "propped", "open"}}
}

// goTo answers a write: see the page again, with what was kept named on it.
func goTo(w http.ResponseWriter, r *http.Request, to string, e job.Entry) error {
	http.Redirect(w, r, savedAt(to, e), http.StatusSeeOther)
	return nil
}

func savedAt(to string, e job.Entry) string {
	u, err := url.Parse(to)
	// Only a path of our own: a form field must not send anyone elsewhere.
	if err != nil || u.Host != "" || u.Scheme != "" || len(u.Path) == 0 || u.Path[0] != '/' {
		u = &url.URL{Path: "/jobs/" + e.Job}
	}
	q := u.Query()
	q.Set("saved", strconv.FormatInt(e.Seq, 10))
	u.RawQuery = q.Encode()
	return u.String()
}
