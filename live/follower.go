package live

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"headstack/measure"
	"headstack/testtape"
)

// follower recognises and measures the sections of a tape in the file while it grows.
type follower struct {
	s      *Session
	tape   *testtape.Tape
	search *testtape.Search
	follow *measure.Following
	heard  map[int]heard // by section

	sections []Section // as last told
	voids    int       // at the last round
}

// heard is what a section was measured on.
type heard struct {
	at    testtape.Located
	ratio float64
}

const (
	moved      = 0.02  // seconds by which a place has to move to be measured anew
	ratioMoved = 0.001 // and the speed
	paceLeast  = 500 * time.Millisecond
	paceShare  = 3 // rest so many times as long as a round took
)

func newFollower(s *Session) (*follower, error) {
	e := s.cfg.Expect
	search, err := testtape.NewSearch(e.Tape, float64(s.cfg.SampleRate), s.cfg.Channels)
	if err != nil {
		return nil, err
	}
	opt := measure.Options{Tape: e.Tape, Case: e.Case}
	if e.Machine != nil {
		opt.Geometry = e.Machine.Geometry()
		for _, t := range e.Tracks {
			if t < 0 || t > e.Machine.Tracks.Count {
				return nil, fmt.Errorf("track %d: the machine has tracks 1 to %d", t, e.Machine.Tracks.Count)
			}
		}
	}
	name := s.file.path
	follow, err := measure.Follow(name, e.Tracks, float64(s.cfg.SampleRate), opt)
	if err != nil {
		return nil, err
	}
	f := &follower{s: s, tape: e.Tape, search: search, follow: follow, heard: map[int]heard{}}
	for i, sec := range e.Tape.Sections {
		f.sections = append(f.sections, Section{Index: i, Name: sec.Name, ToneHz: sec.ToneHz, Stage: NotYet})
	}
	return f, nil
}

// run makes rounds until no frames come any more, then a last one of everything.
func (f *follower) run(ctx context.Context) {
	timer := time.NewTimer(paceLeast)
	defer timer.Stop()
	for last := false; ; {
		select {
		case <-f.s.end:
			last = true
		case <-timer.C:
		}
		start := time.Now()
		if err := f.round(ctx, last); err != nil {
			f.s.Warn("the figures are not followed any more: " + err.Error())
			return
		}
		if last {
			return
		}
		timer.Reset(max(paceLeast, paceShare*time.Since(start)))
	}
}

// round hears what came since the last one. The last one hears everything.
func (f *follower) round(ctx context.Context, last bool) error {
	st := f.s.State()
	f.s.mu.Lock()
	n := f.s.written
	f.s.mu.Unlock()
	before := f.search.Heard()
	if err := f.hear(ctx, n, last); err != nil {
		return err
	}
	if !last && f.search.Heard() == before && len(st.Voids) == f.voids {
		return nil
	}
	f.voids = len(st.Voids)
	finding := f.search.Finding()
	if !last {
		fromStart(finding, f.tape)
	}
	if last {
		for _, w := range finding.Warnings {
			f.s.Warn(w)
		}
	}
	next := make([]Section, len(f.sections))
	for i, l := range finding.Sections {
		next[i] = f.place(i, l, finding, last)
		if err := f.measure(ctx, &next[i], l, finding.SpeedRatio, st.Voids); err != nil {
			return err
		}
	}
	f.tell(next, finding, n)
	return nil
}

// fromStart takes the only section that is found yet for the first of its tone: two sections
// of one tone, told apart by their levels alone, cannot be before both are heard, and a tape is played
// from its start.
func fromStart(found *testtape.Finding, tape *testtape.Tape) {
	only := -1
	for i, l := range found.Sections {
		if l.Found && only >= 0 {
			return
		}
		if l.Found {
			only = i
		}
	}
	if only < 0 {
		return
	}
	first := slices.IndexFunc(tape.Sections, func(s testtape.Section) bool { return s.ToneHz == tape.Sections[only].ToneHz })
	if first == only {
		return
	}
	a, b := &found.Sections[first], &found.Sections[only]
	*a, *b = *b, *a
	a.Index, b.Index = first, only
}

// hear brings the search up to frame n of the file.
func (f *follower) hear(ctx context.Context, n int64, last bool) error {
	from := f.search.Heard()
	if n <= from && !last || f.search.Full() {
		return nil
	}
	stream, err := f.s.file.stream(from, n)
	if err != nil {
		return err
	}
	if last {
		return f.search.End(ctx, stream, n-from)
	}
	return f.search.Hear(ctx, stream, n-from)
}

// place says how far section i is.
func (f *follower) place(i int, l testtape.Located, all *testtape.Finding, last bool) Section {
	sec := f.tape.Sections[i]
	out := Section{Index: i, Name: sec.Name, ToneHz: sec.ToneHz, Stage: NotYet}
	later := slices.ContainsFunc(all.Sections[i+1:], func(x testtape.Located) bool { return x.Found })
	switch {
	case l.Found:
		out.Stage, out.StartS, out.EndS = Heard, l.StartS, l.EndS
		if l.Partial && !later && !last && l.EndS > f.search.Seconds()-1 {
			out.Stage = Running
		}
	case later || last:
		out.Stage, out.Reason = Missed, l.Reason
	}
	return out
}

// measure measures the section at its place, or at the longest part of it without a void, when that
// is another than the last time.
func (f *follower) measure(ctx context.Context, sec *Section, l testtape.Located, ratio float64, voids []Void) error {
	if !l.Found {
		f.forget(l.Index)
		return nil
	}
	clean := longest(l, voids, f.s.cfg.Expect.Tracks)
	sec.Voided = clean != l
	if sec.ToneHz == 0 {
		return nil
	}
	old, ok := f.heard[l.Index]
	if ok && math.Abs(old.at.StartS-clean.StartS) < moved && math.Abs(old.at.EndS-clean.EndS) < moved &&
		old.at.Partial == clean.Partial && math.Abs(old.ratio/ratio-1) < ratioMoved {
		return nil
	}
	from, to, ok := f.follow.Window(clean)
	if !ok || sec.Voided && clean.EndS-clean.StartS < min(f.s.cfg.Want.LeastS, f.tape.Sections[l.Index].Seconds/2) {
		f.forget(l.Index)
		return nil
	}
	stream, err := f.s.file.stream(from, to)
	if err != nil {
		return err
	}
	if err := f.follow.Hear(ctx, stream, clean, ratio); err != nil {
		return err
	}
	f.heard[l.Index] = heard{clean, ratio}
	return nil
}

func (f *follower) forget(index int) {
	if _, ok := f.heard[index]; ok {
		f.follow.Forget(index)
		delete(f.heard, index)
	}
}

// longest is the longest part of a place that no void of a channel in use touches.
func longest(l testtape.Located, voids []Void, tracks []int) testtape.Located {
	best := l
	from, most := l.StartS, -1.
	try := func(to float64) {
		if to-from > most {
			most = to - from
			best.StartS, best.EndS = from, to
		}
	}
	hit := false
	for _, v := range voids { // they ascend by and large
		if v.ToS <= l.StartS || v.FromS >= l.EndS || v.Channel > 0 && tracks[v.Channel-1] == 0 {
			continue
		}
		hit = true
		try(min(v.FromS, l.EndS))
		from = max(from, v.ToS)
	}
	if !hit {
		return l
	}
	try(l.EndS)
	best.Partial = true
	best.StartS = min(best.StartS, l.EndS)
	best.EndS = max(best.EndS, best.StartS)
	return best
}

// tell gives the sections their figures, judges them and makes all of it the state.
func (f *follower) tell(next []Section, finding *testtape.Finding, n int64) {
	var results []measure.Result
	if len(f.heard) > 0 {
		results = f.follow.Results()
	}
	lowest := math.MaxInt
	for _, t := range f.s.cfg.Expect.Tracks {
		if t > 0 {
			lowest = min(lowest, t)
		}
	}
	var speed *measure.Result
	var azimuth []measure.Result
	for _, r := range results {
		switch {
		case r.TrackB > 0 && r.Track != lowest:
		case r.Section != "":
			i := slices.IndexFunc(next, func(s Section) bool { return s.Name == r.Section })
			next[i].Figures = append(next[i].Figures, r)
		case r.Name == "speed_error":
			speed = &r
		case r.Refused == "":
			azimuth = append(azimuth, r)
		}
	}
	enough := true
	j := judge{want: f.s.cfg.Want, tape: f.tape, flutter: f.flutterSection(), speed: speed}
	for i := range next {
		at := finding.Sections[i]
		if h, ok := f.heard[i]; ok {
			at = h.at
		} else if next[i].Voided {
			at = longest(at, f.s.State().Voids, f.s.cfg.Expect.Tracks)
		}
		next[i].Lacks = j.lacks(next[i], at.EndS-at.StartS)
		next[i].Enough = next[i].Lacks == ""
		enough = enough && next[i].Enough
	}
	f.sections = next
	f.s.change(func(st *State) {
		st.Sections, st.SpeedRatio, st.Speed, st.Azimuth, st.Enough = next, finding.SpeedRatio, speed, azimuth, enough
		st.LateS = max(0, float64(n-f.search.Heard())/float64(st.SampleRate))
		st.FiguresSeq = st.Seq
	})
}

// flutterSection is the one that the speed is followed on, as headstack/measure chooses it among
// all of the tape; -1: none.
func (f *follower) flutterSection() int {
	best, rank, length := -1, 0, 0.
	for i, s := range f.tape.Sections {
		if s.ToneHz < 1000 {
			continue
		}
		r := 1
		if math.Abs(s.ToneHz/3150-1) < 0.01 || math.Abs(s.ToneHz/3000-1) < 0.01 {
			r = 2
		}
		if r > rank || r == rank && s.Seconds > length {
			best, rank, length = i, r, s.Seconds
		}
	}
	return best
}

// judge says what of a section is not yet as good as wanted.
type judge struct {
	want    Want
	tape    *testtape.Tape
	flutter int // section
	speed   *measure.Result
}

func (j judge) lacks(s Section, seconds float64) string {
	stated := j.tape.Sections[s.Index].Seconds
	switch {
	case s.Stage == NotYet:
		return "it has not come yet"
	case s.Stage == Missed:
		return "it was not heard: " + s.Reason
	case s.ToneHz == 0:
		return j.tooShort(seconds, min(j.want.SilenceS, 0.9*stated))
	}
	least := min(j.want.LeastS, 0.9*stated)
	if s.Index == j.flutter {
		least = max(least, min(j.want.FlutterS, 0.9*stated))
	}
	if why := j.tooShort(seconds, least); why != "" {
		return why
	}
	if len(s.Figures) == 0 {
		return "nothing of it could be measured yet"
	}
	figures := 0
	for _, r := range s.Figures {
		if r.Refused != "" {
			continue // more tape does not bring a tone that is not there
		}
		half, most := (r.Hi-r.Lo)/2, 0.
		switch {
		case r.Name == "level", r.Name == "response":
			most = j.want.LevelDB
			figures++
		case r.Name == "delay" && s.ToneHz >= 1000:
			most = j.want.DelayUs
		}
		if most > 0 && half > most {
			what := fmt.Sprintf("%s of track %d", r.Name, r.Track)
			if r.TrackB > 0 {
				what = fmt.Sprintf("%s between tracks %d and %d", r.Name, r.Track, r.TrackB)
			}
			return fmt.Sprintf("the %s is known to ±%.2g %s, wanted is ±%.2g", what, half, r.Unit, most)
		}
	}
	if figures == 0 {
		return "no track has its tone"
	}
	if r := j.speed; s.Index == j.flutter && r != nil && r.Refused == "" && (r.Hi-r.Lo)/2 > j.want.SpeedPct {
		return fmt.Sprintf("the speed is known to ±%.2g %%, wanted is ±%.2g", (r.Hi-r.Lo)/2, j.want.SpeedPct)
	}
	return ""
}

func (j judge) tooShort(seconds, least float64) string {
	if seconds >= least {
		return ""
	}
	return fmt.Sprintf("%.1f s of it are heard, %.1f s are wanted", seconds, least)
}
