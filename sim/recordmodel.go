package sim

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"headstack/programme"
	"headstack/tape"
	"headstack/unit"
)

// component is one sine: the imaginary part of amp·exp(i2π·hz·τ), with τ counted from
// the beginning of its part in seconds of the programme.
type component struct {
	hz  float64
	amp complex128
}

// mostProducts is the most tones of which all products are computed. Of more, such as
// a comb's 28 at -20 dB, each is compressed as the cubic says and the products left
// out.
const mostProducts = 3

// gainAt turns dB into a factor.
func gainAt(db float64) complex128 { return complex(math.Pow(10, db/20), 0) }

// encoded is what reaches the record head, 0 dB being amplitude 1.
func (t RecordTrack) encoded(on []programme.Sine) []component {
	list := make([]component, len(on))
	for i, s := range on {
		a := gainAt(s.LevelDB+t.RecordGainDB) * cmplx.Rect(1, s.PhaseDeg*math.Pi/180)
		if t.RecordPolarityReversed {
			a = -a
		}
		list[i] = component{s.Hz, a}
	}
	switch t.NoiseReduction {
	case CompanderEncode:
		scale(list, func(component, float64) float64 { return -totalDB(list) / 2 })
	case SlidingEncode:
		scale(list, func(c component, db float64) float64 { return sliding(c.hz, db) })
	}
	return list
}

// scale changes each component by a number of dB that depends on its own level.
func scale(list []component, by func(c component, db float64) float64) {
	gains := make([]float64, len(list))
	for i, c := range list {
		gains[i] = by(c, 20*math.Log10(cmplx.Abs(c.amp)))
	}
	for i := range list {
		list[i].amp *= gainAt(gains[i])
	}
}

// totalDB is the level of the sum, as a sine of the same power.
func totalDB(list []component) float64 {
	p := 0.0
	for _, c := range list {
		p += real(c.amp)*real(c.amp) + imag(c.amp)*imag(c.amp)
	}
	return 10 * math.Log10(p)
}

// sliding is the rise of treble in dB, see SlidingEncode.
func sliding(hz, db float64) float64 {
	return 10 * hz * hz / (hz*hz + 1500*1500) * max(0, min(1, (-10-db)/30))
}

// threePercent is a·A² of the cubic y = x - a·x³ at 3 % third harmonic: a sine of peak A
// gives a third harmonic a·A³/4 and a fundamental A - 3a·A³/4, so
//
//	u/4 = 0.03·(1 - 3u/4),  u = 0.03/0.2725
const threePercent = 0.03 / 0.2725

// cubic returns a and b of the tape's law y = x + b·x² - a·x³ for tones below TrebleHz.
func (t RecordTrack) cubic() (a, b float64) {
	if t.MOLDB != nil {
		peak := math.Pow(10, *t.MOLDB/20) / (1 - 0.75*threePercent) // recorded for that output
		a = threePercent / (peak * peak)
	}
	// b·x² of a sine of peak A has the second harmonic b·A²/2.
	return a, 2 * t.EvenPercent / 100
}

// saturated is the level on tape of a treble tone recorded with peak A:
//
//	A/(1 + (A/2S)²),
//
// which has its maximum S at A = 2S. S is SaturationDB at 10 kHz, and falls as 1/f.
func (t RecordTrack) saturated(hz, peak float64) float64 {
	if t.SaturationDB == nil || hz < TrebleHz {
		return peak
	}
	s := math.Pow(10, *t.SaturationDB/20) * 10000 / hz
	return peak / (1 + peak*peak/(4*s*s))
}

// flux is what stands on the tape.
func (t RecordTrack) flux(on []programme.Sine) []component {
	var low, out []component
	for _, c := range t.encoded(on) {
		if c.hz < TrebleHz {
			low = append(low, c)
			continue
		}
		peak := cmplx.Abs(c.amp)
		if peak > 0 {
			c.amp *= complex(t.saturated(c.hz, peak)/peak, 0)
		}
		out = append(out, c)
	}
	a, b := t.cubic()
	if len(low) > mostProducts {
		return merge(append(out, compressed(low, a)...))
	}
	return merge(append(out, products(low, a, b)...))
}

// compressed is each tone's own amplitude after a cubic, without products:
//
//	A - a·(3/4·A³ + 3/2·A·Σ B²)
//
// over the peaks B of the other tones.
func compressed(list []component, a float64) []component {
	sum := 0.0
	for _, c := range list {
		sum += real(c.amp)*real(c.amp) + imag(c.amp)*imag(c.amp)
	}
	out := slices.Clone(list)
	for i, c := range list {
		own := real(c.amp)*real(c.amp) + imag(c.amp)*imag(c.amp)
		out[i].amp *= complex(1-a*(1.5*sum-0.75*own), 0)
	}
	return out
}

// products expands x + b·x² - a·x³ of a sum of sines exactly. Each sine Im(c·e) is
// written as exponentials of plus and minus its frequency; products add frequencies.
// What falls on 0 Hz is lost in the electronics.
func products(list []component, a, b float64) []component {
	var x []component
	for _, c := range list {
		half := c.amp / 2i // Im z = (z - z*)/2i
		x = append(x, component{c.hz, half}, component{-c.hz, cmplx.Conj(half)})
	}
	sum := slices.Clone(x)
	if a != 0 || b != 0 {
		square := times(x, x)
		for _, c := range square {
			sum = append(sum, component{c.hz, c.amp * complex(b, 0)})
		}
		for _, c := range times(square, x) {
			sum = append(sum, component{c.hz, c.amp * complex(-a, 0)})
		}
	}
	var out []component
	for _, c := range sum {
		if c.hz > 0.5 {
			out = append(out, component{c.hz, 2i * c.amp})
		}
	}
	return merge(out)
}

func times(x, y []component) []component {
	var out []component
	for _, p := range x {
		for _, q := range y {
			out = append(out, component{p.hz + q.hz, p.amp * q.amp})
		}
	}
	return merge(out)
}

// merge adds up components of the same frequency, in rising order, and drops what
// cancelled.
func merge(list []component) []component {
	slices.SortStableFunc(list, func(a, b component) int { return cmp.Compare(a.hz, b.hz) })
	var out []component
	for _, c := range list {
		if n := len(out); n > 0 && math.Abs(out[n-1].hz-c.hz) < 1e-6 {
			out[n-1].amp += c.amp
		} else {
			out = append(out, c)
		}
	}
	return slices.DeleteFunc(out, func(c component) bool { return cmplx.Abs(c.amp) < 1e-12 })
}

// replay is the complex gain of a track's replay at a recorded frequency, without
// noise reduction; full scale is 1.
func (r *Recording) replay(track int, hz float64) complex128 {
	t := r.Tracks[track-1]
	if t.Muted {
		return 0
	}
	lambda := tape.Wavelength(unit.MetrePerSecond(r.Programme.SpeedCmS/100), unit.Hertz(hz))
	loss := tape.SpacingLoss(unit.Metre(t.SpacingUm*1e-6), lambda) + tape.GapLoss(unit.Metre(t.GapUm*1e-6), lambda) +
		tape.ThicknessLoss(unit.Metre(t.ThicknessUm*1e-6), lambda)
	gain := gainAt(r.ReferenceDBFS + t.GainDB - float64(loss))
	f := hz * r.speedRatio()
	if t.LowCornerHz > 0 {
		gain *= complex(0, f/t.LowCornerHz) / complex(1, f/t.LowCornerHz)
	}
	if t.HighCornerHz > 0 {
		gain /= complex(1, f/t.HighCornerHz)
	}
	if t.PolarityReversed {
		gain = -gain
	}
	return gain * cmplx.Rect(1, -2*math.Pi*f*t.DelayUs*1e-6)
}

// leak is the gain from the flux of one track into another's core.
func (l Leak) gain(hz float64) complex128 { return gainAt(l.DB + l.DBPerOctave*math.Log2(hz/1000)) }

// heard is what a channel gets of a segment: the track's own flux and what leaks in,
// decoded and replayed, up to half the sampling rate.
func (r *Recording) heard(channel int, s segment) []component {
	track := r.played(channel)
	list := r.onTape(track, s)
	for _, l := range r.Leaks {
		if l.To != track {
			continue
		}
		for _, c := range r.onTape(l.From, s) {
			list = append(list, component{c.hz, c.amp * l.gain(c.hz)})
		}
	}
	list = merge(list)
	switch r.Tracks[track-1].NoiseReduction {
	case CompanderDecode:
		scale(list, func(component, float64) float64 { return totalDB(list) })
	case SlidingDecode:
		scale(list, func(c component, db float64) float64 { return -sliding(c.hz, db) })
	}
	for i, c := range list {
		list[i].amp *= r.replay(track, c.hz)
	}
	top := float64(r.SampleRate) / 2 / r.speedRatio() * 0.98 // flutter must not fold it over
	return slices.DeleteFunc(list, func(c component) bool { return c.hz >= top || cmplx.Abs(c.amp) < 1e-12 })
}

// onTape is the flux of a track in a segment.
func (r *Recording) onTape(track int, s segment) []component {
	if !slices.Contains(r.Programme.Rounds[s.round], track) {
		return nil
	}
	t := r.Tracks[track-1]
	part := r.Programme.Parts[s.part]
	list := t.flux(part.On(r.fed(track)))
	db := 0.0
	if s.erased && t.EraseDepthDB > 0 {
		db = -t.EraseDepthDB
	}
	if part.Kind == programme.Staircase && t.Bias != nil {
		off := float64(s.step) - t.Bias.PeakStep
		db -= t.Bias.DropDB * off * off
	}
	for i := range list {
		list[i].amp *= gainAt(db)
	}
	return list
}
