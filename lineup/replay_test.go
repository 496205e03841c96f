package lineup_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/sim"
	"headstack/tape"
	"headstack/testtape"
)

// A recorder that is lined up to its own reference plays a tape of another fluxivity,
// another equalisation and with an error in its certificate, over its full width. What
// is measured lies on target, but for the faults put in, and these come out.
func TestReplayLiesOnTarget(t *testing.T) {
	d, _ := machine.Builtin("hexastrand")
	certificate := &testtape.Tape{Format: 1, Name: "bench", SpeedCmS: 9.525, Reference: testtape.Reference{FluxivityNWbM: 200, ToneHz: 315, Convention: "short-circuit"},
		EqualisationUs: testtape.Equalisation{High: 120, Low: 3180}, TrackLayout: testtape.FullWidth,
		Sections: []testtape.Section{{Name: "reference", ToneHz: 315, Seconds: 10}, {Name: "1 kHz", ToneHz: 1000, LevelDB: -20, Seconds: 8}, {Name: "3.15 kHz", ToneHz: 3150, LevelDB: -20, Seconds: 8},
			{Name: "10 kHz", ToneHz: 10000, LevelDB: -20, Seconds: 10}, {Name: "speed", ToneHz: 3150, LevelDB: -10, Seconds: 15}}}
	// The tape itself: 10 kHz is 0.4 dB stronger than its certificate says.
	played := *certificate
	played.Sections = slices.Clone(certificate.Sections)
	played.Sections[3].LevelDB += 0.4

	sc := sim.Perfect(&played, d.Geometry())
	sc.AzimuthArcmin, sc.SpeedErrorPercent = 5, 1.5
	fluxivity := 20 * math.Log10(200.0/250)
	for i := range sc.Tracks {
		sc.Tracks[i].GainDB = fluxivity
		sc.Tracks[i].Eq = &tape.Equalisation{HighUs: 70, LowUs: 3180}
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -70}
	}
	sc.Tracks[2].GainDB -= 1
	sc.Tracks[4].SpacingUm = 0.5
	var m sim.Memory
	if _, err := m.Render(context.Background(), sc); err != nil {
		t.Fatal(err)
	}
	rep, err := measure.TestTape(context.Background(), []measure.Source{{Name: "capture", Tracks: upTo(6), Open: m.Open}},
		measure.Options{Tape: certificate, Geometry: d.Geometry(), Case: measure.CaseClosed})
	if err != nil {
		t.Fatal(err)
	}
	find := func(name string, track int, section string) *measure.Result {
		i := slices.IndexFunc(rep.Measures, func(r measure.Result) bool {
			return r.Name == name && r.Track == track && (section == "" || r.Section == section)
		})
		if i < 0 {
			t.Fatalf("no %s of track %d in %q", name, track, section)
		}
		return &rep.Measures[i]
	}
	o, err := lineup.New(d, lineup.Options{Tapes: []lineup.TapeAtHand{{Tape: certificate, CertificateDB: map[string]lineup.Amount{"10 kHz": {Value: 0.4, Half: 0.1, Source: "compared with another tape"}}}}})
	if err != nil {
		t.Fatal(err)
	}
	set := lineup.Setup{ReadBy: lineup.ByCapture, OutputDBFS: &lineup.Amount{Value: -12}}
	judge := func(step string, r *measure.Result) lineup.Judgement {
		tg := o.Target(step, set)
		j := lineup.Judge(&tg, r)
		if j.Verdict == lineup.NotMeasured {
			t.Fatalf("%s: %s", step, j.Why)
		}
		return j
	}
	// The model of the capture refers 0 dB to the middle of the curve, a certificate to
	// the tone: they differ by the two curves at 315 Hz.
	curves := float64(tape.FluxDB(315, 120, 3180) - tape.FluxDB(315, 70, 3180))
	azimuth := float64(tape.AzimuthLoss(0.38e-3, 5*tape.Arcminute, tape.Wavelength(0.09525, 10000)))
	for track := 1; track <= 6; track++ {
		level, treble := curves, -azimuth
		switch track {
		case 3:
			level--
		case 5:
			level -= float64(tape.SpacingLoss(0.5e-6, tape.Wavelength(0.09525, 315)))
			treble -= float64(tape.SpacingLoss(0.5e-6, tape.Wavelength(0.09525, 10000)) - tape.SpacingLoss(0.5e-6, tape.Wavelength(0.09525, 315)))
		}
		for _, c := range []struct {
			step    string
			result  *measure.Result
			want    float64
			verdict []lineup.Verdict
		}{
			{"proof_level/9.525/" + string(rune('0'+track)), find("level", track, "reference"), level, []lineup.Verdict{lineup.In, lineup.Doubt}},
			{"proof_treble/9.525/" + string(rune('0'+track)), find("response", track, "10 kHz"), treble, []lineup.Verdict{lineup.In}},
		} {
			switch {
			case track == 3 && c.result.Name == "level":
				c.verdict = []lineup.Verdict{lineup.Out, lineup.Doubt}
			case track == 5 && c.result.Name == "response":
				c.verdict = []lineup.Verdict{lineup.Out}
			}
			// 1.5 % of speed moves the levels of tones on a curve by up to 0.1 dB.
			if j := judge(c.step, c.result); math.Abs(j.Error-c.want) > 0.12 || !slices.Contains(c.verdict, j.Verdict) {
				t.Errorf("%s: off by %.3f dB, want %.3f; %s", c.step, j.Error, c.want, j.Verdict)
			}
		}
	}
	if j := judge("proof_azimuth/9.525", find("azimuth_line", 0, "")); j.Verdict != lineup.Out || math.Abs(j.Error-5) > 0.1 {
		t.Errorf("azimuth %+v", j)
	}
	if j := judge("proof_speed/9.525", find("speed_error", 0, "")); j.Verdict != lineup.Out || math.Abs(j.Error-1.5) > 0.01 {
		t.Errorf("speed %+v", j)
	}
	if j := judge("proof_flutter/9.525", find("wow_flutter_2sigma", 0, "")); j.Verdict != lineup.In {
		t.Errorf("flutter %+v", j)
	}
}
