package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"headstack/capture"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
	"headstack/testtape"
)

// benchSeconds is long enough for the start and end not to matter; HEADSTACK_BENCH_SECONDS
// sets another length, such as the 600 of a whole tape.
var benchSeconds = func() float64 {
	if s, err := strconv.ParseFloat(os.Getenv("HEADSTACK_BENCH_SECONDS"), 64); err == nil && s >= 30 {
		return s
	}
	return 150 // as long as the tape is
}()

// longFile renders a test tape of eight tracks at 96 kHz, 24 bit.
func longFile(b *testing.B) (path string, def *machine.Definition, tape *testtape.Tape, bytes int64) {
	b.Helper()
	def, _ = machine.Builtin("octogrange")
	tape, err := testtape.Builtin("carrow-fell-open-reel")
	if err != nil {
		b.Fatal(err)
	}
	total := 0.0
	for _, s := range tape.Sections {
		total += s.Seconds
	}
	for i := range tape.Sections {
		tape.Sections[i].Seconds *= benchSeconds / total
	}
	sc := sim.Perfect(tape, def.Geometry())
	sc.SampleRate, sc.GapS, sc.LeadInS, sc.TailS = 96000, 0, 0, 0
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.03, LowHz: 0.5, HighHz: 60}
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60}
	}
	path = filepath.Join(b.TempDir(), "eight.wav")
	truth, err := sim.RenderFile(context.Background(), path, sc)
	if err != nil {
		b.Fatal(err)
	}
	return path, def, tape, truth.Frames * 8 * 3
}

func rates(b *testing.B, bytes int64) {
	perSecond := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(float64(bytes)/1e6*perSecond, "MB/s")
	b.ReportMetric(float64(bytes)/(8*3*96000)*perSecond, "x-realtime")
}

// BenchmarkMeasureFile is the whole of measuring a file: decoding twice, finding the
// sections and measuring them. BenchmarkDecodeFile beside it only decodes the same file.
func BenchmarkMeasureFile(b *testing.B) {
	path, def, tape, bytes := longFile(b)
	sources, err := openSources([]string{path}, nil, def.Tracks.Count)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		rep, err := measure.TestTape(context.Background(), sources, measure.Options{Tape: tape, Geometry: def.Geometry(), SpeedCmS: tape.SpeedCmS})
		if err != nil || len(rep.Measures) == 0 {
			b.Fatal(err)
		}
	}
	rates(b, bytes)
}

func BenchmarkDecodeFile(b *testing.B) {
	path, _, _, bytes := longFile(b)
	dst := make([][]float64, 8)
	for c := range dst {
		dst[c] = make([]float64, 8192)
	}
	for b.Loop() {
		r, err := capture.Open(path)
		if err != nil {
			b.Fatal(err)
		}
		for err == nil {
			_, err = r.Read(dst)
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		r.Close()
	}
	rates(b, bytes)
}

// BenchmarkSciPySameWork is what a SciPy script needs for the same file, the start of
// Python included: testdata/same_work.py. It is told where the sections are.
func BenchmarkSciPySameWork(b *testing.B) {
	if out, err := exec.Command("/usr/bin/python3", "-c", "import scipy.signal").CombinedOutput(); err != nil {
		b.Skipf("no SciPy (Debian: python3-scipy): %v %s", err, out)
	}
	path, _, tape, bytes := longFile(b)
	type place struct {
		ToneHz float64 `json:"tone_hz"`
		StartS float64 `json:"start_s"`
		EndS   float64 `json:"end_s"`
	}
	var places []place
	at := 0.0
	for _, s := range tape.Sections {
		places = append(places, place{s.ToneHz, at, at + s.Seconds})
		at += s.Seconds
	}
	sections := filepath.Join(b.TempDir(), "sections.json")
	data, _ := json.Marshal(places)
	if err := os.WriteFile(sections, data, 0o600); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if out, err := exec.Command("/usr/bin/python3", "testdata/same_work.py", path, sections).CombinedOutput(); err != nil {
			b.Fatalf("%v: %s", err, out)
		}
	}
	rates(b, bytes)
}
