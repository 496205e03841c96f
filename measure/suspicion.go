package measure

import (
	"context"
	"fmt"
	"math"
	"slices"

	"headstack/dsp"
	"headstack/tape"
	"headstack/testtape"
	"headstack/unit"
)

// replayCurves are the replay equalisations that a switch or a link may select, high
// and low time constant in µs. Sources: IEC 60094-1:1981 clause 15, IASA TC-04 clause
// 5.4.10 (all but cassette at 9.5 cm/s, common practice, no source).
var replayCurves = []tape.Equalisation{
	{HighUs: 17.5}, {HighUs: 35}, {HighUs: 50, LowUs: 3180}, {HighUs: 70}, {HighUs: 70, LowUs: 3180}, {HighUs: 90, LowUs: 3180}, {HighUs: 120, LowUs: 3180},
}

const (
	switchLeastDB   = 2.0 // a wrong curve makes at least this much somewhere in the tape's tones
	switchLeftDB    = 0.7 // r.m.s. that may be left once it is taken off
	switchExplained = 0.3 // of the r.m.s. that may be left: the curve must explain the shape, not help it
)

// wrongSwitch suspects another replay equalisation than the tape's where the response
// that all tracks share has just that shape. A warning, not a figure: spacing and worn
// heads lose treble too, though not along a first-order curve.
func (s *session) wrongSwitch(responses []Result) []string {
	if s.prog != nil {
		return nil
	}
	own := tape.Equalisation{HighUs: s.opt.Tape.EqualisationUs.High, LowUs: s.opt.Tape.EqualisationUs.Low}
	tones, shared := sharedResponse(responses)
	if len(tones) < 4 {
		return nil
	}
	before := rms(centred(shared))
	best, bestLeft := -1, math.Inf(1)
	for i, c := range replayCurves {
		if c == own {
			continue
		}
		left, span := make([]float64, len(tones)), 0.0
		ref := float64(tape.EqualisationError(unit.Hertz(s.opt.Tape.Reference.ToneHz), own, c))
		for k, hz := range tones {
			e := float64(tape.EqualisationError(unit.Hertz(hz), own, c)) - ref
			left[k], span = shared[k]-e, math.Max(span, math.Abs(e))
		}
		if l := rms(centred(left)); span >= switchLeastDB && l < bestLeft {
			best, bestLeft = i, l
		}
	}
	if best < 0 || bestLeft > switchLeftDB || bestLeft > switchExplained*before {
		return nil
	}
	return []string{fmt.Sprintf("all tracks respond as if the machine replayed %s where the tape is recorded to %s (%.1f dB r.m.s. without, %.1f dB with that assumption): check the equalisation or tape-type switch before anything else",
		curveText(replayCurves[best]), curveText(own), before, bestLeft)}
}

// sharedResponse is the median over the tracks at every tone that at least half of
// them have.
func sharedResponse(responses []Result) (tones, medians []float64) {
	at := map[float64][]float64{}
	tracks := map[int]bool{}
	for _, r := range responses {
		tracks[r.Track] = true
		if r.Name == "response" && r.Refused == "" {
			at[r.ToneHz] = append(at[r.ToneHz], r.Value)
		}
	}
	for hz, v := range at {
		if 2*len(v) >= len(tracks) {
			tones = append(tones, hz)
		}
	}
	slices.Sort(tones)
	for _, hz := range tones {
		medians = append(medians, median(at[hz]))
	}
	return tones, medians
}

func centred(x []float64) []float64 {
	m := 0.0
	for _, v := range x {
		m += v / float64(len(x))
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - m
	}
	return out
}

func rms(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

func curveText(e tape.Equalisation) string {
	if e.LowUs == 0 {
		return fmt.Sprintf("%g µs", e.HighUs)
	}
	return fmt.Sprintf("%g + %g µs", e.HighUs, e.LowUs)
}

// otherSpeeds are the ratios of neighbouring tape speeds.
var otherSpeeds = []float64{2, 0.5}

// wrongSpeed looks, in a capture where no section was found, for the tape at twice or
// half its speed.
func wrongSpeed(ctx context.Context, src Source, t *testtape.Tape) (string, error) {
	for _, k := range otherSpeeds {
		moved := *t
		moved.Sections = nil
		for _, sec := range t.Sections {
			sec.ToneHz *= k
			sec.Seconds /= k
			if sec.Silent() || sec.ToneHz >= 20 && sec.ToneHz <= 20000 {
				moved.Sections = append(moved.Sections, sec)
			}
		}
		moved.Reference.ToneHz *= k
		if moved.Check() != nil {
			continue
		}
		found := 0
		err := withStream(ctx, src, progress{}, func(s dsp.Stream) error {
			f, err := testtape.Find(ctx, s, &moved)
			if err == nil {
				for _, l := range f.Sections {
					if l.Found {
						found++
					}
				}
			}
			return err
		})
		if err != nil {
			return "", err
		}
		if 2*found >= len(moved.Sections) && found >= 3 {
			return fmt.Sprintf("%s: no section at %g cm/s, but %d of %d with the tape at %g times its speed: is the speed switch where the tape wants it?", src.Name, t.SpeedCmS, found, len(moved.Sections), k), nil
		}
	}
	return "", nil
}
