package main

import (
	"context"
	"io"
	"path/filepath"
	"testing"

	"headstack/capture"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
	"headstack/testtape"
)

// benchSeconds is long enough for the start and end not to matter.
const benchSeconds = 66

// longFile renders a test tape of eight tracks at 96 kHz, 24 bit.
func longFile(b *testing.B) (path string, def *machine.Definition, tape *testtape.Tape, bytes int64) {
	b.Helper()
	def, _ = machine.Builtin("octogrange")
	tape = &testtape.Tape{Format: 1, Name: "bench", SpeedCmS: 38.1, TrackLayout: testtape.FullWidth,
		Reference: testtape.Reference{FluxivityNWbM: 320, ToneHz: 1000, Convention: "short-circuit"}, EqualisationUs: testtape.Equalisation{High: 35}}
	for _, s := range []testtape.Section{{Name: "reference", ToneHz: 1000}, {Name: "low", ToneHz: 63, LevelDB: -10}, {Name: "middle", ToneHz: 4000, LevelDB: -10},
		{Name: "high", ToneHz: 10000, LevelDB: -10}, {Name: "top", ToneHz: 16000, LevelDB: -10}, {Name: "silence"}} {
		s.Seconds = benchSeconds / 6.
		tape.Sections = append(tape.Sections, s)
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
