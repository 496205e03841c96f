package job

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"headstack/measure"
	"headstack/signature"
)

// Wear is how a machine's heads changed over its jobs on the bench, and the JSON object of
// `headstack wear --json`. It is computed from stored figures and not kept.
type Wear struct {
	Job        string   `json:"job"` // that was asked for
	Name       string   `json:"name"`
	Definition string   `json:"definition"`
	Serial     string   `json:"serial"`
	Jobs       []string `json:"jobs"` // of this machine, in the order in which they were opened
	// Series are the captures as left, and those as found where any job has both. Like is
	// compared with like: the two are never mixed.
	Series   []WearSeries `json:"series"`
	Warnings []string     `json:"warnings"`
	// Refused says why nothing can be said; empty where something can.
	Refused string `json:"refused,omitempty"`
}

// WearWhen says which captures of its jobs a series holds.
type WearWhen string

// The captures of a job that are compared with those of other jobs.
const (
	AsLeft  WearWhen = "as left"  // the last of a test tape: after cleaning, if it was cleaned
	AsFound WearWhen = "as found" // the first, with whatever dirt was on the heads
)

// WearSeries is one capture of each job, and the trend over them on each track.
type WearSeries struct {
	When     WearWhen    `json:"when"`
	TrebleHz float64     `json:"treble_hz"` // the tone that limits and projections are for
	Points   []WearPoint `json:"points"`    // by date
	Tracks   []WearTrack `json:"tracks"`
}

// WearPoint is the condition of the heads in one job.
type WearPoint struct {
	Job       string                  `json:"job"`
	Entries   []int64                 `json:"entries"` // the captures, by Seq
	At        time.Time               `json:"at"`
	Case      measure.CaseState       `json:"case"`
	Tape      string                  `json:"tape"`
	TapeSHA   string                  `json:"tape_sha256"`
	Condition signature.HeadCondition `json:"condition"`
}

// WearTrack is what became of one track.
type WearTrack struct {
	Track   int   `json:"track"`
	Spacing Trend `json:"spacing"` // all of the loss taken as spacing
	Gap     Trend `json:"gap"`     // all of it taken as gap
	Loss    Trend `json:"loss"`    // of the highest common tone
	// Sentence says what changed; empty where no interval excludes that nothing did.
	Sentence string `json:"sentence,omitempty"`
}

// SameMachine lists the jobs of the machine of a job, in the order in which they were
// opened: those of one definition, in whatever version, and one serial number. A job
// without serial number is alone.
func (b *Bench) SameMachine(ctx context.Context, jobID string) ([]Summary, error) {
	j, err := b.getJob(ctx, jobID)
	if err != nil {
		return nil, err
	}
	list, err := b.rec.Summaries(ctx)
	if err != nil {
		return nil, err
	}
	serial := bareSerial(j.Serial)
	return slices.DeleteFunc(list, func(s Summary) bool {
		return s.ID != j.ID && (serial == "" || s.Definition != j.Definition || bareSerial(s.Serial) != serial)
	}), nil
}

// bareSerial is a serial number as it is compared: nobody types spaces and capitals twice
// alike.
func bareSerial(s string) string { return strings.ToLower(strings.Join(strings.Fields(s), "")) }

// Wear compares the captures of test tapes over the jobs of a machine. What cannot be
// compared is told in [Wear.Refused], [Wear.Warnings] and the trends' own reasons.
// Errors: [NotFoundError].
func (b *Bench) Wear(ctx context.Context, jobID string) (Wear, error) {
	j, err := b.getJob(ctx, jobID)
	if err != nil {
		return Wear{}, err
	}
	w := Wear{Job: j.ID, Name: j.Name, Definition: j.Definition, Serial: j.Serial, Jobs: []string{}, Series: []WearSeries{}, Warnings: []string{}}
	jobs, err := b.SameMachine(ctx, jobID)
	if err != nil {
		return w, err
	}
	for _, s := range jobs {
		w.Jobs = append(w.Jobs, s.ID)
	}
	switch {
	case bareSerial(j.Serial) == "":
		w.Refused = "the job has no serial number, so that other jobs of this machine cannot be told from those of its like"
		return w, nil
	case len(jobs) < 2:
		w.Refused = fmt.Sprintf("the bench knows one job only of %s, serial %s: a trend wants captures of %d dates", j.Name, j.Serial, leastDates)
		return w, nil
	}
	left, found := WearSeries{When: AsLeft}, WearSeries{When: AsFound}
	var single []string
	for _, wj := range b.wearJobs(ctx, w.Jobs) {
		one, err := w.pointsOf(wj)
		if err != nil {
			return w, err
		}
		switch len(one) {
		case 1:
			single = append(single, wj.id)
			left.Points, found.Points = append(left.Points, one[0]), append(found.Points, one[0])
		case 2:
			found.Points, left.Points = append(found.Points, one[0]), append(left.Points, one[1])
		}
	}
	if len(single) > 0 {
		w.Warnings = append(w.Warnings, fmt.Sprintf("%s: one capture of each track; whether the heads were cleaned before it the record does not say, and it stands for both as found and as left", strings.Join(single, ", ")))
	}
	w.add(left)
	if len(single) < len(found.Points) {
		w.add(found)
	}
	if len(left.Points) == 0 {
		w.Refused = "no job of this machine has a capture of a test tape, closed, from which the state of the heads could be told"
	}
	return w, nil
}

// add puts a series with its trends in.
func (w *Wear) add(s WearSeries) {
	if len(s.Points) == 0 {
		return
	}
	slices.SortStableFunc(s.Points, func(a, b WearPoint) int { return a.At.Compare(b.At) })
	s.Tracks, s.TrebleHz = []WearTrack{}, s.Points[0].Condition.TrebleHz
	var gaps, tapes []string
	for _, p := range s.Points {
		s.TrebleHz = min(s.TrebleHz, p.Condition.TrebleHz)
		if g := fmt.Sprintf("%g µm", p.Condition.DesignGapUm); !slices.Contains(gaps, g) {
			gaps = append(gaps, g)
		}
		if !slices.Contains(tapes, p.TapeSHA) {
			tapes = append(tapes, p.TapeSHA)
		}
	}
	if len(gaps) > 1 {
		w.warn("the definitions of the jobs state different gaps of the replay head: " + strings.Join(gaps, ", "))
	}
	if len(tapes) > 1 {
		w.warn(fmt.Sprintf("%d different test tapes were played: the errors of their tones are in the scatter between jobs", len(tapes)))
	}
	s.trends()
	w.Series = append(w.Series, s)
}

func (w *Wear) warn(s string) {
	if !slices.Contains(w.Warnings, s) {
		w.Warnings = append(w.Warnings, s)
	}
}

// takenOff warns of an electrical cause, once with all captures that have it.
func (w *Wear) takenOff(cause, at string) {
	cause, _, _ = strings.Cut(cause, " (")
	say := "taken off as electrical, no wear: " + cause + ": "
	for i, s := range w.Warnings {
		if strings.HasPrefix(s, say) {
			w.Warnings[i] += "; " + at
			return
		}
	}
	w.Warnings = append(w.Warnings, say+at)
}

// wearJob is what one job has to show: a condition as found and one as left, or one where
// both are of the same captures.
type wearJob struct {
	id     string
	sets   [][]Entry
	points []WearPoint // of each set
	errs   []error     // likewise
	err    error       // of the whole
}

// wearJobs works out the conditions in all jobs, several at once: a large head takes
// seconds a capture.
func (b *Bench) wearJobs(ctx context.Context, ids []string) []wearJob {
	out := make([]wearJob, len(ids))
	room := make(chan struct{}, runtime.GOMAXPROCS(0))
	var all sync.WaitGroup
	for i, id := range ids {
		all.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			out[i] = b.wearJob(ctx, id)
		})
	}
	all.Wait()
	return out
}

func (b *Bench) wearJob(ctx context.Context, id string) wearJob {
	j := wearJob{id: id}
	if j.err = ctx.Err(); j.err != nil {
		return j
	}
	v, err := b.View(ctx, id)
	if err != nil {
		j.err = err
		return j
	}
	found, left := wearSet(v, false), wearSet(v, true)
	if len(found) == 0 {
		return j
	}
	j.sets = [][]Entry{found, left}
	if slices.EqualFunc(found, left, func(a, b Entry) bool { return a.Seq == b.Seq }) {
		j.sets = j.sets[1:]
	}
	for _, set := range j.sets {
		p, err := b.wearPoint(ctx, v, set)
		j.points, j.errs = append(j.points, p), append(j.errs, err)
	}
	return j
}

// pointsOf are the conditions of a job that hold; of others it warns.
func (w *Wear) pointsOf(j wearJob) ([]WearPoint, error) {
	if j.err != nil {
		return nil, j.err
	}
	if len(j.sets) == 0 {
		w.warn(j.id + ": no capture of a test tape with the case closed")
	}
	var out []WearPoint
	for i, p := range j.points {
		at := j.id + ", " + refsOf(j.sets[i])
		if u, ok := asUnexplained(j.errs[i]); ok {
			w.warn(at + ": " + u.Err.Error())
			continue
		}
		if j.errs[i] != nil {
			return nil, j.errs[i]
		}
		if p.Case != measure.CaseClosed {
			w.warn(j.id + ": the record does not say whether the case was closed; it is taken as closed")
		}
		for _, s := range p.Condition.TakenOff {
			w.takenOff(s, at)
		}
		out = append(out, p)
	}
	return out, nil
}

// wearSet is the first or the last set of captures of a test tape that were made in one
// way, each track once. A closed case comes before one of which nothing is known; with the
// case open or propped heads are not as they play.
func wearSet(v *View, last bool) []Entry {
	var list []Entry
	for _, state := range []measure.CaseState{measure.CaseClosed, measure.CaseUnknown} {
		for _, e := range v.Current {
			if c := e.Capture; c != nil && e.Case == state && c.ProgrammeSHA == "" && c.Function == wearFunction(v) && len(c.Report.Measures) > 0 {
				list = append(list, e)
			}
		}
		if len(list) > 0 {
			break
		}
	}
	if last {
		slices.Reverse(list)
	}
	var set []Entry
	for _, e := range list {
		if (len(set) == 0 || conditionOf(e) == conditionOf(set[0])) && !holdAny(set, e) {
			set = append(set, e)
		}
	}
	slices.SortFunc(set, func(a, b Entry) int { return int(a.Seq - b.Seq) })
	return set
}

// wearFunction is plain replay, where the definition calls it so.
func wearFunction(v *View) string {
	if _, ok := v.Def.Function("play"); ok {
		return "play"
	}
	for _, e := range v.Current {
		if e.Capture != nil && e.Capture.ProgrammeSHA == "" {
			return e.Capture.Function
		}
	}
	return ""
}

// wearPoint is the condition that a set of captures shows; it is worked out once.
func (b *Bench) wearPoint(ctx context.Context, v *View, set []Entry) (WearPoint, error) {
	c, end := set[0].Capture, set[len(set)-1]
	p := WearPoint{Job: v.Job.ID, At: end.At, Case: set[0].Case, Tape: c.Tape, TapeSHA: c.TapeSHA}
	for _, e := range set {
		p.Entries = append(p.Entries, e.Seq)
	}
	key := fmt.Sprint(p.Entries)
	b.mu.Lock()
	have, ok := b.conditions[key]
	b.mu.Unlock()
	if ok {
		p.Condition = have
		return p, nil
	}
	opt, err := b.signatureOptions(ctx, v.Def, *c)
	if err != nil {
		return p, err
	}
	if p.Condition, err = b.opt.Condition(merged(set), opt); err != nil {
		return p, &UnexplainedError{refsOf(set), err}
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if len(b.conditions) >= explainedKept {
		clear(b.conditions)
	}
	b.conditions[key] = p.Condition
	return p, nil
}
