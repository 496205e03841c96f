package lineup

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"headstack/measure"
)

// Heard is one pass over two paths: one track on each, left and right of a stereo bus or
// any two inputs.
type Heard struct {
	Left  int `json:"left"`  // track
	Right int `json:"right"` // track
	// LeftDB and RightDB are the levels of one tone, DelayUs how much later the right
	// track is heard. A refused one is left out.
	LeftDB  measure.Result `json:"left_db"`
	RightDB measure.Result `json:"right_db"`
	DelayUs measure.Result `json:"delay_us"`
}

// BusFigures are levels and delays of all tracks from several passes.
type BusFigures struct {
	// Levels are by track, in the unit of the readings, as the left path gives them.
	Levels []measure.Result `json:"levels"`
	// Delays are of each track behind the reference track, in µs.
	Delays []measure.Result `json:"delays"`
	// PathDB is how much more the right path gives, PathUs how much later it is; refused
	// when no pass was made with sides exchanged.
	PathDB measure.Result `json:"path_db"`
	PathUs measure.Result `json:"path_us"`
}

// ErrHeard is the error of [Solve] for passes of which nothing can be made.
var ErrHeard = errors.New("passes do not join")

// Solve computes levels and delays of the tracks, and the error between the two paths,
// from passes by least squares, every reading weighted by its interval:
//
//	left = L_a,  right = L_b + g,  delay = T_b − T_a + d
//
// Delays refer to the track reference, or to the first one heard where it is 0. Where
// the passes cannot tell the path's error from the tracks', it is refused, taken as
// nothing, and each figure that bears it warns of it. Intervals are of the readings; where
// these disagree among each other more than their intervals allow, they are widened by
// the root of chi-squared per degree of freedom. The error is [ErrHeard]: no passes, or
// tracks that no chain of passes joins.
func Solve(heard []Heard, reference int) (*BusFigures, error) {
	tracks, err := joined(heard)
	if err != nil {
		return nil, err
	}
	if reference == 0 {
		reference = heard[0].Left
	}
	ref := slices.Index(tracks, reference)
	if ref < 0 {
		return nil, fmt.Errorf("%w: track %d was not heard", ErrHeard, reference)
	}
	out := &BusFigures{}
	out.levels(heard, tracks)
	out.delays(heard, tracks, ref)
	return out, nil
}

// joined lists the tracks heard, rising, and checks that passes join them all.
func joined(heard []Heard) ([]int, error) {
	if len(heard) == 0 {
		return nil, fmt.Errorf("%w: there are none", ErrHeard)
	}
	root := map[int]int{}
	find := func(t int) int {
		for root[t] != t {
			t = root[t]
		}
		return t
	}
	for _, h := range heard {
		for _, t := range []int{h.Left, h.Right} {
			if t < 1 {
				return nil, fmt.Errorf("%w: track %d", ErrHeard, t)
			}
			if _, ok := root[t]; !ok {
				root[t] = t
			}
		}
		if h.Left == h.Right {
			return nil, fmt.Errorf("%w: track %d on both sides", ErrHeard, h.Left)
		}
		root[find(h.Left)] = find(h.Right)
	}
	var tracks []int
	for t := range root {
		tracks = append(tracks, t)
	}
	slices.Sort(tracks)
	for _, t := range tracks {
		if find(t) != find(tracks[0]) {
			return nil, fmt.Errorf("%w: nothing compares track %d with track %d", ErrHeard, tracks[0], t)
		}
	}
	return tracks, nil
}

func (f *BusFigures) levels(heard []Heard, tracks []int) {
	n := len(tracks)
	var rows []equation
	unitName, section, tone := "dB", "", 0.0
	add := func(r measure.Result, track int, right bool) {
		if r.Refused != "" {
			return
		}
		unitName, section, tone = r.Unit, r.Section, r.ToneHz
		e := equation{at: map[int]float64{slices.Index(tracks, track): 1}, y: r.Value, se: halfOf(r) / 1.96}
		if right {
			e.at[n] = 1
		}
		rows = append(rows, e)
	}
	for _, h := range heard {
		add(h.LeftDB, h.Left, false)
		add(h.RightDB, h.Right, true)
	}
	s := solve(rows, n+1, n)
	for i, t := range tracks {
		r := measure.Result{Name: "level", Track: t, Unit: unitName, Section: section, ToneHz: tone, Reference: "as the left path gives it"}
		r.Method = s.method("levels")
		f.Levels = append(f.Levels, s.result(r, i))
	}
	f.PathDB = s.path(measure.Result{Name: "path_level", Unit: "dB", ToneHz: tone, Reference: "right path over left path"}, n)
}

func (f *BusFigures) delays(heard []Heard, tracks []int, ref int) {
	n := len(tracks)
	var rows []equation
	tone, section := 0.0, ""
	for _, h := range heard {
		if h.DelayUs.Refused != "" {
			continue
		}
		tone, section = h.DelayUs.ToneHz, h.DelayUs.Section
		e := equation{at: map[int]float64{n: 1}, y: h.DelayUs.Value, se: halfOf(h.DelayUs) / 1.96}
		if a := slices.Index(tracks, h.Left); a != ref {
			e.at[a] = -1
		}
		if b := slices.Index(tracks, h.Right); b != ref {
			e.at[b] = 1
		}
		rows = append(rows, e)
	}
	s := solve(rows, n+1, n)
	for i, t := range tracks {
		if i == ref {
			continue
		}
		r := measure.Result{Name: "delay", Track: tracks[ref], TrackB: t, Unit: "µs", Section: section, ToneHz: tone,
			Reference: fmt.Sprintf("track %d; positive: track %d is later", tracks[ref], t), Method: s.method("delays")}
		f.Delays = append(f.Delays, s.result(r, i))
	}
	f.PathUs = s.path(measure.Result{Name: "path_delay", Unit: "µs", ToneHz: tone, Reference: "right path behind left path"}, n)
}

// halfOf is the half width of a result's interval.
func halfOf(r measure.Result) float64 { return (r.Hi - r.Lo) / 2 }

// equation is one reading: the sum of coefficients times unknowns.
type equation struct {
	at map[int]float64
	y  float64
	se float64
}

// solution is what least squares makes of equations.
type solution struct {
	x     []float64
	cov   [][]float64
	known []bool
	// pathKnown says that the path's error came out; else it was left out.
	pathKnown bool
	widened   float64 // factor on the intervals
	rows      int
}

// leastSE keeps a reading without interval from weighing without bound.
const leastSE = 1e-6

// solve finds n unknowns; when path, the last of them, is not told apart, it is left out.
func solve(rows []equation, n, path int) solution {
	s := normal(rows, n, nil)
	if s.known[path] {
		s.pathKnown = true
		return s
	}
	return normal(rows, n, map[int]bool{path: true})
}

// normal solves the normal equations by Cholesky's method with those unknowns left out
// that the rows do not tell.
func normal(rows []equation, n int, without map[int]bool) solution {
	s := solution{x: make([]float64, n), known: make([]bool, n), widened: 1, rows: len(rows)}
	a := make([][]float64, n)
	b := make([]float64, n)
	for i := range a {
		a[i] = make([]float64, n)
	}
	for _, r := range rows {
		w := 1 / math.Pow(math.Max(r.se, leastSE), 2)
		for i, u := range r.at {
			if without[i] {
				continue
			}
			b[i] += w * u * r.y
			for j, v := range r.at {
				if !without[j] {
					a[i][j] += w * u * v
				}
			}
		}
	}
	inv, known := inverse(a)
	s.cov, s.known = inv, known
	free := len(rows)
	for i := range n {
		if !known[i] {
			continue
		}
		free--
		for j := range n {
			s.x[i] += inv[i][j] * b[j]
		}
	}
	chi := 0.0
	for _, r := range rows {
		e := r.y
		for i, u := range r.at {
			e -= u * s.x[i]
		}
		chi += e * e / math.Pow(math.Max(r.se, leastSE), 2)
	}
	if free > 0 {
		s.widened = math.Max(1, math.Sqrt(chi/float64(free)))
	}
	return s
}

// inverse of a symmetric matrix by pivoting on the diagonal; rows that the others make up
// are left out, with zeros, and not known.
func inverse(a [][]float64) (inv [][]float64, known []bool) {
	n := len(a)
	m := make([][]float64, n)
	inv = make([][]float64, n)
	known = make([]bool, n)
	scale := make([]float64, n)
	for i := range n {
		m[i] = slices.Clone(a[i])
		inv[i] = make([]float64, n)
		scale[i] = a[i][i]
	}
	// Sweep (Goodnight, The American Statistician 33, 1979) in the order of the
	// unknowns: the path comes last, so that it is what is left out.
	for k := range n {
		if scale[k] == 0 || m[k][k] < 1e-9*scale[k] {
			continue
		}
		known[k] = true
		p := m[k][k]
		for i := range n {
			for j := range n {
				if i != k && j != k {
					m[i][j] -= m[i][k] * m[k][j] / p
				}
			}
		}
		for i := range n {
			if i != k {
				m[i][k] /= p
				m[k][i] /= -p
			}
		}
		m[k][k] = 1 / p
	}
	for i := range n {
		for j := range n {
			if known[i] && known[j] {
				inv[i][j] = m[i][j]
				if i != j {
					inv[i][j] = (m[i][j] + m[j][i]) / 2
				}
			}
		}
	}
	return inv, known
}

func (s *solution) result(r measure.Result, i int) measure.Result {
	if !s.known[i] {
		r.Refused = "no pass tells it"
		return r
	}
	half := 1.96 * math.Sqrt(s.cov[i][i]) * s.widened
	r.Value, r.Lo, r.Hi = s.x[i], s.x[i]-half, s.x[i]+half
	if !s.pathKnown {
		r.Warnings = append(r.Warnings, "the error between the two paths is not taken off: no pass with sides exchanged tells it")
	}
	if s.widened > 1.5 {
		r.Warnings = append(r.Warnings, fmt.Sprintf("the passes disagree: interval widened %.1f times", s.widened))
	}
	return r
}

func (s *solution) path(r measure.Result, i int) measure.Result {
	if !s.pathKnown {
		r.Refused = "no pass with sides exchanged tells it"
		return r
	}
	r.Method = s.method("readings")
	return s.result(r, i)
}

func (s *solution) method(what string) string {
	return fmt.Sprintf("least squares over %d %s of all passes, weighted by their intervals", s.rows, what)
}
