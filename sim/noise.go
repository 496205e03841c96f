package sim

import (
	"math"
	"math/rand/v2"
)

// The band in which noise is defined and measured, in Hz.
const (
	noiseLow  = 20.0
	noiseHigh = 20000.0
)

// hiss is a running generator of coloured Gaussian noise.
type hiss struct {
	r     *rand.Rand
	sigma float64 // of the white noise that drives the filter
	pole  float64
	state float64
}

// newHiss makes noise whose r.m.s. from 20 Hz to 20 kHz is that of n. The power of
// white noise of variance 1 through 1/(1 - a·z⁻¹) between two frequencies is
//
//	P = (1/π)·∫ dω/(1 - 2a·cos ω + a²)
//	  = (2/π)/(1 - a²)·[arctan((1 + a)/(1 - a)·tan(ω/2))]
//
// over ω = 2πf/fs, 0 to π being the whole.
func newHiss(n *Noise, sampleRate float64, r *rand.Rand) *hiss {
	if n == nil {
		return nil
	}
	rms := math.Pow(10, n.LevelDBFS/20) / math.Sqrt2
	h := &hiss{r: r, sigma: rms / math.Sqrt(bandPower(n.Pole, sampleRate)), pole: n.Pole}
	h.state = h.sigma / math.Sqrt(1-n.Pole*n.Pole) * r.NormFloat64() // already settled
	return h
}

func bandPower(a, sampleRate float64) float64 {
	below := func(f float64) float64 {
		w := 2 * math.Pi * f / sampleRate
		if w >= math.Pi {
			return 1 / (1 - a*a)
		}
		return 2 / math.Pi / (1 - a*a) * math.Atan((1+a)/(1-a)*math.Tan(w/2))
	}
	return below(noiseHigh) - below(noiseLow)
}

func (h *hiss) add(dst []float64) {
	if h == nil {
		return
	}
	s := h.state
	for i := range dst {
		s = h.sigma*h.r.NormFloat64() + h.pole*s
		dst[i] += s
	}
	h.state = s
}

// harmonic is one sine of the hum.
type harmonic struct{ peak, hz float64 }

// series lists the sines of a hum, in full scale 1.
func (h *Hum) series(mainsHz float64) []harmonic {
	if h == nil {
		return nil
	}
	if mainsHz == 0 {
		mainsHz = 50
	}
	list := []harmonic{{math.Pow(10, h.LevelDBFS/20), mainsHz}}
	for i, db := range h.HarmonicsDB {
		list = append(list, harmonic{math.Pow(10, (h.LevelDBFS+db)/20), mainsHz * float64(i+2)})
	}
	return list
}

// addHum adds the sines to the frames from first on. Each starts the block at its
// exact phase and turns by multiplication within it.
func addHum(dst []float64, list []harmonic, first int64, sampleRate float64) {
	for _, h := range list {
		if h.hz >= sampleRate/2 {
			continue
		}
		cycles := h.hz * (float64(first) / sampleRate)
		sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
		ds, dc := math.Sincos(2 * math.Pi * h.hz / sampleRate)
		for i := range dst {
			dst[i] += h.peak * sin
			sin, cos = sin*dc+cos*ds, cos*dc-sin*ds
		}
	}
}

// noisePower is the true mean square of a track's noise and hum from 20 Hz to 20
// kHz, and of the rounding to steps of the given size.
func (sc *Scenario) noisePower(track int, step float64) float64 {
	t := sc.Tracks[track-1]
	p := 0.0
	if t.Noise != nil {
		p += math.Pow(10, t.Noise.LevelDBFS/10) / 2
	}
	for _, h := range t.Hum.series(sc.MainsHz) {
		if h.hz >= noiseLow && h.hz <= min(noiseHigh, float64(sc.SampleRate)/2) {
			p += h.peak * h.peak / 2
		}
	}
	if p == 0 {
		return 0 // silence is written as zeros: nothing is rounded
	}
	return p + step*step/12*bandPower(0, float64(sc.SampleRate))
}
