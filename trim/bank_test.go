package trim_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"headstack/trim"
)

// bank is a recorder of some tracks with one preset each, with its truth.
type bank struct {
	rng   *rand.Rand
	model *trim.Model
	y     []float64 // level now
	s     []float64 // dB per degree
	last  []float64 // direction of the last move
	noise float64
	loss  float64
	hand  float64 // sd of a move, a share of it
}

func level(track int) trim.Quantity { return trim.Quantity{Measure: "level", Track: track} }

func preset(track int) trim.ID { return trim.ID(fmt.Sprintf("VR1-%d", track)) }

// newBank draws a bank: sensitivities 25 % in all, of which 15 % are the trims' own.
func newBank(rng *rand.Rand, tracks int, family, own float64) *bank {
	bk := &bank{rng: rng, noise: 0.1, loss: 0.03}
	r, err := trim.ParseRange("±6 dB")
	if err != nil {
		panic(err)
	}
	var trims []trim.Trim
	var vars []trim.Variable
	common := math.Exp(family * rng.NormFloat64())
	for i := 1; i <= tracks; i++ {
		trims = append(trims, trim.New(preset(i), "VR1", level(i), 1, r))
		vars = append(vars, trim.Variable{Quantity: level(i), Unit: "dB", BaseSD: 30})
		s := 12.0 / 270 * common * math.Exp(own*rng.NormFloat64())
		off := 1 + 5*rng.Float64()
		for off > 200*s { // what no trim of 270° reaches is no matter of turning
			off = 1 + 5*rng.Float64()
		}
		if rng.IntN(2) == 0 {
			off = -off
		}
		bk.y, bk.s = append(bk.y, off), append(bk.s, s)
		bk.last = append(bk.last, float64(2*rng.IntN(2)-1))
	}
	bk.model, err = trim.NewModel(trims, vars)
	if err != nil {
		panic(err)
	}
	return bk
}

func (bk *bank) read(tracks ...int) []trim.Reading {
	var out []trim.Reading
	for _, i := range tracks {
		out = append(out, trim.Reading{Quantity: level(i), Value: bk.y[i-1] + bk.noise*bk.rng.NormFloat64(), SD: bk.noise})
	}
	return out
}

func (bk *bank) turn(track int, by float64) {
	i := track - 1
	by *= 1 + bk.hand*bk.rng.NormFloat64()
	if by*bk.last[i] < 0 {
		bk.y[i] += bk.s[i] * by * (1 - bk.loss)
	} else {
		bk.y[i] += bk.s[i] * by
	}
	bk.last[i] = by
}

func targets(tracks int, tolerance float64) []trim.Target {
	var out []trim.Target
	for i := 1; i <= tracks; i++ {
		out = append(out, trim.Target{Quantity: level(i), Tolerance: tolerance})
	}
	return out
}

// lineUp follows the advice to its end. onePass turns all that is advised between two
// readings of everything, else the first only, and reads what it moved.
func lineUp(t *testing.T, bk *bank, onePass bool) (moves, readings, missed, doubts int) {
	t.Helper()
	n := len(bk.y)
	b := trim.NewBench(bk.model)
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	note := func(tracks ...int) {
		d, err := b.Read(bk.read(tracks...)...)
		if err != nil {
			t.Fatal(err)
		}
		readings += len(tracks)
		doubts += len(d)
	}
	note(all...)
	for range 100 {
		next, err := b.Next(targets(n, 0.5))
		if err != nil {
			t.Fatal(err)
		}
		if next[0].Do == trim.DoEnough {
			break
		}
		if next[0].Do == trim.DoFault {
			t.Fatalf("no fault is there: %s", next[0].Sentence)
		}
		if next[0].Do == trim.DoRead {
			note(next[0].Target.Quantity.Track)
			continue
		}
		if !onePass {
			next = next[:1]
		}
		for _, tn := range next {
			if tn.Do != trim.DoTurn {
				continue
			}
			bk.turn(tn.Target.Quantity.Track, tn.By)
			if err := b.Turn(trim.Move{Trim: tn.Trim, By: tn.By, SD: math.Max(0.01, bk.hand*math.Abs(tn.By))}); err != nil {
				t.Fatal(err)
			}
			moves++
		}
		if onePass {
			note(all...)
		} else {
			note(next[0].Target.Quantity.Track)
		}
	}
	for _, y := range bk.y {
		if math.Abs(y) > 0.5 {
			missed++
		}
	}
	return moves, readings, missed, doubts
}

func TestConvergence(t *testing.T) {
	for n, c := range []struct {
		name        string
		family, own float64
		onePass     bool
		most        float64 // moves per trim that was out
	}{
		{"23 % common, 10 % own, one after the other", 0.23, 0.10, false, 1.4},
		{"20 % common, 15 % own, one after the other", 0.20, 0.15, false, 1.6},
		{"25 % own, one after the other", 0, 0.25, false, 2},
		{"25 % common, one after the other", 0.25, 0, false, 1.4},
		{"23 % common, 10 % own, all in one pass", 0.23, 0.10, true, 2},
	} {
		moves, readings, missed, doubts := 0, 0, 0, 0
		const tracks = 6
		banks := 100
		if n == 0 {
			banks = 300
		}
		for seed := range uint64(banks) {
			bk := newBank(rand.New(rand.NewPCG(seed, 11)), tracks, c.family, c.own)
			m, r, x, d := lineUp(t, bk, c.onePass)
			moves, readings, missed, doubts = moves+m, readings+r, missed+x, doubts+d
		}
		per := float64(moves) / float64(banks*tracks)
		t.Logf("%s: %.3f moves and %.2f readings a trim, %.2f %% missed, %d doubts", c.name, per, float64(readings)/float64(banks*tracks), 100*float64(missed)/float64(banks*tracks), doubts)
		if per > c.most {
			t.Errorf("%s: %.3f moves per trim, at most %.1f", c.name, per, c.most)
		}
		// Next stops at 95 %; what it leaves must be inside as often.
		if share := float64(missed) / float64(banks*tracks); share > 0.05 {
			t.Errorf("%s: %.1f %% left outside", c.name, 100*share)
		}
	}
}
