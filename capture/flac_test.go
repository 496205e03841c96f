package capture_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/mewkiz/flac"

	"headstack/capture"
)

// TestFLACExamples decodes the worked examples of RFC 9639, appendix D.1 and
// D.3. The bytes are given from memory of the RFC; that they are right is shown
// by the checksums in them: CRC-8, CRC-16, and the MD5 in STREAMINFO, which is
// that of the samples here.
func TestFLACExamples(t *testing.T) {
	for _, c := range []struct {
		name, hex string
		info      capture.Info
		want      [][]float64 // integers
	}{
		{"D.1", "664c6143 80000022 10001000 00000f00 000f0ac4 42f00000 00013e84 b41807dc 69030758 6a3dad1a 2e0f" +
			"fff86918 0000bf03 58fd0312 8baa9a",
			capture.Info{Format: capture.FLAC, Encoding: capture.PCM, Bits: 16, Channels: 2, SampleRate: 44100},
			[][]float64{{25588}, {10416}}},
		{"D.3", "664c6143 80000022 10001000 00001f00 001f07d0 00700000 0018f8f9 e396f5cb cfc6dc80 7f997790 6b32" +
			"fff86802 0017e944 004f6f31 3d1047d2 27cb6d09 0831452b dc282222 8057a3",
			capture.Info{Format: capture.FLAC, Encoding: capture.PCM, Bits: 8, Channels: 1, SampleRate: 32000},
			[][]float64{{0, 79, 111, 78, 8, -61, -90, -68, -13, 42, 67, 53, 13, -27, -46, -38, -12, 14, 24, 19, 6, -4, -5, 0}}},
	} {
		file, err := hex.DecodeString(strings.ReplaceAll(c.hex, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		for ch := range c.want {
			for i := range c.want[ch] {
				c.want[ch][i] = math.Ldexp(c.want[ch][i], 1-c.info.Bits)
			}
		}
		t.Run(c.name, func(t *testing.T) { conform(t, file, c.want, 0, c.info) })
	}
}

// TestFLACReferenceEncoder decodes what the reference encoder (flac, of which
// RFC 9639 was written) makes with all its predictors, stereo forms and sizes.
func TestFLACReferenceEncoder(t *testing.T) {
	tone := func(channels, n int) [][]float64 { // compressible: predictors of high order
		p, noise := planar(channels, n), testSignal(channels, n, 31)
		for c := range p {
			for i := range p[c] {
				p[c][i] = 0.6*math.Sin(float64(i)*0.031*float64(c+1)) + 1e-3*noise[c][i]
			}
		}
		return p
	}
	alike := tone(2, 10000) // side channel small, then large
	copy(alike[1][:5000], alike[0])
	// Which stereo form is smallest follows from the variances: with left = c+d and
	// right = c-d, mid and side for d = c/2, side and right for left = right + d.
	c, d := testSignal(1, 9000, 61)[0], testSignal(1, 9000, 62)[0]
	mid, right := planar(2, 9000), planar(2, 9000)
	for i := range c {
		mid[0][i], mid[1][i] = 0.5*c[i]+0.25*d[i], 0.5*c[i]-0.25*d[i]
		right[0][i], right[1][i] = 0.5*c[i]+0.1*d[i], 0.5*c[i]
	}
	// The k-th difference of a sine is its angular step to the k-th, that of rounding
	// grows by 2 to 4 with each order: steps of 0.1 and 0.005 ask for orders 4 and 3.
	smooth := planar(2, 9000)
	for i := range smooth[0] {
		smooth[0][i], smooth[1][i] = 0.6*math.Sin(0.1*float64(i)), 0.6*math.Sin(0.005*float64(i))
	}
	still := planar(2, 5000)
	for i := range still[0] {
		still[0][i], still[1][i] = -0.5, float64(i%3)*0.25 // constant; wasted bits
	}
	for _, c := range []struct {
		name string
		sig  [][]float64
		args []string
	}{
		{"tones", tone(8, 9000), []string{"-8"}},
		{"tone alone", tone(1, 9000), []string{"-5"}},
		{"stereo", alike, []string{"-8", "-m"}},
		{"mid and side", mid, []string{"-5", "-m"}},
		{"side and right", right, []string{"-5", "-m"}},
		{"smooth", smooth, []string{"-l", "0", "-b", "4096"}},
		{"orders to 32", tone(2, 9000), []string{"-l", "32", "-b", "8192", "--lax", "-r", "15"}},
		{"fixed", tone(2, 9000), []string{"-0"}},
		{"small blocks", tone(3, 5000), []string{"-b", "16"}},
		{"large blocks", tone(2, 70000), []string{"-b", "65535", "--lax"}},
		{"noise", testSignal(2, 9000, 5), []string{"-8"}},
		{"still", still, nil},
		{"tags and seek table", tone(1, 9000), []string{"-S", "500x", "-T", "TITLE=x", "-P", "200000"}},
	} {
		for _, bits := range []int{8, 16, 24, 32} {
			t.Run(c.name, func(t *testing.T) {
				file := toolFLAC(t, c.sig, bits, 96000, c.args...)
				r := opened(t)(capture.NewReader(onlyReader{bytes.NewReader(file)}, "x"))
				if w := (capture.Info{Format: capture.FLAC, Encoding: capture.PCM, Bits: bits, Channels: len(c.sig), SampleRate: 96000}); r.Info() != w {
					t.Errorf("info %v, want %v", r.Info(), w)
				}
				want := planar(len(c.sig), len(c.sig[0]))
				for ch := range want {
					for i, v := range integers(c.sig[ch], bits) {
						want[ch][i] = math.Ldexp(float64(v), 1-bits)
					}
				}
				checkSamples(t, r, want, 0, 4096)
				checkWarnings(t, c.name, r.Warnings(), nil)
			})
		}
	}
}

// TestFLACRates: rates with and without a code of their own.
func TestFLACRates(t *testing.T) {
	for _, rate := range []int{1, 999, 8000, 22050, 24000, 32000, 44100, 48000, 64000, 88200, 96000, 176400, 192000, 352800, 384000, 655350, 705600} {
		file := toolFLAC(t, testSignal(1, 300, 5), 16, rate, "--lax")
		r := opened(t)(capture.NewReader(bytes.NewReader(file), "x"))
		if got, err := readAll(r, 100); err != nil || len(got[0]) != 300 || r.SampleRate() != float64(rate) {
			t.Errorf("%d Hz: %d frames at %v Hz, %v", rate, len(got[0]), r.SampleRate(), err)
		}
	}
}

// TestFLACAgainstLibrary: an independent decoder gives the same integers.
func TestFLACAgainstLibrary(t *testing.T) {
	file := toolFLAC(t, testSignal(2, 9000, 5), 24, 48000)
	r := opened(t)(capture.NewReader(bytes.NewReader(file), "x"))
	got, err := readAll(r, 777)
	if err != nil {
		t.Fatal(err)
	}
	other, err := flac.New(bytes.NewReader(file))
	if err != nil {
		t.Fatal(err)
	}
	want := planar(2, 0)
	for {
		f, err := other.ParseNext()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for c, s := range f.Subframes {
			for _, v := range s.Samples {
				want[c] = append(want[c], float64(v)/(1<<23))
			}
		}
	}
	if len(got[0]) != len(want[0]) {
		t.Fatalf("%d frames, want %d", len(got[0]), len(want[0]))
	}
	compare(t, "library", got, want, 0)
}

// TestFLACLengths: streams that end early, or do not say how long they are.
func TestFLACLengths(t *testing.T) {
	sig := testSignal(2, 3*4096, 13)
	file := libraryFLAC(t, sig, 16, 48000)
	frame := (len(file) - 42) / 3 // all verbatim, so of one size but for the coded number
	unknown := bytes.Clone(file)
	copy(unknown[22:26], "\x00\x00\x00\x00") // frame count, but for its top 4 bits, which are 0
	less := bytes.Clone(file)
	less[24], less[25] = 0x20, 0x01 // 8193
	for _, c := range []struct {
		name   string
		file   []byte
		frames int
		warn   []string
	}{
		{"sound", file, 12288, nil},
		{"length unknown", unknown, 12288, nil},
		{"cut in a frame", file[:42+frame*3/2], 4096, []string{"last FLAC frame, at byte", "claims 12288 frames (0.256 s), the file ends after 4096 (0.085 s)"}},
		{"cut between frames", file[:42+frame*2], 8192, []string{"the file ends after 8192"}},
		{"cut in a frame header", file[:42+frame+3], 4096, []string{"the file ends after 4096"}},
		{"cut in a frame, length unknown", unknown[:42+frame*3/2], 4096, []string{"last FLAC frame, at byte"}},
		{"cut before all frames", file[:42], 0, []string{"the file ends after 0", "no samples"}},
		{"more than claimed", less, 8193, []string{"goes beyond the 8193 frames"}},
		{"a tag behind", append(bytes.Clone(file), "TAG and so on"...), 12288, nil},
	} {
		r := opened(t)(capture.NewReader(bytes.NewReader(c.file), c.name))
		got, err := readAll(r, 1000)
		if err != nil || len(got[0]) != c.frames {
			t.Errorf("%s: %d frames, %v, want %d, nil", c.name, len(got[0]), err, c.frames)
			continue
		}
		compare(t, c.name, got, [][]float64{sig[0][:c.frames], sig[1][:c.frames]}, math.Ldexp(1, -16))
		checkWarnings(t, c.name, r.Warnings(), c.warn)
	}
}

// TestFLACDamage: no single changed bit passes unnoticed, and the frames before it come first.
func TestFLACDamage(t *testing.T) {
	sig := testSignal(1, 1200, 13)
	file := libraryFLAC(t, sig, 16, 48000)
	for bit := 42 * 8; bit < len(file)*8; bit += 23 {
		b := bytes.Clone(file)
		b[bit/8] ^= 0x80 >> (bit % 8)
		r := opened(t)(capture.NewReader(bytes.NewReader(b), "x"))
		got, err := readAll(r, 1000)
		if !errors.Is(err, capture.ErrDamaged) && len(r.Warnings()) == 0 {
			t.Errorf("bit %d changed: %d frames, %v, no warning; want a sign of damage", bit, len(got[0]), err)
		}
	}
	long := libraryFLAC(t, testSignal(1, 3*4096, 1), 16, 48000)
	frame := (len(long) - 42) / 3
	for name, b := range map[string][]byte{
		"frame missing": append(bytes.Clone(long[:42+frame]), long[42+2*frame:]...),
		"frame altered": append(append(bytes.Clone(long[:42+frame+50]), long[42+frame+50]^1), long[42+frame+51:]...),
	} {
		r := opened(t)(capture.NewReader(bytes.NewReader(b), "x"))
		got, err := readAll(r, 1000)
		e, ok := errors.AsType[*capture.Error](err)
		if !ok || e.Kind != capture.ErrDamaged || e.Offset != int64(42+frame) || len(got[0]) != 4096 {
			t.Errorf("%s: %d frames, %v; want 4096 and damage at byte %d", name, len(got[0]), err, 42+frame)
		}
	}
}
