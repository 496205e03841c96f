package machine_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
)

// TestGeometry checks the places of the outer tracks against arithmetic done by
// hand: six tracks at 0.62 mm span 3.10 mm, centred on 3.81 mm; eight at 1.50 mm
// span 10.50 mm, centred on 12.7 mm.
func TestGeometry(t *testing.T) {
	for _, c := range []struct {
		id                 string
		first, last, width float64 // mm
	}{
		{"hexastrand", 0.355, 3.455, 0.38},
		{"octogrange", 1.10, 11.60, 0.99},
	} {
		g := builtin(t, c.id).Geometry()
		last := g.Tracks[len(g.Tracks)-1]
		for _, x := range [][2]float64{{float64(g.Tracks[0].Centre) * 1e3, c.first}, {float64(last.Centre) * 1e3, c.last}, {float64(last.Width) * 1e3, c.width}} {
			if math.Abs(x[0]-x[1]) > 1e-9 {
				t.Errorf("%s: got %g mm, want %g", c.id, x[0], x[1])
			}
		}
	}
	d := builtin(t, "hexastrand")
	d.Tracks.FirstCentreMm = 0.5
	if got := float64(d.Geometry().Tracks[1].Centre) * 1e3; math.Abs(got-1.12) > 1e-9 {
		t.Errorf("track 2 at %g mm, want 1.12", got)
	}
}

func TestPathRefuses(t *testing.T) {
	d := builtin(t, "hexastrand")
	for _, c := range []struct{ function, key, says string }{
		{"paly", "1", "did you mean play?"},
		{"play", "7", `has no track "7"`},
		{"play", "", `has no track ""`},
		{"run", "1", "takes no key"},
	} {
		if _, err := d.Path(c.function, c.key); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("Path(%q, %q): %v, want %q", c.function, c.key, err, c.says)
		}
	}
}

func TestTestPointPathIsAPrefix(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		d := builtin(t, id)
		for i := range d.TestPoints {
			tp := &d.TestPoints[i]
			for _, key := range d.ReplicaKeys(tp.Each) {
				path, err := d.TestPointPath(tp, key)
				if err != nil {
					t.Errorf("%s %s %s: %v", id, tp.ID, key, err)
				}
				if tp.Function != "" && path[len(path)-1].Stage.ID != tp.After {
					t.Errorf("%s %s: ends at %s", id, tp.ID, path[len(path)-1].Part())
				}
			}
		}
	}
	d := builtin(t, "hexastrand")
	tp, _ := d.TestPoint("TP20")
	path, err := d.TestPointPath(tp, "b")
	if err != nil || path[len(path)-1].Part() != "X1-b" {
		t.Errorf("TP20-b: %v %v", path, err)
	}
}

// TestFaultModes: each stage has modes whose weights sum to 1, a usable prior,
// and effects of the sign that its mode has by nature.
func TestFaultModes(t *testing.T) {
	for _, id := range machine.BuiltinNames() {
		d := builtin(t, id)
		for i := range d.Stages {
			s := &d.Stages[i]
			prior, modes := d.FaultModes(s)
			if prior <= 0 || prior > 0.5 || len(modes) == 0 {
				t.Errorf("%s %s: prior %g, %d modes", id, s.ID, prior, len(modes))
			}
			sum := 0.0
			for _, m := range modes {
				sum += m.Weight
				checkMode(t, s, m)
			}
			if math.Abs(sum-1) > 1e-12 {
				t.Errorf("%s %s: weights sum to %g", id, s.ID, sum)
			}
		}
	}
}

func checkMode(t *testing.T, s *machine.Stage, m machine.FaultMode) {
	t.Helper()
	at := s.ID + ": " + m.Cause
	for _, r := range [][]float64{m.LevelDB, m.TrebleDB, m.BassDB, m.NoiseDB} {
		if len(r) != 0 && (len(r) != 2 || r[0] > r[1]) {
			t.Errorf("%s: range %v", at, r)
		}
	}
	if m.Cause == "" || m.Cure == "" || m.CureMin <= 0 {
		t.Errorf("%s: cause, cure or minutes missing", at)
	}
	switch m.Mode {
	case machine.Dead:
		if len(m.LevelDB) != 2 || m.LevelDB[1] > -30 {
			t.Errorf("%s: dead at %v dB", at, m.LevelDB)
		}
	case machine.Weak:
		if len(m.LevelDB)+len(m.TrebleDB)+len(m.BassDB) == 0 {
			t.Errorf("%s: weak without effect", at)
		}
	case machine.Noisy:
		if len(m.NoiseDB) != 2 || m.NoiseDB[0] <= 0 {
			t.Errorf("%s: noise %v dB", at, m.NoiseDB)
		}
	case machine.Intermittent:
		if m.Presence <= 0 || m.Presence >= 1 {
			t.Errorf("%s: presence %g", at, m.Presence)
		}
	default:
		t.Errorf("%s: mode %q", at, m.Mode)
	}
}

// TestHeadDirtFollowsSpacingLoss: the built-in effect of dirt must be possible
// physically. Spacing costs 54.6 dB per wavelength (Wallace, BSTJ 30(4), 1951),
// so the loss at 315 Hz is 315/10000 of the loss at 10 kHz.
func TestHeadDirtFollowsSpacingLoss(t *testing.T) {
	d := builtin(t, "hexastrand")
	s, _ := d.Stage("H")
	_, modes := d.FaultModes(s)
	dirt := modes[0]
	// Treble is 10 kHz re the reference tone: x·(1-0.0315) for a loss x.
	worst := -dirt.TrebleDB[0] / (1 - 0.0315) * 0.0315
	if !dirt.Mechanical || -dirt.LevelDB[0] < worst {
		t.Errorf("dirt: level range %v does not hold the %.2f dB that goes with %v dB of treble", dirt.LevelDB, worst, dirt.TrebleDB)
	}
}

func TestOwnFaultsReplaceDefaults(t *testing.T) {
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	own := strings.Replace(string(data), `kind: oscillator,`, `kind: gadget, prior: 0.1, faults: [{mode: dead, cause: "x", weight: 3}, {mode: weak, cause: "y", weight: 1, level_db: [-6, -1]}],`, 1)
	d, err := machine.Load("own.yaml", []byte(own))
	if err != nil {
		t.Fatal(err)
	}
	s, _ := d.Stage("Q1")
	prior, modes := d.FaultModes(s)
	if prior != 0.1 || len(modes) != 2 || modes[0].Weight != 0.75 {
		t.Errorf("prior %g, modes %+v", prior, modes)
	}
}

// TestCautions: the notes stand where the step needs them.
func TestCautions(t *testing.T) {
	hex, oct := builtin(t, "hexastrand"), builtin(t, "octogrange")
	has := func(list []string, piece string) bool {
		return slices.ContainsFunc(list, func(s string) bool { return strings.Contains(s, piece) })
	}
	if c := machine.Cautions(hex); !has(c, "Local electrical codes") || !has(c, "Class II adaptor") || !has(c, "W5") || has(c, "Class I mains") {
		t.Errorf("hexastrand: %q", c)
	}
	if c := machine.Cautions(oct); !has(c, "Local electrical codes") || !has(c, "licensed") || !has(c, "earth continuity") || !has(c, "discharge") || !has(c, "PR, RR, ER") {
		t.Errorf("octogrange: %q", c)
	}
	for _, id := range []string{"TP22", "TP23", "TP24", "TP30"} {
		for _, d := range []*machine.Definition{hex, oct} {
			if tp, _ := d.TestPoint(id); !has(tp.Cautions, "burn the skin") {
				t.Errorf("%s %s: %q", d.ID, id, tp.Cautions)
			}
		}
	}
	if w5, _ := hex.Connector("W5"); !has(w5.Cautions, "24 mA through R90") || !has(w5.Cautions, "not keyed") {
		t.Errorf("W5: %q", w5.Cautions)
	}
	if w9, _ := hex.Connector("W9"); !has(w9.Cautions, "few insertions") {
		t.Errorf("W9: %q", w9.Cautions)
	}
	for _, o := range oct.Openings {
		if o.ID != "head-cover" && !has(o.Cautions, "Class I mains") {
			t.Errorf("octogrange %s: %q", o.ID, o.Cautions)
		}
	}
	for _, tr := range hex.Trims {
		if tr.Sets == "bias" && (!has(tr.Cautions, "ceramic or plastic") || !has(tr.Cautions, "burn the skin")) {
			t.Errorf("%s: %q", tr.ID, tr.Cautions)
		}
	}
}

func TestTemplateGivesHintsOnly(t *testing.T) {
	d, err := machine.Load("new.yaml", machine.Template())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range d.Lint() {
		if f.Severity != machine.SeverityHint {
			t.Errorf("%v", f)
		}
	}
	for line := range strings.Lines(string(machine.Template())) {
		if len([]rune(line)) > 230 {
			t.Errorf("line too long for a reader: %.60s…", line)
		}
	}
}

// TestLimits: hostile files are refused quickly and for the right reason.
func TestLimits(t *testing.T) {
	for name, c := range map[string]struct{ data, says string }{
		"size":   {strings.Repeat("# comment\n", 200_000), "at most 262144"},
		"line":   {"machine: " + strings.Repeat("1", 5000), "break it into several lines"},
		"deep":   {strings.Repeat("[\n", 100_000), "nested more than 16 deep"},
		"keys":   {numbered(2000), "more than 500 keys"},
		"braces": {"{" + strings.ReplaceAll(numbered(2000), "\n", ",\n") + "}", "more than 500 keys"},
		"dashes": {strings.Repeat("- ", 1000) + "x", "nested more than 16 deep"},
		"bomb":   {"a: &a [x,x]\nb: &b [*a,*a]\n", "anchor"},
		"latin":  {"make: \xe9\n", "UTF-8"},
	} {
		_, err := machine.Load(name, []byte(c.data))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
}

// numbered is a mapping of n different keys.
func numbered(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "key%d: x\n", i)
	}
	return b.String()
}

func TestDescribe(t *testing.T) {
	d := builtin(t, "hexastrand")
	var b bytes.Buffer
	if err := machine.Describe(&b, d, 3); err != nil {
		t.Fatal(err)
	}
	for _, piece := range []string{"track 3 (group a, Ash, with tracks 1, 5)", "C11-3", "TP10-3", "38 mV ±2 dB", "U11-a", "group a", "shared by all", "4.2 mV ±1.5 dB"} {
		if !strings.Contains(b.String(), piece) {
			t.Errorf("track 3 lacks %q", piece)
		}
	}
	b.Reset()
	if err := machine.Describe(&b, d, 0); err != nil {
		t.Fatal(err)
	}
	for _, piece := range []string{"221 stages, 44 trims, 135 check items", "MIRRORED: pin n on Strip is pin 11−n on Tape", "rated for 12 insertions", "27/34", "Local electrical codes", "below 60 mV"} {
		if !strings.Contains(b.String(), piece) {
			t.Errorf("summary lacks %q", piece)
		}
	}
	if err := machine.Describe(&b, d, 7); err == nil {
		t.Error("track 7 of 6 was described")
	}
	if err := machine.Describe(brokenWriter{}, d, 0); !errors.Is(err, errBroken) {
		t.Errorf("a failing writer gives %v", err)
	}
}

var errBroken = errors.New("disk full")

type brokenWriter struct{}

func (brokenWriter) Write([]byte) (int, error) { return 0, errBroken }

// TestMirroredPlugReversed checks the note on W5: plugged the wrong way round,
// pin n of the cable meets pin 11-n, and signals change places as described.
func TestMirroredPlugReversed(t *testing.T) {
	w5, _ := builtin(t, "hexastrand").Connector("W5")
	arrives := map[string]string{}
	for n := range 10 {
		// Right way round Tape pin n reaches Strip pin 11-n; turned, Strip pin n.
		arrives[w5.A.Pins[n]] = w5.B.Pins[n]
	}
	for from, to := range map[string]string{"PB1": "bus Birch", "PB2": "bus Ash", "PB3": "PB6", "PB4": "PB5", "shield": "+11.5 sense"} {
		if arrives[from] != to || arrives[to] != from {
			t.Errorf("%s arrives at %s, want %s", from, arrives[from], to)
		}
	}
}

func FuzzLoad(f *testing.F) {
	for _, id := range machine.BuiltinNames() {
		data, _ := machine.BuiltinSource(id)
		f.Add(data)
	}
	f.Add(machine.Template())
	files, err := os.ReadDir("testdata/broken")
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range files {
		data, err := os.ReadFile("testdata/broken/" + e.Name())
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := machine.Load("fuzz.yaml", data)
		if (d == nil) == (err == nil) {
			t.Fatalf("definition %v, error %v", d != nil, err)
		}
		if err != nil {
			var list machine.ErrorList
			if !errors.As(err, &list) || len(list) == 0 || list[0].Line < 1 || list[0].Column < 1 {
				t.Fatalf("error without a place: %v", err)
			}
			return
		}
		// What loads must answer every question without failing.
		d.Lint()
		d.CheckItems()
		for _, fn := range d.Functions {
			for _, key := range d.ReplicaKeys(fn.Each) {
				if _, err := d.Path(fn.ID, key); err != nil {
					t.Fatalf("after a good load: %v", err)
				}
			}
		}
		var b bytes.Buffer
		for track := range d.Tracks.Count + 1 {
			if err := machine.Describe(&b, d, track); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func Example() {
	d, _ := machine.Builtin("hexastrand")
	path, err := d.Path("record", "3")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, in := range path[6:11] {
		fmt.Println(in.Part(), in.Stage.Name)
	}
	tp, _ := d.TestPoint("TP20")
	fmt.Println(d.Designator(tp.Part, tp.Each, "a"), "should read", d.ExpectText(tp, "a"))
	// Output:
	// U11-a record sum amplifier
	// X1-a 2:1 encoder
	// C31-a encoder coupling capacitor
	// U12-a record amplifier
	// L5-a/C36-a record equaliser
	// TP20-a should read 245 mV ±1 dB
}

func ExampleLoad() {
	_, err := machine.Load("mine.yaml", []byte("machine: 1\nid: mine\nmaek: Me\n"))
	var list machine.ErrorList
	if errors.As(err, &list) {
		fmt.Println(list[len(list)-1])
	}
	// Output:
	// mine.yaml:3:1: maek: unknown field "maek"; did you mean make?
}
