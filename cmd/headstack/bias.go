package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"headstack/bias"
	"headstack/job"
	"headstack/machine"
	"headstack/measure"
	"headstack/unit"
)

type biasVerb struct {
	Plan biasPlanVerb `cmd:"" help:"Plan a staircase of trim positions: one record pass a track that shows the whole curve."`
	Fit  biasFitVerb  `cmd:"" help:"Read the peak and the setting from the replay of a staircase."`
}

// biasPlan is the file of a plan: what was asked for and where each trim stands at each
// step. format tells it from other JSON.
type biasPlan struct {
	Format  int        `json:"bias_plan"`
	Machine string     `json:"machine"`
	Plan    *bias.Plan `json:"plan"`
}

const biasPlanFormat = 1

type biasPlanVerb struct {
	benchFlag
	Job     string   `xor:"of" required:"" placeholder:"ID" help:"Job that the plan is kept in: its line-up then reads the replay. The next staircase of a trim is planned by the ones before it."`
	Machine string   `xor:"of" required:"" placeholder:"DEF" help:"Without a job, recorder definition: a YAML file, or the id of a built-in one."`
	Speed   float64  `placeholder:"CM_S" help:"Tape speed in cm/s; without it the definition's first."`
	Tracks  []int    `placeholder:"1,2,.." help:"Tracks; without it all."`
	Now     []string `placeholder:"TRACK=SHARE" help:"Where trims stand, as a share of their travel from the stop of least bias: 1=0.4. Without it the middle."`
	Fall    float64  `placeholder:"DB" help:"Wanted fall past the peak of treble, as the tape's data ask for; without it the custom of the speed."`
	Third   bool     `help:"A second staircase for the distortion of the low tone."`
	Steps   int      `placeholder:"N" help:"Steps; without it 7."`
	To      string   `required:"" placeholder:"DIR" help:"Folder for plan.json, programme.yaml, instructions.txt and a WAV file a track."`
}

func (biasPlanVerb) Help() string {
	return `Examples: headstack bias plan --machine octogrange --tracks 1,4 --now 1=0.45 --to staircase
          headstack bias plan --job job-0001 --tracks 3 --to staircase

A machine without a live view of its own recording shows output against bias in one pass: the trim is moved from step
to step while two tones are recorded. Existing files are not overwritten.`
}

func (v *biasPlanVerb) Run(e *env) error {
	if v.Job != "" {
		return v.inJob(e)
	}
	def, err := loadMachine(v.Machine)
	if err != nil {
		return err
	}
	plan, err := v.plan(def)
	if err != nil {
		return err
	}
	return writeBiasPlan(e, v.To, v.Machine, plan)
}

// inJob plans by the record of a job, and keeps the plan there.
func (v *biasPlanVerb) inJob(e *env) error {
	now, err := sharesOf(v.Now)
	if err != nil {
		return err
	}
	return v.with(e, func(b *job.Bench) error {
		view, err := b.View(e.ctx, v.Job)
		if err != nil {
			return err
		}
		kept, plan, err := b.PlanStaircase(e.ctx, v.Job, job.StaircaseOptions{SpeedCmS: v.Speed, Tracks: v.Tracks, Now: now, FallDB: v.Fall, Steps: v.Steps, Third: v.Third})
		if err != nil {
			return err
		}
		if err := writeBiasPlan(e, v.To, view.Job.Definition, plan); err != nil {
			return err
		}
		tracks := make([]string, len(plan.Tracks))
		for i, t := range plan.Tracks {
			tracks[i] = strconv.Itoa(t.Trim.Track)
		}
		fmt.Fprintf(e.out, "kept as %s (entry %d): %s\nits replay: headstack capture %s --programme %s --tracks %s replay.wav; then headstack lineup %s\n", kept.Ref, kept.Seq, kept.LineUpWords(),
			v.Job, kept.Staircase.ProgrammeSHA, strings.Join(tracks, ","), v.Job)
		return nil
	})
}

func (v *biasPlanVerb) plan(def *machine.Definition) (*bias.Plan, error) {
	speed := cmp.Or(v.Speed, def.Speeds[0].CmS)
	if !slices.ContainsFunc(def.Speeds, func(s machine.Speed) bool { return nearSpeed(s.CmS, speed) }) {
		return nil, usage("%g cm/s: %s %s does not have that speed", speed, def.Make, def.Name)
	}
	now, err := sharesOf(v.Now)
	if err != nil {
		return nil, err
	}
	tracks := v.Tracks
	if len(tracks) == 0 {
		for t := range def.Tracks.Count {
			tracks = append(tracks, t+1)
		}
	}
	var trims []bias.Trim
	for _, t := range tracks {
		if t < 1 || t > def.Tracks.Count {
			return nil, usage("track %d: the recorder has tracks 1 to %d", t, def.Tracks.Count)
		}
		i := slices.IndexFunc(def.Trims, func(x machine.Trim) bool {
			return x.Sets == "bias" && (x.SpeedCmS == 0 || nearSpeed(x.SpeedCmS, speed))
		})
		if i < 0 {
			return nil, fmt.Errorf("%s %s has no trim that sets bias at %g cm/s", def.Make, def.Name, speed)
		}
		at, said := now[t]
		if !said {
			at = 0.5
		}
		x, err := bias.TrimOf(def.Trims[i], t, at)
		if err != nil {
			return nil, err
		}
		trims = append(trims, x)
	}
	aim := bias.UsualAim(speed, 0)
	if v.Fall > 0 {
		aim = bias.TapeAim(v.Fall, "the tape as stated")
	}
	tones := bias.Tones{TrebleHz: bias.TrebleHz(speed), LowHz: def.Reference.ToneHz, SpeedCmS: speed}
	p, err := bias.New(bias.Want{Tones: tones, Steps: v.Steps, Third: v.Third, Aim: aim}, trims...)
	if errors.Is(err, bias.ErrTrim) || errors.Is(err, bias.ErrReadings) {
		return nil, usage("%v", err)
	}
	return p, err
}

// sharesOf reads "1=0.4".
func sharesOf(list []string) (map[int]float64, error) {
	out := map[int]float64{}
	for _, s := range list {
		track, share, ok := strings.Cut(s, "=")
		t, err := strconv.Atoi(track)
		x, err2 := strconv.ParseFloat(share, 64)
		if !ok || err != nil || err2 != nil || x < 0 || x > 1 {
			return nil, usage("--now %s: want a track and a share of the travel from 0 to 1, such as 1=0.4", s)
		}
		out[t] = x
	}
	return out, nil
}

// writeBiasPlan writes a plan into a folder, its sound and what the person does with it.
func writeBiasPlan(e *env, dir, def string, p *bias.Plan) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	data, err := json.MarshalIndent(biasPlan{biasPlanFormat, def, p}, "", " ")
	if err != nil {
		return err
	}
	if err := writeNew(e, filepath.Join(dir, "plan.json"), append(data, '\n')); err != nil {
		return err
	}
	text, err := p.Programme.Encode()
	if err != nil {
		return err
	}
	if err := writeNew(e, filepath.Join(dir, "programme.yaml"), text); err != nil {
		return err
	}
	sound := programmeSoundVerb{Bits: 24, Rate: 48000}
	for _, t := range p.Tracks {
		round := t.Round
		s, err := p.Programme.Signal(round, float64(sound.Rate))
		if err != nil {
			return err
		}
		if err := sound.write(e, filepath.Join(dir, fmt.Sprintf("round-%d.wav", round+1)), s); err != nil {
			return err
		}
	}
	return writeNew(e, filepath.Join(dir, "instructions.txt"), []byte(biasInstructions(p)))
}

func biasInstructions(p *bias.Plan) string {
	var b strings.Builder
	for i, s := range p.TwoHead() {
		fmt.Fprintf(&b, "%3d. %s\n", i+1, s)
	}
	for i, t := range p.Tracks {
		fmt.Fprintf(&b, "\nTrack %d, round-%d.wav, %s\n", t.Trim.Track, t.Round+1, t.Trim.ID)
		for k, w := range t.Words {
			fmt.Fprintf(&b, "  step %d: %s\n", k+1, w)
		}
		for _, c := range p.Cues(i) {
			fmt.Fprintf(&b, "  %6.1f s  %s\n", c.AtS, c.Say)
		}
		for _, w := range t.Warnings {
			fmt.Fprintf(&b, "  ◆ %s\n", w)
		}
	}
	return b.String()
}

type biasFitVerb struct {
	Plan      string   `required:"" placeholder:"FILE" help:"plan.json of the staircase."`
	Tracks    []string `sep:"none" placeholder:"1,2,.." help:"Track on each channel, in channel order. Once for all captures, or once per capture."`
	Written   []string `sep:"none" placeholder:"TRACK=SHARES" help:"Positions as they were really set, where the person wrote them down: 1=0.2,0.3,..."`
	Earlier   []string `placeholder:"FILE" help:"What an earlier fit of the same tracks and tape wrote with --json: both are fitted together."`
	Tolerance float64  `default:"0.5" placeholder:"DB" help:"To how many dB the fall is wanted, for the count of further passes."`
	Next      string   `placeholder:"DIR" help:"Also plan the next staircase, into a folder."`
	JSON      bool     `help:"One JSON object on standard output."`
	Capture   []string `arg:"" help:"WAV, RF64, BW64 or FLAC files of the replay."`
}

func (biasFitVerb) Help() string {
	return `Example: headstack bias fit --plan staircase/plan.json --tracks 1,4 replay.wav`
}

// biasFit is what the staircases of some tracks say.
type biasFit struct {
	Tracks []biasTrack `json:"tracks"`
}

type biasTrack struct {
	Track   int              `json:"track"`
	Passes  []bias.Staircase `json:"passes"`
	Doubts  []string         `json:"doubts"`
	Curve   *bias.Curve      `json:"curve,omitempty"`
	Setting *bias.Setting    `json:"setting,omitempty"`
	More    *bias.More       `json:"more,omitempty"`
	Refused string           `json:"refused,omitempty"`
}

func (v *biasFitVerb) Run(e *env) error {
	file, err := v.load()
	if err != nil {
		return err
	}
	def, err := loadMachine(file.Machine)
	if err != nil {
		return err
	}
	written, err := v.written()
	if err != nil {
		return err
	}
	earlier, err := v.earlier()
	if err != nil {
		return err
	}
	plan := file.Plan
	sources, err := openSources(v.Capture, v.Tracks, def.Tracks.Count)
	if err != nil {
		return err
	}
	bar := e.progress("measuring")
	rep, err := measure.Recording(e.ctx, sources, plan.Programme, measure.Options{Geometry: def.Geometry(), SpeedCmS: plan.Programme.SpeedCmS,
		OnceRound: job.Rotations(def, plan.Programme.SpeedCmS), Progress: bar.at})
	bar.done()
	if err != nil {
		return err
	}
	out := biasFit{Tracks: []biasTrack{}}
	var curves []*bias.Curve
	for _, t := range plan.Tracks {
		x := v.track(plan, rep, t, written[t.Trim.Track], earlier[t.Trim.Track])
		if x.Curve != nil {
			curves = append(curves, x.Curve)
		}
		out.Tracks = append(out.Tracks, x)
	}
	if v.JSON {
		err = printJSON(e.out, out)
	} else {
		printBias(e.out, out)
	}
	if err == nil && v.Next != "" && len(curves) > 0 {
		var next *bias.Plan
		if next, err = bias.Next(plan.Want, curves...); err == nil {
			err = writeBiasPlan(e, v.Next, file.Machine, next)
		}
	}
	if err == nil && !slices.ContainsFunc(out.Tracks, func(t biasTrack) bool { return t.Setting != nil && t.Setting.Refused == "" }) {
		return &fault{exitNoJudge, fmt.Errorf("no setting comes of %s", strings.Join(v.Capture, ", ")), "is it the replay of that plan's rounds, with the trim turned at each mark, and are the tracks the right ones?"}
	}
	return err
}

// track reads one track's staircase and fits it with earlier ones.
func (v *biasFitVerb) track(plan *bias.Plan, rep measure.Report, t bias.TrackPlan, written []float64, passes []bias.Staircase) biasTrack {
	out := biasTrack{Track: t.Trim.Track, Passes: slices.Clone(passes), Doubts: []string{}}
	s, doubts, err := plan.Heard(rep, t.Trim.Track, written)
	out.Doubts = append(out.Doubts, doubts...)
	if err == nil {
		out.Passes = append(out.Passes, s)
		out.Curve, err = bias.Fit(t.Trim, plan.Want.Tones, bias.Align(out.Passes...)...)
	}
	if err != nil {
		out.Refused = err.Error()
		return out
	}
	set, more := out.Curve.Set(plan.Want.Aim), out.Curve.More(plan.Want, v.Tolerance)
	out.Setting, out.More = &set, &more
	return out
}

func (v *biasFitVerb) load() (biasPlan, error) {
	var out biasPlan
	data, err := readFile(v.Plan)
	if err != nil {
		return out, err
	}
	if err := json.Unmarshal(data, &out); err != nil || out.Format != biasPlanFormat || out.Plan == nil || out.Plan.Programme == nil || len(out.Plan.Tracks) == 0 {
		return out, withHint(fmt.Errorf("%s is no plan of a bias staircase: %w", v.Plan, errors.Join(err, errBiasPlan)), "headstack bias plan writes one")
	}
	return out, nil
}

// errBiasPlan is what a file that should be a plan lacks.
var errBiasPlan = errors.New(`want a JSON object with "bias_plan": 1 and "plan"`)

func (v *biasFitVerb) written() (map[int][]float64, error) {
	out := map[int][]float64{}
	for _, s := range v.Written {
		track, list, ok := strings.Cut(s, "=")
		t, err := strconv.Atoi(track)
		if !ok || err != nil {
			return nil, usage("--written %s: want a track and its positions, such as 1=0.2,0.3", s)
		}
		for _, f := range strings.Split(list, ",") {
			x, err := strconv.ParseFloat(strings.TrimSpace(f), 64)
			if err != nil || x < 0 || x > 1 {
				return nil, usage("--written %s: %q is no share of the travel from 0 to 1", s, f)
			}
			out[t] = append(out[t], x)
		}
	}
	return out, nil
}

// earlier are the staircases of earlier fits, by track.
func (v *biasFitVerb) earlier() (map[int][]bias.Staircase, error) {
	out := map[int][]bias.Staircase{}
	for _, name := range v.Earlier {
		data, err := readFile(name)
		if err != nil {
			return nil, err
		}
		var f struct {
			Tracks []struct {
				Track  int              `json:"track"`
				Passes []bias.Staircase `json:"passes"`
			} `json:"tracks"`
		}
		if err := json.Unmarshal(data, &f); err != nil || len(f.Tracks) == 0 {
			return nil, withHint(fmt.Errorf("%s holds no earlier fit: %w", name, errors.Join(err, errBiasFit)), "headstack bias fit --json writes one")
		}
		for _, t := range f.Tracks {
			out[t.Track] = append(out[t.Track], t.Passes...)
		}
	}
	return out, nil
}

// errBiasFit is what a file that should be an earlier fit lacks.
var errBiasFit = errors.New(`want a JSON object with "tracks" and their "passes"`)

func printBias(w io.Writer, f biasFit) {
	for i, t := range f.Tracks {
		if i > 0 {
			fmt.Fprintln(w)
		}
		fmt.Fprintf(w, "Track %d\n", t.Track)
		for _, d := range t.Doubts {
			fmt.Fprintf(w, "  ◆ %s\n", d)
		}
		if t.Refused != "" {
			fmt.Fprintf(w, "  not read: %s\n", t.Refused)
			continue
		}
		for _, x := range biasLines(t) {
			fmt.Fprintln(w, "  "+x)
		}
	}
}

// biasLines is what the staircases of one track say, a line each.
func biasLines(t biasTrack) (out []string) {
	say := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	c := t.Curve
	for _, x := range c.LeftOut {
		say("◆ pass %d, step %d left out (%s): %s", x.Pass, x.Step, unit.Probability(x.Probability), x.Why)
	}
	for _, x := range slices.Concat(c.Warnings, t.Setting.Warnings) {
		say("◆ %s", x)
	}
	if c.Peak == nil {
		say("%s: %s", c.Verdict, c.Why)
		return out
	}
	say("peak of %s: %s, %s of bias re where the trim stands", unit.Frequency(unit.Hertz(c.Tones.TrebleHz)), c.Peak.Words, inBias(c.Peak.Bias))
	s := t.Setting
	if s.Refused != "" {
		say("no setting: %s", s.Refused)
		return out
	}
	say("▶ set it to %s, %s of bias; the fall to expect %s (%s)", s.At.Words, inBias(s.At.Bias), inBias(s.Fall), s.Aim.Source)
	if s.Third != nil {
		say("  third harmonic of the low tone there: %s", s.Third.Figure())
	}
	for k, x := range s.Steps {
		say("  %d. %s", k+1, x)
	}
	switch {
	case t.More == nil:
	case t.More.Passes == 0:
		say("no further pass is needed")
	case t.More.Passes > 0:
		say("further passes for the tolerance: %d", t.More.Passes)
	default:
		say("no number of passes meets the tolerance: %s", t.More.Why)
	}
	return out
}

func inBias(r measure.Result) string { return r.Figure().String() }
