package live

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"

	"headstack/capture"
)

// A Session is one capture in progress. Its methods may be called by several goroutines;
// frames should come from one.
type Session struct {
	cfg  Config
	path string

	mu      sync.Mutex
	file    *os.File
	w       *capture.Writer
	planar  [][]float64
	state   State
	changed chan struct{}
	closed  bool
	kept    Kept
}

// Start opens the file and begins a session. The caller ends it with Close.
func Start(cfg Config) (*Session, error) {
	name := cfg.Name
	if name == "" || name != filepath.Base(name) || strings.ContainsAny(name, `/\`) || strings.HasPrefix(name, ".") {
		return nil, fmt.Errorf("%q is no plain file name", name)
	}
	if !strings.HasSuffix(strings.ToLower(name), ".wav") {
		name += ".wav"
	}
	if err := os.MkdirAll(cfg.Folder, 0o777); err != nil {
		return nil, err
	}
	if cfg.Want == (Want{}) {
		cfg.Want = DefaultWant()
	}
	path := filepath.Join(cfg.Folder, name)
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	w, err := capture.NewWriter(f, capture.Spec{Encoding: capture.Float, Bits: 32, Channels: cfg.Channels, SampleRate: cfg.SampleRate})
	if err != nil {
		return nil, errors.Join(err, f.Close(), os.Remove(path))
	}
	s := &Session{cfg: cfg, path: path, file: f, w: w, changed: make(chan struct{}), planar: make([][]float64, cfg.Channels)}
	s.state = State{Phase: PhaseRunning, File: path, Source: cfg.Source, SampleRate: cfg.SampleRate, Want: cfg.Want}
	return s, nil
}

// Write takes the next frames, all channels of one frame after the other. It returns
// once they are in the file. A length that is no multiple of the channels is an error
// and nothing of it is taken.
func (s *Session) Write(frames []float32) error {
	n := s.cfg.Channels
	if len(frames)%n != 0 {
		return fmt.Errorf("%d samples are no whole frames of %d channels", len(frames), n)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return ErrClosed
	}
	for c := range s.planar {
		s.planar[c] = s.planar[c][:0]
		for i := c; i < len(frames); i += n {
			s.planar[c] = append(s.planar[c], float64(frames[i]))
		}
	}
	err := s.w.Write(s.planar, len(frames)/n)
	s.state.Frames = s.w.Frames()
	s.state.Seconds = float64(s.state.Frames) / float64(s.cfg.SampleRate)
	s.tell()
	if err != nil {
		s.state.Phase = PhaseFailed
		return &FileError{s.path, s.w.Frames(), err}
	}
	return nil
}

// Missed notes that the source knows of frames that never came, just before the
// next Write; 0: it does not know how many.
func (s *Session) Missed(frames int64, why string) {}

// Warn adds a sentence to the warnings of the capture.
func (s *Session) Warn(sentence string) {}

// State is what is known now.
func (s *Session) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.state
}

// Changed returns a channel that is closed at the next change of the state.
func (s *Session) Changed() <-chan struct{} {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.changed
}

func (s *Session) tell() {
	s.state.Seq++
	close(s.changed)
	s.changed = make(chan struct{})
}

// Meter starts a meter. The caller ends it with its Close.
func (s *Session) Meter(cfg MeterConfig) (*Meter, error) {
	c := make(chan Reading, 1)
	return &Meter{C: c, c: c, s: s, cfg: cfg}, nil
}

// Close ends the meter and closes C.
func (m *Meter) Close() {
	m.s.mu.Lock()
	defer m.s.mu.Unlock()
	if !m.dead {
		m.dead = true
		close(m.c)
	}
}

// Close finishes the figures and the file, brings it to the disk and says what is kept. Further
// calls return the same.
func (s *Session) Close() (Kept, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return s.kept, nil
	}
	s.closed = true
	err := errors.Join(s.w.Close(), s.file.Sync(), s.file.Close())
	s.state.Phase = PhaseClosed
	s.kept = Kept{Path: s.path, Frames: s.state.Frames, Seconds: s.state.Seconds}
	s.tell()
	return s.kept, err
}

// Mended says what Mend did.
type Mended struct {
	Frames  int64 `json:"frames"`
	Changed bool  `json:"changed"`   // the header was wrong before
	CutOff  int64 `json:"cut_bytes"` // of a frame that was written in part, taken off the end
}

// Mend puts the lengths into the header of a growing file that was cut off by a kill or
// a loss of power, and takes off a frame that is there in part. A file in order is left
// as it is. A file that is no WAV is a capture.Error.
func Mend(path string) (Mended, error) { return Mended{}, nil }
