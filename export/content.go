package export

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"

	"headstack/job"
)

// Content says what a bench holds. Two benches with the same have the same record; see the
// package's comment for what SHA256 is made from.
type Content struct {
	SHA256    string `json:"sha256"`
	Jobs      int    `json:"jobs"`
	Entries   int    `json:"entries"`
	Documents int    `json:"documents"`
	Listings  int    `json:"listings"`
	Files     int    `json:"files"`
	Bytes     int64  `json:"bytes"` // of the files
}

func (c Content) String() string { return c.held() + "; content " + c.SHA256 }

func (c Content) held() string {
	return fmt.Sprintf("%s, %s, %s, %s", counted(c.Jobs, "job", "jobs"), counted(c.Entries, "entry", "entries"),
		counted(c.Documents, "document", "documents"), counted(c.Files, "kept file", "kept files"))
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprint(n, " ", many)
}

// ContentOf reads what a bench holds. Documents are held against their hashes; the bytes of
// files are not looked at.
func ContentOf(ctx context.Context, src job.Contents) (Content, error) {
	t := newTally()
	hashes, err := src.DocumentHashes(ctx)
	if err != nil {
		return Content{}, err
	}
	for _, sha := range hashes {
		data, err := src.Document(ctx, sha)
		if err != nil {
			return Content{}, err
		}
		t.document(sha, int64(len(data)))
	}
	listings, err := src.AllListings(ctx)
	if err != nil {
		return Content{}, err
	}
	for _, l := range listings {
		if err := t.listing(l); err != nil {
			return Content{}, err
		}
	}
	jobs, err := src.Summaries(ctx)
	if err != nil {
		return Content{}, err
	}
	for _, j := range jobs {
		entries, err := src.Entries(ctx, j.ID)
		if err == nil {
			err = t.job(j.Job)
		}
		for i := 0; err == nil && i < len(entries); i++ {
			err = t.entry(entries[i])
		}
		if err != nil {
			return Content{}, err
		}
	}
	files, err := src.KeptFiles(ctx)
	for _, f := range files {
		t.file(f)
	}
	return t.sum(), err
}

// tally is a Content in the making: what it holds is told to it in the order of the hash.
type tally struct {
	Content
	h hash.Hash
}

func newTally() *tally {
	t := &tally{h: sha256.New()}
	fmt.Fprintln(t.h, "headstack content 1")
	return t
}

func (t *tally) document(sha string, size int64) {
	t.Documents++
	fmt.Fprintf(t.h, "document %s %d\n", sha, size)
}

func (t *tally) listing(l job.Listing) error {
	t.Listings++
	return t.line("listing", l)
}

func (t *tally) job(j job.Job) error {
	t.Jobs++
	return t.line("job", j)
}

func (t *tally) entry(e job.Entry) error {
	t.Entries++
	return t.line("entry", e)
}

func (t *tally) file(f job.KeptFile) {
	t.Files++
	t.Bytes += f.Bytes
	fmt.Fprintf(t.h, "file %s %d\n", f.SHA256, f.Bytes)
}

func (t *tally) line(what string, v any) error {
	data, err := marshal(v)
	if err != nil {
		return err
	}
	fmt.Fprintf(t.h, "%s %s\n", what, data)
	return nil
}

func (t *tally) sum() Content {
	c := t.Content
	c.SHA256 = hex.EncodeToString(t.h.Sum(nil))
	return c
}

// marshal writes JSON on one line, "<" as itself: it is to be read by people too.
func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}
