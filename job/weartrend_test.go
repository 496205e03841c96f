package job

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"headstack/signature"
	"headstack/tape"
	"headstack/unit"
)

// A first look at the bench, in tests.
var firstLook = time.Date(2026, 3, 2, 10, 0, 0, 0, time.UTC)

func after(years float64) time.Time {
	return firstLook.Add(time.Duration(years * yearHours * float64(time.Hour)))
}

// drawn makes captures of a gap that grows: dates a little uneven, errors of repeating,
// scatter beyond them and the tones of the tapes drawn at random.
func drawn(rng *rand.Rand, n int, perYear, repeat, scatter, tapeSD float64, tapes int) []dated {
	errs := make([]float64, tapes)
	for i := range errs {
		errs[i] = tapeSD * rng.NormFloat64()
	}
	var list []dated
	for i := range n {
		years := float64(i) + 0.3*rng.Float64()
		on := i * tapes / n
		v := 1.5 + perYear*years + errs[on] + repeat*rng.NormFloat64() + scatter*rng.NormFloat64()
		list = append(list, dated{after(years), string(rune('a' + on)), signature.Amount{Value: v, RepeatSD: repeat, TapeSD: tapeSD, Unit: "µm"}})
	}
	return list
}

// The same of a gap that is told from a loss at 12.5 kHz, λ = 7.62 µm: the errors are of
// the loss, and what they make of the gap depends on the gap.
func drawnByLoss(rng *rand.Rand, n int, perYear, repeatDB, tapeDB float64) []dated {
	loss := func(um float64) float64 { return float64(tape.GapLoss(unit.Metre(um*1e-6), 7.62e-6)) }
	bias := tapeDB * rng.NormFloat64()
	var list []dated
	for i := range n {
		years := float64(i) + 0.3*rng.Float64()
		lossDB := loss(1.5+perYear*years) + bias + repeatDB*rng.NormFloat64()
		lo, hi := 0.3, 6.0
		for range 50 {
			if mid := (lo + hi) / 2; loss(mid) < lossDB {
				lo = mid
			} else {
				hi = mid
			}
		}
		slope := (loss(hi+0.01) - loss(hi-0.01)) / 0.02
		list = append(list, dated{after(years), "a", signature.Amount{Value: hi, RepeatSD: repeatDB / slope, TapeSD: tapeDB / slope, Unit: "µm"}})
	}
	return list
}

// How often the interval of a trend holds the true one: 95 % where captures scatter
// beyond their errors; a little more where they do not, for the interval has a least
// width. 2000 draws of each kind, seeds 0 to 1999; the bar is 92 to 98 %.
func TestTrendIntervalsHold(t *testing.T) {
	for _, c := range []struct {
		name                    string
		n                       int
		repeat, scatter, tapeSD float64
		tapes                   int
		byLoss                  bool // errors are dB
	}{
		{"one tape, three dates", 3, 0.1, 0, 0.15, 1, false},
		{"one tape, five dates", 5, 0.1, 0, 0.15, 1, false},
		{"one tape, dirt", 5, 0.05, 0.15, 0.15, 1, false},
		{"two tapes", 6, 0.1, 0, 0.15, 2, false},
		{"a tape each", 5, 0.1, 0.1, 0.15, 5, false},
		{"gap by loss", 5, 0.07, 0, 0.21, 1, true},
		{"gap by loss, steady", 5, 0.07, 0, 0.21, 1, true},
		{"ten dates, dirt", 10, 0.05, 0.2, 0.15, 1, false},
	} {
		held, wide := 0, 0.0
		const runs = 2000
		for seed := range uint64(runs) {
			rng, perYear := rand.New(rand.NewPCG(seed, 11)), 0.2
			if strings.Contains(c.name, "steady") {
				perYear = 0
			}
			list := drawn(rng, c.n, perYear, c.repeat, c.scatter, c.tapeSD, c.tapes)
			if c.byLoss {
				list = drawnByLoss(rng, c.n, perYear, c.repeat, c.tapeSD)
			}
			tr := trendOf(list, "µm")
			if tr.Refused != "" {
				t.Fatal(tr.Refused)
			}
			if tr.Lo <= perYear && perYear <= tr.Hi {
				held++
			}
			wide += (tr.Hi - tr.Lo) / runs
		}
		part := float64(held) / runs
		t.Logf("%s: %.3f hold, %.3f µm a year wide", c.name, part, wide)
		most := 0.98
		if c.n == 3 {
			most = 0.99 // t has one degree of freedom: what the least width adds weighs more
		}
		if part < 0.92 || part > most+1e-9 {
			t.Errorf("%s: %.3f of the intervals hold the trend, want 0.92 to %g", c.name, part, most)
		}
	}
}

// A projection is where line and bounds come to the limit, and later with each.
func TestProjection(t *testing.T) {
	list := drawn(rand.New(rand.NewPCG(3, 3)), 6, 0.2, 0.05, 0, 0.1, 1)
	l := newLine(list)
	years, lo, hi := l.reaches(l.beta[0] + 2*l.beta[1])
	if !(lo < years && years < hi) || years < 1.999 || years > 2.001 {
		t.Errorf("%.3f years (%.3f to %.3f), want 2 within", years, lo, hi)
	}
	if years, _, _ := l.reaches(l.beta[0] - 1); years != 0 {
		t.Errorf("a limit that is passed: in %g years", years)
	}
	s := WearSeries{TrebleHz: 12500}
	limit := gapOfLoss(1.5, LimitDB, 7.62e-6)
	if got := float64(tape.GapLoss(unit.Metre(limit*1e-6), 7.62e-6) - tape.GapLoss(1.5e-6, 7.62e-6)); got < LimitDB-1e-6 || got > LimitDB+1e-6 {
		t.Errorf("a gap of %g µm loses %g dB more than one of 1.5", limit, got)
	}
	p := s.projection(list, l.beta[0]+300*l.beta[1])
	if p != nil {
		t.Errorf("three hundred years: %+v", p)
	}
	if w := (&Projection{LossDB: 3, Hz: 10000, Years: 4.04, Lo: 2.2}).words(); w != " At this rate the 10\u2009kHz loss reaches 3\u2009dB in about 4 years (2.2 to more than 100)." {
		t.Error(w)
	}
}

// The line of equal weights is that of plain least squares: slope, standard error and
// Student's t of the worked example of a textbook (five points, here 1 to 5 years
// against 1, 3, 2, 5, 4: slope 0.8, standard error √(3.6/3/10), computed by hand).
func TestALineByHand(t *testing.T) {
	var list []dated
	for i, v := range []float64{1, 3, 2, 5, 4} {
		list = append(list, dated{after(float64(i)), "a", signature.Amount{Value: v, RepeatSD: 0.01}})
	}
	tr := trendOf(list, "µm")
	const want, half = 0.8, 3.18244630528 * 0.34641016151 // t(0.975, 3): Abramowitz and Stegun 1964, table 26.10: 3.182
	if d := tr.PerYear - want; d > 1e-9 || d < -1e-9 || tr.Hi-tr.PerYear-half > 1e-4 || tr.Hi-tr.PerYear-half < -1e-4 {
		t.Errorf("%+v, want %g ± %g", tr, want, half)
	}
	if tr.Changes() {
		t.Error("an interval that holds 0")
	}
	if tr.Chance < 0.10 || tr.Chance > 0.11 { // t = 2.3094 with 3 degrees: 0.1041 (rounded), by the closed form for ν = 3
		t.Errorf("chance %g", tr.Chance)
	}
}

func TestTrendWantsDates(t *testing.T) {
	one := signature.Amount{Value: 1, RepeatSD: 0.1}
	at := func(days ...float64) (list []dated) {
		for _, d := range days {
			list = append(list, dated{firstLook.Add(time.Duration(d * 24 * float64(time.Hour))), "a", one})
		}
		return list
	}
	for _, c := range []struct {
		list []dated
		want string
	}{
		{nil, "captures of 0 dates only: a trend wants 3"},
		{at(0), "captures of 1 date only: a trend wants 3"},
		{at(0, 400), "captures of 2 dates only: a trend wants 3"},
		{at(0, 0.1, 400), "captures of 2 dates only: a trend wants 3"},
		{at(0, 5, 12), "the captures lie 12 days apart: a trend wants 30"},
		{at(0, 5, 40), ""},
	} {
		if got := trendOf(c.list, "µm").Refused; got != c.want {
			t.Errorf("%d captures: %q, want %q", len(c.list), got, c.want)
		}
	}
}
