package capture

import "fmt"

// flacHeaderMax is the longest frame header: 4 bytes, a coded number of 7, block
// size and rate of 2 each, CRC-8.
const flacHeaderMax = 16

// maxFLACBlock is the most samples per channel in a frame; 65536 could be coded
// and is forbidden (section 9.1.6).
const maxFLACBlock = 65535

// flacBits are the sample sizes by their code: 0 is reserved, asStream refers
// to STREAMINFO.
var flacBits = [8]uint{asStream, 8, 12, 0, 16, 20, 24, 32}

const asStream = 255

// headerShort stands for "the input ends inside the header".
const headerShort = "short"

// flacHeader is a frame header, RFC 9639 section 9.1.
type flacHeader struct {
	length  int // bytes
	size    int // samples per channel
	channel int // channel assignment bits
	side    int // channel that holds the difference and has a bit more; -1: none
}

// parseHeader reads the frame header at the start of b. what is empty, or says
// what is wrong with it.
func (s *flacSource) parseHeader(b []byte) (h flacHeader, what string) {
	if b[0] != 0xff || b[1]&0xfe != 0xf8 {
		return h, fmt.Sprintf("bytes %02x %02x where a frame must start with ff f8 or ff f9", b[0], b[1])
	}
	if len(b) < 6 {
		return h, headerShort
	}
	number, n := codedNumber(b[4:])
	if n < 0 {
		return h, "an invalid frame number"
	}
	p := 4 + n
	if n == 0 || len(b) < p+5 && len(b) < p+1+extra(b[2]) {
		return h, headerShort
	}
	var rate int
	h.size, p = blockSize(b, p)
	rate, p = sampleRate(b, p)
	h.length = p + 1
	if crc8(b[:p]) != b[p] {
		return h, "the FLAC frame header's checksum (CRC-8) is wrong"
	}
	h.channel, h.side = int(b[3]>>4), -1
	return h, s.checkHeader(b, &h, rate, number)
}

// checkHeader compares a frame with the stream it is in. The checksum held, so
// what differs was written so.
func (s *flacSource) checkHeader(b []byte, h *flacHeader, rate int, number uint64) (what string) {
	channels := h.channel + 1
	switch h.channel {
	case 8, 10: // left and side, mid and side
		channels, h.side = 2, 1
	case 9: // side and right
		channels, h.side = 2, 0
	}
	bits := flacBits[b[3]>>1&7]
	if bits == asStream {
		bits = s.bits
	}
	switch {
	case h.size == 0 || h.size > maxFLACBlock:
		return "a reserved block size"
	case rate < 0:
		return "a forbidden sample rate code"
	case rate > 0 && rate != s.r.info.SampleRate:
		return fmt.Sprintf("the sample rate changes from %d to %d Hz", s.r.info.SampleRate, rate)
	case h.channel > 10:
		return "a reserved channel assignment"
	case channels != s.r.info.Channels:
		return fmt.Sprintf("the number of channels changes from %d to %d", s.r.info.Channels, channels)
	case bits == 0 || b[3]&1 != 0:
		return "a reserved sample size"
	case bits != s.bits:
		return fmt.Sprintf("the sample size changes from %d to %d bits", s.bits, bits)
	}
	return s.checkNumber(number, b[1]&1 != 0, h.size)
}

// checkNumber notices missing frames: a gap in time would turn up as a false
// speed or a jump of phase.
func (s *flacSource) checkNumber(number uint64, variable bool, size int) (what string) {
	if !s.begun {
		s.begun = true
		if number != 0 {
			s.r.notes.add("The FLAC stream does not begin at its beginning: its first frame has number %d.", number)
		}
	} else if number != s.next {
		return fmt.Sprintf("frame number %d follows where %d was due, a piece is missing", number, s.next)
	}
	s.next = number + 1
	if variable {
		s.next = number + uint64(size)
	}
	return ""
}

// extra is the number of bytes that block size and rate take behind the number.
func extra(b2 byte) (n int) {
	switch b2 >> 4 {
	case 6:
		n = 1
	case 7:
		n = 2
	}
	switch b2 & 15 {
	case 12:
		n++
	case 13, 14:
		n += 2
	}
	return n
}

func blockSize(b []byte, p int) (size, next int) {
	switch c := b[2] >> 4; {
	case c == 0:
		return 0, p
	case c == 1:
		return 192, p
	case c <= 5:
		return 144 << c, p
	case c == 6:
		return int(b[p]) + 1, p + 1
	case c == 7:
		return int(b[p])<<8 + int(b[p+1]) + 1, p + 2
	default:
		return 1 << c, p
	}
}

var flacRates = [12]int{0, 88200, 176400, 192000, 8000, 16000, 22050, 24000, 32000, 44100, 48000, 96000}

// sampleRate gives 0 for "as in STREAMINFO", -1 for the forbidden code.
func sampleRate(b []byte, p int) (rate, next int) {
	switch c := b[2] & 15; c {
	case 12:
		return int(b[p]) * 1000, p + 1
	case 13:
		return int(b[p])<<8 + int(b[p+1]), p + 2
	case 14:
		return (int(b[p])<<8 + int(b[p+1])) * 10, p + 2
	case 15:
		return -1, p
	default:
		return flacRates[c], p
	}
}

// codedNumber reads the UTF-8-like number of section 9.1.5: n is its length, 0
// if b ends in it, -1 if it is invalid.
func codedNumber(b []byte) (v uint64, n int) {
	lead := b[0]
	switch {
	case lead < 0x80:
		return uint64(lead), 1
	case lead < 0xc0 || lead == 0xff:
		return 0, -1
	}
	n = 1
	for m := byte(0x40); lead&m != 0; m >>= 1 {
		n++
	}
	if len(b) < n {
		return 0, 0
	}
	v = uint64(lead & (0x7f >> n))
	for _, x := range b[1:n] {
		if x&0xc0 != 0x80 {
			return 0, -1
		}
		v = v<<6 | uint64(x&0x3f)
	}
	return v, n
}

// join turns left and side, side and right, or mid and side into left and
// right, section 4.2. In 64 bits no sum overflows at 32-bit samples.
func (h flacHeader) join(ch [][]int64) {
	if h.side < 0 {
		return
	}
	a, b := ch[0], ch[1]
	for i := range a {
		switch x, y := a[i], b[i]; h.channel {
		case 8:
			b[i] = x - y
		case 9:
			a[i] = x + y
		default:
			m := x<<1 | y&1
			a[i], b[i] = (m+y)>>1, (m-y)>>1
		}
	}
}
