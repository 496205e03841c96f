package jobtest

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/bias"
	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
)

// Clock is the time of the first thing that the suite records.
var Clock = time.Date(2031, time.March, 4, 19, 30, 0, 123456789, time.UTC)

// Record runs the suite on the records that open makes, each empty.
func Record(t *testing.T, open func(t *testing.T) job.Record) {
	for _, c := range []struct {
		name string
		run  func(*testing.T, job.Record)
	}{
		{"jobs are numbered and come back whole", jobsComeBack},
		{"entries come back whole", entriesComeBack},
		{"entries are numbered by kind within the job", entriesAreNumbered},
		{"a job that is not there", noSuchJob},
		{"entries that are not whole are refused", brokenShapes},
		{"a correction points at what it corrects", corrections},
		{"corrections that are refused", refusedCorrections},
		{"what is appended twice under one name is kept once", appendedTwice},
		{"a closing that does not know what is newer is refused", grownSinceSeen},
		{"summaries count what counts", summaries},
		{"time does not run back", clockJumpsBack},
		{"documents and listings", documents},
		{"concurrent appends", concurrentAppends},
		{"concurrent corrections of one entry", concurrentCorrections},
		{"what a caller does to an entry later stays with him", aliasing},
	} {
		t.Run(c.name, func(t *testing.T) { c.run(t, open(t)) })
	}
}

func openJob(t *testing.T, r job.Record) job.Job {
	t.Helper()
	sha, err := r.PutDocument(t.Context(), []byte("machine: 1\nid: chalk-four\n"))
	if err != nil {
		t.Fatalf("PutDocument: %v", err)
	}
	j, err := r.AppendJob(t.Context(), job.Job{
		Definition: "chalk-four", DefinitionSHA: sha, Name: "Chalk Four", Serial: "0017",
		Owner: "Community theatre, \"Möwe\"", Claim: "weak\non some tracks", Case: measure.CasePropped, Opened: Clock,
	})
	if err != nil {
		t.Fatalf("AppendJob: %v", err)
	}
	return j
}

func check(jobID string, at time.Time) job.Entry {
	return job.Entry{Job: jobID, At: at, Kind: job.KindCheck, Case: measure.CaseClosed,
		Check: &job.Check{Item: "fader/3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomNoisy}}
}

func note(jobID, text string, at time.Time) job.Entry {
	return job.Entry{Job: jobID, At: at, Kind: job.KindNote, Remark: text}
}

func add(t *testing.T, r job.Record, e job.Entry) job.Entry {
	t.Helper()
	got, err := r.AppendEntry(t.Context(), e)
	if err != nil {
		t.Fatalf("AppendEntry(%s): %v", e.Kind, err)
	}
	return got
}

func jobsComeBack(t *testing.T, r job.Record) {
	first := openJob(t, r)
	if first.ID != "job-0001" {
		t.Errorf("id of the first job = %q, want job-0001", first.ID)
	}
	want := first
	want.ID, want.Opened = "", Clock.Add(time.Minute)
	want.Serial, want.Case = "0018", measure.CaseUnknown
	second, err := r.AppendJob(t.Context(), want)
	if err != nil {
		t.Fatal(err)
	}
	want.ID = "job-0002"
	if diff := cmp.Diff(want, second); diff != "" {
		t.Errorf("AppendJob (-want +got):\n%s", diff)
	}
	got, err := r.Job(t.Context(), "job-0002")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Job (-want +got):\n%s", diff)
	}
}

// Samples are entries of every kind with every field set, and with values that
// lose something in a careless round trip.
func Samples(jobID string) []job.Entry {
	return []job.Entry{
		{Job: jobID, Kind: job.KindCheck, Case: measure.CasePropped, Remark: "a “remark” \x1f with <&> and µΩ λ 录音\n",
			Minutes: 1.0 / 3, Check: &job.Check{Function: "record", Key: "3", Outcome: diagnosis.Intermittent, Symptom: diagnosis.SymptomWeak, Provoked: diagnosis.Warm}},
		{Job: jobID, Kind: job.KindReading, Case: measure.CaseOpen,
			Reading: &job.Reading{TestPoint: "TP10", Key: "2", Value: 0.1 + 0.2, Unit: "mV", ToneHz: 315,
				Instrument: "true-r.m.s. meter", Session: "evening 1", Setting: "red on pin 4", Provoked: diagnosis.Pressed}},
		{Job: jobID, Kind: job.KindReading, Reading: &job.Reading{TestPoint: "TP1", Value: 5e-324, Unit: "V"}},
		{Job: jobID, Kind: job.KindReading, Reading: &job.Reading{TestPoint: "TP1", Value: -1.7976931348623157e308, Unit: "V"}},
		{Job: jobID, Kind: job.KindCapture, Case: measure.CaseClosed, Capture: sampleCapture()},
		{Job: jobID, Kind: job.KindNote, Remark: "the belt is new"},
		{Job: jobID, Kind: job.KindWork, Case: measure.CaseOpen, Remark: "dried out, replaced", Minutes: 12.5,
			Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}},
		{Job: jobID, Kind: job.KindWork, Work: &job.Work{Kind: diagnosis.WorkSwap, Stage: "K1", Key: "3", With: "5", Back: true}},
		{Job: jobID, Kind: job.KindOpening, Case: measure.CaseClosed, Minutes: 9, Opening: &job.Opening{Opening: "lid", Closed: true}},
		{Job: jobID, Kind: job.KindClosing, Case: measure.CaseClosed, Remark: "played an evening",
			Closing: &job.Closing{Complaint: []diagnosis.Symptom{diagnosis.SymptomThin}, Returned: "job-0001",
				Faults: []job.ClosedFault{{Stage: "C31", Key: "a", Cause: "open", Proven: true, Work: diagnosis.WorkRepair}, {Stage: "H", Key: "4", Work: diagnosis.WorkClean}}}},
		{Job: jobID, Kind: job.KindTurn, Case: measure.CasePropped, Minutes: 0.25,
			Turn: &job.Turn{Trim: "VRa", Key: "3", By: -1.0 / 3, Unit: "turns", From: new(0.1 + 0.2), To: new(0.0), Stopped: true, Travel: 1.0 / 3}},
		{Job: jobID, Kind: job.KindTurn, Turn: &job.Turn{Trim: "AZ", By: 17, Unit: "°"}},
		{Job: jobID, Kind: job.KindGate, Gate: &job.Gate{Step: "path_clean", Lost: true}},
		{Job: jobID, Kind: job.KindPass, Pass: &job.Pass{Tape: "Fen 12"}},
		{Job: jobID, Kind: job.KindFigure, Case: measure.CaseOpen,
			Figure: &job.Figure{Step: "level/VRa/3", Value: 0.1 + 0.2, Unit: "mV", Half: 1.0 / 3, Instrument: "true-r.m.s. meter"}},
		{Job: jobID, Kind: job.KindSignOff, SignOff: &job.SignOff{Step: "proof_noise/9.5/3", Reason: "hum of the hall\nnot of the machine", By: "ÅB"}},
		{Job: jobID, Kind: job.KindSoak, Case: measure.CaseClosed,
			Soak: &job.Soak{AtMinutes: 31.5, Measure: "level", Track: 3, Value: -0.1, Unit: "dB", Half: 1.0 / 3}},
		{Job: jobID, Kind: job.KindStaircase, Case: measure.CaseOpen, Minutes: 4, Staircase: sampleStaircase()},
		{Job: jobID, Kind: job.KindPhotograph, Case: measure.CaseOpen, Photograph: &job.Photograph{File: "lid off.jpg", SHA256: fmt.Sprintf("%064x", 253), Bytes: 1 << 24,
			Copy: fmt.Sprintf("%064x", 252), Type: "image/jpeg", Width: 4000, Height: 3000, Opening: "lid", Caption: "W5 before\nit was parted <&>"}},
	}
}

func sampleStaircase() *job.Staircase {
	law := bias.Law{SpanDB: 10.88, Spread: 0.25, Bend: 0.1 + 0.2, BendSD: 0.25}
	return &job.Staircase{
		Want: bias.Want{Tones: bias.Tones{TrebleHz: 10000, LowHz: 1000, SpeedCmS: 38.1}, Steps: 4, StepSeconds: 5, Third: true,
			Aim: bias.Aim{Recipe: bias.TrebleFall, FallDB: 3, LoDB: 2, HiDB: 3.5, Source: "data of a tape", Warnings: []string{"sources differ"}}},
		Tracks: []job.StaircaseTrack{{Trim: "B38", Key: "3", Positions: []float64{0.1, 0.1 + 0.2, 0.5, 2.0 / 3}, Round: 1,
			Bias: bias.Trim{ID: "VR12-3", Track: 3, Turns: 12, Sign: -1, Now: 1.0 / 3, Backlash: 0.01, Law: law}}},
		Programme: "bias staircase, 38.1 cm/s", ProgrammeSHA: strings.Repeat("0123456789abcdef", 4),
	}
}

func sampleCapture() *job.Capture {
	cond := measure.Conditions{Case: measure.CaseClosed, Tape: "Fen 12", SpeedCmS: 9.525, Capture: "a.wav",
		Channel: 2, Instrument: "converter", When: Clock}
	return &job.Capture{
		File: "as found.wav", SHA256: fmt.Sprintf("%064x", 255), Bytes: 1 << 40, Tape: "Fen 12",
		Interface: "bench", InterfaceSHA: fmt.Sprintf("%064x", 251), WhileRecording: true,
		TapeSHA: fmt.Sprintf("%064x", 254), Function: "play", Tracks: []int{1, 6},
		Report: measure.Report{
			Sections: []measure.SectionFound{
				{Name: "reference", Found: true, Partial: true, StartS: 1.0 / 3, EndS: 12.5, ToneHz: 315, Capture: "a.wav"},
				{Name: "silence", ToneHz: 0, Reason: "the capture ends before it"},
			},
			Measures: []measure.Result{
				{Name: "level", Track: 1, Section: "reference", ToneHz: 315, Value: -14.2 / 3, Lo: -4.8, Hi: -4.6, Unit: "dBFS",
					Reference: "full-scale sine = 0 dBFS", Method: "least squares", Warnings: []string{"few cycles"}, Conditions: cond},
				{Name: "delay", Track: 1, TrackB: 6, Value: 0, Lo: -0.1, Hi: 0.1, Unit: "µs", Conditions: cond},
				{Name: "response", Track: 6, Section: "10k", ToneHz: 10000, Unit: "dB", Refused: "tone absent", Conditions: cond},
				{Name: "speed_error", Value: 0.25, Lo: 0.24, Hi: 0.26, Unit: "%"},
			},
			Traces: []measure.Trace{{
				Name: "speed_spectrum", Section: "reference", ToneHz: 3150, X: measure.Axis{Label: "rate", Unit: "Hz", Log: true}, Y: measure.Axis{Label: "deviation", Unit: "%"},
				Points: []measure.Point{{X: 0.5, Y: 0.01, Lo: 0.009, Hi: 0.012}, {X: 8.1, Y: 0.3333333}}, Marks: []measure.Mark{{X: 8.1, Y: 0.3, Label: "capstan"}},
				Reference: "mean speed", Method: "m", Warnings: []string{"short"}, Conditions: measure.Conditions{Tape: "Fen 12"},
			}},
			Warnings: []string{"the data chunk is cut short"},
		},
	}
}

func entriesComeBack(t *testing.T, r job.Record) {
	j := openJob(t, r)
	var want []job.Entry
	for i, e := range Samples(j.ID) {
		e.At = Clock.Add(time.Duration(i) * 1001 * time.Millisecond)
		got := add(t, r, e)
		e.Seq, e.Ref = int64(i+1), got.Ref
		if diff := cmp.Diff(e, got); diff != "" {
			t.Errorf("AppendEntry (-want +got):\n%s", diff)
		}
		want = append(want, e)
	}
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Entries (-want +got):\n%s", diff)
	}
	if got, err = r.EntriesBut(t.Context(), j.ID, job.KindCapture); err != nil {
		t.Fatal(err)
	}
	want = slices.DeleteFunc(want, func(e job.Entry) bool { return e.Kind == job.KindCapture })
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("EntriesBut (-want +got):\n%s", diff)
	}
	if _, err := r.EntriesBut(t.Context(), "job-0009", job.KindCapture); err == nil {
		t.Error("EntriesBut of a job that is not there")
	}
}

func entriesAreNumbered(t *testing.T, r job.Record) {
	a, b := openJob(t, r), openJob(t, r)
	got := []string{}
	for _, e := range []job.Entry{check(a.ID, Clock), note(a.ID, "x", Clock), check(b.ID, Clock), check(a.ID, Clock)} {
		e = add(t, r, e)
		got = append(got, fmt.Sprintf("%d %s %s", e.Seq, e.Job, e.Ref))
	}
	want := []string{"1 job-0001 check 1", "2 job-0001 note 1", "3 job-0002 check 1", "4 job-0001 check 2"}
	if !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}

func noSuchJob(t *testing.T, r job.Record) {
	_, errJob := r.Job(t.Context(), "job-0009")
	_, errEntries := r.Entries(t.Context(), "job-0009")
	_, errAppend := r.AppendEntry(t.Context(), check("job-0009", Clock))
	_, errDefinition := r.AppendJob(t.Context(), job.Job{DefinitionSHA: "ff", Opened: Clock})
	for what, err := range map[string]error{"Job": errJob, "Entries": errEntries, "AppendEntry": errAppend, "AppendJob": errDefinition} {
		if nf, ok := errors.AsType[*job.NotFoundError](err); !ok {
			t.Errorf("%s: error %v, want NotFoundError", what, err)
		} else if nf.What == "" || nf.ID == "" {
			t.Errorf("%s: error does not say what is not there: %+v", what, nf)
		}
	}
}

func brokenShapes(t *testing.T, r job.Record) {
	j := openJob(t, r)
	whole := check(j.ID, Clock)
	for name, spoil := range map[string]func(*job.Entry){
		"no kind":             func(e *job.Entry) { e.Kind = "" },
		"no payload":          func(e *job.Entry) { e.Check = nil },
		"two payloads":        func(e *job.Entry) { e.Reading = &job.Reading{} },
		"payload of another":  func(e *job.Entry) { e.Kind = job.KindReading },
		"note with a payload": func(e *job.Entry) { e.Kind = job.KindNote },
		"work without one":    func(e *job.Entry) { e.Kind, e.Check = job.KindWork, nil },
		"opening that works":  func(e *job.Entry) { e.Kind, e.Check, e.Work = job.KindOpening, nil, &job.Work{} },
		"turn without one":    func(e *job.Entry) { e.Kind, e.Check = job.KindTurn, nil },
		"gate that turns":     func(e *job.Entry) { e.Kind, e.Check, e.Turn = job.KindGate, nil, &job.Turn{} },
		"figure and a sign-off": func(e *job.Entry) {
			e.Kind, e.Check, e.Figure, e.SignOff = job.KindFigure, nil, &job.Figure{}, &job.SignOff{}
		},
		"photograph without one": func(e *job.Entry) { e.Kind, e.Check = job.KindPhotograph, nil },
		"photograph that checks": func(e *job.Entry) { e.Photograph = &job.Photograph{} },
		"closing that checks":    func(e *job.Entry) { e.Kind, e.Closing = job.KindClosing, &job.Closing{} },
		"minutes below none":     func(e *job.Entry) { e.Minutes = -1 },
		"minutes of no length":   func(e *job.Entry) { e.Minutes /= e.Minutes }, // not a number
		"withdraws nothing":      func(e *job.Entry) { *e = note(j.ID, "", Clock); e.Withdraw = true },
		"check that withdraws": func(e *job.Entry) {
			e.Withdraw, e.Corrects = true, 1
		},
		"no time":       func(e *job.Entry) { e.At = time.Time{} },
		"far away time": func(e *job.Entry) { e.At = time.Date(12000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		e := whole.Clone()
		spoil(&e)
		if _, err := r.AppendEntry(t.Context(), e); err == nil {
			t.Errorf("%s: appended", name)
		} else if _, ok := errors.AsType[*job.InvalidError](err); !ok {
			t.Errorf("%s: error %v, want InvalidError", name, err)
		}
	}
	if got, err := r.Entries(t.Context(), j.ID); err != nil || len(got) != 0 {
		t.Errorf("after refusals there are %d entries (%v), want 0", len(got), err)
	}
}

func concurrentAppends(t *testing.T, r job.Record) {
	j := openJob(t, r)
	const writers, each = 4, 15
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				if _, err := r.AppendEntry(t.Context(), note(j.ID, fmt.Sprintf("%d/%d", w, i), Clock)); err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
				if _, err := r.Entries(t.Context(), j.ID); err != nil {
					t.Errorf("writer %d reads: %v", w, err)
				}
			}
		})
	}
	wg.Wait()
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil || len(got) != writers*each {
		t.Fatalf("%d entries (%v), want %d", len(got), err, writers*each)
	}
	next := map[string]int{}
	for i, e := range got {
		if e.Seq != int64(i+1) || e.Ref != fmt.Sprintf("note %d", i+1) {
			t.Fatalf("entry %d is numbered %d, %s", i+1, e.Seq, e.Ref)
		}
		w, n, _ := cut(e.Remark)
		if n != next[w] {
			t.Fatalf("writer %s: entry %d is where %d belongs", w, n, next[w])
		}
		next[w]++
	}
}

func cut(s string) (writer string, n int, err error) {
	_, err = fmt.Sscanf(s, "%1s/%d", &writer, &n)
	return writer, n, err
}

func aliasing(t *testing.T, r job.Record) {
	j := openJob(t, r)
	e := check(j.ID, Clock)
	kept := add(t, r, e)
	e.Check.Item, kept.Check.Item = "spoiled", "spoiled"
	for _, w := range Samples(j.ID)[6:8] {
		w.At = Clock
		w = add(t, r, w)
		w.Work.Stage = "spoiled"
	}
	w := add(t, r, job.Entry{Job: j.ID, At: Clock, Kind: job.KindOpening, Opening: &job.Opening{Opening: "lid"}})
	w.Opening.Opening = "spoiled"
	turn := add(t, r, job.Entry{Job: j.ID, At: Clock, Kind: job.KindTurn, Turn: &job.Turn{Trim: "VRa", From: new(1.0), To: new(2.0)}})
	turn.Turn.Trim, *turn.Turn.To = "spoiled", 9
	photo := add(t, r, job.Entry{Job: j.ID, At: Clock, Kind: job.KindPhotograph, Photograph: &job.Photograph{Caption: "before"}})
	photo.Photograph.Caption = "spoiled"
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil || len(got) != 6 || got[5].Photograph.Caption != "before" || *got[4].Turn.To != 2 || got[4].Turn.Trim != "VRa" || got[0].Check.Item != "fader/3" || got[1].Work.Stage != "C31" || got[3].Opening.Opening != "lid" {
		t.Fatalf("got %+v (%v), want fader/3, C31 and lid as appended", got, err)
	}
	got[0].Check.Item = "spoiled"
	if again, _ := r.Entries(t.Context(), j.ID); again[0].Check.Item != "fader/3" {
		t.Error("changing what Entries returned changed the record")
	}
}
