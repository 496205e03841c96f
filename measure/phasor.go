package measure

import (
	"math"

	"headstack/dsp"
)

// phasorChannel keeps the complex amplitudes of some tones on one channel, at a low
// rate: for what is told by phase between channels.
type phasorChannel struct {
	demods []*dsp.Demodulator // nil where a tone does not fit below half the sample rate
	z      [][]complex128
	rate   []float64
	start  []float64 // of the first z, in seconds of the stretch
}

func newPhasorChannel(rate float64, bands []dsp.Band) *phasorChannel {
	p := &phasorChannel{demods: make([]*dsp.Demodulator, len(bands)), z: make([][]complex128, len(bands)), rate: make([]float64, len(bands)), start: make([]float64, len(bands))}
	for i, b := range bands {
		if b.CarrierHz > 0 && b.StopHz > b.PassHz && b.CarrierHz+b.StopHz < rate/2 {
			p.demods[i] = dsp.NewDemodulator(rate, b)
			p.rate[i], p.start[i] = p.demods[i].Rate(), p.demods[i].Start()
		}
	}
	return p
}

func (p *phasorChannel) feed(x []float64) {
	for _, d := range p.demods {
		if d != nil {
			d.Feed(x)
		}
	}
}

func (p *phasorChannel) finish() {
	for i, d := range p.demods {
		if d != nil {
			p.z[i] = d.Output()
		}
	}
	p.demods = nil
}

// meanPower is the mean of |z|².
func meanPower(z []complex128) float64 {
	s := 0.0
	for _, v := range z {
		s += real(v)*real(v) + imag(v)*imag(v)
	}
	return s / float64(max(1, len(z)))
}

// ratio is one complex amplitude over another with the variance of its errors.
type ratio struct {
	value    complex128
	variance float64 // of the complex error, both parts together
	dof      float64
}

// synchronous detects what of x goes with ref: h = Σ x·ref* / Σ|ref|², so that flutter,
// which both share, cancels, and noise and other tones average out over the whole
// length. The scatter of h over blocks gives its error.
func synchronous(x, ref []complex128) (ratio, bool) {
	n := min(len(x), len(ref))
	blocks := min(32, n/4)
	if blocks < 8 {
		return ratio{}, false
	}
	size := n / blocks
	hs := make([]complex128, blocks)
	var num complex128
	den := 0.0
	for b := range hs {
		var bn complex128
		bd := 0.0
		for i := b * size; i < (b+1)*size; i++ {
			r := ref[i]
			bn += x[i] * complex(real(r), -imag(r))
			bd += real(r)*real(r) + imag(r)*imag(r)
		}
		if !(bd > 0) {
			return ratio{}, false
		}
		hs[b] = bn / complex(bd, 0)
		num += bn
		den += bd
	}
	out := ratio{value: num / complex(den, 0), dof: float64(2*blocks - 2)}
	for _, h := range hs {
		d := h - out.value
		out.variance += real(d)*real(d) + imag(d)*imag(d)
	}
	out.variance /= float64(blocks-1) * float64(blocks)
	return out, true
}

// decibels gives |h| in dB with its 95 % interval from the distribution of the length
// of a vector in noise. above is false when nothing stands out of the noise: then only
// hi holds, as an upper bound.
//
// |ĥ|²/(σ²/2) is noncentral chi-square with 2 degrees of freedom about |h|²/(σ²/2);
// the interval inverts its tail (Rice, BSTJ 23, 1944). The variance is widened for the
// degrees of freedom that it rests on.
func (r ratio) decibels() (value, lo, hi float64, above bool) {
	p := real(r.value)*real(r.value) + imag(r.value)*imag(r.value)
	widen := dsp.Student95(r.dof) / dsp.Student95(1e9)
	half := r.variance / 2 * widen * widen
	if !(half > 0) { // no noise at all: a computed signal
		v := 10 * math.Log10(math.Max(p, 1e-30))
		return v, v, v, p > 0
	}
	x := p / half
	lambdaLo, lambdaHi := riceBound(x, 0.975), riceBound(x, 0.025)
	hi = 10 * math.Log10(math.Max(lambdaHi, 4)*half) // a reading by chance below all noise bounds nothing lower
	if lambdaLo <= 0 {
		return 0, 0, hi, false
	}
	// The noise adds to the length on average: take it off.
	value = 10 * math.Log10(math.Max(x-2, lambdaLo)*half)
	return value, 10 * math.Log10(lambdaLo*half), math.Max(hi, value), true
}

// riceBound is the noncentrality λ at which a noncentral chi-square with 2 degrees of
// freedom lies at or below x with probability p; 0 when it does so less often even at
// λ = 0. It falls with rising p.
func riceBound(x, p float64) float64 {
	if riceCDF(x, 0) <= p {
		return 0
	}
	lo, hi := 0.0, x+10*math.Sqrt(x)+40
	for range 100 {
		mid := (lo + hi) / 2
		if riceCDF(x, mid) > p {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// riceCDF is the distribution of a noncentral chi-square with 2 degrees of freedom:
//
//	P(X ≤ x) = Σ_j Poisson(j; λ/2) · P(Gamma(j+1) ≤ x/2)
//
// For large λ, where the sum is long, Sankaran's normal approximation holds to 1e-3
// (Sankaran, Biometrika 46, 1959).
func riceCDF(x, lambda float64) float64 {
	if lambda > 400 {
		const n = 2.0
		h := 1 - 2.0/3*(n+lambda)*(n+3*lambda)/((n+2*lambda)*(n+2*lambda))
		p := (n + 2*lambda) / ((n + lambda) * (n + lambda))
		m := (h - 1) * (1 - 3*h)
		z := (math.Pow(x/(n+lambda), h) - (1 + h*p*(h-1-0.5*(2-h)*m*p))) / (h * math.Sqrt(2*p) * (1 + 0.5*m*p))
		return 0.5 * math.Erfc(-z/math.Sqrt2)
	}
	half, y := lambda/2, x/2
	poisson := math.Exp(-half)
	term := math.Exp(-y) // of the gamma's upper tail
	tail := term
	sum, mass := poisson*(1-tail), poisson
	for j := 1; j < 2000 && (mass < 1-1e-12); j++ {
		poisson *= half / float64(j)
		term *= y / float64(j)
		tail += term
		sum += poisson * math.Max(0, 1-tail)
		mass += poisson
		if float64(j) > half && poisson < 1e-15 {
			break
		}
	}
	return sum
}
