package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
	"headstack/job/jobtest"
)

// damagedBench is a bench of some 200 entries in two jobs, with copies of the days on which it
// had inOld and inNew entries, as a kill left it: what is newest lies in the write-ahead log.
type damagedBench struct {
	files        map[string][]byte // by name in the folder
	entries      map[int64]job.Entry
	jobs         map[string]job.Job
	document     string
	capture      string
	inOld, inNew int64
}

func benchToDamage(t *testing.T) damagedBench {
	t.Helper()
	dir := t.TempDir()
	day := 0
	opt := Options{Now: func() time.Time { return jobtest.Clock.AddDate(0, 0, day) }}
	b := damagedBench{entries: map[int64]job.Entry{}, jobs: map[string]job.Job{}}
	s := open(t, dir, opt)
	for range 2 {
		j := openedJob(t, s)
		b.jobs[j.ID], b.document = j, j.DefinitionSHA
	}
	sha, _, err := s.Put(t.Context(), strings.NewReader("a capture"))
	if err != nil {
		t.Fatal(err)
	}
	b.capture = sha
	again := func() {
		day++
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = open(t, dir, opt)
		if s.CopyProblem() != nil {
			t.Fatal(s.CopyProblem())
		}
	}
	var last job.Entry
	for len(b.entries) < 200 {
		id := fmt.Sprintf("job-%04d", 1+len(b.entries)/7%2)
		samples := jobtest.Samples(id)
		e := samples[len(b.entries)%len(samples)]
		switch len(b.entries) % 10 {
		case 4:
			e = job.Entry{Job: id, Kind: job.KindNote, Remark: strings.Repeat(fmt.Sprintf("long %d ", len(b.entries)), 1200)} // over several pages
		case 9:
			e = job.Entry{Job: last.Job, Kind: job.KindNote, Corrects: last.Seq, Withdraw: true, Remark: "mistaken"}
		}
		e.At = jobtest.Clock.Add(time.Duration(len(b.entries)) * time.Minute)
		if last, err = s.AppendEntry(t.Context(), e); err != nil {
			t.Fatal(err)
		}
		b.entries[last.Seq] = last
		switch len(b.entries) {
		case 60:
			b.inOld = last.Seq
			again()
		case 120:
			b.inNew = last.Seq
			again()
		case 160:
			if _, err := s.write.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`); err != nil {
				t.Fatal(err)
			}
		}
	}
	b.files = map[string][]byte{}
	for _, pattern := range []string{databaseName, databaseName + "-wal", capturesName + "/*", backupsName + "/*"} {
		list, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range list {
			name, err := filepath.Rel(dir, path)
			if err != nil {
				t.Fatal(err)
			}
			if b.files[name], err = os.ReadFile(path); err != nil {
				t.Fatal(err)
			}
		}
	}
	if len(b.files) != 5 || len(b.files[databaseName+"-wal"]) < 10*usualPage {
		t.Fatalf("the bench is %v, its log %d bytes", slices.Sorted(maps.Keys(b.files)), len(b.files[databaseName+"-wal"]))
	}
	return b
}

// lay puts the files into a folder, without the copies where they are not wanted.
func lay(t *testing.T, files map[string][]byte, copies bool) string {
	t.Helper()
	dir := memoryDir(t)
	for name, data := range files {
		if !copies && strings.HasPrefix(name, backupsName) {
			continue
		}
		path := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, data, 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// damages are the ways in which a file is damaged; each gives the number of pages touched.
var damages = []struct {
	name string
	do   func(rng *rand.Rand, data []byte) ([]byte, int)
}{
	{"bytes flipped", func(rng *rand.Rand, data []byte) ([]byte, int) {
		pages := map[int]bool{}
		for range 1 + rng.IntN(20) {
			at := rng.IntN(len(data))
			data[at] ^= byte(1 + rng.IntN(255))
			pages[at/usualPage] = true
		}
		return data, len(pages)
	}},
	{"the first page", func(rng *rand.Rand, data []byte) ([]byte, int) {
		for range 40 {
			data[rng.IntN(usualPage)] ^= byte(1 + rng.IntN(255))
		}
		return data, 1
	}},
	{"cut short", func(rng *rand.Rand, data []byte) ([]byte, int) {
		n := rng.IntN(len(data))
		return data[:n], (len(data)-n+usualPage-1)/usualPage + 1
	}},
	{"pages of zeros", func(rng *rand.Rand, data []byte) ([]byte, int) {
		n := 1 + rng.IntN(4)
		for range n {
			at := rng.IntN(len(data)/usualPage) * usualPage
			clear(data[at : at+usualPage])
		}
		return data, n
	}},
	{"pages of anything", func(rng *rand.Rand, data []byte) ([]byte, int) {
		n := 1 + rng.IntN(4)
		for range n {
			at := rng.IntN(len(data)/usualPage) * usualPage
			for i := range usualPage {
				data[at+i] = byte(rng.Uint32())
			}
		}
		return data, n
	}},
}

// most is the most rows that a page of the database has.
func (b damagedBench) most(t *testing.T) (most int) {
	t.Helper()
	data := b.files[databaseName]
	for at := usualPage; at < len(data); at += usualPage {
		if data[at] == leafOfTable {
			most = max(most, int(binary.BigEndian.Uint16(data[at+3:])))
		}
	}
	if most < 3 {
		t.Fatalf("a page has %d rows at the most", most)
	}
	return most
}

// TestSalvage damages the database and its log 200 times. What is given of a record is as it
// was or is marked; what copies hold is never lost; no more is lost of the rest than lay on
// the pages that were touched; the folder is left as it was.
func TestSalvage(t *testing.T) {
	const seed, tries = 20310511, 200
	b := benchToDamage(t)
	most := b.most(t)
	rng := rand.New(rand.NewPCG(seed, 0))
	type share struct{ tries, entries, read, sure, wrong int }
	shares := map[string]*share{}
	for i := range tries {
		kind := damages[i%len(damages)]
		copies := i/len(damages)%2 == 0
		name := databaseName
		if i/(2*len(damages))%4 == 3 && kind.name != "the first page" {
			name += "-wal"
		}
		files := maps.Clone(b.files)
		touched := 0
		files[name], touched = kind.do(rng, bytes.Clone(files[name]))
		dir := lay(t, files, copies)
		s, err := Salvage(t.Context(), dir)
		if err != nil {
			t.Fatalf("%d of seed %d, %s: %v", i, seed, kind.name, err)
		}
		what := kind.name + map[bool]string{true: ", with copies", false: ", alone"}[copies]
		x := shares[what]
		if x == nil {
			x = &share{}
			shares[what] = x
		}
		x.tries, x.entries = x.tries+1, x.entries+len(b.entries)
		got := map[int64]job.Entry{}
		for id := range b.jobs {
			list, _ := s.Entries(t.Context(), id)
			for _, e := range list {
				got[e.Seq] = e
				x.read++
				_, doubt := s.Doubt(e.Seq)
				same := cmp.Equal(b.entries[e.Seq], e)
				if !doubt {
					x.sure++
				}
				if !same {
					x.wrong++
				}
				if !doubt && !same {
					t.Errorf("%d, %s: entry %d is wrong and not marked:\n%s", i, what, e.Seq, cmp.Diff(b.entries[e.Seq], e))
				}
			}
		}
		for seq := int64(1); copies && seq <= b.inNew; seq++ {
			if _, doubt := s.Doubt(seq); !cmp.Equal(got[seq], b.entries[seq]) && !doubt || seq <= b.inOld && doubt || got[seq].Seq == 0 {
				t.Errorf("%d, %s: entry %d, which a copy has: %v, doubt %v", i, what, seq, got[seq], doubt)
			}
		}
		if lost := len(b.entries) - len(got); lost > touched*most && name == databaseName {
			t.Errorf("%d, %s: %d entries lost, of %d pages with %d entries at the most", i, what, lost, touched, most)
		}
		if f, err := s.Open(t.Context(), b.capture); err != nil {
			t.Errorf("%d: %v", i, err)
		} else {
			_ = f.Close()
		}
		for _, sha := range must(s.DocumentHashes(t.Context())) {
			if data, err := s.Document(t.Context(), sha); err != nil || hashOf(data) != sha {
				t.Errorf("%d: document %s: %v", i, sha, err)
			}
		}
		checkUntouched(t, dir, files, copies)
		if t.Failed() {
			t.FailNow()
		}
	}
	for _, what := range slices.Sorted(maps.Keys(shares)) {
		x := shares[what]
		t.Logf("%-32s %3d benches: read %5.1f %% of the entries, sure of %5.1f %%; wrong and marked %.2f %%", what, x.tries,
			100*float64(x.read)/float64(x.entries), 100*float64(x.sure)/float64(x.entries), 100*float64(x.wrong)/float64(x.entries))
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func checkUntouched(t *testing.T, dir string, files map[string][]byte, copies bool) {
	t.Helper()
	n := 0
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		n++
		name, _ := filepath.Rel(dir, path)
		data, err := os.ReadFile(path)
		if err == nil && !bytes.Equal(data, files[filepath.ToSlash(name)]) {
			t.Errorf("%s was changed", name)
		}
		return err
	})
	want := len(files)
	if !copies {
		want -= 2
	}
	if err != nil || n != want {
		t.Errorf("the folder has %d files (%v), had %d", n, err, want)
	}
}

// TestSalvageOfAWholeBench: all is read, also where only the log has it, and what the copies
// do not have is marked.
func TestSalvageOfAWholeBench(t *testing.T) {
	b := benchToDamage(t)
	for _, copies := range []bool{true, false} {
		s, err := Salvage(t.Context(), lay(t, b.files, copies))
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Lost) > 0 || !copies && len(s.Sources) != 1 || copies && len(s.Sources) != 3 {
			t.Errorf("lost %v, read %v", s.Lost, s.Sources)
		}
		for _, sum := range must(s.Summaries(t.Context())) {
			if diff := cmp.Diff(b.jobs[sum.ID], sum.Job); diff != "" {
				t.Errorf("job (-want +got):\n%s", diff)
			}
			list, err := s.Entries(t.Context(), sum.ID)
			if err == nil || !strings.Contains(err.Error(), "in doubt") {
				t.Errorf("%s: %v", sum.ID, err)
			}
			for _, e := range list {
				if diff := cmp.Diff(b.entries[e.Seq], e); diff != "" {
					t.Errorf("entry (-want +got):\n%s", diff)
				}
				if _, doubt := s.Doubt(e.Seq); doubt != (!copies || e.Seq > b.inNew) {
					t.Errorf("entry %d: doubt %v", e.Seq, doubt)
				}
			}
		}
		if read, doubted := s.Count(); read != 200 || copies && doubted != 200-int(b.inNew) || !copies && doubted != 200 {
			t.Errorf("%d entries, %d in doubt", read, doubted)
		}
		if _, err := s.Document(t.Context(), b.document); err != nil {
			t.Error(err)
		}
	}
	if _, err := Salvage(t.Context(), t.TempDir()); err == nil || !strings.Contains(err.Error(), "neither") {
		t.Errorf("of an empty folder: %v", err)
	}
}

func FuzzRowsOf(f *testing.F) {
	f.Add([]byte(magic), []byte{})
	f.Add(append([]byte(magic+"\x10\x00"), make([]byte, 8192)...), make([]byte, 64))
	path := filepath.Join(f.TempDir(), databaseName)
	f.Fuzz(func(t *testing.T, db, wal []byte) {
		if err := errors.Join(os.WriteFile(path, db, 0o644), os.WriteFile(path+"-wal", wal, 0o644)); err != nil {
			t.Fatal(err)
		}
		x := salvage{entries: claims[int64, job.Entry]{}, jobs: claims[int64, job.Job]{}, listings: claims[int64, job.Listing]{}, documents: map[string][]byte{}}
		if err := rowsOf(path, x.row); err != nil {
			t.Fatal(err)
		}
		(&Salvaged{}).settle(&x)
	})
}
