package measure

import (
	"fmt"
	"math"
	"slices"
)

const (
	molRatio    = 0.03 // third harmonic at the maximum output level
	solLowestHz = 5000 // steps of higher tones saturate by erasing themselves
)

// mols gives the maximum output level of every run of steps of a low tone.
func (s *session) mols() []Result {
	var out []Result
	for _, run := range s.stepRuns() {
		if run.hz <= distortionTopHz {
			out = append(out, s.mol(run))
		}
	}
	return out
}

func (s *session) mol(run stepRun) Result {
	r := s.stepResult("mol_3pct", run)
	if run.ref == nil {
		return r.refuse("no reference: the reference section was not measured on this track")
	}
	pts := slices.DeleteFunc(slices.Clone(run.points), func(p stepPoint) bool { return !p.hasThird || !p.third.seen() })
	if why := run.molRefusal(pts); why != "" {
		return r.refuse(why)
	}
	inputs, recorded := run.molInputs(pts)
	var weights []float64
	for _, in := range inputs[:len(pts)] {
		w := math.Max(1e-9, in.hi-in.lo)
		weights = append(weights, 1/(w*w))
	}
	output, ok := propagate(inputs, func(v []float64) (float64, float64) {
		_, out, other := molOf(recorded, weights, v)
		return out, out - other
	})
	input, ok2 := propagate(inputs, func(v []float64) (float64, float64) {
		in, _, _ := molOf(recorded, weights, v)
		return in, 0
	})
	if !ok || !ok2 {
		return r.refuse("the steps' third harmonics do not rise steadily enough to say where they reach 3 %")
	}
	output = output.plus(run.reference())
	r.Value, r.Lo, r.Hi = output.value, output.lo, output.hi
	r.Method = fmt.Sprintf("replayed level of the fundamental where the third harmonic is 3 %% of it, recorded at %+.2f dB (95 %%: %+.2f to %+.2f dB) re the programme's 0 dB; monotone cubic through %d steps, logarithm of the harmonic against recorded level",
		input.value, input.lo, input.hi, len(pts))
	return r
}

// molRefusal tells why the points do not enclose 3 %.
func (run stepRun) molRefusal(pts []stepPoint) string {
	if len(run.points) == 0 {
		return "no level step was measured on this track"
	}
	top := run.points[len(run.points)-1]
	low := func() string {
		return fmt.Sprintf("3 %% not reached up to %+g dB: at least %.1f dB", top.recordedDB, run.output(top).value)
	}
	switch {
	case len(pts) == 0:
		return low()
	case pts[0].third.value >= molRatio && pts[0].recordedDB == run.points[0].recordedDB:
		return fmt.Sprintf("the lowest step of %+g dB already has %.1f %%: under %.1f dB", pts[0].recordedDB, 100*pts[0].third.value, run.output(pts[0]).value)
	case !slices.ContainsFunc(pts, func(p stepPoint) bool { return p.third.value >= molRatio }):
		return low()
	case len(pts) < 2 || pts[0].third.value >= molRatio:
		return "too few steps have a third harmonic above the noise below 3 %"
	}
	return ""
}

// molInputs are the logarithms of the third harmonics, then the outputs.
func (run stepRun) molInputs(pts []stepPoint) (inputs []bounded, recorded []float64) {
	for _, p := range pts {
		recorded = append(recorded, p.recordedDB)
		inputs = append(inputs, bounded{math.Log(p.third.value), math.Log(p.third.lo), math.Log(p.third.hi)})
	}
	for _, p := range pts {
		inputs = append(inputs, run.output(p))
	}
	return inputs, recorded
}

// molOf is the recorded level at which the third harmonic reaches 3 % and the output
// there, and that output by polynomials through the four nearest steps instead. v are
// the inputs of molInputs; weights are for making the harmonics monotone.
func molOf(recorded, weights, v []float64) (in, out, other float64) {
	n := len(recorded)
	third, output := isotonic(v[:n], weights), v[n:]
	in = newCurve(recorded, third).reaches(math.Log(molRatio))
	out = newCurve(recorded, output).at(in)
	if math.IsNaN(in) {
		return in, in, in
	}
	k := nearestSteps(recorded, in, 4)
	x, y, z := recorded[k:min(n, k+4)], third[k:min(n, k+4)], output[k:min(n, k+4)]
	// The polynomial's own crossing, one step of the secant method from ours.
	const step = 1e-3
	f0 := polynomial(x, y, in) - math.Log(molRatio)
	slope := (polynomial(x, y, in+step) - f0 - math.Log(molRatio)) / step
	if !(slope > 0) {
		return in, out, out
	}
	return in, out, polynomial(x, z, in-f0/slope)
}

// nearestSteps is where the count neighbours begin among which x lies most in the middle.
func nearestSteps(xs []float64, x float64, count int) int {
	i, _ := slices.BinarySearch(xs, x)
	return max(0, min(i-count/2, len(xs)-count))
}

// sols gives the saturation output level of every run of steps of a high tone.
func (s *session) sols() []Result {
	var out []Result
	for _, run := range s.stepRuns() {
		if run.hz >= solLowestHz {
			out = append(out, s.sol(run))
		}
	}
	return out
}

func (s *session) sol(run stepRun) Result {
	r := s.stepResult("sol", run)
	if run.ref == nil {
		return r.refuse("no reference: the reference section was not measured on this track")
	}
	pts := run.points
	if len(pts) < 3 {
		return r.refuse(fmt.Sprintf("%d level steps of %s measured on this track, 3 needed", len(pts), kilohertz(run.hz)))
	}
	top := 0
	for i, p := range pts {
		if p.level.Value > pts[top].level.Value {
			top = i
		}
	}
	switch top {
	case len(pts) - 1:
		return r.refuse(fmt.Sprintf("output still rises at the last step of %+g dB: at least %.1f dB", pts[top].recordedDB, run.output(pts[top]).value))
	case 0:
		return r.refuse(fmt.Sprintf("output falls from the lowest step of %+g dB on: at least %.1f dB", pts[0].recordedDB, run.output(pts[0]).value))
	}
	pts = aroundTop(pts, top)
	var recorded []float64
	var inputs []bounded
	for _, p := range pts {
		recorded = append(recorded, p.recordedDB)
		inputs = append(inputs, run.output(p))
	}
	level, ok := propagate(inputs, func(v []float64) (float64, float64) {
		_, three := largest(recorded[:3], v[:3])
		_, all := largest(recorded, v)
		if len(v) == 3 { // nothing to compare with but another scale
			return three, three - parabolaTop(recorded, v)
		}
		return all, (all - three) / 2
	})
	if !ok {
		return r.refuse("the steps' outputs have no largest")
	}
	at, _ := largest(recorded, valuesOf(inputs))
	level = level.plus(run.reference())
	r.Value, r.Lo, r.Hi = level.value, level.lo, level.hi
	r.Method = fmt.Sprintf("largest replayed level of the steps of %s, recorded at about %+.1f dB re the programme's 0 dB; top of the curve whose gain is a polynomial of recorded amplitude through the %d steps about it",
		kilohertz(run.hz), at, len(pts))
	return r
}

// aroundTop returns the top point's neighbours and it, then, if there is one, the next
// point on the side of the higher neighbour.
func aroundTop(pts []stepPoint, top int) []stepPoint {
	out := []stepPoint{pts[top-1], pts[top], pts[top+1]}
	below, above := top-2 >= 0, top+2 < len(pts)
	higherBelow := pts[top-1].level.Value > pts[top+1].level.Value
	switch {
	case below && (higherBelow || !above):
		out = append(out, pts[top-2])
	case above:
		out = append(out, pts[top+2])
	}
	return out
}

// largest is where between the first three points the output is largest, and how
// large, dB. The gain, output over input, falls smoothly with the amplitude recorded;
// for a bend of third order it is a parabola.
func largest(recorded, output []float64) (at, level float64) {
	x, gain := make([]float64, len(recorded)), make([]float64, len(recorded))
	for i := range x {
		x[i] = math.Pow(10, (recorded[i]-recorded[1])/20)
		gain[i] = math.Pow(10, (output[i]-recorded[i])/20)
	}
	size := func(amp float64) float64 { return amp * polynomial(x, gain, amp) }
	lo, hi := x[0], x[2]
	for range 100 {
		a, b := lo+(hi-lo)/3, hi-(hi-lo)/3
		if size(a) < size(b) {
			lo = a
		} else {
			hi = b
		}
	}
	amp := (lo + hi) / 2
	return recorded[1] + 20*math.Log10(amp), recorded[1] + 20*math.Log10(size(amp))
}

// parabolaTop is the top of the parabola through three points in dB against dB.
func parabolaTop(x, y []float64) float64 {
	f := func(at float64) float64 { return polynomial(x, y, at) }
	d := x[1] - x[0]
	slope, bend := (f(x[1]+d)-f(x[1]-d))/(2*d), (f(x[1]+d)-2*f(x[1])+f(x[1]-d))/(d*d)
	if !(bend < 0) {
		return y[1]
	}
	return y[1] - slope*slope/(2*bend)
}

func valuesOf(bs []bounded) []float64 {
	var v []float64
	for _, b := range bs {
		v = append(v, b.value)
	}
	return v
}
