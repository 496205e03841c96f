package diagnosis

import (
	"math"
	"slices"
)

// Repeats in one probe setting share whatever is wrong with it: the pin, the track,
// the range. The setting has one value; each repeat adds the noise of the display
// about it. Their mean says all they can say of that value, so three readings that
// agree in one setting are worth hardly more than one, and a fresh setting is worth
// another observation.

// Standard deviation of a repeat about the value of its setting, in dB (common
// practice, no source). A single reading's scale holds it already.
const (
	acRepeatDB = 0.1
	dcRepeatDB = 0.02
	// strayRepeat times the noise apart, two repeats do not show the same value: one
	// display was caught while the meter was still ranging or settling.
	strayRepeat = 6
)

// settle finds the value that the repeats of one setting agree on. Repeats that lie
// more than strayRepeat times the noise from the next fall into separate clusters; the
// one with the most repeats is taken and the rest are left out, which is what weighing
// every choice of displays caught at a wrong moment comes to, since each such display
// more costs a factor of over 1000. Clusters of equal size are equally likely:
// others are their means. n is the size of the cluster taken, stray how many were
// left out. Repeats must not be empty.
func settle(repeats []float64, noise float64) (y float64, others []float64, n, stray int) {
	sorted := slices.Sorted(slices.Values(repeats))
	for from, i := 0, 1; i <= len(sorted); i++ {
		if i < len(sorted) && sorted[i]-sorted[i-1] <= strayRepeat*noise {
			continue
		}
		size := i - from
		mean := sumOf(sorted[from:i]) / float64(size)
		switch {
		case size > n:
			y, others, n = mean, nil, size
		case size == n:
			others = append(others, mean)
		}
		from = i
	}
	return y, others, n, len(sorted) - n
}

// smeared is Student's density with normal noise added:
//
//	∫ student(x − u) · gauss(u) du
//
// by Gauss-Hermite quadrature. The integrand's nearest poles lie √ν·scale off the
// real line, so few nodes do while the noise is small beside the scale: relative
// errors below 1e-9 up to a noise of a quarter of the scale with 12 nodes, and 1e-8 up
// to half of it with 40. Beyond that it is only as good as the spreads are known.
func smeared(x, scale, nu, noise float64) float64 {
	q := &hermite12
	if noise > scale/4 {
		q = &hermite40
	}
	sum := 0.0
	for i, u := range q.x {
		sum += q.w[i] * (student(x-noise*u, scale, nu) + student(x+noise*u, scale, nu))
	}
	return sum
}

// hermite is a quadrature for the standard normal density with an even number of
// nodes: those above 0, with their weights.
type hermite struct{ x, w []float64 }

var hermite12, hermite40 = newHermite(12), newHermite(40)

// newHermite finds the nodes of n-point Gauss-Hermite quadrature as the roots of the
// orthonormal Hermite polynomial, by bisection between sign changes; n is even.
// Weights: 1 / Σ h_k(x)², k < n. Source: G. H. Golub, J. H. Welsch, Math. Comp. 23,
// 1969.
func newHermite(n int) hermite {
	values := func(x float64) (last, squares float64) {
		a, b := 0.0, 1.0 // h(k-1), h(k)
		for k := range n {
			squares += b * b
			a, b = b, (x*b-math.Sqrt(float64(k))*a)/math.Sqrt(float64(k+1))
		}
		return b, squares
	}
	var out hermite
	const step = 0.01
	for x := 0.0; len(out.x) < n/2; x += step {
		lo, hi := x, x+step
		low, _ := values(lo)
		high, _ := values(hi)
		if low*high > 0 {
			continue
		}
		for range 60 {
			mid := (lo + hi) / 2
			if m, _ := values(mid); m*low > 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		_, squares := values(lo)
		out.x = append(out.x, lo)
		out.w = append(out.w, 1/squares)
	}
	return out
}
