package dsp

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// noSciPy says why there is no SciPy, if so. Asking once saves seconds.
var noSciPy = sync.OnceValue(func() error {
	if out, err := exec.Command("/usr/bin/python3", "-c", "import scipy.signal").CombinedOutput(); err != nil {
		return fmt.Errorf("%w\n%s", err, out)
	}
	return nil
})

// weightingCheck runs the SciPy script and returns the numbers it prints.
func weightingCheck(t *testing.T, stdin string, args ...string) []float64 {
	t.Helper()
	if err := noSciPy(); err != nil {
		if os.Getenv("HEADSTACK_NEED_TOOLS") == "1" {
			t.Fatalf("SciPy is needed: %v", err)
		}
		t.Skipf("no SciPy for the independent check (Debian: python3-scipy): %v", err)
	}
	c := exec.Command("/usr/bin/python3", append([]string{"testdata/weighting_check.py"}, args...)...)
	c.Stdin = strings.NewReader(stdin)
	out, err := c.Output()
	if err != nil {
		t.Fatalf("SciPy: %v\n%s", err, err.(*exec.ExitError).Stderr)
	}
	var v []float64
	for _, s := range strings.Fields(string(out)) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatalf("SciPy printed %q", s)
		}
		v = append(v, x)
	}
	return v
}

// The formulas are the analogue networks: scipy.signal.freqs_zpk of their
// poles and zeros.
func TestWeightingsAgreeWithSciPy(t *testing.T) {
	var hz []float64
	var text strings.Builder
	for f := 0.05; f < 60000; f *= 1.05 {
		hz = append(hz, f)
		fmt.Fprintln(&text, f)
	}
	got := weightingCheck(t, text.String(), "analogue")
	if len(got) != 3*len(hz) {
		t.Fatalf("SciPy printed %d numbers for %d frequencies", len(got), len(hz))
	}
	for i, f := range hz {
		for k, w := range []func(float64) float64{WeightingA, Weighting468, WeightingFlutter} {
			// The corner frequencies and poles are written to 1e-9 Hz and 1e-6 rad/s.
			if want := got[3*i+k]; math.Abs(w(f)-want) > 1e-7 {
				t.Errorf("%s at %g Hz: %.9f dB, SciPy %.9f", []string{"A", "468", "flutter"}[k], f, w(f), want)
			}
		}
	}
}

// Process is scipy.signal.sosfilt with the same sections.
func TestProcessAgreesWithSciPy(t *testing.T) {
	const seed = 5
	r := rand.New(rand.NewPCG(seed, 1))
	x := make([]float64, 20000)
	for i := range x {
		x[i] = 0.2 * r.NormFloat64()
	}
	x[0] = 1 // a step's worth of surprise at the start
	buf := make([]byte, 8*len(x))
	for i, v := range x {
		binary.LittleEndian.PutUint64(buf[8*i:], math.Float64bits(v))
	}
	file := filepath.Join(t.TempDir(), "x.f64")
	if err := os.WriteFile(file, buf, 0o600); err != nil {
		t.Fatal(err)
	}
	// One call for all: starting SciPy takes longer than the work.
	var names []string
	args := []string{"sections", file}
	for name, make1 := range filters() {
		f := make1()
		names, args = append(names, name), append(args, fmt.Sprint(f.gain))
		for _, s := range f.sec {
			for _, v := range []float64{s.b1, s.b2, s.a1, s.a2} {
				args = append(args, fmt.Sprint(v))
			}
		}
	}
	want := weightingCheck(t, "", args...)
	if len(want) != len(names)*len(x) {
		t.Fatalf("SciPy printed %d samples of %d", len(want), len(names)*len(x))
	}
	for k, name := range names {
		y := make([]float64, len(x))
		filters()[name]().Process(y, x)
		worst := 0.0
		for i := range y {
			worst = math.Max(worst, math.Abs(y[i]-want[k*len(x)+i]))
		}
		if worst > 1e-10 {
			t.Errorf("%s: differs from sosfilt by up to %g (seed %d)", name, worst, seed)
		}
		t.Logf("%s: largest difference from sosfilt %.1e", name, worst)
	}
}
