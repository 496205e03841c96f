package capture

import (
	"bytes"
	"errors"
	"io"
	"math"
	"testing"

	"headstack/dsp"
)

// What is read undecoded, block by block and channel by channel, is what Read gives, for
// every encoding; mixed calls follow each other.
func TestPackedEqualsDecoded(t *testing.T) {
	const channels, frames = 3, 5000
	planar := make([][]float64, channels)
	for c := range planar {
		for i := range frames {
			planar[c] = append(planar[c], 0.9*math.Sin(float64(i*(c+1))*0.01))
		}
	}
	for _, spec := range []Spec{{Encoding: PCM, Bits: 16}, {Encoding: PCM, Bits: 24}, {Encoding: PCM, Bits: 32}, {Encoding: Float, Bits: 32}, {Encoding: Float, Bits: 64}} {
		spec.Channels, spec.SampleRate = channels, 48000
		var file memory
		w, err := NewWriter(&file, spec)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(w.Write(planar, frames), w.Close()); err != nil {
			t.Fatal(err)
		}
		whole := decoded(t, file.b, nil)
		got := decoded(t, file.b, []int{1, 700, 33, 4096})
		for c := range whole {
			if len(whole[c]) != frames || len(got[c]) != frames {
				t.Fatalf("%+v: %d and %d frames", spec, len(whole[c]), len(got[c]))
			}
			for i := range whole[c] {
				if whole[c][i] != got[c][i] {
					t.Fatalf("%+v: frame %d of channel %d: %g decoded, %g packed", spec, i, c, whole[c][i], got[c][i])
				}
			}
		}
	}
}

// decoded reads a file by Read, or in turns by ReadPacked of the given sizes and Read.
func decoded(t *testing.T, file []byte, sizes []int) [][]float64 {
	t.Helper()
	r, err := NewReader(bytes.NewReader(file), "x.wav")
	if err != nil {
		t.Fatal(err)
	}
	out := make([][]float64, r.Channels())
	dst := make([][]float64, r.Channels())
	var b dsp.Packed
	for turn := 0; ; turn++ {
		n := 0
		if len(sizes) > 0 && turn%3 != 2 {
			if b, err = r.ReadPacked(sizes[turn%len(sizes)], b); err == nil {
				n = b.Frames()
			}
			for c := range out {
				x := make([]float64, n)
				if n > 0 {
					if uerr := b.Unpack(c, 0, x); uerr != nil {
						t.Fatal(uerr)
					}
				}
				out[c] = append(out[c], x...)
			}
		} else {
			for c := range dst {
				dst[c] = make([]float64, 611)
			}
			n, err = r.Read(dst)
			for c := range out {
				out[c] = append(out[c], dst[c][:n]...)
			}
		}
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// A sample that is no number is told by the same words and place either way.
func TestPackedTellsBadSamples(t *testing.T) {
	var file memory
	w, err := NewWriter(&file, Spec{Encoding: Float, Bits: 64, Channels: 2, SampleRate: 48000})
	if err != nil {
		t.Fatal(err)
	}
	x := [][]float64{make([]float64, 100), make([]float64, 100)}
	if err := errors.Join(w.Write(x, 100), w.Close()); err != nil {
		t.Fatal(err)
	}
	data := file.b
	copy(data[len(data)-8*2*30+8:], []byte{0, 0, 0, 0, 0, 0, 0xf0, 0x7f}) // frame 70, channel 2: infinite
	r, err := NewReader(bytes.NewReader(data), "x.wav")
	if err != nil {
		t.Fatal(err)
	}
	b, err := r.ReadPacked(100, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.Unpack(0, 0, make([]float64, 100)); err != nil {
		t.Errorf("channel 1: %v", err)
	}
	packed := b.Unpack(1, 10, make([]float64, 90))
	if !errors.Is(packed, ErrDamaged) {
		t.Fatalf("channel 2: %v", packed)
	}
	r, _ = NewReader(bytes.NewReader(data), "x.wav")
	_, plain := r.Read([][]float64{make([]float64, 100), make([]float64, 100)})
	for plain == nil {
		_, plain = r.Read([][]float64{make([]float64, 100), make([]float64, 100)})
	}
	if plain.Error() != packed.Error() {
		t.Errorf("packed: %v\nplain:  %v", packed, plain)
	}
}
