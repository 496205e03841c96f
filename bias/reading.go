package bias

import (
	"errors"
	"fmt"
	"math"
)

// Level is a reading with its standard deviation, both dB, or both percent where said.
type Level struct {
	Value float64 `json:"value"`
	SD    float64 `json:"sd,omitempty"` // 0: 0.15 dB, or a tenth of a percentage
}

// Reading is what one step of a staircase replayed.
type Reading struct {
	// Position is where the trim stood, as the person set it: a share of its travel.
	Position float64 `json:"position"`
	// Treble and Low are the outputs of the two tones re one reference that is the same
	// for both, less what each was recorded at re the same: equal figures mean that
	// treble and low tone come back alike. nil: not read.
	Treble *Level `json:"treble,omitempty"`
	Low    *Level `json:"low,omitempty"`
	// Third is the third harmonic of the low tone at a level that the caller names, in
	// percent of the fundamental. nil: not read.
	Third *Level `json:"third,omitempty"`
}

// Staircase is one pass: its readings in the order of recording, bias rising.
type Staircase struct {
	Readings []Reading `json:"readings"`
}

// Tones are the two tones of a staircase and the speed at which it was recorded.
type Tones struct {
	TrebleHz float64 `json:"treble_hz"`
	LowHz    float64 `json:"low_hz,omitempty"` // 0: treble alone
	SpeedCmS float64 `json:"speed_cm_s"`
}

// ErrReadings is the error of readings that are no staircase.
var ErrReadings = errors.New("no staircase")

const usualReadingSD, leastReadingSD = 0.15, 0.03 // dB

func (l *Level) sd() float64 {
	if l.SD > 0 {
		return math.Max(l.SD, leastReadingSD)
	}
	return usualReadingSD
}

func (t Tones) check() error {
	if !(t.TrebleHz >= 2000 && t.TrebleHz <= 24000) || !(t.LowHz >= 0 && t.LowHz < t.TrebleHz/2) || !(t.SpeedCmS >= 1 && t.SpeedCmS <= 160) {
		return fmt.Errorf("%w: tones of %g and %g Hz at %g cm/s", ErrReadings, t.TrebleHz, t.LowHz, t.SpeedCmS)
	}
	return nil
}

func checkReadings(passes []Staircase) error {
	if len(passes) == 0 || len(passes) > 8 {
		return fmt.Errorf("%w: %d passes, want 1 to 8", ErrReadings, len(passes))
	}
	for q, s := range passes {
		if len(s.Readings) > 40 {
			return fmt.Errorf("%w: pass %d has %d steps, more than 40", ErrReadings, q+1, len(s.Readings))
		}
		last := math.Inf(-1)
		for i, r := range s.Readings {
			if !(r.Position >= 0 && r.Position <= 1) || r.Position <= last {
				return fmt.Errorf("%w: pass %d, step %d stands at %g: positions are shares of the travel that rise from step to step", ErrReadings, q+1, i+1, r.Position)
			}
			last = r.Position
			for _, l := range []*Level{r.Treble, r.Low, r.Third} {
				if l != nil && (math.IsNaN(l.Value) || math.IsInf(l.Value, 0) || !(l.SD >= 0) || math.IsInf(l.SD, 1)) {
					return fmt.Errorf("%w: pass %d, step %d reads %g ± %g", ErrReadings, q+1, i+1, l.Value, l.SD)
				}
			}
		}
	}
	return nil
}
