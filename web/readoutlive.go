package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"headstack/job"
	"headstack/lineup"
	"headstack/live"
	"headstack/machine"
	"headstack/measure"
	"headstack/trim"
	"headstack/unit"
)

// liveNow is what the tape that runs now says of a step.
type liveNow struct {
	Source  string // what is heard
	Refused string // why there is no figure now
	// AgeMs is how old the middle of the sound behind the figure was when the figure was
	// made; At the time at which the last of that sound arrived, Unix milliseconds.
	AgeMs    int
	WindowMs int
	At       int64
	Figure   *job.Figure // as it would be entered in the record
}

// probe reads one step from a capture in progress.
type probe struct {
	h      *hearing
	def    *machine.Definition
	step   *job.LineUpStep
	output *lineup.Amount
	a, b   int // channels from 1; b 0 where one is enough
	trackA int
	trackB int
}

// probeFor finds the channels that a step is read from. why says in words why it cannot be.
func probeFor(h *hearing, l *job.LineUp, def *machine.Definition, st *job.LineUpStep) (p probe, why string) {
	p = probe{h: h, def: def, step: st, output: l.OutputDBFS}
	channel := func(track int) int { return slices.Index(h.expect.Tracks, track) + 1 }
	switch {
	case st.Captured != nil && (st.Captured.Measure == "speed_error" || st.Captured.Measure == "flutter"):
		return p, "speed and flutter are read from a whole capture: wow moves the figure of a tenth of a second by more than the tolerance"
	case st.Captured == nil || st.Target.Refused != "" || st.Source.ToneHz == 0:
		return p, "this step is not read from a tone of a tape"
	case st.Captured.Measure == "azimuth_line":
		for t := 1; t <= def.Tracks.Count; t++ { // the outermost two that are heard
			if c := channel(t); c > 0 && p.a == 0 {
				p.a, p.trackA = c, t
			} else if c > 0 {
				p.b, p.trackB = c, t
			}
		}
		if p.b == 0 {
			return p, "azimuth is read between two tracks, and one is heard"
		}
		return p, ""
	case len(st.Tracks) != 1 || !p.level() && !p.response():
		return p, "this step is read from a whole capture, not while the tape runs"
	}
	if p.a, p.trackA = channel(st.Tracks[0]), st.Tracks[0]; p.a == 0 {
		return p, "track " + strconv.Itoa(st.Tracks[0]) + " is not heard by this capture"
	}
	if p.level() && p.output == nil {
		return p, "captured levels are held against targets once the line-up page knows what the recorder’s reference output gives at the interface"
	}
	return p, ""
}

func (p probe) level() bool { return p.step.Captured.Measure == "level" }

// response is that of a test tape: re the level of its reference section on the same track.
func (p probe) response() bool {
	return p.step.Captured.Measure == "response" && p.step.Source.Carrier == lineup.TestTape
}

// tone is what the meter listens for: for azimuth the tone that plays, as a low one comes
// first and finds what a high one shows wrong by whole periods.
func (p probe) tone(st live.State) float64 {
	if p.b > 0 {
		for _, s := range st.Sections {
			if s.Stage == live.Running && s.ToneHz > 0 {
				return s.ToneHz
			}
		}
	}
	return p.step.Source.ToneHz
}

const z95 = 1.959963984540054 // of a 95 % interval, standard normal

// result makes the step's figure of a reading, as an instrument would show it.
func (p probe) result(r live.Reading, st live.State) measure.Result {
	out := measure.Result{Name: p.step.Measure, Unit: p.step.Target.Unit, ToneHz: r.ToneHz, Refused: r.Refused}
	set := func(v, half float64) { out.Value, out.Lo, out.Hi = v, v-half, v+half }
	switch {
	case r.Refused != "":
	case p.b > 0 && !r.HasDelay:
		out.Refused = "no tone on one of the two tracks"
	case p.b > 0:
		g := p.def.Geometry().Tracks
		d := float64(g[p.trackB-1].Centre - g[p.trackA-1].Centre) // metres
		k := p.step.SpeedCmS / 100 * 1e-6 / d                     // tangent of the angle for a microsecond
		const arcmin = 180 * 60 / math.Pi
		set(arcmin*math.Atan(k*r.DelayUs), arcmin*k*r.DelayHalf)
	case p.level():
		set(r.LevelDBFS-p.output.Value, math.Hypot(r.LevelHalf, p.output.Half))
	default:
		ref, ok := referenceLevel(st, p.h.expect, p.trackA)
		if !ok {
			out.Refused = "the tape’s reference section was not heard in this capture: play it first"
			break
		}
		set(r.LevelDBFS-ref.Value, math.Hypot(r.LevelHalf, (ref.Hi-ref.Lo)/2))
	}
	return out
}

// referenceLevel is the level of the tape's reference tone on a track, heard in this capture.
func referenceLevel(st live.State, x live.Expect, track int) (measure.Result, bool) {
	if x.Tape == nil {
		return measure.Result{}, false
	}
	for _, s := range st.Sections {
		if s.Index >= len(x.Tape.Sections) || s.Voided || s.ToneHz != x.Tape.Reference.ToneHz || x.Tape.Sections[s.Index].LevelDB != 0 {
			continue
		}
		for _, f := range s.Figures {
			if f.Name == "level" && f.Track == track && f.Refused == "" {
				return f, true
			}
		}
	}
	return measure.Result{}, false
}

// ambiguous says beyond which angle a delay within half a period shows less than there is.
func (p probe) ambiguous(toneHz float64) string {
	if p.b == 0 || !(toneHz > 0) {
		return ""
	}
	r := p.result(live.Reading{HasDelay: true, DelayUs: 5e5 / toneHz}, live.State{})
	return fmt.Sprintf("At %s more than ±%s%sarcmin looks like less: begin with the lowest tone, and stay with a higher one once it shows the same.",
		unit.Frequency(unit.Hertz(toneHz)), number(math.Round(10*math.Abs(r.Value))/10), unit.ThinSpace)
}

// follower turns the readings of a probe into what the read-out shows.
type follower struct {
	probe
	root string
	base readOut
	cues []string // cautions
	turn *job.LiveTrim
	own  bool // the step's own tone is listened for, though another is said to play
}

// now is the tone that is listened for.
func (f *follower) now(st live.State) float64 {
	if f.own {
		return f.step.Source.ToneHz
	}
	return f.tone(st)
}

// follow prepares the read-out of a step for the capture in progress.
func (s *server) follow(ctx context.Context, jobID, step string) (f *follower, h *hearing, why string, err error) {
	if h = s.ear.of(jobID); h == nil {
		return nil, nil, "", nil
	}
	l, v, err := s.bench.LineUp(ctx, jobID)
	if err != nil {
		return nil, h, "", err
	}
	here := l.Status.Next
	if step != "" {
		if here, err = job.ParseStep(v.Def, step); err != nil {
			return nil, h, "", err
		}
	}
	st, ok := l.Step(here)
	if !ok {
		return nil, h, "there is no step to read now", nil
	}
	p, why := probeFor(h, l, v.Def, st)
	if why != "" {
		return nil, h, why, nil
	}
	f = &follower{probe: p, root: jobRoot(v), cues: st.Cautions}
	f.base, _ = readOutOf(&lining{l, here})
	f.turn, _ = l.LiveTrim(here)
	return f, h, "", nil
}

// show is the read-out of one reading.
func (f *follower) show(r live.Reading, st live.State) readOutModel {
	got := time.Now()
	m := readOutModel{readOut: f.base, Root: f.root, Is: true, Cautions: f.cues,
		Live: &liveNow{Source: f.h.Source, WindowMs: ms(r.WindowS), AgeMs: ms(r.WindowS/2 + r.Processing.Seconds()), At: got.Add(-r.Processing).UnixMilli()}}
	m.Error, m.Turn, m.Before, m.readOut.Verdict, m.Ref = nil, nil, false, lineup.NotMeasured, ""
	x := f.result(r, st)
	j := lineup.Judge(&f.step.Target, &x)
	if x.Refused != "" || j.Verdict == lineup.NotMeasured {
		m.Live.Refused = x.Refused
		m.Words = "no figure now: " + x.Refused
		if x.Refused == "" {
			m.Words = j.Why
		}
		if f.turn != nil {
			f.turn.At(r.AtS)
		}
		m.show()
		return m
	}
	m.readOut.Verdict, m.Error = j.Verdict, &job.LineUpFigure{Value: j.Error, Lo: j.Lo, Hi: j.Hi, Unit: j.Unit}
	half := (x.Hi - x.Lo) / 2
	m.Live.Figure = &job.Figure{Step: f.step.ID, Value: x.Value, Unit: x.Unit, Half: half, Instrument: "live capture, " + f.h.Source}
	m.Words = map[lineup.Verdict]string{lineup.In: "inside: leave it", lineup.Out: "outside", lineup.Doubt: "about at the limit"}[j.Verdict]
	m.show()
	if f.turn != nil {
		m.Arrow, m.Words = signOf(f.turn.Feed(r.AtS, j.Error, half))
	}
	if why := f.ambiguous(r.ToneHz); why != "" {
		m.Ambiguous = why
	}
	return m
}

func ms(seconds float64) int { return int(math.Round(1000 * seconds)) }

// signOf puts a sign for the hand into mark and words: "12 % of a turn clockwise".
func signOf(s trim.Sign) (*turnView, string) {
	switch s.Direction {
	case trim.Stop:
		return &turnView{Mark: shape{"proved", "■", "stop"}}, "inside: leave it"
	case trim.Clockwise, trim.Anticlockwise:
		v := &turnView{Mark: shape{"due", "↻", "clockwise"}}
		by, lo, hi := s.Turn.Value, s.Turn.Lo, s.Turn.Hi
		if s.Direction == trim.Anticlockwise {
			v.Mark = shape{"due", "↺", "anticlockwise"}
			by, lo, hi = -by, -hi, -lo
		}
		v.By, v.Within = partOfTurn(by, lo, hi, s.Turn.Unit)
		return v, "turn slowly: the figure follows"
	}
	return nil, s.Why
}

// partOfTurn writes a travel for the hand: "12 % of a turn", "1.5 turns".
func partOfTurn(v, lo, hi float64, u string) (by, within string) {
	per := 1.0
	if trim.TravelUnit(u) == trim.Degrees {
		per = 360
	}
	v, lo, hi = v/per, lo/per, hi/per
	spread := ""
	switch {
	case math.IsInf(lo, 0) || math.IsInf(hi, 0):
	case math.Abs(v) < 1:
		spread = fmt.Sprintf("±%.0f", math.Ceil(50*(hi-lo)))
	default:
		spread = fmt.Sprintf("±%.1f", math.Ceil(5*(hi-lo))/10)
	}
	if math.Abs(v) < 1 {
		return fmt.Sprintf("%.0f\u2009%% of a turn", max(1, math.Round(100*math.Abs(v)))), spread
	}
	return fmt.Sprintf("%.1f turns", math.Abs(v)), spread
}

// readings hands each reading of a step to take, until it says to stop, the capture
// ends or ctx does. Of azimuth the meter follows the tone that plays.
func (f *follower) readings(ctx context.Context, take func(live.Reading, live.State) (more bool)) error {
	for {
		tone := f.now(f.h.sess.State())
		m, err := f.h.sess.Meter(live.MeterConfig{Channel: f.a, Against: f.b, ToneHz: tone})
		if err != nil {
			return err
		}
		again := f.from(ctx, m, tone, take)
		m.Close()
		if !again {
			return nil
		}
	}
}

// from takes readings of one meter; again says that another tone plays.
func (f *follower) from(ctx context.Context, m *live.Meter, tone float64, take func(live.Reading, live.State) bool) (again bool) {
	refused := 0
	for {
		select {
		case r, ok := <-m.C:
			if !ok {
				return false
			}
			st := f.h.sess.State()
			if !take(r, st) {
				return false
			}
			// What plays is known some seconds late: where that tone is not there, the step's own is
			// tried, and the other way round.
			if refused++; r.Refused == "" {
				refused = 0
			}
			if refused == 3 && f.tone(st) != f.step.Source.ToneHz {
				f.own, refused = !f.own, 0
			}
			if f.now(st) != tone {
				return true
			}
		case <-ctx.Done():
			return false
		}
	}
}

// readNow is one reading of a step, for a page without scripts; ok is false where none came
// in time.
func (s *server) readNow(ctx context.Context, f *follower) (m readOutModel, ok bool) {
	ctx, cancel := context.WithTimeout(ctx, 1200*time.Millisecond)
	defer cancel()
	_ = f.readings(ctx, func(r live.Reading, st live.State) bool {
		m, ok = f.show(r, st), true
		return m.Error == nil && ctx.Err() == nil
	})
	return m, ok
}

// readOutEvents sends the read-out as the tape runs, with each reading.
func (s *server) readOutEvents(w http.ResponseWriter, r *http.Request) error {
	id, step := r.PathValue("job"), r.URL.Query().Get("step")
	if _, err := s.bench.View(r.Context(), id); err != nil {
		return err
	}
	out, done, err := s.streams.open(w)
	if err != nil {
		return err
	}
	defer done()
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	stop := context.AfterFunc(s.ctx(), cancel)
	defer stop()
	for ctx.Err() == nil {
		run, changed := s.ear.current()
		f, h, why, err := s.follow(ctx, id, step)
		switch {
		case err != nil:
			return nil
		case f == nil:
			say := "Nothing is heard for this job now."
			if h != nil {
				say = "Heard, but not read here: " + why + "."
			}
			if out.send("none", []byte(say)) != nil {
				return nil
			}
		default:
			broken := false
			err := f.readings(ctx, func(r live.Reading, st live.State) bool {
				part, err := partOf("readout", "readoutnow", f.show(r, st))
				if err == nil {
					err = out.send("now", part)
				}
				broken = err != nil
				return !broken
			})
			if broken {
				return nil
			}
			if err != nil && out.send("none", []byte("Not read: "+err.Error()+".")) != nil {
				return nil
			}
			if next, _ := s.ear.current(); next != run { // over: say so, and wait for the next
				continue
			}
		}
		if !s.waitForEar(ctx, changed, out) {
			return nil
		}
	}
	return nil
}

// waitForEar waits until the bench listens to something else.
func (s *server) waitForEar(ctx context.Context, changed <-chan struct{}, out *stream) bool {
	every := time.NewTicker(10 * time.Second)
	defer every.Stop()
	for {
		select {
		case <-changed:
			return true
		case <-every.C:
			if out.alive() != nil {
				return false
			}
		case <-ctx.Done():
			return false
		}
	}
}

// readingsKept is how many readings make a figure for the record: half a second of them.
const readingsKept = 5

// keepReadOut enters what is heard of a step now as its figure: the mean of half a second,
// with the wider of what the readings say of themselves and how they scatter.
func (s *server) keepReadOut(w http.ResponseWriter, r *http.Request) error {
	if err := parseForm(w, r); err != nil {
		return err
	}
	e, err := s.recordLive(r.Context(), r.PathValue("job"), r.PostFormValue("step"))
	if err != nil {
		return err
	}
	back := "/jobs/" + url.PathEscape(e.Job) + "/line-up/read-out?step=" + url.QueryEscape(e.Figure.Step)
	return goTo(w, r, back, e)
}

// recordLive enters the figure of a step that is heard now.
func (s *server) recordLive(ctx context.Context, jobID, step string) (job.Entry, error) {
	no := func(why string) (job.Entry, error) {
		return job.Entry{}, notHeard(why)
	}
	f, h, why, err := s.follow(ctx, jobID, step)
	switch {
	case err != nil:
		return job.Entry{}, err
	case h == nil:
		return no("nothing is heard for this job")
	case f == nil:
		return no(why)
	}
	short, cancel := context.WithTimeout(ctx, 3*time.Second)
	defer cancel()
	var got []job.Figure
	last := "no reading came"
	err = f.readings(short, func(r live.Reading, st live.State) bool {
		m := f.show(r, st)
		if m.Live.Figure == nil {
			got, last = nil, m.Words // it must be half a second in one piece
		} else {
			got = append(got, *m.Live.Figure)
		}
		return len(got) < readingsKept
	})
	if err != nil {
		return job.Entry{}, err
	}
	if len(got) < readingsKept {
		return no(last)
	}
	fig := meanFigure(got)
	return s.bench.Record(ctx, jobID, job.Entry{Figure: &fig, Case: f.h.expect.Case})
}

// meanFigure is the mean of readings, with the wider of their own interval and their scatter.
func meanFigure(got []job.Figure) job.Figure {
	out := got[0]
	sum, half, sq := 0.0, 0.0, 0.0
	for _, g := range got {
		sum += g.Value
		half = max(half, g.Half)
	}
	out.Value = sum / float64(len(got))
	for _, g := range got {
		sq += (g.Value - out.Value) * (g.Value - out.Value)
	}
	out.Half = max(half, z95*math.Sqrt(sq/float64(len(got)-1)))
	return out
}
