package meter

import (
	"bufio"
	"errors"
	"net"
	"strings"
	"sync"
	"time"
)

// Server is a meter on a socket. Make it with [Listen].
type Server struct {
	l     net.Listener
	speed float64
	lines sync.WaitGroup

	mu     sync.Mutex
	c      *Converter
	in     Input
	errors []string
	fresh  string    // the last conversion as it is sent
	at     time.Time // and when it was made
	made   int       // conversions since it was switched on
	off    bool
	conns  map[net.Conn]bool
	gone   chan struct{} // closed with the server
	once   sync.Once
}

// Listen switches a meter on at an address of TCP, such as 127.0.0.1:5025. It runs speed
// times as fast as a real one; 0 is as fast. Its leads touch nothing.
func Listen(address string, m Model, speed float64) (*Server, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, err
	}
	if speed <= 0 {
		speed = 1
	}
	s := &Server{l: l, speed: speed, c: NewConverter(m), in: Input{Open: true}, conns: map[net.Conn]bool{}, gone: make(chan struct{}), at: time.Now()}
	s.lines.Go(s.accept)
	return s, nil
}

// Address is where it listens: tcp://127.0.0.1:5025.
func (s *Server) Address() string { return "tcp://" + s.l.Addr().String() }

// Touch puts its leads on something.
func (s *Server) Touch(in Input) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.in = in
}

// Off tells whether it has switched itself off.
func (s *Server) Off() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.off
}

// Press switches it on again.
func (s *Server) Press() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.off, s.made = false, 0
}

// Close takes it off the network and waits until its lines have ended.
func (s *Server) Close() error {
	s.mu.Lock()
	s.once.Do(func() { close(s.gone) })
	for c := range s.conns {
		c.Close()
	}
	s.mu.Unlock()
	err := s.l.Close()
	s.lines.Wait()
	if errors.Is(err, net.ErrClosed) { // it was closed before
		return nil
	}
	return err
}

func (s *Server) accept() {
	for {
		c, err := s.l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			time.Sleep(10 * time.Millisecond)
			continue
		}
		s.mu.Lock()
		select {
		case <-s.gone:
			c.Close()
			s.mu.Unlock()
			return
		default:
		}
		if s.off {
			c.Close()
		} else {
			s.conns[c] = true
			s.lines.Go(func() { s.serve(c) })
		}
		s.mu.Unlock()
	}
}

// longestCommand is more than any command has.
const longestCommand = 4096

func (s *Server) serve(c net.Conn) {
	defer func() {
		c.Close()
		s.mu.Lock()
		delete(s.conns, c)
		s.mu.Unlock()
	}()
	lines := bufio.NewScanner(c)
	lines.Buffer(nil, longestCommand)
	for lines.Scan() {
		answer, wait, ok := s.line(lines.Text())
		select {
		case <-s.gone:
			return
		case <-time.After(wait):
		}
		if !ok { // it went to sleep over this question, and the line goes with it
			return
		}
		if answer == "" {
			continue
		}
		if _, err := c.Write([]byte(answer + "\n")); err != nil {
			return
		}
	}
}

// line does the commands of one line. wait is how long it takes before it answers; ok is
// false when the meter is off.
func (s *Server) line(text string) (answer string, wait time.Duration, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	made := s.made
	var answers []string
	for command := range strings.SplitSeq(text, ";") {
		if s.off {
			break
		}
		if a, ok := s.obey(command); ok {
			answers = append(answers, a)
		}
	}
	wait = time.Duration(s.made-made) * s.c.m.Period
	if s.made > made && s.c.rand.Float64() < s.c.m.Slow {
		wait += s.c.m.SlowBy
	}
	wait = time.Duration(float64(wait) / s.speed)
	return strings.Join(answers, ";"), wait, !s.off
}

// read makes one conversion.
func (s *Server) read() string {
	s.fresh, s.at = s.c.written(s.c.Convert(s.in)), time.Now()
	s.made++
	if s.c.m.OffAfter > 0 && s.made >= s.c.m.OffAfter {
		s.off = true
	}
	return s.fresh
}

// catchUp makes the conversions that a meter made by itself since the last one.
func (s *Server) catchUp() {
	n := int(time.Since(s.at).Seconds() * s.speed / s.c.m.Period.Seconds())
	made := s.made
	for range min(n, 100) {
		s.read()
	}
	s.made = min(made+1, s.made)
}
