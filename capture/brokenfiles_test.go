package capture_test

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"headstack/capture"
)

// broken is one broken capture, and what must be said of it.
type broken struct {
	name   string
	file   []byte
	kind   error // nil: warnings only
	at     int64 // byte of the error
	piece  string
	frames int // that come before it
}

// set puts a piece into a copy of a file.
func set(file []byte, at int, piece string) []byte {
	b := bytes.Clone(file)
	copy(b[at:], piece)
	return b
}

// brokenFiles makes all of testdata/broken. Byte 20 of a plain header is the
// format tag, 22 channels, 24 rate, 28 byte rate, 32 block size, 34 bits.
func brokenFiles(t *testing.T) []broken {
	return append(append(brokenWAV(), brokenLengths()...), brokenFLAC(t)...)
}

func brokenWAV() []broken {
	const not, uns, dam = 0, 1, 2
	kinds := []error{capture.ErrNotCapture, capture.ErrUnsupported, capture.ErrDamaged}
	sig := testSignal(2, 20, 50)
	plain := wav{enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig)}.build()
	ext := wav{enc: encodings[10], channels: 2, rate: 48000, data: encodings[10].encode(sig)}.build()
	rf64 := wav{id: "RF64", enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig)}.build()
	f32 := wav{enc: encodings[4], channels: 2, rate: 48000, data: encodings[4].encode(sig)}.build()
	f64 := wav{enc: encodings[5], channels: 2, rate: 48000, data: encodings[5].encode(sig)}.build()
	nan := binary.LittleEndian.AppendUint32(nil, math.Float32bits(float32(math.NaN())))
	inf := binary.LittleEndian.AppendUint64(nil, math.Float64bits(math.Inf(-1)))
	list := chunk{"LIST", []byte("INFOICMT\x04\x00\x00\x00tape")}
	long := wav{enc: encodings[1], channels: 2, rate: 48000, before: []chunk{list}}.build()
	type row struct {
		name  string
		kind  int
		at    int64
		piece string
		file  []byte
	}
	var all []broken
	for _, r := range []row{
		{"empty.wav", not, 0, "the file is empty", nil},
		{"zeros.wav", not, 0, "lost power", make([]byte, 64)},
		{"text.wav", not, 0, `starts with "reel"`, []byte("reel 4, side A, heads cleaned\n")},
		{"zip.wav", not, 0, "a ZIP archive", []byte("PK\x03\x04\x14\x00\x00\x00\x08\x00\x00\x00\x00\x00")},
		{"video.wav", not, 8, `type "AVI "`, set(plain, 8, "AVI ")},
		{"rifx.wav", uns, 0, "big-endian", set(plain, 0, "RIFX")},
		{"aiff.wav", uns, 0, "an AIFF file", []byte("FORM\x00\x00\x00\x2eAIFFCOMM\x00\x00\x00\x12\x00\x02")},
		{"caf.wav", uns, 0, "a CAF file", []byte("caff\x00\x01\x00\x00desc\x00\x00\x00\x00\x00\x00\x00\x20")},
		{"wave64.wav", uns, 0, "Wave64", []byte("riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00")},
		{"tagged.wav", uns, 0, "ID3", []byte("ID3\x03\x00\x00\x00\x00\x00\x10TIT2\x00\x00\x00\x06")},
		{"ogg.flac", uns, 0, "an Ogg file", []byte("OggS\x00\x02\x00\x00\x00\x00\x00\x00\x00\x00\x7fFLAC\x01")},
		{"cut-first-header.wav", dam, 7, "inside its first header", plain[:7]},
		{"header-only.wav", dam, 12, "neither a fmt nor a data chunk", plain[:12]},
		{"no-format.wav", dam, 52, "without a fmt chunk", append(set(plain[:12], 4, "\x2c\x00\x00\x00"), chunk{"data", make([]byte, 32)}.append(nil)...)},
		{"no-data.wav", dam, 36, "without a data chunk", plain[:36]},
		{"cut-format.wav", dam, 30, "inside the fmt chunk", plain[:30]},
		{"short-format.wav", dam, 20, "the fmt chunk has 14 bytes", set(plain, 16, "\x0e")},
		{"no-channels.wav", dam, 22, "0 channels", set(plain, 22, "\x00\x00")},
		{"many-channels.wav", dam, 22, "40000 channels", set(plain, 22, "\x40\x9c")},
		{"no-rate.wav", dam, 24, "a sample rate of 0 Hz", set(plain, 24, "\x00\x00\x00\x00")},
		{"absurd-rate.wav", dam, 24, "4294967295 Hz", set(plain, 24, "\xff\xff\xff\xff")},
		{"no-bits.wav", dam, 34, "PCM samples of 0 bits", set(plain, 34, "\x00\x00")},
		{"block-size.wav", dam, 32, "a block of 3 bytes for 2 channels of 16 bits, expected 4 bytes", set(plain, 32, "\x03")},
		{"24-bits-in-4-bytes.wav", dam, 32, "a block of 8 bytes for 2 channels of 24 bits, expected 6", set(set(plain, 32, "\x08"), 34, "\x18")},
		{"pcm-64-bit.wav", uns, 34, "PCM samples of 64 bits", set(set(plain, 32, "\x10"), 34, "\x40")},
		{"float-16-bit.wav", uns, 34, "float samples of 16 bits", set(plain, 20, "\x03")},
		{"adpcm.wav", uns, 20, "0x0002 (Microsoft ADPCM)", set(plain, 20, "\x02")},
		{"mu-law.wav", uns, 20, "0x0007 (mu-law)", set(plain, 20, "\x07")},
		{"mp3-in-wav.wav", uns, 20, "0x0055 (MP3)", set(plain, 20, "\x55")},
		{"unknown-format.wav", uns, 20, "0x1234 (unknown)", set(plain, 20, "\x34\x12")},
		{"no-extension.wav", dam, 36, "extensible format without its extension", set(plain, 20, "\xfe\xff")},
		{"valid-bits.wav", dam, 38, "48 valid bits in a container of 32", set(ext, 38, "\x30")},
		{"sub-format.wav", uns, 44, "sub-format 01000000", set(ext, 46, "\x00\x00\x21\x07\xd3\x11")},
		{"chunk-length.wav", dam, 28, "chunk name", set(long, 16, "\x07\x00")},
		{"chunk-beyond.wav", dam, 56, "neither a fmt nor a data chunk", set(long, 16, "\x00\x00\x00\x40")[:56]},
		{"short-ds64.wav", dam, 16, "a ds64 chunk of 8 bytes", set(rf64, 16, "\x08")},
		{"cut-ds64.wav", dam, 30, "inside the ds64 chunk", rf64[:30]},
		{"not-a-number.wav", dam, 44 + 8*7 + 4, "frame 7, channel 2 is no finite number", set(f32, 44+8*7+4, string(nan))},
		{"infinite.wav", dam, 44 + 16*3, "frame 3, channel 1 is no finite number", set(f64, 44+16*3, string(inf))},
	} {
		frames := map[string]int{"not-a-number.wav": 7, "infinite.wav": 3}[r.name]
		all = append(all, broken{r.name, r.file, kinds[r.kind], r.at, r.piece, frames})
	}
	return all
}

// brokenLengths are read as far as they go.
func brokenLengths() []broken {
	sig := testSignal(2, 20, 50)
	plain := wav{enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig)}.build()
	rf64 := wav{id: "RF64", enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig)}.build()
	second := wav{enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig)}
	second.before = []chunk{second.fmtChunk()}
	bare := wav{enc: encodings[1], channels: 2, rate: 48000, data: encodings[1].encode(sig), before: []chunk{{"note", []byte("odd")}}}.build()
	bare = append(bytes.Clone(bare[:23]), bare[24:]...) // without the padding
	return []broken{
		{"unpadded.wav", bare, nil, 0, "not padded at byte 23", 20},
		{"cut.wav", plain[:44+32], nil, 0, "claims 20 frames (0.000 s), the file ends after 8", 8},
		{"cut-in-frame.wav", plain[:44+31], nil, 0, "The last 3 bytes", 7},
		{"length-zero.wav", sizes(plain, 0, 0), nil, 0, "gives no length", 20},
		{"odd-length.wav", sizes(plain, 36+80, 78), nil, 0, "The last 2 bytes", 19},
		{"no-samples.wav", sizes(plain[:44], 36, 0), nil, 0, "no samples", 0},
		{"speed.wav", set(plain, 28, "\x10\xb1\x02\x00"), nil, 0, "contradicts itself on speed: 48000 Hz", 20},
		{"second-format.wav", second.build(), nil, 0, "second fmt chunk at byte 36", 20},
		{"rf64-without-ds64.wav", append(append([]byte("RF64\xff\xff\xff\xffWAVE"), rf64[48:72]...), "data\xff\xff\xff\xff\x01\x02\x03\x04"...), nil, 0,
			"no ds64 chunk", 1},
	}
}

func brokenFLAC(t *testing.T) []broken {
	dam := capture.ErrDamaged
	// The first frame is silence and so of few bytes; the second has 100 samples.
	sig := testSignal(1, 4096+100, 51)
	for i := range 4096 {
		sig[0][i] = 0
	}
	file := libraryFLAC(t, sig, 8, 48000)
	second := 42 + bytes.Index(file[43:], []byte("\xff\xf8")) + 1
	at := int64(second)
	flip := func(i int) []byte { return set(file, i, string([]byte{file[i] ^ 0x10})) }
	return []broken{
		{"no-streaminfo.flac", set(file, 4, "\x04"), dam, 4, "metadata block of type 4", 0},
		{"cut-streaminfo.flac", file[:30], dam, 30, "inside STREAMINFO", 0},
		{"cut-metadata.flac", set(file, 4, "\x00")[:42], dam, 42, "inside the FLAC metadata", 0},
		{"forbidden-metadata.flac", append(set(file[:42], 4, "\x00"), "\xff\x00\x00\x04abcd"...), dam, 42, "forbidden type 127", 0},
		{"no-rate.flac", set(file, 18, "\x00\x00\x00"), dam, 18, "a sample rate of 0 Hz", 0},
		{"three-bits.flac", set(file, 20, "\x00\x20"), dam, 20, "samples of 3 bits", 0},
		{"block-size.flac", set(file, 10, "\x00\x0f"), dam, 10, "blocks of at most 15", 0},
		{"frame-header.flac", flip(second + 4), dam, at, "CRC-8", 4096},
		{"frame-body.flac", flip(second + 60), dam, at, "CRC-16", 4096},
		{"frame-lost.flac", append(bytes.Clone(file[:42]), file[second:]...), nil, 0, "first frame has number 1", 100},
		{"frame-twice.flac", append(bytes.Clone(file[:second]), file[42:]...), dam, at, "frame number 0 follows where 1 was due", 4096},
		{"frame-start.flac", set(file, second, "\x00\x00"), dam, at, "bytes 00 00", 4096},
		{"channels-change.flac", set(file, 20, string([]byte{file[20] | 2})), dam, 42, "channels changes from 2 to 1", 0},
		{"cut.flac", file[:second+50], nil, 0, "claims 4196 frames (0.087 s), the file ends after 4096 (0.085 s)", 4096},
	}
}
