package web

import (
	"context"
	"fmt"
	"net/http"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
)

// step is one of the seven steps of a job, with what is open in it.
type step struct {
	Name string
	Href string // empty: the step has no page of its own
	Here bool
	Open int    // how many things are open
	What string // of what: "to try or capture"
	Done bool   // nothing is open
	Dark bool   // nothing is known yet: no count would be true
}

// stepsOf counts what is open in each step. A count says what the record lacks;
// it does not say that the rest is right. due are the steps of the line-up that are due or
// stale; nil where that is not known.
func stepsOf(v *job.View, verdict *diagnosis.Verdict, due *int, here string) []step {
	root := "/jobs/" + v.Job.ID
	tried, captures := 0, 0
	for _, it := range v.Sheet {
		if openItem(it.Latest) {
			tried++
		}
	}
	for _, f := range v.Functions {
		if openItem(f.Latest) {
			tried++
		}
	}
	for _, e := range v.Current {
		if e.Capture != nil {
			captures++
		}
	}
	asFound := tried
	if captures == 0 {
		asFound++
	}
	// No suspects is not the same as nothing to find: what is not known stays open.
	find := step{Name: "find", Href: root + "/path", Here: here == "path"}
	faults := 0
	dark := verdict == nil || len(v.Current) == 0
	if !dark {
		suspects, _, unknown := tally(verdict)
		find.Open, find.What = len(suspects), word(len(suspects), "suspect", "suspects")
		if len(suspects) == 0 {
			find.Open, find.What = unknown, "not known"
		}
		if len(verdict.Explanations) > 0 && verdict.PFaultFree < 0.5 {
			faults = len(verdict.Explanations[0].Faults)
		}
	}
	steps := []step{
		{Name: "intake", Href: root + "/intake", Here: here == "intake", Open: intakeOpen(v.Job) + unseen(intakeList(v)), What: "to see to"},
		{Name: "as found", Href: root + "/sheet", Here: here == "sheet" || here == "captures", Open: asFound, What: "to try or capture"},
		find,
		{Name: "fix", Href: root + "/works", Here: here == "works" || here == "openings", Open: faulty(v) + faults, What: word(faulty(v)+faults, "fault", "faults")},
		{Name: "line up", Href: root + "/line-up", Here: here == "line-up", Dark: due == nil},
		{Name: "prove", Href: root + "/prove", Here: here == "prove", Open: btoi(!closedAgain(v)), What: "closed-case capture"},
		{Name: "hand over", Href: root + "/hand-over", Here: here == "hand-over", Open: 1, What: "report"},
	}
	if due != nil {
		steps[4].Open, steps[4].What = *due, word(*due, "step due", "steps due")
	}
	steps[2].Dark, steps[3].Dark = dark, dark && steps[3].Open == 0
	for i := range steps {
		if steps[i].Open == 0 && !steps[i].Dark {
			steps[i].Done, steps[i].What = true, "open"
		}
	}
	return steps
}

// closedAgain reports whether the last word is a capture with the case closed,
// after something was recorded with it propped or open. The closed-case capture
// of the as-found state proves nothing about the work.
func closedAgain(v *job.View) bool {
	opened, again := false, false
	for _, e := range v.Current {
		switch e.Case {
		case measure.CasePropped, measure.CaseOpen:
			opened, again = true, false
		case measure.CaseClosed:
			again = again || opened && e.Capture != nil
		}
	}
	return again
}

func openItem(e *job.Entry) bool {
	return e == nil || e.Check == nil || e.Check.Outcome == diagnosis.NotTried
}

func intakeOpen(j job.Job) int {
	return btoi(j.Serial == "") + btoi(j.Owner == "") + btoi(j.Claim == "") + btoi(j.Case == measure.CaseUnknown)
}

// faulty counts the controls found faulty or intermittent. Functions are not
// counted: their cause is what the leading explanation names.
func faulty(v *job.View) int {
	n := 0
	for _, it := range v.Sheet {
		if it.Latest != nil && it.Latest.Check != nil {
			switch it.Latest.Check.Outcome {
			case diagnosis.Faulty, diagnosis.Intermittent:
				n++
			}
		}
	}
	return n
}

// newLineUps keeps line-ups for the count of their steps. What other jobs of the type show of
// the open case moves a target by little, and is left for the next entry.
func newLineUps() *thoughts[*job.LineUp] {
	return &thoughts[*job.LineUp]{doing: "lining up", id: func(v *job.View) string { return fmt.Sprint(lastSeq(v)) },
		think: func(ctx context.Context, b Bench, jobID string) (*job.LineUp, *job.View, error) {
			return b.LineUp(ctx, jobID)
		}}
}

// stepsDue counts the steps of the line-up that are due or stale; nil where there is no
// line-up, or none yet.
func (s *server) stepsDue(r *http.Request, v *job.View) *int {
	var l *job.LineUp
	var err error
	if s.patience(r) == 0 {
		l, err = s.lineUps.peek(v)
	} else {
		wait, cancel := context.WithTimeout(r.Context(), s.patience(r))
		defer cancel()
		l, err = s.lineUps.within(r.Context(), wait, s.bench, v)
	}
	if err != nil {
		return nil
	}
	n := 0
	for _, x := range l.Status.Steps {
		n += btoi(x.State == lineup.StateDue || x.State == lineup.StateStale)
	}
	return &n
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func word(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
