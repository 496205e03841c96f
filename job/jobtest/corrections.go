package jobtest

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
)

func corrects(seq int64, e job.Entry) job.Entry {
	e.Corrects = seq
	return e
}

func withdraws(seq int64, jobID string) job.Entry {
	return job.Entry{Job: jobID, At: Clock, Kind: job.KindNote, Corrects: seq, Withdraw: true, Remark: "mistaken"}
}

func corrections(t *testing.T, r job.Record) {
	j := openJob(t, r)
	first := add(t, r, check(j.ID, Clock))
	second := add(t, r, corrects(first.Seq, check(j.ID, Clock)))
	third := add(t, r, corrects(second.Seq, check(j.ID, Clock)))
	back := add(t, r, withdraws(third.Seq, j.ID))
	if third.Ref != "check 3" || back.Ref != "note 1" {
		t.Errorf("refs %q, %q; want check 3, note 1", third.Ref, back.Ref)
	}
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]job.Entry{first, second, third, back}, got); diff != "" {
		t.Errorf("Entries (-want +got):\n%s", diff)
	}
}

func refusedCorrections(t *testing.T, r job.Record) {
	j, other := openJob(t, r), openJob(t, r)
	corrected := add(t, r, check(j.ID, Clock))
	by := add(t, r, corrects(corrected.Seq, check(j.ID, Clock)))
	withdrawn := add(t, r, check(j.ID, Clock))
	back := add(t, r, withdraws(withdrawn.Seq, j.ID))
	good := add(t, r, check(j.ID, Clock))
	for _, c := range []struct {
		name string
		e    job.Entry
		want job.CorrectionError
	}{
		{"corrected already", corrects(corrected.Seq, check(j.ID, Clock)),
			job.CorrectionError{Seq: corrected.Seq, Ref: "check 1", Reason: job.AlreadyCorrected, By: by.Ref, ByAt: by.At}},
		{"withdrawing what is corrected", withdraws(corrected.Seq, j.ID),
			job.CorrectionError{Seq: corrected.Seq, Ref: "check 1", Reason: job.AlreadyCorrected, By: by.Ref, ByAt: by.At}},
		{"withdrawn already", corrects(withdrawn.Seq, check(j.ID, Clock)),
			job.CorrectionError{Seq: withdrawn.Seq, Ref: "check 3", Reason: job.AlreadyWithdrawn, By: back.Ref, ByAt: back.At}},
		{"a withdrawal", corrects(back.Seq, note(j.ID, "x", Clock)),
			job.CorrectionError{Seq: back.Seq, Ref: "note 1", Reason: job.IsWithdrawal}},
		{"of another job", corrects(good.Seq, check(other.ID, Clock)),
			job.CorrectionError{Seq: good.Seq, Ref: "check 4", Reason: job.OtherJob}},
		{"by another kind", corrects(good.Seq, note(j.ID, "x", Clock)),
			job.CorrectionError{Seq: good.Seq, Ref: "check 4", Reason: job.OtherKind}},
	} {
		_, err := r.AppendEntry(t.Context(), c.e)
		got, ok := errors.AsType[*job.CorrectionError](err)
		if !ok {
			t.Errorf("%s: error %v, want CorrectionError", c.name, err)
		} else if diff := cmp.Diff(c.want, *got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, diff)
		}
	}
	_, err := r.AppendEntry(t.Context(), corrects(99, check(j.ID, Clock)))
	if nf, ok := errors.AsType[*job.NotFoundError](err); !ok || nf.What != "entry" || nf.ID != "99" {
		t.Errorf("entry 99: error %v, want that it is not there", err)
	}
	if got, err := r.Entries(t.Context(), j.ID); err != nil || len(got) != 5 {
		t.Errorf("after refusals there are %d entries (%v), want 5", len(got), err)
	}
}

func concurrentCorrections(t *testing.T, r job.Record) {
	j := openJob(t, r)
	first := add(t, r, check(j.ID, Clock))
	var kept, refused atomic.Int64
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			_, err := r.AppendEntry(t.Context(), corrects(first.Seq, check(j.ID, Clock)))
			if _, ok := errors.AsType[*job.CorrectionError](err); ok {
				refused.Add(1)
			} else if err == nil {
				kept.Add(1)
			} else {
				t.Errorf("unexpected error: %v", err)
			}
		})
	}
	wg.Wait()
	if kept.Load() != 1 || refused.Load() != 7 {
		t.Errorf("%d corrections kept and %d refused, want 1 and 7", kept.Load(), refused.Load())
	}
}

func summaries(t *testing.T, r job.Record) {
	if got, err := r.Summaries(t.Context()); err != nil || len(got) != 0 {
		t.Errorf("an empty record lists %d jobs (%v)", len(got), err)
	}
	j, empty := openJob(t, r), openJob(t, r)
	for i, e := range Samples(j.ID) { // 1 check, 3 readings, 1 capture, 1 note, 2 works, 1 opening, 1 closing
		e.At = Clock.Add(time.Duration(i) * time.Second)
		add(t, r, e)
	}
	add(t, r, corrects(1, check(j.ID, Clock)))
	back := add(t, r, withdraws(2, j.ID))
	got, err := r.Summaries(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	want := []job.Summary{
		{Job: j, Checks: 1, Readings: 2, Captures: 1, Notes: 1, Works: 2, Closed: true, LastAt: back.At},
		{Job: empty},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("Summaries (-want +got):\n%s", diff)
	}
}

func clockJumpsBack(t *testing.T, r job.Record) {
	j := openJob(t, r)
	ahead := Clock.Add(time.Hour)
	behind := Clock.Add(-24 * time.Hour)
	east := time.FixedZone("UTC+9", 9*3600)
	first := add(t, r, note(j.ID, "a", ahead.In(east)))
	if !first.At.Equal(ahead) || first.At.Location() != time.UTC || !first.Clock.IsZero() {
		t.Errorf("kept at %v, clock %v; want %v in UTC and no clock", first.At, first.Clock, ahead)
	}
	second := add(t, r, note(j.ID, "b", behind))
	if !second.At.Equal(ahead) || !second.Clock.Equal(behind) {
		t.Errorf("kept at %v, clock %v; want %v and %v", second.At, second.Clock, ahead, behind)
	}
	later, err := r.AppendJob(t.Context(), job.Job{DefinitionSHA: j.DefinitionSHA, Opened: behind})
	if err != nil || !later.Opened.Equal(ahead) || !later.Clock.Equal(behind) {
		t.Errorf("job opened %v, clock %v (%v); want %v and %v", later.Opened, later.Clock, err, ahead, behind)
	}
	got, err := r.Entries(t.Context(), j.ID)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]job.Entry{first, second}, got); diff != "" {
		t.Errorf("Entries (-want +got):\n%s", diff)
	}
}

func documents(t *testing.T, r job.Record) {
	// SHA-256 of "abc": FIPS 180-2, appendix B.1.
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	for range 2 {
		if sha, err := r.PutDocument(t.Context(), []byte("abc")); err != nil || sha != abc {
			t.Fatalf("PutDocument(abc) = %s, %v; want %s", sha, err, abc)
		}
	}
	if got, err := r.Document(t.Context(), abc); err != nil || string(got) != "abc" {
		t.Errorf("Document = %q, %v; want abc", got, err)
	}
	if _, err := r.Document(t.Context(), abc[1:]); !isNotFound(err) {
		t.Errorf("unknown document: error %v, want NotFoundError", err)
	}
	want := job.Listing{Kind: job.TapeDocument, ID: "fen-12", Name: "Fen 12", SHA256: abc, Added: Clock}
	other := job.Listing{Kind: job.DefinitionDocument, ID: "x", Name: "X", SHA256: abc, Added: Clock}
	for _, l := range []job.Listing{want, other, want} {
		if err := r.AppendListing(t.Context(), l); err != nil {
			t.Fatal(err)
		}
	}
	got, err := r.Listings(t.Context(), job.TapeDocument)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]job.Listing{want, want}, got); diff != "" {
		t.Errorf("Listings (-want +got):\n%s", diff)
	}
	want.SHA256 = "00"
	if err := r.AppendListing(t.Context(), want); !isNotFound(err) {
		t.Errorf("listing what is not kept: error %v, want NotFoundError", err)
	}
}

func isNotFound(err error) bool {
	_, ok := errors.AsType[*job.NotFoundError](err)
	return ok
}
