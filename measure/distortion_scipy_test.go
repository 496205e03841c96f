package measure

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"headstack/testtape"
)

// writeFloats writes samples for another program to read.
func writeFloats(t *testing.T, x []float64) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "x.f64")
	buf := make([]byte, 8*len(x))
	for j, v := range x {
		binary.LittleEndian.PutUint64(buf[8*j:], math.Float64bits(v))
	}
	if err := os.WriteFile(file, buf, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// Agreement with SciPy on the same samples, flutter included: 0.1 dB by windowed
// spectra, 0.02 dB by least squares on the phase of the analytic signal.
func TestDistortionAgreesWithSciPy(t *testing.T) {
	needSciPy(t)
	for i, rate := range []float64{48000, 96000} {
		if i > 0 && !atLength() {
			break
		}
		s := newBent(uint64(20 + i))
		s.rate, s.a, s.b = rate, 0.05, 0.01
		s.prog.Parts = s.prog.Parts[:1]
		s.prog.Parts[0].Seconds = 6
		s.noise = s.gain / math.Sqrt2 * 1e-3
		s.lines = flutterOf(rand.New(rand.NewPCG(uint64(i), 2)), 0.001)
		m, f := s.render()
		args := []string{"testdata/scipy_distortion.py", writeFloats(t, m.ch[0]), fmt.Sprint(rate), fmt.Sprint(f.places[0].startS + 0.3), fmt.Sprint(f.places[0].endS - 0.3), fmt.Sprint(1000 * s.speed)}
		out, err := exec.Command("/usr/bin/python3", args...).CombinedOutput()
		if err != nil {
			t.Fatalf("SciPy: %v\n%s", err, out)
		}
		rep := s.run(t)
		words := strings.Fields(string(out))
		if len(words) != 6 {
			t.Fatalf("SciPy printed %q", out)
		}
		for k, word := range words {
			want, err := strconv.ParseFloat(word, 64)
			if err != nil {
				t.Fatalf("SciPy printed %q", out)
			}
			name := []string{"harmonic_2", "harmonic_3", "thd"}[k%3]
			tol := []float64{0.1, 0.02}[k/3]
			got := get(t, rep, name, "reference", 1, 0).Value
			if off := 20 * math.Log10(got/want); !(math.Abs(off) < tol) {
				t.Errorf("%g Hz: %s %.5f %%, SciPy's method %d %.5f, %.3f dB off, tolerance %g", rate, name, got, k/3+1, want, off, tol)
			} else {
				t.Logf("%g Hz: %s %.5f %%, SciPy's method %d %.5f, %.4f dB off", rate, name, got, k/3+1, want, off)
			}
		}
	}
}

// A tone and a third harmonic made by sox, and their levels by its own statistics.
func TestDistortionOfToneMadeBySox(t *testing.T) {
	if _, err := exec.LookPath("sox"); err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatal(err)
		}
		t.Skipf("no sox for the independent check: %v", err)
	}
	dir := t.TempDir()
	run := func(args ...string) string {
		out, err := exec.Command("sox", args...).CombinedOutput()
		if err != nil {
			t.Fatalf("sox %v: %v\n%s", args, err, out)
		}
		return string(out)
	}
	rms := func(file string) float64 {
		m := regexp.MustCompile(`RMS lev dB\s+(-?[\d.]+)`).FindStringSubmatch(run(file, "-n", "stats"))
		if m == nil {
			t.Fatal("no r.m.s. level in sox's statistics")
		}
		v, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	a, b, both := filepath.Join(dir, "a.wav"), filepath.Join(dir, "b.wav"), filepath.Join(dir, "both.f64")
	run("-n", "-r", "48000", "-b", "32", a, "synth", "6", "sine", "1000", "gain", "-6")
	run("-n", "-r", "48000", "-b", "32", b, "synth", "6", "sine", "3000", "gain", "-38.7")
	run("-m", "-v", "1", a, "-v", "1", b, both)
	raw, err := os.ReadFile(both)
	if err != nil {
		t.Fatal(err)
	}
	m := &memory{rate: 48000, ch: [][]float64{make([]float64, len(raw)/8)}}
	for i := range m.ch[0] {
		m.ch[0][i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	tp := tapeOf(6, 1000)
	tp.Reference = testtape.Reference{FluxivityNWbM: 250, ToneHz: 1000, Convention: "short-circuit"}
	rep, err := measureTape(context.Background(), []Source{m.source("sox")}, Options{Tape: tp}, known(finding{ratio: 1, places: []place{{index: 0, found: true, endS: 6}}}))
	if err != nil {
		t.Fatal(err)
	}
	got, want := get(t, rep, "harmonic_3", "a", 1, 0), rms(b)-rms(a)
	if off := 20*math.Log10(got.Value/100) - want; got.Refused != "" || math.Abs(off) > 0.02 {
		t.Errorf("third harmonic %+v, sox %.2f dB, %.3f dB off, tolerance 0.02 (its figures are rounded to 0.01)", got, want, off)
	}
}
