package capture

import (
	"strings"
	"testing"
)

// TestFrameHeader: the codes of RFC 9639, sections 9.1.1 to 9.1.5, that are
// reserved, forbidden, or differ from the stream's, behind a checksum that holds.
func TestFrameHeader(t *testing.T) {
	for _, c := range []struct {
		name string
		b    []byte
		want string // empty: good
		size int
	}{
		{"good", []byte{0xff, 0xf8, 0xca, 0x18, 0}, "", 4096},
		{"as in STREAMINFO", []byte{0xff, 0xf8, 0xc0, 0x10, 0}, "", 4096},
		{"192 samples", []byte{0xff, 0xf8, 0x1a, 0x18, 0}, "", 192},
		{"576 samples", []byte{0xff, 0xf8, 0x2a, 0x18, 0}, "", 576},
		{"4608 samples", []byte{0xff, 0xf8, 0x5a, 0x18, 0}, "", 4608},
		{"8-bit size", []byte{0xff, 0xf8, 0x6a, 0x18, 0, 41}, "", 42},
		{"16-bit size", []byte{0xff, 0xf8, 0x7a, 0x18, 0, 1, 2}, "", 259},
		{"256 samples", []byte{0xff, 0xf8, 0x8a, 0x18, 0}, "", 256},
		{"32768 samples", []byte{0xff, 0xf8, 0xfa, 0x18, 0}, "", 32768},
		{"rate in kHz", []byte{0xff, 0xf8, 0xcc, 0x18, 0, 48}, "", 4096},
		{"rate in Hz", []byte{0xff, 0xf8, 0xcd, 0x18, 0, 0xbb, 0x80}, "", 4096},
		{"rate in tens", []byte{0xff, 0xf8, 0xce, 0x18, 0, 0x12, 0xc0}, "", 4096},
		{"mid and side", []byte{0xff, 0xf8, 0xca, 0xa8, 0}, "", 4096},
		{"65536 samples", []byte{0xff, 0xf8, 0x7a, 0x18, 0, 0xff, 0xff}, "reserved block size", 0},
		{"reserved size", []byte{0xff, 0xf8, 0x0a, 0x18, 0}, "reserved block size", 0},
		{"forbidden rate", []byte{0xff, 0xf8, 0xcf, 0x18, 0}, "forbidden sample rate", 0},
		{"other rate", []byte{0xff, 0xf8, 0xc9, 0x18, 0}, "changes from 48000 to 44100 Hz", 0},
		{"other rate in kHz", []byte{0xff, 0xf8, 0xcc, 0x18, 0, 47}, "changes from 48000 to 47000 Hz", 0},
		{"reserved channels", []byte{0xff, 0xf8, 0xca, 0xb8, 0}, "reserved channel assignment", 0},
		{"other channels", []byte{0xff, 0xf8, 0xca, 0x28, 0}, "channels changes from 2 to 3", 0},
		{"reserved bits", []byte{0xff, 0xf8, 0xca, 0x16, 0}, "reserved sample size", 0},
		{"reserved last bit", []byte{0xff, 0xf8, 0xca, 0x19, 0}, "reserved sample size", 0},
		{"other bits", []byte{0xff, 0xf8, 0xca, 0x1c, 0}, "changes from 16 to 24 bits", 0},
		{"bad number", []byte{0xff, 0xf8, 0xca, 0x18, 0x80}, "invalid frame number", 0},
		{"bad number inside", []byte{0xff, 0xf8, 0xca, 0x18, 0xc4, 0x40}, "invalid frame number", 0},
		{"no sync", []byte{0xff, 0xfa, 0xca, 0x18, 0}, "must start with", 0},
	} {
		s := &flacSource{r: &Reader{info: Info{Channels: 2, SampleRate: 48000}}, bits: 16}
		h, what := s.parseHeader(append(append(c.b, crc8(c.b)), make([]byte, 8)...))
		if (what == "") != (c.want == "") || !strings.Contains(what, c.want) {
			t.Errorf("%s: it says %q, want %q", c.name, what, c.want)
		}
		if c.want == "" && (h.size != c.size || h.length != len(c.b)+1) {
			t.Errorf("%s: %d samples, %d bytes, want %d, %d", c.name, h.size, h.length, c.size, len(c.b)+1)
		}
		for n := 2; n <= len(c.b) && c.want == ""; n++ {
			if _, what := s.parseHeader(c.b[:n]); what != headerShort {
				t.Errorf("%s: of %d bytes it says %q, want short", c.name, n, what)
			}
		}
	}
}

// TestCodedNumber: the bounds of each length as in UTF-8 (RFC 3629, section 3)
// carried on to 36 bits.
func TestCodedNumber(t *testing.T) {
	for _, c := range []struct {
		b []byte
		v uint64
		n int
	}{
		{[]byte{0x7f}, 0x7f, 1},
		{[]byte{0xc2, 0x80}, 0x80, 2},
		{[]byte{0xdf, 0xbf}, 0x7ff, 2},
		{[]byte{0xe0, 0xa0, 0x80}, 0x800, 3},
		{[]byte{0xef, 0xbf, 0xbf}, 0xffff, 3},
		{[]byte{0xf4, 0x8f, 0xbf, 0xbf}, 0x10ffff, 4},
		{[]byte{0xfe, 0xbf, 0xbf, 0xbf, 0xbf, 0xbf, 0xbf}, 1<<36 - 1, 7},
		{[]byte{0xe0, 0xa0}, 0, 0},
		{[]byte{0xbf}, 0, -1},
		{[]byte{0xff, 0x80}, 0, -1},
		{[]byte{0xe0, 0x20, 0x80}, 0, -1},
	} {
		if v, n := codedNumber(c.b); v != c.v || n != c.n {
			t.Errorf("% x: %#x of %d bytes, want %#x of %d", c.b, v, n, c.v, c.n)
		}
	}
}
