package export_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"headstack/export"
	"headstack/job"
	"headstack/store"
)

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// resum writes SHA256SUMS anew, as one would who alters an export and knows how: what is left
// to refuse it is what it says.
func resum(list []member) []member {
	var b bytes.Buffer
	for _, m := range list {
		if m.name != "SHA256SUMS" {
			fmt.Fprintf(&b, "%s  %s\n", hashOf(m.data), m.name)
		}
	}
	out := slices.DeleteFunc(slices.Clone(list), func(m member) bool { return m.name == "SHA256SUMS" })
	return append(out, member{name: "SHA256SUMS", data: b.Bytes()})
}

// replaced has another text in one file; it is an error of the test when the old one is not
// there.
func replaced(t testing.TB, list []member, name, from, to string) []member {
	t.Helper()
	list = slices.Clone(list)
	m := &list[at(list, name)]
	if !bytes.Contains(m.data, []byte(from)) {
		t.Fatalf("%s has no %q", name, from)
	}
	m.data = bytes.Replace(m.data, []byte(from), []byte(to), 1)
	return list
}

func without(list []member, name string) []member {
	return slices.DeleteFunc(slices.Clone(list), func(m member) bool { return m.name == name })
}

// TestBadExportsAreRefusedWhole imports each into an empty bench, which must be as empty after
// it; want is a word of where it is wrong and one of what is.
func TestBadExportsAreRefusedWhole(t *testing.T) {
	data, _ := exported(t)
	list := unzip(t, data)
	wav := captured(t, list)
	first := string(list[at(list, "jobs/job-0001.json")].data)
	manifest := func(from, to string) []byte { return rezip(t, resum(replaced(t, list, "bench.json", from, to))) }
	job1 := func(from, to string) []byte {
		return rezip(t, resum(replaced(t, list, "jobs/job-0001.json", from, to)))
	}
	corrects := regexp.MustCompile(`"Corrects":\d+`)
	secondSeq := regexp.MustCompile(`"Seq":(\d+)`).FindStringSubmatch(string(list[at(list, "jobs/job-0002.json")].data))[1]
	firstSeq := regexp.MustCompile(`"Seq":(\d+)`).FindStringSubmatch(first)[1]
	correction := corrects.FindAllString(first, -1)
	i := slices.IndexFunc(correction, func(s string) bool { return s != `"Corrects":0` })
	cases := []struct {
		name string
		data []byte
		want []string
	}{
		{"nothing", nil, []string{"no zip file"}},
		{"no zip file", []byte("PK but not"), []string{"no zip file"}},
		{"cut off", data[:len(data)*2/3], []string{"its end is missing"}},
		{"one byte turned in a capture", flipped(t, data, list[at(list, wav)].data), []string{wav, "cannot be read"}},
		{"one byte turned, and packed again", rezip(t, spoiled(list, wav)), []string{wav, "was altered", "SHA256SUMS says"}},
		{"a table was saved again", rezip(t, spoiled(list, "tables/checks.csv")), []string{"tables/checks.csv", "was altered"}},
		{"a capture is missing", rezip(t, without(list, wav)), []string{"SHA256SUMS, line", wav, "missing"}},
		{"a capture is missing without a trace", rezip(t, resum(without(list, wav))), []string{"lacks the file"}},
		{"a capture is not what its name says", rezip(t, resum(spoiled(list, wav))), []string{wav, "not what its name says"}},
		{"a file that leads out", rezip(t, append(slices.Clone(list), member{name: "../../etc/cron.d/x", data: []byte("x")})), []string{"../../etc/cron.d/x", "none inside of an export"}},
		{"a file from the root", rezip(t, append(slices.Clone(list), member{name: "/etc/passwd", data: []byte("x")})), []string{"/etc/passwd"}},
		{"a file of a drive", rezip(t, append(slices.Clone(list), member{name: `C:\x`, data: []byte("x")})), []string{"none inside of an export"}},
		{"a link", rezip(t, append(slices.Clone(list), member{name: "captures/link.wav", data: []byte("/etc/passwd"), mode: 0o120777})), []string{"captures/link.wav", "a link"}},
		{"a name twice", rezip(t, append(slices.Clone(list), list[at(list, wav)])), []string{wav, "is there twice"}},
		{"a newer layout", manifest(`"headstack_export": 1`, `"headstack_export": 2`), []string{"bench.json", "layout 2", "up to 1"}},
		{"no layout", manifest(`"headstack_export": 1`, `"other_export": 1`), []string{"bench.json", "headstack_export"}},
		{"another zip file", rezip(t, []member{{name: "notes.txt", data: []byte("hello")}}), []string{"no export of a bench"}},
		{"two exports", rezip(t, append(under("a/", list), under("b/", list)...)), []string{"2 exports"}},
		{"no sums", rezip(t, without(list, "SHA256SUMS")), []string{"SHA256SUMS", "missing"}},
		{"a line of sums is wrong", rezip(t, replaced(t, list, "SHA256SUMS", "  README.txt", " README.txt")), []string{"SHA256SUMS, line 1", "two spaces"}},
		{"sums lead out", rezip(t, replaced(t, list, "SHA256SUMS", "  README.txt", "  ../README.txt")), []string{"SHA256SUMS, line 1", "none inside"}},
		{"sums name a file twice", rezip(t, replaced(t, list, "SHA256SUMS", "  index.html", "  README.txt")), []string{"SHA256SUMS, line", "does already"}},
		{"two jobs of one id", manifest(`"job-0002"`, `"job-0001"`), []string{"bench.json", "job-0001", "the same number"}},
		{"a job in the place of another", rezip(t, resum(replaced(t, list, "jobs/job-0001.json", `"ID":"job-0001"`, `"ID":"job-0002"`))), []string{"jobs/job-0001.json", `"job-0002"`}},
		{"a job of no list", rezip(t, resum(append(slices.Clone(list), member{name: "jobs/job-0003.json", data: []byte("{}")}))), []string{"jobs/job-0003.json", "does not speak"}},
		{"a job that is no id", manifest(`"job-0002"`, `"../job"`), []string{"../job", "no id"}},
		{"an entry corrects nothing", job1(correction[i], `"Corrects":`+secondSeq), []string{"jobs/job-0001.json", "corrects entry " + secondSeq, "does not have"}},
		{"an entry corrects one of another kind", job1(correction[i], `"Corrects":`+firstSeq), []string{"jobs/job-0001.json", "of another kind"}},
		{"two entries of one number", rezip(t, resum(replaced(t, list, "jobs/job-0002.json", `"Seq":`+secondSeq+`,`, `"Seq":`+firstSeq+`,`))), []string{"jobs/job-0002.json", "so has another job"}},
		{"an entry of another job", job1(`"Ref":"check 1","Job":"job-0001"`, `"Ref":"check 1","Job":"job-0002"`), []string{"jobs/job-0001.json", `of "job-0002"`}},
		{"an entry of no kind", job1(`"Kind":"check"`, `"Kind":"guess"`), []string{"jobs/job-0001.json", "guess", "no kind of entry"}},
		{"an entry with a field of a later program", job1(`"Kind":"check"`, `"Mood":"good","Kind":"check"`), []string{"jobs/job-0001.json, byte", "Mood"}},
		{"an entry that was altered", job1("scratches", "scratched"), []string{"bench.json", "says that it holds"}},
		{"a time before the one before", job1(`"At":"2031-`, `"At":"2021-`), []string{"jobs/job-0001.json", "before the one before it"}},
		{"a time of another zone", job1(`Z","Kind":"check"`, `+05:00","Kind":"check"`), []string{"jobs/job-0001.json", "not in UTC"}},
		{"JSON cut short", rezip(t, resum(cutShort(list, "jobs/job-0001.json"))), []string{"jobs/job-0001.json, byte", "ends too early"}},
		{"JSON that goes on", job1("]}\n", "]}\n{}\n"), []string{"jobs/job-0001.json", "after its end"}},
		{"JSON a million deep", job1(`"entries":[`, `"entries":[`+strings.Repeat("[", 1<<20)), []string{"jobs/job-0001.json, byte"}},
		{"a definition is missing without a trace", rezip(t, resum(withoutDefinition(t, list))), []string{"which is not in the export"}},
		{"a listing of no document", rezip(t, resum(replaced(t, list, "listings.json", `"SHA256":"`, `"SHA256":"0`))), []string{"listings.json, line", "not in the export"}},
		{"a small file of a large one", bomb(t, list), []string{"unpack"}},
		{"a size that is a lie", liar(t, list), []string{"tables/jobs.csv"}},
		{"too deep", rezip(t, append(slices.Clone(list), member{name: strings.Repeat("a/", 20) + "b", data: nil})), []string{"folders deep"}},
	}
	empty := openStore(t, filepath.Join(t.TempDir(), "bench"))
	before, err := export.ContentOf(t.Context(), empty)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range cases {
		err := importZip(t.Context(), c.data, empty)
		bad, ok := errors.AsType[*export.BadError](err)
		if !ok {
			t.Errorf("%s: error %v, want one that says where it is bad", c.name, err)
			continue
		}
		for _, w := range append(c.want, "nothing was imported") {
			if !strings.Contains(bad.Error(), w) {
				t.Errorf("%s: %q does not say %q", c.name, bad.Error(), w)
			}
		}
		if bad.Hint() == "" {
			t.Errorf("%s: nothing says what to do", c.name)
		}
		if after, err := export.ContentOf(t.Context(), empty); err != nil || after != before {
			t.Errorf("%s: the bench holds %v after it (%v), before %v", c.name, after, err, before)
		}
	}
	if err := importZip(t.Context(), data, empty); err != nil {
		t.Errorf("after all of them a good one: %v", err)
	}
}

func importZip(ctx context.Context, data []byte, into export.Bench) error {
	tree, err := export.OpenZip(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return err
	}
	defer tree.Close()
	_, err = importTree(ctx, tree, into, export.ImportOptions{})
	return err
}

func flipped(t testing.TB, data, part []byte) []byte {
	t.Helper()
	i := bytes.Index(data, part)
	if i < 0 {
		t.Fatal("the part is not in the zip as it is")
	}
	out := slices.Clone(data)
	out[i+len(part)/2] ^= 0x10
	return out
}

func spoiled(list []member, name string) []member {
	list = slices.Clone(list)
	m := &list[at(list, name)]
	m.data = slices.Clone(m.data)
	m.data[len(m.data)/2] ^= 1
	return list
}

func cutShort(list []member, name string) []member {
	list = slices.Clone(list)
	m := &list[at(list, name)]
	m.data = m.data[:len(m.data)*3/4]
	return list
}

func under(dir string, list []member) []member {
	list = slices.Clone(list)
	for i := range list {
		list[i].name = dir + list[i].name
	}
	return list
}

func withoutDefinition(t testing.TB, list []member) []member {
	t.Helper()
	var d struct {
		Job job.Job `json:"job"`
	}
	if err := json.Unmarshal(list[at(list, "jobs/job-0001.json")].data, &d); err != nil {
		t.Fatal(err)
	}
	return without(list, "documents/"+d.Job.DefinitionSHA+".yaml")
}

// bomb has files of nothing but zeros that pack to a thousandth.
func bomb(t testing.TB, list []member) []byte {
	t.Helper()
	zeros := make([]byte, 1<<25)
	var packed bytes.Buffer
	f, err := flate.NewWriter(&packed, flate.BestCompression)
	if err == nil {
		_, err = f.Write(zeros)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	return rawZip(t, list, func(z *zip.Writer) error {
		for i := range 60 {
			w, err := z.CreateRaw(&zip.FileHeader{Name: fmt.Sprintf("captures/%064x.wav", i), Method: zip.Deflate, CRC32: crc32.ChecksumIEEE(zeros),
				UncompressedSize64: uint64(len(zeros)), CompressedSize64: uint64(packed.Len())})
			if err == nil {
				_, err = w.Write(packed.Bytes())
			}
			if err != nil {
				return err
			}
		}
		return nil
	}, nil)
}

// liar says in its directory that a table has 10 bytes, where it unpacks to a megabyte.
func liar(t testing.TB, list []member) []byte {
	t.Helper()
	return rawZip(t, list, nil, func(h *zip.FileHeader) {
		if h.Name == "tables/jobs.csv" {
			h.UncompressedSize64 = 10
		}
	})
}

// rawZip packs with headers that say what they are told to.
func rawZip(t testing.TB, list []member, more func(*zip.Writer) error, spoil func(*zip.FileHeader)) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, m := range list {
		h := &zip.FileHeader{Name: m.name, CRC32: crc32.ChecksumIEEE(m.data), UncompressedSize64: uint64(len(m.data)), CompressedSize64: uint64(len(m.data))}
		if spoil != nil {
			spoil(h)
		}
		w, err := z.CreateRaw(h)
		if err == nil {
			_, err = w.Write(m.data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if more != nil {
		if err := more(z); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// captured is the sound file of an entry.
func captured(t testing.TB, list []member) string {
	t.Helper()
	for _, row := range regexp.MustCompile(`"Capture":\{"File":"[^"]*","SHA256":"([0-9a-f]{64})"`).FindAllSubmatch(list[at(list, "jobs/job-0002.json")].data, -1) {
		return "captures/" + string(row[1]) + ".wav"
	}
	t.Fatal("no entry has a capture")
	return ""
}

func TestLinksInAFolderAreRefused(t *testing.T) {
	_, s := exported(t)
	dir := filepath.Join(t.TempDir(), "out")
	if _, err := export.ToFolder(t.Context(), s, dir, export.Options{}); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("/etc/passwd", filepath.Join(dir, "documents", "x.yaml")); err != nil {
		t.Skip(err)
	}
	_, err := export.Open(dir)
	if bad, ok := errors.AsType[*export.BadError](err); !ok || bad.File != "documents/x.yaml" {
		t.Errorf("error %v, want that documents/x.yaml is a link", err)
	}
}

// TestUnknownFilesAreNamedAndLeft: whoever lays a note beside an export has not spoiled it.
func TestUnknownFilesAreNamedAndLeft(t *testing.T) {
	data, _ := exported(t)
	list := append(unzip(t, data), member{name: "my notes.txt", data: []byte("from the loft")}, member{name: "captures/.thumbs", data: []byte{1}})
	packed := rezip(t, append(under("bench-2031/", list), member{name: "elsewhere/x", data: nil})) // as one who packs the folder
	tree, err := export.OpenZip(bytes.NewReader(packed), int64(len(packed)))
	if err != nil {
		t.Fatal(err)
	}
	c, err := export.Check(t.Context(), tree, export.ImportOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if want := []string{"captures/.thumbs", "my notes.txt"}; !slices.Equal(c.Unknown, want) {
		t.Errorf("unknown %q, want %q", c.Unknown, want)
	}
}

// broken is a bench of which some parts cannot be read any more.
type broken struct {
	*store.Store
	file, document string
}

func (b broken) Open(ctx context.Context, sha string) (job.File, error) {
	if sha == b.file {
		return nil, errors.New("the disk cannot read it")
	}
	return b.Store.Open(ctx, sha)
}

func (b broken) Document(ctx context.Context, sha string) ([]byte, error) {
	if sha == b.document {
		return nil, &job.AlteredError{Path: "x", Want: sha, Got: "y"}
	}
	return b.Store.Document(ctx, sha)
}

func TestWhatCannotBeReadIsNamed(t *testing.T) {
	data, s := exported(t)
	wav := captured(t, unzip(t, data))
	b := broken{Store: s, file: strings.TrimSuffix(strings.TrimPrefix(wav, "captures/"), ".wav"), document: hashOf([]byte("only: kept\n"))}
	var out bytes.Buffer
	if _, err := export.ToZip(t.Context(), b, &out, export.Options{}); err == nil || !strings.Contains(err.Error(), "altered") {
		t.Errorf("error %v, want that nothing is exported", err)
	}
	out.Reset()
	w, err := export.ToZip(t.Context(), b, &out, export.Options{Tolerate: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(w.Lost) != 2 || w.Lost[0].What != "document" || w.Lost[1].ID != b.file {
		t.Fatalf("lost %+v, want the document and the file", w.Lost)
	}
	list := unzip(t, out.Bytes())
	if text := string(list[at(list, "LOST.txt")].data); !strings.Contains(text, b.file) || !strings.Contains(text, "the disk cannot read it") {
		t.Errorf("LOST.txt says %q", text)
	}
	tree, err := export.OpenZip(bytes.NewReader(out.Bytes()), int64(out.Len()))
	if err != nil {
		t.Fatal(err)
	}
	into := openStore(t, filepath.Join(t.TempDir(), "bench"))
	_, err = importTree(t.Context(), tree, into, export.ImportOptions{})
	if lost, ok := errors.AsType[*export.LostError](err); !ok || len(lost.Lost) != 2 {
		t.Errorf("error %v, want that parts are lost", err)
	}
	c, err := importTree(t.Context(), tree, into, export.ImportOptions{Incomplete: true})
	if err != nil || c.Content != w.Content {
		t.Errorf("imported %+v (%v), want %v", c, err, w.Content)
	}
}
