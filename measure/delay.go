package measure

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"

	"golang.org/x/sync/errgroup"

	"headstack/dsp"
	"headstack/programme"
)

// pairTone is the phase between two tracks at one tone section of one capture.
type pairTone struct {
	take    *take
	index   int // section
	toneHz  float64
	freq    dsp.Estimate // mean of the two
	phase   dsp.Estimate // of the lower-numbered track ahead, rad, whole turns once climbed
	follow  float64      // part of the phase that goes with the speed: 0 a length on the tape, 1 a time
	decided bool
	why     string
	warn    []string
	used    bool // not refused
}

// pair is two tracks in one capture, or through a third from two captures.
type pair struct {
	a, b     int // track numbers, a < b
	take     *take
	ca, cb   int
	tones    []*pairTone // ascending in frequency
	reversed bool
	warn     []string
}

// plausibleArcmin bounds the azimuth errors thought possible when whole periods are
// counted: a head further out than this has come off its screw. Common practice, no
// source.
const plausibleArcmin = 60

// delays gives the delay of every pair at every tone, then azimuth.
func (s *session) delays() []Result {
	pairs := s.pairs()
	for _, t := range s.takes {
		s.closeTriangles(t, pairs)
	}
	var out []Result
	for _, p := range pairs {
		for _, pt := range p.tones {
			out = append(out, s.delay(p, pt))
		}
	}
	through := s.throughPairs(pairs)
	for _, p := range through {
		for _, pt := range p.tones {
			out = append(out, s.delay(p, pt))
		}
	}
	return append(out, s.azimuths(append(pairs, through...))...)
}

// pairs lists the pairs of each capture with their climbed tones.
func (s *session) pairs() []*pair {
	var out []*pair
	for _, t := range s.takes {
		var own []*pair
		for i, ca := range t.order {
			for _, cb := range t.order[i+1:] {
				if t.tracks[ca] != t.tracks[cb] {
					own = append(own, &pair{a: t.tracks[ca], b: t.tracks[cb], take: t, ca: ca, cb: cb})
				}
			}
		}
		s.fill(t, own)
		out = append(out, own...)
	}
	for _, p := range out {
		p.climb(s.delayLimit(p.a, p.b))
	}
	return out
}

// fill measures the phases of a capture's pairs at every tone that both tracks have. It
// goes section by section, since the fits of one length share what they are made of.
func (s *session) fill(t *take, pairs []*pair) {
	at := make([][]*pairTone, len(s.opt.Tape.Sections)) // by section, by pair
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range at {
		tt := t.toneTake(i)
		if s.kind(i) != programme.Tone || tt.channels == nil {
			continue
		}
		at[i] = make([]*pairTone, len(pairs))
		g.Go(func() error {
			for k, p := range pairs {
				at[i][k] = s.pairTone(p, tt, i)
			}
			return nil
		})
	}
	_ = g.Wait() // no function fails
	for k, p := range pairs {
		for _, of := range at {
			if of != nil && of[k] != nil {
				p.tones = append(p.tones, of[k])
			}
		}
		slices.SortStableFunc(p.tones, func(x, y *pairTone) int { return cmp.Compare(x.toneHz, y.toneHz) })
	}
}

// pairTone is the pair's phase in section index, nil where a track lacks the tone.
func (s *session) pairTone(p *pair, tt *toneTake, index int) *pairTone {
	a, b := tt.channels[p.ca], tt.channels[p.cb]
	if a.absent != "" || b.absent != "" || !a.fit.ok || !b.fit.ok {
		return nil
	}
	key := [2]int{p.ca, p.cb}
	if tt.pairs[key] == nil {
		pt := comparePhases(a, b)
		pt.take, pt.index, pt.toneHz = p.take, index, s.opt.Tape.Sections[index].ToneHz
		pt.warn = slices.Clip(mergeWarnings(p, a.warnings(tt.partial), b.warnings(tt.partial)))
		if tt.pairs == nil {
			tt.pairs = map[[2]int]*pairTone{}
		}
		tt.pairs[key] = pt
	}
	pt := *tt.pairs[key]
	return &pt
}

// mergeWarnings names the track of each warning, or both where they share it.
func mergeWarnings(p *pair, a, b []string) []string {
	var out []string
	for _, w := range a {
		if !slices.Contains(b, w) {
			w = fmt.Sprintf("track %d: %s", p.a, w)
		}
		out = append(out, w)
	}
	for _, w := range b {
		if !slices.Contains(a, w) {
			out = append(out, fmt.Sprintf("track %d: %s", p.b, w))
		}
	}
	return out
}

// comparePhases gives the mean phase of a ahead of b where the flutter is 0. A
// distance on the tape keeps its phase under flutter, a time does not; the fit tells
// which (follow), so that neither lets the flutter lean on the mean.
func comparePhases(a, b *toneChannel) *pairTone {
	n := min(len(a.phase), len(b.phase))
	var s, c float64
	for i := range n {
		y, x := math.Sincos(a.phase[i] - b.phase[i])
		s, c = s+y, c+x
	}
	centre := math.Atan2(s, c)
	diff, wobble := make([]float64, n), make([]float64, n)
	for i := range n {
		diff[i] = wrap(a.phase[i] - b.phase[i] - centre)
		wobble[i] = (a.fit.wobble[i] + b.fit.wobble[i]) / 2
	}
	pt := &pairTone{freq: combine([]float64{0.5, 0.5}, a.fit.freq, b.fit.freq)}
	// Both tracks see the same flutter: their errors of frequency are not
	// independent, so the mean is taken to be no better than the better one.
	pt.freq.SE = math.Min(a.fit.freq.SE, b.fit.freq.SE)
	mean, follow, ok := meanAt(diff, wobble)
	pt.used = ok
	mean.Value += centre
	pt.phase, pt.follow = mean, follow
	return pt
}

// wrap brings a phase to (−π, π].
func wrap(x float64) float64 {
	return x - 2*math.Pi*math.Ceil(x/(2*math.Pi)-0.5)
}

// delayLimit is the delay of an azimuth error of plausibleArcmin in seconds.
func (s *session) delayLimit(a, b int) float64 {
	d := s.distance(a, b)
	if d == 0 {
		return math.Inf(1)
	}
	return math.Abs(d) * math.Tan(plausibleArcmin/arcminPerRadian) / (s.opt.Tape.SpeedCmS / 100)
}

// distance from track a's centre to track b's in metres, 0 when not known.
func (s *session) distance(a, b int) float64 {
	tr := s.opt.Geometry.Tracks
	if a > len(tr) || b > len(tr) {
		return 0
	}
	return float64(tr[b-1].Centre - tr[a-1].Centre)
}

// climb counts the whole turns of the pair's phases.
func (p *pair) climb(limit float64) {
	rungs := make([]rung, 0, len(p.tones))
	for _, pt := range p.tones {
		rungs = append(rungs, rung{freq: pt.freq.Value, phase: pt.phase.Value, half: pt.phase.Half()})
	}
	out, reversed := climb(rungs, limit)
	p.reversed = reversed
	for i, c := range out {
		pt := p.tones[i]
		if reversed {
			pt.follow = 0 // the turned-over half period is no delay; the little rest decides nothing
		}
		pt.phase.Value, pt.decided, pt.why = c.phase, c.decided, c.why
		if pt.phase.Value != 0 {
			pt.follow /= pt.phase.Value
		}
		pt.follow = math.Max(0, math.Min(1, pt.follow))
	}
	if reversed {
		p.warn = append(p.warn, fmt.Sprintf("polarity reversed between tracks %d and %d; half a period taken off", p.a, p.b))
	}
}

// closeTriangles checks at every tone that the delays a→b and b→c add up to a→c. A
// pair that disagrees by the same whole number of periods in every triangle is set
// right.
func (s *session) closeTriangles(t *take, pairs []*pair) {
	at := map[[2]int]*pair{}
	for _, p := range pairs {
		if p.take == t {
			at[[2]int{p.ca, p.cb}] = p
		}
	}
	for i := range s.opt.Tape.Sections {
		for {
			worst, turns := (*pairTone)(nil), 0
			var owner *pair
			for _, p := range at {
				pt := p.tone(i)
				if pt == nil || !pt.decided {
					continue
				}
				if k, ok := commonMiss(t, at, p, i); ok && k != 0 && (worst == nil || p.a*1000+p.b < owner.a*1000+owner.b) {
					worst, turns, owner = pt, k, p
				}
			}
			if worst == nil {
				break
			}
			worst.phase.Value -= 2 * math.Pi * float64(turns)
			worst.warn = append(worst.warn, fmt.Sprintf("moved by %d periods to agree with the other pairs", -turns))
		}
	}
}

func (p *pair) tone(index int) *pairTone {
	for _, pt := range p.tones {
		if pt.index == index {
			return pt
		}
	}
	return nil
}

// commonMiss is the number of turns by which p exceeds what every third channel
// says; ok is false with fewer than two such channels or when they disagree.
func commonMiss(t *take, at map[[2]int]*pair, p *pair, index int) (turns int, ok bool) {
	phase := func(x, y int) (float64, bool) {
		sign := 1.0
		q := at[[2]int{x, y}]
		if q == nil {
			q, sign = at[[2]int{y, x}], -1
		}
		if q == nil {
			return 0, false
		}
		pt := q.tone(index)
		if pt == nil || !pt.decided {
			return 0, false
		}
		return sign * pt.phase.Value, true
	}
	own, _ := phase(p.ca, p.cb)
	votes := 0
	for _, c := range t.order {
		x, ok1 := phase(p.ca, c)
		y, ok2 := phase(c, p.cb)
		if c == p.ca || c == p.cb || !ok1 || !ok2 {
			continue
		}
		k := int(math.Round((own - x - y) / (2 * math.Pi)))
		if votes > 0 && k != turns {
			return 0, false
		}
		turns = k
		votes++
	}
	return turns, votes >= 2
}

// throughPairs builds the pairs that no capture holds from two pairs with a common
// track.
func (s *session) throughPairs(direct []*pair) []*pair {
	have := map[[2]int]*pair{}
	tracks := map[int]bool{}
	for _, p := range direct {
		if have[[2]int{p.a, p.b}] == nil {
			have[[2]int{p.a, p.b}] = p
		}
		tracks[p.a], tracks[p.b] = true, true
	}
	var list []int
	for t := range tracks {
		list = append(list, t)
	}
	slices.Sort(list)
	var out []*pair
	for i, a := range list {
		for _, b := range list[i+1:] {
			if have[[2]int{a, b}] != nil {
				continue
			}
			for _, via := range list {
				if p := through(have, a, b, via); p != nil {
					out = append(out, p)
					break
				}
			}
		}
	}
	return out
}

// through joins a→via and via→b at the tones that both have.
func through(have map[[2]int]*pair, a, b, via int) *pair {
	side := func(x, y int) (*pair, float64) {
		if p := have[[2]int{x, y}]; p != nil {
			return p, 1
		}
		return have[[2]int{y, x}], -1
	}
	p, sp := side(a, via)
	q, sq := side(via, b)
	if p == nil || q == nil || via == a || via == b {
		return nil
	}
	out := &pair{a: a, b: b, reversed: p.reversed != q.reversed}
	out.warn = append(out.warn, fmt.Sprintf("through track %d, from two passes", via))
	if out.reversed {
		out.warn = append(out.warn, fmt.Sprintf("polarity reversed between tracks %d and %d; half a period taken off", a, b))
	}
	for _, x := range p.tones {
		y := q.tone(x.index)
		if y == nil {
			continue
		}
		// Each is brought to a length in tape wavelengths at its own speed.
		pt := &pairTone{index: x.index, toneHz: x.toneHz, used: x.used && y.used, decided: x.decided && y.decided, why: x.why + y.why}
		pt.freq = combine([]float64{0.5, 0.5}, x.freq, y.freq)
		pt.phase = combine([]float64{sp, sq}, x.phase, y.phase)
		pt.follow = math.Max(x.follow, y.follow)
		pt.warn = append(append([]string{}, x.warn...), y.warn...)
		out.tones = append(out.tones, pt)
	}
	if len(out.tones) == 0 {
		return nil
	}
	return out
}

// delay is the result of one pair at one tone.
func (s *session) delay(p *pair, pt *pairTone) Result {
	sec := s.opt.Tape.Sections[pt.index]
	r := Result{Name: "delay", Track: p.a, TrackB: p.b, Section: sec.Name, ToneHz: sec.ToneHz, Unit: "µs", Conditions: s.conditions(p.take, 0)}
	r.Reference = fmt.Sprintf("track %d; positive: track %d is later", p.a, p.b)
	if !pt.used {
		return r.refuse("section too short to compare phases")
	}
	if !pt.decided {
		return r.refuse(pt.why)
	}
	r.set(pt.delayMicros())
	r.Method = fmt.Sprintf("phase difference at %.6g Hz, flutter allowed for, whole periods counted from the lowest tone up", pt.freq.Value)
	r.Warnings = append(append(r.Warnings, p.warn...), pt.warn...)
	return r
}

// delayMicros is the delay in µs. What of the phase is a length on the tape becomes
// a time through the speed, and takes the speed's error with it.
func (pt *pairTone) delayMicros() dsp.Estimate {
	k := 1e6 / (2 * math.Pi * pt.freq.Value)
	own := dsp.Estimate{Value: pt.phase.Value * k, SE: pt.phase.SE * k, Dof: pt.phase.Dof}
	speed := dsp.Estimate{SE: own.Value * (1 - pt.follow) * pt.freq.SE / pt.freq.Value, Dof: pt.freq.Dof}
	return combine([]float64{1, 1}, own, speed)
}
