package dsp

import (
	"math"
	"slices"
)

// TwoSigma returns the level that |x| exceeds 5 % of the time, the reading of
// the two-sigma method for wow and flutter when x is the weighted deviation
// from the mean speed:
//
//	the least of the values |x[i]| that at most 5 % of all |x| exceed
//
// It is one of the values of |x|, with no interpolation: of n values in rising
// order the one numbered ⌈0.95·n⌉. Normal deviations give 1.960 standard
// deviations, a sine sin(0.95·π/2) = 0.9969 of its peak. It is NaN for no values
// or when one is NaN. x is left as it is; n numbers are allocated.
//
// Source: AES6-2008, two-sigma statistical meter; the share of 5 % from memory.
// The standard asks for at least 5 s of signal.
func TwoSigma(x []float64) float64 {
	a := make([]float64, len(x))
	for i, v := range x {
		if math.IsNaN(v) {
			return v
		}
		a[i] = math.Abs(v)
	}
	n := len(a)
	if n == 0 {
		return math.NaN()
	}
	return Select(a, (95*n+99)/100-1) // in integers: 0.95·n is not exact
}

// Select returns the value that would be at index k if a were in rising order, and
// reorders a so that no value before k is above it and none behind it below. It panics
// unless 0 ≤ k < len(a); NaN has no place in an order and leaves the result open.
//
// Selection by C. A. R. Hoare, Comm. ACM 4(7), 1961, algorithm 65.
func Select(a []float64, k int) float64 {
	for len(a) > 16 {
		m := len(a) - 1
		pivot := median3(a[0], a[m/2], a[m])
		i, j := 0, m
		for i <= j {
			for a[i] < pivot {
				i++
			}
			for a[j] > pivot {
				j--
			}
			if i <= j {
				a[i], a[j] = a[j], a[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			a = a[:j+1]
		case k >= i:
			a, k = a[i:], k-i
		default:
			return pivot // between the two parts all are equal to it
		}
	}
	slices.Sort(a)
	return a[k]
}

func median3(a, b, c float64) float64 {
	return math.Max(math.Min(a, b), math.Min(math.Max(a, b), c))
}
