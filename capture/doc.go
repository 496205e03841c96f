// Package capture reads and writes multichannel audio files as streams of
// planar float64 samples: WAV in all its sizes (RIFF, RF64, BW64) and FLAC.
//
// # What a reader gives
//
// [Open] and [NewReader] tell the format by content, never by file name. The
// [Reader] is a [headstack/dsp.Stream]: integers of N bits are divided by
// 2^(N-1), so full scale is ±1.0 and the most positive PCM sample is
// 1 - 2^-(N-1); 8-bit WAV is unsigned and is centred on 128 first. Floating
// point is passed as it stands, also beyond ±1.0. All these conversions are
// exact in float64. Frames come in file order; channel n is the n-th of the file,
// whatever loudspeaker the header may assign to it.
//
// Memory is bounded by the format's own limits (a block of about 128 KiB, for
// FLAC one frame of at most 65535 samples a channel), not by what a header
// claims. Read does not allocate.
//
// # Formats
//
//   - WAV, RF64, BW64: PCM 1 to 32 bits in containers of 8 (unsigned), 16, 24
//     and 32 bits, IEEE float of 32 and 64 bits, plain and extensible headers,
//     chunks in any order, up to 256 channels.
//   - FLAC: 4 to 32 bits, 1 to 8 channels.
//
// A damaged length is not fatal: a data chunk that claims more than the file
// holds, a length left at 0 or 0xFFFFFFFF by a recorder that was cut off, a
// length that wrapped at 4 GiB and a FLAC stream that stops early are read as
// far as they go, and [Reader.Warnings] says what was missing. Everything that
// would change the numbers silently (an impossible block size, an unknown
// encoding, a sample that is no number, a failed FLAC checksum) is an [Error]
// with file, byte, what was found, what was expected and what to do.
//
// # Writing
//
// [NewWriter] writes PCM of 16, 24 or 32 bits or float of 32 or 64 bits, and turns the file
// into RF64 when it passes 4 GiB. Nothing is dithered: rounding is to the nearest
// step, ties to even. Samples beyond full scale are clipped and counted.
//
// # Sources
//
//   - IBM and Microsoft, Multimedia Programming Interface and Data
//     Specifications 1.0, 1991: RIFF chunks and padding, WAVE form, PCM data
//     left-justified in its container, 8 bits and below unsigned.
//   - Microsoft, Multiple Channel Audio Data and WAVE Files, 2007:
//     WAVEFORMATEXTENSIBLE, valid bits, sub-format GUIDs, and the rule that more than two
//     channels or more than 16 bits use it.
//   - EBU Tech 3306 v1.1, 2009 (RF64): the ds64 chunk, its reservation as JUNK.
//   - Recommendation ITU-R BS.2088-1, 2019 (BW64).
//   - RFC 9639, Free Lossless Audio Codec (FLAC), 2024.
//
// # Limits
//
// No big-endian RIFX, no compressed WAV (ADPCM, A-law, mu-law, MP3), no AIFF,
// CAF or Wave64, no FLAC in Ogg: each is named in its error, with the way out. A stream
// is read once from front to back; there is no seeking to a frame. Chunks with
// notes, cue points or loudspeaker positions are skipped.
package capture
