package programme

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"headstack/tape"
	"headstack/unit"
)

func TestStandard(t *testing.T) {
	for _, c := range []struct {
		o       Options
		seconds float64
		hz      float64
	}{
		{Options{Tracks: 8, SpeedCmS: 38.1, Kinds: Kinds()}, 280, 1000},
		{Options{Tracks: 8, SpeedCmS: 19.05}, 250, 1000},
		{Options{Tracks: 6, SpeedCmS: 9.525, TracksPerRound: 2}, 240, 315},
		{Options{Tracks: 4, SpeedCmS: 4.7625}, 240, 315},
		{Options{Tracks: 24, SpeedCmS: 76.2, Kinds: Kinds()}, 300, 1000},
		{Options{Tracks: 1, SpeedCmS: 2.38}, 240, 315},
	} {
		p := standard(t, c.o)
		if p.Seconds() > c.seconds || p.ReferenceHz != c.hz {
			t.Errorf("%+v: %.0f s and %g Hz, want at most %.0f s and %g Hz", c.o, p.Seconds(), p.ReferenceHz, c.seconds, c.hz)
		}
		count := map[Kind]int{}
		for _, part := range p.Parts {
			count[part.Kind]++
			lambda := 1.0
			for track := 1; track <= p.Tracks; track++ {
				for _, s := range part.On(track) {
					lambda = min(lambda, float64(tape.Wavelength(unit.MetrePerSecond(p.SpeedCmS/100), unit.Hertz(s.Hz))))
					if s.Hz >= 6000 && s.LevelDB > -20 && !slices.Contains([]Kind{Step, Companding, OneTrack, TwoTone}, part.Kind) {
						t.Errorf("%+v: %s records %g Hz at %g dB", c.o, part.Name, s.Hz, s.LevelDB)
					}
				}
			}
			if lambda < 3.4e-6 {
				t.Errorf("%+v: %s has a wave of %.2g m, too short for the tape", c.o, part.Name, lambda)
			}
		}
		if count[OneTrack] != p.Tracks || count[Erase] != 1 || count[Identity] != 1 {
			t.Errorf("%+v: parts by kind %v", c.o, count)
		}
		for i, part := range p.Parts {
			if part.Kind == Silence && part.Seconds < 10 || part.Name == "speed tone" && part.Seconds < 30 {
				t.Errorf("part %d %q lasts %g s", i, part.Name, part.Seconds)
			}
		}
		if p.Parts[len(p.Parts)-1].Kind != Erase {
			t.Errorf("%+v: the erase part is not the last", c.o)
		}
		tp := p.Tape()
		if err := tp.Check(); err != nil || len(tp.Sections) != len(p.Parts) {
			t.Errorf("%+v: %d sections for %d parts, %v", c.o, len(tp.Sections), len(p.Parts), err)
		}
	}
}

func TestStandardRounds(t *testing.T) {
	p := standard(t, Options{Tracks: 5, SpeedCmS: 9.525, TracksPerRound: 2})
	if want := [][]int{{1, 2}, {3, 4}, {5}}; !slices.EqualFunc(p.Rounds, want, slices.Equal) {
		t.Errorf("rounds %v, want %v", p.Rounds, want)
	}
	for name, o := range map[string]Options{
		"no tracks": {SpeedCmS: 9.5}, "many tracks": {Tracks: 33, SpeedCmS: 9.5}, "no speed": {Tracks: 2},
		"a track twice": {Tracks: 2, SpeedCmS: 9.5, Rounds: [][]int{{1, 2}, {2}}}, "a track left out": {Tracks: 2, SpeedCmS: 9.5, Rounds: [][]int{{2}}},
		"unknown kind": {Tracks: 2, SpeedCmS: 9.5, Kinds: []Kind{"whistle"}}, "too many at once": {Tracks: 2, SpeedCmS: 9.5, TracksPerRound: 3},
		"short steps": {Tracks: 2, SpeedCmS: 9.5, Kinds: []Kind{Staircase}, StaircaseStepSeconds: 0.1},
	} {
		if _, err := New(o); !errors.Is(err, ErrOptions) {
			t.Errorf("%s: error %v, want %v", name, err, ErrOptions)
		}
	}
}

// Whoever follows the instructions must be told every caution, and each round its own
// tracks.
func TestInstructions(t *testing.T) {
	p := standard(t, Options{Tracks: 6, SpeedCmS: 9.525, Kinds: Kinds(), Rounds: [][]int{{1, 2}, {3, 4}, {5, 6}}})
	for round := range 3 {
		all := strings.Join(p.Instructions(round), "\n")
		for _, word := range []string{trackWords(p.Rounds[round]), "315 Hz", "punch in", "punched in too early", "insulated", "Local electrical codes", "licensed practice", "-12 dBFS"} {
			if !strings.Contains(all, word) {
				t.Errorf("round %d does not say %q:\n%s", round+1, word, all)
			}
		}
		for word, only := range map[string]int{"test tape": 0, "headphones": 0, "demagnetiser": 0, "Noise reduction off": 0, "Rewind, start the capture": 2} {
			if strings.Contains(all, word) != (round == only) {
				t.Errorf("%q belongs to round %d, said in round %d", word, only+1, round+1)
			}
		}
	}
	if all := strings.Join(standard(t, Options{Tracks: 1, SpeedCmS: 9.525}).Instructions(0), "\n"); strings.Contains(all, "Staircase") || strings.Contains(all, "Round 1") {
		t.Errorf("a plain programme talks of staircase or rounds:\n%s", all)
	}
	defer func() {
		if recover() == nil {
			t.Error("a round that is not there has instructions")
		}
	}()
	p.Instructions(3)
}
