package measure

import (
	"fmt"
	"math"
	"slices"

	"headstack/dsp"
)

// arcminPerRadian turns radians into arcminutes.
const arcminPerRadian = 180 * 60 / math.Pi

// phaseFloor is the phase in radians below which two tones are weighed alike however
// quiet they are: channels differ by about half a degree. It sets weights only, not
// intervals, and makes the highest tones count. Common practice, no source.
const phaseFloor = 0.5 * math.Pi / 180

// disagreement is the chance below which tones that differ are said to disagree.
const disagreement = 0.01

// azimuths gives the azimuth of each pair and the one line through all tracks.
func (s *session) azimuths(pairs []*pair) []Result {
	var out []Result
	var lengths []pairLength
	for _, p := range pairs {
		r := Result{Name: "azimuth", Track: p.a, TrackB: p.b, Unit: "arcmin", Conditions: s.conditions(p.take, 0)}
		r.Reference = fmt.Sprintf("0: both gaps on one line across the tape; positive: track %d is later", p.b)
		d := s.distance(p.a, p.b)
		if d == 0 {
			out = append(out, r.refuse("the places of both tracks on the head are not known"))
			continue
		}
		l, tones, agree, why := s.length(p)
		if why != "" {
			out = append(out, r.refuse(why))
			continue
		}
		lengths = append(lengths, pairLength{p.a, p.b, l})
		r.set(angle(l, d))
		r.Method = fmt.Sprintf("delay × actual speed over %.3f mm between the track centres, %s, weighted by frequency squared", math.Abs(d)*1e3, count(tones, "tone"))
		r.Warnings = append(r.Warnings, p.warn...)
		if !agree {
			r.Warnings = append(r.Warnings, "the tones disagree beyond their intervals: interval widened to their scatter")
		}
		for _, pt := range p.tones {
			for _, w := range pt.warn {
				if pt.decided && !slices.Contains(r.Warnings, w) {
					r.Warnings = append(r.Warnings, w)
				}
			}
		}
		out = append(out, r)
	}
	return append(out, s.azimuthLine(lengths))
}

// pairLength is how far track b's gap stands behind track a's along the tape, m.
type pairLength struct {
	a, b   int
	length dsp.Estimate
}

// count writes "1 tone", "3 tones".
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// angle of a length along the tape over a distance across it, in arcminutes.
func angle(l dsp.Estimate, d float64) dsp.Estimate {
	t := l.Value / d
	k := arcminPerRadian / math.Abs(d) / (1 + t*t)
	return dsp.Estimate{Value: arcminPerRadian * math.Atan(t), SE: l.SE * k, Dof: l.Dof}
}

// length combines a pair's tones: the phase of each times its wavelength on the tape
// is delay × actual speed, without the speed's own error.
func (s *session) length(p *pair) (l dsp.Estimate, tones int, agree bool, why string) {
	var es []dsp.Estimate
	var ws []float64
	for _, pt := range p.tones {
		if !pt.used || !pt.decided {
			if why == "" {
				why = pt.why
			}
			continue
		}
		k := s.opt.Tape.SpeedCmS / 100 / pt.toneHz / (2 * math.Pi)
		e := dsp.Estimate{Value: pt.phase.Value * k, SE: pt.phase.SE * k, Dof: pt.phase.Dof}
		// What goes with the speed was read at the measured speed, with its error.
		sp := dsp.Estimate{SE: e.Value * pt.follow * pt.freq.SE / pt.freq.Value, Dof: pt.freq.Dof}
		e = combine([]float64{1, 1}, e, sp)
		es = append(es, e)
		ws = append(ws, 1/(e.SE*e.SE+k*k*phaseFloor*phaseFloor))
	}
	if len(es) == 0 {
		if why == "" {
			why = "no tone was found on both tracks"
		}
		return l, 0, false, why
	}
	l, agree = weighted(es, ws)
	return l, len(es), agree, ""
}

// weighted is a mean with given weights. Its error is that of the parts when they
// agree, else their weighted scatter.
func weighted(es []dsp.Estimate, ws []float64) (e dsp.Estimate, agree bool) {
	total := 0.0
	for _, w := range ws {
		total += w
	}
	rel := make([]float64, len(ws))
	for i, w := range ws {
		rel[i] = w / total
	}
	e = combine(rel, es...)
	if len(es) == 1 {
		return e, true
	}
	q, scatter := 0.0, 0.0
	for i, x := range es {
		d := x.Value - e.Value
		q += d * d / (x.SE*x.SE + 1e-30*e.Value*e.Value + 1e-300)
		scatter += rel[i] * d * d
	}
	k := float64(len(es) - 1)
	if dsp.ChiSquaredTail(k, q) >= disagreement {
		return e, true
	}
	// The widest of the two keeps a lucky scatter of two tones from narrowing.
	if se := math.Sqrt(scatter / k); se > e.SE {
		e.SE, e.Dof = se, k
	}
	return e, false
}

// azimuthLine fits one straight line to the gaps of all tracks.
func (s *session) azimuthLine(ls []pairLength) Result {
	r := Result{Name: "azimuth_line", Unit: "arcmin", Conditions: s.conditions(nil, 0)}
	r.Reference = "0: the line through all gaps is square to the tape; positive: higher-numbered tracks are later"
	if len(s.takes) == 1 {
		r.Conditions.Capture = s.takes[0].name
	}
	if len(ls) == 0 {
		return r.refuse("no pair of tracks has an azimuth")
	}
	tracks, place := trackOffsets(ls)
	xs := make([]float64, len(tracks))
	for i, t := range tracks {
		xs[i] = float64(s.opt.Geometry.Tracks[t-1].Centre)
	}
	if len(tracks) == 2 {
		r.set(angle(ls[0].length, xs[1]-xs[0]))
		r.Method = "the one pair there is"
		return r
	}
	slope, worst, resid := straight(xs, place)
	r.set(angle(slope, 1))
	r.Method = fmt.Sprintf("least squares over the gaps of %d tracks from all pairs; interval from their scatter about the line; largest deviation: track %d, %+.2f µm", len(tracks), tracks[worst], resid*1e6)
	return r
}

// trackOffsets solves for each track's place along the tape from the pairs, by least
// squares with the first track at 0. Pairs of one capture agree exactly; those of
// several need not.
func trackOffsets(ls []pairLength) (tracks []int, place []float64) {
	for _, l := range ls {
		for _, t := range []int{l.a, l.b} {
			if !slices.Contains(tracks, t) {
				tracks = append(tracks, t)
			}
		}
	}
	slices.Sort(tracks)
	place = make([]float64, len(tracks))
	at := func(t int) int { return slices.Index(tracks, t) }
	// Gauss and Seidel converge fast on the few, well-connected tracks of a head.
	for range 2000 {
		change := 0.0
		for i := range tracks {
			sum, n := 0.0, 0.0
			for _, l := range ls {
				switch i {
				case at(l.a):
					sum += place[at(l.b)] - l.length.Value
					n++
				case at(l.b):
					sum += place[at(l.a)] + l.length.Value
					n++
				}
			}
			if n > 0 {
				change = math.Max(change, math.Abs(sum/n-place[i]))
				place[i] = sum / n
			}
		}
		if change < 1e-16 {
			break
		}
	}
	return tracks, place
}

// straight fits y on x with the scatter as error and gives the largest residual.
func straight(x, y []float64) (slope dsp.Estimate, worst int, resid float64) {
	n := float64(len(x))
	mx, my := 0.0, 0.0
	for i := range x {
		mx += x[i] / n
		my += y[i] / n
	}
	sxx, sxy := 0.0, 0.0
	for i := range x {
		sxx += (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (y[i] - my)
	}
	slope.Value = sxy / sxx
	sse := 0.0
	for i := range x {
		e := y[i] - my - slope.Value*(x[i]-mx)
		sse += e * e
		if math.Abs(e) > math.Abs(resid) {
			worst, resid = i, e
		}
	}
	slope.SE, slope.Dof = math.Sqrt(sse/(n-2)/sxx), n-2
	return slope, worst, resid
}
