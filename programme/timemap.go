package programme

import (
	"fmt"
	"math"
	"slices"

	"headstack/testtape"
)

const (
	// chainSlack and chainDrift bound how far the time between two anchors may be off
	// what the speed makes of it: errors of edges, and drift of the speed. A recording
	// that was interrupted is off by more.
	chainSlack, chainDrift = 0.3, 0.006 // s, s/s
	// leastShare is the part of the anchors between the first and the last heard, by
	// their seconds, that must be heard too.
	leastShare = 0.5
	// aloneSeconds is the least length of an anchor that may vouch for a programme by
	// itself, where the capture holds no more.
	aloneSeconds = 15.0
	// farSeconds is how far from the last edges a slope is fitted for what lies beyond.
	farSeconds = 60.0
	// leastPart is the least of a cut part that is of any use.
	leastPart = 0.5 // s
)

// locator turns anchors into places of all parts.
type locator struct {
	p        *Programme
	heardBy  *picked // what was listened to
	seconds  float64 // of the capture
	ratio    float64 // of speeds, by the tones' frequencies
	heard    []anchor
	knots    []knot
	warnings []string
}

// anchor is a part found by its tone.
type anchor struct {
	part       int
	found      bool
	start, end float64 // s in the capture
	from, to   float64 // s in the programme
	// Whether the edges are those of the part: not where the capture cuts it.
	hasStart, hasEnd bool
}

// knot is a time in the programme and in the capture.
type knot struct{ at, t float64 }

func (l *locator) anchor(part int, s testtape.Located) anchor {
	a := anchor{part: part, found: s.Found, start: s.StartS, end: s.EndS}
	a.from = l.p.Start(part)
	a.to = a.from + l.p.Parts[part].Seconds
	a.hasStart, a.hasEnd = s.StartS > 0.1, s.EndS < l.seconds-0.1
	// Of a length that the speed does not explain, one end is wrong: it is not known
	// which.
	if a.hasStart && a.hasEnd && l.ratio > 0 {
		if off := math.Abs((a.end - a.start) - (a.to-a.from)/l.ratio); off > 0.15+chainDrift*(a.to-a.from) {
			a.hasStart, a.hasEnd = false, false
		}
	}
	return a
}

// offset is where the capture's time of the programme's beginning would be, by the
// anchor's own edges.
func (l *locator) offset(a anchor) (s float64, ok bool) {
	switch {
	case a.hasStart && a.hasEnd:
		return (a.start + a.end - (a.from+a.to)/l.ratio) / 2, true
	case a.hasStart:
		return a.start - a.from/l.ratio, true
	case a.hasEnd:
		return a.end - a.to/l.ratio, true
	}
	return 0, false
}

// chain keeps the anchors that agree with each other as one recording that runs
// through: of all ascending chains whose neighbours agree, the one with most seconds.
func (l *locator) chain() (kept []anchor) {
	type link struct {
		weight float64
		before int
	}
	links := make([]link, len(l.heard))
	best := -1
	for i, a := range l.heard {
		x, ok := l.offset(a)
		if !ok {
			continue
		}
		links[i] = link{a.to - a.from, -1}
		for j, b := range l.heard[:i] {
			y, ok := l.offset(b)
			if ok && math.Abs(x-y) <= chainSlack+chainDrift*(a.from-b.from) && links[j].weight+a.to-a.from > links[i].weight {
				links[i] = link{links[j].weight + a.to - a.from, j}
			}
		}
		if best < 0 || links[i].weight > links[best].weight {
			best = i
		}
	}
	for i := best; i >= 0; i = links[i].before {
		kept = append(kept, l.heard[i])
	}
	slices.Reverse(kept)
	return kept
}

// solve fills knots; false when too little was heard.
func (l *locator) solve() bool {
	kept := l.chain()
	if len(kept) == 0 {
		return false
	}
	for _, a := range l.heard {
		if !slices.Contains(kept, a) {
			l.warn("the tone of %q at %.1f s does not lie where the other parts put it: it was taken for something else, or the recording was interrupted", l.p.Parts[a.part].Name, a.start)
		}
	}
	l.heard = kept
	for _, a := range kept {
		if a.hasStart {
			l.join(knot{a.from, a.start})
		}
		if a.hasEnd {
			l.join(knot{a.to, a.end})
		}
	}
	l.straighten()
	return l.enough()
}

// join adds a knot, or makes one of two edges at the same place.
func (l *locator) join(k knot) {
	if n := len(l.knots); n > 0 && k.at-l.knots[n-1].at < 1e-6 {
		l.knots[n-1].t = (l.knots[n-1].t + k.t) / 2
		return
	}
	l.knots = append(l.knots, k)
}

// straighten takes out edges that stand off the line of those around by more than
// speed can move within that time: a drop-out at the edge, a crossing of levels. The
// line is that of Theil and Sen: the median of all slopes, which a few bad edges do not
// move.
func (l *locator) straighten() {
	const most, near = 0.06, 90.0 // s
	for {
		worst, at := most, -1
		for i, k := range l.knots {
			var around []knot
			for j, o := range l.knots {
				if j != i && math.Abs(o.at-k.at) < near {
					around = append(around, knot{o.at - k.at, o.t - o.at/l.ratio})
				}
			}
			if len(around) < 3 {
				continue
			}
			if off := math.Abs(k.t - k.at/l.ratio - middle(around)); off > worst {
				worst, at = off, i
			}
		}
		if at < 0 {
			return
		}
		l.knots = slices.Delete(l.knots, at, at+1)
	}
}

// middle is where the line through knots passes 0. Slopes beyond what speed can drift
// are cut.
func middle(k []knot) float64 {
	var slopes, at []float64
	for i, a := range k {
		for _, b := range k[:i] {
			if math.Abs(a.at-b.at) > 5 {
				slopes = append(slopes, (a.t-b.t)/(a.at-b.at))
			}
		}
	}
	slope := 0.0
	if len(slopes) > 0 {
		slope = max(-chainDrift, min(chainDrift, median(slopes)))
	}
	for _, a := range k {
		at = append(at, a.t-slope*a.at)
	}
	return median(at)
}

// median sorts its argument.
func median(list []float64) float64 {
	slices.Sort(list)
	n := len(list)
	return (list[(n-1)/2] + list[n/2]) / 2
}

// enough reports whether what was heard can be nothing but the programme: two tones or
// a long one, and most of what lies between the outermost.
func (l *locator) enough() bool {
	if len(l.knots) == 0 {
		return false
	}
	_, index := l.p.anchors()
	lowest, highest := l.heard[0].part, l.heard[len(l.heard)-1].part
	got, all, whole := 0.0, 0.0, false
	for _, i := range index {
		from, to := l.span(i)
		if i < lowest || i > highest || to-from < leastPart {
			continue
		}
		all += to - from
		if slices.ContainsFunc(l.heard, func(a anchor) bool { return a.part == i }) {
			got += to - from
			whole = whole || to-from >= aloneSeconds
		}
	}
	return (len(l.heard) > 1 || whole) && got >= leastShare*all
}

// when is the time in the capture of a time in the programme.
func (l *locator) when(at float64) float64 {
	k := l.knots
	n := len(k)
	switch {
	case at <= k[0].at:
		return k[0].t + (at-k[0].at)*l.slope(k[0].at, k[0].at+farSeconds)
	case at >= k[n-1].at:
		return k[n-1].t + (at-k[n-1].at)*l.slope(k[n-1].at-farSeconds, k[n-1].at)
	}
	i, _ := slices.BinarySearchFunc(k, at, func(k knot, at float64) int {
		if k.at < at {
			return -1
		}
		return 1
	})
	a, b := k[i-1], k[i]
	return a.t + (at-a.at)/(b.at-a.at)*(b.t-a.t)
}

// slope is capture time over programme time by the knots of a stretch, or by the
// tones' frequencies where the knots span too little.
func (l *locator) slope(from, to float64) float64 {
	var n, sx, sy, sxx, sxy float64
	low, high := math.Inf(1), math.Inf(-1)
	for _, k := range l.knots {
		if k.at < from-1e-6 || k.at > to+1e-6 {
			continue
		}
		n, sx, sy, sxx, sxy = n+1, sx+k.at, sy+k.t, sxx+k.at*k.at, sxy+k.at*k.t
		low, high = min(low, k.at), max(high, k.at)
	}
	byTone := 1 / l.ratio
	if n < 3 || high-low < farSeconds/3 {
		return byTone
	}
	v := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	if math.Abs(v/byTone-1) > chainDrift {
		return byTone
	}
	return v
}

func (l *locator) warn(format string, args ...any) {
	l.warnings = append(l.warnings, fmt.Sprintf(format, args...))
}
