package measure

import "math"

// isotonic returns the non-decreasing sequence nearest to y by weighted least squares,
// by pooling adjacent violators (Ayer et al., Ann. Math. Stat. 26, 1955).
func isotonic(y, weight []float64) []float64 {
	type block struct {
		mean, weight float64
		n            int
	}
	var blocks []block
	for i := range y {
		blocks = append(blocks, block{y[i], weight[i], 1})
		for k := len(blocks) - 1; k > 0 && blocks[k-1].mean > blocks[k].mean; k-- {
			a, b := blocks[k-1], blocks[k]
			w := a.weight + b.weight
			blocks[k-1] = block{(a.mean*a.weight + b.mean*b.weight) / w, w, a.n + b.n}
			blocks = blocks[:k]
		}
	}
	var out []float64
	for _, b := range blocks {
		for range b.n {
			out = append(out, b.mean)
		}
	}
	return out
}

// curve is a cubic through points that neither overshoots nor turns between them: the
// slope at a point is that of the parabola through it and its neighbours, limited to
// twice the lesser secant beside it and 0 at a turn. It is exact for parabolas that do
// not turn. Source: M. Steffen, Astron. Astrophys. 239, 1990, equations 6 to 11.
type curve struct{ x, y, slope []float64 }

// newCurve needs at least two points, x rising.
func newCurve(x, y []float64) curve {
	n := len(x)
	c := curve{x, y, make([]float64, n)}
	h := func(i int) float64 { return x[i+1] - x[i] }
	secant := func(i int) float64 { return (y[i+1] - y[i]) / h(i) }
	limit := func(slope float64, secants ...float64) float64 {
		least := math.Inf(1)
		for _, s := range secants {
			if s*secants[0] <= 0 {
				return 0
			}
			least = math.Min(least, math.Abs(s))
		}
		if slope*secants[0] <= 0 {
			return 0
		}
		return math.Copysign(math.Min(math.Abs(slope), 2*least), slope)
	}
	for i := range n {
		switch {
		case n == 2:
			c.slope[i] = secant(0)
		case i == 0:
			k := h(0) / (h(0) + h(1))
			c.slope[i] = limit(secant(0)*(1+k)-secant(1)*k, secant(0))
		case i == n-1:
			k := h(n-2) / (h(n-2) + h(n-3))
			c.slope[i] = limit(secant(n-2)*(1+k)-secant(n-3)*k, secant(n-2))
		default:
			a, b := secant(i-1), secant(i)
			c.slope[i] = limit((a*h(i)+b*h(i-1))/(h(i-1)+h(i)), a, b)
		}
	}
	return c
}

// at is the curve's value; beyond the ends it goes on straight.
func (c curve) at(x float64) float64 {
	last := len(c.x) - 1
	switch {
	case x <= c.x[0]:
		return c.y[0] + c.slope[0]*(x-c.x[0])
	case x >= c.x[last]:
		return c.y[last] + c.slope[last]*(x-c.x[last])
	}
	i := 0
	for c.x[i+1] < x {
		i++
	}
	h := c.x[i+1] - c.x[i]
	t := (x - c.x[i]) / h
	t2, t3 := t*t, t*t*t
	return (2*t3-3*t2+1)*c.y[i] + (t3-2*t2+t)*h*c.slope[i] + (3*t2-2*t3)*c.y[i+1] + (t3-t2)*h*c.slope[i+1]
}

// reaches is where a rising curve is y: between its points, or on the straight lines
// beyond its ends; NaN when those do not lead there.
func (c curve) reaches(y float64) float64 {
	last := len(c.x) - 1
	switch {
	case y < c.y[0]:
		return c.beyond(0, y)
	case y > c.y[last]:
		return c.beyond(last, y)
	}
	return bisect(func(x float64) float64 { return c.at(x) - y }, c.x[0], c.x[last])
}

func (c curve) beyond(i int, y float64) float64 {
	if !(c.slope[i] > 0) {
		return math.NaN()
	}
	return c.x[i] + (y-c.y[i])/c.slope[i]
}

// bisect is a zero of a function that is not above 0 at a nor below 0 at b.
func bisect(f func(float64) float64, a, b float64) float64 {
	for range 60 {
		if mid := (a + b) / 2; f(mid) < 0 {
			a = mid
		} else {
			b = mid
		}
	}
	return (a + b) / 2
}

// polynomial is the one through all points given (Lagrange).
func polynomial(x, y []float64, at float64) float64 {
	sum := 0.0
	for i := range x {
		term := y[i]
		for j := range x {
			if j != i {
				term *= (at - x[j]) / (x[i] - x[j])
			}
		}
		sum += term
	}
	return sum
}

// propagate carries the 95 % intervals of independent inputs through a function: each
// is moved to its limits in turn, and the moves of the result on either side are added
// in squares. second is a quantity that would be 0 without error of method, such as
// the difference of two ways of interpolating: what of it the inputs' errors do not
// explain widens the interval by twice as much.
func propagate(inputs []bounded, f func(values []float64) (result, second float64)) (bounded, bool) {
	values := make([]float64, len(inputs))
	for i, in := range inputs {
		values[i] = in.value
	}
	result, second := f(values)
	var down, up, explained float64
	for i, in := range inputs {
		var d, u float64
		for _, v := range []float64{in.lo, in.hi} {
			values[i] = v
			r, s := f(values)
			d, u = math.Min(d, r-result), math.Max(u, r-result)
			explained += (s - second) * (s - second) / 2
		}
		values[i] = in.value
		down += d * d
		up += u * u
	}
	// The inputs' moves are twice their standard errors.
	method := math.Max(0, 4*second*second-explained)
	b := bounded{result, result - math.Sqrt(down+method), result + math.Sqrt(up+method)}
	return b, !math.IsNaN(b.lo+b.hi) && !math.IsInf(b.lo, 0) && !math.IsInf(b.hi, 0)
}
