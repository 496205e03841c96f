package sim

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/tape"
	"headstack/unit"
)

// Replay puts the bench's faults on the path of a function (play, or record-play)
// into a scenario, so that a capture shows what readings and checks show. For every
// track the level at the machine's reference tone, at 10 kHz and at 63 Hz changes by
// what the faults say: mechanical loss of treble as spacing, an azimuth fault as
// azimuth of all tracks, other treble and bass as first-order corners (which bounds
// what they can take), the rest as gain; the reference tone loses at least what the
// corner or spacing takes there. Noise rises over the track's own, or over -70 dBFS where it has none. An
// intermittent fault that shows becomes a flicker of all frequencies. The error is
// [ErrBench]; the scenario's Tracks are replaced, not written into.
func (b *Bench) Replay(sc *Scenario, function string) error {
	tracks := append([]Track(nil), sc.Tracks...)
	for i := range tracks {
		path, err := b.Def.Path(function, strconv.Itoa(i+1))
		if err != nil {
			return fmt.Errorf("%w: %w", ErrBench, err)
		}
		for _, in := range path {
			for _, f := range b.Faults {
				if f.Stage != in.Stage.ID || f.Key != in.Key {
					continue
				}
				if f.Presence > 0 && b.random("presence", f.Stage, f.Key, "capture "+function).Float64() >= f.Presence {
					continue
				}
				b.apply(sc, &tracks[i], i+1, f, in.Stage.Kind)
			}
		}
	}
	sc.Tracks = tracks
	return nil
}

// apply adds one fault to one track.
func (b *Bench) apply(sc *Scenario, t *Track, track int, f Fault, kind string) {
	if f.NoiseDB != 0 {
		n := Noise{LevelDBFS: -70}
		if t.Noise != nil {
			n = *t.Noise
		}
		n.LevelDBFS += f.NoiseDB
		t.Noise = &n
	}
	switch {
	case f.Dead:
		t.Muted = true
	case f.Presence > 0:
		t.Flicker = Flicker{DepthDB: min(60, math.Abs(f.LevelDB)), RateHz: 0.7}
	default:
		shaped := b.applyBass(t, f) + b.applyTreble(sc, t, track, f, kind)
		gain := f.LevelDB + shaped
		if f.LevelDB <= 0 {
			gain = min(0, gain) // a lossy part does not amplify what it spares
		}
		t.GainDB += gain
	}
}

// applyBass returns the loss at the reference tone that comes with the corner.
func (b *Bench) applyBass(t *Track, f Fault) float64 {
	if f.BassDB >= 0 {
		return 0
	}
	reference := b.Def.Reference.ToneHz
	// One corner cannot take more than f/63 Hz in decibels from the bass alone.
	loss := min(-f.BassDB, 0.9*20*math.Log10(reference/63))
	corner := solve(1, 20000, loss, func(c float64) float64 { return lowLoss(63, c) - lowLoss(reference, c) })
	// Two corners are taken as one that is as strong far below both.
	t.LowCornerHz = math.Hypot(t.LowCornerHz, corner)
	return lowLoss(reference, corner)
}

// applyTreble returns the loss at the reference tone that comes with the spacing or
// corner.
func (b *Bench) applyTreble(sc *Scenario, t *Track, track int, f Fault, kind string) float64 {
	if f.TrebleDB >= 0 {
		return 0
	}
	reference, loss := b.Def.Reference.ToneHz, -f.TrebleDB
	switch {
	case kind == "alignment" && strings.Contains(f.Cause, "azimuth"):
		if sc.AzimuthArcmin == 0 { // else set by the first track: it is one head
			sc.AzimuthArcmin = azimuthFor(sc.Geometry.Tracks[track-1].Width, sc.wavelength(10000), loss)
		}
		return 0
	case f.Mechanical:
		perUm := tape.SpacingLoss(1e-6, sc.wavelength(10000)) - tape.SpacingLoss(1e-6, sc.wavelength(reference))
		um := loss / float64(perUm)
		t.SpacingUm += um
		return float64(tape.SpacingLoss(unit.Metre(um*1e-6), sc.wavelength(reference)))
	}
	loss = min(loss, 0.9*20*math.Log10(10000/reference))
	corner := solve(1e6, 100, loss, func(c float64) float64 { return highLoss(10000, c) - highLoss(reference, c) })
	if t.HighCornerHz > 0 {
		t.HighCornerHz = 1 / math.Hypot(1/corner, 1/t.HighCornerHz)
	} else {
		t.HighCornerHz = corner
	}
	return highLoss(reference, corner)
}

// azimuthFor is the positive angle in arcminutes, short of the first null, at which a
// core loses so much.
func azimuthFor(width, lambda unit.Metre, lossDB float64) float64 {
	null := math.Atan(float64(lambda/width)) / float64(tape.Arcminute)
	return solve(0, 0.99*null, lossDB, func(arcmin float64) float64 {
		return float64(tape.AzimuthLoss(width, unit.Radian(arcmin)*tape.Arcminute, lambda))
	})
}

// Losses of first-order corners in dB.
func lowLoss(f, corner float64) float64  { return 20 * math.Log10(math.Hypot(1, corner/f)) }
func highLoss(f, corner float64) float64 { return 20 * math.Log10(math.Hypot(1, f/corner)) }

// solve finds by bisection where a function rising from mild to severe reaches want,
// or returns severe where it does not.
func solve(mild, severe, want float64, f func(float64) float64) float64 {
	for range 60 {
		mid := (mild + severe) / 2
		if f(mid) < want {
			mild = mid
		} else {
			severe = mid
		}
	}
	return severe
}
