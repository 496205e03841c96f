package dsp

import "golang.org/x/sys/cpu"

// hasVectors tells whether the processor has what vector_amd64.s and fft_amd64.s use.
var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func dotAVX2(a, b *float64, n int) float64

//go:noescape
func dot2AVX2(x, a, b *float64, n int) (xa, xb float64)

//go:noescape
func axpyAVX2(a float64, x, y *float64, n int)

//go:noescape
func extentAVX2(x *float64, n int) (sumSq, peak float64)

//go:noescape
func slideAVX2(dst *complex128, x, a, b *float64, count, step, n int)

// radix4AVX2 is FFT.radix4 for s of at least 2, with m = n/4.
//
//go:noescape
func radix4AVX2(dst, src, twiddle *complex128, m, s int)

// radix4FirstAVX2 is FFT.radix4 for s = 1, with m = n/4 of at least 2.
//
//go:noescape
func radix4FirstAVX2(dst, src, twiddle *complex128, m int)

// unpackAVX2 is RealFFT.unpack for so many pairs of k from 1 on.
//
//go:noescape
func unpackAVX2(dst, z, rot *complex128, h, pairs int)
