package capture

import (
	"encoding/binary"
	"math"
)

// A decoder turns k interleaved frames at the start of b into dst[c][at:at+k].
// b is slack bytes longer than the frames, so that a word may be loaded whole.
// It returns -1, or the interleaved index of a sample that is no finite number.
type decoder func(b []byte, dst [][]float64, at, k int) (bad int)

// decoderFor is the decoder of a format that parseFormat accepted.
//
// The loops go channel by channel over a block that stays in the cache: the
// target is written in order, and the compiler keeps one bound check a sample.
func decoderFor(f wavFormat) decoder {
	if f.encoding == Float {
		if f.container == 4 {
			return decodeFloat32
		}
		return decodeFloat64
	}
	switch f.container {
	case 1:
		return decodePCM8
	case 2:
		return decodePCM16
	case 3:
		return decodePCM24
	}
	return decodePCM32
}

func decodePCM8(b []byte, dst [][]float64, at, k int) int {
	stride := len(dst)
	for c := range dst {
		d, p := dst[c][at:at+k], c
		for i := range d {
			d[i] = (float64(b[p]) - 128) * (1.0 / (1 << 7))
			p += stride
		}
	}
	return -1
}

func decodePCM16(b []byte, dst [][]float64, at, k int) int {
	stride := 2 * len(dst)
	for c := range dst {
		d, p := dst[c][at:at+k], 2*c
		for i := range d {
			d[i] = float64(int16(binary.LittleEndian.Uint16(b[p:]))) * (1.0 / (1 << 15))
			p += stride
		}
	}
	return -1
}

func decodePCM24(b []byte, dst [][]float64, at, k int) int {
	stride := 3 * len(dst)
	for c := range dst {
		d, p := dst[c][at:at+k], 3*c
		for i := range d {
			// The fourth byte is the next sample's or slack; the shift drops it.
			d[i] = float64(int32(binary.LittleEndian.Uint32(b[p:])<<8)) * (1.0 / (1 << 31))
			p += stride
		}
	}
	return -1
}

func decodePCM32(b []byte, dst [][]float64, at, k int) int {
	stride := 4 * len(dst)
	for c := range dst {
		d, p := dst[c][at:at+k], 4*c
		for i := range d {
			d[i] = float64(int32(binary.LittleEndian.Uint32(b[p:]))) * (1.0 / (1 << 31))
			p += stride
		}
	}
	return -1
}

func decodeFloat32(b []byte, dst [][]float64, at, k int) int {
	stride, bad := 4*len(dst), -1
	for c := range dst {
		d, p := dst[c][at:at+k], 4*c
		for i := range d {
			v := float64(math.Float32frombits(binary.LittleEndian.Uint32(b[p:])))
			if !(math.Abs(v) <= math.MaxFloat64) {
				bad = firstBad(bad, i*len(dst)+c)
				break
			}
			d[i] = v
			p += stride
		}
	}
	return bad
}

func decodeFloat64(b []byte, dst [][]float64, at, k int) int {
	stride, bad := 8*len(dst), -1
	for c := range dst {
		d, p := dst[c][at:at+k], 8*c
		for i := range d {
			v := math.Float64frombits(binary.LittleEndian.Uint64(b[p:]))
			if !(math.Abs(v) <= math.MaxFloat64) {
				bad = firstBad(bad, i*len(dst)+c)
				break
			}
			d[i] = v
			p += stride
		}
	}
	return bad
}

func firstBad(old, next int) int {
	if old < 0 {
		return next
	}
	return min(old, next)
}
