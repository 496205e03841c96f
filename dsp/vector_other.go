//go:build !amd64

package dsp

const hasVectors = false

func dotAVX2(a, b *float64, n int) float64              { panic("dsp: no vectors") }
func dot2AVX2(x, a, b *float64, n int) (xa, xb float64) { panic("dsp: no vectors") }
func axpyAVX2(a float64, x, y *float64, n int)          { panic("dsp: no vectors") }
func slideAVX2(dst *complex128, x, a, b *float64, count, step, n int) {
	panic("dsp: no vectors")
}
func radix4AVX2(dst, src, twiddle *complex128, m, s int)   { panic("dsp: no vectors") }
func radix4FirstAVX2(dst, src, twiddle *complex128, m int) { panic("dsp: no vectors") }
func unpackAVX2(dst, z, rot *complex128, h, pairs int)     { panic("dsp: no vectors") }
func extentAVX2(x *float64, n int) (sumSq, peak float64)   { panic("dsp: no vectors") }
