package handout

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"

	"headstack/job"
	"headstack/report"
)

// Stamp says which record a document was made from.
type Stamp struct {
	Job     string // id
	Entries int    // that the record had
	SHA256  string // of the record, as [report.RecordHash] reckons it
}

// StampOf is the stamp of a record as it stands.
func StampOf(v *job.View) (Stamp, error) {
	hash, err := report.RecordHash(v)
	return Stamp{v.Job.ID, len(v.Entries), hash}, err
}

func (s Stamp) String() string {
	return fmt.Sprintf("job=%s entries=%d sha256=%s", s.Job, s.Entries, s.SHA256)
}

// keywords is the stamp as it stands in a PDF file, where it can be found again.
func (s Stamp) keywords() string { return "headstack-record " + s.String() }

// stamps finds a stamp where only a document of ours has it: in the keywords of a PDF and in
// the head of an HTML report. Free text of a record cannot look like either.
var stamps = regexp.MustCompile(`(?:/Keywords \(headstack-record|<meta name="headstack-record" content=")\s*job=([A-Za-z0-9._-]{1,100}) entries=(\d{1,9}) sha256=([0-9a-f]{64})`)

// ErrNoStamp says that a file does not name a record.
var ErrNoStamp = errors.New("the file does not say which record it was made from")

// ReadStamp finds in a document which record it was made from. The error is [ErrNoStamp].
func ReadStamp(document []byte) (Stamp, error) {
	m := stamps.FindSubmatch(document)
	if m == nil {
		return Stamp{}, ErrNoStamp
	}
	n, err := strconv.Atoi(string(m[2]))
	if err != nil {
		return Stamp{}, ErrNoStamp
	}
	return Stamp{string(m[1]), n, string(m[3])}, nil
}

// Held is how a record stands to a document made from it.
type Held string

// What can have become of a record.
const (
	Same    Held = "same"    // it is that record
	Grown   Held = "grown"   // it is that record and what was added since
	Differs Held = "differs" // it is another record
)

// Check says whether a job still has the record of the stamp. More is how many entries were
// added since, of a record that has grown. A job of another id differs.
func (s Stamp) Check(v *job.View) (h Held, more int, err error) {
	if v.Job.ID != s.Job || len(v.Entries) < s.Entries {
		return Differs, 0, nil
	}
	hash, err := report.RecordHashAt(v, s.Entries)
	switch {
	case err != nil:
		return "", 0, err
	case hash != s.SHA256:
		return Differs, 0, nil
	case len(v.Entries) > s.Entries:
		return Grown, len(v.Entries) - s.Entries, nil
	}
	return Same, 0, nil
}
