package sim_test

import (
	"math"
	"testing"

	"headstack/sim"
	"headstack/tape"
)

// Sections follow each other as laid out: 2 s of lead-in, half seconds between.
func TestSectionTimes(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.SpeedErrorPercent = 2
	sc.Channels = []int{1}
	x, truth := render(t, sc)
	for i, s := range truth.Sections {
		wantStart, wantEnd := (2+2.5*float64(i))/1.02, (4+2.5*float64(i))/1.02
		if math.Abs(s.StartS-wantStart) > 1e-9 || math.Abs(s.EndS-wantEnd) > 1e-9 {
			t.Errorf("%s: %v to %v s, want %v to %v", s.Name, s.StartS, s.EndS, wantStart, wantEnd)
		}
		if s.ToneHz == 0 {
			continue
		}
		// Heard from the first sample after the start to the last before the end.
		first, last := int(s.StartS*48000), int(s.EndS*48000)
		if x[0][first] != 0 || x[0][last+1] != 0 {
			t.Errorf("%s: sound outside its times", s.Name)
		}
		loud := 0.0
		for _, v := range x[0][first : first+480] {
			loud = math.Max(loud, math.Abs(v))
		}
		if loud < 0.01 {
			t.Errorf("%s: no sound within 10 ms of its start", s.Name)
		}
	}
}

// Tracks heard through the same fault of azimuth differ in time as their centres
// do in place; the replayed delay is that of the actual speed. Wow and flutter do
// not touch it.
func TestDelay(t *testing.T) {
	for _, flutter := range []float64{0, 0.1} {
		sc := sim.Perfect(testTape(1+10*flutter), geometry())
		sc.AzimuthArcmin, sc.SpeedErrorPercent = 7, -1.5
		if flutter > 0 {
			sc.Flutter = []sim.Line{{Hz: 2.5, PercentPeak: flutter, PhaseDeg: 40}}
		}
		x, truth := render(t, sc)
		for _, pair := range [][2]int{{1, 2}, {1, 6}, {3, 5}} {
			const i = 2 // 3150 Hz
			a, first := section(t, x[pair[0]-1], truth, i)
			b, _ := section(t, x[pair[1]-1], truth, i)
			f := sc.Tape.Sections[i].ToneHz * 0.985
			fa, fb := fitSine(a, first, 48000, f), fitSine(b, first, 48000, f)
			got := math.Remainder(fa.phase()-fb.phase()+2*math.Pi*(fb.f-fa.f)*truth.Sections[i].StartS, 2*math.Pi) / (2 * math.Pi * f) * 1e6
			want := float64(pair[1]-pair[0]) * 0.62e-3 * math.Tan(7*math.Pi/10800) / (0.09525 * 0.985) * 1e6
			tolerance := 0.001
			if flutter > 0 {
				tolerance = 0.2 // the plain fit sees the flutter's beats
			}
			if math.Abs(got-want) > tolerance {
				t.Errorf("flutter %v, tracks %v: %.4f µs, want %.4f", flutter, pair, got, want)
			}
			if told, ok := truth.Find("delay", pair[0], pair[1], ""); !ok || math.Abs(told-want) > 1e-9 {
				t.Errorf("tracks %v: true delay %v µs, want %v", pair, told, want)
			}
		}
	}
}

// Flutter of a known line is what the phase of a tone shows: the peak of its
// modulation index is f·peak/flutter frequency, so that the carrier falls to J0 and
// the first side lines to J1 of it.
func TestFlutterSpectrum(t *testing.T) {
	sc := sim.Perfect(testTape(4), geometry())
	sc.Channels = []int{1}
	sc.Flutter = []sim.Line{{Hz: 5, PercentPeak: 0.1}}
	x, truth := render(t, sc)
	const index = 2
	at := int((truth.Sections[index].StartS + 0.1) * 48000)
	cut := x[0][at : at+3*48000] // whole periods of 5 Hz and of 3150 Hz
	line := func(f float64) float64 {
		var a, b float64
		for i, v := range cut {
			s, c := math.Sincos(2 * math.Pi * f * float64(i) / 48000)
			a, b = a+v*s, b+v*c
		}
		return 2 * math.Hypot(a, b) / float64(len(cut))
	}
	peak := math.Pow(10, (-22+float64(tape.FringingGain(sc.Geometry, 1, lambda(3150))))/20)
	m := 3150 * 0.001 / 5
	for f, want := range map[float64]float64{
		3150: math.J0(m), 3145: math.J1(m), 3155: math.J1(m), 3140: math.Jn(2, m), 3160: math.Jn(2, m),
	} {
		if got := line(f) / peak; math.Abs(got-want) > 1e-5 {
			t.Errorf("line at %v Hz: %.6f of the tone, want %.6f", f, got, want)
		}
	}
}

// The r.m.s. of the random flutter is as asked, within what 11 s can tell.
func TestRandomFlutter(t *testing.T) {
	sc := sim.Perfect(testTape(12), geometry())
	sc.Tape.Sections = sc.Tape.Sections[2:3]
	sc.Channels = []int{1}
	sc.RandomFlutter = sim.RandomFlutter{RMSPercent: 0.2, LowHz: 1, HighHz: 12}
	x, truth := render(t, sc)
	at := int((truth.Sections[0].StartS + 0.1) * 48000)
	// Instantaneous frequency from the upward zero crossings.
	var times []float64
	for i := at; i < at+11*48000; i++ {
		if x[0][i] < 0 && x[0][i+1] >= 0 {
			times = append(times, (float64(i)+x[0][i]/(x[0][i]-x[0][i+1]))/48000)
		}
	}
	sum, n := 0.0, 0
	for i := 0; i+30 < len(times); i += 30 { // about 10 ms
		w := 30/(times[i+30]-times[i])/3150 - 1
		sum, n = sum+w*w, n+1
	}
	got := 100 * math.Sqrt(sum/float64(n))
	if math.Abs(got/0.2-1) > 0.1 {
		t.Errorf("r.m.s. flutter %.4f %%, want 0.2", got)
	}
}

// Wander moves the delay about its mean by as much as asked.
func TestAzimuthWander(t *testing.T) {
	sc := sim.Perfect(testTape(20), geometry())
	sc.Tape.Sections = sc.Tape.Sections[2:3]
	sc.Tape.Reference.ToneHz = 3150
	sc.Channels = []int{1, 6}
	sc.AzimuthArcmin = 3
	sc.AzimuthWander = sim.Wander{RMSArcmin: 1, LowHz: 0.3, HighHz: 2}
	x, truth := render(t, sc)
	a, first := section(t, x[0], truth, 0)
	b, _ := section(t, x[1], truth, 0)
	mean, square, n := 0.0, 0.0, 0.0
	for at := 0; at+480 <= len(a); at += 480 {
		fa, fb := fitSine(a[at:at+480], first+at, 48000, 3150), fitSine(b[at:at+480], first+at, 48000, 3150)
		phaseA, phaseB := middle(fa, first+at+240), middle(fb, first+at+240)
		us := math.Remainder(phaseA-phaseB, 2*math.Pi) / (2 * math.Pi * 3150) * 1e6
		arcmin := us / 9.468 // 3.1 mm · tan(1') / 0.09525 m/s = 9.468 µs
		mean, square, n = mean+arcmin, square+arcmin*arcmin, n+1
	}
	mean /= n
	rms := math.Sqrt(square/n - mean*mean)
	if math.Abs(mean-3) > 0.1 || math.Abs(rms-1) > 0.1 {
		t.Errorf("azimuth %.3f' ± %.3f', want 3 ± 1", mean, rms)
	}
}

func middle(s sine, frame int) float64 {
	return math.Mod(2*math.Pi*s.f*float64(frame)/48000, 2*math.Pi) + s.phase()
}

// A capture may lack the tape's head and tail, or begin within a section.
func TestMissingParts(t *testing.T) {
	sc := sim.Perfect(testTape(2), geometry())
	sc.SkipHead, sc.SkipTail = 1, 1
	sc.CutHeadS = 2.5
	_, truth := render(t, sc)
	want := []struct {
		present, partial bool
		start, end       float64
	}{{}, {true, true, 0, 1.5}, {true, false, 2, 4}, {true, false, 4.5, 6.5}, {}}
	for i, s := range truth.Sections {
		w := want[i]
		if s.Present != w.present || s.Partial != w.partial || math.Abs(s.StartS-w.start)+math.Abs(s.EndS-w.end) > 1e-9 {
			t.Errorf("section %d: %+v, want %+v", i, s, w)
		}
	}
}
