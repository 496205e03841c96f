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
	sure := make([][2]bool, len(l.spans))
	for k := range l.spans {
		s := l.spans[k]
		if !s.found() {
			continue
		}
		p := &l.found[k]
		p.Found = true
		p.StartS, p.EndS = l.f.seconds(s.from), min(end, l.f.seconds(s.to))
		if !l.tape.Sections[k].Silent() {
			p.StartS, sure[k][0] = l.edge(k, s.from, -1)
			p.EndS, sure[k][1] = l.edge(k, s.to, +1)
		}
		if last >= 0 {
			l.join(last, k)
		}
		last = k
	}
	l.share(sure)
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
