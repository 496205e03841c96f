package handout_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"headstack/handout"
)

// FuzzReadStamp: of any bytes at most one stamp is read, it is one that a document of ours
// could carry, and written into one it is read back.
func FuzzReadStamp(f *testing.F) {
	hash := strings.Repeat("0f", 32)
	for _, s := range []string{"/Keywords (headstack-record job=job-0001 entries=12 sha256=" + hash + ")",
		`<meta name="headstack-record" content="job=job-0001 entries=0 sha256=` + hash + `">`,
		"job=job-0001 entries=12 sha256=" + hash, "%PDF-1.7 /Keywords (headstack-record job=../../etc entries=1 sha256=" + hash, ""} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := handout.ReadStamp(data)
		if err != nil {
			if !errors.Is(err, handout.ErrNoStamp) || s != (handout.Stamp{}) {
				t.Fatalf("%+v, %v", s, err)
			}
			return
		}
		if s.Entries < 0 || len(s.SHA256) != 64 || s.Job == "" || len(s.Job) > 100 || strings.ContainsAny(s.Job, "/\\<>\"'() \x00") {
			t.Fatalf("read %+v", s)
		}
		again, err := handout.ReadStamp(fmt.Appendf(nil, `<meta name="headstack-record" content="%s">`, s))
		if err != nil || again != s {
			t.Fatalf("%+v written is read as %+v, %v", s, again, err)
		}
	})
}
