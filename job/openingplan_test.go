package job_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/teardown"
)

func openings(t testing.TB, b *job.Bench, id string, opt job.OpeningOptions) *teardown.Plan {
	t.Helper()
	p, _, err := b.Openings(t.Context(), id, opt)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// ofKind are the tasks of a plan of a kind, in the order in which they are done, with the
// optional ones that are left.
func ofKind(p *teardown.Plan, prefix string) (done, left []string) {
	for _, v := range p.Visits {
		for _, id := range v.Tasks {
			if strings.HasPrefix(id, prefix) {
				done = append(done, id)
			}
		}
	}
	for _, d := range p.Decisions {
		if strings.HasPrefix(d.Task, prefix) && !d.Now {
			left = append(left, d.Task)
		}
	}
	return done, left
}

// weakGroup is a job whose tracks of one record group are weak, with all gates seen to.
func weakGroup(t testing.TB, b *job.Bench) job.Job {
	t.Helper()
	j := openJob(t, b)
	for _, k := range []string{"1", "3", "5"} {
		rec(t, b, j.ID, job.Entry{Check: &job.Check{Function: "record-play", Key: k, Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}})
	}
	for _, g := range gates {
		rec(t, b, j.ID, gate(g))
	}
	return j
}

// What settles the suspects and the line-up share one opening; suspects of little
// probability and cleaning are decided by what they cost now and later.
func TestOneOpeningForAll(t *testing.T) {
	// The advice is given, so that this holds whatever the diagnosis makes of the checks.
	b, _, _ := bench(t, job.BenchOptions{Advise: func(context.Context, *diagnosis.Engine, diagnosis.Evidence, diagnosis.Situation) (*diagnosis.Advice, error) {
		return &diagnosis.Advice{
			Suspects: []diagnosis.SuspectStage{{Stage: "C31", Track: "a", Part: "C31-a", Mode: machine.Weak, Probability: 0.12}},
			Actions: []diagnosis.Step{{ID: "reading/TP21/a", Kind: diagnosis.StepReading, TestPoint: "TP21", Key: "a", Minutes: 10,
				Text: "Read TP21-a", Opening: "squeeze", Open: []string{"lid", "squeeze"}}},
		}, nil
	}})
	j := weakGroup(t, b)
	p := openings(t, b, j.ID, job.OpeningOptions{})
	if len(p.Visits) != 1 || p.Visits[0].Openings[0] != "lid" || !p.Proved {
		t.Fatalf("%d visits, proved %t; want one through the lid", len(p.Visits), p.Proved)
	}
	settled, _ := ofKind(p, "settle ")
	set, _ := ofKind(p, "set ")
	if len(settled) != 1 {
		t.Fatalf("settle %v, want the reading", settled)
	}
	if !slices.Contains(set, "set trap/L7/1") || !slices.Contains(set, "set bias_frequency/VRo") {
		t.Errorf("settle %v, set %v; want one reading, and the trims that wait for nothing else", settled, set)
	}
	if at := slices.Index(p.Visits[0].Tasks, settled[0]); at > slices.Index(p.Visits[0].Tasks, "set trap/L7/1") {
		t.Error("the line-up comes before what settles the suspects")
	}
	if slices.Contains(set, "set level/VRa/1") {
		t.Error("play level is planned, and the transport was not found steady yet")
	}
	_, left := ofKind(p, "fix ")
	_, dirty := ofKind(p, "clean ")
	if len(left) == 0 || len(dirty) == 0 {
		t.Errorf("left %v and %v, want suspects and cleaning that are not worth it now", left, dirty)
	}
	for _, d := range p.Decisions {
		if d.Text == "" || d.Chance <= 0 || d.Chance >= 1 {
			t.Errorf("decision without its figures: %+v", d)
		}
	}
	// It plans from what is open, and what a person adds or leaves out.
	rec(t, b, j.ID, opened("squeeze"))
	again := openings(t, b, j.ID, job.OpeningOptions{NoPreventive: true, Without: []string{"set erase/9.525/1"},
		Tasks: []teardown.Task{{ID: "belt", Text: "new belt", Kind: teardown.Preventive, Needs: []string{"belt"}, Minutes: 25, Power: teardown.Off}}})
	if again.Cost.Opening != p.Cost.Opening-11+14+6 { // minutes of lid and squeeze, which are open; of transport and belt
		t.Errorf("opening takes %g min, before %g", float64(again.Cost.Opening), float64(p.Cost.Opening))
	}
	if set, _ := ofKind(again, "set erase"); len(set) > 0 {
		t.Errorf("%v is planned though it was left out", set)
	}
	if done, left := ofKind(again, "clean "); len(done)+len(left) > 0 {
		t.Errorf("cleaning is planned: %v %v", done, left)
	}
}

// A suspect that is surely at fault is cured, and before anything is lined up; one that may
// be is decided by what it costs now and later.
func TestASureFaultIsCuredFirst(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{Advise: func(context.Context, *diagnosis.Engine, diagnosis.Evidence, diagnosis.Situation) (*diagnosis.Advice, error) {
		return &diagnosis.Advice{Stop: diagnosis.Stop{Reached: true}, Suspects: []diagnosis.SuspectStage{
			{Stage: "C31", Track: "a", Part: "C31-a", Mode: machine.Weak, Probability: 0.93},
			{Stage: "U12", Track: "a", Part: "U12-a", Mode: machine.Weak, Probability: 0.5},
			{Stage: "U11", Track: "a", Part: "U11-a", Mode: machine.Weak, Probability: 0.02},
		}}, nil
	}})
	j := weakGroup(t, b)
	p := openings(t, b, j.ID, job.OpeningOptions{})
	done, left := ofKind(p, "fix ")
	if !slices.Contains(done, "fix C31-a") || slices.Contains(append(done, left...), "fix U11-a") {
		t.Errorf("cured %v, left %v; want C31-a cured, and nothing of U11-a", done, left)
	}
	// Beside C31-a on the same board it costs its own work only, less than a later visit.
	if !slices.Contains(done, "fix U12-a") {
		t.Errorf("U12-a, at fault with 50 %%, is left: %v", p.Decisions)
	}
	var tasks []string
	for _, v := range p.Visits {
		tasks = append(tasks, v.Tasks...)
	}
	if slices.Index(tasks, "fix C31-a") > slices.Index(tasks, "set bias_frequency/VRo") {
		t.Errorf("lined up before it is cured: %v", tasks)
	}
	if len(p.Visits[0].Preparation.Parts) == 0 {
		t.Error("no part to have ready")
	}
}

// The work that the advice would do next is planned, however unsure it is.
func TestTheNextWorkIsPlanned(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{Advise: func(context.Context, *diagnosis.Engine, diagnosis.Evidence, diagnosis.Situation) (*diagnosis.Advice, error) {
		return &diagnosis.Advice{Stop: diagnosis.Stop{Reached: true}, Suspects: []diagnosis.SuspectStage{
			{Stage: "C31", Track: "a", Part: "C31-a", Mode: machine.Weak, Probability: 0.3},
			{Stage: "PN", Track: "5", Part: "PN-5", Mode: machine.Noisy, Probability: 0.2},
		}, Actions: []diagnosis.Step{{ID: "repair/C31/a", Kind: diagnosis.StepRepair, Stage: "C31", Key: "a", Open: []string{"lid", "tape-board"}}}}, nil
	}})
	j := openJob(t, b)
	p := openings(t, b, j.ID, job.OpeningOptions{NoPreventive: true})
	if done, left := ofKind(p, "fix "); !slices.Contains(done, "fix C31-a") || !slices.Contains(left, "fix PN-5") {
		t.Errorf("cured %v, left %v; want C31-a cured, as the advice says, and PN-5 left", done, left)
	}
}

// Flat cables wear by being plugged in: the record counts.
func TestInsertionsAreCountedFromTheRecord(t *testing.T) {
	def, _ := machine.Builtin(hexastrand)
	b, _, _ := bench(t, job.BenchOptions{})
	j := weakGroup(t, b)
	belt := job.OpeningOptions{NoPreventive: true, Tasks: []teardown.Task{{ID: "jacks", Text: "wash the sockets", Kind: teardown.Preventive, Needs: []string{"gully"}, Minutes: 5, Power: teardown.Off}}}
	soFar := func() map[string]int {
		out := map[string]int{}
		for _, v := range openings(t, b, j.ID, belt).Visits {
			for _, n := range v.Preparation.Insertions {
				out[n.Connector] = n.SoFar
			}
		}
		return out
	}
	before := soFar()
	if len(before) == 0 {
		t.Fatal("the jack rail parts no flat cable")
	}
	for range 3 {
		rec(t, b, j.ID, opened("gully"))
		rec(t, b, j.ID, putBack("gully"))
	}
	gully, _ := def.Opening("gully")
	for c, n := range soFar() {
		want := before[c]
		if slices.Contains(gully.Disconnects, c) {
			want += 3
		}
		if n != want {
			t.Errorf("%s was plugged in %d times, want %d", c, n, want)
		}
	}
}

func TestOpeningsThatAreRefused(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	_, _, err := b.Openings(t.Context(), j.ID, job.OpeningOptions{})
	if e, ok := errors.AsType[*job.NoTasksError](err); !ok || e.Hint() == "" {
		t.Errorf("a new job: %v, want NoTasksError", err)
	}
	if _, _, err := b.Openings(t.Context(), "job-0009", job.OpeningOptions{}); !isNotFound(err) {
		t.Errorf("%v, want NotFoundError", err)
	}
	rec(t, b, j.ID, gate("path_clean"))
	for _, g := range gates {
		rec(t, b, j.ID, gate(g))
	}
	if _, _, err := b.Openings(t.Context(), j.ID, job.OpeningOptions{Without: []string{"set trap/L7/2"}}); !isInvalid(err) || !strings.Contains(err.Error(), "set trap/L7/1") {
		t.Errorf("%v, want InvalidError with the nearest task", err)
	}
	_, _, err = b.Openings(t.Context(), j.ID, job.OpeningOptions{Tasks: []teardown.Task{{ID: "x", Kind: teardown.Fix, Needs: []string{"lit"}}}})
	if _, ok := errors.AsType[*teardown.TaskError](err); !ok {
		t.Errorf("%v, want TaskError", err)
	}
}
