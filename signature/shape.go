package signature

import (
	"math"
	"slices"

	"headstack/tape"
	"headstack/unit"
)

// family is a law by which one number changes the figures of a track.
type family int

const (
	byGain    family = iota // dB
	bySpacing               // µm
	byRamp                  // µm, at the far edge of a ramp of spacing
	byGap                   // µm, of the gap
	byAzimuth               // arcmin
	byLow                   // Hz
	byHigh                  // Hz
	byReplay                // factor on the treble time constant of param.replay
	byHeight                // mm that the head stands towards higher tracks
	byNoise                 // dB
	byAll                   // of the logarithm of the flicker
	byTreble
	byMissing
	byTilt   // 20·lg of the frequency over 1 kHz, so that 1 is 6 dB per octave
	byFringe // part of the fringing gain
	byFigure // dB on one row: a figure that fits nothing
)

// linear says that the law is a constant times the number.
func (f family) linear() bool {
	switch f {
	case byRamp, byGap, byAzimuth, byLow, byHigh, byReplay, byHeight:
		return false
	}
	return true
}

// law writes what x does to track index t into dst, all rows. p gives what else the law
// needs.
func (d *data) law(p *param, x float64, t int, dst []float64) {
	clear(dst)
	w := p.weight(t)
	for i, r := range d.rows {
		switch {
		case r.kind == rowLevel:
			dst[i] = d.levelLaw(p, x*w, x, t, i)
		case r.kind == rowDelay:
			dst[i] = d.delayLaw(p.fam, x, t, r)
		case r.kind == rowNoise && p.fam == byNoise,
			r.kind == rowAll && p.fam == byAll,
			r.kind == rowTreble && p.fam == byTreble,
			r.kind == rowMissing && p.fam == byMissing:
			dst[i] = x * w
		}
		if p.undone {
			dst[i] = -dst[i]
		}
	}
}

// levelLaw is the change of a level in dB; xw is x with the track's weight.
func (d *data) levelLaw(p *param, xw, x float64, t, i int) float64 {
	r := d.rows[i]
	switch p.fam {
	case byGain:
		return xw
	case bySpacing:
		return xw * spacingPerUm(r)
	case byFringe:
		return xw * d.fringe[t][i]
	case byRamp:
		// Over the core the tape stands off unevenly, and the near edge gives more than
		// the far one loses: the mean of exp(-kd) over the width.
		u := math.Pi / float64(r.lambda) * x * 1e-6 * p.acrossCore
		return xw*spacingPerUm(r) + 20*math.Log10(sinhc(u))
	case byTilt:
		return xw * 20 * math.Log10(r.hz/1000)
	case byGap:
		return -(gapLoss(x*1e-6, r.lambda) - gapLoss(d.opt.DesignGapUm*1e-6, r.lambda))
	case byAzimuth:
		width := d.opt.Geometry.Tracks[d.tracks[t]-1].Width
		return -float64(tape.AzimuthLoss(width, unit.Radian(x)*tape.Arcminute, r.lambda))
	case byLow:
		return -10 * math.Log10(1+sq(x/d.played(r)))
	case byHigh:
		return -10 * math.Log10(1+sq(d.played(r)/x))
	case byReplay:
		own := tape.Equalisation{HighUs: d.opt.Tape.EqualisationUs.High, LowUs: d.opt.Tape.EqualisationUs.Low}
		other := tape.Equalisation{HighUs: p.replay.HighUs * x, LowUs: p.replay.LowUs}
		return float64(tape.EqualisationError(unit.Hertz(r.hz), own, other))
	case byHeight:
		return d.heightLaw(x, t, r.lambda)
	case byFigure:
		if i == p.row {
			return x
		}
	}
	return 0
}

// delayLaw is the change of a delay in µs.
func (d *data) delayLaw(f family, x float64, t int, r row) float64 {
	switch f {
	case byAzimuth:
		return d.place(t) * math.Tan(x*float64(tape.Arcminute)) / d.playedSpeed() * 1e6
	case byLow: // leads
		return -math.Atan(x/d.played(r)) / (2 * math.Pi * d.played(r)) * 1e6
	case byTilt: // 6 dB per octave leads by a quarter of a period
		return -x / (4 * d.played(r)) * 1e6
	case byHigh: // lags
		return math.Atan(d.played(r)/x) / (2 * math.Pi * d.played(r)) * 1e6
	}
	return 0
}

// played is the frequency at which the recorder plays a tone of the tape.
func (d *data) played(r row) float64 { return r.hz * d.playedSpeed() / d.speed }

// playedSpeed is the recorder's nominal speed in m/s.
func (d *data) playedSpeed() float64 {
	if d.opt.SpeedCmS > 0 {
		return d.opt.SpeedCmS / 100
	}
	return d.speed
}

// place of a track's centre from the middle of the head, m.
func (d *data) place(t int) float64 {
	g := d.opt.Geometry.Tracks
	return float64(g[d.tracks[t]-1].Centre) - float64(g[0].Centre+g[len(g)-1].Centre)/2
}

// gapLoss is that of the ideal head, held from rising beyond 40 dB at its null.
func gapLoss(gap float64, lambda unit.Metre) float64 {
	if gap <= 0 {
		return 0
	}
	x := gap / float64(lambda)
	if x >= gapTableEnd {
		return gapTable[len(gapTable)-1]
	}
	i, part := math.Modf(x / gapTableEnd * float64(len(gapTable)-1))
	return gapTable[int(i)]*(1-part) + gapTable[int(i)+1]*part
}

// gapTable is tape.GapLoss against gap over wavelength from 0 to gapTableEnd: the exact
// loss is an integral, too slow for a fit.
const gapTableEnd = 0.86

var gapTable = func() []float64 {
	t := make([]float64, 2001)
	for i := range t {
		t[i] = float64(tape.GapLoss(unit.Metre(gapTableEnd*float64(i)/float64(len(t)-1)), 1))
	}
	return t
}()

// heightLaw is the change of level in dB when the head stands mm towards higher tracks
// on a tape recorded over its full width: a core beyond the tape's edge reads less, and
// the tape beside it changes what it gathers of long waves.
func (d *data) heightLaw(mm float64, t int, lambda unit.Metre) float64 {
	track := d.tracks[t]
	if edge := len(d.opt.Geometry.Tracks); track != 1 && track != edge {
		return 0
	}
	g := d.opt.Geometry
	moved := tape.Geometry{TapeWidth: g.TapeWidth, Tracks: slices.Clone(g.Tracks)}
	for i := range moved.Tracks {
		moved.Tracks[i].Centre += unit.Metre(mm / 1000)
	}
	was, now := onTape(g, track), onTape(moved, track)
	if now < 0.05*was {
		now = 0.05 * was
		return 20 * math.Log10(now/was)
	}
	fringe := tape.FringingGain(moved, track, lambda) - tape.FringingGain(g, track, lambda)
	return 20*math.Log10(now/was) + float64(fringe)
}

// onTape is the width of a core that lies on the tape.
func onTape(g tape.Geometry, track int) float64 {
	p := g.Tracks[track-1]
	low := math.Max(0, float64(p.Centre-p.Width/2))
	high := math.Min(float64(g.TapeWidth), float64(p.Centre+p.Width/2))
	return high - low
}

// sinhc is sinh(x)/x.
func sinhc(x float64) float64 {
	if math.Abs(x) < 1e-3 {
		return 1 + x*x/6
	}
	return math.Sinh(x) / x
}

func sq(x float64) float64 { return x * x }
