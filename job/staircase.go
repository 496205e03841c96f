package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"headstack/bias"
	"headstack/lineup"
	"headstack/machine"
	"headstack/programme"
	"headstack/trim"
)

// Staircase keeps the plan of a bias staircase: where the trim of each track stands at each
// step while the sound is recorded. Its replay is a capture of its programme; what both say is
// in [LineUpStep]. A step that was set elsewhere is put right by correcting the entry.
type Staircase struct {
	Want   bias.Want
	Tracks []StaircaseTrack
	// Programme is what is recorded, by name; a document of the bench.
	Programme    string
	ProgrammeSHA string
}

// StaircaseTrack is the staircase of one track.
type StaircaseTrack struct {
	Trim string // machine.Trim id
	Key  string // replica
	// Bias is the trim as it was taken to be. Its Now is where it stood, a share of the travel
	// from the stop of least bias.
	Bias      bias.Trim
	Positions []float64 // shares of the travel, rising
	Round     int       // of the programme, from 0
}

// StaircaseOptions say what staircase is planned.
type StaircaseOptions struct {
	SpeedCmS float64 // 0: the definition's first
	Tracks   []int   // empty: all
	// Now is where trims stand, by track, as shares of the travel from the stop of least bias;
	// without it where the record has them, else the middle.
	Now map[int]float64
	// FallDB is the wanted fall of treble past its peak, as the tape's data ask for; 0: as the
	// last staircase of the speed, else the custom of the speed.
	FallDB float64
	Steps  int  // 0: 7
	Third  bool // a second staircase for the distortion of the low tone
}

func (s *Staircase) clone() *Staircase {
	if s == nil {
		return nil
	}
	out := *s
	out.Want.Aim.Warnings = slices.Clone(s.Want.Aim.Warnings)
	out.Tracks = slices.Clone(s.Tracks)
	for i := range out.Tracks {
		out.Tracks[i].Positions = slices.Clone(out.Tracks[i].Positions)
	}
	return &out
}

func (s *Staircase) text() string {
	var parts []string
	steps := 0
	for _, t := range s.Tracks {
		parts, steps = append(parts, t.Bias.ID), len(t.Positions)
	}
	return fmt.Sprintf("bias staircase of %s at %g cm/s, %d steps", strings.Join(parts, ", "), s.Want.Tones.SpeedCmS, steps)
}

// Plan is the staircase with its programme.
func (s *Staircase) Plan(p *programme.Programme) *bias.Plan {
	out := &bias.Plan{Want: s.Want, Programme: p}
	for _, t := range s.Tracks {
		out.Tracks = append(out.Tracks, t.Bias.Planned(t.Positions, t.Round))
	}
	return out
}

// mostSteps bounds a staircase, as package bias does.
const leastSteps, mostSteps = 4, 40

// checkStaircase holds a plan against the definition.
func checkStaircase(def *machine.Definition, s *Staircase) error {
	if len(s.Tracks) == 0 || len(s.Tracks) > def.Tracks.Count {
		return &InvalidError{Field: "staircase", Value: fmt.Sprintf("%d tracks", len(s.Tracks)), Problem: fmt.Sprintf("is not of 1 to %d", def.Tracks.Count)}
	}
	if _, ok := def.Speed(s.Want.Tones.SpeedCmS); !ok {
		return &InvalidError{Field: "speed", Value: fmt.Sprintf("%g cm/s", s.Want.Tones.SpeedCmS), Problem: "is not in the definition"}
	}
	for i := range s.Tracks {
		t := &s.Tracks[i]
		var err error
		if t.Trim, t.Key, err = ParseTrim(def, t.Trim, t.Key); err != nil {
			return err
		}
		if x := trimOf(def, t.Trim); x.Sets != "bias" {
			return &InvalidError{Field: "trim", Value: t.Trim, Problem: "does not set bias"}
		}
		n := len(t.Positions)
		if n < leastSteps || n > mostSteps || n != len(s.Tracks[0].Positions) {
			return &InvalidError{Field: "positions", Value: fmt.Sprint(n), Problem: fmt.Sprintf("are not %d to %d, and the same number on each track", leastSteps, mostSteps)}
		}
		last := -1.0
		for _, p := range t.Positions {
			if !(p >= 0 && p <= 1) || p <= last {
				return &InvalidError{Field: "position", Value: fmt.Sprint(p), Problem: "is no share of the travel from 0 to 1 that rises from step to step"}
			}
			last = p
		}
		if t.Bias.Track < 1 || t.Bias.Track > def.Tracks.Count || t.Round < 0 || !(t.Bias.Now >= 0 && t.Bias.Now <= 1) {
			return &InvalidError{Field: "staircase", Value: t.Bias.ID, Problem: "has no track of the recorder, no round, or stands nowhere in its travel"}
		}
	}
	if !(math.Abs(s.Want.Aim.FallDB) <= 12) {
		return &InvalidError{Field: "fall", Value: fmt.Sprintf("%g dB", s.Want.Aim.FallDB), Problem: "is no fall of treble past its peak", Nearest: []string{"0.5 to 12 dB"}}
	}
	return nil
}

// checkStaircaseProgramme wants the programme to be on the bench.
func (b *Bench) checkStaircaseProgramme(ctx context.Context, s *Staircase) error {
	if s == nil {
		return nil
	}
	i, err := b.find(ctx, ProgrammeDocument, s.ProgrammeSHA)
	if err == nil {
		s.Programme = i.name
	}
	return err
}

// PlanStaircase plans a bias staircase of a job and keeps it: the first of a trim about where
// its peak is expected, the next where the ones before it tell most. Its programme is kept on
// the bench. Errors: [NotFoundError], [InvalidError], [NoLineUpError].
func (b *Bench) PlanStaircase(ctx context.Context, jobID string, opt StaircaseOptions) (Entry, *bias.Plan, error) {
	l, v, err := b.LineUp(ctx, jobID)
	if err != nil {
		return Entry{}, nil, err
	}
	p, keys, err := planStaircase(l, v, opt)
	if err != nil {
		return Entry{}, nil, err
	}
	text, err := p.Programme.Encode()
	if err != nil {
		return Entry{}, nil, err
	}
	info, err := b.AddProgramme(ctx, "bias-staircase.yaml", text)
	if err != nil {
		return Entry{}, nil, err
	}
	s := &Staircase{Want: p.Want, Programme: info.Name, ProgrammeSHA: info.SHA}
	for i, t := range p.Tracks {
		s.Tracks = append(s.Tracks, StaircaseTrack{Trim: keys[i].Trim, Key: keys[i].Key, Bias: t.Trim, Positions: t.Positions, Round: t.Round})
	}
	e, err := b.Record(ctx, jobID, Entry{Staircase: s})
	return e, p, err
}

// planStaircase plans without keeping.
func planStaircase(l *LineUp, v *View, opt StaircaseOptions) (*bias.Plan, []*LineUpStep, error) {
	def := v.AsSeen()
	speed := cmp.Or(opt.SpeedCmS, def.Speeds[0].CmS)
	if _, ok := def.Speed(speed); !ok {
		return nil, nil, &InvalidError{Field: "speed", Value: fmt.Sprintf("%g cm/s", speed), Problem: "is not in the definition"}
	}
	var steps []*LineUpStep
	var trims []bias.Trim
	var curves []*bias.Curve
	aim := bias.UsualAim(speed, 0)
	for i := range l.Steps {
		s := &l.Steps[i]
		if s.Kind != lineup.Bias || len(s.Tracks) != 1 || s.Trim == "" || !sameSpeed(s.SpeedCmS, speed) || len(opt.Tracks) > 0 && !slices.Contains(opt.Tracks, s.Tracks[0]) {
			continue
		}
		now, said := opt.Now[s.Tracks[0]]
		st := s.Staircase
		if !said {
			now = 0.5
			if st != nil && !math.IsNaN(st.Position) {
				now = st.Position
			}
		}
		t, err := BiasTrim(def, s.Trim, s.Key, s.Tracks[0], now)
		if err != nil {
			return nil, nil, err
		}
		if st != nil {
			aim = st.Want.Aim
		}
		if st != nil && st.Curve != nil && st.fresh {
			c := *st.Curve
			c.Trim.Now = now
			curves = append(curves, &c)
		}
		steps, trims = append(steps, s), append(trims, t)
	}
	if len(steps) == 0 {
		return nil, nil, &InvalidError{Field: "track", Value: fmt.Sprint(opt.Tracks), Problem: fmt.Sprintf("has no trim that sets bias at %g cm/s", speed)}
	}
	if opt.FallDB != 0 {
		aim = bias.TapeAim(opt.FallDB, "the tape as stated")
	}
	want := bias.Want{Tones: bias.Tones{TrebleHz: bias.TrebleHz(speed), LowHz: def.Reference.ToneHz, SpeedCmS: speed}, Steps: opt.Steps, Third: opt.Third, Aim: aim}
	var p *bias.Plan
	var err error
	if len(curves) == len(trims) {
		p, err = bias.Next(want, curves...)
	} else {
		p, err = bias.New(want, trims...)
	}
	if errors.Is(err, bias.ErrTrim) || errors.Is(err, bias.ErrReadings) {
		err = &InvalidError{Field: "staircase", Value: strconv.Itoa(opt.Steps), Problem: "is not to be planned: " + err.Error()}
	}
	return p, steps, err
}

// BiasTrim is a bias trim of a recorder for package bias, with the travel that is known of it:
// several turns are counted from where it stands.
func BiasTrim(def *machine.Definition, id, key string, track int, now float64) (bias.Trim, error) {
	x := trimOf(def, id)
	if x == nil {
		return bias.Trim{}, &InvalidError{Field: "trim", Value: shorten(id), Problem: "is no trim of the definition"}
	}
	t, err := bias.TrimOf(*x, track, now)
	if err != nil {
		return t, &InvalidError{Field: "trim", Value: shorten(id), Problem: err.Error()}
	}
	t.ID = def.Designator(x.Part, x.Each, key)
	if travel, u, ok := TravelOf(def, id); ok && inUnit(travel, u, "turns") > 1.01 {
		t.Turns = inUnit(travel, u, "turns")
	} else if ok {
		t.Degrees = inUnit(travel, u, trim.Degrees)
	}
	return t, nil
}

// TravelShare reads where a trim stands, as typed: the hour of a clock face ("10:30"), turns
// from the anticlockwise stop ("2.5 turns"), degrees ("120°"), or a share of the travel
// ("45 %"). What comes is the share from the stop of least of what the trim sets.
func TravelShare(def *machine.Definition, id, text string) (float64, error) {
	bad := func(problem string) (float64, error) {
		return 0, &InvalidError{Field: "position", Value: shorten(text), Problem: problem, Nearest: []string{"10:30", "120°", "2.5 turns", "45 %"}}
	}
	x, travel, u := trimOf(def, id), 0.0, trim.TravelUnit("")
	if x != nil {
		travel, u, _ = TravelOf(def, id)
	}
	if !(travel > 0) {
		return bad("is of a trim whose travel is not known")
	}
	text = strings.TrimSpace(strings.Replace(text, ",", ".", 1))
	share := 0.0
	switch number, percent := strings.CutSuffix(text, "%"); {
	case percent:
		v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
		if err != nil {
			return bad("is no number")
		}
		share = v / 100
		if share < 0 || share > 1 {
			return bad("lies beyond the travel")
		}
		return share, nil // as asked: of what it sets
	default:
		at, err := parsePosition(text, travel, u)
		if err != nil {
			return 0, err
		}
		share = at / travel
	}
	if share < 0 || share > 1 {
		return bad("lies beyond the travel")
	}
	if x.Sign < 0 {
		share = 1 - share
	}
	return share, nil
}
