package job_test

import (
	"errors"
	"strings"
	"testing"

	"headstack/job"
)

// TestDraftsAreKeptAndComeBack is the way of a definition in the making over an evening:
// kept at each change, gone on with after a restart, thrown away, taken back.
func TestDraftsAreKeptAndComeBack(t *testing.T) {
	b, rec, files := bench(t, job.BenchOptions{})
	first, err := b.KeepDraft(t.Context(), job.Draft{Text: "machine: 1\nid: ostler-4\nmake: Ostler\nname: Fourlane\n"})
	if err != nil {
		t.Fatal(err)
	}
	if first.ID != "draft-1" || first.Name != "Ostler Fourlane" || first.SHA == "" || first.Kept.IsZero() {
		t.Errorf("kept %+v", first)
	}
	broken := first
	broken.Text = "machine: [1\n" // in the middle of being typed
	broken, err = b.KeepDraft(t.Context(), broken)
	if err != nil || broken.ID != "draft-1" || broken.SHA == first.SHA {
		t.Fatalf("a draft that is no YAML: %+v, %v", broken, err)
	}
	b = job.NewBench(rec, files, job.BenchOptions{}) // as after a kill
	got, err := b.Draft(t.Context(), "draft-1")
	if err != nil || got.Text != broken.Text || !got.Kept.Equal(broken.Kept) {
		t.Errorf("after a restart %+v, %v", got, err)
	}

	// Another window still holds the first text: neither takes the place of the other.
	first.Text += "openings: []\n"
	fork, err := b.KeepDraft(t.Context(), first)
	if err != nil || fork.ID != "draft-2" {
		t.Fatalf("a change of an older text became %q, %v; want draft-2", fork.ID, err)
	}
	if got, _ := b.Draft(t.Context(), "draft-1"); got.Text != broken.Text {
		t.Errorf("draft-1 lost its text: %q", got.Text)
	}
	if list, err := b.Drafts(t.Context()); err != nil || len(list) != 2 || list[0].ID != "draft-2" {
		t.Errorf("listed %v, %v; want draft-2 first", list, err)
	}

	if _, err := b.DropDraft(t.Context(), "draft-1"); err != nil {
		t.Fatal(err)
	}
	var none *job.NotFoundError
	if _, err := b.Draft(t.Context(), "draft-1"); !errors.As(err, &none) {
		t.Errorf("a draft that was thrown away: %v", err)
	}
	if _, err := b.DropDraft(t.Context(), "draft-1"); !errors.As(err, &none) {
		t.Errorf("thrown away twice: %v", err)
	}
	if late, err := b.KeepDraft(t.Context(), got); err != nil || late.ID != "draft-3" {
		t.Errorf("a change of one that was thrown away became %q, %v; want a draft of its own", late.ID, err)
	}
	if back, err := b.ReturnDraft(t.Context(), "draft-1"); err != nil || back.Text != broken.Text {
		t.Errorf("taken back: %+v, %v", back, err)
	}
	if back, err := b.ReturnDraft(t.Context(), "draft-1"); err != nil || back.Text != broken.Text {
		t.Errorf("taken back again: %+v, %v", back, err)
	}
	if _, err := b.ReturnDraft(t.Context(), "draft-9"); !errors.As(err, &none) {
		t.Errorf("one that never was: %v", err)
	}
	var long *job.InvalidError
	if _, err := b.KeepDraft(t.Context(), job.Draft{Text: strings.Repeat("#", 3<<20)}); !errors.As(err, &long) {
		t.Errorf("3 MB: %v", err)
	}
}
