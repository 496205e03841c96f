package field

import (
	"fmt"
	"math"
	"math/cmplx"
)

// Curve is a standard curve of recorded flux by its time constants in microseconds;
// LowUs 0 means no low one.
type Curve struct{ HighUs, LowUs float64 }

// FluxDB is the level of the curve at f:
//
//	N = 10·log10(1 + 1/(2πf·tl)²) - 10·log10(1 + (2πf·th)²) dB
//
// Source: IEC 60094-1:1981 clause 15.
func (c Curve) FluxDB(f float64) float64 {
	w := 2 * math.Pi * f * 1e-6
	level := -10 * math.Log10(1+math.Pow(w*c.HighUs, 2))
	if c.LowUs > 0 {
		level += 10 * math.Log10(1+math.Pow(w*c.LowUs, -2))
	}
	return level
}

// chain is the replay chain made for the curve, of least phase.
func (c Curve) chain(f float64) complex128 {
	s := complex(0, 2*math.Pi*f*1e-6)
	h := 1 + s*complex(c.HighUs, 0)
	if c.LowUs > 0 {
		h /= 1 + 1/(s*complex(c.LowUs, 0))
	}
	return h
}

// Fault is all that is wrong with one track. The zero value is sound.
type Fault struct {
	// Mechanical.
	SpacingLowM, SpacingHighM float64 // at the core's edge nearer to track 1's tape edge and at the other
	AzimuthRad                float64 // positive: a higher track plays later
	GapM                      float64 // gap as worn; 0: as designed
	HeightM                   float64 // core displaced away from track 1's tape edge

	// Electrical.
	GainDB       float64
	LowCornerHz  float64 // first order; 0: none
	LowCorner2Hz float64 // a second one
	HighCornerHz float64 // first order; 0: none
	// A part that lifts treble is lost: from TrebleHz on the level falls, by TrebleDB in the end.
	TrebleHz, TrebleDB float64
	Replay             *Curve // curve to which the chain is set; nil: the tape's
	// Open head or lead: what still couples in stands at OpenDB (negative, say -40
	// to -80) at 1 kHz and rises by 6 dB an octave. 0: not open.
	OpenDB float64
	// Expander: a 2:1 expander is left on, with its unity point at ExpanderUnityDB re the tape's 0 dB.
	Expander        bool
	ExpanderUnityDB float64
	SpeedRatio      float64 // tape speed over that of the recording, for the electronics; 0: 1
}

// Evenly sets the same spacing over the whole core.
func (f Fault) Evenly(spacingM float64) Fault {
	f.SpacingLowM, f.SpacingHighM = spacingM, spacingM
	return f
}

// Check returns [ErrModel] for a fault that cannot be.
func (f Fault) Check() error {
	for name, x := range map[string]float64{
		"spacing at the low edge": f.SpacingLowM, "spacing at the high edge": f.SpacingHighM, "gap": f.GapM,
		"low corner": f.LowCornerHz, "second low corner": f.LowCorner2Hz, "high corner": f.HighCornerHz,
		"treble corner": f.TrebleHz, "treble loss": f.TrebleDB, "coupling of an open head": -f.OpenDB, "speed ratio": f.SpeedRatio,
	} {
		if !(x >= 0) || math.IsInf(x, 1) {
			return fmt.Errorf("%w: %s of %v", ErrModel, name, x)
		}
	}
	for name, x := range map[string]float64{"gain": f.GainDB, "height": f.HeightM, "unity point": f.ExpanderUnityDB} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("%w: %s of %v", ErrModel, name, x)
		}
	}
	if !(math.Abs(f.AzimuthRad) < 0.2) {
		return fmt.Errorf("%w: azimuth of %v rad, want below 0.2", ErrModel, f.AzimuthRad)
	}
	if r := f.Replay; r != nil && !(r.HighUs >= 0 && r.LowUs >= 0) {
		return fmt.Errorf("%w: replay curve %+v", ErrModel, *r)
	}
	return nil
}

// electronics is the gain of the chain re one that is made for the tape's curve and
// has no fault.
func (f Fault) electronics(tape Curve, toneHz float64) complex128 {
	ratio := 1.0
	if f.SpeedRatio > 0 {
		ratio = f.SpeedRatio
	}
	hz := toneHz * ratio
	chain := tape.chain(hz)
	if f.Replay != nil {
		chain = f.Replay.chain(hz)
	}
	h := chain / tape.chain(toneHz)
	for _, corner := range []float64{f.LowCornerHz, f.LowCorner2Hz} {
		if corner > 0 {
			h /= complex(1, -corner/hz)
		}
	}
	if f.HighCornerHz > 0 {
		h /= complex(1, hz/f.HighCornerHz)
	}
	if f.TrebleHz > 0 && f.TrebleDB > 0 {
		end := f.TrebleHz * math.Pow(10, f.TrebleDB/20)
		h *= complex(1, hz/end) / complex(1, hz/f.TrebleHz)
	}
	if f.OpenDB < 0 {
		h *= complex(0, math.Pow(10, f.OpenDB/20)*hz/1000)
	}
	return h * complex(math.Pow(10, f.GainDB/20), 0)
}

// expand moves the level of a tone as far again from the unity point as it stands.
func (f Fault) expand(r complex128, levelDB float64) complex128 {
	if !f.Expander {
		return r
	}
	over := cmplx.Abs(r) * math.Pow(10, (levelDB-f.ExpanderUnityDB)/20)
	return r * complex(over, 0)
}
