package export_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"image"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/export"
	"headstack/job"
	"headstack/job/jobtest"
	"headstack/machine"
	"headstack/measure"
	"headstack/picture"
	"headstack/store"
	"headstack/store/pgtest"
)

func openStore(t testing.TB, dir string) *store.Store {
	t.Helper()
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// wav is a sound file of 16 bits and one channel: RIFF/WAVE, IBM and Microsoft, 1991.
func wav(samples int, seed int16) []byte {
	var b bytes.Buffer
	b.WriteString("RIFF")
	binary.Write(&b, binary.LittleEndian, uint32(36+2*samples))
	b.WriteString("WAVEfmt ")
	for _, v := range []any{uint32(16), uint16(1), uint16(1), uint32(48000), uint32(96000), uint16(2), uint16(16)} {
		binary.Write(&b, binary.LittleEndian, v)
	}
	b.WriteString("data")
	binary.Write(&b, binary.LittleEndian, uint32(2*samples))
	for i := range samples {
		binary.Write(&b, binary.LittleEndian, int16(i*17)^seed)
	}
	return b.Bytes()
}

// everything fills a bench with what a bench can have: two jobs that take turns, every kind of
// entry with every field, corrections and withdrawals, a clock that was set back, captures,
// photographs, pictures with marks, instruments, documents that are only kept, and a file
// that nothing names.
func everything(t testing.TB, s *store.Store) {
	t.Helper()
	ctx := context.Background()
	now := jobtest.Clock
	b := job.NewBench(s, s, job.BenchOptions{
		Now: func() time.Time { now = now.Add(90 * time.Second); return now },
		Measure: func(context.Context, []measure.Source, measure.Options) (measure.Report, error) {
			return measure.Report{Measures: []measure.Result{
				{Name: "level", Track: 1, Section: "reference", ToneHz: 315, Value: -4.7123456789012345, Lo: -4.8, Hi: -4.6, Unit: "dBFS", Reference: "full-scale sine = 0 dBFS", Method: "least squares", Warnings: []string{"few cycles", "short"}},
				{Name: "response", Track: 2, Section: "10k", ToneHz: 10000, Unit: "dB", Refused: "tone absent"},
				{Name: "delay", Track: 1, TrackB: 2, Value: 0, Lo: -0.1, Hi: 0.1, Unit: "µs"}}}, nil
		}})
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	first, err := b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "Q-0417", Owner: "Community theatre, \"Möwe\"", Claim: "=1+1, said\nthe owner", Case: measure.CaseClosed})
	must(err)
	second, err := b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "Q-0418"})
	must(err)
	def, _ := machine.Builtin("hexastrand")
	drawn, err := picture.Encode(image.NewRGBA(image.Rect(0, 0, 64, 48)), picture.PNG)
	must(err)
	for i, id := range []string{first.ID, second.ID} {
		_, err = b.RecordCheck(ctx, id, job.Check{Item: def.CheckItems()[i].ID, Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomNoisy}, measure.CaseClosed, "scratches; \"a third\", of\nits travel")
		must(err)
		_, err = b.RecordReading(ctx, id, job.Reading{TestPoint: "TP21-a", Value: 38.5, Unit: "mV", ToneHz: 1000, Instrument: "hand meter"}, measure.CaseOpen, "-lead first")
		must(err)
		_, err = b.AddPhotograph(ctx, id, job.PhotographUpload{File: "lid off.png", Caption: "before", Data: bytes.NewReader(drawn)})
		must(err)
	}
	seen, err := b.View(ctx, first.ID)
	must(err)
	_, err = b.Correct(ctx, first.ID, seen.Entries[1].Seq, job.Entry{Reading: &job.Reading{TestPoint: "TP21-a", Value: 0.3, Unit: "V"}, Remark: "volts"})
	must(err)
	_, err = b.Withdraw(ctx, first.ID, seen.Entries[0].Seq, "wrong control")
	must(err)
	_, err = b.AddPicture(ctx, job.PictureUpload{Definition: "hexastrand", Board: "tape", Title: "Tape, parts side", File: "tape.png", Data: bytes.NewReader(drawn)})
	must(err)
	_, err = b.AddInstrument(ctx, diagnosis.Instrument{Name: "Hand meter", Kind: "average", BandwidthHz: 20000})
	must(err)
	samples(t, s, second, now.Add(-time.Hour)) // the clock was set back
	_, err = s.PutDocument(ctx, []byte("only: kept\n"))
	must(err)
	_, _, err = s.Put(ctx, bytes.NewReader(wav(50, 99)))
	must(err)
	_, _, err = s.Put(ctx, strings.NewReader("neither sound nor picture"))
	must(err)
}

// samples appends every kind of entry with every field set.
func samples(t testing.TB, s *store.Store, j job.Job, at time.Time) {
	t.Helper()
	put := func(data []byte) string {
		sha, _, err := s.Put(context.Background(), bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return sha
	}
	for i, e := range jobtest.Samples(j.ID) {
		e.At = at.Add(time.Duration(i) * 7 * time.Minute)
		if c := e.Capture; c != nil {
			c.SHA256, c.Voids = put(wav(3000, int16(i))), []job.Void{{FromS: 1.25, ToS: 1.5, Why: "samples repeat"}}
		}
		if p := e.Photograph; p != nil {
			p.SHA256, p.Copy = put([]byte("\xff\xd8\xff given")), put([]byte("\xff\xd8\xff shown"))
		}
		if _, err := s.AppendEntry(context.Background(), e); err != nil {
			t.Fatal(err)
		}
	}
}

// page stands for the report of a job.
func page(_ context.Context, id string, when time.Time) ([]byte, error) {
	return fmt.Appendf(nil, "<!doctype html><title>%s</title><p>As of %s.", id, when.Format(time.RFC3339)), nil
}

// shared is a bench with everything and its export, made once: it is read only.
var shared = sync.OnceValues(func() ([]byte, *store.Store) {
	dir, err := os.MkdirTemp("", "headstack-export-test-*")
	if err != nil {
		panic(err)
	}
	s, err := store.Open(dir, store.Options{})
	if err != nil {
		panic(err)
	}
	toClose = func() { s.Close(); os.RemoveAll(dir) }
	everything(fixture{}, s)
	return zipOf(fixture{}, s), s
})

var toClose = func() {}

// fixture stands for a test while what all share is made.
type fixture struct{ testing.TB }

func (fixture) Helper()           {}
func (fixture) Fatal(args ...any) { panic(fmt.Sprint(args...)) }

func TestMain(m *testing.M) {
	code := pgtest.Main{M: m}.Run()
	toClose()
	os.Exit(code)
}

// exported is everything as a zip file, and the bench that it is of.
func exported(t testing.TB) ([]byte, *store.Store) {
	t.Helper()
	data, s := shared()
	return slices.Clone(data), s
}

func zipOf(t testing.TB, s job.Contents) []byte {
	t.Helper()
	var b bytes.Buffer
	if _, err := export.ToZip(context.Background(), s, &b, export.Options{Report: page}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// member is a file of an export in the hands of a test.
type member struct {
	name   string
	data   []byte
	method uint16
	mode   uint32 // of a Unix file system, 0: a plain file
}

func unzip(t testing.TB, data []byte) []member {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var out []member
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if _, err := b.ReadFrom(r); err != nil {
			t.Fatal(err)
		}
		out = append(out, member{name: f.Name, data: b.Bytes()})
	}
	return out
}

func rezip(t testing.TB, list []member) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, m := range list {
		h := &zip.FileHeader{Name: m.name, Method: m.method}
		if m.mode != 0 {
			h.CreatorVersion, h.ExternalAttrs = 3<<8, m.mode<<16
		}
		w, err := z.CreateHeader(h)
		if err == nil {
			_, err = w.Write(m.data)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func at(list []member, name string) int {
	return slices.IndexFunc(list, func(m member) bool { return m.name == name })
}

func snapshot(t testing.TB, dir string) *store.Snapshot {
	t.Helper()
	s, err := store.OpenSnapshot(context.Background(), dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

func importTree(ctx context.Context, tree *export.Tree, into export.Bench, opt export.ImportOptions) (*export.Checked, error) {
	c, err := export.Check(ctx, tree, opt)
	if err != nil {
		return nil, err
	}
	return c, c.Import(ctx, into)
}
