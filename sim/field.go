package sim

import (
	"fmt"
	"math"

	"headstack/sim/field"
	"headstack/tape"
	"headstack/testtape"
)

// FieldOptions are what [FieldScenario] needs beside tape, geometry and faults.
type FieldOptions struct {
	Kind field.Kind
	Seed uint64
	// ToneErrorsDB is by how much each section of the tape was recorded too high, in
	// the order of the sections and common to all tracks; the certificate does not
	// know. Empty: none.
	ToneErrorsDB []float64
	// Flicker of every track; empty: steady.
	Flicker []Flicker
	// NoiseRiseDB adds to the noise of every track, as an open head hisses; empty: none.
	NoiseRiseDB []float64
	// SNDB is the distance of the noise (20 Hz to 20 kHz) under the tones of a sound
	// track; 0: 45.
	SNDB float64
	// FlutterPercent is the r.m.s. of random flutter between 0.5 and 80 Hz; 0: 0.1.
	FlutterPercent float64
	// SampleRate of the capture in Hz; 0: 48000.
	SampleRate int
	// Faced gives the heads pole faces whose ends make the bass uneven on all tracks.
	Faced bool
}

// FieldScenario is a recorder whose heads are integrated from their field (package
// field), faults[i] being those of track i+1; a sound track has the zero Fault. The
// noise follows the gain of its track, and the expander where one is left on. The
// scenario's AzimuthArcmin is that of the faults: they must agree on it. The error is
// [ErrScenario].
func FieldScenario(t *testtape.Tape, g tape.Geometry, faults []field.Fault, o FieldOptions) (Scenario, error) {
	if problem := o.problem(t, g, faults); problem != "" {
		return Scenario{}, fmt.Errorf("%w: %s", ErrScenario, problem)
	}
	player, err := fieldPlayer(t, g, o)
	if err != nil {
		return Scenario{}, fmt.Errorf("%w: %w", ErrScenario, err)
	}
	sc := Perfect(t, g)
	sc.Seed, sc.LeadInS, sc.TailS, sc.GapS = o.Seed, 1, 0.5, 0.25
	if o.SampleRate > 0 {
		sc.SampleRate = o.SampleRate
	}
	sc.RandomFlutter = RandomFlutter{RMSPercent: orElse(o.FlutterPercent, 0.1), LowHz: 0.5, HighHz: 80}
	sc.AzimuthArcmin = faults[0].AzimuthRad / float64(tape.Arcminute)
	for i, f := range faults {
		track := &sc.Tracks[i]
		track.Response = played(t, func(toneHz, levelDB float64) complex128 {
			return player.Response(i+1, f, toneHz, levelDB)
		}, o.ToneErrorsDB)
		track.Noise = &Noise{LevelDBFS: sc.ReferenceDBFS + o.noise(usualLevel(t), f)}
		if len(o.NoiseRiseDB) > 0 {
			track.Noise.LevelDBFS += o.NoiseRiseDB[i]
		}
		if len(o.Flicker) > 0 {
			track.Flicker = o.Flicker[i]
		}
	}
	return sc, nil
}

// problem says what does not fit together, or nothing.
func (o FieldOptions) problem(t *testtape.Tape, g tape.Geometry, faults []field.Fault) string {
	n := len(g.Tracks)
	switch {
	case n == 0 || len(faults) != n:
		return fmt.Sprintf("faults for %d tracks, geometry has %d", len(faults), n)
	case len(o.ToneErrorsDB) != 0 && len(o.ToneErrorsDB) != len(t.Sections):
		return fmt.Sprintf("tone errors for %d sections, tape has %d", len(o.ToneErrorsDB), len(t.Sections))
	case len(o.Flicker) != 0 && len(o.Flicker) != n, len(o.NoiseRiseDB) != 0 && len(o.NoiseRiseDB) != n:
		return fmt.Sprintf("flicker for %d tracks and noise for %d, geometry has %d", len(o.Flicker), len(o.NoiseRiseDB), n)
	}
	for i, f := range faults {
		if f.AzimuthRad != faults[0].AzimuthRad {
			return fmt.Sprintf("track %d has another azimuth than track 1", i+1)
		}
		if err := f.Check(); err != nil {
			return fmt.Sprintf("track %d: %v", i+1, err)
		}
	}
	return ""
}

// noise is the level of a track's noise re the tape's 0 dB when most tones stand at
// tones: gain lifts it, and an expander moves it as it moves those tones.
func (o FieldOptions) noise(tones float64, f field.Fault) float64 {
	level := tones - orElse(o.SNDB, 45) + f.GainDB
	if f.Expander {
		level += tones + f.GainDB - f.ExpanderUnityDB
	}
	return level
}

func orElse(x, usual float64) float64 {
	if x == 0 {
		return usual
	}
	return x
}

// fieldPlayer puts tape and geometry into package field.
func fieldPlayer(t *testtape.Tape, g tape.Geometry, o FieldOptions) (*field.Player, error) {
	var centres, widths []float64
	for _, p := range g.Tracks {
		centres, widths = append(centres, float64(p.Centre)), append(widths, float64(p.Width))
	}
	head := o.Kind.Head(centres, widths)
	if o.Faced {
		head = o.Kind.Faced(head)
	}
	return field.NewPlayer(head, field.Tape{
		SpeedMS: t.SpeedCmS / 100, CoatingM: o.Kind.CoatingM(), WidthM: float64(g.TapeWidth),
		FullWidth: t.TrackLayout == testtape.FullWidth, Compensated: t.FringingCompensated,
		CentresM: centres, WidthsM: widths,
		Curve: field.Curve{HighUs: t.EqualisationUs.High, LowUs: t.EqualisationUs.Low},
	})
}

// played works out a track's response to every section once, with the tape's tone
// errors, and answers from there.
func played(t *testtape.Tape, response func(toneHz, levelDB float64) complex128, errorsDB []float64) func(toneHz, levelDB float64) complex128 {
	type tone struct{ hz, levelDB float64 }
	known := map[tone]complex128{}
	for i, s := range t.Sections {
		off := 0.0
		if len(errorsDB) > 0 {
			off = errorsDB[i]
		}
		at := tone{s.ToneHz, s.LevelDB}
		if _, twice := known[at]; !s.Silent() && !twice {
			known[at] = complex(math.Pow(10, off/20), 0) * response(s.ToneHz, s.LevelDB+off)
		}
	}
	return func(toneHz, levelDB float64) complex128 {
		if r, ok := known[tone{toneHz, levelDB}]; ok {
			return r
		}
		return response(toneHz, levelDB)
	}
}

// usualLevel is the level at which most sections with a tone stand.
func usualLevel(t *testtape.Tape) float64 {
	count, best := map[float64]int{}, 0.0
	for _, s := range t.Sections {
		if s.Silent() {
			continue
		}
		count[s.LevelDB]++
		if count[s.LevelDB] > count[best] {
			best = s.LevelDB
		}
	}
	return best
}

// FieldTape is the test tape of the figures on loss signatures: 20 tones of 2 s from
// 40 Hz to 12.5 kHz (cassette: 9.525 cm/s, 70 + 3180 µs, reference 315 Hz at 0 dB, all
// others at -20 dB with 315 Hz once more) or to 16 kHz (open reel: 38.1 cm/s, 35 µs,
// reference 1 kHz at 0 dB, others at -10 dB with 1 kHz once more), and 4 s of silence.
// The second reference tone and 10 kHz last 4.5 s: flicker wants to hear 3 s.
func FieldTape(k field.Kind, layout testtape.Layout) *testtape.Tape {
	t := &testtape.Tape{
		Format: 1, Name: "cassette, many tones", SpeedCmS: 9.525, TrackLayout: layout,
		Reference:      testtape.Reference{FluxivityNWbM: 250, ToneHz: 315, Convention: "short-circuit"},
		EqualisationUs: testtape.Equalisation{High: 70, Low: 3180},
	}
	tones, level := []float64{
		315, 40, 63, 80, 100, 125, 160, 250, 500, 800, 1000, 1600, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500,
	}, -20.0
	if k == field.OpenReel {
		t.Name, t.SpeedCmS, level = "open reel, many tones", 38.1, -10
		t.Reference.FluxivityNWbM, t.Reference.ToneHz = 320, 1000
		t.EqualisationUs = testtape.Equalisation{High: 35}
		tones = []float64{
			1000, 40, 63, 80, 100, 125, 160, 250, 500, 800, 1600, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000,
		}
	}
	add := func(name string, hz, db, s float64) {
		t.Sections = append(t.Sections, testtape.Section{Name: name, ToneHz: hz, LevelDB: db, Seconds: s})
	}
	add("reference", t.Reference.ToneHz, 0, 2)
	for _, hz := range tones {
		seconds := 2.0
		if hz == t.Reference.ToneHz || hz == 10000 {
			seconds = 4.5
		}
		add(fmt.Sprintf("%g Hz", hz), hz, level, seconds)
	}
	add("silence", 0, 0, 4)
	return t
}
