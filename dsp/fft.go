package dsp

import (
	"fmt"
	"math"
	"math/bits"
)

// FFT is a plan for complex transforms of one power-of-two length. It holds
// its working space, so one plan serves one goroutine.
type FFT struct {
	n       int
	twiddle []complex128 // e^{-2πi k/n}, k < n
	work    []complex128
}

// NewFFT returns a plan for length n. It panics unless n is a power of two.
func NewFFT(n int) *FFT {
	if n < 1 || n&(n-1) != 0 {
		panic(fmt.Sprintf("dsp: transform length %d is not a power of two", n))
	}
	f := &FFT{n: n, twiddle: make([]complex128, n), work: make([]complex128, n)}
	for k := range f.twiddle {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		f.twiddle[k] = complex(c, s)
	}
	return f
}

// Len returns the length of the transform.
func (f *FFT) Len() int { return f.n }

// Transform replaces x by its discrete Fourier transform
//
//	X[k] = Σ x[n]·e^{-2πi kn/N}
//
// It panics unless len(x) is the plan's length.
func (f *FFT) Transform(x []complex128) {
	if len(x) != f.n {
		panic(fmt.Sprintf("dsp: transform of %d samples with a plan for %d", len(x), f.n))
	}
	src, dst := x, f.work
	stride := 1
	n := f.n
	if bits.Len(uint(n))%2 == 0 { // an odd power of two: one step of two, then steps of four
		f.radix2(dst, src, n, stride)
		src, dst = dst, src
		n, stride = n/2, stride*2
	}
	for n > 1 {
		f.radix4(dst, src, n, stride)
		src, dst = dst, src
		n, stride = n/4, stride*4
	}
	if &src[0] != &x[0] {
		copy(x, src)
	}
}

// radix2 does one autosort step of two: sub-length n, stride s, n·s = N.
func (f *FFT) radix2(dst, src []complex128, n, s int) {
	half := n / 2
	for p := range half {
		w := f.twiddle[p*s]
		a, b := src[s*p:s*p+s], src[s*(p+half):s*(p+half)+s]
		ya, yb := dst[s*2*p:s*2*p+s], dst[s*(2*p+1):s*(2*p+1)+s]
		for q := range a {
			u, v := a[q], b[q]
			ya[q] = u + v
			d := u - v
			yb[q] = complex(real(d)*real(w)-imag(d)*imag(w), real(d)*imag(w)+imag(d)*real(w))
		}
	}
}

// radix4 does one autosort step of four: sub-length n, stride s, n·s = N.
func (f *FFT) radix4(dst, src []complex128, n, s int) {
	m := n / 4
	for p := range m {
		w1, w2, w3 := f.twiddle[p*s], f.twiddle[2*p*s], f.twiddle[3*p*s]
		a, b := src[s*p:s*p+s], src[s*(p+m):s*(p+m)+s]
		c, d := src[s*(p+2*m):s*(p+2*m)+s], src[s*(p+3*m):s*(p+3*m)+s]
		y0, y1 := dst[s*4*p:s*4*p+s], dst[s*(4*p+1):s*(4*p+1)+s]
		y2, y3 := dst[s*(4*p+2):s*(4*p+2)+s], dst[s*(4*p+3):s*(4*p+3)+s]
		b, c, d = b[:len(a)], c[:len(a)], d[:len(a)]
		y0, y1, y2, y3 = y0[:len(a)], y1[:len(a)], y2[:len(a)], y3[:len(a)]
		for q := range a {
			ac, bd := a[q]+c[q], b[q]+d[q]
			am, t := a[q]-c[q], b[q]-d[q]
			bm := complex(imag(t), -real(t)) // -i·t
			y0[q] = ac + bd
			u := am + bm
			y1[q] = complex(real(u)*real(w1)-imag(u)*imag(w1), real(u)*imag(w1)+imag(u)*real(w1))
			u = ac - bd
			y2[q] = complex(real(u)*real(w2)-imag(u)*imag(w2), real(u)*imag(w2)+imag(u)*real(w2))
			u = am - bm
			y3[q] = complex(real(u)*real(w3)-imag(u)*imag(w3), real(u)*imag(w3)+imag(u)*real(w3))
		}
	}
}

// RealFFT is a plan for transforms of real sequences of one power-of-two
// length, at half the work of a complex one. One plan serves one goroutine.
type RealFFT struct {
	n    int
	half *FFT
	buf  []complex128
	rot  []complex128 // e^{-2πi k/n}, k ≤ n/2
}

// NewRealFFT returns a plan for real sequences of length n. It panics unless n
// is a power of two of at least 2.
func NewRealFFT(n int) *RealFFT {
	if n < 2 || n&(n-1) != 0 {
		panic(fmt.Sprintf("dsp: real transform length %d is not a power of two of at least 2", n))
	}
	f := &RealFFT{n: n, half: NewFFT(n / 2), buf: make([]complex128, n/2), rot: make([]complex128, n/2+1)}
	for k := range f.rot {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		f.rot[k] = complex(c, s)
	}
	return f
}

// Len returns the length of the real sequence.
func (f *RealFFT) Len() int { return f.n }

// Coefficients computes the n/2+1 coefficients
//
//	X[k] = Σ seq[n]·e^{-2πi kn/N},  k = 0 … N/2
//
// without scaling, into dst, and returns it. A nil dst is allocated. It panics
// when len(seq) is not the plan's length or dst has another length than n/2+1.
func (f *RealFFT) Coefficients(dst []complex128, seq []float64) []complex128 {
	if len(seq) != f.n {
		panic(fmt.Sprintf("dsp: real transform of %d samples with a plan for %d", len(seq), f.n))
	}
	h := f.n / 2
	if dst == nil {
		dst = make([]complex128, h+1)
	}
	if len(dst) != h+1 {
		panic(fmt.Sprintf("dsp: %d places for %d coefficients", len(dst), h+1))
	}
	for i := range f.buf {
		f.buf[i] = complex(seq[2*i], seq[2*i+1])
	}
	f.half.Transform(f.buf)
	z := f.buf
	dst[0] = complex(real(z[0])+imag(z[0]), 0)
	dst[h] = complex(real(z[0])-imag(z[0]), 0)
	for k := 1; k <= h/2; k++ {
		a, b := z[k], z[h-k]
		even := complex(0.5*(real(a)+real(b)), 0.5*(imag(a)-imag(b)))
		odd := complex(0.5*(imag(a)+imag(b)), -0.5*(real(a)-real(b)))
		t := odd * f.rot[k]
		dst[k] = even + t
		dst[h-k] = complex(real(even)-real(t), -(imag(even) - imag(t)))
	}
	return dst
}
