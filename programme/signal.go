package programme

import (
	"errors"
	"fmt"
	"io"
	"math"

	"headstack/dsp"
)

const (
	// RampSeconds is the rise and fall of each part, inside its ends, a half cosine:
	// long enough not to click, short beside every part.
	RampSeconds = 0.005
	// MarkSeconds is the length of the gap at each mark of a staircase, half of it on
	// each side of the mark.
	MarkSeconds = 0.2
	// TurnShare is the share of a staircase's step, from its mark on, that the person has
	// for turning the trim: what is measured of a step begins after it. A turn by a known
	// angle takes a second or two; common practice, no source.
	TurnShare = 0.4
	// StaircaseBackSteps are the first steps of a second staircase, in which the trim is
	// turned back below its first position and up to it.
	StaircaseBackSteps = 2
	// MaxRate is the highest sample rate of a written programme, Hz.
	MaxRate = 384000
)

// ErrRate is the error of a sample rate too low for the tones of a programme, or out
// of all bounds.
var ErrRate = errors.New("sample rate does not suit the programme")

// ErrRound is the error of a round that the programme does not have.
var ErrRound = errors.New("no such round")

// Seconds is the length of the programme, one round of it.
func (p *Programme) Seconds() float64 { return p.Start(len(p.Parts)) }

// Start is when part i, from 0, begins, in seconds from the beginning of a round.
func (p *Programme) Start(i int) float64 {
	s := 0.0
	for _, part := range p.Parts[:i] {
		s += part.Seconds
	}
	return s
}

// Signal is the sound to be recorded in a round, from 0, at a sample rate in Hz. It
// has one channel for each track of the round, in the round's order: channel k of the
// interface goes to track Rounds[round][k]. In a one-track part of a track of another
// round all are silent. A sine of level 0 dB has the peak 10^(ReferenceDBFS/20), and
// its stated phase at the very beginning of its part, wherever that falls between
// samples; parts rise and fall within [RampSeconds]. The stream has a method Frames
// that tells its length. The error is [ErrRound], [ErrRate] or that of [Programme.Check].
func (p *Programme) Signal(round int, rate float64) (dsp.Stream, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if round < 0 || round >= len(p.Rounds) {
		return nil, fmt.Errorf("%w: round %d of %d", ErrRound, round+1, len(p.Rounds))
	}
	if err := p.checkRate(rate); err != nil {
		return nil, err
	}
	s := &signal{p: p, tracks: p.Rounds[round], rate: rate, total: int64(math.Ceil(p.Seconds()*rate - 1e-6))}
	s.enter(0)
	return s, nil
}

func (p *Programme) checkRate(rate float64) error {
	if !(rate > 0 && rate <= MaxRate) {
		return fmt.Errorf("%w: %g Hz, want up to %d", ErrRate, rate, MaxRate)
	}
	top, name := 0.0, ""
	for _, part := range p.Parts {
		for t := 1; t <= p.Tracks; t++ {
			for _, s := range part.On(t) {
				if s.Hz > top {
					top, name = s.Hz, part.Name
				}
			}
		}
	}
	if top > 0.45*rate {
		return fmt.Errorf("%w: part %q has a tone of %s, which wants at least %.0f Hz", ErrRate, name, hertz(top), top/0.45)
	}
	return nil
}

// signal makes a round of a programme block by block.
type signal struct {
	p      *Programme
	tracks []int
	rate   float64
	total  int64
	at     int64 // frame that comes next

	part  int
	start float64 // of the part, s
	next  int64   // first frame of the part after
}

func (s *signal) Channels() int         { return len(s.tracks) }
func (s *signal) SampleRate() float64   { return s.rate }
func (s *signal) Frames() (int64, bool) { return s.total, true }

// enter makes part i current.
func (s *signal) enter(i int) {
	s.part, s.start = i, s.p.Start(i)
	// A frame just before the boundary by rounding alone belongs to the part after.
	s.next = min(s.total, int64(math.Ceil((s.start+s.p.Parts[i].Seconds)*s.rate-1e-6)))
}

// chunk bounds the frames over which phases run on by multiplication.
const chunk = 1024

func (s *signal) Read(dst [][]float64) (int, error) {
	if s.at >= s.total {
		return 0, io.EOF
	}
	for s.at >= s.next {
		s.enter(s.part + 1)
	}
	n := int(min(int64(len(dst[0])), s.next-s.at, chunk))
	part := s.p.Parts[s.part]
	for c, track := range s.tracks {
		d := dst[c][:n]
		if part.All != nil && c > 0 {
			copy(d, dst[0][:n])
			continue
		}
		clear(d)
		for _, sine := range part.On(track) {
			s.addSine(d, sine)
		}
		s.shape(d, part)
	}
	s.at += int64(n)
	return n, nil
}

// addSine adds a sine to the frames from s.at on: exact phase at the first, turned by
// multiplication from there.
func (s *signal) addSine(d []float64, sine Sine) {
	peak := math.Pow(10, (s.p.ReferenceDBFS+sine.LevelDB)/20)
	cycles := sine.Hz*(float64(s.at)/s.rate-s.start) + sine.PhaseDeg/360
	sin, cos := math.Sincos(2 * math.Pi * (cycles - math.Floor(cycles)))
	ds, dc := math.Sincos(2 * math.Pi * sine.Hz / s.rate)
	for i := range d {
		d[i] += peak * sin
		sin, cos = sin*dc+cos*ds, cos*dc-sin*ds
	}
}

// shape applies the ramps at the part's ends and the gaps of a staircase.
func (s *signal) shape(d []float64, part Part) {
	t0 := float64(s.at)/s.rate - s.start
	t1 := float64(s.at+int64(len(d)))/s.rate - s.start
	if part.Kind != Staircase && t0 >= RampSeconds && t1 <= part.Seconds-RampSeconds {
		return
	}
	for i := range d {
		d[i] *= part.envelope(float64(s.at+int64(i))/s.rate - s.start)
	}
}

// envelope is the factor on a part's sound at t seconds from its start.
func (p Part) envelope(t float64) float64 {
	e := ramp(min(t, p.Seconds-t))
	if p.Kind == Staircase && p.StepSeconds > 0 {
		for k := range p.Steps() {
			if k > 0 {
				e *= ramp(math.Abs(t-float64(k)*p.StepSeconds) - MarkSeconds/2)
			}
		}
	}
	return e
}

// ramp is a raised cosine from 0 at 0 to 1 at RampSeconds.
func ramp(t float64) float64 {
	switch {
	case t <= 0:
		return 0
	case t >= RampSeconds:
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*t/RampSeconds)
}

// Steps is the number of steps of a staircase: one more than its marks, which lie at
// each whole multiple of StepSeconds inside the part. It is 1 for any other part.
func (p Part) Steps() int {
	if p.Kind != Staircase || !(p.StepSeconds > 0) {
		return 1
	}
	return max(1, int(math.Ceil(p.Seconds/p.StepSeconds-1e-9)))
}
