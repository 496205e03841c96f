package measure

import (
	"context"
	"math"
	"runtime"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
)

// toneFit is what the statistics make of one channel's tone, or of the phases of all
// channels of a section together.
type toneFit struct {
	ok     bool         // the frequency could be fitted
	freq   dsp.Estimate // Hz
	power  dsp.Estimate // square of the peak amplitude, noise taken off
	wobble []float64    // relative deviation of the frequency from freq, per block
	lines  int          // flutter lines fitted
}

// maxFlutterLines bounds the sinusoids fitted in one section's flutter.
const maxFlutterLines = 12

// fitAll fits every tone of every take, on all processors.
func fitAll(ctx context.Context, takes []*take) error {
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, t := range takes {
		for _, tt := range t.tones {
			g.Go(func() error {
				if ctx.Err() == nil {
					tt.fit(t.order)
				}
				return ctx.Err()
			})
		}
	}
	return g.Wait()
}

// fit fits the section's channels: the flutter lines are found in their common
// phase first, since one tape makes one flutter.
func (tt *toneTake) fit(order []int) {
	if tt.channels == nil {
		return
	}
	phase, dt := tt.commonPhase(order)
	var start []float64
	if phase != nil {
		tt.common = &toneFit{}
		start = tt.common.slope(phase, dt, tt.carrier, nil)
	}
	for _, c := range order {
		ch := tt.channels[c]
		if ch.absent != "" {
			continue
		}
		ch.fit = &toneFit{}
		ch.fit.slope(ch.phase, ch.dt, tt.carrier, start)
		ch.fit.settle(ch)
	}
}

// commonPhase is the mean phase of the channels that have the tone, each counted by
// its tone-to-noise ratio.
func (tt *toneTake) commonPhase(order []int) (phase []float64, dt float64) {
	total := 0.0
	for _, c := range order {
		ch := tt.channels[c]
		if ch.absent != "" {
			continue
		}
		if phase == nil {
			phase, dt = make([]float64, len(ch.phase)), ch.dt
		}
		w := ch.weight()
		total += w
		for i, p := range ch.phase {
			phase[i] += w * p
		}
	}
	for i := range phase {
		phase[i] /= total
	}
	return phase, dt
}

// weight is the tone's power over its noise.
func (c *toneChannel) weight() float64 {
	p := c.middle
	return p / math.Max(c.noise, 1e-12*p)
}

// slope fits the frequency and returns the flutter's line frequencies.
func (f *toneFit) slope(phase []float64, dt, carrier float64, start []float64) []float64 {
	phase, m := thinned(phase)
	dt *= float64(m)
	fit, ok := dsp.FitSlope(phase, maxFlutterLines, start)
	if !ok {
		return nil
	}
	f.ok = true
	k := 1 / (2 * math.Pi * dt)
	f.freq = dsp.Estimate{Value: carrier + fit.Slope.Value*k, SE: fit.Slope.SE * k, Dof: fit.Slope.Dof}
	f.lines = len(fit.Freqs)
	return fit.Freqs
}

// settle computes the deviation of the frequency and, with it held at 0, the power:
// a level that follows the speed is so read at the mean speed.
func (f *toneFit) settle(ch *toneChannel) {
	if f.ok {
		f.wobble = make([]float64, len(ch.freq))
		for i, v := range ch.freq {
			f.wobble[i] = (ch.band.CarrierHz + v - f.freq.Value) / f.freq.Value
		}
	}
	f.power = steadyMean(ch.power, f.wobble)
	f.power.Value -= ch.noise
}

// steadyMean is the mean of y where the wobble is 0.
func steadyMean(y, wobble []float64) dsp.Estimate {
	e, _, ok := meanAt(y, wobble)
	if !ok {
		return dsp.Estimate{Value: math.NaN()}
	}
	return e
}

// meanAt fits y = mean + follow·wobble. Without usable wobble follow is 0.
func meanAt(y, wobble []float64) (mean dsp.Estimate, follow float64, ok bool) {
	y, _ = thinned(y)
	wobble, _ = thinned(wobble)
	if wobble != nil {
		if mean, ok = dsp.Mean(y, wobble); ok {
			one := make([]float64, len(y))
			for i := range one {
				one[i] = 1
			}
			if k, ok := dsp.Coefficients(y, [][]float64{one, wobble}); ok {
				follow = k[1]
			}
			return mean, follow, true
		}
	}
	mean, ok = dsp.Mean(y)
	return mean, 0, ok
}

// fitMost is how many values a fit is given at most. Means and slopes rest on what is
// slow; means of longer stretches hold that as well, at a part of the cost.
const fitMost = 1536

// thinned gives the means of m values each of a long series, m as small as fitMost
// allows; a short series is left as it is.
func thinned(x []float64) (y []float64, m int) {
	if m = (len(x) + fitMost - 1) / fitMost; m <= 1 {
		return x, 1
	}
	y = make([]float64, len(x)/m)
	for i := range y {
		for _, v := range x[i*m : (i+1)*m] {
			y[i] += v
		}
		y[i] /= float64(m)
	}
	return y, m
}
