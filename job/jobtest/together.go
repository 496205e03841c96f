package jobtest

import (
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
)

func appendedTwice(t *testing.T, r job.Record) {
	j := openJob(t, r)
	named := note(j.ID, "said once", Clock)
	named.Once = "form 7/1"
	first := add(t, r, named)
	if first.Once != "" {
		t.Errorf("the name %q comes back", first.Once)
	}
	add(t, r, note(j.ID, "between", Clock))
	named.Remark, named.At = "said once, in other words", Clock.Add(time.Hour)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			again, err := r.AppendEntry(t.Context(), named)
			if err != nil {
				t.Errorf("again: %v", err)
			} else if diff := cmp.Diff(first, again); diff != "" {
				t.Errorf("again (-first +again):\n%s", diff)
			}
		})
	}
	wg.Wait()
	// A correction that was sent twice is the first one, not in its own way.
	fix := note(j.ID, "put right", Clock)
	fix.Once, fix.Corrects = "form 8/1", first.Seq
	by := add(t, r, fix)
	if again := add(t, r, fix); again.Seq != by.Seq {
		t.Errorf("the correction again: entry %d, want %d", again.Seq, by.Seq)
	}
	for _, e := range []job.Entry{check(j.ID, Clock), note(openJob(t, r).ID, "of another job", Clock)} {
		e.Once = named.Once
		_, err := r.AppendEntry(t.Context(), e)
		if _, ok := errors.AsType[*job.InvalidError](err); !ok {
			t.Errorf("a %s of %s under the name of a note of %s: error %v, want InvalidError", e.Kind, e.Job, j.ID, err)
		}
	}
	if got, err := r.Entries(t.Context(), j.ID); err != nil || len(got) != 3 {
		t.Errorf("%d entries (%v), want 3", len(got), err)
	}
	opened := job.Job{DefinitionSHA: j.DefinitionSHA, Opened: Clock, Once: "intake 1"}
	var ids []string
	for range 2 {
		o, err := r.AppendJob(t.Context(), opened)
		if err != nil {
			t.Fatal(err)
		}
		ids = append(ids, o.ID)
	}
	if ids[0] != ids[1] {
		t.Errorf("one intake sent twice opened %q", ids)
	}
}

func grownSinceSeen(t *testing.T, r job.Record) {
	j, other := openJob(t, r), openJob(t, r)
	closing := func(seen int64) job.Entry {
		return job.Entry{Job: j.ID, At: Clock, Kind: job.KindClosing, Closing: &job.Closing{}, Seen: seen}
	}
	first := add(t, r, note(j.ID, "seen", Clock))
	newer := add(t, r, note(j.ID, "the hum is back", Clock))
	add(t, r, note(other.ID, "elsewhere", Clock))
	for _, seen := range []int64{first.Seq, -1} {
		_, err := r.AppendEntry(t.Context(), closing(seen))
		c, ok := errors.AsType[*job.ConflictError](err)
		if !ok {
			t.Fatalf("closing on what was seen of %d: error %v, want ConflictError", seen, err)
		}
		last := c.Newer[len(c.Newer)-1]
		if last.Ref != newer.Ref || !last.At.Equal(newer.At) || !strings.Contains(err.Error(), newer.Remark) {
			t.Errorf("the conflict names %s of %v: %v; want %s", last.Ref, last.At, err, newer.Ref)
		}
	}
	// What says nothing of the whole job is kept, whatever came before it.
	old := note(j.ID, "typed long ago", Clock)
	old.Seen = first.Seq
	last := add(t, r, old)
	// What another job got is nothing to this one.
	add(t, r, note(other.ID, "elsewhere again", Clock))
	if got := add(t, r, closing(last.Seq)); got.Seen != 0 {
		t.Errorf("what was seen comes back: %d", got.Seen)
	}
	if _, err := r.AppendEntry(t.Context(), closing(last.Seq)); err == nil {
		t.Error("two closings on the same ground are both kept")
	}
	if got, err := r.Entries(t.Context(), j.ID); err != nil || len(got) != 4 {
		t.Errorf("%d entries (%v), want 4", len(got), err)
	}
}
