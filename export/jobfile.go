package export

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"headstack/job"
)

// readJobDocument reads jobs/ID.json, one entry after the other: a job may be longer than
// there is memory, an entry may not.
func readJobDocument(ctx context.Context, t *Tree, name string, onJob func(job.Job) error, onEntry func(job.Entry) error) error {
	f, err := t.open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	in := &rationed{r: contextReader{ctx, f}, left: mostEntry}
	dec := json.NewDecoder(in)
	dec.DisallowUnknownFields()
	bad := func(err error) error {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if _, ok := errors.AsType[*BadError](err); ok {
			return err
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return &BadError{File: name, Byte: dec.InputOffset() + 1, Problem: "ends too early"}
		}
		e := jsonError(name, 0, err).(*BadError)
		e.Byte = max(e.Byte, dec.InputOffset()+1) // a type error counts from its value
		return e
	}
	want := func(tokens ...json.Token) error {
		for _, w := range tokens {
			in.left = mostEntry
			got, err := dec.Token()
			if err != nil {
				return bad(err)
			}
			if got != w {
				return &BadError{File: name, Byte: dec.InputOffset(), Problem: fmt.Sprintf("has %v where %v should stand", got, w)}
			}
		}
		return nil
	}
	if err := want(json.Delim('{'), "headstack_job", float64(format), "job"); err != nil {
		return err
	}
	var j job.Job
	if err := dec.Decode(&j); err != nil {
		return bad(err)
	}
	if err := onJob(j); err != nil {
		return err
	}
	if err := want("entries", json.Delim('[')); err != nil {
		return err
	}
	for dec.More() {
		in.left = mostEntry
		var e job.Entry
		if err := dec.Decode(&e); err != nil {
			return bad(err)
		}
		if err := onEntry(e); err != nil {
			if b, ok := errors.AsType[*BadError](err); ok && b.Byte == 0 {
				b.Byte = dec.InputOffset()
			}
			return err
		}
	}
	if err := want(json.Delim(']'), json.Delim('}')); err != nil {
		return err
	}
	in.left = mostEntry
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return &BadError{File: name, Byte: dec.InputOffset() + 1, Problem: "goes on after its end"}
	}
	return nil
}

// rationed gives at most so many bytes until it is told that more may come: what is decoded
// in one piece stands in memory in one piece.
type rationed struct {
	r    io.Reader
	left int
}

func (r *rationed) Read(p []byte) (int, error) {
	if r.left <= 0 {
		return 0, fmt.Errorf("a single entry of over %d bytes", mostEntry)
	}
	if len(p) > r.left {
		p = p[:r.left]
	}
	n, err := r.r.Read(p)
	r.left -= n
	return n, err
}

// head is what the rules for corrections look at.
type head struct {
	ref      string
	kind     job.Kind
	withdraw bool
	by       int64 // the entry that corrects or withdraws it
}

// jobRules holds the entries of a job against the rules by which a record grows.
type jobRules struct {
	c       *checking
	name    string
	id      string
	last    int64
	at      time.Time // of the job or entry before
	heads   map[int64]head
	numbers map[job.Kind]int64 // the last of each kind
}

func (r *jobRules) bad(format string, args ...any) error {
	return &BadError{File: r.name, Problem: fmt.Sprintf(format, args...)}
}

func (r *jobRules) job(j job.Job) error {
	if j.ID != r.id {
		return r.bad("is of %q by what stands in it", j.ID)
	}
	if err := job.CheckKeptJob(j); err != nil {
		return r.bad("has a job that no bench has: %v", err)
	}
	if !r.c.documents[j.DefinitionSHA] {
		return r.bad("was opened with the definition %s, which is not in the export", j.DefinitionSHA)
	}
	r.at = j.Opened
	return r.c.content.job(j)
}

func (r *jobRules) entry(e job.Entry) error {
	if err := job.CheckKeptEntry(e); err != nil {
		return r.bad("has an entry %d that no bench has: %v", e.Seq, err)
	}
	n, _ := job.ParseEntryRef(e.Kind, e.Ref)
	switch {
	case e.Job != r.id:
		return r.bad("has an entry %d of %q", e.Seq, e.Job)
	case e.Seq <= r.last:
		return r.bad("has entry %d after entry %d, where they rise", e.Seq, r.last)
	case r.c.seqs[e.Seq]:
		return r.bad("has an entry %d, and so has another job", e.Seq)
	case n <= r.numbers[e.Kind]:
		return r.bad("has %s after %s, where they rise", e.Ref, job.EntryRef(e.Kind, r.numbers[e.Kind]))
	case e.At.Before(r.at):
		return r.bad("has an entry %d of a time before the one before it", e.Seq)
	case len(r.c.seqs) == mostEntries:
		return r.bad("has more entries than the %d that are taken", mostEntries)
	}
	if e.Corrects != 0 {
		if err := r.mayCorrect(e); err != nil {
			return err
		}
	}
	r.last, r.at, r.numbers[e.Kind], r.c.seqs[e.Seq] = e.Seq, e.At, n, true
	r.heads[e.Seq] = head{ref: e.Ref, kind: e.Kind, withdraw: e.Withdraw}
	if c := e.Capture; c != nil {
		r.c.named = append(r.c.named, use{c.SHA256, e.Ref + " of " + e.Job})
	}
	if p := e.Photograph; p != nil {
		r.c.named = append(r.c.named, use{p.SHA256, e.Ref + " of " + e.Job}, use{p.Copy, e.Ref + " of " + e.Job})
	}
	return r.c.content.entry(e)
}

func (r *jobRules) mayCorrect(e job.Entry) error {
	was, ok := r.heads[e.Corrects]
	if !ok {
		return r.bad("has an entry %d that corrects entry %d, which the job does not have before it", e.Seq, e.Corrects)
	}
	var by *job.Entry
	if was.by != 0 {
		b := r.heads[was.by]
		by = &job.Entry{Seq: was.by, Ref: b.ref, Withdraw: b.withdraw}
	}
	target := job.Entry{Seq: e.Corrects, Job: r.id, Ref: was.ref, Kind: was.kind, Withdraw: was.withdraw}
	if err := job.CheckCorrection(target, by, e); err != nil {
		return r.bad("has an entry %d that no bench has: %v", e.Seq, err)
	}
	was.by = e.Seq
	r.heads[e.Corrects] = was
	return nil
}
