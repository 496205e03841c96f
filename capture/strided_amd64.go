package capture

import "golang.org/x/sys/cpu"

var hasVectors = cpu.X86.HasAVX2

//go:noescape
func pcm24AVX2(dst *float64, src *byte, stride, quads int)
