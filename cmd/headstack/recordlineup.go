package main

import (
	"strings"

	"headstack/job"
)

type recordTurnVerb struct {
	From    string   `placeholder:"AT" help:"Where it stood: 10:30 on a clock face with 12 in the middle, or 90deg or 1.5turns from the anticlockwise stop."`
	To      string   `placeholder:"AT" help:"Where it stands now."`
	Stopped bool     `help:"The end of its travel was felt."`
	Travel  string   `placeholder:"TRAVEL" help:"How far it goes from stop to stop, as seen on this recorder: 15turns. It holds for its siblings too."`
	Trim    string   `arg:"" help:"The trim as printed: VRa-3."`
	By      []string `arg:"" optional:"" help:"How far and which way: 30deg, 1/8 turn anticlockwise, 2.5 turns left. Without it and without positions: turned, and how far was not noted."`
}

func (recordTurnVerb) Help() string {
	return `Examples: headstack record --job job-0001 turn VRa-3 30deg anticlockwise
          headstack record --job job-0001 turn VRa-3 --from 10:30 --to 12:00
          headstack record --job job-0001 turn L7-3 1/4 turn --stopped`
}

func (v *recordTurnVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(view *job.View) (job.Entry, error) {
		t, err := job.ParseTurn(view.AsSeen(), v.Trim, strings.Join(v.By, " "), v.From, v.To)
		if err == nil && v.Travel != "" {
			travel, u, err := job.ParseTravel(v.Travel)
			if err != nil {
				return job.Entry{}, err
			}
			t = t.InUnit(u)
			t.Travel = travel
		}
		t.Stopped = v.Stopped
		return job.Entry{Turn: &t}, err
	})
}

type recordGateVerb struct {
	Lost bool   `help:"It holds no longer: cooled down, dirty again, magnetised."`
	Step string `arg:"" help:"The step, as headstack lineup names it: path_clean."`
}

func (v *recordGateVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Gate: &job.Gate{Step: v.Step, Lost: v.Lost}}, nil
	})
}

type recordFigureVerb struct {
	Half  float64 `placeholder:"X" help:"Half width of the 95 % interval, in the unit of the value. Without it what is usual is taken, and said."`
	With  string  `placeholder:"ID" help:"What it was read with."`
	Step  string  `arg:"" help:"The step, as headstack lineup names it (level/VRa/3), or the trim that is set there (VRa-3); reference_output is what the recorder's reference output gives at the capture interface."`
	Value string  `arg:"" help:"What was read, with its unit: 109mV, 1.2dB, 0.3arcmin. A value below zero stands after two dashes: -- -1.2dB"`
}

func (recordFigureVerb) Help() string {
	return `Examples: headstack record --job job-0001 figure level/VRa/3 109mV --half 2
          headstack record --job job-0001 figure treble/VRb/3 -- -21.2dB
          headstack record --job job-0001 figure reference_output -- -18dBFS`
}

func (v *recordFigureVerb) Run(e *env, all *recordVerb) error {
	var figure job.Figure
	err := all.with(e, func(b *job.Bench) (err error) {
		figure, err = b.ParseFigure(e.ctx, all.Job, v.Step, v.Value)
		return err
	})
	if err != nil {
		return err
	}
	figure.Half, figure.Instrument = v.Half, v.With
	return all.add(e, func(*job.View) (job.Entry, error) { return job.Entry{Figure: &figure}, nil })
}

type recordPassVerb struct {
	Tape string `arg:"" help:"Test tape: the id of one that the bench knows. A capture of a test tape counts as a pass by itself."`
}

func (v *recordPassVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{Pass: &job.Pass{Tape: v.Tape}}, nil
	})
}

type recordSignOffVerb struct {
	By     string `placeholder:"INITIALS" help:"Who answers for it."`
	Reason string `required:"" help:"Why it is left as it is."`
	Step   string `arg:"" help:"The step, as headstack lineup names it."`
}

func (v *recordSignOffVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		return job.Entry{SignOff: &job.SignOff{Step: v.Step, Reason: v.Reason, By: v.By}}, nil
	})
}

type recordSoakVerb struct {
	Half    float64 `placeholder:"X" help:"Half width of the 95 % interval, in the unit of the value."`
	Track   int     `help:"Track, of what is read on each."`
	At      float64 `arg:"" help:"Minutes since the soak began."`
	Measure string  `arg:"" help:"What was read: speed_error, azimuth_line, level or response."`
	Value   string  `arg:"" help:"What was read, with its unit. A value below zero stands after two dashes."`
}

func (recordSoakVerb) Help() string {
	return `Example: headstack record --job job-0001 soak 30 level --track 3 -- -0.2dB`
}

func (v *recordSoakVerb) Run(e *env, all *recordVerb) error {
	return all.add(e, func(*job.View) (job.Entry, error) {
		understood := map[string]string{"speed_error": "%", "azimuth_line": "arcmin", "level": "dB", "response": "dB"}[v.Measure]
		value, unitName, err := job.ParseValue("value", strings.TrimSuffix(v.Value, "FS"), understood)
		return job.Entry{Soak: &job.Soak{AtMinutes: v.At, Measure: v.Measure, Track: v.Track, Value: value, Unit: unitName, Half: v.Half}}, err
	})
}

// replaceLineUp puts the right value into the replacement of an entry of the line-up; of
// any other it is the text of a note.
func replaceLineUp(view *job.View, old job.Entry, text string, out *job.Entry) (err error) {
	switch {
	case old.Turn != nil:
		part := old.Turn.Part(view.Def)
		var t job.Turn
		t, err = job.ParseTurn(view.AsSeen(), part, text, "", "")
		t.Stopped, t.Travel = old.Turn.Stopped, old.Turn.InUnit(t.Unit).Travel
		out.Turn = &t
	case old.Gate != nil:
		out.Gate = &job.Gate{Step: text, Lost: old.Gate.Lost}
	case old.Pass != nil:
		out.Pass = &job.Pass{Tape: text}
	case old.Figure != nil:
		f := *old.Figure
		f.Value, f.Unit, err = job.ParseValue("value", text, f.Unit)
		out.Figure = &f
	case old.SignOff != nil:
		s := *old.SignOff
		s.Reason = text
		out.SignOff = &s
	case old.Soak != nil:
		s := *old.Soak
		s.Value, s.Unit, err = job.ParseValue("value", text, s.Unit)
		out.Soak = &s
	case old.Staircase != nil: // where its steps were really set
		var at map[int][]float64
		at, err = (&biasFitVerb{Written: strings.Fields(text)}).written()
		s := *old.Clone().Staircase
		for i := range s.Tracks {
			if w := at[s.Tracks[i].Bias.Track]; w != nil {
				s.Tracks[i].Positions = w
			}
		}
		out.Staircase = &s
	default:
		out.Remark = text
	}
	return err
}
