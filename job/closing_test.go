package job_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/jobtest"
	"headstack/learn"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

func keep(t testing.TB, b *job.Bench, id string, e job.Entry) job.Entry {
	t.Helper()
	got, err := b.Record(t.Context(), id, e)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func closing(t testing.TB, b *job.Bench, id string, faults ...job.ClosedFault) job.Entry {
	t.Helper()
	return keep(t, b, id, job.Entry{Closing: &job.Closing{Complaint: []diagnosis.Symptom{"thin"}, Faults: faults}})
}

func camein(t testing.TB, b *job.Bench, serial string) job.Job {
	t.Helper()
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: hexastrand, Serial: serial})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

var c31a = job.ClosedFault{Stage: "C31", Key: "a", Cause: "open", Proven: true, Work: diagnosis.WorkRepair}

func counts(t testing.TB, b *job.Bench) *learn.Machines {
	t.Helper()
	c, err := b.Counts(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c.Of(hexastrand)
}

// TestProposeClosing: what the record suggests: the complaint, the repair with the cause
// that its remark names, the cleaning after which a function worked again, and not the one
// after which nothing changed.
func TestProposeClosing(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := camein(t, b, "1")
	check := func(f, key string, o diagnosis.Outcome, s diagnosis.Symptom) {
		keep(t, b, j.ID, job.Entry{Case: measure.CaseClosed, Check: &job.Check{Function: f, Key: key, Outcome: o, Symptom: s}})
	}
	check("record-play", "1", diagnosis.Faulty, diagnosis.SymptomThin)
	check("play", "4", diagnosis.Intermittent, "")
	keep(t, b, j.ID, job.Entry{Remark: "open at one end, replaced", Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31-a"}})
	keep(t, b, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkClean, Stage: "H-4"}})
	keep(t, b, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkClean, Stage: "H-2"}})
	check("play", "4", diagnosis.Works, "")
	check("record-play", "1", diagnosis.Works, "")
	got, _, err := b.ProposeClosing(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	want := job.Closing{Complaint: []diagnosis.Symptom{"thin", "intermittent"}, Faults: []job.ClosedFault{c31a,
		{Stage: "H", Key: "4", Work: diagnosis.WorkClean}}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	e := keep(t, b, j.ID, job.Entry{Closing: &got})
	v, err := b.View(t.Context(), j.ID)
	if err != nil || v.Closing() == nil || e.Ref != "closing 1" {
		t.Fatalf("not closed: %v, %s", err, e.Ref)
	}
	if text := v.Closing().Closing.Text(v.Def); text != "closed: C31-a (open), H-4 (cure unproven); complaint: thin, intermittent" {
		t.Error(text)
	}
	if c := counts(t, b).Cures; c["clean"].Unproven != 1 || c["repair"].Proven != 1 {
		t.Errorf("cures: %+v", c)
	}
}

// TestProposeAsksTheDiagnosis where the remark names no cause.
func TestProposeAsksTheDiagnosis(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := camein(t, b, "1")
	for _, k := range []string{"1", "3", "5"} {
		keep(t, b, j.ID, job.Entry{Case: measure.CaseClosed, Check: &job.Check{Function: "record-play", Key: k, Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomThin}})
		keep(t, b, j.ID, job.Entry{Case: measure.CaseClosed, Check: &job.Check{Function: "play", Key: k, Outcome: diagnosis.Works}})
	}
	keep(t, b, j.ID, job.Entry{Case: measure.CaseOpen, Reading: &job.Reading{TestPoint: "TP21-a", Value: 64, Unit: "mV", ToneHz: 63}})
	keep(t, b, j.ID, job.Entry{Case: measure.CaseOpen, Reading: &job.Reading{TestPoint: "TP21-b", Value: 1.26, Unit: "V", ToneHz: 63}})
	keep(t, b, j.ID, job.Entry{Remark: "replaced", Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31-a"}})
	got, _, err := b.ProposeClosing(t.Context(), j.ID)
	if err != nil || len(got.Faults) != 1 || got.Faults[0].Cause != "dried out: capacitance lost" {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestClosingsThatAreRefused(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := camein(t, b, "1")
	for name, c := range map[string]job.Closing{
		"stage":     {Faults: []job.ClosedFault{{Stage: "C99"}}},
		"cause":     {Faults: []job.ClosedFault{{Stage: "C31", Key: "a", Cause: "moth"}}},
		"twice":     {Faults: []job.ClosedFault{{Stage: "C31", Key: "a"}, {Stage: "C31-a"}}},
		"work":      {Faults: []job.ClosedFault{{Stage: "C31", Key: "a", Work: "wish"}}},
		"complaint": {Complaint: []diagnosis.Symptom{"sad"}},
		"itself":    {Returned: j.ID},
	} {
		if _, err := b.Record(t.Context(), j.ID, job.Entry{Closing: &c}); err == nil {
			t.Errorf("%s: kept", name)
		} else if _, ok := errors.AsType[*job.InvalidError](err); !ok {
			t.Errorf("%s: %v", name, err)
		}
	}
	first := closing(t, b, j.ID, c31a)
	if _, err := b.Record(t.Context(), j.ID, job.Entry{Closing: &job.Closing{}}); err == nil || !strings.Contains(err.Error(), "closed already, by closing 1") {
		t.Errorf("closed twice: %v", err)
	}
	if n := counts(t, b); n.Closed != 1 || n.Stages["C31"].Causes["open"].Faults != 1 {
		t.Errorf("%+v", n.Stages["C31"])
	}
	// Put right: the correction counts, and the job stays closed once.
	fixed, err := b.Correct(t.Context(), j.ID, first.Seq, job.Entry{Closing: &job.Closing{Faults: []job.ClosedFault{{Stage: "c31-B", Cause: "OPEN", Proven: true}}}})
	if err != nil {
		t.Fatal(err)
	}
	if f := fixed.Closing.Faults[0]; f.Stage != "C31" || f.Key != "b" || f.Cause != "open" || f.Work != diagnosis.WorkRepair {
		t.Errorf("%+v", f)
	}
	if n := counts(t, b); n.Closed != 1 {
		t.Errorf("%d machines", n.Closed)
	}
	// Taken back: the job is open again and counts for nothing.
	if _, err := b.Withdraw(t.Context(), j.ID, fixed.Seq, "it hums"); err != nil {
		t.Fatal(err)
	}
	if n := counts(t, b); n.Closed != 0 {
		t.Errorf("%d machines after reopening", n.Closed)
	}
	closing(t, b, j.ID)
	if n := counts(t, b); n.Closed != 1 || n.Stages["C31"].Machines != 0 {
		t.Errorf("closed anew: %+v", n)
	}
}

// TestAMachineThatComesBack is one machine, whose first cure did not hold.
func TestAMachineThatComesBack(t *testing.T) {
	now := jobtest.Clock
	b, _, _ := bench(t, job.BenchOptions{Now: func() time.Time { now = now.Add(time.Second); return now }})
	first := camein(t, b, "HX 7")
	closing(t, b, first.ID, job.ClosedFault{Stage: "H", Key: "4", Work: diagnosis.WorkClean}, c31a)
	now = now.Add(12 * 24 * time.Hour)
	second := camein(t, b, "hx 8")
	if c, _, err := b.ProposeClosing(t.Context(), second.ID); err != nil || c.Returned != "" {
		t.Errorf("another serial number: %+v, %v", c, err)
	}
	second = camein(t, b, "hx 7")
	c, _, err := b.ProposeClosing(t.Context(), second.ID)
	if err != nil || c.Returned != first.ID {
		t.Fatalf("%+v, %v; want it returned from %s", c, err, first.ID)
	}
	c.Faults = []job.ClosedFault{{Stage: "H", Key: "4", Cause: "worn flat", Proven: true, Work: diagnosis.WorkRepair}}
	c.Faults[0].Cause = job.Causes(machineOf(t), "H")[0]
	keep(t, b, second.ID, job.Entry{Closing: &c})
	m := counts(t, b)
	if m.Closed != 1 || m.Stages["H"].Unproven != 0 || m.Stages["H"].Faults() != 1 || m.Stages["C31"].Machines != 1 {
		t.Errorf("%d machines, heads %+v", m.Closed, m.Stages["H"])
	}
	if got := m.Cures["clean"]; got != (learn.Cures{Unproven: 1, UnprovenBack: 1}) {
		t.Errorf("cleanings %+v", got)
	}
	if got := m.Cures["repair"]; got != (learn.Cures{Proven: 2, ProvenBack: 1}) {
		t.Errorf("repairs %+v", got)
	}
	now = now.Add(400 * 24 * time.Hour)
	third := camein(t, b, "hx 7")
	if c, _, err := b.ProposeClosing(t.Context(), third.ID); err != nil || c.Returned != "" {
		t.Errorf("after a year it is another passage: %+v, %v", c, err)
	}
}

func machineOf(t testing.TB) *machine.Definition {
	t.Helper()
	d, ok := machine.Builtin(hexastrand)
	if !ok {
		t.Fatal("no hexastrand")
	}
	return d
}

// TestWhatARecordTallies: wrong readings by kind, wrong checks, minutes, by hand.
func TestWhatARecordTallies(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := camein(t, b, "1")
	read := func(point, setting string, value float64, u string) job.Entry {
		return keep(t, b, j.ID, job.Entry{Case: measure.CaseOpen, Minutes: 2, Reading: &job.Reading{TestPoint: point, Value: value, Unit: u, Setting: setting}})
	}
	correct := func(e job.Entry, value float64, u string) {
		r := *e.Reading
		r.Value, r.Unit = value, u
		if _, err := b.Correct(t.Context(), j.ID, e.Seq, job.Entry{Reading: &r}); err != nil {
			t.Fatal(err)
		}
	}
	correct(read("TP10-1", "1", 38, "V"), 38, "mV")   // 1000 times too large
	correct(read("TP10-2", "1", 380, "mV"), 38, "mV") // the point
	correct(read("TP10-3", "1", 38, "mV"), 42, "mV")  // mistyped
	correct(read("TP10-4", "1", 38, "mV"), 38, "mV")  // nothing wrong with the value
	gone := read("TP10-5", "1", 3, "mV")
	if _, err := b.Withdraw(t.Context(), j.ID, gone.Seq, "slipped"); err != nil {
		t.Fatal(err)
	}
	read("TP10-6", "1", 3, "mV") // contradicted by the next
	read("TP10-6", "2", 38, "mV")
	read("TP10-6", "2", 39, "mV")
	read("TP11-1", "1", 100, "mV") // agrees
	read("TP11-1", "2", 110, "mV")
	check := keep(t, b, j.ID, job.Entry{Check: &job.Check{Function: "play", Key: "1", Outcome: diagnosis.Faulty}, Minutes: 3})
	if _, err := b.Correct(t.Context(), j.ID, check.Seq, job.Entry{Check: &job.Check{Function: "play", Key: "1", Outcome: diagnosis.Works}, Minutes: 3}); err != nil {
		t.Fatal(err)
	}
	keep(t, b, j.ID, job.Entry{Check: &job.Check{Function: "play", Key: "2", Outcome: diagnosis.Works}})
	keep(t, b, j.ID, job.Entry{Remark: "open", Minutes: 25, Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31-a"}})
	keep(t, b, j.ID, job.Entry{Minutes: 6, Work: &job.Work{Kind: diagnosis.WorkClean, Stage: "H-4"}})
	closing(t, b, j.ID, c31a)
	m := counts(t, b)
	want := learn.Tally{Taken: 10, Wrong: map[string]int{learn.TooLarge: 1, learn.DecimalPoint: 1, learn.Mistyped: 1, learn.Withdrawn: 1, learn.Contradicted: 1}}
	if diff := cmp.Diff(want, m.Readings); diff != "" {
		t.Errorf("readings (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(learn.Tally{Taken: 2, Wrong: map[string]int{learn.SaidFaulty: 1}}, m.Checks); diff != "" {
		t.Errorf("checks (-want +got):\n%s", diff)
	}
	if n := m.Minutes; n.Reading.N != 5 || n.Checks["play"] != learn.LogOf(3) || n.Works["clean"] != learn.LogOf(6) || n.Repairs["coupling-capacitor"]["open"] != learn.LogOf(25) {
		t.Errorf("minutes: %+v", n)
	}
}

func TestMinutesOfOpenings(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := camein(t, b, "1")
	open := func(id string, closed bool, minutes float64) {
		keep(t, b, j.ID, job.Entry{Minutes: unit.Minutes(minutes), Opening: &job.Opening{Opening: id, Closed: closed}})
	}
	open("lid", false, 4)
	open("lid", true, 5)
	open("squeeze", false, 20) // the lid on the way: two at once tell of neither
	open("lid", true, 20)
	closing(t, b, j.ID)
	m := counts(t, b).Minutes
	if len(m.Down) != 1 || m.Down["lid"] != learn.LogOf(4) || len(m.Up) != 1 || m.Up["lid"] != learn.LogOf(5) {
		t.Errorf("down %+v, up %+v", m.Down, m.Up)
	}
}

// TestPriorsReachTheVerdict: after six machines with C31 at fault the seventh's verdict
// gives it more, and says so; that of a closed job leaves its own machine out.
func TestPriorsReachTheVerdict(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	thin := func() job.Job {
		j := camein(t, b, "")
		keep(t, b, j.ID, job.Entry{Case: measure.CaseClosed, Check: &job.Check{Function: "record-play", Key: "1", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomThin}})
		return j
	}
	chance := func(id string) (float64, string) {
		v, _, err := b.Diagnose(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range v.Stages {
			if s.Stage == "C31" && s.Key == "a" {
				return s.P, strings.Join(v.Sentences, "\n")
			}
		}
		t.Fatal("no C31-a")
		return 0, ""
	}
	probe := thin()
	before, text := chance(probe.ID)
	if strings.Contains(text, "riors from") {
		t.Errorf("nothing was closed, and the verdict says: %s", text)
	}
	var jobs []job.Job
	for i := range 6 {
		j := thin()
		var f []job.ClosedFault
		if i < 4 {
			f = append(f, c31a)
		}
		closing(t, b, j.ID, f...)
		jobs = append(jobs, j)
	}
	after, text := chance(probe.ID)
	if !(after > before) || !strings.Contains(text, "Priors from 6 machines of this type; ") || !strings.Contains(text, "C31: at fault in 4 of 6 machines of this type") {
		t.Errorf("%.3f before, %.3f after: %s", before, after, text)
	}
	if own, text := chance(jobs[0].ID); !(own < after) || !strings.Contains(text, "C31: at fault in 3 of 5 machines") {
		t.Errorf("a closed job counts itself: %.3f, others %.3f: %s", own, after, text)
	}
	a, _, err := b.Advise(t.Context(), probe.ID)
	if err != nil {
		t.Fatal(err)
	}
	said := false
	for _, s := range a.Suspects {
		said = said || strings.Contains(s.Why, "C31: at fault in 4 of 6 machines of this type.")
	}
	if !said {
		t.Errorf("the advice does not say it: %+v", a.Suspects)
	}
	t.Logf("C31-a: %.3f with the definition's priors, %.3f after 4 of 6 machines", before, after)
}

func TestExportAndMerge(t *testing.T) {
	ours, _, _ := bench(t, job.BenchOptions{})
	theirs, _, _ := bench(t, job.BenchOptions{})
	both, _, _ := bench(t, job.BenchOptions{})
	for i, b := range []*job.Bench{ours, theirs, theirs} {
		for _, to := range []*job.Bench{b, both} {
			j, err := to.OpenJob(t.Context(), job.NewJob{Definition: hexastrand, Serial: "secret 99", Owner: "a theatre", Claim: "never again"})
			if err != nil {
				t.Fatal(err)
			}
			f := c31a
			f.Key = []string{"a", "b", "a"}[i]
			keep(t, to, j.ID, job.Entry{Remark: "private", Minutes: 7, Closing: &job.Closing{Faults: []job.ClosedFault{f}}})
		}
	}
	own := func(b *job.Bench) []byte {
		c, err := b.OwnCounts(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return c.Encode()
	}
	file := own(theirs)
	for _, word := range []string{"secret", "theatre", "never", "private", "2031"} {
		if strings.Contains(string(file), word) {
			t.Errorf("the file holds %q", word)
		}
	}
	for n := range 3 {
		f, again, err := ours.MergeCounts(t.Context(), "theirs.json", append(file, "  \n"[:n]...)) // another layout of the same counts
		if err != nil || again != (n > 0) || f.Counts.Machines() != 2 {
			t.Fatalf("merge %d: %+v, again %v, %v", n, f, again, err)
		}
	}
	all, err := ours.Counts(t.Context())
	if err != nil || string(all.Encode()) != string(own(both)) {
		t.Errorf("merged counts are not those of all machines together: %v\n%s", err, all.Encode())
	}
	if n := len(own(ours)); n == len(all.Encode()) && string(own(ours)) == string(all.Encode()) {
		t.Error("the export holds what was merged, so that it would count twice elsewhere")
	}
	if _, _, err := theirs.MergeCounts(t.Context(), "own.json", file); err == nil {
		t.Error("a bench took its own counts in")
	}
	if _, _, err := ours.MergeCounts(t.Context(), "x.json", []byte("{}")); err == nil {
		t.Error("took an empty object in")
	}
	if _, err := ours.Found(t.Context(), hexastrand); err != nil {
		t.Error(err)
	}
}

// TestASimulatedShop closes the jobs of 300 machines, drawn with a capacitor that fails
// ten times as often as the definition says, and a relay that never does.
func TestASimulatedShop(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	rng := rand.New(rand.NewPCG(1, 9))
	d := machineOf(t)
	const n, p = 300, 0.1
	found := 0
	for range n {
		j := camein(t, b, "")
		var faults []job.ClosedFault
		for _, key := range []string{"a", "b"} {
			if rng.Float64() < p {
				f := c31a
				f.Key = key
				faults = append(faults, f)
				found++
			}
		}
		closing(t, b, j.ID, faults...)
	}
	f, err := b.Found(t.Context(), hexastrand)
	if err != nil {
		t.Fatal(err)
	}
	prior := func(def *machine.Definition, id string) float64 {
		s, _ := def.Stage(id)
		p, _ := def.FaultModes(s)
		return p
	}
	// The mean of the posterior: bias 20/320·(0.01−0.1), and four standard errors.
	want, sd := (20*0.01+n*p)/(20+n), math.Sqrt(p*(1-p)/(2*n))*n/(20+n)
	if got := prior(f.Lesson.Definition, "C31"); math.Abs(got-want) > 4*sd {
		t.Errorf("C31 %.4f after %d faults, want %.4f ± %.4f", got, found, want, 4*sd)
	}
	if got, was := prior(f.Lesson.Definition, "RY2"), prior(d, "RY2"); math.Abs(got-was*20/320) > 1e-9 {
		t.Errorf("RY2 %.5f, want %.5f", got, was*20/320)
	}
}
