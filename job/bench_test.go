package job_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/jobtest"
	"headstack/job/memory"
	"headstack/machine"
	"headstack/measure"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const hexastrand = "hexastrand"

// bench is a service on an empty record whose clock goes on by a second at each
// look.
func bench(t testing.TB, opt job.BenchOptions) (*job.Bench, *memory.Record, *memory.Files) {
	t.Helper()
	now := jobtest.Clock
	if opt.Now == nil {
		opt.Now = func() time.Time { now = now.Add(time.Second); return now }
	}
	rec, files := new(memory.Record), new(memory.Files)
	return job.NewBench(rec, files, opt), rec, files
}

func openJob(t testing.TB, b *job.Bench) job.Job {
	t.Helper()
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: hexastrand, Serial: " 0417 ", Owner: "a theatre", Claim: "weak\r\nand dull", Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	return j
}

func TestOpenJob(t *testing.T) {
	b, rec, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	source, ok := machine.BuiltinSource(hexastrand)
	if !ok {
		t.Fatal("no built-in definition " + hexastrand)
	}
	want := job.Job{ID: "job-0001", Definition: hexastrand, DefinitionSHA: j.DefinitionSHA, Name: "Quernmoor Hexastrand",
		Serial: "0417", Owner: "a theatre", Claim: "weak\nand dull", Case: measure.CaseClosed, Opened: j.Opened}
	if diff := cmp.Diff(want, j); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if kept, err := rec.Document(t.Context(), j.DefinitionSHA); err != nil || string(kept) != string(source) {
		t.Errorf("the definition kept with the job is not the one it was opened with (%v)", err)
	}
	v, err := b.View(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	// The recorder's description says so: 88 on the strips and 47 others.
	if len(v.Sheet) != 135 {
		t.Errorf("the check sheet has %d items, want 135", len(v.Sheet))
	}
	if len(v.Functions) == 0 || len(v.Entries) != 0 || len(v.Current) != 0 {
		t.Errorf("%d functions, %d entries, %d current", len(v.Functions), len(v.Entries), len(v.Current))
	}
}

func TestRequestsThatAreRefused(t *testing.T) {
	b, rec, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ctx := t.Context()
	check := func(c job.Check) error {
		_, err := b.RecordCheck(ctx, j.ID, c, measure.CaseClosed, "")
		return err
	}
	read := func(point, key string, value float64, unit string) error {
		_, err := b.RecordReading(ctx, j.ID, job.Reading{TestPoint: point, Key: key, Value: value, Unit: unit}, measure.CaseOpen, "")
		return err
	}
	note := func(text string) error { _, err := b.RecordNote(ctx, j.ID, "", text); return err }
	open := func(n job.NewJob) error { _, err := b.OpenJob(ctx, n); return err }
	zero := 0.0
	for _, c := range []struct {
		name  string
		err   error
		field string
		want  []string // that the message contains
	}{
		{"a control that is not there", check(job.Check{Item: "fader/33", Outcome: diagnosis.Works}), "check item", []string{"fader/3"}},
		{"a function that is not there", check(job.Check{Function: "recrod", Key: "3", Outcome: diagnosis.Works}), "function", []string{"record"}},
		{"a track that is not there", check(job.Check{Function: "record", Key: "7", Outcome: diagnosis.Works}), "track", []string{"1, 2, 3, 4, 5, 6"}},
		{"no track", check(job.Check{Function: "record", Outcome: diagnosis.Works}), "track", []string{"1, 2, 3, 4, 5, 6"}},
		{"neither control nor function", check(job.Check{Outcome: diagnosis.Works}), "check", nil},
		{"control and function", check(job.Check{Item: "fader/3", Function: "record", Key: "1", Outcome: diagnosis.Works}), "check", nil},
		{"no outcome", check(job.Check{Item: "fader/3"}), "outcome", []string{"works", "not tried"}},
		{"an outcome of its own", check(job.Check{Item: "fader/3", Outcome: "meh"}), "outcome", []string{"intermittent"}},
		{"a symptom of its own", check(job.Check{Item: "fader/3", Outcome: diagnosis.Faulty, Symptom: "sad"}), "symptom", []string{"noisy"}},
		{"a symptom of what works", check(job.Check{Item: "fader/3", Outcome: diagnosis.Works, Symptom: diagnosis.SymptomDull}), "symptom", []string{"works"}},
		{"a point that is not there", read("TP99", "", 1, "V"), "test point", []string{"TP"}},
		{"a designator that is not there", read("TP21-c", "", 1, "V"), "test point", []string{"TP21-a", "TP21-b"}},
		{"a point without its key", read("TP21", "", 1, "V"), "group", []string{"a, b"}},
		{"a key of a single point", read("TP1", "3", 1, "V"), "key", []string{"TP1"}},
		{"a unit that does not convert", read("TP10", "1", 1, "Hz"), "unit", []string{"mV"}},
		{"no unit", read("TP10", "1", 1, ""), "unit", []string{"mV"}},
		{"not a number", read("TP10", "1", zero/zero, "mV"), "value", nil},
		{"infinite", read("TP10", "1", 1/zero, "mV"), "value", nil},
		{"a level beyond all", read("TP10", "1", 1e9, "dBu"), "value", nil},
		{"a negative tone", read("TP10", "1", -38, "mV"), "value", []string{"dBV"}},
		{"an empty note", note(" \n"), "note", nil},
		{"a long note", note(strings.Repeat("x", 4001)), "note", []string{"4001", "4000"}},
		{"a note that is no text", note("\xff\xfe"), "note", []string{"UTF-8"}},
		{"a note with a bell", note("ding\a"), "note", []string{"U+0007"}},
		{"a serial of two lines", open(job.NewJob{Definition: hexastrand, Serial: "1\n2"}), "serial number", nil},
		{"a case state of its own", open(job.NewJob{Definition: hexastrand, Case: "ajar"}), "case state", []string{"propped"}},
	} {
		got, ok := errors.AsType[*job.InvalidError](c.err)
		if !ok || got.Field != c.field {
			t.Errorf("%s: error %v, want InvalidError of %q", c.name, c.err, c.field)
			continue
		}
		for _, want := range c.want {
			if !strings.Contains(got.Error(), want) {
				t.Errorf("%s: %q does not say %q", c.name, got, want)
			}
		}
	}
	if got, err := rec.Entries(ctx, j.ID); err != nil || len(got) != 0 {
		t.Errorf("after refusals there are %d entries (%v), want 0", len(got), err)
	}
	if _, err := b.View(ctx, "job-0002"); !strings.Contains(err.Error(), "job-0001") {
		t.Errorf("error %v does not name the job there is", err)
	}
	if err := open(job.NewJob{Definition: "hexastrnad"}); !strings.Contains(err.Error(), hexastrand) {
		t.Errorf("error %v does not name %s", err, hexastrand)
	}
}

func TestViewResolvesCorrections(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ctx := t.Context()
	must := func(e job.Entry, err error) job.Entry {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	faulty := job.Check{Item: "fader/3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomNoisy}
	works := job.Check{Item: "Fader/3", Outcome: diagnosis.Works}
	first := must(b.RecordCheck(ctx, j.ID, faulty, measure.CaseClosed, ""))
	record := must(b.RecordCheck(ctx, j.ID, job.Check{Function: "record", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}, measure.CaseClosed, ""))
	note := must(b.RecordNote(ctx, j.ID, measure.CaseClosed, "belt new"))
	second := must(b.Correct(ctx, j.ID, first.Seq, job.Entry{Check: &works, Case: measure.CasePropped}))
	if works.Item != "Fader/3" {
		t.Error("the caller's check was changed")
	}
	back := must(b.Withdraw(ctx, j.ID, note.Seq, "no, the old one"))

	v, err := b.View(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]job.Entry{record, second}, v.Current); diff != "" {
		t.Errorf("Current (-want +got):\n%s", diff)
	}
	if got := v.CorrectedBy(first.Seq); got == nil || got.Seq != second.Seq {
		t.Errorf("check 1 is corrected by %v", got)
	}
	if got := v.CorrectedBy(note.Seq); got == nil || got.Seq != back.Seq || !got.Withdraw {
		t.Errorf("note 1 is withdrawn by %v", got)
	}
	for _, it := range v.Sheet {
		if (it.Item == "fader/3") != (it.Latest != nil) {
			t.Errorf("%s was last found as %+v", it.Item, it.Latest)
		}
		if it.Latest != nil && it.Latest.Check.Outcome != diagnosis.Works {
			t.Errorf("%s: the corrected outcome does not stand: %+v", it.Item, it.Latest.Check)
		}
	}
	tried := 0
	for _, f := range v.Functions {
		if f.Latest != nil {
			tried++
			if f.Function != "record" || f.Key != "3" {
				t.Errorf("%s on %s was tried", f.Function, f.Key)
			}
		}
	}
	if tried != 1 {
		t.Errorf("%d functions were tried, want 1", tried)
	}

	refusals := map[job.Refusal]error{}
	_, refusals[job.AlreadyCorrected] = b.Withdraw(ctx, j.ID, first.Seq, "")
	_, refusals[job.AlreadyWithdrawn] = b.Correct(ctx, j.ID, note.Seq, job.Entry{Remark: "x"})
	_, refusals[job.IsWithdrawal] = b.Withdraw(ctx, j.ID, back.Seq, "")
	_, refusals[job.OtherKind] = b.Correct(ctx, j.ID, second.Seq, job.Entry{Remark: "x"})
	_, refusals[job.OtherJob] = b.Withdraw(ctx, openJob(t, b).ID, second.Seq, "")
	for want, err := range refusals {
		if got, ok := errors.AsType[*job.CorrectionError](err); !ok || got.Reason != want {
			t.Errorf("error %v, want that %s", err, want)
		}
	}
	for _, seq := range []int64{0, -1, 99} {
		if _, err := b.Withdraw(ctx, j.ID, seq, ""); !isNotFound(err) {
			t.Errorf("entry %d: error %v, want NotFoundError", seq, err)
		}
	}
	jobs, err := b.Jobs(ctx)
	if err != nil || len(jobs) != 2 || jobs[0].ID != "job-0002" || jobs[1].Checks != 2 || jobs[1].Notes != 0 {
		t.Errorf("jobs: %+v, %v", jobs, err)
	}
}

func isNotFound(err error) bool {
	_, ok := errors.AsType[*job.NotFoundError](err)
	return ok
}

func TestDefinitionsAndTheirVersions(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	ctx := t.Context()
	builtin, err := b.Definitions(ctx)
	if err != nil || len(builtin) != len(machine.BuiltinNames()) {
		t.Fatalf("definitions: %+v, %v", builtin, err)
	}
	old := openJob(t, b)
	source, _ := machine.BuiltinSource(hexastrand)
	if same, err := b.AddDefinition(ctx, "same.yaml", source); err != nil || !same.Builtin || same.ID != hexastrand {
		t.Errorf("adding what is built in: %+v, %v", same, err)
	}
	changed := append([]byte("# ours\n"), source...)
	info, err := b.AddDefinition(ctx, "ours.yaml", changed)
	if err != nil || info.Builtin || info.ID != hexastrand || info.SHA == old.DefinitionSHA {
		t.Fatalf("AddDefinition: %+v, %v", info, err)
	}
	if again, err := b.AddDefinition(ctx, "ours.yaml", changed); err != nil || again != info {
		t.Errorf("adding it again: %+v, %v", again, err)
	}
	list, err := b.Definitions(ctx)
	if err != nil || len(list) != len(builtin) {
		t.Errorf("definitions: %+v, %v", list, err)
	}
	if j := openJob(t, b); j.DefinitionSHA != info.SHA {
		t.Error("a new job is not opened with the definition added last")
	}
	if v, err := b.View(ctx, old.ID); err != nil || v.Job.DefinitionSHA != old.DefinitionSHA {
		t.Errorf("an open job has another definition than it was opened with (%v)", err)
	}
	if yaml, got, err := b.DefinitionYAML(ctx, info.SHA); err != nil || got != info || string(yaml) != string(changed) {
		t.Errorf("by hash: %+v, %v", got, err)
	}
	if _, err := b.AddDefinition(ctx, "broken.yaml", []byte("machine: 1\nid: [")); err == nil || !strings.Contains(err.Error(), "broken.yaml:2") {
		t.Errorf("error %v, want one with file and line", err)
	}
	if _, err := b.AddDefinition(ctx, "big.yaml", make([]byte, 3<<20)); !isInvalid(err) {
		t.Errorf("error %v, want InvalidError", err)
	}
}

func isInvalid(err error) bool {
	_, ok := errors.AsType[*job.InvalidError](err)
	return ok
}

func TestTapes(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	ctx := t.Context()
	builtin, err := b.Tapes(ctx)
	if err != nil || len(builtin) == 0 {
		t.Fatalf("tapes: %+v, %v", builtin, err)
	}
	info, err := b.AddTape(ctx, "fen.yaml", []byte(fenTape))
	if err != nil || info.ID != "fen-12-short" || info.Builtin {
		t.Fatalf("AddTape: %+v, %v", info, err)
	}
	if list, err := b.Tapes(ctx); err != nil || len(list) != len(builtin)+1 {
		t.Errorf("tapes: %+v, %v", list, err)
	}
	if yaml, got, err := b.TapeYAML(ctx, "fen-12-short"); err != nil || got != info || string(yaml) != fenTape {
		t.Errorf("TapeYAML: %+v, %v", got, err)
	}
	if _, err := b.AddTape(ctx, "fen.yaml", []byte("testtape: 1\nnmae: x\n")); err == nil || !strings.Contains(err.Error(), "fen.yaml:2") {
		t.Errorf("error %v, want one with file and line", err)
	}
}

func TestEvidence(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	results := []measure.Result{{Name: "level", Track: 1, Value: -14, Lo: -14.1, Hi: -13.9, Unit: "dBFS"}}
	v := &job.View{Job: j, Current: []job.Entry{
		{Ref: "check 1", Case: measure.CaseClosed, Check: &job.Check{Function: "record", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}},
		{Ref: "check 2", Check: &job.Check{Function: "record", Key: "4", Outcome: diagnosis.NotTried}},
		{Ref: "check 3", Check: &job.Check{Function: "record", Key: "5", Outcome: diagnosis.NotFitted}},
		{Ref: "check 4", Check: &job.Check{Item: "fader/3", Outcome: diagnosis.Faulty}},
		{Ref: "reading 1", Case: measure.CaseOpen, Reading: &job.Reading{TestPoint: "TP10", Key: "2", Value: 38, Unit: "mV", ToneHz: 315, Instrument: "m", Session: "s", Setting: "p"}},
		{Ref: "capture 1", Capture: &job.Capture{Function: "play", Report: measure.Report{Measures: results}}},
		{Ref: "capture 2", Capture: &job.Capture{Function: "play", Report: measure.Report{Warnings: []string{"not measured: x"}}}},
		{Ref: "note 1", Remark: "x"},
	}}
	want := diagnosis.Evidence{
		Checks:   []diagnosis.Check{{Ref: "check 1", Function: "record", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak, Case: measure.CaseClosed}},
		Readings: []diagnosis.Reading{{Ref: "reading 1", TestPoint: "TP10", Key: "2", Value: 0.038, Unit: "V", ToneHz: 315, Instrument: "m", Session: "s", Setting: "p", Case: measure.CaseOpen}},
		Measures: []diagnosis.Measured{{Ref: "capture 1", Function: "play", Results: results}},
	}
	if diff := cmp.Diff(want, b.Evidence(v)); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

func TestDiagnose(t *testing.T) {
	b, _, _ := bench(t, job.BenchOptions{})
	j := openJob(t, b)
	ctx := t.Context()
	for _, key := range []string{"1", "2", "4", "5", "6"} {
		if _, err := b.RecordCheck(ctx, j.ID, job.Check{Function: "play", Key: key, Outcome: diagnosis.Works}, measure.CaseClosed, ""); err != nil {
			t.Fatal(err)
		}
	}
	dead, err := b.RecordCheck(ctx, j.ID, job.Check{Function: "play", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomDead}, measure.CaseClosed, "")
	if err != nil {
		t.Fatal(err)
	}
	verdict, v, err := b.Diagnose(ctx, j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if len(v.Current) != 6 || len(verdict.Explanations) == 0 || len(verdict.Next) == 0 {
		t.Fatalf("%d entries, %d explanations, %d next", len(v.Current), len(verdict.Explanations), len(verdict.Next))
	}
	accused := 0
	for _, s := range verdict.Stages {
		for _, because := range s.AccusedBy {
			if because.Ref == dead.Ref {
				accused++
			}
		}
	}
	if accused == 0 {
		t.Errorf("no stage is accused by %s", dead.Ref)
	}
	// Taken back, it accuses nothing.
	if _, err := b.Withdraw(ctx, j.ID, dead.Seq, "the cable was out"); err != nil {
		t.Fatal(err)
	}
	if verdict, _, err = b.Diagnose(ctx, j.ID); err != nil {
		t.Fatal(err)
	}
	for _, s := range verdict.Stages {
		for _, because := range s.AccusedBy {
			if because.Ref == dead.Ref {
				t.Errorf("%s is still accused by %s: %s", s.Part, dead.Ref, because.Text)
			}
		}
	}
}
