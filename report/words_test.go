package report_test

import (
	"testing"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/machine"
	"headstack/report"
)

// Every kind of entry says what it holds; only a note is a note.
func TestEntryText(t *testing.T) {
	def, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no definition hexastrand")
	}
	for _, c := range []struct {
		want string
		e    job.Entry
	}{
		{"record here, rewind, play here on track 3: faulty, thin", job.Entry{Check: &job.Check{Function: "record-play", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomThin}}},
		{"38\u2009mV at TP10-3, 315\u2009Hz", job.Entry{Reading: &job.Reading{TestPoint: "TP10", Key: "3", Value: 38, Unit: "mV", ToneHz: 315}}},
		{"repaired C31-a", job.Entry{Work: &job.Work{Kind: diagnosis.WorkRepair, Stage: "C31", Key: "a"}}},
		{"exchanged RY1-3 with RY1-5", job.Entry{Work: &job.Work{Kind: diagnosis.WorkSwap, Stage: "RY1", Key: "3", With: "5"}}},
		{"exchanged back RY1-3 with RY1-5", job.Entry{Work: &job.Work{Kind: diagnosis.WorkSwap, Stage: "RY1", Key: "3", With: "5", Back: true}}},
		{"opened lid", job.Entry{Opening: &job.Opening{Opening: "lid"}}},
		{"closed lid", job.Entry{Opening: &job.Opening{Opening: "lid", Closed: true}}},
		{"takes back an entry", job.Entry{Withdraw: true, Work: &job.Work{Kind: diagnosis.WorkClean, Stage: "H", Key: "4"}}},
		{"note", job.Entry{Kind: job.KindNote}},
		{"whole tape path clean and dry was seen to", job.Entry{Gate: &job.Gate{Step: "path_clean"}}},
		{`one pass of test tape "a tape"`, job.Entry{Pass: &job.Pass{Tape: "a tape"}}},
	} {
		if got := report.EntryText(def, c.e); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
