package testtape

import "math"

// Costs of the alignment, in the units of evidence (one clear frame is worth
// up to 2, a ten-second section about 200). They settle ties; tones settle the
// rest.
const (
	durationSpread = 0.10 // log-normal spread of a section's real length about its stated one
	durationCap    = 8.   // a tone that is plainly there may be any length from 0.35 to 1.6 of it
	shortest       = 0.35
	longest        = 1.6
	gapCost        = 1.  // leader between two sections
	skipCost       = 3.  // a section missing in the middle
	endSkipCost    = 0.7 // one missing before the first or after the last found
	partialCost    = 5.  // a section cut by the capture's ends
	tonalGap       = 0.3 // per frame: leader that sounds like one of the tape's tones
	tonalSilence   = 2.  // per frame: silence that does, when it is more than
	chanceLine     = 0.8 // evidence that noise gives now and then (14 dB)
	loudSilence    = 1.  // per frame: silence as loud as the tones
	silenceGain    = 2.
	silenceCutCost = 0.5 // silence cut by the capture's ends: less likely than whole
	// A section must gather this much evidence per step, on the mean.
	leastEvidence = 0.25
	// Level within a section is steady: spreads of the per-frame level in dB. They
	// are wide, so that drop-outs cost little and a level step much.
	toneSpread, silenceSpread = 6., 8.
	// Level re the section before, less the stated step. Another tone may be far
	// down (a dull track), the same tone not.
	otherToneSpread, otherToneCap = 8., 5.
	sameToneSpread, sameToneCap   = 3., 12.
	speedSpread                   = 0.04 // a speed far off is a little less likely

	maxCells = 1_200_000 // bounds the tables: sections × steps
)

const never = -1e18

// alignment is the best explanation of a capture at one speed ratio.
type alignment struct {
	ratio float64
	score float64
	spans []span // per section, fine frames
}

// aligner solves for the best order-keeping assignment of stretches to sections
// by dynamic programming over time steps of a few frames. State (k, b): section
// k was the last found, and time is b. Either it ended at b exactly, or leader
// has lasted since it ended.
type aligner struct {
	l     *locator
	ratio float64
	group int // frames per step
	steps int
	secs  []model

	quiet  []float64 // per step: what leader scores there
	ended  [][]float32
	began  [][]int32 // start of the section that ended at b
	enter  [][]float32
	from   [][]int32   // predecessor state of a start: see pred
	inGap  []float32   // score of leader up to now, per last section (0 = none yet)
	gapSin [][]int32   // when that leader began
	offset [][]float32 // apparent gain of the section that ended at b
	carry  [][]float32 // and of the one before a start, passed on by silence
}

// model is one section's running sums over steps.
type model struct {
	tone    int // index into features.tones, -1 for silence
	level   float64
	expect  float64 // steps at this speed
	ev      []float64
	sum     []float64
	squares []float64
	min     int
	max     int
	length  []float64 // cost of each length in steps
}

// lately reports whether a tone is possible in one of the last steps before b;
// a section that ends is then not sought in vain. Longer drop-outs end a
// section early.
func (m *model) lately(b int) bool {
	const steps, hopeless = 4, absent + 0.25
	if m.tone < 0 || b < steps {
		return true
	}
	for s := b - steps; s < b; s++ {
		if m.ev[s+1]-m.ev[s] > hopeless {
			return true
		}
	}
	return false
}

func align(l *locator, ratio float64) *alignment {
	a := newAligner(l, ratio)
	a.solve()
	return a.trace()
}

func newAligner(l *locator, ratio float64) *aligner {
	n := len(l.tape.Sections)
	group := max(2, (n*l.f.frames+maxCells-1)/maxCells)
	a := &aligner{l: l, ratio: ratio, group: group, steps: l.f.frames / group}
	a.prepare()
	return a
}

// prepare averages evidence over steps and sums it up.
func (a *aligner) prepare() {
	e := a.l.ev
	k := len(e.f.tones)
	ev := make([][]float64, k)
	tonal := make([]float64, a.steps)
	for i := range ev {
		ev[i] = make([]float64, a.steps)
		for s := range a.steps {
			for g := range a.group {
				ev[i][s] += e.tone(s*a.group+g, i, a.ratio) / float64(a.group)
			}
			tonal[s] = max(tonal[s], ev[i][s])
		}
	}
	a.quiet = make([]float64, a.steps)
	hush := make([]float64, a.steps)
	hiss := make([]float64, a.steps)
	for s := range a.steps {
		total := 0.
		for g := range a.group {
			total += float64(e.total[s*a.group+g]) / float64(a.group)
			hiss[s] += float64(e.hiss[s*a.group+g]) / float64(a.group)
		}
		if tonal[s] > 0.5 {
			a.quiet[s] = -tonalGap
		}
		hush[s] = -tonalSilence * max(0, min(1, (tonal[s]-chanceLine)/(present-chanceLine)))
		if total > e.loud-2 {
			hush[s] -= loudSilence
		}
	}
	perStep := a.l.f.perSecond() / float64(a.group)
	for _, sec := range a.l.tape.Sections {
		m := model{tone: -1, level: sec.LevelDB, expect: sec.Seconds / a.ratio * perStep}
		m.min = max(2, int(shortest*m.expect))
		m.max = max(3, int(math.Ceil(longest*m.expect)))
		m.lengths(!sec.Silent())
		if sec.Silent() {
			m.sums(hush, func(s int) float64 { return hiss[s] })
		} else {
			m.tone = a.l.f.toneIndex(sec.ToneHz)
			m.sums(ev[m.tone], func(s int) float64 {
				v := 0.
				for g := range a.group {
					v += float64(e.level[(s*a.group+g)*k+m.tone]) / float64(a.group)
				}
				return v
			})
		}
		a.secs = append(a.secs, m)
	}
}

func (m *model) sums(ev []float64, level func(int) float64) {
	m.ev = make([]float64, len(ev)+1)
	m.sum = make([]float64, len(ev)+1)
	m.squares = make([]float64, len(ev)+1)
	for s, v := range ev {
		x := level(s)
		m.ev[s+1] = m.ev[s] + v
		m.sum[s+1] = m.sum[s] + x
		m.squares[s+1] = m.squares[s] + x*x
	}
}

// stretch scores section m lying exactly on steps [from, to), but for what its level's
// unsteadiness costs.
func (m *model) stretch(from, to, steps int) float64 {
	d := float64(to - from)
	score := m.ev[to] - m.ev[from]
	cut := from == 0 || to == steps
	if m.tone < 0 {
		score += silenceGain
		if cut {
			score -= silenceCutCost
		}
	} else if cut {
		score -= min(partialCost, leastEvidence*d)
	} else {
		score -= leastEvidence * d
	}
	if cut && d < m.expect {
		return score // the capture's ends explain a short length
	}
	return score - m.length[to-from]
}

// unsteady is what the unsteadiness of the level on steps [from, to) costs.
func (m *model) unsteady(from, to int) float64 {
	sum := m.sum[to] - m.sum[from]
	squares := m.squares[to] - m.squares[from] - sum*sum/float64(to-from)
	spread := toneSpread
	if m.tone < 0 {
		spread = silenceSpread
	}
	return max(0, squares) / (2 * spread * spread)
}

// lengths tables what a length costs.
func (m *model) lengths(capped bool) {
	m.length = make([]float64, m.max+1)
	for d := range m.length {
		x := math.Log(float64(d)/m.expect) / durationSpread
		m.length[d] = x * x / 2
		if capped {
			m.length[d] = min(m.length[d], durationCap)
		}
	}
}

// apparent is the section's level near its start less its stated level: the
// gain of the whole chain at this tone.
func (m *model) apparent(from, steps int) float64 {
	lo, hi := min(from+1, steps-1), min(from+6, steps)
	return (m.sum[hi]-m.sum[lo])/float64(hi-lo) - m.level
}
