package measure

import (
	"fmt"
	"math"

	"headstack/dsp"
	"headstack/programme"
)

// eraseChannel listens to a tone, half of which was recorded over.
type eraseChannel struct {
	demod *dsp.Demodulator
	band  dsp.Band

	refused string
	kept    dsp.Estimate // mean square of the tone before it was recorded over
	left    dsp.Estimate // mean square of what is left of it, noise taken off
	fallDB  float64
	keptS   float64
	leftS   float64
}

const (
	eraseFallDB   = 6   // a smaller fall was no erasing
	eraseEdge     = 0.5 // seconds left out on either side of where recording over began
	erasePiece    = 0.5 // seconds of one spectrum
	eraseInnerHz  = 6.0 // half width of the band read, beside erasePart of the tone
	eraseInner    = 0.004
	eraseOuterHz  = 45.0 // noise is read from the inner band's edge and a gap to here
	eraseGapHz    = 6.0
	eraseOuterPer = 0.02
)

func hearErase(t *take, at stretch, _ int) listener {
	if at.kind != programme.Erase || len(at.part.All) == 0 {
		return nil
	}
	f := at.part.All[0].Hz * at.ratio
	pass := eraseOuterHz + eraseOuterPer*f
	b := dsp.Band{CarrierHz: f, PassHz: pass, StopHz: 1.6 * pass}
	if b.StopHz >= f || f+b.StopHz >= t.rate/2 {
		return nil
	}
	return &eraseChannel{demod: dsp.NewDemodulator(t.rate, b), band: b}
}

func (e *eraseChannel) feed(x []float64) { e.demod.Feed(x) }

func (e *eraseChannel) finish() {
	z, rate := e.demod.Output(), e.demod.Rate()
	e.demod = nil
	at := fall(z, rate)
	edge := int(eraseEdge * rate)
	if at-edge < int(rate) || len(z)-at-edge < int(3*erasePiece*rate) {
		e.refused = "the tone falls nowhere inside the part: the second pass was not recorded over it, or nothing is erased at all"
		return
	}
	kept, left := z[:at-edge], z[at+edge:]
	before, after := meanPower(kept), meanPower(left)
	if !(before > 0) || steadiness(kept) < 0.9 {
		e.refused = "tone absent: nothing steady where the tone should have been kept"
		return
	}
	e.fallDB = 10 * math.Log10(before/math.Max(after, 1e-300))
	if e.fallDB < eraseFallDB {
		e.refused = fmt.Sprintf("the tone falls by only %.1f dB at most: the second pass was not recorded over it, or nothing is erased at all", e.fallDB)
		return
	}
	e.keptS, e.leftS = float64(len(kept))/rate, float64(len(left))/rate
	centre := meanFrequency(kept, rate)
	e.kept, _ = dsp.Mean(pieces(kept, rate, centre, e.band, false))
	diff := pieces(left, rate, centre, e.band, true)
	var ok bool
	if e.left, ok = dsp.Mean(diff); !ok {
		e.refused = "section too short behind where it was recorded over"
	}
}

// fall is where the power of z falls most, between means of half a second on either
// side.
func fall(z []complex128, rate float64) int {
	w := int(0.5 * rate)
	sum := make([]float64, len(z)+1)
	for i, v := range z {
		sum[i+1] = sum[i] + real(v)*real(v) + imag(v)*imag(v)
	}
	best, at := 1.0, 0
	for i := w; i+w <= len(z); i++ {
		a, b := sum[i]-sum[i-w], sum[i+w]-sum[i]
		if r := a / math.Max(b, 1e-12*a+1e-300); r > best*1.0000001 {
			best, at = r, i
		}
	}
	return at
}

// meanFrequency is that of a tone in hertz from the carrier.
func meanFrequency(z []complex128, rate float64) float64 {
	var s complex128
	for i := 1; i < len(z); i++ {
		s += z[i] * complex(real(z[i-1]), -imag(z[i-1]))
	}
	return math.Atan2(imag(s), real(s)) * rate / (2 * math.Pi)
}

// pieces gives for each half second the mean square of z in the band read around
// centre; with less, what the noise beside it would put there is taken off.
func pieces(z []complex128, rate, centre float64, band dsp.Band, less bool) []float64 {
	n := 16
	for float64(n) < erasePiece*rate {
		n *= 2
	}
	win, plan := dsp.Hann(n), dsp.NewFFT(n)
	scale := 0.0
	for _, w := range win {
		scale += w * w
	}
	scale *= float64(n)
	df := rate / float64(n)
	inner := eraseInnerHz + eraseInner*band.CarrierHz + 2*df
	buf := make([]complex128, n)
	var out []float64
	for a := 0; a+n <= len(z); a += n {
		for i := range buf {
			buf[i] = z[a+i] * complex(win[i], 0)
		}
		plan.Transform(buf)
		in, inBins, beside, besideBins := 0.0, 0, 0.0, 0
		for k, v := range buf {
			f := float64(k) * df
			if k >= n/2 {
				f -= rate
			}
			p := (real(v)*real(v) + imag(v)*imag(v)) / scale
			switch d := math.Abs(f - centre); {
			case d <= inner:
				in, inBins = in+p, inBins+1
			case d >= inner+eraseGapHz && math.Abs(f) <= band.PassHz:
				beside, besideBins = beside+p, besideBins+1
			}
		}
		if less && besideBins > 0 {
			in -= beside / float64(besideBins) * float64(inBins)
		}
		out = append(out, in)
	}
	return out
}

// erasures gives the erase depth of every track.
func (s *session) erasures() []Result {
	if s.opt.WhileRecording {
		return nil
	}
	var out []Result
	for _, t := range s.takes {
		for i := range s.opt.Tape.Sections {
			if s.kind(i) != programme.Erase {
				continue
			}
			h, why := t.heardBy("erase", i)
			for _, c := range t.order {
				r := s.toneResult("erase_depth", "dB", t, i, t.tracks[c], c+1)
				r.Reference = "the same tone on the same track before it was recorded over"
				if h == nil || h.ears[c] == nil {
					out = append(out, r.refuse(why))
					continue
				}
				out = append(out, h.ears[c].(*eraseChannel).result(r, h.at.partial))
			}
		}
	}
	return out
}

func (e *eraseChannel) result(r Result, partial bool) Result {
	if e.refused != "" {
		return r.refuse(e.refused)
	}
	// The kept tone's own error is far below that of what is left of it.
	half := e.left.Half()
	db := func(p float64) float64 { return 10 * math.Log10(p/e.kept.Value) }
	if e.left.Value-half <= 0 {
		return r.refuse(fmt.Sprintf("nothing left above the noise: "+boundWord+"%.1f dB (95 %%)", db(math.Max(e.left.Value, 0)+math.Max(half, 1e-300))))
	}
	r.Value, r.Lo, r.Hi = db(e.left.Value), db(e.left.Value-half), db(e.left.Value+half)
	r.Method = fmt.Sprintf("mean square within ±%.0f Hz of the tone over %s recorded over, against %s before; noise taken off from the band beside it",
		eraseInnerHz+eraseInner*e.band.CarrierHz, seconds(e.leftS), seconds(e.keptS))
	if r.Value > -40 {
		r.Warnings = append(r.Warnings, "hardly erased: old programme stays audible; erase head, its current or its contact")
	}
	if partial {
		r.Warnings = append(r.Warnings, "section cut by the start or end of the capture")
	}
	return r
}
