package web

import (
	"cmp"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"headstack/job"
	"headstack/lineup"
	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// stairView is the bias staircase of a step: the plan, its sound, the form for the replay, and
// what that says.
type stairView struct {
	*job.LineUpStaircase
	Job, Back string
	Step      string
	Track     int
	Speed     string
	Rows      []stairRow
	Lines     [][2]string // what it says, each with a label
	LeftOut   []string
	Plot      plot.Drawing
	Sound     string // path of the WAV
	Token     string
	Form      stairForm
}

// stairForm is what was typed for a plan.
type stairForm struct {
	Now, Fall string
	Third     bool
}

// stairRow is one step of the staircase: where the trim stood, and what was replayed in the
// last pass.
type stairRow struct {
	N                        int
	Words, Treble, Low, Note string
}

// stairs shows the staircase of a bias step; nil for another step.
func (l *lining) stairs(s *job.LineUpStep, v *job.View, back, token string) *stairView {
	if s.Kind != lineup.Bias || len(s.Tracks) != 1 || s.Trim == "" {
		return nil
	}
	x := &stairView{LineUpStaircase: s.Staircase, Job: v.Job.ID, Back: back, Step: s.ID, Track: s.Tracks[0], Speed: number(s.SpeedCmS), Token: token}
	st := s.Staircase
	if st == nil {
		return x
	}
	x.Sound = "/library/programmes/" + st.ProgrammeSHA + "/rounds/" + strconv.Itoa(st.Round) + "/sound.wav"
	for i, w := range st.Track.Words {
		x.Rows = append(x.Rows, stairRow{N: i + 1, Words: w})
	}
	if n := len(st.Passes); n > 0 && st.Capture != "" && len(st.Passes[n-1].Readings) == len(x.Rows) {
		for i, r := range st.Passes[n-1].Readings {
			if r.Treble != nil {
				x.Rows[i].Treble = stairFigure(r.Treble.Value, r.Treble.SD)
			}
			if r.Low != nil {
				x.Rows[i].Low = stairFigure(r.Low.Value, r.Low.SD)
			}
		}
	}
	x.says()
	return x
}

func stairFigure(v, sd float64) string {
	const z = 1.96
	return unit.Figure{Value: v, Lo: v - z*sd, Hi: v + z*sd, Unit: "dB", Difference: true}.String()
}

// says puts the fit into rows, and draws it.
func (x *stairView) says() {
	c := x.Curve
	if c == nil {
		return
	}
	say := func(label, text string) { x.Lines = append(x.Lines, [2]string{label, text}) }
	tone := unit.Frequency(unit.Hertz(c.Tones.TrebleHz))
	for _, o := range c.LeftOut {
		x.LeftOut = append(x.LeftOut, fmt.Sprintf("pass %d, step %d left out (%s): %s", o.Pass, o.Step, unit.Probability(o.Probability), o.Why))
		if o.Pass == len(x.Passes) && o.Step <= len(x.Rows) {
			x.Rows[o.Step-1].Note = "left out"
		}
	}
	x.LeftOut = append(x.LeftOut, c.Warnings...)
	if c.Peak == nil {
		say("peak of "+tone, string(c.Verdict)+": "+c.Why)
	} else {
		say("peak of "+tone, c.Peak.Words+", "+c.Peak.Bias.Figure().String()+" of bias re where the trim stood")
		switch s := x.Setting; {
		case s.Refused != "":
			say("setting", "none: "+s.Refused)
		default:
			say("set it to", s.At.Words+", "+s.At.Bias.Figure().String()+" of bias; "+s.Aim.Source)
			say("expect", s.Fall.Figure().String()+"; 0 is "+s.Fall.Reference)
			if s.Third != nil {
				say("third harmonic there", s.Third.Figure().String()+" of the low tone")
			}
			x.LeftOut = append(x.LeftOut, s.Warnings...)
		}
	}
	if x.Now != nil {
		say("where it stands now", x.Now.Figure().String())
	}
	if m := x.More; m != nil {
		switch {
		case m.Passes == 0:
			say("further passes", "none is needed")
		case m.Passes > 0:
			say("further passes", fmt.Sprintf("%d more for the tolerance", m.Passes))
		default:
			say("further passes", m.Why)
		}
	}
	x.draw()
}

// draw sets the curve and the steps of each pass against where the trim stands in its travel.
func (x *stairView) draw() {
	across := measure.Axis{Label: "share of the trim’s travel, from least bias", Unit: "%"}
	up := measure.Axis{Label: "output", Unit: "dB"}
	var ts []measure.Trace
	curve := measure.Trace{Name: "bias_curve", Section: "fitted curve", X: across, Y: up, Reference: "the treble’s fitted peak"}
	for _, p := range x.Curve.Treble {
		curve.Points = append(curve.Points, measure.Point{X: 100 * p.Position, Y: p.DB, Lo: p.Lo, Hi: p.Hi})
	}
	if len(curve.Points) > 0 {
		ts = append(ts, curve)
	}
	top := x.Curve.Top()
	for i, pass := range x.Passes {
		t := measure.Trace{Name: "bias_curve", Section: fmt.Sprintf("staircase %d of %d", i+1, len(x.Passes)), X: across, Y: up, Reference: curve.Reference}
		for _, r := range pass.Readings {
			if r.Treble != nil {
				t.Points = append(t.Points, measure.Point{X: 100 * r.Position, Y: r.Treble.Value - top, Lo: r.Treble.Value - top - 1.96*r.Treble.SD, Hi: r.Treble.Value - top + 1.96*r.Treble.SD})
			}
		}
		ts = append(ts, t)
	}
	x.Plot = plot.Traces(ts, plot.Options{ID: "staircase", Title: "Output against bias, track " + strconv.Itoa(x.Track)})
}

// planStaircase keeps a plan and comes back to the step.
func (s *server) planStaircase(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	form := stairForm{Now: r.PostFormValue("now"), Fall: r.PostFormValue("fall"), Third: r.PostFormValue("third") != ""}
	e, err := s.plannedStaircase(r, form)
	if err == nil {
		return goTo(w, r, cmp.Or(r.PostFormValue("back"), "/jobs/"+url.PathEscape(e.Job)+"/line-up"), e)
	}
	m, err2 := s.lineUpModel(r, s.stepOfForm(r))
	if err2 != nil {
		return err
	}
	if m.Now != nil && m.Now.Stairs != nil {
		m.Now.Stairs.Form = form
	}
	var status int
	m.Problem, status = problemOf(err)
	return render(w, status, "lineup", m)
}

func (s *server) plannedStaircase(r *http.Request, form stairForm) (job.Entry, error) {
	id := r.PathValue("job")
	l, v, err := s.bench.LineUp(r.Context(), id)
	if err != nil {
		return job.Entry{}, err
	}
	step, ok := l.Step(r.PostFormValue("step"))
	if !ok || len(step.Tracks) != 1 {
		return job.Entry{}, &job.InvalidError{Field: "step", Value: r.PostFormValue("step"), Problem: "is no step that sets the bias of a track"}
	}
	opt := job.StaircaseOptions{SpeedCmS: step.SpeedCmS, Tracks: step.Tracks, Third: form.Third}
	if text := strings.TrimSpace(form.Now); text != "" {
		at, err := job.TravelShare(v.AsSeen(), step.Trim, text)
		if err != nil {
			return job.Entry{}, err
		}
		opt.Now = map[int]float64{step.Tracks[0]: at}
	}
	if form.Fall != "" {
		if opt.FallDB, _, err = typedFigure("fall", form.Fall, "dB"); err != nil {
			return job.Entry{}, err
		}
	}
	e, _, err := s.bench.PlanStaircase(r.Context(), id, opt)
	return e, err
}

// staircaseReplay brings the replay of a staircase and comes back to its step.
func (s *server) staircaseReplay(w http.ResponseWriter, r *http.Request) error {
	id, step := r.PathValue("job"), r.URL.Query().Get("step")
	back := "/jobs/" + url.PathEscape(id) + "/line-up" + stepHref(step)
	_, e, err := s.takeUpload(w, r, id)
	if nm, ok := errors.AsType[*job.NotMeasuredError](err); ok {
		e, err = nm.Entry, nil
		back = "/jobs/" + url.PathEscape(id) + "/captures/" + strconv.FormatInt(e.Seq, 10) // says why
	}
	if err == nil {
		return goTo(w, r, back, e)
	}
	if explain(err).status == statusClientGone {
		return err
	}
	m, err2 := s.lineUpModel(r, step)
	if err2 != nil {
		return err
	}
	var status int
	m.Problem, status = problemOf(err)
	w.Header().Set("Connection", "close") // the rest of the upload was not read
	return render(w, status, "lineup", m)
}

// staircasePages are the routes of bias staircases.
func (s *server) staircasePages(page func(string, func(http.ResponseWriter, *http.Request) error)) {
	page("POST /jobs/{job}/line-up/staircases", s.planStaircase)
	page("POST /jobs/{job}/line-up/staircases/replay", s.staircaseReplay)
}
