package dsp

import (
	"errors"
	"io"
	"testing"
)

// broken gives frames 0, 1, 2, ... in small pieces and then fails.
type broken struct {
	pos, end, piece int
	err             error
}

func (b *broken) Channels() int       { return 2 }
func (b *broken) SampleRate() float64 { return 1 }
func (b *broken) Read(dst [][]float64) (int, error) {
	n := min(len(dst[0]), b.piece, b.end-b.pos)
	if n == 0 {
		return 0, b.err
	}
	for i := range n {
		dst[0][i], dst[1][i] = float64(b.pos+i), -float64(b.pos+i)
	}
	b.pos += n
	return n, nil
}

func TestAsPackedGivesAllFramesThenTheError(t *testing.T) {
	for _, want := range []error{io.EOF, errors.New("disk")} {
		s := AsPacked(&broken{end: 103, piece: 7, err: want})
		if again := AsPacked(s); again != s {
			t.Error("packed twice")
		}
		var blocks [2]Packed
		var err error
		pos := 0
		for i := 0; ; i++ {
			var b Packed
			if b, err = s.ReadPacked(20, blocks[i%2]); err != nil {
				break
			}
			blocks[i%2] = b
			x := make([]float64, b.Frames()-1)
			if err := b.Unpack(1, 1, x); err != nil {
				t.Fatal(err)
			}
			for k, v := range x {
				if v != -float64(pos+1+k) {
					t.Fatalf("frame %d is %g", pos+1+k, v)
				}
			}
			pos += b.Frames()
		}
		if pos != 103 || !errors.Is(err, want) {
			t.Errorf("%d frames, then %v; want 103, then %v", pos, err, want)
		}
		if _, err := s.ReadPacked(20, nil); !errors.Is(err, want) {
			t.Errorf("after the end: %v", err)
		}
	}
}
