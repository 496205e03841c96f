package web

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"slices"
	"strconv"

	"headstack/capture"
	"headstack/job"
)

// soundRates are the sample rates in Hz at which a programme is written; the first is
// taken where none is asked for. soundBits is the size of a sample: 24 bits hold the
// lowest tones, 60 dB below the highest, with room.
var soundRates = []int{48000, 44100, 88200, 96000, 192000}

const soundBits = 24

func parseRate(s string) (int, error) {
	rate, err := strconv.Atoi(s)
	if err != nil || !slices.Contains(soundRates, rate) {
		var near []string
		for _, r := range soundRates {
			near = append(near, strconv.Itoa(r))
		}
		return 0, &job.InvalidError{Field: "rate", Value: s, Problem: "is not a sample rate at which programmes are written", Nearest: near}
	}
	return rate, nil
}

// sound is a stream of known length, as a record programme makes it.
type sound interface {
	Channels() int
	Read(planar [][]float64) (int, error)
}

// sendSound writes a stream as a WAV file while it is being made. Its length is known
// before, so that the browser shows how far it is.
func sendSound(w http.ResponseWriter, r *http.Request, name string, rate int, s sound) error {
	f, ok := s.(interface{ Frames() (int64, bool) })
	if !ok {
		return errors.New("the sound does not tell its length")
	}
	frames, _ := f.Frames()
	spec := capture.Spec{Encoding: capture.PCM, Bits: soundBits, Channels: s.Channels(), SampleRate: rate}
	head, size, err := wavHead(spec, frames)
	if err != nil {
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "audio/wav")
	h.Set("Content-Disposition", `attachment; filename="`+name+`"`)
	h.Set("Content-Length", strconv.FormatInt(size, 10))
	if r.Method == http.MethodHead {
		return nil
	}
	// From here on the answer has begun: an error can only cut it short, which the length
	// shows.
	if _, err := w.Write(head); err != nil {
		return nil
	}
	out := &onward{w: w, sent: int64(len(head))}
	wav, err := capture.NewWriter(out, spec)
	if err == nil {
		err = copySound(wav, s)
	}
	if err == nil {
		err = wav.Close()
	}
	if err != nil {
		panic(http.ErrAbortHandler) // the client must not take half a file for a whole one
	}
	return nil
}

// wavHead is all that stands before the samples of a WAV file of so many frames, and
// the size of the whole file.
func wavHead(spec capture.Spec, frames int64) (head []byte, size int64, err error) {
	m := &headFile{}
	w, err := capture.NewWriter(m, spec)
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		return nil, 0, err
	}
	frame := int64(spec.Bits / 8 * spec.Channels)
	data := frames * frame
	size = int64(len(m.b)) + data + data&1
	if size-8 > math.MaxUint32 {
		return nil, 0, &pageError{status: http.StatusUnprocessableEntity, title: "The sound is too long for one WAV file", what: bytesText(size),
			hint: "Take a lower sample rate, or a programme with fewer tracks at once.", kept: "Nothing was written."}
	}
	le := binary.LittleEndian
	le.PutUint32(m.b[4:], uint32(size-8))
	le.PutUint32(m.b[len(m.b)-4:], uint32(data))
	// The count of frames stands after the name and size of the fact chunk.
	if i := bytes.Index(m.b, []byte("fact")); i >= 0 {
		le.PutUint32(m.b[i+8:], uint32(frames))
	}
	return m.b, size, nil
}

// copySound writes a stream to its end.
func copySound(w *capture.Writer, s sound) error {
	buf := make([][]float64, s.Channels())
	for c := range buf {
		buf[c] = make([]float64, 8192)
	}
	for {
		n, err := s.Read(buf)
		if n > 0 {
			if werr := w.Write(buf, n); werr != nil {
				return werr
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// headFile is a short file in memory.
type headFile struct {
	b  []byte
	at int
}

func (m *headFile) Write(p []byte) (int, error) {
	m.b = append(m.b, make([]byte, max(0, m.at+len(p)-len(m.b)))...)
	copy(m.b[m.at:], p)
	m.at += len(p)
	return len(p), nil
}

func (m *headFile) Seek(offset int64, whence int) (int64, error) {
	m.at = seekTo(offset, whence, m.at, len(m.b))
	return int64(m.at), nil
}

func seekTo[T int | int64](offset int64, whence int, at, end T) T {
	switch whence {
	case io.SeekCurrent:
		return at + T(offset)
	case io.SeekEnd:
		return end + T(offset)
	}
	return T(offset)
}

// onward passes on what is written past the bytes that were sent already, in order: the
// writer's own header, and what it fills in there at the end, are not sent again.
type onward struct {
	w        io.Writer
	at, sent int64
}

func (o *onward) Write(p []byte) (int, error) {
	skip := min(max(o.sent-o.at, 0), int64(len(p)))
	if o.at > o.sent {
		return 0, fmt.Errorf("a hole before byte %d", o.at)
	}
	o.at += int64(len(p))
	if skip == int64(len(p)) {
		return len(p), nil
	}
	n, err := o.w.Write(p[skip:])
	o.sent += int64(n)
	return int(skip) + n, err
}

func (o *onward) Seek(offset int64, whence int) (int64, error) {
	o.at = seekTo(offset, whence, o.at, o.sent)
	return o.at, nil
}
