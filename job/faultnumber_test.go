package job_test

import (
	"errors"
	"slices"
	"sync"
	"testing"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
)

func faultyBench(t *testing.T) (*job.Bench, string, func(item string, o diagnosis.Outcome, number int) (job.Entry, error)) {
	t.Helper()
	b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{})
	j, err := b.OpenJob(t.Context(), job.NewJob{Definition: "hexastrand"})
	if err != nil {
		t.Fatal(err)
	}
	return b, j.ID, func(item string, o diagnosis.Outcome, number int) (job.Entry, error) {
		return b.RecordCheck(t.Context(), j.ID, job.Check{Item: item, Outcome: o, Fault: number}, measure.CaseClosed, "")
	}
}

// A fault has one number for as long as it lasts, and no number is given twice.
func TestFaultsAreNumberedOnce(t *testing.T) {
	b, id, check := faultyBench(t)
	for i, c := range []struct {
		item  string
		o     diagnosis.Outcome
		typed int
		want  int
	}{
		{"fader/1", diagnosis.Works, 0, 0},
		{"fader/2", diagnosis.Faulty, 0, 1},
		{"fader/3", diagnosis.Intermittent, 0, 2},
		{"fader/2", diagnosis.Intermittent, 0, 1}, // looked at again: the same fault
		{"fader/2", diagnosis.Works, 0, 0},
		{"fader/2", diagnosis.Faulty, 0, 3}, // it worked in between: another one
		{"pan/1", diagnosis.Faulty, 17, 17}, // what a roll of labels said
		{"pan/2", diagnosis.Faulty, 0, 18},
	} {
		e, err := check(c.item, c.o, c.typed)
		if err != nil || e.Check.Fault != c.want {
			t.Fatalf("check %d of %s: fault %d, %v; want %d", i+1, c.item, e.Check.Fault, err, c.want)
		}
	}
	v, err := b.View(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var got []int
	for _, f := range v.Faults() {
		got = append(got, f.Number)
		if f.Cured != (f.Number == 1) || f.Number == 2 && (f.Name != "fader 3" || f.Board != "Strip") {
			t.Errorf("%+v", f)
		}
	}
	if !slices.Equal(got, []int{1, 2, 3, 17, 18}) {
		t.Errorf("faults %v", got)
	}
}

func TestALabelIsNotGivenTwice(t *testing.T) {
	b, id, check := faultyBench(t)
	first, err := check("fader/2", diagnosis.Faulty, 0)
	if err != nil {
		t.Fatal(err)
	}
	var inv *job.InvalidError
	if _, err := check("fader/3", diagnosis.Faulty, 1); !errors.As(err, &inv) || inv.Field != "fault number" {
		t.Errorf("the number of another control: %v", err)
	}
	if _, err := check("fader/3", diagnosis.Works, 5); !errors.As(err, &inv) {
		t.Errorf("a number of what works: %v", err)
	}
	if _, err := check("fader/3", diagnosis.Faulty, -1); !errors.As(err, &inv) {
		t.Errorf("fault -1: %v", err)
	}
	// A correction keeps the number; a fault that was taken back leaves its number used.
	e, err := b.Correct(t.Context(), id, first.Seq, job.Entry{Check: &job.Check{Item: "fader/4", Outcome: diagnosis.Faulty}})
	if err != nil || e.Check.Fault != 1 {
		t.Errorf("corrected: %+v, %v", e.Check, err)
	}
	if _, err := b.Withdraw(t.Context(), id, e.Seq, ""); err != nil {
		t.Fatal(err)
	}
	if e, err := check("fader/5", diagnosis.Faulty, 0); err != nil || e.Check.Fault != 2 {
		t.Errorf("after one was taken back: fault %d, %v; want 2", e.Check.Fault, err)
	}
}

func TestFaultsFoundAtOnceGetTheirOwnNumbers(t *testing.T) {
	b, id, check := faultyBench(t)
	v, err := b.View(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	numbers := make([]int, 40)
	for i := range numbers {
		wg.Go(func() {
			e, err := check(v.Sheet[i].Item, diagnosis.Faulty, 0)
			if err != nil {
				t.Error(err)
				return
			}
			numbers[i] = e.Check.Fault
		})
	}
	wg.Wait()
	slices.Sort(numbers)
	for i, n := range numbers {
		if n != i+1 {
			t.Fatalf("numbers %v", numbers)
		}
	}
}
