package dsp

import (
	"fmt"
	"math"
	"math/bits"
	"sync/atomic"
	"unsafe"
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
	return &FFT{n: n, twiddle: roots(n), work: make([]complex128, n)}
}

// rootTables holds the tables of roots by the power of two of their length.
var rootTables [bits.UintSize]atomic.Pointer[[]complex128]

// roots returns e^{−2πi k/n} for k < n, n a power of two. All plans of a length
// share the table.
func roots(n int) []complex128 {
	place := &rootTables[bits.TrailingZeros(uint(n))]
	if t := place.Load(); t != nil {
		return *t
	}
	t := make([]complex128, n)
	for k := range t {
		s, c := math.Sincos(-2 * math.Pi * float64(k) / float64(n))
		t[k] = complex(c, s)
	}
	place.Store(&t)
	return t
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
	if out := f.run(x, x, f.work); &out[0] != &x[0] {
		copy(x, out)
	}
}

// run transforms src through a and b in turn and returns the one that holds the
// result. src may be a, but not b.
func (f *FFT) run(src, a, b []complex128) []complex128 {
	into, other := b, a
	n, stride := f.n, 1
	for n > 1 {
		if n == 2 { // left of an odd power of two
			radix2(into, src)
			n = 1
		} else {
			f.radix4(into, src, n, stride)
			n, stride = n/4, stride*4
		}
		src, into, other = into, other, into
	}
	return src
}

// radix2 does the last step of an odd power of two, whose twiddles are 1.
func radix2(dst, src []complex128) {
	half := len(src) / 2
	a, b := src[:half], src[half:]
	ya, yb := dst[:half], dst[half:]
	b, ya, yb = b[:len(a)], ya[:len(a)], yb[:len(a)]
	for q, u := range a {
		ya[q], yb[q] = u+b[q], u-b[q]
	}
}

// radix4 does one autosort step of four: sub-length n, stride s, n·s = N.
func (f *FFT) radix4(dst, src []complex128, n, s int) {
	m := n / 4
	dst, src = dst[:f.n], src[:f.n]
	switch {
	case hasVectors && s > 1:
		radix4AVX2(&dst[0], &src[0], &f.twiddle[0], m, s)
		return
	case hasVectors && m > 1:
		radix4FirstAVX2(&dst[0], &src[0], &f.twiddle[0], m)
		return
	}
	f.radix4Go(dst, src, n, s)
}

func (f *FFT) radix4Go(dst, src []complex128, n, s int) {
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
	rot  []complex128 // −i/2·e^{−2πi k/n}, k ≤ n/4
}

// NewRealFFT returns a plan for real sequences of length n. It panics unless n
// is a power of two of at least 2.
func NewRealFFT(n int) *RealFFT {
	if n < 2 || n&(n-1) != 0 {
		panic(fmt.Sprintf("dsp: real transform length %d is not a power of two of at least 2", n))
	}
	f := &RealFFT{n: n, half: NewFFT(n / 2), buf: make([]complex128, n/2), rot: make([]complex128, n/4+1)}
	for k, w := range roots(n)[:len(f.rot)] {
		f.rot[k] = complex(imag(w)/2, -real(w)/2)
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
	// Even samples as real parts, odd ones as imaginary parts: which is how they
	// lie in memory.
	pairs := unsafe.Slice((*complex128)(unsafe.Pointer(&seq[0])), h)
	f.unpack(dst, f.half.run(pairs, f.buf, f.half.work))
	return dst
}

// unpack makes the coefficients of the sequence from those of the pairs.
func (f *RealFFT) unpack(dst, z []complex128) {
	h := f.n / 2
	dst[0] = complex(real(z[0])+imag(z[0]), 0)
	dst[h] = complex(real(z[0])-imag(z[0]), 0)
	k := 1
	if pairs := (h/2 - 1) / 2; hasVectors && pairs > 0 {
		unpackAVX2(&dst[0], &z[0], &f.rot[0], h, pairs)
		k += 2 * pairs
	}
	f.unpackGo(dst, z, k)
}

// unpackGo does what is left of unpack from k on.
func (f *RealFFT) unpackGo(dst, z []complex128, k int) {
	h := f.n / 2
	for ; k <= h/2; k++ {
		a, b := z[k], complex(real(z[h-k]), -imag(z[h-k]))
		even := complex(0.5*(real(a)+real(b)), 0.5*(imag(a)+imag(b)))
		t := (a - b) * f.rot[k]
		dst[k] = even + t
		dst[h-k] = complex(real(even)-real(t), -(imag(even) - imag(t)))
	}
}
