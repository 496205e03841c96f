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
	"strconv"
	"strings"
	"testing"
)

// scipy runs the independent check and returns its numbers.
func scipy(t *testing.T, args ...string) []float64 {
	t.Helper()
	out, err := exec.Command("/usr/bin/python3", append([]string{"testdata/scipy_check.py"}, args...)...).CombinedOutput()
	if err != nil {
		t.Fatalf("SciPy: %v\n%s", err, out)
	}
	var v []float64
	for _, s := range strings.Fields(string(out)) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("SciPy printed %q", out)
		}
		v = append(v, x)
	}
	return v
}

func needSciPy(t *testing.T) {
	t.Helper()
	if out, err := exec.Command("/usr/bin/python3", "-c", "import scipy.signal").CombinedOutput(); err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("SciPy is needed: %v\n%s", err, out)
		}
		t.Skipf("no SciPy for the independent check (Debian: python3-scipy): %v", err)
	}
}

// Agreement with SciPy on the same samples: level 0.01 dB, noise 0.1 dB.
func TestAgreesWithSciPy(t *testing.T) {
	needSciPy(t)
	for i, rate := range []float64{48000, 44100, 96000} {
		if i > 0 && !atLength() {
			break
		}
		r := rand.New(rand.NewPCG(uint64(i), 8))
		s := &synth{rate: rate, tape: tapeOf(4, 315, 40, 10000, 0), tracks: 1, speed: 1.013, amp: constant(0.21), seed: uint64(40 + i)}
		s.lines, s.noise = flutterOf(r, 0.001), 0.21/math.Sqrt2*math.Pow(10, -45.0/20)
		// Tape noise is not white: rumble, hum and a direct part besides.
		s.add = func(_ int, tm float64) float64 {
			return 0.01 + 3e-4*math.Sin(2*math.Pi*50*tm) + 2e-4*math.Sin(2*math.Pi*8*tm) + 1e-4*math.Sin(2*math.Pi*150*tm)
		}
		m, f := s.render()
		file := filepath.Join(t.TempDir(), "x.f64")
		buf := make([]byte, 8*len(m.ch[0]))
		for j, v := range m.ch[0] {
			binary.LittleEndian.PutUint64(buf[8*j:], math.Float64bits(v))
		}
		if err := os.WriteFile(file, buf, 0o600); err != nil {
			t.Fatal(err)
		}
		rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: s.tape, Geometry: heads(1)}, known(f))
		if err != nil {
			t.Fatal(err)
		}
		ref := get(t, rep, "level", "a", 1, 0).Value
		for k, sec := range s.tape.Sections {
			args := []string{file, fmt.Sprint(rate), fmt.Sprint(f.places[k].startS + 0.3), fmt.Sprint(f.places[k].endS - 0.3)}
			if sec.ToneHz > 0 {
				got := get(t, rep, "level", sec.Name, 1, 0).Value
				want := scipy(t, append(args, fmt.Sprint(sec.ToneHz*s.speed))...)[0]
				if math.Abs(got-want) > 0.01 {
					t.Errorf("%g Hz, tone %g Hz: level %.4f dBFS, SciPy %.4f, tolerance 0.01", rate, sec.ToneHz, got, want)
				}
				continue
			}
			got := get(t, rep, "noise", sec.Name, 1, 0).Value
			for j, power := range scipy(t, args...) {
				// A full-scale sine has −3.01 dB r.m.s. re full scale.
				want := power - (ref - 10*math.Log10(2))
				if math.Abs(got-want) > 0.1 {
					t.Errorf("%g Hz: noise %.3f dB, SciPy's method %d %.3f, tolerance 0.1", rate, got, j+1, want)
				}
			}
		}
	}
}
