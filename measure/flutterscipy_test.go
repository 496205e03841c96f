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

// TestFlutterAgreesWithSciPy: the same samples through SciPy's Hilbert transform and
// second-order sections. Agreement: 1.5 % of the reading, of which the different ends of
// the section, seen and not seen, make up most; drift within the stated interval plus
// what a straight line without the lines beside it errs by.
func TestFlutterAgreesWithSciPy(t *testing.T) {
	needSciPy(t)
	for i, rate := range []float64{48000, 44100} {
		if i > 0 && !atLength() {
			break
		}
		r := rand.New(rand.NewPCG(uint64(i), 21))
		f := &flutterScene{rate: rate, seconds: 30, tone: 3150, tracks: 1, noiseDB: -65, seed: uint64(70 + i), driftPerS: 4e-6}
		f.lines = flutterOf(r, 0.0007)
		random := newRandomSpeed(0.5, 40, rate)
		f.random = func(r *rand.Rand, _ float64) func() float64 {
			draw := random.draw(r)
			return func() float64 { return 0.0004 * draw() }
		}
		m, fd, tp := f.render()
		rep, err := measureTape(context.Background(), []Source{m.source("x")}, Options{Tape: tp}, known(fd))
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(t.TempDir(), "x.f64")
		buf := make([]byte, 8*len(m.ch[0]))
		for j, v := range m.ch[0] {
			binary.LittleEndian.PutUint64(buf[8*j:], math.Float64bits(v))
		}
		if err := os.WriteFile(file, buf, 0o600); err != nil {
			t.Fatal(err)
		}
		guard := math.Max(guardLeast, guardPart*f.seconds)
		out, err := exec.Command("/usr/bin/python3", "testdata/flutter_check.py", file, fmt.Sprint(rate), fmt.Sprint(guard), fmt.Sprint(f.seconds-guard), "3150").CombinedOutput()
		if err != nil {
			t.Fatalf("SciPy: %v\n%s", err, out)
		}
		var want []float64
		for _, s := range strings.Fields(string(out)) {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatalf("SciPy printed %q", out)
			}
			want = append(want, v)
		}
		for k, name := range []string{"flutter_unweighted_rms", "wow_flutter_rms", "wow_flutter_2sigma", "wow_rms"} {
			got := get(t, rep, name, "a", 0, 0).Value
			t.Logf("%g Hz: %s %.5f %%, SciPy %.5f (%+.2f %%)", rate, name, got, want[k], 100*(got/want[k]-1))
			if math.Abs(got/want[k]-1) > 0.015 {
				t.Errorf("%g Hz: %s %.5f %%, SciPy %.5f, tolerance 1.5 %%", rate, name, got, want[k])
			}
		}
		drift := get(t, rep, "drift", "a", 0, 0)
		t.Logf("drift %s, SciPy's plain line %.4f, truth %.4f", drift.Figure(), want[4], 100*60*f.driftPerS)
	}
}
