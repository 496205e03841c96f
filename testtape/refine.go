package testtape

import (
	"math"
	"slices"
)

// verify drops sections whose stretch does not bear them out, and silence
// without a found neighbour to place it by.
func (l *locator) verify(a *alignment) {
	for k, s := range a.spans {
		if s.found() && !l.tape.Sections[k].Silent() && !l.steadyTone(k, s, a.ratio) {
			a.spans[k].from = -1
		}
	}
	l.dropNotes(a)
	anchored := func(k int) bool {
		return k >= 0 && k < len(a.spans) && a.spans[k].found() && !l.tape.Sections[k].Silent()
	}
	for k, s := range a.spans {
		if s.found() && l.tape.Sections[k].Silent() && !anchored(k-1) && !anchored(k+1) {
			a.spans[k].from = -1
		}
	}
}

// steadyTone reports whether the section's tone is there at least half the time
// and its level steady: notes of music decay. The middle half of a tone's frames
// spreads by a few dB at poor S/N or on a flickering track, not by 6.
func (l *locator) steadyTone(k int, s span, ratio float64) bool {
	const widest = 6. // dB
	i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
	good := 0
	c := l.clearest(k, s)
	levels := make([]float64, 0, s.to-s.from)
	for t := s.from; t < s.to; t++ {
		if l.ev.tone(t, i, ratio) > 0 {
			good++
		}
		levels = append(levels, l.f.levelDB(t, i, c))
	}
	slices.Sort(levels)
	n := len(levels)
	return 2*good >= n && levels[n*3/4]-levels[n/4] < widest
}

// dropNotes gives up tones that are much shorter than their sections unless two
// of good length vouch for the tape: in a capture of anything else, short
// stretches come up by chance.
func (l *locator) dropNotes(a *alignment) {
	const (
		share   = 0.6 // of the stated length
		seconds = 2.  // where the capture cuts the section
	)
	solid := 0
	var short []int
	for k, s := range a.spans {
		if !s.found() || l.tape.Sections[k].Silent() {
			continue
		}
		length := float64(s.to-s.from) / l.f.perSecond()
		cut := s.from < 3 || s.to > l.f.frames-4
		if length >= share*l.tape.Sections[k].Seconds/a.ratio || cut && length >= seconds {
			solid++
		} else {
			short = append(short, k)
		}
	}
	if solid < 2 {
		for _, k := range short {
			a.spans[k].from = -1
		}
	}
}

// vouched reports whether the found sections can only be those of a test tape.
// Notes of music lie near one of its tones often, and two of them in its order
// at one speed now and then; but such notes have harmonics, sound together, or
// last as long as they like. So it takes two good sections that follow each
// other, or a single one that is long or alone in the capture.
func (l *locator) vouched() bool {
	const (
		apart = 5. // seconds between two sections: an announcement
		long  = 9. // seconds: longer than notes are held
	)
	last := -1
	for k, s := range l.spans {
		if !s.found() || !l.good(k) {
			continue
		}
		length := float64(s.to-s.from) / l.f.perSecond()
		if length >= long || l.alone(s) {
			return true
		}
		if last >= 0 && float64(s.from-l.spans[last].to)/l.f.perSecond() < apart {
			return true
		}
		last = k
	}
	return false
}

// good reports whether section k is a pure tone of its stated length: nothing
// else in most of its frames comes near it.
func (l *locator) good(k int) bool {
	const (
		pure     = 12. // dB above the strongest line elsewhere; a distorted tone's third harmonic is 20 dB down
		shortest = 0.75
		longest  = 1.3
		atEdge   = 2. // seconds, where the capture cuts the section
	)
	sec, s := l.tape.Sections[k], l.spans[k]
	if sec.Silent() {
		return false
	}
	length := float64(s.to-s.from) / l.f.perSecond()
	share := length / (sec.Seconds / l.ratio)
	cut := s.from < 3 || s.to > l.f.frames-4
	if share > longest || share < shortest && !(cut && length >= atEdge) {
		return false
	}
	i := l.f.toneIndex(sec.ToneHz)
	count := 0
	for t := s.from; t < s.to; t++ {
		if l.ev.tone(t, i, l.ratio) > 0 && l.f.over[t*len(l.f.tones)+i] >= 2*pure {
			count++
		}
	}
	return float64(count) >= 0.7*float64(s.to-s.from)
}

// alone reports whether hardly anything else in the capture is nearly as loud.
func (l *locator) alone(s span) bool {
	const below = 10.
	inside := l.median(s.from, 0, s.to-s.from-1, func(t int) float64 { return float64(l.ev.total[t]) })
	others, loud := 0, 0
	for t, v := range l.ev.total {
		if t < s.from-1 || t > s.to {
			others++
			if float64(v) > inside-below {
				loud++
			}
		}
	}
	return 20*loud <= others
}

// measureSpeed returns the speed ratio over all tones of an alignment, each
// weighted by its frequency's squared precision; 0 when there is none.
func (l *locator) measureSpeed(a *alignment) float64 {
	var sum, weights float64
	for k, s := range a.spans {
		sec := l.tape.Sections[k]
		if !s.found() || sec.Silent() {
			continue
		}
		i := l.f.toneIndex(sec.ToneHz)
		var ratios []float64
		for t := s.from; t < s.to; t++ {
			if l.ev.tone(t, i, a.ratio) > 0.5 {
				ratios = append(ratios, 1+1e-5*float64(l.f.offset[t*len(l.f.tones)+i]))
			}
		}
		if len(ratios) == 0 {
			continue
		}
		// The mean of the middle: under flutter the line jumps between the extremes
		// of the swing, and a median would pick one of them.
		slices.Sort(ratios)
		ratios = ratios[len(ratios)/20 : len(ratios)-len(ratios)/20]
		mean := 0.
		for _, v := range ratios {
			mean += v / float64(len(ratios))
		}
		// A line's place is known to a share of a bin, so relative error falls with
		// frequency, until flutter (0.1 %) is the larger part.
		e := math.Hypot(0.05*l.f.binHz/sec.ToneHz, 1e-3)
		w := float64(len(ratios)) / (e * e)
		sum += w * mean
		weights += w
	}
	if weights == 0 {
		return 0
	}
	return sum / weights
}

// place turns frames into seconds, edge by edge.
func (l *locator) place() {
	l.trimTones()
	l.stretchTones()
	end := l.f.duration()
	last := -1 // the found section before
	for k := range l.spans {
		s := l.spans[k]
		if !s.found() {
			continue
		}
		p := &l.found[k]
		p.Found = true
		p.StartS, p.EndS = l.f.seconds(s.from), min(end, l.f.seconds(s.to))
		if !l.tape.Sections[k].Silent() {
			p.StartS, p.EndS = l.edge(k, s.from, -1), l.edge(k, s.to, +1)
		}
		if last >= 0 {
			l.join(last, k)
		}
		last = k
	}
	for k := range l.found {
		if l.found[k].Found && l.tape.Sections[k].Silent() {
			l.placeSilence(k)
		}
	}
	slack := 1.5 / l.f.perSecond()
	for k := range l.found {
		p := &l.found[k]
		if !p.Found {
			continue
		}
		p.StartS, p.EndS = max(0, p.StartS), min(end, p.EndS)
		atStart, atEnd := p.StartS < slack, p.EndS > end-slack
		if atStart {
			p.StartS = 0
		}
		if atEnd {
			p.EndS = end
		}
		// Lengths on real tapes agree with the certificate to a few per cent; a
		// section that the capture just holds whole is not called cut.
		short := p.EndS-p.StartS < 0.95*l.tape.Sections[k].Seconds/l.ratio
		p.Partial = short && (atStart || atEnd)
	}
}

// join makes two neighbours meet when they nearly do, and never overlap.
func (l *locator) join(a, b int) {
	p, q := &l.found[a], &l.found[b]
	silentA, silentB := l.tape.Sections[a].Silent(), l.tape.Sections[b].Silent()
	gap := q.StartS - p.EndS
	if math.Abs(gap) > 0.25 && gap > 0 {
		return
	}
	switch {
	case silentA && !silentB:
		p.EndS = q.StartS
	case silentB && !silentA:
		q.StartS = p.EndS
	case gap < 0:
		p.EndS = (p.EndS + q.StartS) / 2
		q.StartS = p.EndS
	}
}

// trimTones cuts off an end of a tone's stretch that a gap separates from the
// rest: a voice may touch the tone's frequency just after it.
func (l *locator) trimTones() {
	const gap = 2 // frames; most drop-outs leave enough of the tone to be heard
	for k := range l.spans {
		s := &l.spans[k]
		if !s.found() || l.tape.Sections[k].Silent() {
			continue
		}
		i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
		c := l.clearest(k, *s)
		level := func(t int) float64 { return l.f.levelDB(t, i, c) }
		least := l.median(s.from, 0, s.to-s.from, level) - 10
		gone := func(t int) bool { return l.ev.tone(t, i, l.ratio) <= 0 || level(t) < least }
		reach := (s.to - s.from) / 8
		// What lies beyond a gap belongs to the tone when most of it is as strong: the
		// gap is then a drop-out.
		lasts := func(from, to int) bool {
			n := 0
			for t := from; t < to; t++ {
				if !gone(t) && math.Abs(level(t)-least-10) < 3 {
					n++
				}
			}
			return n >= 2 && 2*n > to-from
		}
		run := 0
		for t, end := s.to-1, s.to-reach; t > end; t-- {
			if !gone(t) {
				run = 0
			} else if run++; run >= gap && !lasts(t+run, s.to) {
				s.to = t
			}
		}
		run = 0
		for t, end := s.from, s.from+reach; t < end; t++ {
			if !gone(t) {
				run = 0
			} else if run++; run >= gap && !lasts(s.from, t+1-run) {
				s.from = t + 1
			}
		}
	}
}

// clearest is the channel on which section k's tone most often stands out most.
func (l *locator) clearest(k int, s span) int {
	i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
	count := make([]int, l.f.channels)
	best := 0
	for t := s.from; t < s.to; t++ {
		c := int(l.f.channel[t*len(l.f.tones)+i])
		if count[c]++; count[c] > count[best] {
			best = c
		}
	}
	return best
}

// stretchTones lets each tone reach over adjoining frames that clearly hold it
// and belong to no other section: a certificate's lengths may be well off.
func (l *locator) stretchTones() {
	owned := make([]bool, l.f.frames+1)
	for _, s := range l.spans {
		if s.found() {
			for t := s.from; t < min(s.to, len(owned)); t++ {
				owned[t] = true
			}
		}
	}
	for k := range l.spans {
		s := &l.spans[k]
		if !s.found() || l.tape.Sections[k].Silent() {
			continue
		}
		i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
		for s.from > 0 && !owned[s.from-1] && l.ev.tone(s.from-1, i, l.ratio) > 0.5 {
			s.from--
			owned[s.from] = true
		}
		for s.to < l.f.frames && !owned[s.to] && l.ev.tone(s.to, i, l.ratio) > 0.5 {
			owned[s.to] = true
			s.to++
		}
	}
}

// edge is the time at which section k's tone passes half-way between its level
// inside and outside, near frame at; side is -1 for the start, +1 for the end.
//
// A tone that begins at t0 has half its amplitude in a frame centred at t0,
// because the window is symmetric; between frames the amplitude is taken as
// straight.
func (l *locator) edge(k, at, side int) float64 {
	i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
	c := l.clearest(k, l.spans[k])
	amp := func(t int) float64 {
		if t < 0 || t >= l.f.frames {
			return 0
		}
		return math.Pow(10, l.f.levelDB(t, i, c)/20)
	}
	fallback := min(l.f.duration(), l.f.seconds(at))
	reach := max(4, int(0.3*l.f.perSecond()))
	inside := l.median(at, -side*2, -side*(2+3*reach), amp)
	outside := l.median(at, side*2, side*4, amp) // near: something else may follow soon
	// A neighbour of nearly the same low frequency leaks in; a short gap tells more.
	if low := min(amp(at+side*2), amp(at+side*3), amp(at+side*4)); low < 0.7*min(inside, outside) {
		outside = low
	}
	if !(inside > 1.1*outside) {
		// Louder outside: a step down into this section, or another section of the
		// same tone. The half-way point serves as well.
		if !(outside > 1.1*inside) {
			return fallback
		}
	}
	half := (inside + outside) / 2
	high := inside > outside
	best, found := fallback, false
	for t := at - reach; t < at+reach; t++ {
		x, y := amp(t), amp(t+1)
		// From before to after, does the amplitude cross in this edge's direction?
		up := (side < 0) == high
		if up && !(x < half && y >= half) || !up && !(x >= half && y < half) {
			continue
		}
		v := l.f.seconds(t) + (half-x)/(y-x)*(l.f.seconds(t+1)-l.f.seconds(t))
		if !found || math.Abs(v-fallback) < math.Abs(best-fallback) {
			best, found = v, true
		}
	}
	return best
}

// median of f over frames at+from to at+to, clipped to the capture.
func (l *locator) median(at, from, to int, f func(int) float64) float64 {
	lo, hi := at+min(from, to), at+max(from, to)
	var v []float64
	for t := max(0, lo); t <= min(hi, l.f.frames-1); t++ {
		v = append(v, f(t))
	}
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return v[len(v)/2]
}
