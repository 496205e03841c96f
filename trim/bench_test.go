package trim_test

import (
	"math/rand/v2"
	"testing"

	"headstack/measure"
	"headstack/trim"
)

// lined is a whole recorder after some rounds of turns and readings.
func lined(t testing.TB, rounds int) (*hexa, *trim.Bench) {
	h := newHexa(t, rand.New(rand.NewPCG(1, 61)))
	b := trim.NewBench(h.model)
	mustRead(t, b, h.read(h.quantities()...))
	for range rounds {
		next, err := b.Next(h.targets())
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range next {
			if x.Do == trim.DoTurn {
				h.turn(x.Trim, x.By)
				mustTurn(t, b, x.Trim, x.By)
			}
		}
		mustRead(t, b, h.read(h.quantities()...))
	}
	return h, b
}

func BenchmarkRead(b *testing.B) {
	h, bench := lined(b, 2)
	r := h.read(level(1))
	for b.Loop() {
		mustRead(b, bench, r)
	}
}

func BenchmarkNext(b *testing.B) {
	h, bench := lined(b, 0)
	for b.Loop() {
		if _, err := bench.Next(h.targets()); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(h.targets())), "targets")
}

func BenchmarkExtremum(b *testing.B) {
	r, _ := trim.ParseRange("4 turns, tune for least")
	x := trim.New("L7-1", "L7", trim.Quantity{Measure: "trap_leak", Track: 1}, 0, r)
	for b.Loop() {
		e := trim.NewExtremum(x)
		_ = e.Read(-20, 0.1)
		e.Turn(0.3, 0)
		_ = e.Read(-23, 0.1)
		e.Next(0.5)
	}
}

func BenchmarkLive(b *testing.B) {
	l := display(12.0/270, true)
	k := 0
	for b.Loop() {
		l.Feed(float64(k)/10, -3, 0.1)
		k++
	}
}

// TestReadingOf takes figures of measure as readings.
func TestReadingOf(t *testing.T) {
	m := hexaModel(t)
	for _, c := range []struct {
		name string
		r    measure.Result
		as   string
		want trim.Quantity
		ok   bool
	}{
		{"response", measure.Result{Name: "response", Track: 2, ToneHz: 10000, Value: -1, Lo: -1.1, Hi: -0.9, Unit: "dB"}, "", treble(2), true},
		{"level without its tone", measure.Result{Name: "level", Track: 2, ToneHz: 315, Value: -1, Lo: -1.1, Hi: -0.9, Unit: "dB"}, "", level(2), true},
		{"own recording", measure.Result{Name: "level", Track: 2, ToneHz: 315, Value: -1, Lo: -1.1, Hi: -0.9, Unit: "dB"}, "record_level", trim.Quantity{Measure: "record_level", Track: 2}, true},
		{"line", measure.Result{Name: "azimuth_line", Value: 4, Lo: 3.9, Hi: 4.1, Unit: "arcmin"}, "", trim.Quantity{Measure: "azimuth"}, true},
		{"delay", measure.Result{Name: "delay", Track: 1, TrackB: 6, ToneHz: 10000, Value: 40, Lo: 39, Hi: 41, Unit: "µs"}, "", trim.Quantity{Measure: "delay", Track: 1, TrackB: 6}, true},
		{"refused", measure.Result{Name: "level", Track: 2, Unit: "dB", Refused: "no tone"}, "", trim.Quantity{}, false},
		{"another unit", measure.Result{Name: "level", Track: 2, Value: -1, Lo: -1.1, Hi: -0.9, Unit: "V"}, "", trim.Quantity{}, false},
		{"no trim's", measure.Result{Name: "noise", Track: 2, Value: -50, Lo: -51, Hi: -49, Unit: "dB"}, "", trim.Quantity{}, false},
	} {
		got, ok := m.ReadingOf(c.r, c.as)
		if ok != c.ok || got.Quantity != c.want {
			t.Errorf("%s: %+v, %v", c.name, got, ok)
		}
		if ok && (got.Value != c.r.Value || got.SD < 0.4*(c.r.Hi-c.r.Lo)/1.96 || got.SD > 0.6*(c.r.Hi-c.r.Lo)/1.96) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}
