package diagnosis

import (
	"math"
)

// How far observations are trusted. The figures are practice estimates of a
// repair bench (common practice, no source), to be replaced by a shop's own
// counts.
const (
	// wrongSpot: a sibling voltage comparison with one meter is wrong in 3 % of
	// cases, a probe on a connector sits on the wrong pin or side in 5 %.
	wrongSpot    = 0.03
	wrongPin     = 0.05
	wrongTrack   = 0.05  // wrong track selected, solo left on
	typingSlip   = 0.015 // 1 to 2 %
	unitSlip     = 0.005 // mV read as V or the other way, each (own estimate)
	unitSlipDB   = 60    // a factor of 1000
	wrongResult  = 0.03  // a figure of a capture: channel or track mixed up
	spotRangeDB  = 130   // a wrong spot shows anything from −90 to +40 dB
	siblingSDDB  = 0.45  // good siblings, one meter, one spread-free circuit
	otherTrackDB = 1.0   // what another track's point shows instead
	floorDB      = -50   // what is left where a stage is dead
	floorSDDB    = 12
	zeroDB       = -80 // a reading of 0 is entered as this
)

// states of a reading.
const (
	readRight = iota
	readSpot  // wrong spot, or the figure mistyped
	readTrack // another track's value
	readUp    // 1000 times too large
	readDown  // 1000 times too small
	readStates
)

// readingModel is one reading in dB relative to what is expected.
type readingModel struct {
	y      float64
	sd     float64 // of a right reading about its true value
	pSpot  float64
	pTrack float64

	resultStyle bool // a figure of a capture: no unit or typing slips
}

func (r readingModel) prior() [readStates]float64 {
	p := [readStates]float64{readSpot: r.pSpot, readTrack: r.pTrack}
	if !r.resultStyle {
		p[readSpot] += typingSlip
		p[readUp], p[readDown] = unitSlip, unitSlip
	}
	p[readRight] = 1
	for k := 1; k < readStates; k++ {
		p[readRight] -= p[k]
	}
	return p
}

// like is the likelihood of the reading in its states. A right reading is
// normal about offset plus effect; a reading at a wrong spot may be anything;
// a unit slip is a right reading 60 dB off.
func (r readingModel) like(arrive []total, offset float64, out []float64) {
	prior := r.prior()
	right := func(y float64) float64 {
		sum := 0.0
		for _, t := range arrive {
			mean, sd := t.db[qLevel], t.sd[qLevel]
			if t.dead || mean < floorDB {
				mean, sd = floorDB, floorSDDB
			}
			sum += t.p * gauss(y-offset-mean, math.Hypot(r.sd, sd))
		}
		return sum
	}
	out[readRight] = prior[readRight] * right(r.y)
	out[readSpot] = prior[readSpot] / spotRangeDB
	out[readTrack] = prior[readTrack] * gauss(r.y-offset, math.Hypot(r.sd, otherTrackDB))
	out[readUp] = prior[readUp] * right(r.y-unitSlipDB)
	out[readDown] = prior[readDown] * right(r.y+unitSlipDB)
}

// gauss is the normal density of x about 0.
func gauss(x, sd float64) float64 {
	z := x / sd
	if z > 38.6 || z < -38.6 {
		return 0 // the exponential is below the smallest number
	}
	return math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
}

// What the ear notices: the effect at which half of listeners notice, and how
// soft the edge is, in dB (common practice, no source).
const (
	hearWeakDB, hearWeakSoft   = 3, 0.8
	hearDullDB, hearDullSoft   = 4, 1.0
	hearThinDB, hearThinSoft   = 5, 1.2
	hearNoiseDB, hearNoiseSoft = 6, 1.5
	hearDeadDB, hearDeadSoft   = 25, 3
)

// verdicts in the order of a check's report.
const (
	saysWorks = iota
	saysDead
	saysWeak
	saysDull
	saysThin
	saysNoisy
	saysIntermittent
	saysFaulty // faulty, nobody said how
	sayings
)

// wrongVerdict is the probability of each verdict being given for no reason:
// wrong track heard, switch in the wrong place. Of dull verdicts by ear 25 %
// name the wrong track; with some 5 % of tracks dull that makes 2 % of good
// tracks be called dull. The others are estimates in proportion.
var wrongVerdict = [sayings]float64{0.05, 0.01, 0.02, 0.02, 0.02, 0.02, 0.02, 0.02}

// seesBoth is the probability that one check of an intermittent fault catches
// it both present and absent and is reported as intermittent.
const seesBoth = 0.4

// saysHow is the probability that a person who finds a function faulty also
// says how.
const saysHow = 0.8

// checkModel is the report of a check by ear or meter.
type checkModel struct{ report int }

// like is the likelihood of the report: state 0 right, state 1 wrong.
func (c checkModel) like(arrive []total, _ float64, out []float64) {
	var says, shown, hidden [sayings]float64
	var pShown, pHidden float64
	for _, t := range arrive {
		p := audible(t)
		for k := range says {
			says[k] += t.p * p[k]
			if t.shown > 0 {
				shown[k] += t.p * p[k]
			} else if t.hidden > 0 {
				hidden[k] += t.p * p[k]
			}
		}
		if t.shown > 0 {
			pShown += t.p
		} else if t.hidden > 0 {
			pHidden += t.p
		}
	}
	if pShown > 0 && pHidden > 0 {
		// That it sounds different when the fault shows and when it does not
		// (the distance of the two distributions) is what makes a person say
		// "intermittent".
		apart := 0.0
		for k := range says {
			apart += math.Abs(shown[k]/pShown-hidden[k]/pHidden) / 2
		}
		both := seesBoth * apart
		for k := range says {
			says[k] *= 1 - both
		}
		says[saysIntermittent] += both
	}
	slip := sumOf(wrongVerdict[:])
	out[0] = (1 - slip) * says[c.report]
	out[1] = wrongVerdict[c.report]
}

// audible is the distribution of verdicts for one total, intermittent left
// out. What is wrong at all is named in proportion to how plain it is.
func audible(t total) [sayings]float64 {
	var out [sayings]float64
	level, sdL := t.db[qLevel], t.sd[qLevel]
	dead := soft(-level, hearDeadDB, hearDeadSoft, sdL)
	if t.dead {
		dead = 1
	}
	out[saysDead] = dead
	marks := [...]float64{
		saysWeak:  soft(-level, hearWeakDB, hearWeakSoft, sdL),
		saysDull:  soft(-t.db[qTreble], hearDullDB, hearDullSoft, t.sd[qTreble]),
		saysThin:  soft(-t.db[qBass], hearThinDB, hearThinSoft, t.sd[qBass]),
		saysNoisy: soft(t.db[qNoise], hearNoiseDB, hearNoiseSoft, t.sd[qNoise]),
	}
	fine, sum := 1.0, 0.0
	for k := saysWeak; k <= saysNoisy; k++ {
		fine *= 1 - marks[k]
		sum += marks[k]
	}
	alive := 1 - dead
	out[saysWorks] = alive * fine
	for k := saysWeak; k <= saysNoisy; k++ {
		if sum > 0 {
			out[k] = alive * (1 - fine) * marks[k] / sum * saysHow
		}
	}
	out[saysFaulty] = alive*(1-fine)*(1-saysHow) + out[saysDead]*(1-saysHow)
	out[saysDead] *= saysHow
	return out
}

// soft is the probability that x is noticed: 0 up to x = 0, one half near at,
// with the spread of x itself widening the edge (the usual logistic
// approximation of a normal mixture). A sound track is never noticed: what is
// heard on one by mistake is a wrong verdict.
func soft(x, at, width, sd float64) float64 {
	w := math.Hypot(width, sd*math.Sqrt(3)/math.Pi)
	edge := func(x float64) float64 { return 1 / (1 + math.Exp(-(x-at)/w)) }
	return math.Max(0, (edge(x)-edge(0))/(1-edge(0)))
}
