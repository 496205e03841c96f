package capture

import (
	"encoding/binary"
	"math"
)

// An encoder interleaves planar[c][at:at+k] into b. It returns how many samples
// did not fit, and -1 or the first frame (counted from at) with a sample that is
// no finite number.
type encoder func(b []byte, planar [][]float64, at, k int) (clipped, bad int)

// encoderFor is nil for what no Writer writes.
func encoderFor(s Spec) encoder {
	switch {
	case s.Encoding == PCM && (s.Bits == 16 || s.Bits == 24 || s.Bits == 32):
		return pcmEncoder(s.Bits)
	case s.Encoding == Float && s.Bits == 32:
		return encodeFloat32
	case s.Encoding == Float && s.Bits == 64:
		return encodeFloat64
	}
	return nil
}

func pcmEncoder(bits int) encoder {
	scale := math.Ldexp(1, bits-1)
	lo, hi := -scale, scale-1
	width := bits / 8
	return func(b []byte, planar [][]float64, at, k int) (clipped, bad int) {
		bad = -1
		for c := range planar {
			p, stride := c*width, width*len(planar)
			for i, x := range planar[c][at : at+k] {
				v := math.RoundToEven(x * scale)
				if !(v >= lo && v <= hi) {
					if math.IsNaN(v) || math.IsInf(x, 0) {
						bad = firstBad(bad, i)
						break
					}
					clipped++
					v = min(max(v, lo), hi)
				}
				putInt(b[p:], int32(v), width)
				p += stride
			}
		}
		return clipped, bad
	}
}

func putInt(b []byte, v int32, width int) {
	switch width {
	case 2:
		binary.LittleEndian.PutUint16(b, uint16(v))
	case 3:
		_ = b[2]
		b[0], b[1], b[2] = byte(v), byte(v>>8), byte(v>>16)
	default:
		binary.LittleEndian.PutUint32(b, uint32(v))
	}
}

func encodeFloat32(b []byte, planar [][]float64, at, k int) (clipped, bad int) {
	bad = -1
	for c := range planar {
		p, stride := 4*c, 4*len(planar)
		for i, x := range planar[c][at : at+k] {
			if !(math.Abs(x) <= math.MaxFloat64) {
				bad = firstBad(bad, i)
				break
			}
			v := float32(x)
			if math.IsInf(float64(v), 0) {
				clipped++
				v = float32(math.Copysign(math.MaxFloat32, x))
			}
			binary.LittleEndian.PutUint32(b[p:], math.Float32bits(v))
			p += stride
		}
	}
	return clipped, bad
}

func encodeFloat64(b []byte, planar [][]float64, at, k int) (clipped, bad int) {
	bad = -1
	for c := range planar {
		p, stride := 8*c, 8*len(planar)
		for i, x := range planar[c][at : at+k] {
			if !(math.Abs(x) <= math.MaxFloat64) {
				bad = firstBad(bad, i)
				break
			}
			binary.LittleEndian.PutUint64(b[p:], math.Float64bits(x))
			p += stride
		}
	}
	return clipped, bad
}

func firstBad(old, next int) int {
	if old < 0 {
		return next
	}
	return min(old, next)
}
