package measure

import (
	"math"

	"headstack/dsp"
)

// component is the complex ratio of a weak line to a strong tone, turned so that it
// lies along its own direction: along.Value is its modulus, across.Value 0. The noise
// in both directions is alike as long as the line is weak.
type component struct{ along, across dsp.Estimate }

// variance of the noise in one direction, and the degrees of freedom it rests on.
func (c component) noise() (variance, dof float64) {
	return (c.along.SE*c.along.SE + c.across.SE*c.across.SE) / 2, c.along.Dof + c.across.Dof
}

// bounded is a figure with its 95 % interval.
type bounded struct{ value, lo, hi float64 }

// seen tells that the interval of a figure that cannot be negative excludes 0.
func (b bounded) seen() bool { return b.lo > 0 }

// clearOfNoise is how many standard errors a modulus must have for Student's interval
// about it: nearer to 0 the modulus of noise is not normal.
const clearOfNoise = 8

// rootSumOfSquares returns the root of the sum of the squared moduli. Noise adds to
// each modulus on average and is taken off in power:
//
//	value² = Σ|ĉ|² − Σ2s²,  0 where that is negative
//
// with s² the variance in one direction. |ĉ|²/s² is noncentral chi-square with 2
// degrees of freedom; of a sum with unequal s² mean and variance are those of
// σ²·χ²(k, λ), σ² = Σs²|ĉ|²/Σ|ĉ|², k = Σ2s²/σ². The interval inverts its tails, for
// which Sankaran's power transformation is normal to 10⁻³ (Biometrika 50, 1963);
// the scores are widened as Student's t is wider than the normal, since s² is itself
// estimated. Far from 0 the
// interval is that of the sum of the moduli along their own directions.
func rootSumOfSquares(cs ...component) bounded {
	var total, noise, mixed, spread float64
	var weights []float64
	var along []dsp.Estimate
	for _, c := range cs {
		s2, dof := c.noise()
		p := c.along.Value * c.along.Value
		total += p
		noise += 2 * s2
		mixed += p * s2
		spread += s2 * s2 / math.Max(1, dof)
		weights = append(weights, c.along.Value)
		along = append(along, c.along)
	}
	if !(total > 0) {
		return bounded{}
	}
	value := math.Sqrt(math.Max(0, total-noise))
	sigma2 := mixed / total
	if value > clearOfNoise*math.Sqrt(sigma2) {
		for i := range weights {
			weights[i] /= math.Sqrt(total)
		}
		half := combine(weights, along...).Half()
		return bounded{value, math.Max(0, value-half), value + half}
	}
	widen := dsp.Student95(noise*noise/4/spread) / dsp.Student95(math.Inf(1))
	x, k := total/sigma2, noise/sigma2
	lo, hi := noncentrality(x, k, widen)
	return bounded{value, math.Sqrt(sigma2 * lo), math.Max(value, math.Sqrt(sigma2*hi))}
}

// noncentrality returns the least and the greatest λ with which x is no surprise in a
// noncentral chi-square with k degrees of freedom, at 5 % in all. For large λ either
// tail has 2.5 %. For small λ a low x is never a surprise, so that no reading bounds λ
// below 1.5 standard deviations of pure noise, and the upper tail has all 5 %: else an
// interval about 0 would hold the truth in 97.5 % of cases and more. widen is for a
// variance that is itself estimated.
func noncentrality(x, k, widen float64) (lo, hi float64) {
	sd := math.Sqrt(2 * k)
	low := func(lambda float64) float64 { // share of the lower tail
		return 0.025 * math.Min(1, math.Max(0, (lambda/sd-1.5)/3.5))
	}
	tooHigh := func(lambda float64) bool {
		return chiSquareScore(x, k, lambda) > widen*math.Sqrt2*math.Erfinv(1-2*(0.05-low(lambda)))
	}
	tooLow := func(lambda float64) bool {
		p := low(lambda)
		return p > 0 && chiSquareScore(x, k, lambda) < -widen*math.Sqrt2*math.Erfinv(1-2*p)
	}
	most := x + 10*widen*math.Sqrt(x) + 40*widen*widen + 10*sd
	if tooHigh(0) {
		lo = bisect(func(l float64) float64 { return sign(!tooHigh(l)) }, 0, most)
	}
	return lo, bisect(func(l float64) float64 { return sign(tooLow(l)) }, 0, most)
}

func sign(positive bool) float64 {
	if positive {
		return 1
	}
	return -1
}

// chiSquareScore is the normal score of x in a noncentral chi-square, Sankaran 1963:
//
//	((x/(k+λ))^h − 1 − h·p·(h−1−(2−h)·m·p/2)) / (h·√(2p)·(1+m·p/2))
//	h = 1 − ⅔(k+λ)(k+3λ)/(k+2λ)²,  p = (k+2λ)/(k+λ)²,  m = (h−1)(1−3h)
func chiSquareScore(x, k, lambda float64) float64 {
	h := 1 - 2.0/3*(k+lambda)*(k+3*lambda)/((k+2*lambda)*(k+2*lambda))
	p := (k + 2*lambda) / ((k + lambda) * (k + lambda))
	m := (h - 1) * (1 - 3*h)
	return (math.Pow(x/(k+lambda), h) - 1 - h*p*(h-1-0.5*(2-h)*m*p)) / (h * math.Sqrt(2*p) * (1 + 0.5*m*p))
}

// plus adds an independent figure by the method of variance estimates recovery: the
// squares of the distances from value to limit add on each side (Zou and Donner,
// Statistics in Medicine 27, 2008).
func (b bounded) plus(o bounded) bounded {
	v := b.value + o.value
	return bounded{v, v - math.Hypot(b.value-b.lo, o.value-o.lo), v + math.Hypot(b.hi-b.value, o.hi-o.value)}
}

func boundsOf(e dsp.Estimate) bounded {
	h := e.Half()
	return bounded{e.Value, e.Value - h, e.Value + h}
}
