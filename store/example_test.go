package store_test

import (
	"context"
	"fmt"
	"os"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/measure"
	"headstack/store"
)

// A bench in a folder of its own: open a job, record a check, correct it.
func Example() {
	dir, err := os.MkdirTemp("", "bench")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer s.Close()

	ctx, evening := context.Background(), time.Date(2031, time.March, 4, 19, 30, 0, 0, time.UTC)
	bench := job.NewBench(s, s, job.BenchOptions{Now: func() time.Time { return evening }})
	j, err := bench.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "0417", Case: measure.CaseClosed})
	if err != nil {
		fmt.Println(err)
		return
	}
	weak := job.Check{Function: "record-play", Key: "3", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}
	first, err := bench.RecordCheck(ctx, j.ID, weak, measure.CaseClosed, "")
	if err != nil {
		fmt.Println(err)
		return
	}
	weak.Key = "5" // it was the next but one
	second, err := bench.Correct(ctx, j.ID, first.Seq, job.Entry{Check: &weak, Case: measure.CaseClosed})
	if err != nil {
		fmt.Println(err)
		return
	}
	view, err := bench.View(ctx, j.ID)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s, %s: %d entries, %d stands\n", j.ID, j.Name, len(view.Entries), len(view.Current))
	fmt.Printf("%s takes the place of %s\n", second.Ref, first.Ref)
	_, err = bench.Withdraw(ctx, j.ID, first.Seq, "")
	fmt.Println(err)
	// Output:
	// job-0001, Quernmoor Hexastrand: 2 entries, 1 stands
	// check 2 takes the place of check 1
	// check 1 (entry 1) cannot be corrected: it has been corrected already, by check 2 of 2031-03-04 19:30:00 UTC; correct that one
}
