package dsp

import "golang.org/x/sys/cpu"

// hasVectors tells whether the processor has what vector_amd64.s uses.
var hasVectors = cpu.X86.HasAVX2 && cpu.X86.HasFMA

//go:noescape
func dotAVX2(a, b *float64, n int) float64

//go:noescape
func dot2AVX2(x, a, b *float64, n int) (xa, xb float64)

//go:noescape
func axpyAVX2(a float64, x, y *float64, n int)

//go:noescape
func slideAVX2(dst *complex128, x, a, b *float64, count, step, n int)
