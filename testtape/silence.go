package testtape

import "math"

// placeSilence sets the ends of silent section k inside the time that its found
// neighbours leave it. Leader plays quieter than erased tape or louder, so the
// stretch is cut into up to three of steady level above hissHz: leader, the
// section, leader. Where no step of level shows, the section lies against the
// one before it and has its stated length.
func (l *locator) placeSilence(k int) {
	p := &l.found[k]
	from, to := l.between(k)
	expect := l.tape.Sections[k].Seconds / l.ratio
	// The section lies against a neighbour, or nearly: farther leader adds nothing
	// but work and chances to be wrong.
	if k > 0 && l.found[k-1].Found {
		to = min(to, from+2.5*expect)
	} else {
		from = max(from, to-2.5*expect)
	}
	fps := l.f.perSecond()
	// Frames that reach into neighbouring tones are left out: 1.1 of them is half
	// a window and a little.
	lo, hi := int(math.Ceil(from*fps+1.1)), int(math.Floor(to*fps-1.1))
	lo, hi = l.quietAround(lo, hi, int((p.StartS+p.EndS)/2*fps))
	if hi-lo < 4 {
		return
	}
	from, to = max(from, (float64(lo)-1.1)/fps), min(to, (float64(hi)+1.1)/fps)
	sum, squares := make([]float64, hi-lo+1), make([]float64, hi-lo+1)
	for t := lo; t < hi; t++ {
		v := float64(l.ev.hiss[min(t, l.f.frames-1)])
		sum[t-lo+1], squares[t-lo+1] = sum[t-lo]+v, squares[t-lo]+v*v
	}
	n := hi - lo
	unsteady := func(a, b int) float64 {
		if b <= a {
			return 0
		}
		s := sum[b] - sum[a]
		return max(0, squares[b]-squares[a]-s*s/float64(b-a))
	}
	const (
		spread  = 1. // dB, per frame, of steady noise
		newPart = 6. // cost of a stretch of leader: it must show in the level
		// A section should not lie away from the one before it without need.
		awayCost = 0.5 // per second
	)
	best, bestA, bestB := math.Inf(1), 0, n
	edgeStart, edgeEnd := from <= 0, to >= l.f.duration()-1/fps
	for a := 0; a < n; a++ {
		for b := a + 2; b <= n; b++ {
			d := float64(b-a) / fps
			if a == 0 {
				d += float64(lo)/fps - from
			}
			if b == n {
				d += to - float64(hi)/fps
			}
			cost := (unsteady(0, a) + unsteady(a, b) + unsteady(b, n)) / (2 * spread * spread)
			if x := math.Log(d/expect) / durationSpread; d > expect || !(a == 0 && edgeStart || b == n && edgeEnd) {
				cost += x * x / 2
			}
			if a > 0 {
				cost += newPart + awayCost*float64(a)/fps
			}
			if b < n {
				cost += newPart
			}
			if cost < best {
				best, bestA, bestB = cost, a, b
			}
		}
	}
	p.StartS, p.EndS = float64(lo+bestA)/fps, float64(lo+bestB)/fps
	if bestA == 0 {
		p.StartS = from
	}
	if bestB == n {
		p.EndS = to
	}
}

// quietAround narrows frames [lo, hi) to those around middle without anything
// loud, such as speech, between.
func (l *locator) quietAround(lo, hi, middle int) (int, int) {
	// Tape noise may be 20 dB above that of leader; speech is more.
	limit := l.median(middle, -8, 8, func(t int) float64 { return float64(l.ev.hiss[t]) }) + 25
	loud := func(t int) bool {
		return t >= 0 && t+1 < l.f.frames && float64(l.ev.hiss[t]) > limit && float64(l.ev.hiss[t+1]) > limit
	}
	for t := middle; t >= lo; t-- {
		if loud(t) {
			lo = t + 3
			break
		}
	}
	for t := middle; t < hi; t++ {
		if loud(t) {
			hi = t - 1
			break
		}
	}
	return lo, hi
}
