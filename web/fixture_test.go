package web

import (
	"bytes"
	"cmp"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"headstack/diagnosis"
	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
	"headstack/measure"
	"headstack/signature"
	"headstack/teardown"
)

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// storyBench is a real bench whose diagnosis and captures are as a story wants
// them: the pages are tested here, not the reasoning.
type storyBench struct {
	*job.Bench
	verdict  func(v *job.View) (*diagnosis.Verdict, error)
	advice   func(v *job.View) (*diagnosis.Advice, error)
	plan     func(ctx context.Context, v *job.View) (*teardown.Plan, error) // nil: nothing to open
	captures map[int64]measure.Report                                       // by entry
	replayed map[int64]bool                                                 // those that are of a record programme
	loopback *job.Loopback                                                  // of the interface "Bench box"
	capture  func(up job.CaptureUpload) (job.Entry, error)
	failView error
	wear     *job.Wear // nil: what the bench itself has
}

func (b *storyBench) Diagnose(ctx context.Context, id string) (*diagnosis.Verdict, *job.View, error) {
	v, err := b.View(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if b.verdict == nil {
		return nil, v, errors.New("the story has no verdict")
	}
	verdict, err := b.verdict(v)
	return verdict, v, err
}

func (b *storyBench) Advise(ctx context.Context, id string) (*diagnosis.Advice, *job.View, error) {
	v, err := b.View(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if b.advice == nil {
		return nil, v, errors.New("the story has no advice")
	}
	advice, err := b.advice(v)
	return advice, v, err
}

// Next is what a story does not have: its pages take verdict and advice each by itself.
func (b *storyBench) Next(ctx context.Context, id string) (*job.Next, *job.View, error) {
	v, err := b.View(ctx, id)
	return nil, v, cmp.Or(err, errors.New("the story has nothing before its verdict"))
}

func (b *storyBench) Openings(ctx context.Context, id string, _ job.OpeningOptions) (*teardown.Plan, *job.View, error) {
	v, err := b.View(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	if b.plan == nil {
		return nil, v, &job.NoTasksError{Job: id}
	}
	plan, err := b.plan(ctx, v)
	return plan, v, err
}

func (b *storyBench) View(ctx context.Context, id string) (*job.View, error) {
	if b.failView != nil {
		return nil, b.failView
	}
	v, err := b.Bench.View(ctx, id)
	if err != nil {
		return nil, err
	}
	for i := range v.Entries {
		b.dress(&v.Entries[i])
	}
	for i := range v.Current {
		b.dress(&v.Current[i])
	}
	return v, nil
}

// dress makes a note of a story into the capture it stands for.
func (b *storyBench) dress(e *job.Entry) {
	rep, ok := b.captures[e.Seq]
	if !ok {
		return
	}
	e.Kind, e.Remark, e.Ref = job.KindCapture, "", strings.Replace(e.Ref, "note", "capture", 1)
	e.Capture = &job.Capture{File: "pass-1.wav", SHA256: strings.Repeat("5e", 32), Bytes: 201326592, Tape: "Pendle Brook cassette",
		TapeSHA: strings.Repeat("7a", 32), Function: "play", Tracks: []int{1, 2, 3, 4, 5, 6}, Report: rep}
	if b.replayed[e.Seq] {
		e.Capture = replayed(rep)
	}
}

func (b *storyBench) AddCapture(ctx context.Context, id string, up job.CaptureUpload) (job.Entry, error) {
	if b.capture != nil {
		return b.capture(up)
	}
	return b.Bench.AddCapture(ctx, id, up)
}

// explained tells of the captures of a story what the fixture tells; of a capture
// without figures nothing.
func (b *storyBench) explained(ctx context.Context, id string, seq ...int64) (job.Explained, error) {
	v, err := b.View(ctx, id)
	if err != nil {
		return job.Explained{}, err
	}
	var x job.Explained
	for _, n := range seq {
		e, err := entryOf(v, fmt.Sprint(n))
		if err != nil || e.Capture == nil {
			return x, &job.NotFoundError{What: "capture", ID: fmt.Sprint(n)}
		}
		x.Captures = append(x.Captures, e)
		if len(e.Capture.Report.Measures) == 0 {
			return x, &job.UnexplainedError{Refs: e.Ref, Err: errors.New("nothing was measured on it")}
		}
	}
	tracks := 0
	for _, r := range x.Captures[0].Capture.Report.Measures {
		tracks = max(tracks, r.Track)
	}
	x.Explanation = storyExplanation(tracks)
	return x, nil
}

func (b *storyBench) Explain(ctx context.Context, id string, seq int64) (job.Explained, error) {
	x, err := b.explained(ctx, id, seq)
	if err == nil && b.replayed[seq] {
		x.Explanation = soundExplanation()
	}
	return x, err
}

func (b *storyBench) ExplainJob(ctx context.Context, id string) ([]job.Explained, error) {
	v, err := b.View(ctx, id)
	if err != nil {
		return nil, err
	}
	var out []job.Explained
	for _, e := range v.Current {
		if e.Capture == nil {
			continue
		}
		x, err := b.Explain(ctx, id, e.Seq)
		if err != nil {
			x.Unexplained = "nothing was measured on it"
		}
		out = append(out, x)
	}
	return out, nil
}

func (b *storyBench) CompareCaptures(ctx context.Context, id string, before, after int64, between string) (job.Explained, error) {
	x, err := b.explained(ctx, id, before, after)
	if err == nil && before == after {
		err = &job.InvalidError{Field: "capture to compare with", Value: x.Captures[0].Ref, Problem: "is the same capture"}
	}
	x.Compared, x.Between = true, between
	return x, err
}

// storyExplanation repeats the fixture's six tracks over more.
func storyExplanation(tracks int) signature.Explanation {
	var x signature.Explanation
	if err := json.Unmarshal(explanationJSON, &x); err != nil {
		panic(err)
	}
	six := x.Curves
	x.Curves = nil
	for i := range tracks {
		c := six[i%len(six)]
		c.Track = i + 1
		x.Curves = append(x.Curves, c)
	}
	return x
}

func soundExplanation() signature.Explanation {
	x := storyExplanation(6)
	x.Findings = []signature.Finding{{Cause: signature.None, Probability: 0.97, Sentence: "All tracks play as sound ones do."}}
	x.Open, x.SetAside, x.Warnings = nil, nil, nil
	for i := range x.Curves {
		x.Curves[i].Contributions = nil
	}
	return x
}

//go:embed testdata/explanation.json
var explanationJSON []byte

func newStoryBench() *storyBench {
	tick := noon
	return &storyBench{Bench: job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Now: func() time.Time {
		tick = tick.Add(time.Minute)
		return tick
	}}), captures: map[int64]measure.Report{}, replayed: map[int64]bool{}}
}

func newStoryServer(b Bench) *server {
	return newServer(b, Options{Patience: time.Minute, Program: "headstack test", Now: func() time.Time { return noon }, Export: storyExport})
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// goodStory is a theatre's recorder in the middle of the search: some controls
// tried, readings on all tracks, one of them misread by a thousand, a capture
// with a dull track and a tone that was not found, a verdict with suspects.
func goodStory() (*storyBench, string) {
	b, ctx := newStoryBench(), context.Background()
	j := must(b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "Q-0417", Owner: "Community theatre, Ravensgill",
		Claim: "Records weak on some tracks.\nTrack 5 plays dull.", Case: measure.CaseClosed}))
	wear := storyWear(6, 5)
	b.wear = &wear
	v := must(b.View(ctx, j.ID))
	note := must(b.RecordNote(ctx, j.ID, measure.CaseClosed, "capture"))
	b.captures[note.Seq] = storyReport(6)
	for i, it := range v.Sheet {
		out := diagnosis.Works
		switch {
		case i == 7:
			out = diagnosis.Faulty
		case i == 11:
			out = diagnosis.Intermittent
		case i > 30:
			continue
		}
		must(b.RecordCheck(ctx, j.ID, job.Check{Item: it.Item, Outcome: out}, measure.CaseClosed, map[bool]string{true: "scratches at a third"}[i == 11]))
	}
	must(b.RecordCheck(ctx, j.ID, job.Check{Function: "record-play", Key: "1", Outcome: diagnosis.Faulty, Symptom: diagnosis.SymptomWeak}, measure.CaseClosed, ""))
	for i, mv := range []float64{37.5, 38.2, 0, 38.9, 0, 36.8} {
		if mv == 0 {
			continue
		}
		t := fmt.Sprint(i + 1)
		must(b.RecordReading(ctx, j.ID, job.Reading{TestPoint: "TP10", Key: t, Value: mv, Unit: "mV", ToneHz: 315, Instrument: "millivoltmeter B", Session: "evening 1", Setting: "s" + t}, measure.CasePropped, ""))
	}
	must(b.RecordReading(ctx, j.ID, job.Reading{TestPoint: "TP10", Key: "3", Value: 38, Unit: "V", ToneHz: 315, Instrument: "millivoltmeter B", Session: "evening 1", Setting: "s3"}, measure.CasePropped, "display blinked"))
	taken := must(b.RecordNote(ctx, j.ID, measure.CasePropped, "lid propped at 70 degrees"))
	must(b.Withdraw(ctx, j.ID, taken.Seq, "wrong job"))
	own := must(b.RecordNote(ctx, j.ID, measure.CasePropped, "capture"))
	b.captures[own.Seq], b.replayed[own.Seq] = recordingReport(6), true
	pressed := must(b.RecordNote(ctx, j.ID, measure.CasePropped, "capture"))
	b.captures[pressed.Seq] = storyReport(6)
	b.shelve()
	for _, in := range []diagnosis.Instrument{
		{ID: "dmm1", Name: "Hand meter", Kind: diagnosis.TrueRMS, BandwidthHz: 20e3, ACPercent: 1.5, DCPercent: 0.5, InputOhm: 10e6, InputF: 100e-12, LeadsOhm: 0.3, Autorange: true,
			Address: "tcp://192.0.2.7", Dialect: "measure"},
		{ID: "millivoltmeter-b", Name: "Millivoltmeter B", Kind: diagnosis.Average, BandwidthHz: 1e6},
	} {
		must(b.AddInstrument(ctx, in))
	}
	// Opened, tried and put right by hand: appended last, so that the rest keeps its numbers.
	must(b.Record(ctx, j.ID, job.Entry{Opening: &job.Opening{Opening: "lid"}}))
	must(b.Record(ctx, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkClean, Stage: "RY1-2"}, Remark: "contacts grey, exercised", Minutes: 4}))
	must(b.Record(ctx, j.ID, job.Entry{Work: &job.Work{Kind: diagnosis.WorkSwap, Stage: "RY1-3", With: "5"}}))
	b.verdict, b.advice = storyVerdict, storyAdvice
	return b, j.ID
}

// storyReport is a capture's report: track 5 dull, track 2 dead, one tone absent.
func storyReport(tracks int) measure.Report {
	var r measure.Report
	at := 0.0
	for _, hz := range []float64{0, 63, 125, 315, 1000, 3150, 6300, 10000, 12500} {
		name := fmt.Sprintf("tone %g", hz)
		if hz == 0 {
			name = "silence"
		}
		r.Sections = append(r.Sections, measure.SectionFound{Name: name, Found: hz != 63, StartS: at, EndS: at + 10, ToneHz: hz, Capture: "pass-1.wav", Reason: map[bool]string{true: "the capture starts after it"}[hz == 63]})
		at += 11
		for t := 1; t <= tracks; t++ {
			base := measure.Result{Track: t, Section: name, ToneHz: hz, Unit: "dB", Conditions: measure.Conditions{Case: measure.CaseClosed, Capture: "pass-1.wav", Channel: t}}
			switch {
			case hz == 0:
				n := base
				n.Name, n.Value, n.Lo, n.Hi, n.Reference, n.Method = "noise", -46.3-float64(t)/7, -46.7-float64(t)/7, -45.9-float64(t)/7, "the track's own level in the reference section", "unweighted r.m.s., 20 Hz to 20 kHz"
				r.Measures = append(r.Measures, n)
				continue
			case hz == 63 || t == 2:
				base.Name, base.Refused, base.Reference = "response", "tone absent", "the track's own level at 315 Hz"
				r.Measures = append(r.Measures, base)
				continue
			}
			v := 0.3 * math.Sin(float64(t)*2.1+math.Log(hz))
			if t == 5 {
				v -= 54.6 * 0.45e-6 * hz / 0.09525 // 0.45 µm of spacing, Wallace 1951
			}
			if hz == 315 {
				v = 0
			}
			base.Name, base.Value, base.Lo, base.Hi, base.Reference, base.Method = "response", v, v-0.04-hz/60000, v+0.04+hz/60000, "the track's own level at 315 Hz", "demodulated tone, fringing taken off"
			if t == 4 && hz == 12500 {
				base.Warnings = []string{"signal to noise below 20 dB"}
			}
			r.Measures = append(r.Measures, base)
		}
	}
	r.Measures = append(r.Measures,
		measure.Result{Name: "speed_error", Section: "tone 3150", ToneHz: 3150, Value: 0.412, Lo: 0.404, Hi: 0.42, Unit: "%", Reference: "the definition's 9.525 cm/s", Method: "phase slope"},
		measure.Result{Name: "azimuth", Track: 1, TrackB: 6, Value: -2.3, Lo: -2.9, Hi: -1.7, Unit: "arcmin", Reference: "tracks reached at once", Method: "delay unwrapped from 315 Hz"})
	r.Warnings = []string{"the data chunk is cut short; read as far as it goes"}
	return r
}

// storyVerdict accuses C31-a and H-5 and proves the play path of tracks 1 and 4.
func storyVerdict(v *job.View) (*diagnosis.Verdict, error) {
	out := &diagnosis.Verdict{
		Sentences: []string{"Tracks 1, 3 and 5 record weak and play well: the fault lies before the record tree and is shared by group Ash.",
			"Track 5 loses treble in proportion to frequency: the tape stands off the head there."},
		OutsideMass: 0.004, PFaultFree: 0.002, WrongFix: 0.21,
		Doubts: []diagnosis.Doubt{{Ref: "reading 5", P: 0.97, Text: "38 V at TP10-3 is 1000 times what the siblings read"}},
	}
	out.Explanations = []diagnosis.Explanation{
		{P: 0.71, Faults: []diagnosis.Fault{{Stage: "C31", Key: "a", Part: "C31-a", Mode: machine.Weak, Cause: "dried out"}, {Stage: "H", Key: "5", Part: "H-5", Mode: machine.Weak, Cause: "dirt on the face"}}},
		{P: 0.17, Faults: []diagnosis.Fault{{Stage: "X1", Key: "a", Part: "X1-a", Mode: machine.Weak, Cause: "encoder gain"}, {Stage: "H", Key: "5", Part: "H-5", Mode: machine.Weak, Cause: "dirt on the face"}}},
		{P: 0.06, Faults: nil},
	}
	suspect := map[string]float64{"C31/a": 0.74, "X1/a": 0.17, "H/5": 0.93, "U12/a": 0.04}
	for _, in := range v.Def.Instances() {
		s := diagnosis.StageState{Stage: in.Stage.ID, Key: in.Key, Part: in.Part(), Name: in.Stage.Name, Board: in.Stage.Board, Status: diagnosis.Unknown, P: 0.02}
		if p, ok := suspect[in.Stage.ID+"/"+in.Key]; ok {
			s.Status, s.P = diagnosis.Suspect, p
			s.Modes = []diagnosis.ModeP{{Mode: machine.Weak, Cause: "dried out", P: p * 0.9}, {Mode: machine.Dead, P: p * 0.1}}
			s.AccusedBy = []diagnosis.Because{{Ref: "check 32", Bits: 3.1, Text: in.Part() + " is accused by check 32: record-play on track 1 weak"}}
		} else if in.Key == "1" || in.Key == "4" || in.Key == "" {
			s.Status, s.P = diagnosis.Proved, 0.001
			s.ClearedBy = []diagnosis.Because{{Ref: "capture 1", Bits: -5, Text: in.Part() + " is cleared by capture 1: level on its track as its siblings"}}
		}
		out.Stages = append(out.Stages, s)
	}
	out.Next = []diagnosis.Action{{Kind: "reading", Text: "Read TP21-a with group Ash fed at 0 dB.", TestPoint: "TP21", Key: "a", ToneHz: 315, Where: "Tape board, group Ash", Opening: "lid", Siblings: []string{"b"},
		Expect: "1.10 V ± 1 dB", Minutes: 3, GainBits: 0.9, Why: "It parts C31-a and X1-a from what follows them.", Cautions: []string{"Bias and erase nodes burn at a point: set the probe with the oscillator off."}}}
	return out, nil
}

// storyAdvice says what to do about what storyVerdict says.
func storyAdvice(*job.View) (*diagnosis.Advice, error) {
	caution := "Bias and erase nodes burn at a point: set the probe with the oscillator off."
	return &diagnosis.Advice{
		Suspects: []diagnosis.SuspectStage{{Stage: "H", Track: "5", Mode: machine.Weak, Probability: 0.93, Part: "H-5", Cause: "dirt on the face", By: []string{"capture 1"}, Why: "capture 1: track 5 loses treble"},
			{Stage: "C31", Track: "a", Mode: machine.Weak, Probability: 0.74, Part: "C31-a", Cause: "dried out", By: []string{"check 32"}, Why: "check 32: record-play on track 1 weak"}},
		Cleared: []diagnosis.ClearedStage{{Stage: "U3", Track: "1", Part: "U3-1", By: []string{"capture 1"}, Why: "its level is as its siblings'"}},
		Recheck: []diagnosis.Recheck{{Reading: "reading 5", ProbabilityWrong: 0.97, Why: "38 V at TP10-3 is 1000 times what the siblings read: volts for millivolts.", How: "Read TP10-3 again with the range fixed, the probe lifted and set anew."}},
		Actions: []diagnosis.Step{
			{ID: "read TP21-a", Kind: diagnosis.StepReading, Target: "TP21-a", Minutes: 6, GainMinutes: 14, Text: "Read TP21-a and TP21-b with 315 Hz, same meter and range.", Where: "Squeeze (base)",
				Expect: "1.10 V ± 1 dB", Why: "It parts C31-a and X1-a from what follows them.", Cautions: []string{caution}, TestPoint: "TP21", Key: "a", ToneHz: 315, Siblings: []string{"b"}, Function: "record",
				Opening: "squeeze", Open: []string{"squeeze"}, Predicts: []diagnosis.Prediction{{Outcome: "about 0.31 V: C31-a or X1-a", Probability: 0.81}, {Outcome: "about 1.1 V: behind TP21", Probability: 0.19}}},
			{ID: "clean H-5", Kind: diagnosis.StepClean, Target: "H-5", Minutes: 9, GainMinutes: 6.2, Text: "Clean H-5 and play the treble again.", Stage: "H", Key: "5", Cautions: []string{"Solvent: no flame, little of it, none on rubber."}, Predicts: []diagnosis.Prediction{}},
			{ID: "repair C31-a", Kind: diagnosis.StepRepair, Target: "C31-a", Minutes: 27, GainMinutes: -3, Text: "Replace C31-a.", Stage: "C31", Key: "a", Cautions: []string{}, Predicts: []diagnosis.Prediction{}},
		},
		Stop:     diagnosis.Stop{WrongFixProbability: 0.21, Reason: "A reading saves more than it takes.", Lowers: "TP21-a (6 min)"},
		Unproven: []diagnosis.Unproven{{Work: "work 1", Symptom: "track 2 dead in play", Returns: 0.44, Asks: []string{"tap RY1-2 while track 2 plays (2 min)", "play with the case closed after an hour (6 min)"}}},
		Minutes:  64, PFaultFree: 0.002, MassLeftOut: 0.004,
	}, nil
}

func quietVerdict(v *job.View) (*diagnosis.Verdict, error) {
	out := &diagnosis.Verdict{PFaultFree: 0.4}
	for _, in := range v.Def.Instances() {
		out.Stages = append(out.Stages, diagnosis.StageState{Stage: in.Stage.ID, Key: in.Key, Part: in.Part(), Name: in.Stage.Name, Board: in.Stage.Board, Status: diagnosis.Unknown, P: 0.02})
	}
	out.Next = []diagnosis.Action{{Kind: "check", Text: "Try the erase function on track 1.", Function: "erase", Key: "1", Minutes: 3, Why: "Nothing is known of it yet."}}
	return out, nil
}

// emptyStory is a job on which nothing was recorded.
func emptyStory() (*storyBench, string) {
	b := newStoryBench()
	b.verdict = quietVerdict
	return b, must(b.OpenJob(context.Background(), job.NewJob{Definition: "octogrange"})).ID
}

// failedStory is a job whose diagnosis fails and whose capture could not be measured.
func failedStory() (*storyBench, string) {
	b, ctx := newStoryBench(), context.Background()
	j := must(b.OpenJob(ctx, job.NewJob{Definition: "hexastrand", Serial: "<script>alert(1)</script>", Claim: `"><img src=x onerror=alert(1)>`}))
	wear := storyWear(6, 2)
	b.wear = &wear
	e := must(b.RecordNote(ctx, j.ID, measure.CaseOpen, "capture"))
	b.captures[e.Seq] = measure.Report{Warnings: []string{"no section of the tape was found: no tone stands out of the noise"}}
	b.verdict = func(*job.View) (*diagnosis.Verdict, error) {
		return nil, errors.New("the evidence contradicts itself at every fault set")
	}
	return b, j.ID
}

// enormousStory has a long record and long texts.
func enormousStory() (*storyBench, string) {
	b, id := goodStory()
	ctx := context.Background()
	wear := storyWear(24, 12)
	b.wear = &wear
	e := must(b.RecordNote(ctx, id, measure.CaseClosed, "capture"))
	b.captures[e.Seq] = storyReport(24)
	own := must(b.RecordNote(ctx, id, measure.CaseClosed, "capture"))
	b.captures[own.Seq], b.replayed[own.Seq] = recordingReport(24), true
	for i := range 600 {
		must(b.RecordNote(ctx, id, measure.CaseOpen, fmt.Sprintf("%d: ", i)+strings.Repeat("the lead was moved and the noise came back ", 1+i%9)))
	}
	good := b.verdict
	b.verdict = func(v *job.View) (*diagnosis.Verdict, error) {
		out, err := good(v)
		for i := range 60 {
			out.Explanations = append(out.Explanations, diagnosis.Explanation{P: 0.001, Faults: []diagnosis.Fault{{Part: fmt.Sprintf("R%d-with-a-very-long-designator", i), Mode: machine.Noisy, Cause: strings.Repeat("long cause ", 8)}}})
		}
		return out, err
	}
	for range 40 {
		must(b.OpenJob(ctx, job.NewJob{Definition: "octogrange", Serial: strings.Repeat("8", 60), Claim: strings.Repeat("It hums and it drags. ", 12)}))
	}
	return b, id
}

// get fetches a page through the whole handler.
func get(t *testing.T, h http.Handler, target string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, request("GET", target, nil))
	return w
}

func post(t *testing.T, h http.Handler, target string, form url.Values) *httptest.ResponseRecorder {
	t.Helper()
	r := request("POST", target, []byte(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func request(method, target string, body []byte) *http.Request {
	r := httptest.NewRequest(method, target, bytes.NewReader(body))
	r.Host = "localhost:8080"
	return r
}
