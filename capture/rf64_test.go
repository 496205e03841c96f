package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"math"
	"testing"
)

// front keeps the first bytes of a file and forgets the rest.
type front struct {
	kept [256]byte
	at   int64
	end  int64
}

func (f *front) Write(p []byte) (int, error) {
	if f.at < int64(len(f.kept)) {
		copy(f.kept[f.at:], p)
	}
	f.at += int64(len(p))
	f.end = max(f.end, f.at)
	return len(p), nil
}

func (f *front) Seek(at int64, whence int) (int64, error) {
	if whence == io.SeekStart {
		f.at = at
	}
	return f.at, nil
}

// TestRF64Switch writes true sizes on both sides of 4 GiB; the samples between
// are counted, not made. Layout by EBU Tech 3306: the JUNK chunk of 28 bytes at
// 12 becomes ds64 with RIFF size, data size, sample count.
func TestRF64Switch(t *testing.T) {
	spec := Spec{Encoding: PCM, Bits: 24, Channels: 1, SampleRate: 48000}
	head := int64(12 + 8 + 28 + 8 + 40 + 12 + 8)  // fmt is extensible, with a fact chunk
	last := (math.MaxUint32 - 1 - (head - 8)) / 3 // frames of the longest plain file, 1 for padding
	for frames, long := range map[int64]bool{1: false, last: false, last + 1: true, last + 2: true, 3 << 31: true} {
		var f front
		w, err := NewWriter(&f, spec)
		if err != nil {
			t.Fatal(err)
		}
		if w.dataAt != head {
			t.Fatalf("the samples start at %d, want %d", w.dataAt, head)
		}
		w.frames = frames - 1
		f.at += (frames - 1) * 3
		if err := w.Write([][]float64{{0.5}}, 1); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		k, le := f.kept[:], binary.LittleEndian
		end := head + frames*3 + frames*3&1
		if f.end != end || f.at != end {
			t.Errorf("%d frames: the file ends at %d and stands at %d, want %d", frames, f.end, f.at, end)
		}
		size, data, fact := uint64(le.Uint32(k[4:])), uint64(le.Uint32(k[head-4:])), uint64(le.Uint32(k[head-12:]))
		id, reserve := "RIFF", "JUNK"
		if long {
			id, reserve = "RF64", "ds64"
			if size != unknown32 || data != unknown32 || fact != unknown32 {
				t.Errorf("%d frames: 32-bit sizes %d, %d, %d, want all ones", frames, size, data, fact)
			}
			size, data, fact = le.Uint64(k[20:]), le.Uint64(k[28:]), le.Uint64(k[36:])
		}
		if string(k[:4]) != id || string(k[12:16]) != reserve || le.Uint32(k[16:]) != 28 {
			t.Errorf("%d frames: %q, %q, want %s and %s of 28", frames, k[:4], k[12:20], id, reserve)
		}
		if size != uint64(end-8) || data != uint64(frames*3) || fact != uint64(frames) {
			t.Errorf("%d frames: sizes %d, %d, %d, want %d, %d, %d", frames, size, data, fact, end-8, frames*3, frames)
		}
	}
}

// TestRF64RoundTrip reads back a file that was made to switch early.
func TestRF64RoundTrip(t *testing.T) {
	for _, spec := range []Spec{{PCM, 16, 1, 48000}, {PCM, 24, 3, 48000}, {Float, 32, 2, 48000}} {
		f := &memory{}
		w, err := NewWriter(f, spec)
		if err != nil {
			t.Fatal(err)
		}
		w.limit = 1000
		sig := make([][]float64, spec.Channels)
		for c := range sig {
			sig[c] = make([]float64, 501)
			for i := range sig[c] {
				sig[c][i] = float64(i-250) / 256
			}
		}
		if err := w.Write(sig, 501); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err := NewReader(bytes.NewReader(f.b), "x")
		if err != nil {
			t.Fatal(err)
		}
		if n, known := r.Frames(); r.Info().Format != RF64 || n != 501 || !known || len(r.Warnings()) > 0 {
			t.Errorf("%v: %v, %d frames, %v, %q", spec, r.Info(), n, known, r.Warnings())
		}
		got := make([][]float64, spec.Channels)
		for c := range got {
			got[c] = make([]float64, 501)
		}
		if n, err := r.Read(got); n != 501 || err != nil {
			t.Fatal(n, err)
		}
		for c := range got {
			for i := range got[c] {
				if got[c][i] != sig[c][i] {
					t.Fatalf("%v: channel %d, frame %d: %v, want %v", spec, c, i, got[c][i], sig[c][i])
				}
			}
		}
	}
}

// memory is a file in memory.
type memory struct {
	b  []byte
	at int
}

func (m *memory) Write(p []byte) (int, error) {
	if need := m.at + len(p); need > len(m.b) {
		m.b = append(m.b, make([]byte, need-len(m.b))...)
	}
	m.at += copy(m.b[m.at:], p)
	return len(p), nil
}

func (m *memory) Seek(at int64, whence int) (int64, error) {
	if whence == io.SeekStart {
		m.at = int(at)
	}
	return int64(m.at), nil
}
