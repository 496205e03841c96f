package live

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"headstack/capture"
	"headstack/dsp"
)

// storage is what a file is to a session.
type storage interface {
	io.Writer
	io.Seeker
	io.ReaderAt
	io.Closer
	Sync() error
	Truncate(size int64) error
}

// growing is the file of a session. Its writes come from one goroutine at a time; what was
// written may be read by others meanwhile.
type growing struct {
	path     string
	file     storage
	w        *capture.Writer
	head     []byte // everything before the samples
	frame    int64  // bytes
	rate     int
	channels int
}

// filePath is where a session's file lies.
func filePath(folder, name string) (string, error) {
	if name == "" || name != filepath.Base(name) || strings.ContainsAny(name, `/\`) || strings.HasPrefix(name, ".") {
		return "", fmt.Errorf("%q is no plain file name", name)
	}
	if !strings.EqualFold(filepath.Ext(name), ".wav") {
		name += ".wav"
	}
	return filepath.Join(folder, name), nil
}

// create opens a new file; one that is there already is fs.ErrExist.
func create(path string) (storage, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		return nil, err
	}
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
}

func newGrowing(path string, file storage, rate, channels int) (*growing, error) {
	g := &growing{path: path, file: file, frame: 4 * int64(channels), rate: rate, channels: channels}
	var err error
	if g.w, err = capture.NewWriter(file, capture.Spec{Encoding: capture.Float, Bits: 32, Channels: channels, SampleRate: rate}); err != nil {
		return nil, err
	}
	size, err := file.Seek(0, io.SeekCurrent)
	if err != nil {
		return nil, err
	}
	g.head = make([]byte, size)
	if _, err := file.ReadAt(g.head, 0); err != nil {
		return nil, err
	}
	return g, nil
}

// stream reads frames [from, to) of what was written. The samples behind the header of a
// length unknown are a capture of their own.
func (g *growing) stream(from, to int64) (dsp.Stream, error) {
	body := io.NewSectionReader(g.file, int64(len(g.head))+from*g.frame, (to-from)*g.frame)
	return capture.NewReader(io.MultiReader(strings.NewReader(string(g.head)), body), g.path)
}

// finish closes the file with its lengths filled in and gives its hash. What a write that
// failed left behind is kept as far as it is whole frames.
func (g *growing) finish() (frames int64, sha string, err error) {
	err = g.w.Close()
	frames = g.w.Frames()
	if err != nil {
		m, mendErr := mend(g.file, g.path, true)
		if mendErr == nil {
			frames = m.Frames
		}
		err = errors.Join(err, mendErr)
	}
	err = errors.Join(err, g.file.Sync())
	h := sha256.New()
	if _, hashErr := io.Copy(h, io.NewSectionReader(g.file, 0, 1<<62)); hashErr != nil {
		err = errors.Join(err, fmt.Errorf("reading %s back: %w", g.path, hashErr))
	} else {
		sha = hex.EncodeToString(h.Sum(nil))
	}
	return frames, sha, errors.Join(err, g.file.Close())
}

// Mended says what Mend did.
type Mended struct {
	Frames  int64 `json:"frames"`
	Changed bool  `json:"changed"`   // the file was not in order before
	CutOff  int64 `json:"cut_bytes"` // of a frame that was written in part, taken off the end
}

// Mend puts the lengths into the header of a growing file that was cut off by a kill or a
// loss of power, and takes off a frame that is there in part. A file in order is left as it
// is. What is no WAV file is a [capture.Error].
func Mend(path string) (Mended, error) {
	r, err := capture.Open(path) // says what is wrong with anything else
	if err != nil {
		return Mended{}, err
	}
	format := r.Info().Format
	if err := r.Close(); err != nil {
		return Mended{}, err
	}
	if format == capture.FLAC {
		return Mended{}, &capture.Error{Kind: capture.ErrNotCapture, File: path, Offset: 0, What: "a FLAC file", Want: "a WAV file that a capture left", Hint: "a FLAC file that was cut off is read as it is"}
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return Mended{}, err
	}
	m, err := mend(f, path, false)
	if err == nil && m.Changed {
		err = f.Sync()
	}
	return m, errors.Join(err, f.Close())
}

// mend is Mend of an open file. With all, samples behind the end that the header states are
// taken in: a write that failed halfway left them.
func mend(f storage, path string, all bool) (Mended, error) {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return Mended{}, err
	}
	p, err := findParts(f, size)
	if err != nil {
		return Mended{}, fmt.Errorf("%s: %w", path, err)
	}
	there := size - p.dataAt
	if !p.open && !all {
		return Mended{Frames: p.dataSize / p.frame}, nil
	}
	m := Mended{Frames: there / p.frame}
	m.Changed, m.CutOff = true, there%p.frame
	end := p.dataAt + m.Frames*p.frame
	if m.CutOff > 0 {
		if err := f.Truncate(end); err != nil {
			return m, fmt.Errorf("%s: %w", path, err)
		}
	}
	return m, p.patch(f, end, m.Frames)
}

// parts is where the lengths of a WAV file stand.
type parts struct {
	dataAt   int64 // of the first sample
	dataSize int64 // as the header has it
	open     bool  // the header says that the length is unknown
	long     bool  // there is a ds64 chunk
	factAt   int64 // of the fact chunk's count, 0: none
	room     int64 // of a chunk of 28 bytes right after WAVE, for ds64; 0: none
	frame    int64
}

const unknown = 0xffffffff

func findParts(f io.ReaderAt, size int64) (p parts, err error) {
	le := binary.LittleEndian
	var head [12]byte
	if _, err := f.ReadAt(head[:], 0); err != nil {
		return p, err
	}
	long := int64(-1) // data length of a ds64 chunk
	for at := int64(12); ; {
		var c [8]byte
		if _, err := f.ReadAt(c[:], at); err != nil {
			return p, fmt.Errorf("no samples: the header ends at byte %d: %w", at, io.ErrUnexpectedEOF)
		}
		length := int64(le.Uint32(c[4:]))
		at += 8
		switch string(c[:4]) {
		case "JUNK":
			if at == 20 && length >= 28 {
				p.room = at - 8
			}
		case "ds64":
			var b [16]byte
			if _, err := f.ReadAt(b[:], at); err != nil {
				return p, err
			}
			p.room, long = at-8, int64(le.Uint64(b[8:]))
		case "fmt ":
			var b [16]byte
			if _, err := f.ReadAt(b[:], at); err != nil {
				return p, err
			}
			p.frame = int64(le.Uint16(b[12:]))
		case "fact":
			p.factAt = at
		case "data":
			if p.frame == 0 {
				return p, errors.New("the samples come before their format")
			}
			p.dataAt, p.dataSize = at, length
			if length == unknown && long >= 0 {
				p.dataSize = long
			}
			riff := le.Uint32(head[4:])
			p.open = long < 0 && (length == unknown || length == 0 || riff == unknown) || p.dataAt+p.dataSize > size
			p.long = long >= 0
			return p, nil
		}
		at += length + length&1
		if at > size {
			return p, fmt.Errorf("no samples: a chunk before them reaches past the end of the file: %w", fs.ErrInvalid)
		}
	}
}

// patch writes the lengths, in the order in which a kill between two of them does least harm.
func (p parts) patch(f io.WriteSeeker, end, frames int64) error {
	le := binary.LittleEndian
	type put struct {
		at int64
		b  []byte
	}
	data, count := end-p.dataAt, uint32(min(frames, unknown))
	riff := end + data&1 - 8
	puts := []put{}
	if data&1 == 1 {
		puts = append(puts, put{end, []byte{0}})
	}
	if riff >= unknown || p.long {
		if p.room == 0 {
			return errors.New("the file has no room in its header for a length over 4 GiB: it is read as far as it goes all the same")
		}
		b := le.AppendUint32([]byte("ds64"), 28)
		for _, v := range []int64{riff, data, frames} {
			b = le.AppendUint64(b, uint64(v))
		}
		count = unknown
		puts = append(puts, put{p.room, b}, put{p.dataAt - 4, le.AppendUint32(nil, unknown)}, put{4, le.AppendUint32(nil, unknown)})
		if !p.long {
			puts = append(puts, put{0, []byte("RF64")})
		}
	} else {
		puts = append(puts, put{4, le.AppendUint32(nil, uint32(riff))}, put{p.dataAt - 4, le.AppendUint32(nil, uint32(data))})
	}
	if p.factAt > 0 {
		puts = append(puts, put{p.factAt, le.AppendUint32(nil, count)})
	}
	for _, x := range puts {
		if _, err := f.Seek(x.at, io.SeekStart); err != nil {
			return err
		}
		if _, err := f.Write(x.b); err != nil {
			return err
		}
	}
	_, err := f.Seek(end, io.SeekStart)
	return err
}
