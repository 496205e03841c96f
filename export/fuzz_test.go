package export_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"headstack/export"
)

// parts are what FuzzImport puts something else in the place of.
var parts = []string{"", "bench.json", "SHA256SUMS", "listings.json", "jobs/job-0001.json", "jobs/job-0002.json"}

// FuzzImport reads exports that are made up: a whole zip file, or one good but for one file,
// whose hash fits where that is not the file of hashes itself. It never panics; what it
// refuses it refuses with a word on where and what to do; what it takes is what the manifest says.
func FuzzImport(f *testing.F) {
	data, bench := exported(f)
	want, err := export.ContentOf(f.Context(), bench)
	if err != nil {
		f.Fatal(err)
	}
	list := unzip(f, data)
	f.Add(uint8(0), data)
	f.Add(uint8(0), data[:len(data)/2])
	f.Add(uint8(0), rezip(f, list[:3]))
	for i, name := range parts[1:] {
		f.Add(uint8(i+1), list[at(list, name)].data)
	}
	f.Add(uint8(4), []byte(`{"headstack_job":1,"job":{"ID":"job-0001"},"entries":[]}`))
	f.Add(uint8(4), []byte(`{"headstack_job":1,"job":{},"entries":[{"Seq":1,"Kind":"note","Corrects":1}]}`))
	f.Add(uint8(2), []byte("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855 *x\n"))
	// Without the tables and captures there is less to hash, and more is tried.
	small := slices.DeleteFunc(slices.Clone(list), func(m member) bool { return bytes.HasPrefix([]byte(m.name), []byte("tables/")) })
	f.Fuzz(func(t *testing.T, part uint8, text []byte) {
		packed := text
		if name := parts[int(part)%len(parts)]; name != "" {
			changed := slices.Clone(small)
			changed[at(changed, name)].data = text
			if name != "SHA256SUMS" {
				changed = resum(changed)
			}
			packed = rezip(t, changed)
		}
		tree, err := export.OpenZip(bytes.NewReader(packed), int64(len(packed)))
		var c *export.Checked
		if err == nil {
			defer tree.Close()
			c, err = export.Check(t.Context(), tree, export.ImportOptions{})
		}
		var hint interface{ Hint() string }
		switch {
		case err != nil && (!errors.As(err, &hint) || hint.Hint() == ""):
			t.Fatalf("error %v says nothing of what to do", err)
		case err == nil && part%uint8(len(parts)) > 3 && c.Content != want:
			t.Fatalf("another record is taken for that of the manifest: %v, want %v", c.Content, want)
		}
	})
}
