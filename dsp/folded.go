package dsp

import "math"

// folded is a series of n values split about its middle m into its even and odd
// parts, each of (n+1)/2 values, outwards from the middle:
//
//	even = (x[m+τ] + x[m−τ])/√2,  odd = (x[m+τ] − x[m−τ])/√2
//
// with τ = ½, 1½ … if n is even and 0, 1 … if it is odd, when even begins with
// x[m] itself and odd with 0. The split only turns the axes, so inner products
// are kept: x·y = even·even + odd·odd. What is symmetric about the middle, such as
// the cosines and sines of a fit, has one part only, and costs a quarter of the
// products. A nil part is zero throughout.
type folded struct{ even, odd []float64 }

// fold splits x.
func fold(x []float64) folded {
	n := len(x)
	h, first := (n+1)/2, n%2
	f := folded{make([]float64, h), make([]float64, h)}
	if first == 1 {
		f.even[0] = x[n/2]
	}
	odd := false
	for j := first; j < h; j++ {
		a, b := x[n/2+j], x[n-1-n/2-j]
		f.even[j], f.odd[j] = (a+b)*(math.Sqrt2/2), (a-b)*(math.Sqrt2/2)
		odd = odd || a != b
	}
	if !odd {
		f.odd = nil
	}
	return f
}

// unfold writes the series, which has both parts, into x.
func (f folded) unfold(x []float64) {
	n := len(x)
	if n%2 == 1 {
		x[n/2] = f.even[0]
	}
	for j := n % 2; j < len(f.even); j++ {
		a, b := f.even[j], f.odd[j]
		x[n/2+j], x[n-1-n/2-j] = (a+b)*(math.Sqrt2/2), (a-b)*(math.Sqrt2/2)
	}
}

// part returns the even (0) or odd (1) part.
func (f folded) part(parity int) []float64 {
	if parity == 0 {
		return f.even
	}
	return f.odd
}

// dot returns the inner product of two series.
func (f folded) dot(g folded) float64 { return dotPart(f.even, g.even) + dotPart(f.odd, g.odd) }

func dotPart(a, b []float64) float64 {
	if a == nil || b == nil {
		return 0
	}
	return dot(a, b)
}

// columns are the columns of a fit, folded; even[i] and odd[i] belong to column i.
type columns struct{ even, odd [][]float64 }

func (c *columns) add(even, odd []float64) {
	c.even, c.odd = append(c.even, even), append(c.odd, odd)
}

func (c *columns) len() int { return len(c.even) }

// part returns the even (0) or odd (1) parts.
func (c *columns) part(parity int) [][]float64 {
	if parity == 0 {
		return c.even
	}
	return c.odd
}

// times returns the inner products of all columns with x.
func (c *columns) times(x folded) []float64 {
	out := make([]float64, c.len())
	timesPart(out, c.even, x.even)
	timesPart(out, c.odd, x.odd)
	return out
}

// timesPart adds the inner products of x with those parts that are not nil.
func timesPart(out []float64, parts [][]float64, x []float64) {
	if x == nil {
		return
	}
	before := -1 // a column that waits for a second, two at a time cost less
	for i, p := range parts {
		if p == nil {
			continue
		}
		if before < 0 {
			before = i
			continue
		}
		a, b := dot2(x, parts[before], p)
		out[before] += a
		out[i] += b
		before = -1
	}
	if before >= 0 {
		out[before] += dot(x, parts[before])
	}
}

// combine adds the columns, each times its factor, to x, which has both parts.
func (c *columns) combine(factor []float64, x folded) {
	for i, k := range factor {
		if c.even[i] != nil {
			axpy(k, c.even[i], x.even)
		}
		if c.odd[i] != nil {
			axpy(k, c.odd[i], x.odd)
		}
	}
}
