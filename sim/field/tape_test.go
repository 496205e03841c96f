package field_test

import (
	"math"
	"math/cmplx"
	"testing"

	"headstack/sim/field"
	"headstack/tape"
	"headstack/unit"
)

// bench is one of the two demo recorders' geometries with a sound head and a tape.
type bench struct {
	name  string
	kind  field.Kind
	tape  field.Tape
	head  field.Head
	place tape.Geometry
	tones []float64
}

func benches(fullWidth bool) []bench {
	list := []bench{
		{name: "cassette", kind: field.Cassette, tape: field.Tape{SpeedMS: 0.09525, WidthM: 3.81e-3, Curve: field.Curve{HighUs: 70, LowUs: 3180}},
			tones: []float64{40, 63, 100, 160, 250, 315, 500, 1000, 2000, 4000, 6300, 8000, 10000, 12500}},
		{name: "open reel", kind: field.OpenReel, tape: field.Tape{SpeedMS: 0.381, WidthM: 12.7e-3, Curve: field.Curve{HighUs: 35}},
			tones: []float64{40, 63, 100, 160, 250, 315, 500, 1000, 2000, 4000, 6300, 8000, 10000, 12500, 16000}},
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

func db(r complex128) float64 { return 20 * math.Log10(cmplx.Abs(r)) }

func TestDifferences(t *testing.T) {
	for _, b := range benches(false) {
		p := b.player(t)
		for _, g := range []float64{1, 1.5, 2, 2.5, 3, 4, 5} {
			worst, at := 0.0, 0.0
			sum := 0.0
			for _, f := range b.tones {
				got := db(p.Response(2, field.Fault{GapM: g * 1e-6}, f, 0))
				want := float64(tape.GapLoss(unit.Metre(b.head.GapM), b.lambda(f)) - tape.GapLoss(unit.Metre(g*1e-6), b.lambda(f)))
				if math.Abs(got-want) > math.Abs(worst) {
					worst, at, sum = got-want, f, got
				}
			}
			t.Logf("%s gap %g: %.3f dB at %g Hz, where field says %.3f", b.name, g, worst, at, sum)
		}
		for _, d := range []float64{0.1, 0.5, 1, 2} {
			worst := 0.0
			for _, f := range b.tones {
				got := db(p.Response(2, field.Fault{}.Evenly(d*1e-6), f, 0))
				want := -float64(tape.SpacingLoss(unit.Metre(d*1e-6), b.lambda(f)))
				worst = max(worst, math.Abs(got-want))
			}
			t.Logf("%s spacing %g: %.2g dB", b.name, d, worst)
		}
		for _, d := range []float64{0.2, 0.5, 1, 2} {
			for _, f := range []float64{6300, 10000, 12500} {
				got := db(p.Response(2, field.Fault{SpacingHighM: d * 1e-6}, f, 0))
				want := -float64(tape.SpacingLoss(unit.Metre(d/2*1e-6), b.lambda(f)))
				t.Logf("%s ramp 0-%g at %g: %.3f dB more than the mean spacing's %.2f", b.name, d, f, got-want, want)
			}
		}
		for _, a := range []float64{5, 10, 15, 30} {
			worst := 0.0
			for _, f := range b.tones {
				got := db(p.Response(2, field.Fault{AzimuthRad: a * float64(tape.Arcminute)}, f, 0))
				want := -float64(tape.AzimuthLoss(b.place.Tracks[1].Width, unit.Radian(a)*tape.Arcminute, b.lambda(f)))
				worst = max(worst, math.Abs(got-want))
			}
			t.Logf("%s azimuth per track %g: %.2g dB", b.name, a, worst)
		}
	}
	for _, b := range benches(true) {
		p := b.player(t)
		for _, track := range []int{1, 2} {
			for _, f := range b.tones {
				got := db(p.Response(track, field.Fault{}, f, 0))
				want := float64(tape.FringingGain(b.place, track, b.lambda(f)))
				r := p.Response(track, field.Fault{}, f, 0)
				for range 1 {
				}
				az := 15 * float64(tape.Arcminute)
				ra := p.Response(track, field.Fault{AzimuthRad: az}, f, 0)
				wantA := -float64(tape.AzimuthLoss(b.place.Tracks[1].Width, unit.Radian(az), b.lambda(f)))
				k := 2 * math.Pi / float64(b.lambda(f))
				ph := cmplx.Phase(ra * cmplx.Rect(1, k*math.Tan(az)*(b.head.CentresM[track-1]-b.head.CentresM[0])))
				t.Logf("%s track %d %g Hz: fringing %.3f tape %.3f diff %+.3f; azimuth 15' loss diff %+.3f dB, delay %+.2f µs", b.name, track, f, got, want, got-want, db(ra/r)-wantA, -ph/(2*math.Pi*f)*1e6)
			}
		}
	}
	for _, full := range []bool{true, false} {
		for _, b := range benches(full) {
			p := b.player(t)
			for _, h := range []float64{-0.3e-3, -0.2e-3, -0.1e-3, 0.1e-3, 0.2e-3} {
				for _, f := range []float64{40, 315, 1000, 10000} {
					s := ""
					for _, track := range []int{1, 2, len(b.head.CentresM)} {
						s += " " + ff(db(p.Response(track, field.Fault{HeightM: h}, f, 0)/p.Response(track, field.Fault{}, f, 0)))
					}
					t.Logf("%s full %v height %+.1f mm, %g Hz: tracks 1 2 n: %s", b.name, full, h*1e3, f, s)
				}
			}
		}
	}
	for _, b := range benches(false) {
		b.head = b.kind.Faced(b.head)
		p := b.player(t)
		s := ""
		for _, f := range []float64{20, 30, 40, 50, 63, 80, 100, 125, 160, 250, 315, 400, 500, 1000, 10000} {
			s += " " + ff(f) + ":" + ff(db(p.Response(2, field.Fault{}, f, 0)))
		}
		t.Log(b.name, s)
	}
}

func ff(x float64) string { return string(fmtAppend(x)) }
