package capture

import (
	"math/rand/v2"
	"testing"
)

// TestUnpackEqualsDecode: four samples at a time are those of one after the other, bit for
// bit, at any length, distance and place, the greatest and least of them too.
func TestUnpackEqualsDecode(t *testing.T) {
	rng := rand.New(rand.NewPCG(24, 8))
	for range 2000 {
		n, channels := rng.IntN(70), 1+rng.IntN(24)
		stride, at := 3*channels, rng.IntN(channels)
		b := make([]byte, n*stride+slack)
		for i := range b {
			b[i] = []byte{0, 0x7f, 0x80, 0xff, byte(rng.Uint32())}[rng.IntN(5)]
		}
		got, want := make([]float64, n+1), make([]float64, n+1)
		got[n], want[n] = 7, 7
		unpackerFor(wavFormat{encoding: PCM, container: 3})(b, got[:n], 3*at, stride)
		decodePCM24(b, want[:n], 3*at, stride)
		for i := range want {
			if got[i] != want[i] {
				t.Fatalf("%d frames of %d channels, channel %d: sample %d is %v, want %v", n, channels, at, i, got[i], want[i])
			}
		}
	}
}

// BenchmarkUnpack is one of eight channels of 24 bits out of blocks of 8192 frames.
func BenchmarkUnpack(b *testing.B) {
	raw, dst := make([]byte, 8192*24+slack), make([]float64, 8192)
	for _, c := range []struct {
		name string
		do   decoder
	}{{"one by one", decodePCM24}, {"as used", unpackerFor(wavFormat{encoding: PCM, container: 3})}} {
		b.Run(c.name, func(b *testing.B) {
			b.SetBytes(8192 * 3)
			for i := range b.N {
				c.do(raw, dst, i%8*3, 24)
			}
		})
	}
}
