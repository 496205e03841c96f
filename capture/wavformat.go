package capture

import (
	"encoding/binary"
	"fmt"
)

// Format tags of the fmt chunk.
const (
	tagPCM        = 0x0001
	tagFloat      = 0x0003
	tagExtensible = 0xFFFE
)

// tagNames are the tags people meet; from the registry of the 1991 and later
// Microsoft headers.
var tagNames = map[uint16]string{
	0x0002: "Microsoft ADPCM", 0x0006: "A-law", 0x0007: "mu-law", 0x0011: "IMA ADPCM",
	0x0031: "GSM 6.10", 0x0050: "MPEG audio", 0x0055: "MP3", 0x00FF: "AAC", 0x0161: "Windows Media audio",
	0x2000: "AC-3", 0xF1AC: "FLAC in WAV",
}

// mediaSubtype is the tail of the sub-format GUID of an extensible header; its
// first two bytes are a format tag.
const mediaSubtype = "\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71"

// wavFormat is what the fmt chunk says of the samples.
type wavFormat struct {
	encoding   Encoding
	bits       int // valid
	container  int // bytes of a sample
	channels   int
	sampleRate int
}

func (f wavFormat) frameBytes() int { return f.container * f.channels }

// parseFormat reads the body of a fmt chunk that starts at offset at.
func (r *Reader) parseFormat(b []byte, at int64) (wavFormat, error) {
	var f wavFormat
	if len(b) < 16 {
		return f, r.fault(ErrDamaged, at, fmt.Sprintf("the fmt chunk has %d bytes", len(b)), "16 or more", hintAgain)
	}
	le := binary.LittleEndian
	tag := le.Uint16(b)
	f.channels = int(le.Uint16(b[2:]))
	rate, byteRate := le.Uint32(b[4:]), le.Uint32(b[8:])
	align, bits := int(le.Uint16(b[12:])), int(le.Uint16(b[14:]))
	f.bits = bits
	if tag == tagExtensible {
		var err error
		if tag, f.bits, err = r.parseExtension(b, at, bits); err != nil {
			return f, err
		}
	}
	switch tag {
	case tagPCM:
		f.encoding = PCM
	case tagFloat:
		f.encoding = Float
	default:
		name := tagNames[tag]
		if name == "" {
			name = "unknown"
		}
		return f, r.fault(ErrUnsupported, at, fmt.Sprintf("format tag 0x%04X (%s)", tag, name),
			"PCM (0x0001) or IEEE float (0x0003)", hintConvert)
	}
	if f.channels < 1 || f.channels > MaxChannels {
		return f, r.fault(ErrDamaged, at+2, fmt.Sprintf("%d channels", f.channels), fmt.Sprintf("1 to %d", MaxChannels), hintAgain)
	}
	if rate < 1 || rate > MaxSampleRate {
		return f, r.fault(ErrDamaged, at+4, fmt.Sprintf("a sample rate of %d Hz", rate), fmt.Sprintf("1 to %d Hz", MaxSampleRate), hintAgain)
	}
	f.sampleRate = int(rate)
	if err := r.checkBits(f, bits, at); err != nil {
		return f, err
	}
	f.container = (bits + 7) / 8
	if align != f.frameBytes() {
		return f, r.fault(ErrDamaged, at+12, fmt.Sprintf("a block of %d bytes for %d channels of %d bits", align, f.channels, bits),
			fmt.Sprintf("%d bytes", f.frameBytes()), "how the samples lie in the file cannot be told; "+hintAgain)
	}
	if want := int64(rate) * int64(align); int64(byteRate) != want && byteRate != 0 {
		r.notes.add("The header contradicts itself on speed: %d Hz with blocks of %d bytes is %d bytes per second, it says %d; the sample rate field (%d Hz) is used.",
			rate, align, want, byteRate, rate)
	}
	return f, nil
}

// parseExtension reads the extensible part and gives the true format tag and
// the valid bits.
func (r *Reader) parseExtension(b []byte, at int64, bits int) (tag uint16, valid int, err error) {
	le := binary.LittleEndian
	if len(b) < 40 || le.Uint16(b[16:]) < 22 {
		return 0, 0, r.fault(ErrDamaged, at+16, "an extensible format without its extension",
			"a fmt chunk of 40 bytes with an extension of 22", hintAgain)
	}
	valid = int(le.Uint16(b[18:]))
	if valid > bits {
		return 0, 0, r.fault(ErrDamaged, at+18, fmt.Sprintf("%d valid bits in a container of %d", valid, bits),
			fmt.Sprintf("at most %d", bits), hintAgain)
	}
	if valid == 0 { // some writers leave it so
		valid = bits
	}
	if string(b[26:40]) != mediaSubtype {
		return 0, 0, r.fault(ErrUnsupported, at+24, fmt.Sprintf("sub-format %x", b[24:40]),
			"that of PCM or IEEE float", hintConvert)
	}
	return le.Uint16(b[24:]), valid, nil
}

func (r *Reader) checkBits(f wavFormat, bits int, at int64) error {
	switch {
	case f.encoding == PCM && bits >= 1 && bits <= 32:
		return nil
	case f.encoding == Float && (bits == 32 || bits == 64):
		return nil
	case bits == 0 || bits > 64:
		want := "1 to 32"
		if f.encoding == Float {
			want = "32 or 64"
		}
		return r.fault(ErrDamaged, at+14, fmt.Sprintf("%s samples of %d bits", f.encoding, bits), want, hintAgain)
	case f.encoding == PCM:
		return r.fault(ErrUnsupported, at+14, fmt.Sprintf("PCM samples of %d bits", bits), "1 to 32", hintConvert)
	}
	return r.fault(ErrUnsupported, at+14, fmt.Sprintf("float samples of %d bits", bits), "32 or 64", hintConvert)
}
