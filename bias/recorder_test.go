package bias_test

import (
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"headstack/bias"
	"headstack/machine"
	"headstack/sim/trims"
)

// tried is one bias trim of a recorder that does not exist.
type tried struct {
	m     *trims.Recorder
	ref   trims.Ref
	trim  bias.Trim
	turns float64 // travel
	at    float64 // where it is thought to stand, share of the travel
}

const studioSpeed = 38.1

var studioWant = bias.Want{Tones: bias.Tones{TrebleHz: 10000, LowHz: 1000, SpeedCmS: studioSpeed}, Aim: bias.UsualAim(studioSpeed, 12.7e-6)}

// try makes the trim of a track as a person at the bench sees it.
func try(t *testing.T, def *machine.Definition, seed uint64, track int) *tried {
	t.Helper()
	m, err := trims.New(def, seed)
	if err != nil {
		t.Fatal(err)
	}
	if err := m.Open("bay"); err != nil {
		t.Fatal(err)
	}
	x := &tried{m: m, ref: trims.Ref{ID: "B38", Key: strconv.Itoa(track)}}
	_, x.turns, _ = m.KindOf(x.ref)
	seen, ok, err := m.Seen(x.ref)
	if err != nil {
		t.Fatal(err)
	}
	x.at = 0.5
	if ok {
		x.at = seen / x.turns
	}
	i := slices.IndexFunc(def.Trims, func(r machine.Trim) bool { return r.ID == "B38" })
	x.trim, err = bias.TrimOf(def.Trims[i], track, x.at)
	if err != nil {
		t.Fatal(err)
	}
	if !ok {
		x.trim.Turns = x.turns
	}
	return x
}

// to turns to a position from below, as the steps say.
func (x *tried) to(t *testing.T, p float64) {
	t.Helper()
	below := math.Max(0, p-0.15)
	if _, err := x.m.Turn(x.ref, (below-x.at)*x.turns, (p-below)*x.turns); err != nil {
		t.Fatal(err)
	}
	x.at = p
}

// staircase turns through positions and reads each; the recorder's is in equal steps, so
// that the plan's are taken from end to end.
func (x *tried) staircase(t *testing.T, at []float64) bias.Staircase {
	t.Helper()
	first, last, n := at[0], at[len(at)-1], len(at)-1
	x.to(t, first)
	by := (last - first) / float64(n)
	steps, err := x.m.Staircase(x.ref, 0, by*x.turns, n, 10000, 1000)
	if err != nil {
		t.Fatal(err)
	}
	var s bias.Staircase
	for i, v := range steps {
		p := first + by*float64(i)
		s.Readings = append(s.Readings, bias.Reading{Position: math.Min(1, p), Treble: &bias.Level{Value: v.LevelDB[10000], SD: 0.1}, Low: &bias.Level{Value: v.LevelDB[1000], SD: 0.1}})
		x.at = p
	}
	return s
}

// overbias is the true fall of 10 kHz past its peak.
func (x *tried) overbias() float64 {
	for _, s := range x.m.Truth().Speeds {
		if s.CmS == studioSpeed {
			k, _ := strconv.Atoi(x.ref.Key)
			return s.Tracks[k-1].OverbiasDB
		}
	}
	return math.NaN()
}

// A recorder whose curves, trims and hand are another model's, with trims off by 1 to 4
// dB of bias, laws off by 25 % and tapered up to 1 to 3: set after one staircase, and
// after a second.
func TestOnARecorder(t *testing.T) {
	def, ok := machine.Builtin("octogrange")
	if !ok {
		t.Fatal("no such definition")
	}
	seeds := 4
	if os.Getenv("HEADSTACK_LONG") == "full" {
		seeds = 20
	}
	want := studioWant
	want.Aim.FallDB = 3 // what the recorder's tape wants
	var came, one, two []float64
	hit, all, moved := 0, 0, 0
	for seed := range seeds {
		for _, track := range []int{1, 4, 7} {
			x := try(t, def, uint64(seed), track)
			came = append(came, math.Abs(x.overbias()-3))
			plan, err := bias.New(want, x.trim)
			if err != nil {
				t.Fatal(err)
			}
			passes := []bias.Staircase{x.staircase(t, plan.Tracks[0].Positions)}
			c, err := bias.Fit(x.trim, want.Tones, passes...)
			if err != nil {
				t.Fatal(err)
			}
			s := c.Set(want.Aim)
			for k := 0; s.At == nil && k < 2; k++ { // as the verdict says
				moved++
				t.Logf("seed %d, track %d: %s %s %s", seed, track, c.Verdict, c.Why, s.Refused)
				if plan, err = bias.Next(want, c); err != nil {
					t.Fatal(err)
				}
				passes = append(passes, x.staircase(t, plan.Tracks[0].Positions))
				if c, err = bias.Fit(x.trim, want.Tones, passes...); err != nil {
					t.Fatal(err)
				}
				s = c.Set(want.Aim)
			}
			if s.At == nil {
				t.Logf("seed %d, track %d: given up: %s %s", seed, track, c.Verdict, s.Refused)
				continue
			}
			x.to(t, s.At.Position)
			one = append(one, math.Abs(x.overbias()-3))
			all++
			if s.Fall.Lo <= x.overbias() && x.overbias() <= s.Fall.Hi {
				hit++
			}
			if plan, err = bias.Next(want, c); err != nil {
				t.Fatal(err)
			}
			passes = append(passes, x.staircase(t, plan.Tracks[0].Positions))
			if c, err = bias.Fit(x.trim, want.Tones, passes...); err != nil {
				t.Fatal(err)
			}
			if s = c.Set(want.Aim); s.At == nil {
				t.Logf("seed %d, track %d: after the second: %s %s", seed, track, c.Verdict, s.Refused)
				continue
			}
			x.to(t, s.At.Position)
			two = append(two, math.Abs(x.overbias()-3))
			if math.Abs(x.overbias()-3) > 0.5 {
				t.Logf("seed %d, track %d: %.2f dB after the second, expected %.2f to %.2f, trim of %.1f turns", seed, track, x.overbias(), s.Fall.Lo, s.Fall.Hi, x.turns)
			}
		}
	}
	for _, v := range [][]float64{came, one, two} {
		slices.Sort(v)
	}
	mid := func(v []float64) float64 { return v[len(v)/2] }
	t.Logf("fall off by: as it came %.2f dB median, %.2f most; after one staircase %.2f, %.2f; after another %.2f, %.2f; %d of %d intervals hold it; %d staircases moved", mid(came), came[len(came)-1], mid(one), one[len(one)-1], mid(two), two[len(two)-1], hit, all, moved)
	if len(two) < 3*seeds*9/10 || mid(one) > 0.3 || mid(two) > 0.25 || hit < all*85/100 {
		t.Error("a recorder is not set right")
	}
}
