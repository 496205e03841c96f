package capture

import (
	"encoding/binary"
	"math"
)

// A decoder turns one channel of interleaved frames into d: its first sample lies at
// b[p], the next stride bytes on. b is slack bytes longer than the frames, so that a
// word may be loaded whole. It returns -1, or the index in d of a sample that is no
// finite number.
type decoder func(b []byte, d []float64, p, stride int) (bad int)

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

func decodePCM8(b []byte, d []float64, p, stride int) int {
	for i := range d {
		d[i] = (float64(b[p]) - 128) * (1.0 / (1 << 7))
		p += stride
	}
	return -1
}

func decodePCM16(b []byte, d []float64, p, stride int) int {
	for i := range d {
		d[i] = float64(int16(binary.LittleEndian.Uint16(b[p:]))) * (1.0 / (1 << 15))
		p += stride
	}
	return -1
}

func decodePCM24(b []byte, d []float64, p, stride int) int {
	for i := range d {
		// The fourth byte is the next sample's or slack; the shift drops it.
		d[i] = float64(int32(binary.LittleEndian.Uint32(b[p:])<<8)) * (1.0 / (1 << 31))
		p += stride
	}
	return -1
}

func decodePCM32(b []byte, d []float64, p, stride int) int {
	for i := range d {
		d[i] = float64(int32(binary.LittleEndian.Uint32(b[p:]))) * (1.0 / (1 << 31))
		p += stride
	}
	return -1
}

func decodeFloat32(b []byte, d []float64, p, stride int) int {
	for i := range d {
		v := float64(math.Float32frombits(binary.LittleEndian.Uint32(b[p:])))
		if !(math.Abs(v) <= math.MaxFloat64) {
			return i
		}
		d[i] = v
		p += stride
	}
	return -1
}

func decodeFloat64(b []byte, d []float64, p, stride int) int {
	for i := range d {
		v := math.Float64frombits(binary.LittleEndian.Uint64(b[p:]))
		if !(math.Abs(v) <= math.MaxFloat64) {
			return i
		}
		d[i] = v
		p += stride
	}
	return -1
}
