package capture

import (
	"bytes"
	"fmt"
)

// others are formats that people are likely to hand over by mistake, by their
// first bytes (at an offset), with what to do.
var others = []struct {
	at    int
	magic string
	kind  error
	name  string
}{
	{0, "RIFX", ErrUnsupported, "a big-endian WAV (RIFX)"},
	{0, "riff\x2e\x91\xcf\x11", ErrUnsupported, "a Wave64 file"},
	{0, "FORM", ErrUnsupported, "an AIFF file"},
	{0, "caff", ErrUnsupported, "a CAF file"},
	{0, "OggS", ErrUnsupported, "an Ogg file"},
	{0, "ID3", ErrUnsupported, "a file with an ID3 tag in front, as MP3 has"},
	{0, "\xff\xfb", ErrUnsupported, "an MP3 file"},
	{4, "ftyp", ErrUnsupported, "an MP4 or M4A file"},
	{0, ".snd", ErrUnsupported, "an AU file"},
	{0, "wvpk", ErrUnsupported, "a WavPack file"},
	{0, "\x1aE\xdf\xa3", ErrUnsupported, "a Matroska file"},
	{0, "PK\x03\x04", ErrNotCapture, "a ZIP archive"},
	{0, "\x1f\x8b", ErrNotCapture, "a gzip file"},
	{0, "%PDF", ErrNotCapture, "a PDF document"},
}

// refuse says what the input is instead of a capture.
func (r *Reader) refuse(magic []byte) error {
	const want = `"RIFF", "RF64" or "BW64" with "WAVE", or "fLaC"`
	if len(magic) == 0 {
		return r.fault(ErrNotCapture, 0, "the file is empty", want, hintAgain)
	}
	if len(magic) >= 4 && isRIFF(string(magic[:4])) {
		if len(magic) < 12 {
			return r.fault(ErrDamaged, int64(len(magic)), "the file ends inside its first header", "12 bytes", hintAgain)
		}
		return r.fault(ErrNotCapture, 8, fmt.Sprintf("a RIFF file of type %q", magic[8:12]), `type "WAVE"`, hintConvert)
	}
	for _, o := range others {
		if len(magic) > o.at && bytes.HasPrefix(magic[o.at:], []byte(o.magic)) {
			return r.fault(o.kind, 0, "this looks like "+o.name, "WAV or FLAC", hintConvert)
		}
	}
	if len(bytes.Trim(magic, "\x00")) == 0 {
		return r.fault(ErrNotCapture, 0, "the file starts with zero bytes", want,
			"the recorder may have lost power before it wrote the header; import the file as raw PCM in an audio editor and export WAV")
	}
	return r.fault(ErrNotCapture, 0, fmt.Sprintf("the file starts with %q", magic[:min(4, len(magic))]), want,
		"name a WAV or FLAC file")
}
