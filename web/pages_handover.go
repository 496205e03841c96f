package web

import (
	"context"
	"net/http"
	"net/url"

	"headstack/job"
)

type handOverModel struct {
	jobData
	Opens  []openThing
	Blocks int // of the closing proof
	Closed *job.Entry
	Faults []job.FaultFound
}

func (s *server) handOverPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.jobData(r, "hand-over", "Hand over")
	if err != nil {
		return err
	}
	m := handOverModel{jobData: d, Faults: d.View.Faults()}
	root := jobRoot(d.View)
	left := 0
	for _, it := range d.View.Sheet {
		left += btoi(openItem(it.Latest))
	}
	if left > 0 {
		m.Opens = append(m.Opens, openThing{outcomeMark(""), plural(left, "control was", "controls were") + " not tried; the report says so", root + "/sheet", "check sheet"})
	}
	m.Opens = append(m.Opens, unproved(&d)...)
	l, _, err := s.bench.LineUp(r.Context(), d.View.Job.ID)
	if _, none := asNoLineUp(err); err != nil && !none {
		return err
	}
	if l != nil && l.Proof != nil {
		m.Blocks = len(l.Proof.Blocks)
		if m.Blocks > 0 {
			m.Opens = append(m.Opens, openThing{shape{"stale", "◱", "not proved"}, plural(m.Blocks, "step", "steps") + " of the closing proof", root + "/prove#proof", "prove"})
		}
	}
	for i := range d.View.Current {
		if d.View.Current[i].Closing != nil {
			m.Closed = &d.View.Current[i]
		}
	}
	return render(w, http.StatusOK, "handover", m)
}

// DemoFunc makes a job of an invented recorder on the bench that is served, and returns
// its id.
type DemoFunc func(ctx context.Context) (jobID string, err error)

// makeDemo makes the demo job on an empty bench; one with jobs is left as it is.
func (s *server) makeDemo(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Demo == nil {
		return &pageError{status: http.StatusNotFound, title: "This bench makes no demo", hint: "Stop it and run headstack demo in an empty folder.", kept: "Nothing was written."}
	}
	jobs, err := s.bench.Jobs(r.Context())
	if err != nil {
		return err
	}
	if len(jobs) > 0 {
		return &pageError{status: http.StatusConflict, title: "The bench has jobs already", hint: "The demo is made on an empty bench, so that invented figures never stand among real ones.", kept: "Nothing was written."}
	}
	id, err := s.opt.Demo(r.Context())
	if err != nil {
		return err
	}
	http.Redirect(w, r, "/jobs/"+url.PathEscape(id)+"/intake", http.StatusSeeOther)
	return nil
}
