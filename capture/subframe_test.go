package capture

import (
	"bytes"
	"testing"
)

// FuzzSubframe reaches behind the checksums of a frame, which FuzzFLAC seldom
// passes: any bits as a subframe, no panic, and the input is never left behind.
func FuzzSubframe(f *testing.F) {
	f.Add([]byte{0x00, 0x12, 0x34}, uint16(192), uint8(16))
	f.Add([]byte{0x02, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, uint16(4), uint8(16))
	f.Add([]byte{0x18, 1, 2, 3, 4, 5, 6, 7, 0x04, 9, 10, 0xff, 0xff, 0xff}, uint16(16), uint8(12))
	f.Add([]byte{0x4f, 0x20, 1, 2, 3, 4, 5, 6, 7, 8, 9, 0xe7, 0x04, 0x55, 0xaa, 0x55, 0xaa}, uint16(32), uint8(24))
	f.Add([]byte{0xfe, 0xff, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1}, uint16(65535), uint8(33))
	f.Fuzz(func(t *testing.T, b []byte, size uint16, bits uint8) {
		if size == 0 {
			size = 1
		}
		in := newInput(bytes.NewReader(b))
		br := bitReader{in: in}
		br.start()
		s := make([]int64, size)
		what := br.subframe(s, uint(bits%30)+4)
		if br.short && !isEOF(in.err) {
			t.Errorf("short of an input that has not ended: %v", in.err)
		}
		if what == "" && !br.short {
			br.finish()
		}
		if at := in.offset(); at < 0 || at > int64(len(b)) {
			t.Errorf("stands at %d of %d", at, len(b))
		}
	})
}

// TestBitReader reads the same bits in every step size across refills.
func TestBitReader(t *testing.T) {
	b := make([]byte, 3000)
	for i := range b {
		b[i] = byte(i*i>>3 ^ i*151)
	}
	bit := func(i int) uint64 { return uint64(b[i/8]>>(7-i%8)) & 1 }
	for k := uint(1); k <= 33; k++ {
		in := newInput(bytes.NewReader(b))
		br := bitReader{in: in}
		br.start()
		for at := 0; at+int(k) <= len(b)*8; at += int(k) {
			var want uint64
			for i := range int(k) {
				want = want<<1 | bit(at+i)
			}
			if got := br.read(k); got != want || br.short {
				t.Fatalf("%d bits at %d: %#x, short %v, want %#x", k, at, got, br.short, want)
			}
		}
		if br.read(33); !br.short {
			t.Errorf("%d bits: past the end it is not short", k)
		}
	}
}
