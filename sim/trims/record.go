package trims

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// fluxDB is what of a tone sent at levelDB re reference gets onto the tape of a track.
func (m *Recorder) fluxDB(track int, speedCmS, hz, levelDB float64, state string) float64 {
	x := levelDB + m.effect("record_level", track, speedCmS)
	x += (m.effect("record_response", track, speedCmS) + m.fixed[speedCmS][track-1].recordDB) * shelf(hz)
	x += m.bias[speedCmS].relative(m.biasDB(track, speedCmS), hz)
	x += share(state) * recordPart * m.cases.treble[track-1] * shelf(hz)
	return saturate(x, mostDB(m.Def, speedCmS, hz))
}

// biasDB is the bias of a track, in dB re the right one.
func (m *Recorder) biasDB(track int, speedCmS float64) float64 {
	return m.effect("bias", track, speedCmS) + m.oscillatorDB()
}

// oscillatorDB is what the oscillator's frequency does to every bias.
func (m *Recorder) oscillatorDB() float64 {
	a := m.find("bias_frequency", "", 0, nil)
	if a == nil {
		return 0
	}
	nominal := nominalHz(a)
	return -1.5 * 20 * math.Log10((nominal+a.effect())/nominal)
}

// nominalHz is the middle of the range of a trim of frequency, in the unit of its range.
func nominalHz(a *adjuster) float64 {
	f := fromTo.FindStringSubmatch(a.trim.Range)
	if f == nil {
		return 100
	}
	lo, _ := strconv.ParseFloat(f[1], 64)
	hi, _ := strconv.ParseFloat(f[2], 64)
	return (lo + hi) / 2
}

// Record records tones at a level, in dB re reference, on the tracks, replays them and
// gives their figures; a level off by nothing reads 0. The error says what the recorder
// cannot do: of each group one track at a time.
func (m *Recorder) Record(speedCmS, levelDB float64, tracks ...int) (Figures, error) {
	if err := m.canRecord(speedCmS, tracks); err != nil {
		return Figures{}, err
	}
	m.payOwn()
	f := Figures{Mode: "record-play", SpeedCmS: speedCmS, Case: m.Case(), SpeedPercent: math.NaN()}
	angle := m.ownAngle(f.Case)
	m.hear(&f, tracks, angle, func(track int, hz float64) float64 {
		return m.own(track, speedCmS, hz, levelDB, angle, f.Case)
	})
	return f, nil
}

// own is what a tone of one's own recording is off by.
func (m *Recorder) own(track int, speedCmS, hz, levelDB, angle float64, state string) float64 {
	return m.fluxDB(track, speedCmS, hz, levelDB, state) - levelDB + m.replay(PlayHead, track, speedCmS, hz, angle, state)
}

// ownAngle is the angle between the gaps that record and play.
func (m *Recorder) ownAngle(state string) float64 {
	if m.OneHead() {
		return 0
	}
	return m.angle("play", state) - m.angle("record", state)
}

func (m *Recorder) payOwn() {
	m.count.Own++
	if m.OneHead() {
		m.count.Minutes += rewindOwn
	} else {
		m.count.Minutes += OffTapeMinutes
	}
}

func (m *Recorder) canRecord(speedCmS float64, tracks []int) error {
	if err := m.canHear(PlayHead, speedCmS, tracks); err != nil {
		return err
	}
	var groups []string
	for _, t := range tracks {
		g, ok := m.Def.GroupOf(t)
		if ok && slices.Contains(groups, g.ID) {
			return fmt.Errorf("trims: tracks %v are not recorded together: two of group %s", tracks, g.ID)
		}
		groups = append(groups, g.ID)
	}
	return nil
}

// Step is one position of a staircase.
type Step struct {
	Turns   float64             // from where the trim stood before, as turned
	LevelDB map[float64]float64 // by tone, re what was sent
}

// Staircase turns a bias trim by first, and then by the same part of a turn time after
// time while one recording of tones at -20 dB runs, and gives the levels of each position:
// steps+1, of which the first is before the first step. It ends before its time at an end
// stop. The trim stays at the last position.
func (m *Recorder) Staircase(ref Ref, first, byTurns float64, steps int, tonesHz ...float64) ([]Step, error) {
	if steps < 1 {
		return nil, fmt.Errorf("trims: a staircase of %d steps", steps)
	}
	return m.steps(ref, func(done []Step) (float64, bool) {
		if len(done) == 0 {
			return first, true
		}
		return byTurns, len(done) <= steps
	}, tonesHz)
}

// Watch turns a bias trim while own recording and replay of tones at -20 dB are heard at
// once, on a recorder with a head for each: next says from the positions so far how far to
// turn, until it is done. All of it is one visit and one pass.
func (m *Recorder) Watch(ref Ref, next func(done []Step) (byTurns float64, on bool), tonesHz ...float64) ([]Step, error) {
	if m.OneHead() {
		return nil, fmt.Errorf("trims: machine %s does not replay while it records", m.Def.ID)
	}
	return m.steps(ref, next, tonesHz)
}

func (m *Recorder) steps(ref Ref, next func(done []Step) (byTurns float64, on bool), tonesHz []float64) ([]Step, error) {
	a, err := m.reach(ref)
	if err != nil {
		return nil, err
	}
	track, err := strconv.Atoi(a.key)
	if a.trim.Sets != "bias" || err != nil || a.trim.Each != "track" {
		return nil, fmt.Errorf("trims: %s is not the bias trim of a track", ref)
	}
	if len(tonesHz) == 0 {
		return nil, fmt.Errorf("trims: a staircase without tones")
	}
	speed, _ := m.Def.Speed(a.trim.SpeedCmS)
	m.payOwn()
	m.count.Moves++
	m.moved[ref]++
	const sent = -20
	state, at := m.Case(), 0.0
	var out []Step
	for {
		by, on := next(out)
		if !on {
			return out, nil
		}
		went := m.turn(ref, a, by)
		if by != 0 && went == 0 {
			return out, nil // at its stop
		}
		at += went
		m.count.Minutes += stepMinutes
		s := Step{Turns: at, LevelDB: map[float64]float64{}}
		for _, hz := range tonesHz {
			s.LevelDB[hz] = m.own(track, speed.CmS, hz, sent, m.ownAngle(state), state) + m.noise(levelSD, "step", ref, hz)
		}
		out = append(out, s)
	}
}
