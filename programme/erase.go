package programme

import (
	"errors"
	"fmt"
	"io"

	"headstack/dsp"
)

// ErrNoErase is the error of asking for the second pass of a programme without an
// erase part.
var ErrNoErase = errors.New("the programme has no erase part")

// ErasePass is the second pass over a round that was recorded: silence over the second
// half of its erase part. Times are in seconds from the beginning of the round on tape.
type ErasePass struct {
	Part   int     // index of the erase part
	StartS float64 // the erase tone begins
	FromS  float64 // recording of silence begins: the middle of the part
	ToS    float64 // the part ends; nothing follows it in a standard programme
	// Silence is what is fed to the tracks of the round meanwhile, from before FromS
	// until after ToS: no sound at all, from the output that also played the round, so
	// that the inputs see the same source.
	Silence dsp.Stream
}

// eraseSpareSeconds is how much longer the silence lasts than needed: who starts it a
// little early or stops late must not record something else.
const eraseSpareSeconds = 10.0

// ErasePass says what the second pass over a round does. A person starts it by hand,
// so FromS is met within a second or so: a measure must leave that out or look for the
// fall itself. The error is [ErrRound], [ErrRate] or [ErrNoErase].
func (p *Programme) ErasePass(round int, rate float64) (*ErasePass, error) {
	if round < 0 || round >= len(p.Rounds) {
		return nil, fmt.Errorf("%w: round %d of %d", ErrRound, round+1, len(p.Rounds))
	}
	if !(rate > 0 && rate <= MaxRate) {
		return nil, fmt.Errorf("%w: %g Hz, want up to %d", ErrRate, rate, MaxRate)
	}
	for i, part := range p.Parts {
		if part.Kind != Erase {
			continue
		}
		e := &ErasePass{Part: i, StartS: p.Start(i)}
		e.FromS, e.ToS = e.StartS+part.Seconds/2, e.StartS+part.Seconds
		frames := int64((part.Seconds/2 + eraseSpareSeconds) * rate)
		e.Silence = &nothing{channels: len(p.Rounds[round]), rate: rate, total: frames, left: frames}
		return e, nil
	}
	return nil, ErrNoErase
}

// nothing is a stream of zeros.
type nothing struct {
	channels    int
	rate        float64
	total, left int64
}

func (z *nothing) Channels() int         { return z.channels }
func (z *nothing) SampleRate() float64   { return z.rate }
func (z *nothing) Frames() (int64, bool) { return z.total, true }

func (z *nothing) Read(dst [][]float64) (int, error) {
	if z.left == 0 {
		return 0, io.EOF
	}
	n := int(min(z.left, int64(len(dst[0]))))
	for c := range dst {
		clear(dst[c][:n])
	}
	z.left -= int64(n)
	return n, nil
}
