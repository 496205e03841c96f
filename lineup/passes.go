package lineup

import (
	"slices"

	"headstack/machine"
)

// TapePass is one pass of a test tape in a line-up.
type TapePass struct {
	Number   int     `json:"number"` // from 1, for each tape by itself
	Tape     string  `json:"tape,omitempty"`
	SpeedCmS float64 `json:"speed_cm_s"`
	Stage    Stage   `json:"stage"`
	// Tracks are those heard: first on the left of a bus, or by input.
	Tracks []int  `json:"tracks"`
	Why    string `json:"why,omitempty"`
	// Sections are those wanted of the tape; Steps what is read.
	Sections []string `json:"sections,omitempty"`
	Steps    []string `json:"steps"`
	// After are the gates without which the tape stays in its box.
	After []string `json:"after"`
}

// Stage is what a set of passes is for.
type Stage string

// The stages that need a test tape, each once for each speed.
const (
	StageSet   Stage = "set"   // speed, azimuth, play level and treble
	StageAgain Stage = "again" // level, azimuth and meters once all is set
	StageSync  Stage = "sync"  // from the record head
	StageProof Stage = "proof" // with the case closed
)

var stages = []Stage{StageSet, StageAgain, StageSync, StageProof}

func stageOf(k Kind) Stage {
	switch k {
	case LevelAgain, AzimuthAgain, Meter, NoiseReduction:
		return StageAgain
	case SyncLevel, SyncTreble:
		return StageSync
	}
	if k.Proof() {
		return StageProof
	}
	return StageSet
}

// TapePasses are the least passes of test tapes that a line-up takes when every turn is
// computed from what was read: each stage once for each speed, in the passes of
// [HearRounds]. Delays are heard on a line of tracks, corrected for the path over a bus;
// where a stage reads none, each track is heard once. A trim that is found by trying
// takes more: [Status.Passes] counts what was really played. The error is [ErrRounds].
func (o *Order) TapePasses(h Hearing) ([]TapePass, error) {
	var out []TapePass
	number := map[string]int{}
	gates := o.tapeGates()
	tracks := tracksOf(o.def)
	for _, st := range stages {
		for _, sp := range o.def.Speeds {
			steps := o.tapeSteps(st, sp.CmS)
			if len(steps) == 0 {
				continue
			}
			passes, err := HearRounds(tracks, h, purposeOf(steps, len(tracks), h))
			if err != nil {
				return nil, err
			}
			for _, p := range passes {
				t := TapePass{SpeedCmS: sp.CmS, Stage: st, Tracks: p.Tracks, Why: p.Why, After: gates}
				for _, s := range steps {
					if len(s.Tracks) == 0 || slices.ContainsFunc(p.Tracks, func(n int) bool { return slices.Contains(s.Tracks, n) }) {
						t.Steps = append(t.Steps, s.ID)
						t.Tape = said(t.Tape, s.Source.Tape)
						if s.Source.Section != "" && !slices.Contains(t.Sections, s.Source.Section) {
							t.Sections = append(t.Sections, s.Source.Section)
						}
					}
				}
				number[t.Tape]++
				t.Number = number[t.Tape]
				out = append(out, t)
			}
		}
	}
	return out, nil
}

// purposeOf is the least hearing that tells what the steps read.
func purposeOf(steps []*Step, tracks int, h Hearing) Purpose {
	delays := slices.ContainsFunc(steps, func(s *Step) bool { return s.Measure == "azimuth_line" })
	switch {
	case !delays || h.AtOnce < 2 && tracks > 1:
		return HearEach
	case h.AtOnce == 2:
		return HearCorrected
	}
	return HearLine
}

// tapeSteps are the steps of a stage that a test tape plays for, at a speed.
func (o *Order) tapeSteps(st Stage, speed float64) []*Step {
	var out []*Step
	for i := range o.Steps {
		if s := &o.Steps[i]; s.Source.Carrier == TestTape && s.SpeedCmS == speed && stageOf(s.Kind) == st && !s.OnEvidence {
			out = append(out, s)
		}
	}
	return out
}

// tapeGates are the gates that guard a good tape.
func (o *Order) tapeGates() []string {
	var out []string
	for _, s := range o.Steps {
		if guardsTape(s.Kind) {
			out = append(out, s.ID)
		}
	}
	return out
}

func tracksOf(d *machine.Definition) []int {
	var out []int
	for t := 1; t <= d.Tracks.Count; t++ {
		out = append(out, t)
	}
	return out
}
