package capture

import (
	"encoding/binary"
	"fmt"
	"math"
)

// unknown32 stands in a 32-bit size field for "see ds64" or, from a recorder
// that was cut off or wrote to a pipe, for "not known yet".
const unknown32 = math.MaxUint32

func isRIFF(id string) bool { return id == "RIFF" || id == "RF64" || id == "BW64" }

// riff is what walking the chunks found.
type riff struct {
	id       string
	riffSize uint64
	long     bool // a ds64 chunk was read
	dataLong uint64
	long64   map[string]uint64 // sizes of other chunks, from the ds64 table

	format   *wavFormat
	hasData  bool
	dataAt   int64
	dataSize uint64
}

// maxTable is the number of ds64 table entries kept. The table is for chunks
// over 4 GiB other than data; real files have none.
const maxTable = 64

// openWAV walks the chunks up to the samples.
func (r *Reader) openWAV() error {
	head, err := r.in.take(12)
	if err != nil {
		return r.ioError(err)
	}
	w := riff{id: string(head[:4]), riffSize: uint64(binary.LittleEndian.Uint32(head[4:]))}
	for w.format == nil || !w.hasData {
		more, err := r.chunk(&w)
		if err != nil {
			return err
		}
		if !more {
			return r.incomplete(&w)
		}
	}
	if r.in.offset() != w.dataAt {
		if err := r.in.jump(w.dataAt); err != nil {
			return r.ioError(err)
		}
	}
	f := *w.format
	r.info = Info{Format: formatOf(w.id), Encoding: f.encoding, Bits: f.bits, Channels: f.channels, SampleRate: f.sampleRate}
	r.src = r.newWAV(&w)
	return nil
}

func formatOf(id string) Format {
	if id == "RIFF" {
		return WAV
	}
	return Format(id)
}

// incomplete is the error when the chunks end too early.
func (r *Reader) incomplete(w *riff) error {
	at := r.in.offset()
	switch {
	case w.format == nil && !w.hasData:
		return r.fault(ErrDamaged, at, "the file ends with neither a fmt nor a data chunk", "both", hintAgain)
	case w.format == nil:
		return r.fault(ErrDamaged, at, "the file ends without a fmt chunk", "one that tells the encoding",
			"import the file as raw PCM in an audio editor and export WAV")
	}
	return r.fault(ErrDamaged, at, "the file ends without a data chunk", "one with the samples", hintAgain)
}

// chunk reads one chunk; more is false at the end of the file.
func (r *Reader) chunk(w *riff) (more bool, err error) {
	at := r.in.offset()
	head, err := r.in.take(8)
	if err != nil {
		return false, r.ioError(err)
	}
	if len(head) < 8 { // a stray pad byte or cut header: nothing more to find
		return false, nil
	}
	id, size := string(head[:4]), uint64(binary.LittleEndian.Uint32(head[4:]))
	body := at + 8
	switch id {
	case "ds64":
		return true, r.ds64(w, size, body)
	case "fmt ":
		return true, r.fmtChunk(w, size, body)
	case "data":
		return r.dataChunk(w, size, body)
	}
	if err := r.checkID(id, at); err != nil {
		return false, err
	}
	if big, ok := w.long64[id]; ok && size == unknown32 {
		size = big
	}
	return true, r.skipChunk(size, 0)
}

// checkID refuses what cannot be the name of a chunk, rather than stepping on
// by a random length.
func (r *Reader) checkID(id string, at int64) error {
	for i := range len(id) {
		if id[i] < ' ' || id[i] > '~' {
			return r.fault(ErrDamaged, at, fmt.Sprintf("chunk name %q", id), "four printable characters",
				"a chunk before it may have a wrong length; "+hintAgain)
		}
	}
	return nil
}

// skipChunk goes to the next chunk when used bytes of a body have been read.
func (r *Reader) skipChunk(size, used uint64) error {
	size = min(size, math.MaxInt64-1)
	if err := r.in.skip(int64(size - min(used, size))); err != nil {
		return r.ioError(err)
	}
	if size&1 == 1 {
		return r.padding()
	}
	return nil
}

// commonIDs follow odd chunks in files of writers that forget the padding.
var commonIDs = map[string]bool{"fmt ": true, "data": true, "fact": true, "LIST": true, "JUNK": true, "bext": true, "cue ": true}

// padding steps over the byte that makes a chunk even, if it is there.
func (r *Reader) padding() error {
	at := r.in.offset()
	b, err := r.in.peek(5)
	if err != nil {
		return r.ioError(err)
	}
	if len(b) == 5 && commonIDs[string(b[:4])] && !commonIDs[string(b[1:])] {
		r.notes.add("A chunk of odd length is not padded at byte %d; read as if it were.", at)
		return nil
	}
	if err := r.in.skip(1); err != nil {
		return r.ioError(err)
	}
	return nil
}

// ds64 reads the 64-bit sizes of EBU Tech 3306 and BS.2088: RIFF, data, sample
// count, then a table of other chunks.
func (r *Reader) ds64(w *riff, size uint64, at int64) error {
	if w.id == "RIFF" {
		r.notes.add("A ds64 chunk in a plain RIFF file is ignored.")
		return r.skipChunk(size, 0)
	}
	if size < 24 {
		return r.fault(ErrDamaged, at-4, fmt.Sprintf("a ds64 chunk of %d bytes", size), "28 or more", hintAgain)
	}
	b, err := r.in.take(int(min(size, 28+12*maxTable)))
	if err != nil {
		return r.ioError(err)
	}
	if len(b) < 24 {
		return r.fault(ErrDamaged, r.in.offset(), "the file ends inside the ds64 chunk", "28 bytes", hintAgain)
	}
	le := binary.LittleEndian
	w.long, w.riffSize, w.dataLong = true, le.Uint64(b), le.Uint64(b[8:])
	w.long64 = map[string]uint64{}
	if len(b) >= 28 {
		n := min(int(min(le.Uint32(b[24:]), maxTable)), (len(b)-28)/12)
		for i := range n {
			e := b[28+12*i:]
			w.long64[string(e[:4])] = le.Uint64(e[4:])
		}
	}
	return r.skipChunk(size, uint64(len(b)))
}

func (r *Reader) fmtChunk(w *riff, size uint64, at int64) error {
	if w.format != nil {
		r.notes.add("There is a second fmt chunk at byte %d; the first is used.", at-8)
		return r.skipChunk(size, 0)
	}
	b, err := r.in.take(int(min(size, 40)))
	if err != nil {
		return r.ioError(err)
	}
	if uint64(len(b)) < min(size, 40) {
		return r.fault(ErrDamaged, r.in.offset(), "the file ends inside the fmt chunk", fmt.Sprintf("%d bytes", size), hintAgain)
	}
	f, err := r.parseFormat(b, at)
	if err != nil {
		return err
	}
	w.format = &f
	return r.skipChunk(size, uint64(len(b)))
}

// dataChunk notes where the samples are. If the format is not known yet it
// steps over them, which only a file can.
func (r *Reader) dataChunk(w *riff, size uint64, at int64) (more bool, err error) {
	if w.hasData {
		r.notes.add("There is a second data chunk at byte %d; only the first is read.", at-8)
		return true, r.skipChunk(size, 0)
	}
	if w.long && size == unknown32 {
		size = w.dataLong
	} else if size == unknown32 && w.id != "RIFF" {
		r.notes.add("The %s file has no ds64 chunk with its true length.", w.id)
	}
	w.hasData, w.dataAt, w.dataSize = true, at, size
	if w.format != nil {
		return true, nil
	}
	if r.in.seek == nil {
		return false, r.fault(ErrDamaged, at-8, "the samples come before the fmt chunk in a stream", "the fmt chunk first",
			"save the stream to a file and open that")
	}
	return true, r.skipChunk(size, 0)
}
