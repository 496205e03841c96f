package field_test

import (
	"math"
	"math/cmplx"
	"testing"

	"headstack/sim/field"
	"headstack/tape"
	"headstack/unit"
)

// bench is the geometry of one of the two invented demo recorders with a sound head
// and a tape.
type bench struct {
	kind  field.Kind
	tape  field.Tape
	head  field.Head
	place tape.Geometry
	tones []float64
}

func benches(fullWidth bool) []bench {
	tones := []float64{40, 63, 100, 160, 250, 315, 500, 1000, 2000, 4000, 6300, 8000, 10000, 12500}
	list := []bench{
		{kind: field.Cassette, tones: tones, tape: field.Tape{SpeedMS: 0.09525, WidthM: 3.81e-3}},
		{kind: field.OpenReel, tones: append(tones[:len(tones):len(tones)], 16000), tape: field.Tape{SpeedMS: 0.381, WidthM: 12.7e-3}},
	}
	grids := [][4]float64{{0.355e-3, 0.62e-3, 0.38e-3, 6}, {1.1e-3, 1.5e-3, 0.99e-3, 8}}
	for i := range list {
		b, g := &list[i], grids[i]
		b.place.TapeWidth = unit.Metre(b.tape.WidthM)
		var centres, widths []float64
		for j := range int(g[3]) {
			centres, widths = append(centres, g[0]+float64(j)*g[1]), append(widths, g[2])
			b.place.Tracks = append(b.place.Tracks, tape.TrackPlace{Centre: unit.Metre(centres[j]), Width: unit.Metre(g[2])})
		}
		b.head = b.kind.Head(centres, widths)
		b.tape.CoatingM, b.tape.FullWidth = b.kind.CoatingM(), fullWidth
		b.tape.CentresM, b.tape.WidthsM = centres, widths
	}
	return list
}

func (b bench) player(t testing.TB) *field.Player {
	t.Helper()
	p, err := field.NewPlayer(b.head, b.tape)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (b bench) lambda(hz float64) unit.Metre { return unit.Metre(b.tape.SpeedMS / hz) }

// The two models differ by as much as the package comment says: enough to prove a
// fit that uses the other, and not so much that one of them must be wrong. Each line
// is the greatest difference over the tones, in dB, this model less package tape.
func TestDifferencesFromTape(t *testing.T) {
	const c, r = 0, 1 // cassette, open reel
	perTrack, fullWidth := benches(false), benches(true)
	greatest := func(b bench, play, law func(hz float64) float64) float64 {
		worst := 0.0
		for _, hz := range b.tones {
			if d := play(hz) - law(hz); math.Abs(d) > math.Abs(worst) {
				worst = d
			}
		}
		return worst
	}
	faulty := func(b bench, track int, f field.Fault) func(hz float64) float64 {
		p := b.player(t)
		return func(hz float64) float64 { return db(p.Response(track, f, hz, 0)) }
	}
	gap := func(b bench, g float64) float64 {
		return greatest(b, faulty(b, 2, field.Fault{GapM: g}), func(hz float64) float64 {
			return float64(tape.GapLoss(unit.Metre(b.head.GapM), b.lambda(hz)) - tape.GapLoss(unit.Metre(g), b.lambda(hz)))
		})
	}
	spacing := func(b bench, low, high float64) float64 {
		return greatest(b, faulty(b, 2, field.Fault{SpacingLowM: low, SpacingHighM: high}), func(hz float64) float64 {
			return -float64(tape.SpacingLoss(unit.Metre((low+high)/2), b.lambda(hz)))
		})
	}
	fringing := func(b bench, track int) float64 {
		return greatest(b, faulty(b, track, field.Fault{}), func(hz float64) float64 {
			return float64(tape.FringingGain(b.place, track, b.lambda(hz)))
		})
	}
	azimuth := func(b bench) float64 {
		sound := faulty(b, 2, field.Fault{})
		play := faulty(b, 2, field.Fault{AzimuthRad: 15 * arcminute})
		return greatest(b, func(hz float64) float64 { return play(hz) - sound(hz) }, func(hz float64) float64 {
			return -float64(tape.AzimuthLoss(b.place.Tracks[1].Width, 15*arcminute, b.lambda(hz)))
		})
	}
	for _, d := range []struct {
		name      string
		got       float64
		low, high float64
	}{
		{"cassette, gap 1 µm", gap(perTrack[c], 1e-6), -0.05, -0.03},
		{"cassette, gap 2 µm", gap(perTrack[c], 2e-6), 0.12, 0.15},
		{"cassette, gap 3 µm", gap(perTrack[c], 3e-6), 0.45, 0.5},
		{"open reel, gap 1 µm", gap(perTrack[r], 1e-6), -0.06, -0.04},
		{"open reel, gap 5 µm", gap(perTrack[r], 5e-6), 0.08, 0.11},
		{"cassette, spacing 2 µm", spacing(perTrack[c], 2e-6, 2e-6), -1e-5, 1e-5},
		{"cassette, ramp 0 to 1 µm", spacing(perTrack[c], 0, 1e-6), 0.2, 0.25},
		{"cassette, ramp 0 to 2 µm", spacing(perTrack[c], 0, 2e-6), 0.9, 1},
		{"open reel, ramp 0 to 2 µm", spacing(perTrack[r], 0, 2e-6), 0.08, 0.13},
		{"cassette, azimuth, full width", azimuth(fullWidth[c]), -0.01, -0.005},
		{"cassette, azimuth, per track", azimuth(perTrack[c]), -1e-6, 1e-6},
		{"cassette, fringing, track 1", fringing(fullWidth[c], 1), 0.3, 0.36},
		{"cassette, fringing, track 3", fringing(fullWidth[c], 3), 0.28, 0.34},
		{"open reel, fringing, track 1", fringing(fullWidth[r], 1), 0.2, 0.25},
		{"open reel, fringing, track 4", fringing(fullWidth[r], 4), 0.15, 0.19},
	} {
		t.Logf("%s: %+.3f dB", d.name, d.got)
		if !(d.got >= d.low && d.got <= d.high) {
			t.Errorf("%s: the models differ by %+.3f dB, the package comment says %g to %g", d.name, d.got, d.low, d.high)
		}
	}
}

// Delays are those of the centres' distance but where long waves are gathered beside
// the outer cores unevenly.
func TestDelaysOnFullWidth(t *testing.T) {
	for i, most := range []float64{0.3, 1.4} { // µs at 40 Hz
		b := benches(true)[i]
		p, tilt := b.player(t), 15*arcminute
		for _, track := range []int{1, 2} {
			for _, hz := range b.tones {
				late := b.tape.SpeedMS / (2 * math.Pi * hz) // s per rad over speed
				centre := (b.head.CentresM[track-1] - b.head.CentresM[0]) * math.Tan(tilt)
				rest := p.Response(track, field.Fault{AzimuthRad: tilt}, hz, 0) * cmplx.Rect(1, centre/late)
				us := math.Abs(cmplx.Phase(rest)) / (2 * math.Pi * hz) * 1e6
				if us > most || hz > 300 && us > 0.05 {
					t.Errorf("recorder %d track %d at %g Hz: %.2f µs beside the delay of the centre", i, track, hz, us)
				}
			}
		}
	}
}
