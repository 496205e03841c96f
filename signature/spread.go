package signature

import (
	"math"

	"headstack/tape"
	"headstack/testtape"
)

// spread is what figures of sound machines differ by, beside the error of measuring.
// All are standard deviations. Common practice, no source, but for the tone error.
type spread struct {
	// Between the tracks of a sound head.
	gainDB     float64 // level of a track
	spacingUm  float64 // contact of a track
	eachDB     float64 // each figure by itself: head, amplifier, tape under this track
	fringing   float64 // of the fringing gain, as a part of it: pole shapes differ
	gapUm      float64 // how far the gap of a track stands before or behind the line of all
	delayUs    float64 // slitting, gap scatter
	delayDeg   float64 // phase of the electronics
	delayScale float64 // on the whole scatter of delays, measuring included
	noiseDB    float64
	flicker    float64 // of the logarithm
	// Common to all tracks.
	offsetDB   float64 // of the capture's level
	toneDB     float64 // each tone of the tape
	trebleDB   float64 // at 10 kHz, growing with frequency: treble trims, record head of the tape
	contourDB  float64 // bumps at wavelengths of the pole face and longer, each tone
	bassDB     float64 // the same, all low tones together: fringing and pole face are estimates
	commonUs   float64 // delays have no zero of their own
	commonNois float64
	commonFlik float64
	// Of the head as a whole.
	azimuthArcmin float64
}

// usual is the spread of captures of a test tape.
func usual(opt Options) spread {
	s := spread{
		gainDB: 0.2, spacingUm: 0.015, eachDB: 0.05, fringing: 0.03, gapUm: 0.15, delayUs: 0.3, delayDeg: 0.4, delayScale: 1, noiseDB: 4, flicker: 0.4,
		offsetDB: 30, toneDB: opt.ToneErrorDB, trebleDB: 0.05, contourDB: 0.8, bassDB: 1, commonUs: 1e5, commonNois: 20, commonFlik: 0.8,
		azimuthArcmin: 0.7,
	}
	if s.toneDB <= 0 {
		s.toneDB = 0.3 / math.Sqrt(3)
	}
	return s
}

// repeated is the spread of the difference of two captures of one tape on one machine:
// the tape's errors and the head's own differences cancel.
func repeated() spread {
	return spread{
		gainDB: 0.05, spacingUm: 0.004, eachDB: 0.05, fringing: 0.01, gapUm: 0.01, delayUs: 0.3, delayDeg: 0.05, delayScale: 1, noiseDB: 1, flicker: 0.4,
		offsetDB: 0.3, toneDB: 0.05, trebleDB: 0.05, contourDB: 0.05, bassDB: 0.05, commonUs: 1e5, commonNois: 3, commonFlik: 0.8,
		azimuthArcmin: 0.3,
	}
}

// usualFlicker is what sound tracks flicker by, dB r.m.s., all frequencies and treble.
// Common practice, no source.
const (
	usualAllDB    = 0.05
	usualTrebleDB = 0.08
)

// trackCovariance is the covariance of the levels and delays of one track about what is
// common, over the given rows. bare leaves out the spreads of gain and spacing, for a fit that has
// them as parameters.
func (d *data) trackCovariance(s spread, t int, rows []int, bare bool) matrix {
	m := newMatrix(len(rows))
	var bases [][]float64
	if d.loose[t] > 0 {
		base := make([]float64, len(rows))
		for i, r := range rows {
			if d.rows[r].kind == rowLevel {
				base[i] = d.loose[t]
			}
		}
		bases = append(bases, base)
	}
	if !bare {
		gain, space := make([]float64, len(rows)), make([]float64, len(rows))
		for i, r := range rows {
			if d.rows[r].kind == rowLevel {
				gain[i] = s.gainDB
				space[i] = s.spacingUm * spacingPerUm(d.rows[r])
			}
		}
		bases = append(bases, gain, space)
	}
	if full := d.opt.Tape.TrackLayout == testtape.FullWidth && !d.opt.OwnRecording; full {
		// The models of fringing differ in strength and in how soon it falls off.
		fringe, fall := make([]float64, len(rows)), make([]float64, len(rows))
		for i, r := range rows {
			if d.rows[r].kind != rowLevel {
				continue
			}
			fringe[i] = s.fringing * d.fringe[t][r]
			fall[i] = fringe[i] * math.Log(float64(d.rows[r].lambda)/1e-3) / 2
		}
		bases = append(bases, fringe, fall)
	}
	scatter := s.gapUm / d.playedSpeed() // µs
	for i, r := range rows {
		if d.rows[r].kind == rowDelay {
			m.add(i, i, sq(d.ownSpread(s, t, r)))
			for j, q := range rows {
				if d.rows[q].kind == rowDelay {
					m.add(i, j, scatter*scatter)
				}
			}
			continue
		}
		sd := d.sd[t][r]
		m.add(i, i, sd*sd+s.eachDB*s.eachDB)
		for _, b := range bases {
			for j := range rows {
				m.add(i, j, b[i]*b[j])
			}
		}
	}
	return m
}

// spacingPerUm is the change of level in dB that a micrometre makes.
func spacingPerUm(r row) float64 { return -float64(tape.SpacingLoss(1e-6, r.lambda)) }

// commonCovariance is the covariance of what all tracks share, over all rows.
func (d *data) commonCovariance(s spread) matrix {
	m := newMatrix(len(d.rows))
	for i, r := range d.rows {
		switch r.kind {
		case rowLevel:
			bump := s.contourDB * long(r)
			m.add(i, i, s.toneDB*s.toneDB+bump*bump)
			for j, q := range d.rows {
				if q.kind == rowLevel {
					m.add(i, j, s.offsetDB*s.offsetDB+s.trebleDB*s.trebleDB*r.hz*q.hz/1e8+s.bassDB*s.bassDB*long(r)*long(q))
				}
			}
		case rowDelay:
			m.add(i, i, s.commonUs*s.commonUs)
		case rowNoise:
			m.add(i, i, s.commonNois*s.commonNois)
		case rowAll, rowTreble:
			m.add(i, i, s.commonFlik*s.commonFlik)
		case rowMissing:
			m.add(i, i, 1e-4)
		}
	}
	return m
}

// long is 1 for waves that are long against a pole face and falls to 0 for short ones.
func long(r row) float64 { return 1 / (1 + sq(poleFace/float64(r.lambda))) }

// poleFace is the length of a pole face on the tape, m. Common practice, no source.
const poleFace = 3e-3

// ownSpread is the standard deviation of a row that is no level, measuring included.
func (d *data) ownSpread(s spread, t, r int) float64 {
	sd := d.sd[t][r]
	switch row := d.rows[r]; row.kind {
	case rowDelay:
		return s.delayScale * math.Hypot(s.delayUs, s.delayDeg/360/row.hz*1e6)
	case rowNoise:
		return math.Hypot(sd, s.noiseDB)
	case rowAll, rowTreble:
		return math.Hypot(sd, s.flicker)
	}
	return sd
}
