package web

import (
	"errors"
	"net/http"
	"time"

	"headstack/job"
	"headstack/report"
)

// pastJob is another job of the same machine.
type pastJob struct {
	ID, Claim string
	Opened    time.Time
	Captures  int
}

// pastJobs are the other jobs of a job's machine, the last opened first.
func (s *server) pastJobs(r *http.Request, j job.Job) ([]pastJob, error) {
	list, err := s.bench.SameMachine(r.Context(), j.ID)
	if err != nil {
		return nil, err
	}
	var out []pastJob
	for i := len(list) - 1; i >= 0; i-- {
		if o := list[i]; o.ID != j.ID {
			out = append(out, pastJob{o.ID, o.Claim, o.Opened, o.Captures})
		}
	}
	return out, nil
}

type wearModel struct {
	jobData
	Wear report.WearText
	// WearWorking says that it is still being worked out.
	WearWorking bool
	Past        []pastJob
}

// wearPage shows how the heads of a job's machine changed over its jobs.
func (s *server) wearPage(w http.ResponseWriter, r *http.Request) error {
	d, err := s.jobData(r, "wear", "Wear")
	if err != nil {
		return err
	}
	m := wearModel{jobData: d}
	if m.Past, err = s.pastJobs(r, d.View.Job); err != nil {
		return err
	}
	wear, err := s.wears.within(r.Context(), s.bench, d.View.Job.ID, s.patience(r))
	switch {
	case errors.Is(err, errWorking):
		m.WearWorking = true
	case err != nil:
		return err
	default:
		m.Wear = report.WearOf(wear, "w-")
	}
	return render(w, http.StatusOK, "wear", m)
}

// apiWear answers with the wear of a job's machine.
func (s *server) apiWear(w http.ResponseWriter, r *http.Request) error {
	wear, err := s.bench.Wear(r.Context(), r.PathValue("job"))
	if err != nil {
		return err
	}
	return sendJSON(w, http.StatusOK, wear)
}
