package main

import (
	"io"
	"testing"

	"headstack/job"
	"headstack/job/memory"
)

// The demo that an empty bench offers is a real job: what was hidden is found on it by what
// was tried and read, and nothing else is on the record.
func TestLightDemo(t *testing.T) {
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	id, err := lightDemo(&env{ctx: t.Context(), out: io.Discard, err: io.Discard}, b)(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	verdict, v, err := b.Diagnose(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, s := range verdict.Stages {
		found = found || s.Stage == "C31" && s.Key == "a" && s.P > 0.9
	}
	readings := 0
	for _, e := range v.Current {
		if e.Reading != nil {
			readings++
		}
	}
	if !found || readings == 0 || len(v.Faults()) < 4 {
		t.Errorf("C31-a is not found on %d entries with %d readings and %d faults", len(v.Current), readings, len(v.Faults()))
	}
}
