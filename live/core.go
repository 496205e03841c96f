package live

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"sync"
	"time"

	"headstack/capture"
)

// A Session is one capture in progress. Its methods may be called by several goroutines;
// frames should come from one.
type Session struct {
	cfg  Config
	file *growing
	now  func() time.Time

	in     sync.Mutex // held while frames are taken, and by Close
	planar [][]float64
	watch  *watch
	slips  *slips
	clock  *clock
	meters []*Meter
	failed *FileError
	closed bool
	kept   Kept
	err    error // of Close

	mu      sync.Mutex // held for moments only
	state   State
	changed chan struct{}
	written int64 // frames in the file

	stop context.CancelFunc // ends what runs beside
	end  chan struct{}      // closed when no frames come any more
	rest sync.WaitGroup
}

// pieceFrames is how many frames are taken at once.
const pieceFrames = 4096

// windowSeconds is the length of a level's window.
const windowSeconds = 0.1

// Start opens the file and begins a session. The caller ends it with Close.
func Start(cfg Config) (*Session, error) {
	path, err := filePath(cfg.Folder, cfg.Name)
	if err != nil {
		return nil, err
	}
	file, err := create(path)
	if err != nil {
		return nil, err
	}
	s, err := start(cfg, path, file, time.Now)
	if err != nil {
		return nil, errors.Join(err, file.Close(), os.Remove(path))
	}
	return s, nil
}

func start(cfg Config, path string, file storage, now func() time.Time) (*Session, error) {
	if cfg.Want == (Want{}) {
		cfg.Want = DefaultWant()
	}
	if cfg.SyncEvery <= 0 {
		cfg.SyncEvery = 5 * time.Second
	}
	if cfg.SampleRate < 1000 || cfg.SampleRate > capture.MaxSampleRate {
		return nil, fmt.Errorf("a capture at %d Hz: from 1000 to %d Hz are taken", cfg.SampleRate, capture.MaxSampleRate)
	}
	if cfg.Channels < 1 || cfg.Channels > capture.MaxChannels {
		return nil, fmt.Errorf("a capture of %d channels: from 1 to %d are taken", cfg.Channels, capture.MaxChannels)
	}
	if cfg.Expect.Tracks == nil {
		for c := range cfg.Channels {
			cfg.Expect.Tracks = append(cfg.Expect.Tracks, c+1)
		}
	}
	if len(cfg.Expect.Tracks) != cfg.Channels {
		return nil, fmt.Errorf("%d tracks are named for %d channels: name one per channel, 0 for a channel to leave out", len(cfg.Expect.Tracks), cfg.Channels)
	}
	g, err := newGrowing(path, file, cfg.SampleRate, cfg.Channels)
	if err != nil {
		return nil, err
	}
	s := &Session{cfg: cfg, file: g, now: now, changed: make(chan struct{}), end: make(chan struct{}),
		planar: make([][]float64, cfg.Channels), watch: newWatch(cfg.SampleRate, cfg.Channels), slips: newSlips(cfg.SampleRate, cfg.Channels)}
	for c := range s.planar {
		s.planar[c] = make([]float64, pieceFrames)
	}
	if cfg.Clocked {
		s.clock = newClock(cfg.SampleRate)
	}
	s.state = State{Phase: PhaseRunning, File: path, Source: cfg.Source, SampleRate: cfg.SampleRate, Want: cfg.Want, Sections: []Section{}}
	s.state.Channels = s.watch.channels(cfg.Expect.Tracks, false)
	ctx, stop := context.WithCancel(context.Background())
	s.stop = stop
	if err := s.beside(ctx); err != nil {
		stop()
		return nil, err
	}
	return s, nil
}

// beside starts what runs beside the taking of frames.
func (s *Session) beside(ctx context.Context) error {
	if t := s.cfg.Expect.Tape; t != nil {
		f, err := newFollower(s)
		if err != nil {
			return err
		}
		s.state.Tape, s.state.Sections = t.Name, f.sections
		s.rest.Go(func() { f.run(ctx) })
	}
	s.rest.Go(s.sync)
	return nil
}

// sync brings the file to the disk now and then.
func (s *Session) sync() {
	tick := time.NewTicker(s.cfg.SyncEvery)
	defer tick.Stop()
	for {
		select {
		case <-s.end:
			return
		case <-tick.C:
			if err := s.file.file.Sync(); err != nil {
				s.Warn(fmt.Sprintf("the file could not be brought to the disk: %v", err))
			}
		}
	}
}

// Write takes the next frames, all channels of one frame after the other. It returns
// once they are in the file. A length that is no multiple of the channels is an error
// and nothing of it is taken. A sample that is no finite number is taken as 0 and its place is a
// Void. The error is else a [FileError], also of every later Write, or [ErrClosed].
func (s *Session) Write(frames []float32) error {
	came := s.now()
	n := s.cfg.Channels
	if len(frames)%n != 0 {
		return fmt.Errorf("%d samples are no whole frames of %d channels", len(frames), n)
	}
	s.in.Lock()
	defer s.in.Unlock()
	if s.closed {
		return ErrClosed
	}
	if s.failed != nil {
		return s.failed
	}
	for len(frames) > 0 {
		k := min(pieceFrames, len(frames)/n)
		if err := s.take(frames[:k*n], k, came); err != nil {
			return err
		}
		frames = frames[k*n:]
	}
	if s.clock != nil {
		if v, ok := s.clock.came(came, s.file.w.Frames()); ok {
			s.void(v)
		}
	}
	return nil
}

// take brings one piece of k frames to the file and lets everything hear it.
func (s *Session) take(frames []float32, k int, came time.Time) error {
	at := s.file.w.Frames()
	bad := s.deal(frames, k)
	err := s.file.w.Write(s.planar, k)
	if err != nil {
		s.failed = &FileError{Path: s.file.path, Frames: s.file.w.Frames(), Err: err}
		s.change(func(st *State) {
			st.Phase, st.Error = PhaseFailed, s.failed.Error()
		})
		return s.failed
	}
	if bad > 0 {
		s.void(s.around(at, at+int64(k), 0, fmt.Sprintf("%d samples are no finite numbers; 0 stands in their place", bad)))
	}
	news := s.watch.hear(s.planar, k)
	for _, v := range s.watch.gaps() {
		s.void(v)
	}
	for _, v := range s.slips.hear(s.planar, k) {
		s.void(v)
	}
	for _, m := range s.meters {
		m.hear(s.planar, k, at, came)
	}
	s.mu.Lock()
	s.written = at + int64(k)
	s.mu.Unlock()
	if news {
		s.change(func(st *State) {
			st.Frames = s.written
			st.Seconds = float64(s.written) / float64(s.cfg.SampleRate)
			running := slices.ContainsFunc(st.Sections, func(x Section) bool { return x.Stage == Running && x.ToneHz > 0 })
			st.Channels = s.watch.channels(s.cfg.Expect.Tracks, running)
		})
	}
	return nil
}

// deal gives each channel its samples and counts those that are no numbers.
func (s *Session) deal(frames []float32, k int) (bad int) {
	n := len(s.planar)
	for c, p := range s.planar {
		p = p[:k]
		for i := range p {
			v := float64(frames[i*n+c])
			if v-v != 0 {
				v = 0
				bad++
			}
			p[i] = v
		}
	}
	return bad
}

// voidGuard is what is not believed on either side of a slip, in seconds: filters that follow a
// tone ring as long.
const voidGuard = 0.1

// around is a void about frames [from, to).
func (s *Session) around(from, to, frames int64, reason string) Void {
	rate := float64(s.cfg.SampleRate)
	return Void{FromS: max(0, float64(from)/rate-voidGuard), ToS: float64(to)/rate + voidGuard, Frames: frames, Reason: reason}
}

// mostVoids is how many are kept.
const mostVoids = 1000

func (s *Session) void(v Void) {
	s.change(func(st *State) {
		st.VoidCount++
		if len(st.Voids) < mostVoids {
			st.Voids = append(slices.Clip(st.Voids), v)
			st.FiguresSeq = st.Seq
		}
	})
}

// Missed notes that the source knows of frames that never came, just before the
// next Write; 0: it does not know how many. Why is a sentence without full stop.
func (s *Session) Missed(frames int64, why string) {
	s.in.Lock()
	defer s.in.Unlock()
	at := s.file.w.Frames()
	s.void(s.around(at, at, frames, why))
}

// Warn adds a sentence to the warnings of the capture, once.
func (s *Session) Warn(sentence string) {
	s.change(func(st *State) {
		if !slices.Contains(st.Warnings, sentence) {
			st.Warnings = append(slices.Clip(st.Warnings), sentence)
		}
	})
}

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

// change makes a new state and tells who waits. Slices are to be replaced, not written to.
func (s *Session) change(f func(*State)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.state.Seq++
	f(&s.state)
	close(s.changed)
	s.changed = make(chan struct{})
}

// Close finishes the figures and the file, brings it to the disk and says what is kept. Further
// calls return the same. After a FileError, Close finishes the file with what it holds and returns
// that error again.
func (s *Session) Close() (Kept, error) {
	s.in.Lock()
	defer s.in.Unlock()
	if s.closed {
		return s.kept, s.err
	}
	s.closed = true
	for _, m := range s.meters {
		m.shut()
	}
	s.meters = nil
	close(s.end)
	s.rest.Wait() // the figures are those of the whole file now
	s.stop()
	frames, sha, err := s.file.finish()
	if s.failed != nil {
		s.failed.Frames = frames
		err = s.failed
	}
	s.err = err
	s.change(func(st *State) {
		st.Phase, st.SHA256, st.Frames = PhaseClosed, sha, frames
		st.Seconds = float64(frames) / float64(s.cfg.SampleRate)
		if err != nil {
			st.Error = err.Error()
		}
		s.kept = Kept{Path: s.file.path, SHA256: sha, Frames: frames, Seconds: st.Seconds, Voids: st.Voids, Warnings: st.Warnings, Enough: st.Enough}
	})
	return s.kept, s.err
}
