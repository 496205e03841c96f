package trim_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"headstack/trim"
)

func tuned(t *testing.T, text string) trim.Trim {
	t.Helper()
	r, err := trim.ParseRange(text)
	if err != nil {
		t.Fatal(err)
	}
	x := trim.New("L7-1", "L7", trim.Quantity{Measure: "trap_leak", Track: 1}, 0, r)
	x.Name = "bias trap, track 1"
	return x
}

// TestExtremum follows the advice for a trap or peak of unknown place, width and depth,
// from anywhere in its travel, on 500 traps and 100 peaks.
func TestExtremum(t *testing.T) {
	for text, runs := range map[string]int{"4 turns, tune for least": 500, "4 turns, tune for most": 100} {
		moves, missed, most := 0, 0, 0
		var place, after cover
		const tolerance = 0.5
		for seed := range uint64(runs) {
			rng := rand.New(rand.NewPCG(seed, 31))
			x := tuned(t, text)
			e := trim.NewExtremum(x)
			sign := 1.0
			if x.Law == trim.Peak {
				sign = -1
			}
			start := 4 * rng.Float64()
			p0, p := 4*rng.Float64()-start, 0.0
			w := 0.4 * math.Exp(0.7*max(-2, min(2, rng.NormFloat64())))
			depth := -40 + 10*rng.NormFloat64()
			y := func() float64 { return depth + sign*10*math.Log10(1+(p-p0)*(p-p0)/w/w) }
			last := float64(2*rng.IntN(2) - 1)
			n := 0
			for ; n < 15; n++ {
				r := y() + 0.1*rng.NormFloat64()
				if n == 1 {
					place.add(e.Best(), p0-p)
				}
				if err := e.Read(r, 0.1); err != nil {
					t.Fatal(err)
				}
				next := e.Next(tolerance)
				if next.Do == trim.DoEnough {
					break
				}
				if seed == 0 {
					t.Log(next.Sentence)
				}
				true_ := next.By + math.Hypot(0.02*next.By, 1.5/360)*rng.NormFloat64()
				if last*next.By < 0 {
					true_ -= 0.03 * next.By
				}
				last = next.By
				p += true_
				e.Turn(next.By, 0)
				moves++
			}
			f := e.Best()
			after.add(f, p0-p)
			most = max(most, n)
			if math.Abs(y()-depth) > tolerance {
				missed++
			}
		}
		t.Logf("%s: %.2f moves, at most %d, %.1f %% missed", text, float64(moves)/float64(runs), most, 100*float64(missed)/float64(runs))
		if float64(moves)/float64(runs) > 5 || float64(missed)/float64(runs) > 0.05 {
			t.Errorf("%s: %.2f moves, %.1f %% missed", text, float64(moves)/float64(runs), 100*float64(missed)/float64(runs))
		}
		if runs < 500 { // the peak is the dip turned over
			continue
		}
		place.check(t, "place after one reading and one turn")
		after.check(t, "place at the end")
	}
}

func TestExtremumRefuses(t *testing.T) {
	e := trim.NewExtremum(tuned(t, "tune for least"))
	if n := e.Next(0.5); n.Do != trim.DoRead {
		t.Errorf("nothing read: %+v", n)
	}
	if e.Read(1, 0) == nil || e.Read(math.NaN(), 1) == nil {
		t.Error("a reading without spread or value is taken")
	}
}
