package testtape

import "math"

// share places the edges between adjoining tones that nothing tells apart,
// such as the same tone twice at one level, by the sections' stated lengths.
func (l *locator) share(sure [][2]bool) {
	unsure := func(k int) bool { // between k and k+1
		return k+1 < len(l.spans) && l.spans[k].found() && l.spans[k+1].found() && l.spans[k].to == l.spans[k+1].from &&
			!l.tape.Sections[k].Silent() && !l.tape.Sections[k+1].Silent() && !sure[k][1] && !sure[k+1][0]
	}
	for k := 0; k < len(l.spans); k++ {
		last := k
		stated := l.tape.Sections[k].Seconds
		for unsure(last) {
			last++
			stated += l.tape.Sections[last].Seconds
		}
		if last == k {
			continue
		}
		at, whole := l.found[k].StartS, l.found[last].EndS-l.found[k].StartS
		if l.spans[k].from < 3 && l.spans[last].to < l.f.frames-3 { // cut: count from the end that is there
			at, whole = l.found[last].EndS-stated/l.ratio, stated/l.ratio
		} else if l.spans[last].to >= l.f.frames-3 {
			whole = stated / l.ratio
		}
		for ; k < last; k++ {
			at += whole * l.tape.Sections[k].Seconds / stated
			l.found[k].EndS, l.found[k+1].StartS = at, at
		}
	}
}

// edge is the time at which section k's tone passes half-way between its level
// inside and outside, near frame at; side is -1 for the start, +1 for the end.
// It is looked for on the channel where the tone is clearest, or, where no step
// shows there, on that of the largest step: the same tone may go on on another
// track. When none shows, ok is false and the time that of the frame.
func (l *locator) edge(k, at, side int) (seconds float64, ok bool) {
	i := l.f.toneIndex(l.tape.Sections[k].ToneHz)
	best := l.clearest(k, l.spans[k])
	e := l.newStep(i, best, at, side)
	if !e.shows() {
		loud := max(e.inside, e.outside)
		for c := range l.f.channels {
			// 20 dB down it may be crosstalk or noise.
			if o := l.newStep(i, c, at, side); max(o.inside, o.outside) > 0.1*loud && o.ratio() > e.ratio() {
				e = o
			}
		}
		if !e.shows() {
			return min(l.f.duration(), l.f.seconds(at)), false
		}
	}
	return e.cross(at)
}

// step is a change of one tone's amplitude on one channel.
type step struct {
	l               *locator
	tone, channel   int
	side            int
	inside, outside float64
}

func (l *locator) newStep(tone, channel, at, side int) step {
	e := step{l: l, tone: tone, channel: channel, side: side}
	e.inside = l.median(at, -side*2, -side*(2+3*l.reach()), e.amp)
	e.outside = l.median(at, side*2, side*4, e.amp) // near: something else may follow soon
	// A neighbour of nearly the same low frequency leaks in; a short gap tells more.
	if low := min(e.amp(at+side*2), e.amp(at+side*3), e.amp(at+side*4)); low < 0.7*min(e.inside, e.outside) {
		e.outside = low
	}
	return e
}

// reach is how many frames an edge may lie from where the alignment puts it.
func (l *locator) reach() int { return max(4, int(0.3*l.f.perSecond())) }

func (e *step) amp(t int) float64 {
	if t < 0 || t >= e.l.f.frames {
		return 0
	}
	return math.Pow(10, e.l.f.levelDB(t, e.tone, e.channel)/20)
}

func (e *step) ratio() float64 {
	return max(e.inside, e.outside) / max(min(e.inside, e.outside), 1e-9)
}

func (e *step) shows() bool { return e.ratio() > 1.1 }

// cross is where the amplitude passes half-way, next to frame at.
//
// A tone that begins at t0 has half its amplitude in a frame centred at t0,
// because the window is symmetric; between frames the amplitude is taken as
// straight. Louder outside is a step down into this section: the half-way point
// serves as well.
func (e *step) cross(at int) (seconds float64, ok bool) {
	f := e.l.f
	fallback := min(f.duration(), f.seconds(at))
	half := (e.inside + e.outside) / 2
	up := (e.side < 0) == (e.inside > e.outside) // in time
	best := fallback
	for t := at - e.l.reach(); t < at+e.l.reach(); t++ {
		x, y := e.amp(t), e.amp(t+1)
		if up && !(x < half && y >= half) || !up && !(x >= half && y < half) {
			continue
		}
		v := f.seconds(t) + (half-x)/(y-x)*(f.seconds(t+1)-f.seconds(t))
		if !ok || math.Abs(v-fallback) < math.Abs(best-fallback) {
			best, ok = v, true
		}
	}
	return best, ok
}
