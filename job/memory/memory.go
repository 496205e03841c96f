// Package memory is a job.Record and job.Files that live as long as the program:
// for tests of what stands on a bench, and for trying things out. It keeps to
// the same rules as the record on disk; the suite in job/jobtest runs on both.
package memory

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"sync"
	"time"

	"headstack/job"
)

// Record is an empty record ready for use.
type Record struct {
	mu       sync.Mutex
	jobs     []job.Job
	entries  []job.Entry // Seq is the index + 1
	docs     map[string][]byte
	listings []job.Listing
	last     time.Time // of what was appended last

	onceJob   map[string]job.Job
	onceEntry map[string]int64 // Seq
}

var _ job.Record = (*Record)(nil)

// AppendJob is job.Record's.
func (r *Record) AppendJob(_ context.Context, j job.Job) (job.Job, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := job.CheckTime(j.Opened); err != nil {
		return job.Job{}, err
	}
	if kept, ok := r.onceJob[j.Once]; ok {
		return kept, nil
	}
	if _, ok := r.docs[j.DefinitionSHA]; !ok {
		return job.Job{}, &job.NotFoundError{What: "document", ID: j.DefinitionSHA}
	}
	once := j.Once
	j.Once = ""
	j.ID = job.JobID(int64(len(r.jobs) + 1))
	j.Opened, j.Clock = job.Stamp(j.Opened, r.last)
	r.last = j.Opened
	r.jobs = append(r.jobs, j)
	if once != "" {
		if r.onceJob == nil {
			r.onceJob = make(map[string]job.Job)
		}
		r.onceJob[once] = j
	}
	return j, nil
}

// Job is job.Record's.
func (r *Record) Job(_ context.Context, id string) (job.Job, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.find(id)
}

func (r *Record) find(id string) (job.Job, error) {
	for _, j := range r.jobs {
		if j.ID == id {
			return j, nil
		}
	}
	return job.Job{}, &job.NotFoundError{What: "job", ID: id}
}

// Summaries is job.Record's.
func (r *Record) Summaries(context.Context) ([]job.Summary, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]job.Summary, len(r.jobs))
	for i, j := range r.jobs {
		out[i] = job.Summary{Job: j}
		own := r.of(j.ID)
		if len(own) > 0 {
			out[i].LastAt = own[len(own)-1].At
		}
		for _, e := range job.Current(own) {
			switch e.Kind {
			case job.KindCheck:
				out[i].Checks++
			case job.KindReading:
				out[i].Readings++
			case job.KindCapture:
				out[i].Captures++
			case job.KindNote:
				out[i].Notes++
			case job.KindWork:
				out[i].Works++
			case job.KindClosing:
				out[i].Closed = true
			}
		}
	}
	return out, nil
}

func (r *Record) of(jobID string) []job.Entry {
	var out []job.Entry
	for _, e := range r.entries {
		if e.Job == jobID {
			out = append(out, e)
		}
	}
	return out
}

// AppendEntry is job.Record's.
func (r *Record) AppendEntry(_ context.Context, e job.Entry) (job.Entry, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := job.CheckShape(e); err != nil {
		return job.Entry{}, err
	}
	if seq, ok := r.onceEntry[e.Once]; ok {
		kept := r.entries[seq-1].Clone()
		return kept, job.CheckOnce(kept, e)
	}
	if _, err := r.find(e.Job); err != nil {
		return job.Entry{}, err
	}
	if err := r.checkCorrection(e); err != nil {
		return job.Entry{}, err
	}
	if err := job.CheckSeen(e, r.newer(e)); err != nil {
		return job.Entry{}, err
	}
	once := e.Once
	e.Once, e.Seen = "", 0
	n := int64(1)
	for _, old := range r.of(e.Job) {
		if old.Kind == e.Kind {
			n++
		}
	}
	e.Seq = int64(len(r.entries) + 1)
	e.Ref = job.EntryRef(e.Kind, n)
	e.At, e.Clock = job.Stamp(e.At, r.last)
	r.last = e.At
	r.entries = append(r.entries, e.Clone())
	if once != "" {
		if r.onceEntry == nil {
			r.onceEntry = make(map[string]int64)
		}
		r.onceEntry[once] = e.Seq
	}
	return e, nil
}

// newer are the entries after what e has seen that upset it.
func (r *Record) newer(e job.Entry) []job.Entry {
	var out []job.Entry
	for _, x := range r.of(e.Job) {
		if x.Seq > e.Seen && job.Upsets(x, e) {
			out = append(out, job.Entry{Seq: x.Seq, Ref: x.Ref, Job: x.Job, At: x.At, Kind: x.Kind, Withdraw: x.Withdraw, Remark: x.Remark})
		}
	}
	return out
}

func (r *Record) checkCorrection(e job.Entry) error {
	if e.Corrects == 0 {
		return nil
	}
	if e.Corrects > int64(len(r.entries)) {
		return job.EntryNotFound(e.Corrects)
	}
	var by *job.Entry
	for i := range r.entries {
		if r.entries[i].Corrects == e.Corrects {
			by = &r.entries[i]
		}
	}
	return job.CheckCorrection(r.entries[e.Corrects-1], by, e)
}

// Entries is job.Record's.
func (r *Record) Entries(_ context.Context, jobID string) ([]job.Entry, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, err := r.find(jobID); err != nil {
		return nil, err
	}
	out := r.of(jobID)
	for i := range out {
		out[i] = out[i].Clone()
	}
	return out, nil
}

// EntriesBut is job.Record's.
func (r *Record) EntriesBut(ctx context.Context, jobID string, without job.Kind) ([]job.Entry, error) {
	list, err := r.Entries(ctx, jobID)
	return slices.DeleteFunc(list, func(e job.Entry) bool { return e.Kind == without }), err
}

// PutDocument is job.Record's.
func (r *Record) PutDocument(_ context.Context, data []byte) (string, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	sum := sha256.Sum256(data)
	sha := hex.EncodeToString(sum[:])
	if r.docs == nil {
		r.docs = make(map[string][]byte)
	}
	if _, ok := r.docs[sha]; !ok {
		r.docs[sha] = slices.Clone(data)
	}
	return sha, nil
}

// Document is job.Record's.
func (r *Record) Document(_ context.Context, sha string) ([]byte, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	data, ok := r.docs[sha]
	if !ok {
		return nil, &job.NotFoundError{What: "document", ID: sha}
	}
	return slices.Clone(data), nil
}

// AppendListing is job.Record's.
func (r *Record) AppendListing(_ context.Context, l job.Listing) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := job.CheckTime(l.Added); err != nil {
		return err
	}
	if _, ok := r.docs[l.SHA256]; !ok {
		return &job.NotFoundError{What: "document", ID: l.SHA256}
	}
	l.Added = l.Added.UTC().Round(0)
	r.listings = append(r.listings, l)
	return nil
}

// Listings is job.Record's.
func (r *Record) Listings(_ context.Context, kind job.DocumentKind) ([]job.Listing, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	var out []job.Listing
	for _, l := range r.listings {
		if l.Kind == kind {
			out = append(out, l)
		}
	}
	return out, nil
}
