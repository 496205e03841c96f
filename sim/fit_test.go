package sim_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"testing"

	"headstack/capture"
	"headstack/dsp"
	"headstack/sim"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// file is a WAV in memory.
type file struct {
	b  []byte
	at int64
}

func (f *file) Write(p []byte) (int, error) {
	if need := f.at + int64(len(p)); need > int64(len(f.b)) {
		f.b = append(f.b, make([]byte, need-int64(len(f.b)))...)
	}
	copy(f.b[f.at:], p)
	f.at += int64(len(p))
	return len(p), nil
}

func (f *file) Seek(offset int64, whence int) (int64, error) {
	switch whence {
	case io.SeekCurrent:
		offset += f.at
	case io.SeekEnd:
		offset += int64(len(f.b))
	}
	f.at = offset
	return offset, nil
}

// render returns the samples of each channel and the truth.
func render(t testing.TB, sc sim.Scenario) ([][]float64, sim.Truth) {
	t.Helper()
	var f file
	truth, err := sim.Render(context.Background(), &f, sc)
	if err != nil {
		t.Fatal(err)
	}
	r, err := capture.NewReader(bytes.NewReader(f.b), "rendered")
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	all := readAll(t, r)
	if int64(len(all[0])) != truth.Frames {
		t.Fatalf("%d frames in the file, truth says %d", len(all[0]), truth.Frames)
	}
	return all, truth
}

// readAll returns the samples of each channel of a stream.
func readAll(t testing.TB, r dsp.Stream) [][]float64 {
	t.Helper()
	all := make([][]float64, r.Channels())
	block := make([][]float64, r.Channels())
	for c := range block {
		block[c] = make([]float64, 4096)
	}
	for {
		n, err := r.Read(block)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for c := range all {
			all[c] = append(all[c], block[c][:n]...)
		}
	}
	return all
}

// sine is a·sin(2πft) + b·cos(2πft) + c, t in seconds from the file's start.
type sine struct{ f, a, b, c, residual float64 }

func (s sine) amplitude() float64 { return math.Hypot(s.a, s.b) }
func (s sine) levelDBFS() float64 { return 20 * math.Log10(s.amplitude()) }
func (s sine) phase() float64     { return math.Atan2(s.b, s.a) }

// fitSine fits a sine of unknown frequency near f by least squares (Gauss-Newton
// on four unknowns, as IEEE Std 1057 describes), with nothing of the package used.
func fitSine(x []float64, first int, rate, f float64) sine {
	mid := float64(len(x)) / 2
	var s sine
	s.f = f
	for range 4 {
		var ata [4][4]float64
		var atb [4]float64
		for i, v := range x {
			tt := (float64(i) - mid) / rate
			sn, cs := math.Sincos(2 * math.Pi * s.f * tt)
			row := [4]float64{sn, cs, 1, 2 * math.Pi * tt * (s.a*cs - s.b*sn)}
			for p := range row {
				for q := range row {
					ata[p][q] += row[p] * row[q]
				}
				atb[p] += row[p] * v
			}
		}
		if s.a == 0 && s.b == 0 { // first pass: frequency held
			ata[3] = [4]float64{0, 0, 0, 1}
			atb[3] = 0
			for p := range 3 {
				ata[p][3] = 0
			}
		}
		sol := solve4(ata, atb)
		s.a, s.b, s.c = sol[0], sol[1], sol[2]
		s.f += sol[3]
	}
	for i, v := range x {
		sn, cs := math.Sincos(2 * math.Pi * s.f * (float64(i) - mid) / rate)
		e := v - s.a*sn - s.b*cs - s.c
		s.residual += e * e
	}
	s.residual = math.Sqrt(s.residual / float64(len(x)))
	// Phase from the middle to the file's start.
	turn := -2 * math.Pi * s.f * (float64(first) + mid) / rate
	sn, cs := math.Sincos(math.Mod(turn, 2*math.Pi))
	s.a, s.b = s.a*cs-s.b*sn, s.b*cs+s.a*sn
	return s
}

func solve4(m [4][4]float64, y [4]float64) [4]float64 {
	for p := range 4 {
		best := p
		for q := p + 1; q < 4; q++ {
			if math.Abs(m[q][p]) > math.Abs(m[best][p]) {
				best = q
			}
		}
		m[p], m[best] = m[best], m[p]
		y[p], y[best] = y[best], y[p]
		for q := p + 1; q < 4; q++ {
			k := m[q][p] / m[p][p]
			for r := p; r < 4; r++ {
				m[q][r] -= k * m[p][r]
			}
			y[q] -= k * y[p]
		}
	}
	for p := 3; p >= 0; p-- {
		for q := p + 1; q < 4; q++ {
			y[p] -= m[p][q] * y[q]
		}
		y[p] /= m[p][p]
	}
	return y
}

// section cuts a section's samples, a tenth of a second inside its ends.
func section(t testing.TB, x []float64, truth sim.Truth, index int) (cut []float64, first int) {
	t.Helper()
	s := truth.Sections[index]
	if !s.Present {
		t.Fatalf("section %d is not in the capture", index)
	}
	rate := float64(truth.Scenario.SampleRate)
	first = int((s.StartS + 0.1) * rate)
	return x[first:int((s.EndS-0.1)*rate)], first
}

// geometry is that of six 0.38 mm tracks on 3.81 mm tape.
func geometry() tape.Geometry {
	g := tape.Geometry{TapeWidth: 3.81e-3}
	for i := range 6 {
		g.Tracks = append(g.Tracks, tape.TrackPlace{Centre: unit.Metre(0.355e-3 + float64(i)*0.62e-3), Width: 0.38e-3})
	}
	return g
}

// testTape has four tones and a silence, recorded over the full width.
func testTape(seconds float64) *testtape.Tape {
	return &testtape.Tape{
		Format: 1, Name: "four tones", SpeedCmS: 9.525,
		Reference:      testtape.Reference{FluxivityNWbM: 250, ToneHz: 315, Convention: "short-circuit"},
		EqualisationUs: testtape.Equalisation{High: 70, Low: 3180},
		TrackLayout:    testtape.FullWidth,
		Sections: []testtape.Section{
			{Name: "reference", ToneHz: 315, LevelDB: 0, Seconds: seconds},
			{Name: "bass", ToneHz: 63, LevelDB: -10, Seconds: seconds},
			{Name: "middle", ToneHz: 3150, LevelDB: -10, Seconds: seconds},
			{Name: "treble", ToneHz: 10000, LevelDB: -10, Seconds: seconds},
			{Name: "silence", Seconds: seconds},
		},
	}
}
