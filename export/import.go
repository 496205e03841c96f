package export

import (
	"context"
	"fmt"

	"headstack/job"
)

// Bench is what an export is put back into.
type Bench interface {
	job.Restorer
	job.Contents
}

// Import puts an export that was checked into an empty bench. All of it is kept in one step
// or nothing is; what the bench holds then is read again and held against the export.
// Errors: [headstack/job.NotEmptyError], [StrayError], [BadError] where the export was altered
// since.
func (c *Checked) Import(ctx context.Context, into Bench) error {
	if err := into.Restore(ctx, func(r job.Restoring) error { return c.put(ctx, r) }); err != nil {
		return err
	}
	got, err := ContentOf(ctx, into)
	if err != nil {
		return fmt.Errorf("reading what was imported: %w", err)
	}
	if got != c.Content {
		return fmt.Errorf("the bench holds %v after the import and the export %v; do not use the bench, and keep the export", got, c.Content)
	}
	return nil
}

// ImportOptions change which exports are taken; the zero value is for use.
type ImportOptions struct {
	// Incomplete takes an export that says that parts of it are lost.
	Incomplete bool
}

// LostError says that parts of an export are lost. Nothing was imported.
type LostError struct{ Lost []Lost }

func (e *LostError) Error() string {
	return fmt.Sprintf("%d parts of the bench could not be read when this was exported, the first is %s %s (%s); nothing was imported",
		len(e.Lost), e.Lost[0].What, e.Lost[0].ID, e.Lost[0].Reason)
}

// Hint says what to do.
func (e *LostError) Hint() string {
	return LostName + " in the export names them all; import a whole export or restore a backup, or take what there is with --incomplete"
}

// LostName is the file of an export that names what is lost.
const LostName = lostName

// put gives everything to an empty bench, what is pointed at before what points.
func (c *Checked) put(ctx context.Context, r job.Restoring) error {
	if err := c.putFiles(ctx, r); err != nil {
		return err
	}
	for _, name := range c.kept {
		want, _ := hashOfName(name, documentsDir)
		data, err := c.tree.read(name, mostDocument)
		if err != nil {
			return err
		}
		if got, err := r.Document(ctx, data); err != nil || got != want {
			return changedMeanwhile(name, want, got, err)
		}
	}
	listings, err := readListings(c.tree)
	if err != nil {
		return err
	}
	for _, l := range listings {
		if err := r.Listing(ctx, l); err != nil {
			return err
		}
	}
	for _, id := range c.jobs {
		err := readJobDocument(ctx, c.tree, jobName(id, ".json"),
			func(j job.Job) error { return r.Job(ctx, j) },
			func(e job.Entry) error { return r.Entry(ctx, e) })
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}

func (c *Checked) putFiles(ctx context.Context, r job.Restoring) error {
	put := map[string]bool{}
	for _, name := range c.files {
		want, _ := hashOfName(name, capturesDir, picturesDir, othersDir)
		f, err := c.tree.open(name)
		if err != nil {
			return err
		}
		got, err := r.File(ctx, f)
		f.Close()
		if err != nil || got.SHA256 != want {
			return changedMeanwhile(name, want, got.SHA256, err)
		}
		put[want] = true
	}
	there, err := r.KeptFiles(ctx)
	if err != nil {
		return err
	}
	for _, k := range there {
		if !put[k.SHA256] {
			return &StrayError{k.SHA256}
		}
	}
	return nil
}

func changedMeanwhile(name, want, got string, err error) error {
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return &BadError{File: name, Problem: fmt.Sprintf("was altered while it was read: it had the SHA-256 %s and has %s", want, got)}
}

// StrayError says that an empty bench has a kept file that the export has not: of an upload
// or of an import of another export that was broken off. Nothing was imported.
type StrayError struct{ SHA256 string }

func (e *StrayError) Error() string {
	return fmt.Sprintf("the bench has no job, but a kept file %s that is not in the export, of an upload or of another import that was broken off; nothing was imported", e.SHA256)
}

// Hint says what to do.
func (e *StrayError) Hint() string { return "name a folder that is not there yet with --bench DIR" }
