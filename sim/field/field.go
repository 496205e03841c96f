package field

import (
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"sync"
)

// Head is a stack of cores in one block. Positions across the tape are measured from
// the tape edge beside track 1. Start from [Kind.Head].
type Head struct {
	GapM     float64   // design gap
	CentresM []float64 // of the cores, track 1 first
	WidthsM  []float64 // of the cores

	// SideDecay is the rate, in units of the wavenumber k, at which the sensing
	// potential falls beside a core.
	SideDecay float64

	// FaceM is the length of the pole face along the tape, 0: so long that its
	// ends are not felt. The outer potential falls over EndM at either end, and the
	// tape stands EndSpacingM off the ends.
	FaceM, EndM, EndSpacingM float64
}

// Tape is the recording.
type Tape struct {
	SpeedMS  float64 // at which it was recorded
	CoatingM float64 // depth magnetised evenly
	WidthM   float64
	// FullWidth: recorded from edge to edge. Otherwise the tracks below are, all with the same tone.
	FullWidth bool
	CentresM  []float64
	WidthsM   []float64
	// Compensated: the maker lowered the tones of a full-width tape by what a sound
	// head of this kind gathers beside its cores.
	Compensated bool
	Curve       Curve // recorded flux
}

// ErrModel is the error of a head, tape or fault that cannot be.
var ErrModel = errors.New("impossible head, tape or fault")

// Player plays a tape on a head. It may be used from several goroutines.
type Player struct {
	head  Head
	tape  Tape
	steps steps

	mu   sync.Mutex
	memo map[reading]float64
}

// reading names one integral over gap and coating.
type reading struct{ k, gap, spacing float64 }

// NewPlayer checks head and tape; the error is [ErrModel].
func NewPlayer(h Head, t Tape) (*Player, error) {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("%w: %s", ErrModel, fmt.Sprintf(format, a...))
	}
	switch {
	case !above(h.GapM) || h.GapM > 1e-3:
		return nil, bad("gap of %v m", h.GapM)
	case len(h.CentresM) == 0 || len(h.CentresM) != len(h.WidthsM):
		return nil, bad("%d centres and %d widths of cores", len(h.CentresM), len(h.WidthsM))
	case !above(h.SideDecay):
		return nil, bad("side decay of %v", h.SideDecay)
	case h.FaceM != 0 && !(above(h.FaceM) && above(h.EndM) && above(h.EndSpacingM)):
		return nil, bad("pole face of %v m with ends of %v m at %v m", h.FaceM, h.EndM, h.EndSpacingM)
	case !above(t.SpeedMS) || !above(t.CoatingM) || !above(t.WidthM):
		return nil, bad("tape at %v m/s, coating %v m, width %v m", t.SpeedMS, t.CoatingM, t.WidthM)
	case !t.FullWidth && (len(t.CentresM) == 0 || len(t.CentresM) != len(t.WidthsM)):
		return nil, bad("%d centres and %d widths of recorded tracks", len(t.CentresM), len(t.WidthsM))
	case !(t.Curve.HighUs >= 0 && t.Curve.LowUs >= 0):
		return nil, bad("equalisation %+v", t.Curve)
	}
	p := &Player{head: h, tape: t, steps: usual, memo: map[reading]float64{}}
	for i, w := range h.WidthsM {
		if !above(w) {
			return nil, bad("core %d is %v m wide", i+1, w)
		}
		if p.inPlace(i) <= 0 {
			return nil, bad("core %d is nowhere over the recording", i+1)
		}
	}
	return p, nil
}

func above(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// Response is the complex amplitude at which a track (from 1) with fault f plays a
// tone recorded levelDB above or below the tape's 0 dB, re the same tone played by the
// ideal of that track:
//
//	R = E·∫∫∫ Hx·M / (w·∫∫ Hx·M)
//
// Above stands the faulty core with what it gathers beside itself; below a core with
// the design gap in contact, square and in place, long-faced, reading the width w
// that lies under it and nothing beside. So a sound track is 1 on a tape recorded per
// track or compensated for fringing, and more at long wavelengths on a full-width
// tape. E is the electronics re a chain that fits the tape. The phase is re the
// centre of track 1 when in place: an azimuth makes it lag by 2π·f·delay. levelDB
// matters to an expander alone.
//
// It panics on a track that the head does not have, and is NaN for a fault that fails
// [Fault.Check] or unless toneHz is above 0.
func (p *Player) Response(track int, f Fault, toneHz, levelDB float64) complex128 {
	if track < 1 || track > len(p.head.CentresM) {
		panic(fmt.Sprintf("field: track %d of a head with %d", track, len(p.head.CentresM)))
	}
	if f.Check() != nil || !above(toneHz) {
		return cmplx.NaN()
	}
	k := 2 * math.Pi * toneHz / p.tape.SpeedMS
	ideal := p.inPlace(track-1) * p.read(reading{k, p.head.GapM, 0}, false)
	if p.tape.FullWidth && p.tape.Compensated {
		ideal = real(p.across(track-1, k, Fault{}))
	}
	r := p.across(track-1, k, f) / complex(ideal, 0)
	r *= f.electronics(p.tape.Curve, toneHz)
	return f.expand(r, levelDB)
}

// Response is [Player.Response] for one tone. Use a Player for many: it keeps what they share.
func Response(h Head, track int, t Tape, f Fault, toneHz, levelDB float64) (complex128, error) {
	p, err := NewPlayer(h, t)
	if err != nil {
		return 0, err
	}
	if err := f.Check(); err != nil {
		return 0, err
	}
	return p.Response(track, f, toneHz, levelDB), nil
}

// read is the integral over gap and coating for one strip of track, kept for the
// next strip or track with the same. faced adds the ends of the pole face.
func (p *Player) read(r reading, faced bool) float64 {
	faced = faced && p.head.FaceM > 0
	key := r
	if faced {
		key.gap = -r.gap // the same with ends
	}
	p.mu.Lock()
	v, ok := p.memo[key]
	p.mu.Unlock()
	if ok {
		return v
	}
	v = p.steps.depth(r.k, r.gap, r.spacing, p.tape.CoatingM)
	if faced {
		v += p.ends(r.k, r.spacing)
	}
	p.mu.Lock()
	p.memo[key] = v
	p.mu.Unlock()
	return v
}

// ends is what the two ends of the pole face give: there half the potential each falls
// back to nothing, against the sense of the gap, as across a long gap of EndM.
func (p *Player) ends(k, spacing float64) float64 {
	h := p.head
	if k*h.EndSpacingM > 12 {
		return 0 // below 6e-6
	}
	return -math.Cos(k*(h.FaceM+h.EndM)/2) * p.steps.depth(k, h.EndM, h.EndSpacingM+spacing, p.tape.CoatingM)
}
