package signature

import (
	"encoding/json"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"headstack/measure"
	"headstack/testtape"
)

// explain explains a synthetic report and returns its findings.
func explain(t *testing.T, s *synth) Explanation {
	t.Helper()
	e, err := Explain(s.report(), s.opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Findings) == 0 {
		t.Fatal("no finding at all, not even none")
	}
	return e
}

// first says whether the most probable finding is the cause on the tracks.
func first(t *testing.T, e Explanation, c Cause, tracks ...int) Finding {
	t.Helper()
	f := e.Findings[0]
	if f.Cause != c || !slices.Equal(f.Tracks, tracks) {
		t.Fatalf("found %s on %v (%.3f), want %s on %v", f.Cause, f.Tracks, f.Probability, c, tracks)
	}
	if f.Sentence == "" {
		t.Errorf("%s has no sentence", c)
	}
	return f
}

func near(t *testing.T, p Parameter, want, within float64) {
	t.Helper()
	if math.Abs(p.Value-want) > within || !(p.Lo <= p.Value && p.Value <= p.Hi) {
		t.Errorf("%s of track %d: %.4f (%.4f to %.4f), want %.4f within %g", p.Name, p.Track, p.Value, p.Lo, p.Hi, want, within)
	}
}

func TestSoundMachineHasNoFinding(t *testing.T) {
	for _, reel := range []bool{false, true} {
		f := first(t, explain(t, newSynth(machineOf(reel), 1)), None)
		if f.Probability < 0.9 {
			t.Errorf("reel %v: none at %.3f only", reel, f.Probability)
		}
	}
}

func TestContactIsToldFromElectronics(t *testing.T) {
	s := newSynth(machineOf(false), 2)
	s.space[3] += 0.5
	f := first(t, explain(t, s), Spacing, 4)
	near(t, f.Parameters[0], 0.5, 0.05)
	if f.Nature != Mechanical || !strings.Contains(f.Sentence, "not electronics") {
		t.Errorf("%s: %s", f.Nature, f.Sentence)
	}
	// A first-order corner takes as much at the top, less of it further down.
	s = newSynth(machineOf(false), 2)
	s.extra = func(track int, hz float64) (db, us float64) {
		if track != 3 {
			return 0, 0
		}
		x := hz / 7000
		return -10 * math.Log10(1+x*x), math.Atan(x) / (2 * math.Pi * hz) * 1e6
	}
	f = first(t, explain(t, s), HighCorner, 4)
	near(t, f.Parameters[0], 7000, 200)
	if f.Nature != Electrical {
		t.Errorf("nature %q", f.Nature)
	}
}

// One tone of the tape recorded 2 dB low, and one figure of one track spoilt by a
// drop-out: neither becomes a cause, and both are named.
func TestWrongToneAndDropOutAreSetAside(t *testing.T) {
	s := newSynth(machineOf(false), 3)
	s.space[1] += 0.6
	at := slices.IndexFunc(s.opt.Tape.Sections, func(x testtape.Section) bool { return x.ToneHz == 8000 })
	s.tone[at] -= 2
	s.extra = func(track int, hz float64) (db, us float64) {
		if track == 4 && hz == 2000 {
			return -3, 0
		}
		return 0, 0
	}
	e := explain(t, s)
	near(t, first(t, e, Spacing, 2).Parameters[0], 0.6, 0.05)
	all := strings.Join(e.SetAside, "\n")
	if !strings.Contains(all, `"8000 Hz" reads -`) || !strings.Contains(all, "2 kHz on track 5 reads -") {
		t.Errorf("set aside: %q", e.SetAside)
	}
	if len(e.Findings) > 1 && e.Findings[1].Probability > 0.2 {
		t.Errorf("a second finding: %+v", e.Findings[1])
	}
}

// With five tones up to 10 kHz, a gap and a small spacing on all tracks make the same figures:
// that is said, with the tone that would tell.
func TestInseparableCausesAreNamed(t *testing.T) {
	opt := machineOf(false)
	few := []float64{315, 1000, 3150, 6300, 10000}
	opt.Tape.Sections = slices.DeleteFunc(opt.Tape.Sections, func(s testtape.Section) bool { return !slices.Contains(few, s.ToneHz) })
	s := newSynth(opt, 4)
	for i := range s.space {
		s.space[i] += 0.3
	}
	e := explain(t, s)
	if e.Findings[0].Cause == None {
		t.Fatalf("nothing found: %+v", e.Findings)
	}
	i := slices.IndexFunc(e.Open, func(c Confusion) bool { return strings.Contains(c.Sentence, "cannot be told apart") })
	if i < 0 {
		t.Fatalf("nothing named as inseparable; findings %+v", e.Findings)
	}
	c := e.Open[i]
	if !strings.Contains(c.Sentence, "up to 10 kHz") || !strings.Contains(c.WouldSeparate, "would tell") {
		t.Errorf("%q, %q", c.Sentence, c.WouldSeparate)
	}
	// With the whole set of tones the same loss is told.
	opt = machineOf(false)
	s = newSynth(opt, 4)
	for i := range s.space {
		s.space[i] += 0.9
	}
	e = explain(t, s)
	first(t, e, Spacing, 1, 2, 3, 4, 5, 6)
	if slices.ContainsFunc(e.Open, func(c Confusion) bool { return c.B == GapWear }) {
		t.Errorf("still called inseparable: %+v", e.Open)
	}
}

// Gaps that do not stand on one line (2 µm apart here) do not make an azimuth of their own,
// nor a corner.
func TestScatteredGapsAreNoCause(t *testing.T) {
	s := newSynth(machineOf(false), 5)
	us := []float64{8, -6, 3, -9, 5, -2} // constant over frequency
	s.extra = func(track int, _ float64) (db, us2 float64) { return 0, us[track] }
	e := explain(t, s)
	if f := e.Findings[0]; f.Cause != None && f.Cause != Azimuth {
		t.Errorf("scattered gaps read as %s on %v", f.Cause, f.Tracks)
	}
}

// One track alone: said, and its treble still explained.
func TestOneTrackAlone(t *testing.T) {
	s := newSynth(machineOf(false), 6)
	s.space[2] += 1.2
	rep := s.report()
	rep.Measures = slices.DeleteFunc(rep.Measures, func(r measure.Result) bool { return r.Track != 3 || r.TrackB != 0 })
	e, err := Explain(rep, s.opt)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(e.Warnings, " "), "one track alone") {
		t.Errorf("warnings %q", e.Warnings)
	}
	if e.Findings[0].Cause == None {
		t.Errorf("1.2 µm of spacing not seen: %+v", e.Findings)
	}
}

// Tracks captured two at a time through a stereo bus have no common delays; azimuth comes
// from what the report states.
func TestPairsOfTracks(t *testing.T) {
	s := newSynth(machineOf(false), 7)
	s.arc = 6
	rep := s.report()
	rep.Measures = slices.DeleteFunc(rep.Measures, func(r measure.Result) bool {
		return r.Name == "delay" && r.Track+r.TrackB != 7
	})
	rep.Measures = append(rep.Measures, measure.Result{Name: "azimuth_line", Value: 6, Lo: 5.8, Hi: 6.2})
	e, err := Explain(rep, s.opt)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(e.Findings, func(f Finding) bool { return f.Cause == Azimuth })
	if i < 0 {
		t.Fatalf("azimuth of 6 arcminutes not found: %+v", e.Findings)
	}
	near(t, e.Findings[i].Parameters[0], 6, 0.2)
}

func TestNoiseReductionLeftOn(t *testing.T) {
	s := newSynth(machineOf(false), 8)
	s.space[4] += 0.6
	rep := s.report()
	for i, r := range rep.Measures {
		switch {
		case r.Name == "level":
			// A 2:1 expander about the reference level, -12 dBFS here.
			rep.Measures[i].Value, rep.Measures[i].Lo, rep.Measures[i].Hi = 2*r.Value+12, 2*r.Lo+12, 2*r.Hi+12
		case r.Name == "noise_reduction_left_on":
			rep.Measures[i].Value, rep.Measures[i].Lo, rep.Measures[i].Hi = 2, 1.99, 2.01
		}
	}
	e, err := Explain(rep, s.opt)
	if err != nil {
		t.Fatal(err)
	}
	first(t, e, NoiseReductionOn, 1, 2, 3, 4, 5, 6)
	if f := e.Findings[1]; f.Cause != Spacing || !slices.Equal(f.Tracks, []int{5}) {
		t.Errorf("behind it: %s on %v, want spacing on 5", f.Cause, f.Tracks)
	} else {
		near(t, f.Parameters[0], 0.6, 0.06)
	}
}

// The stable contract of the JSON form.
func TestFindingsAsJSON(t *testing.T) {
	s := newSynth(machineOf(false), 9)
	s.space[3] += 0.5
	data, err := json.Marshal(explain(t, s))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Findings []struct {
			Cause      string
			Tracks     []int
			Parameters []struct {
				Name, Unit    string
				Track         *int
				Value, Lo, Hi float64
			}
			Probability   float64
			Sentence      string
			WouldSeparate *string `json:"would_separate"`
		}
	}
	if err := json.Unmarshal(data, &got); err != nil {
		t.Fatal(err)
	}
	f := got.Findings[0]
	if f.Cause != "spacing" || !slices.Equal(f.Tracks, []int{4}) || f.Parameters[0].Name != "spacing_um" || *f.Parameters[0].Track != 4 ||
		f.Parameters[0].Unit != "µm" || f.Sentence == "" || f.WouldSeparate == nil {
		t.Errorf("%s", data[:min(len(data), 600)])
	}
}

func TestRefusals(t *testing.T) {
	opt := machineOf(false)
	if _, err := Explain(measure.Report{}, Options{}); !errors.Is(err, ErrNoTape) {
		t.Errorf("without a tape: %v", err)
	}
	if _, err := Explain(measure.Report{}, opt); !errors.Is(err, ErrNothing) {
		t.Errorf("without a level: %v", err)
	}
	rep := newSynth(opt, 1).report()
	for i := range rep.Measures {
		if rep.Measures[i].Track == 6 {
			rep.Measures[i].Track = 9
		}
	}
	if _, err := Explain(rep, opt); err == nil || !strings.Contains(err.Error(), "track 9 is not on a head of 6 tracks") {
		t.Errorf("a track that is not there: %v", err)
	}
}

// Order of the report's figures does not matter.
func TestOrderDoesNotMatter(t *testing.T) {
	s := newSynth(machineOf(false), 10)
	s.space[0] += 0.4
	rep := s.report()
	a, err := Explain(rep, s.opt)
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(rep.Measures)
	b, err := Explain(rep, s.opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Findings) != len(b.Findings) || math.Abs(a.Findings[0].Probability-b.Findings[0].Probability) > 1e-6 ||
		math.Abs(a.Findings[0].Parameters[0].Value-b.Findings[0].Parameters[0].Value) > 1e-6 {
		t.Errorf("%+v and %+v", a.Findings, b.Findings)
	}
}
