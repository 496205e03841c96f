package capture

import (
	"encoding/binary"
	"math"
	"math/bits"
)

// bitReader takes bits, highest first, from an input and keeps the CRC-16 of
// the bytes it passed. After the end of the input it gives zeros and short is
// set, so that loops need to look only where they could run long.
type bitReader struct {
	in    *input
	cache uint64 // next bits at the top; those below n are right too, or zero
	n     uint   // bits of cache that are taken from in
	mark  int    // in.buf index of the first byte not in crc
	crc   uint16
	short bool // the input ended
}

// start begins a frame at in.off.
func (b *bitReader) start() { *b = bitReader{in: b.in, mark: b.in.off} }

// refill brings n to 56 or more unless the input ends.
func (b *bitReader) refill() {
	in := b.in
	if in.end-in.off < 8 {
		b.more()
	}
	if in.end-in.off >= 8 {
		b.cache |= binary.BigEndian.Uint64(in.buf[in.off:]) >> b.n
		take := (64 - b.n) >> 3
		in.off += int(take)
		b.n += take << 3
		return
	}
	for b.n <= 56 && in.off < in.end {
		b.cache |= uint64(in.buf[in.off]) << (56 - b.n)
		in.off++
		b.n += 8
	}
}

// more reads from the source. Whole bytes in the cache are given back first:
// the buffer is about to move, and finish must be able to give them back still.
func (b *bitReader) more() {
	b.unread()
	b.sum()
	b.in.fill(16)
	b.mark = b.in.off
}

// unread gives the cached whole bytes back to the input.
func (b *bitReader) unread() {
	b.in.off -= int(b.n >> 3)
	b.n &= 7
	b.cache &= ^uint64(0) << (64 - b.n)
}

// sum brings the CRC up to the bytes passed.
func (b *bitReader) sum() {
	b.crc = crc16(b.crc, b.in.buf[b.mark:b.in.off])
	b.mark = b.in.off
}

// read gives the next k bits, k at most 33.
func (b *bitReader) read(k uint) uint64 {
	if b.n < k {
		b.refill()
		if b.n < k {
			b.short, b.cache, b.n = true, 0, 0
			return 0
		}
	}
	v := b.cache >> (64 - k)
	b.cache <<= k
	b.n -= k
	return v
}

// signed is read of a two's complement number.
func (b *bitReader) signed(k uint) int64 {
	if k == 0 {
		return 0
	}
	return int64(b.read(k)<<(64-k)) >> (64 - k)
}

// unary counts zeros up to the next one. A count above most is the same damage
// as any other, so it stops there.
func (b *bitReader) unary(most uint64) (zeros uint64) {
	for {
		if z := uint(bits.LeadingZeros64(b.cache)); z < b.n {
			b.cache <<= z + 1
			b.n -= z + 1
			return zeros + uint64(z)
		}
		zeros += uint64(b.n)
		b.cache, b.n = 0, 0
		if b.refill(); b.n == 0 {
			b.short = true
		}
		if b.short || zeros > most {
			return zeros
		}
	}
}

// rice decodes len(dst) residuals of parameter k (RFC 9639, section 9.2.7). It
// reports false for one beyond 32 bits, or past the end of the input.
func (b *bitReader) rice(dst []int64, k uint) bool {
	cache, n := b.cache, b.n
	for i := range dst {
		if n < 32 {
			b.cache, b.n = cache, n
			b.refill()
			cache, n = b.cache, b.n
		}
		var u uint64
		if z := uint(bits.LeadingZeros64(cache)); z+1+k <= n {
			u = uint64(z)<<k | cache<<(z+1)>>(64-k)
			cache <<= z + 1 + k
			n -= z + 1 + k
		} else {
			b.cache, b.n = cache, n
			high := b.unary(math.MaxUint32)
			u = high<<k | b.read(k)
			if b.short || high > math.MaxUint32>>k {
				return false
			}
			cache, n = b.cache, b.n
		}
		dst[i] = int64(u>>1) ^ -int64(u&1)
	}
	b.cache, b.n = cache, n
	return true
}

// finish ends a frame: it skips to a byte, checks that the last two bytes are the
// CRC-16 of all before them, and leaves the input behind them. After the end of
// the input, short is set.
func (b *bitReader) finish() (ok bool) {
	b.cache <<= b.n & 7
	b.n &^= 7
	b.unread()
	b.sum()
	got := b.crc
	tail, _ := b.in.take(2)
	if len(tail) < 2 {
		b.short = true
		return false
	}
	return got == binary.BigEndian.Uint16(tail)
}

// crcTable8 and crcTable16 are those of RFC 9639, sections 9.1.8 and 9.3:
// x^8+x^2+x+1 and x^16+x^15+x^2+1, from zero, not reflected. crcTable16[j] is
// for a byte followed by j zero bytes.
var (
	crcTable8  [256]uint8
	crcTable16 [8][256]uint16
)

func init() {
	for i := range 256 {
		c8, c16 := uint8(i), uint16(i)<<8
		for range 8 {
			c8 = c8<<1 ^ 0x07*(c8>>7)
			c16 = c16<<1 ^ 0x8005*(c16>>15)
		}
		crcTable8[i], crcTable16[0][i] = c8, c16
	}
	for j := 1; j < 8; j++ {
		for i := range 256 {
			c := crcTable16[j-1][i]
			crcTable16[j][i] = c<<8 ^ crcTable16[0][c>>8]
		}
	}
}

func crc8(b []byte) (c uint8) {
	for _, x := range b {
		c = crcTable8[c^x]
	}
	return c
}

// crc16 goes eight bytes at a time: bytewise it takes a fifth of the decoding.
func crc16(c uint16, b []byte) uint16 {
	t := &crcTable16
	for len(b) >= 8 {
		c = t[7][b[0]^byte(c>>8)] ^ t[6][b[1]^byte(c)] ^ t[5][b[2]] ^ t[4][b[3]] ^
			t[3][b[4]] ^ t[2][b[5]] ^ t[1][b[6]] ^ t[0][b[7]]
		b = b[8:]
	}
	for _, x := range b {
		c = c<<8 ^ t[0][byte(c>>8)^x]
	}
	return c
}
