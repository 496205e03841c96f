package signature

import (
	"math"
	"slices"

	"headstack/measure"
	"headstack/tape"
)

// delays makes rows of the delays of each tone, re the mean of the tracks, where the
// pairs link all tracks; else it keeps the azimuth that the report states.
func (d *data) delays(rep measure.Report) {
	if len(d.tracks) < 2 {
		return
	}
	rows := 0
	for i := range d.rows {
		if r := d.rows[i]; r.kind == rowLevel {
			if x, sd := d.linked(rep, r.section); x != nil {
				at := d.addRow(row{kind: rowDelay, section: r.section, hz: r.hz, lambda: r.lambda})
				for t := range d.tracks {
					if d.delayHolds(i, t, x) {
						d.y[t][at], d.sd[t][at] = x[t], 0
					}
				}
				d.weave[at] = d.weaving(sd)
				rows++
			}
		}
	}
	if rows > 0 {
		d.steady()
		return
	}
	defer d.stated()
	var sum, weight float64
	for _, r := range rep.Measures {
		if (r.Name == "azimuth" || r.Name == "azimuth_line") && r.Refused == "" {
			sd := math.Max((r.Hi-r.Lo)/3.92, 0.02)
			if r.Name == "azimuth_line" { // all pairs in one: it stands for itself
				d.line = figure{r.Value, sd}
				return
			}
			sum, weight = sum+r.Value/(sd*sd), weight+1/(sd*sd)
		}
	}
	if weight > 0 {
		d.line = figure{sum / weight, math.Sqrt(1 / weight)}
	}
}

// stated makes a row of delays of the azimuth that the report states, where single delays
// are not linked over the tracks.
func (d *data) stated() {
	if d.line.sd == 0 {
		return
	}
	top := 0.0
	for _, r := range d.rows {
		top = math.Max(top, r.hz)
	}
	at := d.addRow(row{kind: rowDelay, section: "azimuth", hz: top})
	d.weave[at] = d.line.sd
	for t := range d.tracks {
		d.y[t][at], d.sd[t][at] = d.lean(t)*d.line.v, 0
	}
}

// weaving is the error of azimuth in arcminutes that would explain the errors which the
// report states for delays: most of it is tape that weaves, which all tracks share.
func (d *data) weaving(sd []float64) float64 {
	var list []float64
	for t := range d.tracks {
		if p := math.Abs(d.lean(t)); p > 0 && sd[t] != missing {
			list = append(list, sd[t]/p)
		}
	}
	return median(list)
}

// enoughRows lets the scatter between tones tell how much the tape weaves, better than
// the errors that each tone states for itself.
const enoughRows = 5

// steady compares the azimuth that each tone tells: their scatter is how much the tape
// weaves, and a tone far off has its periods miscounted and is left out.
func (d *data) steady() {
	var at []int
	var angles []float64
	for i, r := range d.rows {
		if r.kind != rowDelay {
			continue
		}
		if a, ok := d.angle(i); ok {
			at, angles = append(at, i), append(angles, a)
		}
	}
	if len(at) < enoughRows {
		return
	}
	mid := median(angles)
	off := make([]float64, len(angles))
	for k, a := range angles {
		off[k] = math.Abs(a - mid)
	}
	widest := 0.0
	for t := range d.tracks {
		widest = math.Max(widest, math.Abs(d.lean(t)))
	}
	// Some twenty tones tell their scatter to a sixth: a little wider, to be safe.
	sd := math.Max(1.15*1.4826*median(off), 0.01)
	for k, i := range at {
		d.weave[i] = sd
		if off[k] > 8*sd+2/widest {
			for t := range d.tracks {
				d.sd[t][i] = missing
			}
		}
	}
}

// angle is the azimuth in arcminutes that one row of delays tells: the median over all
// pairs, which one odd track does not move.
func (d *data) angle(i int) (arcmin float64, ok bool) {
	var list []float64
	for a := range d.tracks {
		for b := a + 1; b < len(d.tracks); b++ {
			if apart := d.lean(b) - d.lean(a); apart != 0 && d.sd[a][i] != missing && d.sd[b][i] != missing {
				list = append(list, (d.y[b][i]-d.y[a][i])/apart)
			}
		}
	}
	return median(list), len(list) > 0
}

// lean is the delay of a track in µs for an arcminute of azimuth.
func (d *data) lean(t int) float64 {
	return d.place(t) * math.Tan(float64(tape.Arcminute)) / d.playedSpeed() * 1e6
}

// Limits of delays that are believed: of a tone that is not far below that of the other
// tracks, and no longer than a large azimuth and a corner would make it. Beyond them
// periods were miscounted. Common practice, no source.
const (
	faintDB      = 20
	widestArcmin = 45
	cornerPart   = 0.3 // of a period
)

// delayHolds says whether a track's delay at the tone of level row i can be used.
func (d *data) delayHolds(i, t int, x []float64) bool {
	var levels, delays []float64
	for u := range d.tracks {
		if d.sd[u][i] != missing {
			levels = append(levels, d.y[u][i])
			delays = append(delays, x[u])
		}
	}
	if d.sd[t][i] == missing || d.y[t][i] < median(levels)-faintDB {
		return false
	}
	g := d.opt.Geometry.Tracks
	span := math.Abs(float64(g[len(g)-1].Centre-g[0].Centre)) / d.playedSpeed()
	most := span*math.Tan(widestArcmin*float64(tape.Arcminute)) + cornerPart/d.played(d.rows[i])
	return math.Abs(x[t]-median(delays)) < most*1e6
}

// median of a list, 0 for none.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	x = slices.Sorted(slices.Values(x))
	return (x[(len(x)-1)/2] + x[len(x)/2]) / 2
}

// pairDelay is one measured delay: b behind a, track indices.
type pairDelay struct {
	a, b  int
	v, sd float64
}

// linked gives each track's delay in one section re the mean of the tracks, from all
// pairs. A track whose pairs contradict each other (its tone is buried, or whole periods
// were miscounted) is left out. It is nil where the pairs do not link the tracks.
func (d *data) linked(rep measure.Report, section string) (x, sd []float64) {
	var pairs []pairDelay
	for _, r := range rep.Measures {
		a, b := d.index(r.Track), d.index(r.TrackB)
		if r.Name == "delay" && r.Section == section && r.Refused == "" && a >= 0 && b >= 0 && a != b {
			pairs = append(pairs, pairDelay{a, b, r.Value, (r.Hi - r.Lo) / 3.92})
		}
	}
	for {
		x, sd = d.meanDelays(pairs)
		if x == nil {
			return nil, nil
		}
		doubt := make([]float64, len(d.tracks))
		for _, p := range pairs {
			if miss := math.Abs(x[p.b] - x[p.a] - p.v); miss > delayDisagreesUs {
				doubt[p.a] += miss
				doubt[p.b] += miss
			}
		}
		worst := 0
		for t := range doubt {
			if doubt[t] > doubt[worst] {
				worst = t
			}
		}
		if doubt[worst] == 0 {
			return x, sd
		}
		pairs = slices.DeleteFunc(pairs, func(p pairDelay) bool { return p.a == worst || p.b == worst })
	}
}

// delayDisagreesUs is by how much pairs of one tone may contradict each other: they share
// the weaving of the tape, so that their sums close but for noise.
const delayDisagreesUs = 3

// meanDelays solves pairs for each track's delay re the mean, by least squares.
func (d *data) meanDelays(pairs []pairDelay) (x, sd []float64) {
	n := len(d.tracks)
	lap, rhs := newMatrix(n), make([]float64, n)
	degree := make([]float64, n)
	for _, p := range pairs {
		lap.add(p.a, p.a, 1)
		lap.add(p.b, p.b, 1)
		lap.add(p.a, p.b, -1)
		lap.add(p.b, p.a, -1)
		rhs[p.b] += p.v
		rhs[p.a] -= p.v
		for _, t := range []int{p.a, p.b} {
			degree[t]++
		}
	}
	present := 0
	for t := range n {
		if degree[t] == 0 {
			lap.set(t, t, 1)
			continue
		}
		present++
	}
	if present < 2 {
		return nil, nil
	}
	// The sum over the present tracks is free: fix it at 0.
	for i := range n {
		for j := range n {
			if degree[i] > 0 && degree[j] > 0 {
				lap.add(i, j, 1)
			}
		}
	}
	l, ok := cholesky(lap)
	if !ok {
		return nil, nil
	}
	for i := range n {
		if l.at(i, i) < 1e-6 {
			return nil, nil // two islands of tracks
		}
	}
	// The error of a pair is taken to grow with its distance on the head.
	x, sd = l.solve(rhs), make([]float64, n)
	for t := range n {
		sd[t] = missing
		if degree[t] == 0 {
			continue
		}
		var list []float64
		for _, p := range pairs {
			if apart := math.Abs(d.lean(p.b) - d.lean(p.a)); apart > 0 && (p.a == t || p.b == t) {
				list = append(list, p.sd/apart*math.Abs(d.lean(t)))
			}
		}
		sd[t] = median(list)
	}
	return x, sd
}
