package lining

import (
	"math"
	"reflect"
	"testing"

	"headstack/bias"
	"headstack/machine"
	"headstack/sim/trims"
)

func open(t *testing.T, id string, seed uint64) *trims.Recorder {
	t.Helper()
	d, ok := machine.Builtin(id)
	if !ok {
		t.Fatalf("no definition %s", id)
	}
	m, err := trims.New(d, seed)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range d.Trims {
		if err := m.Also(x.Opening); err != nil {
			t.Fatal(err)
		}
	}
	return m
}

// TestRounds: two tracks over the stereo bus, far apart, and never two of a group on one
// recording.
func TestRounds(t *testing.T) {
	hex, oct := open(t, "hexastrand", 1), open(t, "octogrange", 1)
	for m, want := range map[*trims.Recorder][][]int{hex: {{1, 6}, {2, 5}, {3, 4}}, oct: {{1, 2, 3, 4, 5, 6, 7, 8}}} {
		passes, err := playRounds(m, m.Tracks())
		if err != nil {
			t.Fatal(err)
		}
		var got [][]int
		for _, p := range passes {
			got = append(got, p.Tracks)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("passes %v, want %v", got, want)
		}
	}
	for _, tracks := range [][]int{{1, 2, 3, 4, 5, 6}, {1, 3}, {2, 4, 6}, {5}, {1, 4, 6}} {
		seen := 0
		for _, r := range recordRounds(hex, tracks) {
			seen += len(r)
			if _, err := hex.Record(9.525, -20, r...); err != nil {
				t.Errorf("tracks %v: round %v: %v", tracks, r, err)
			}
		}
		if seen != len(tracks) {
			t.Errorf("tracks %v: rounds %v", tracks, recordRounds(hex, tracks))
		}
	}
}

// TestTune: every core ends within the limits of the judge, from whatever it came in at,
// and later siblings take no more moves than the first.
func TestTune(t *testing.T) {
	moved, were := 0, 0
	for seed := range uint64(25) {
		m := open(t, "octogrange", seed)
		for _, ref := range OutAtFirst(m.Def, m.Truth()) {
			if kind, _, _ := m.KindOf(ref); kind == trims.Core {
				were++
			}
		}
		x := &technician{m: m, def: m.Def, sharp: map[string]extreme{}, tell: t.Logf}
		for _, ref := range m.Trims() {
			if kind, _, _ := m.KindOf(ref); kind != trims.Core {
				continue
			}
			if err := x.tune(ref); err != nil {
				t.Fatal(err)
			}
			moved += m.Moved(ref)
			if n := m.Moved(ref); n > 5 {
				t.Errorf("seed %d: %s took %d moves", seed, ref, n)
			}
		}
		for _, miss := range Judge(m.Def, m.Truth()) {
			if miss.Limit == LimitsOf(m.Def, 0).TrapTurns || miss.Limit == LimitsOf(m.Def, 0).EraseTurns {
				t.Errorf("seed %d: %v", seed, miss)
			}
		}
	}
	if per := float64(moved) / float64(were); per > 2.4 {
		t.Errorf("%.2f moves for each core that was out", per)
	} else {
		t.Logf("%.2f moves for each of %d cores that were out", per, were)
	}
}

// TestDifference: the shift that a curve gives undoes itself, whatever the bias stands at.
func TestDifference(t *testing.T) {
	law := bias.Law{SpanDB: 8, Spread: 0.25}
	d := func(x float64) float64 { return 3 - 2*math.Pow(10, (x-4)/20) }
	var pass bias.Staircase
	for p := 0.1; p < 0.95; p += 0.1 {
		pass.Readings = append(pass.Readings, bias.Reading{Position: p, Treble: &bias.Level{Value: d(law.DB(p))}, Low: &bias.Level{}})
	}
	got, ok := differenceOf(&biasJob{trim: bias.Trim{Law: law}, passes: []bias.Staircase{pass}})
	if !ok {
		t.Fatal("no difference of a clean staircase")
	}
	// 3 = 2·10^(x/20) at x0; standing at x the track is to be moved by x0 - x.
	x0 := 4 + 20*math.Log10(1.5)
	for _, x := range []float64{1, 3, 5, 7.9} {
		if by := got.shift(d(x)); math.Abs(by-(x0-x)) > 1e-6 {
			t.Errorf("standing at %g dB: moved by %g, want %g", x, by, x0-x)
		}
	}
	if by := got.shift(50); by <= 0 || math.IsInf(by, 0) || math.IsNaN(by) {
		t.Errorf("treble beyond the curve: moved by %g", by)
	}
}

// TestAngle: delays of an angle are read as that angle, within the error that is said.
func TestAngle(t *testing.T) {
	m := open(t, "hexastrand", 2)
	x := &technician{m: m, def: m.Def}
	g := m.Def.Geometry().Tracks
	const arcmin = 4.2
	f := trims.Figures{SpeedCmS: 9.525, Tracks: []trims.TrackFigures{{Track: 1}, {Track: 6}}}
	f.Delays = []trims.Delay{{A: 1, B: 6, Seconds: float64(g[5].Centre-g[0].Centre) * math.Tan(arcmin*math.Pi/10800) / 0.09525}}
	got, sd, ok := x.angle(f)
	// 9.5 µs for an arcminute over the outer tracks, read to 2 µs.
	if !ok || math.Abs(got-arcmin) > 1e-4 || math.Abs(sd-2/9.47) > 0.01 {
		t.Errorf("%g ±%g arcminutes, want %g ±%g", got, sd, arcmin, 2/9.47)
	}
	if _, _, ok := x.angle(trims.Figures{SpeedCmS: 9.525, Tracks: []trims.TrackFigures{{Track: 1}}}); ok {
		t.Error("an angle of one track")
	}
}
