package trim_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"headstack/trim"
)

// display is a display for a level that is to come to 0 ±0.5 dB, 12 dB over 270°.
func display(sens float64, known bool) *trim.Live {
	r, err := trim.ParseRange("±6 dB")
	if err != nil {
		panic(err)
	}
	s := trim.Figure{Value: sens, Lo: sens * 0.8, Hi: sens * 1.25}
	if sens < 0 {
		s.Lo, s.Hi = s.Hi, s.Lo
	}
	return trim.NewLive(trim.New("VR1-1", "VR1", level(1), 1, r), s, known, trim.Target{Quantity: level(1), Tolerance: 0.5}, "dB")
}

// TestLiveSteady holds still at several distances in noise: the direction is right, does
// not flicker, and the interval covers.
func TestLiveSteady(t *testing.T) {
	for _, c := range []struct {
		at, sens, noise float64
		want            trim.Direction
	}{
		{-3, 12.0 / 270, 0.1, trim.Clockwise},
		{-3, -12.0 / 270, 0.1, trim.Anticlockwise},
		{2, 12.0 / 270, 0.3, trim.Anticlockwise},
		{0.1, 12.0 / 270, 0.1, trim.Stop},
		{0.1, 12.0 / 270, 0.3, trim.Stop},
	} {
		var in cover
		wrong, signs, changes := 0, 0, 0
		for seed := range uint64(50) {
			rng := rand.New(rand.NewPCG(seed, 51))
			l := display(c.sens, true)
			last := trim.Direction("")
			for k := range 100 {
				s := l.Feed(float64(k)/10, c.at+c.noise*rng.NormFloat64(), c.noise)
				if k < 10 {
					last = s.Direction
					continue // a second to settle
				}
				signs++
				in.add(s.Distance, -c.at)
				if s.Direction != c.want {
					wrong++
				}
				if s.Direction != last {
					changes++
				}
				last = s.Direction
			}
		}
		t.Logf("%+v: %.2f %% other signs, %d changes in 450 s, cover %.1f %%", c, 100*float64(wrong)/float64(signs), changes, 100*float64(in.in)/float64(in.n))
		if float64(wrong) > 0.01*float64(signs) {
			t.Errorf("%+v: %d of %d signs are other", c, wrong, signs)
		}
		if share := float64(in.in) / float64(in.n); share < 0.92 {
			t.Errorf("%+v: intervals cover %.1f %%", c, 100*share)
		}
	}
}

// TestLiveTurned lets a hand obey the display, 0.3 s late and at 40° a second until close,
// and looks where it ends.
func TestLiveTurned(t *testing.T) {
	outside, slow, wrongWay, signs := 0, 0, 0, 0
	var in cover
	const runs = 200
	for seed := range uint64(runs) {
		rng := rand.New(rand.NewPCG(seed, 52))
		sens := 12.0 / 270 * math.Exp(0.2*rng.NormFloat64())
		y := (1 + 5*rng.Float64()) * float64(2*rng.IntN(2)-1)
		l := display(12.0/270, true)
		var late [4]trim.Sign // what the hand still obeys
		stopped := 0
		k := 0
		for ; k < 600 && stopped < 20; k++ {
			s := l.Feed(float64(k)/10, y+0.1*rng.NormFloat64(), 0.1)
			if k > 5 {
				in.add(s.Distance, -y)
				signs++
				if math.Abs(y) > 1 && (s.Direction == trim.Clockwise) == (y > 0) && s.Direction != trim.Unsteady && s.Direction != trim.Stop {
					wrongWay++
				}
			}
			obey := late[0]
			copy(late[:], late[1:])
			late[3] = s
			speed := math.Min(40, 5+math.Abs(obey.Turn.Value)) // degrees a second: slower when close
			switch obey.Direction {
			case trim.Clockwise:
				y += sens * speed / 10
			case trim.Anticlockwise:
				y -= sens * speed / 10
			}
			if s.Direction == trim.Stop && obey.Direction == trim.Stop {
				stopped++
			} else {
				stopped = 0
			}
		}
		if math.Abs(y) > 0.5 {
			outside++
		}
		if k >= 600 {
			slow++
		}
	}
	t.Logf("%d of %d end outside, %d take over a minute, %d of %d signs point the wrong way, cover %.1f %%", outside, runs, slow, wrongWay, signs, 100*float64(in.in)/float64(in.n))
	if outside > runs/50 || slow > 0 || float64(wrongWay) > 0.005*float64(signs) {
		t.Errorf("%d outside, %d slow, %d wrong way", outside, slow, wrongWay)
	}
	if share := float64(in.in) / float64(in.n); share < 0.92 || share > 0.99 {
		t.Errorf("intervals cover %.1f %%", 100*share)
	}
}

// TestLiveUnsteady: noise about the target as wide as several tolerances, gaps, and a
// direction that is not known.
func TestLiveUnsteady(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 53))
	l := display(12.0/270, true)
	said := 0
	for k := range 10 {
		if s := l.Feed(float64(k)/10, 6*rng.NormFloat64(), 6); s.Direction == trim.Unsteady && s.Why != "" {
			said++
		}
	}
	if said < 8 {
		t.Errorf("6 dB of noise: unsteady only %d of 10 times", said)
	}
	l = display(12.0/270, true)
	for k := range 20 {
		l.Feed(float64(k)/10, -3, 0.1)
	}
	if s := l.At(1.95); s.Direction != trim.Clockwise {
		t.Errorf("3 dB low: %+v", s)
	}
	if s := l.At(3); s.Direction != trim.Unsteady {
		t.Errorf("a second without a reading: %+v", s)
	}
	if s := l.Feed(3.1, math.NaN(), 0.1); s.Direction != trim.Unsteady {
		t.Errorf("no number: %+v", s)
	}
	l = display(12.0/270, false)
	var s trim.Sign
	for k := range 20 {
		s = l.Feed(float64(k)/10, -3, 0.1)
	}
	if s.Direction != trim.Unsteady || !math.IsInf(s.Turn.Hi, 1) {
		t.Errorf("direction not known: %+v", s)
	}
}

// TestLiveScatter: readings that scatter four times as much as they say widen the interval.
func TestLiveScatter(t *testing.T) {
	var in cover
	for seed := range uint64(50) {
		rng := rand.New(rand.NewPCG(seed, 54))
		l := display(12.0/270, true)
		for k := range 100 {
			s := l.Feed(float64(k)/10, -2+0.2*rng.NormFloat64(), 0.05)
			if k >= 20 {
				in.add(s.Distance, 2)
			}
		}
	}
	if share := float64(in.in) / float64(in.n); share < 0.90 {
		t.Errorf("intervals cover %.1f %%", 100*share)
	}
}
