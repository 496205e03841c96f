//go:build !amd64

package capture

const hasVectors = false

func pcm24AVX2(dst *float64, src *byte, stride, quads int) { panic("capture: no vectors") }
