package diagnosis

import "math"

// What the ear notices: the effect at which half of listeners notice, and how
// soft the edge is, in dB (common practice, no source).
const (
	hearWeakDB, hearWeakSoft   = 3, 0.8
	hearDullDB, hearDullSoft   = 4, 1.0
	hearThinDB, hearThinSoft   = 5, 1.2
	hearNoiseDB, hearNoiseSoft = 6, 1.5
	hearDeadDB, hearDeadSoft   = 25, 3
	hearHissDB, hearHissSoft   = 10, 2 // of noise, where nothing else is left
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

// hearing is how a person, by ear or meter, reports on a function.
type hearing struct {
	// slips is the probability of each verdict being given for no reason: wrong track
	// heard, switch in the wrong place.
	slips [sayings]float64
	// both is the probability that one check of an intermittent fault catches it both
	// present and absent and is reported as intermittent.
	both float64
	// how is the probability that a person who finds a function faulty also says how.
	how float64
}

// byEar is the usual. Of dull verdicts by ear 25 % name the wrong track; with some
// 5 % of tracks dull that makes 2 % of good tracks be called dull. The others are
// estimates in proportion.
var byEar = hearing{
	slips: [sayings]float64{0.03, 0.003, 0.01, 0.02, 0.01, 0.008, 0.004, 0.005},
	both:  0.4,
	how:   0.8,
}

// foreseen is how a plan expects verdicts to come. Most that find fault with a sound
// track heard another that was faulty: of the verdicts after the repair, on which a plan
// turns, few are left (common practice, no source: one in five).
var foreseen = func() hearing {
	h := byEar
	for k := saysDead; k < sayings; k++ {
		h.slips[k] /= 5
	}
	return h
}()

// checkModel is the report of a check by ear or meter.
type checkModel struct{ report int }

// like is the likelihood of the report: state 0 right, state 1 wrong.
func (c checkModel) like(arrive []total, _ float64, out []float64) {
	byEar.like(c.report, arrive, out)
}

// like is the likelihood of a report: state 0 right, state 1 wrong.
func (h *hearing) like(report int, arrive []total, out []float64) {
	var says, shown, hidden [sayings]float64
	var pShown, pHidden float64
	for _, t := range arrive {
		p := h.audible(t)
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
		both := h.both * apart
		for k := range says {
			says[k] *= 1 - both
		}
		says[saysIntermittent] += both
	}
	out[0] = (1 - sumOf(h.slips[:])) * says[report]
	out[1] = h.slips[report]
}

// audible is the distribution of verdicts for one total, intermittent left
// out. What is wrong at all is named in proportion to how plain it is.
func (h *hearing) audible(t total) [sayings]float64 {
	var out [sayings]float64
	level, sdL := t.db[qLevel], t.sd[qLevel]
	dead := soft(-level, hearDeadDB, hearDeadSoft, sdL)
	if t.dead {
		dead = 1
	}
	// What is gone is called dead, unless a hiss in its place is what one hears: an open
	// head lead.
	hiss := dead * soft(t.db[qNoise], hearHissDB, hearHissSoft, t.sd[qNoise])
	out[saysDead] = dead - hiss
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
			out[k] = alive * (1 - fine) * marks[k] / sum * h.how
		}
	}
	out[saysNoisy] += hiss * h.how
	out[saysFaulty] = (alive*(1-fine) + dead) * (1 - h.how)
	out[saysDead] *= h.how
	return out
}

// soft is the probability that x is noticed: 0 up to x = 0, one half near at,
// with the spread of x itself widening the edge (the usual logistic
// approximation of a normal mixture). A sound track is never noticed: what is
// heard on one by mistake is a wrong verdict.
func soft(x, at, width, sd float64) float64 {
	if x <= 0 {
		return 0
	}
	w := math.Hypot(width, sd*math.Sqrt(3)/math.Pi)
	edge := func(x float64) float64 { return 1 / (1 + math.Exp(-(x-at)/w)) }
	least := edge(0)
	return (edge(x) - least) / (1 - least)
}
