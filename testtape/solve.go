package testtape

import "math"

// pred packs the state before a section's start: the last section found before
// it (0 for none, else index+1) and whether leader lay between.
func pred(last int, gap bool) int32 {
	p := int32(last) << 1
	if gap {
		p |= 1
	}
	return p
}

func table[T any](rows, columns int) [][]T {
	all := make([]T, rows*columns)
	t := make([][]T, rows)
	for i := range t {
		t[i] = all[i*columns : (i+1)*columns]
	}
	return t
}

// solve fills the tables from the first step to the last.
func (a *aligner) solve() {
	n, steps := len(a.secs), a.steps
	a.ended, a.began = table[float32](n, steps+1), table[int32](n, steps+1)
	a.enter, a.from = table[float32](n, steps+1), table[int32](n, steps+1)
	a.offset, a.carry = table[float32](n, steps+1), table[float32](n, steps+1)
	a.gapSin = table[int32](n+1, steps+1)
	a.inGap = make([]float32, n+1)
	gapOffset := make([]float32, n+1) // apparent gain carried through leader
	for k := range a.inGap {
		a.inGap[k] = never
	}
	a.inGap[0], gapOffset[0] = 0, float32(math.NaN()) // before the first tone the gain is unknown
	for b := range steps + 1 {
		for k := range a.secs {
			a.end(k, b)
		}
		a.leader(b, gapOffset)
		if b < steps {
			for k := range a.secs {
				a.start(k, b, gapOffset)
			}
		}
	}
}

// end finds the best stretch of section k that ends at b.
func (a *aligner) end(k, b int) {
	m := &a.secs[k]
	best, began := float64(never), int32(-1)
	if b < a.steps && !m.lately(b) {
		a.ended[k][b], a.began[k][b] = never, -1
		return
	}
	shortestHere := m.min
	if b == a.steps {
		shortestHere = min(m.min, 6) // half a second: the capture ends inside the section
	}
	for d := shortestHere; d <= m.max && d <= b; d++ {
		if v := float64(a.enter[k][b-d]); v > never/2 {
			v += m.stretch(b-d, b, a.steps)
			if v <= best {
				continue // steady or not
			}
			if v -= m.unsteady(b-d, b); v > best {
				best, began = v, int32(b-d)
			}
		}
	}
	// A section cut by the capture's start may be any shorter.
	for d := min(6, m.min); d < m.min && d <= b; d++ {
		if d == b && a.enter[k][0] > never/2 {
			if v := float64(a.enter[k][0]) + m.stretch(0, b, a.steps) - m.unsteady(0, b); v > best {
				best, began = v, 0
			}
		}
	}
	a.ended[k][b], a.began[k][b] = float32(best), began
	if began >= 0 {
		if m.tone >= 0 {
			a.offset[k][b] = float32(m.apparent(int(began), a.steps))
		} else {
			a.offset[k][b] = a.carry[k][began]
		}
	}
}

// leader extends or begins leader at b.
func (a *aligner) leader(b int, gapOffset []float32) {
	step := 0.
	if b > 0 {
		step = a.quiet[b-1]
	}
	for k := range a.inGap {
		stay := a.inGap[k] + float32(step)
		since := int32(0)
		if b > 0 {
			since = a.gapSin[k][b-1]
		}
		if k > 0 {
			// Leader that begins here; it pays now and lasts from the next step.
			if v := a.ended[k-1][b] - gapCost; v > stay {
				stay, since = v, int32(b)
				gapOffset[k] = a.offset[k-1][b]
			}
		}
		a.inGap[k], a.gapSin[k][b] = stay, since
	}
}

// start finds the best state from which section k can begin at step s.
func (a *aligner) start(k, s int, gapOffset []float32) {
	best, from, carried := float64(never), int32(-1), float32(0)
	try := func(v float64, last int, gap bool, offset float32) {
		if v < never/2 {
			return
		}
		if last == 0 {
			v -= endSkipCost * float64(k)
		} else {
			v -= skipCost * float64(k-last)
			v -= a.levelCost(k, s, last-1, float64(offset))
		}
		if v > best {
			best, from, carried = v, pred(last, gap), offset
		}
	}
	for last := 0; last <= k; last++ {
		try(float64(a.inGap[last]), last, true, gapOffset[last])
		if last > 0 {
			try(float64(a.ended[last-1][s]), last, false, a.offset[last-1][s])
		}
	}
	a.enter[k][s], a.from[k][s], a.carry[k][s] = float32(best), from, carried
}

// levelCost is the doubt about a step of level from one section to a later one.
func (a *aligner) levelCost(k, s, last int, offset float64) float64 {
	m, p := &a.secs[k], &a.secs[last]
	if m.tone < 0 {
		return 0
	}
	if math.IsNaN(offset) {
		return 0
	}
	d := m.apparent(s, a.steps) - offset
	if p.tone == m.tone {
		x := d / sameToneSpread
		return min(sameToneCap, x*x/2)
	}
	x := d / otherToneSpread
	return min(otherToneCap, x*x/2)
}

// trace reads the best path back.
func (a *aligner) trace() *alignment {
	n := len(a.secs)
	r := &alignment{ratio: a.ratio, spans: make([]span, n)}
	for k := range r.spans {
		r.spans[k].from = -1
	}
	best, last, gap := float64(never), 0, true
	for k := 0; k <= n; k++ {
		tail := endSkipCost * float64(n-k)
		if v := float64(a.inGap[k]) - tail; v > best {
			best, last, gap = v, k, true
		}
		if k > 0 {
			if v := float64(a.ended[k-1][a.steps]) - tail; v > best {
				best, last, gap = v, k, false
			}
		}
	}
	x := (a.ratio - 1) / speedSpread
	r.score = best - x*x/2
	at := a.steps
	for last > 0 {
		if gap {
			at = int(a.gapSin[last][at])
		}
		k := last - 1
		from := int(a.began[k][at])
		r.spans[k] = span{from * a.group, at * a.group}
		p := a.from[k][from]
		last, gap, at = int(p>>1), p&1 == 1, from
	}
	return r
}
