package testtape

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
