package tape

import (
	"math"
	"math/cmplx"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"

	"headstack/unit"
)

// GapNull is the ratio of gap to wavelength at the first null of the ideal head
// (solved from its exact function; λ = 1.13699 gaps).
const GapNull = 0.87951

// EffectiveGapFactor multiplies the mechanical gap in the usual sinc form.
// Source: J. M. Eargle, Electroacoustical Reference Data, 1994, chapter 167.
const EffectiveGapFactor = 1.11

// GapLoss returns the loss of an ideal replay head with the mechanical gap g at
// wavelength lambda, as a positive attenuation. It is
//
//	L = -20·log10|S(2π/λ)|,  S = [GapResponse]
//
// and grows without bound towards the first null at g/λ = [GapNull]. Beyond the
// null, where an ideal head answers again in opposite phase, the loss is that of
// the same formula but describes no real head well. It is NaN unless λ > 0 and
// g ≥ 0, both finite, and for g/λ above 20.
func GapLoss(g, lambda unit.Metre) unit.Decibel {
	return -amplitudeDB(math.Abs(GapResponse(g, lambda)))
}

// GapResponse returns the signed amplitude response of an ideal replay head with
// the mechanical gap g at wavelength lambda, 1 at long wavelengths and negative
// between the first null and the second:
//
//	S(k) = ∫ Hx(x)·cos(kx) dx over the gap, on the pole-face plane
//
// Hx is the surface field of two infinitely permeable quarter-space poles with a
// gap infinitely deep, driven so that S(0) = 1. The field follows from the
// conformal map
//
//	z/g = 1/2 + (i/π)(s - artanh s),  s = √(1-w²),  Hx - iHy = 1/(g·s)
//
// in which H dz = (i/π) dw/w. Since Hx·cos(kx) is the real part of the analytic
// H·cos(kz), the path from corner to corner may follow the unit semicircle in w:
//
//	S(k) = (1/π) ∫₀^π Re cos(k·z(e^iθ)) dθ
//
// It is NaN unless λ > 0 and g ≥ 0, both finite, and for g/λ above 20.
// Source of the model: W. K. Westmijze, 1953 (problem); solution here.
func GapResponse(g, lambda unit.Metre) float64 {
	if !positive(float64(lambda)) || !notNegative(float64(g)) {
		return math.NaN()
	}
	ratio := float64(g) / float64(lambda)
	if ratio > 20 { // the quadrature below is no longer exact to 1e-9
		return math.NaN()
	}
	var sum float64
	for _, n := range gapNodes() {
		sum += n.weight * real(cmplx.Cos(complex(2*math.Pi*ratio, 0)*n.z))
	}
	return sum
}

// gapNode is one point of the path through the gap: z in gaps, and its share of
// the integral.
type gapNode struct {
	z      complex128
	weight float64
}

// gapNodes returns the quadrature of GapResponse. Only half the semicircle is
// walked, the other half being its mirror image. Near the corner of the pole z
// runs as θ^(3/2); θ = u² makes the integrand analytic, so that Gauss-Legendre
// converges geometrically.
var gapNodes = sync.OnceValue(func() []gapNode {
	const n = 64
	u, weight := make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(u, weight, 0, math.Sqrt(math.Pi/2))
	nodes := make([]gapNode, n)
	for i := range nodes {
		w := cmplx.Exp(complex(0, u[i]*u[i]))
		s := cmplx.Sqrt(1 - w*w)
		artanh := cmplx.Log((1 + s) / w)
		nodes[i] = gapNode{
			z:      0.5 + complex(0, 1/math.Pi)*(s-artanh),
			weight: weight[i] * 2 * u[i] * 2 / math.Pi,
		}
	}
	return nodes
})

// SincGapLoss returns the gap loss in the usual form with an effective gap of
// [EffectiveGapFactor] mechanical gaps g, as a positive attenuation:
//
//	L = -20·log10|sin x / x|,  x = π·1.11·g/λ
//
// It follows the ideal head within 0.02 dB up to g/λ = 0.5 and falls short of it
// nearer the null. It is NaN unless λ > 0 and g ≥ 0, both finite.
func SincGapLoss(g, lambda unit.Metre) unit.Decibel {
	if !positive(float64(lambda)) || !notNegative(float64(g)) {
		return nanDB()
	}
	return sincLoss(math.Pi * EffectiveGapFactor * float64(g) / float64(lambda))
}

// sincLoss is -20·log10|sin x / x|, 0 at x = 0.
func sincLoss(x float64) unit.Decibel {
	if x == 0 {
		return 0
	}
	return -amplitudeDB(math.Abs(math.Sin(x) / x))
}
