package job_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"headstack/capture"
	"headstack/job"
	"headstack/job/memory"
	"headstack/measure"
)

// fenTape is an invented test tape, short enough to play in a test.
const fenTape = `testtape: 1
name: Fen 12 (short)
speed_cm_s: 9.525
reference: {fluxivity_nwb_m: 250, tone_hz: 315, convention: short-circuit}
equalisation_us: {high: 70, low: 3180}
track_layout: per-track
fringing_compensated: true
sections:
  - {name: reference, tone_hz: 315, level_db: 0, seconds: 4}
  - {name: 1 kHz, tone_hz: 1000, level_db: -10, seconds: 4}
  - {name: silence, tone_hz: 0, level_db: 0, seconds: 4}
`

// fenWAV is the tape played without fault on some channels, the reference at
// −12 dBFS.
func fenWAV(t testing.TB, channels int) []byte {
	t.Helper()
	const rate = 48000
	f, err := os.Create(filepath.Join(t.TempDir(), "x.wav"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.PCM, Bits: 24, Channels: channels, SampleRate: rate})
	if err != nil {
		t.Fatal(err)
	}
	block := make([][]float64, channels)
	for c := range block {
		block[c] = make([]float64, rate)
	}
	for second := range 13 {
		for i := range rate {
			at := float64(second*rate+i)/rate - 0.5
			x := 0.0
			switch {
			case at >= 0 && at < 4:
				x = math.Pow(10, -12.0/20) * math.Sin(2*math.Pi*315*at)
			case at >= 4 && at < 8:
				x = math.Pow(10, -22.0/20) * math.Sin(2*math.Pi*1000*at)
			}
			x += 1e-4 * math.Sin(float64(i*i%7919)) // something like noise
			for c := range block {
				block[c][i] = x
			}
		}
		if err := w.Write(block, rate); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(f.Name())
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// fenBench has the tape and an open job.
func fenBench(t testing.TB, opt job.BenchOptions) (*job.Bench, job.Job, job.Files) {
	t.Helper()
	b, _, files := bench(t, opt)
	if _, err := b.AddTape(t.Context(), "fen.yaml", []byte(fenTape)); err != nil {
		t.Fatal(err)
	}
	return b, openJob(t, b), files
}

func upload(data []byte) job.CaptureUpload {
	return job.CaptureUpload{Name: `C:\captures\left right.wav`, Data: bytes.NewReader(data), Tape: "fen-12-short",
		Tracks: []int{1, 6}, Case: measure.CaseClosed, Remark: "as found"}
}

func TestACaptureIsKeptAndMeasured(t *testing.T) {
	b, j, files := fenBench(t, job.BenchOptions{})
	data := fenWAV(t, 2)
	up := upload(data)
	done := []float64{}
	up.Progress = func(x float64) { done = append(done, x) }
	e, err := b.AddCapture(t.Context(), j.ID, up)
	if err != nil {
		t.Fatal(err)
	}
	c := e.Capture
	if e.Ref != "capture 1" || c.File != "left right.wav" || c.Bytes != int64(len(data)) || c.Tape != "Fen 12 (short)" ||
		c.Function != "play" || !slices.Equal(c.Tracks, []int{1, 6}) || e.Case != measure.CaseClosed || e.Remark != "as found" {
		t.Errorf("entry %+v, capture %+v", e, c)
	}
	found := 0
	for _, m := range c.Report.Measures {
		if m.Name != "level" || m.Section != "reference" {
			continue
		}
		found++
		// The synthesis above: −12 dBFS on both channels.
		if m.Refused != "" || math.Abs(m.Value+12) > 0.01 || m.Conditions.Case != measure.CaseClosed || m.Track != 1 && m.Track != 6 {
			t.Errorf("level: %+v", m)
		}
	}
	if found != 2 {
		t.Errorf("%d levels of the reference section, want 2; %+v", found, c.Report.Warnings)
	}
	if len(done) == 0 || !slices.IsSorted(done) || done[len(done)-1] != 1 {
		t.Errorf("progress %v", done)
	}
	f, err := files.Open(t.Context(), c.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if kept, err := io.ReadAll(f); err != nil || !bytes.Equal(kept, data) {
		t.Errorf("the kept file has %d bytes (%v), want %d", len(kept), err, len(data))
	}

	// Measured again with the right tracks, the file is not sent again.
	again, err := b.AddCapture(t.Context(), j.ID, job.CaptureUpload{Name: "left right.wav", SHA256: c.SHA256, Corrects: e.Seq,
		Tape: c.TapeSHA, Tracks: []int{2, 0}, Case: measure.CaseClosed})
	if err != nil || again.Corrects != e.Seq || again.Ref != "capture 2" || again.Capture.Bytes != c.Bytes {
		t.Fatalf("measured again: %+v, %v", again, err)
	}
	v, err := b.View(t.Context(), j.ID)
	if err != nil || len(v.Current) != 1 || v.Current[0].Seq != again.Seq {
		t.Errorf("current: %+v, %v", v.Current, err)
	}
	for _, m := range again.Capture.Report.Measures {
		if m.Track != 2 && m.Track != 0 {
			t.Errorf("a figure of track %d: %+v", m.Track, m)
		}
	}
}

func TestACaptureThatCannotBeMeasuredIsKept(t *testing.T) {
	wav := fenWAV(t, 2)
	refuse := errors.New("the tone is 5 Hz")
	for _, c := range []struct {
		name string
		up   job.CaptureUpload
		opt  job.BenchOptions
		want string
	}{
		{"not audio", upload([]byte("%PDF-1.7 a schematic")), job.BenchOptions{}, "WAV"},
		{"empty", upload(nil), job.BenchOptions{}, ""},
		{"tracks missing", func() job.CaptureUpload { up := upload(wav); up.Tracks = nil; return up }(), job.BenchOptions{}, "which track"},
		{"tracks too many", func() job.CaptureUpload { up := upload(wav); up.Tracks = []int{1, 2, 3}; return up }(), job.BenchOptions{}, "2 channels"},
		{"measuring fails", upload(wav), job.BenchOptions{Measure: func(context.Context, []measure.Source, measure.Options) (measure.Report, error) {
			return measure.Report{}, refuse
		}}, refuse.Error()},
		{"a figure that cannot be written", upload(wav), job.BenchOptions{Measure: func(context.Context, []measure.Source, measure.Options) (measure.Report, error) {
			return measure.Report{Measures: []measure.Result{{Name: "level", Value: math.Inf(1)}}}, nil
		}}, "level"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, j, files := fenBench(t, c.opt)
			_, err := b.AddCapture(t.Context(), j.ID, c.up)
			got, ok := errors.AsType[*job.NotMeasuredError](err)
			if !ok {
				t.Fatalf("error %v, want NotMeasuredError", err)
			}
			for _, want := range []string{c.want, "left right.wav", "capture 1"} {
				if !strings.Contains(got.Error(), want) {
					t.Errorf("%q does not say %q", got, want)
				}
			}
			v, err := b.View(t.Context(), j.ID)
			if err != nil || len(v.Current) != 1 {
				t.Fatalf("%d entries, %v", len(v.Current), err)
			}
			report := v.Current[0].Capture.Report
			if len(report.Measures) != 0 || len(report.Warnings) != 1 || !strings.Contains(report.Warnings[0], c.want) {
				t.Errorf("report %+v", report)
			}
			f, err := files.Open(t.Context(), v.Current[0].Capture.SHA256)
			if err != nil {
				t.Fatalf("the file is not kept: %v", err)
			}
			_ = f.Close()
		})
	}
}

func TestStoppedMeasuring(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	b, j, _ := fenBench(t, job.BenchOptions{Measure: func(ctx context.Context, _ []measure.Source, _ measure.Options) (measure.Report, error) {
		cancel()
		return measure.Report{}, ctx.Err()
	}})
	_, err := b.AddCapture(ctx, j.ID, upload(fenWAV(t, 2)))
	got, ok := errors.AsType[*job.NotMeasuredError](err)
	if !ok || !errors.Is(err, context.Canceled) || got.Entry.Seq != 1 {
		t.Errorf("error %v, want that it was stopped and the file kept as entry 1", err)
	}
}

func TestUploadsThatAreRefusedKeepNothing(t *testing.T) {
	b, j, files := fenBench(t, job.BenchOptions{})
	note, err := b.RecordNote(t.Context(), j.ID, "", "not a capture")
	if err != nil {
		t.Fatal(err)
	}
	data := fenWAV(t, 2)
	sha, _, err := new(memory.Files).Put(t.Context(), bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	broken := errors.New("the cable came out")
	for name, change := range map[string]func(*job.CaptureUpload){
		"no such tape":       func(u *job.CaptureUpload) { u.Tape = "fen-13" },
		"no such function":   func(u *job.CaptureUpload) { u.Function = "plya" },
		"no such track":      func(u *job.CaptureUpload) { u.Tracks = []int{1, 7} },
		"one track twice":    func(u *job.CaptureUpload) { u.Tracks = []int{2, 2} },
		"no such case state": func(u *job.CaptureUpload) { u.Case = "ajar" },
		"no such speed":      func(u *job.CaptureUpload) { u.SpeedCmS = 38 },
		"corrects a note":    func(u *job.CaptureUpload) { u.Corrects = note.Seq },
		"corrects nothing":   func(u *job.CaptureUpload) { u.Corrects = 77 },
		"bad name":           func(u *job.CaptureUpload) { u.Name = "a\x00b" },
		"breaks off": func(u *job.CaptureUpload) {
			u.Data = io.MultiReader(bytes.NewReader(data[:5000]), iotest.ErrReader(broken))
		},
		"neither file nor hash": func(u *job.CaptureUpload) { u.Data = nil },
		"no such hash":          func(u *job.CaptureUpload) { u.Data, u.SHA256 = nil, strings.Repeat("0", 64) },
	} {
		up := upload(data)
		change(&up)
		if e, err := b.AddCapture(t.Context(), j.ID, up); err == nil {
			t.Errorf("%s: kept as %+v", name, e)
		} else if _, ok := errors.AsType[*job.NotMeasuredError](err); ok {
			t.Errorf("%s: the file was kept: %v", name, err)
		}
		if _, err := files.Open(t.Context(), sha); !isNotFound(err) {
			t.Errorf("%s: the file is there (%v)", name, err)
		}
	}
	if v, err := b.View(t.Context(), j.ID); err != nil || len(v.Entries) != 1 {
		t.Errorf("%d entries (%v), want the note only", len(v.Entries), err)
	}
}

func TestATapeOfAnotherSpeed(t *testing.T) {
	b, j, _ := fenBench(t, job.BenchOptions{})
	if _, err := b.AddTape(t.Context(), "f.yaml", []byte(strings.NewReplacer("9.525", "38.1", "Fen 12", "Fen 38").Replace(fenTape))); err != nil {
		t.Fatal(err)
	}
	up := upload(nil)
	up.Tape = "fen-38-short"
	if _, err := b.AddCapture(t.Context(), j.ID, up); err == nil || !strings.Contains(err.Error(), "9.525 cm/s") || !isInvalid(err) {
		t.Errorf("error %v, want InvalidError that names the speed there is", err)
	}
}

// fullRecord is a record that has no room for another entry.
type fullRecord struct{ job.Record }

func (fullRecord) AppendEntry(context.Context, job.Entry) (job.Entry, error) {
	return job.Entry{}, errors.New("the disk is full")
}

func TestAFileThatIsKeptWithoutAnEntryIsNamed(t *testing.T) {
	_, rec, files := bench(t, job.BenchOptions{})
	b := job.NewBench(fullRecord{rec}, files, job.BenchOptions{})
	if _, err := b.AddTape(t.Context(), "fen.yaml", []byte(fenTape)); err != nil {
		t.Fatal(err)
	}
	j := openJob(t, b)
	_, err := b.AddCapture(t.Context(), j.ID, upload([]byte("anything")))
	got, ok := errors.AsType[*job.UnrecordedError](err)
	if !ok {
		t.Fatalf("error %v, want UnrecordedError", err)
	}
	f, err := files.Open(t.Context(), got.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	_ = f.Close()
}
