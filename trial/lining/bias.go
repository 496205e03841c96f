package lining

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"headstack/bias"
	"headstack/lineup"
	"headstack/sim/trims"
	"headstack/trim"
)

// biasJob is the bias of one track.
type biasJob struct {
	s      *lineup.Step
	ref    trims.Ref
	id     trim.ID
	trim   bias.Trim // Now is where its current would be nominal: about that the staircase is planned
	want   bias.Want
	travel float64 // turns
	at     float64 // turns from the stop of least bias, as believed
	passes []bias.Staircase
}

func (t *technician) newBias(s *lineup.Step) (*biasJob, error) {
	ref := trims.Ref{ID: s.Trim, Key: s.Key}
	j := &biasJob{s: s, ref: ref, id: trim.ID(s.Part)}
	_, j.travel, _ = t.m.KindOf(ref)
	r, err := t.m.Gauge(ref)
	if err != nil {
		return nil, err
	}
	if j.trim, err = bias.TrimOf(*trimOf(t.def, ref.ID), s.Tracks[0], 0.5); err != nil {
		return nil, err
	}
	// Where it stands is seen, or told by the current.
	now := j.trim.Law.Position(j.trim.Law.DB(0.5) + r.Value)
	if seen, ok, err := t.m.Seen(ref); err != nil {
		return nil, err
	} else if ok {
		now = seen / j.travel
	}
	now = min(max(now, 0.01), 0.99)
	j.at = now * j.travel
	j.trim.Now = min(max(j.trim.Law.Position(j.trim.Law.DB(now)-r.Value), 0.01), 0.99)
	if j.travel > 1 {
		j.trim.Turns = j.travel
	}
	j.want = bias.Want{Tones: bias.Tones{TrebleHz: lineup.TrebleHz(s.SpeedCmS), LowHz: t.def.Reference.ToneHz, SpeedCmS: s.SpeedCmS}, Steps: 9, Aim: t.aim(s)}
	return j, nil
}

// heard takes steps as a staircase: their readings in the order of positions, with those
// that a turn back repeats left out.
func (j *biasJob) heard(steps []trims.Step) bias.Staircase {
	var out bias.Staircase
	for _, g := range steps {
		p := min(max((j.at+g.Turns)/j.travel, 0), 1)
		if n := len(out.Readings); n > 0 && p <= out.Readings[n-1].Position {
			continue
		}
		out.Readings = append(out.Readings, bias.Reading{Position: p,
			Treble: &bias.Level{Value: g.LevelDB[j.want.Tones.TrebleHz], SD: levelSD}, Low: &bias.Level{Value: g.LevelDB[j.want.Tones.LowHz], SD: levelSD}})
	}
	return out
}

// staircase records one and fits all so far.
func (t *technician) staircase(j *biasJob, positions []float64) (*bias.Curve, error) {
	n := len(positions)
	step := (positions[n-1] - positions[0]) / float64(n-1) * j.travel
	got, err := t.m.Staircase(j.ref, positions[0]*j.travel-j.at, step, n-1, j.want.Tones.TrebleHz, j.want.Tones.LowHz)
	if err != nil {
		return nil, err
	}
	j.passes = append(j.passes, j.heard(got))
	j.at += got[len(got)-1].Turns
	t.entered(j.id, j.ref, 0, false)
	return bias.Fit(j.trim, j.want.Tones, j.passes...)
}

// bias takes staircases on one track and sets the trim as package bias says.
func (t *technician) bias(j *biasJob) error {
	plan, err := bias.New(j.want, j.trim)
	for range 3 {
		if err != nil {
			return err
		}
		c, err2 := t.staircase(j, plan.Tracks[0].Positions)
		if err2 != nil {
			return err2
		}
		set := c.Set(j.want.Aim)
		t.tell("bias of track %d at %g cm/s: %s %s %s", j.trim.Track, j.s.SpeedCmS, c.Verdict, c.Why, set.Refused)
		if set.At != nil {
			// Past it and up to it, so that the play is taken up as in the staircase.
			const below = 0.1
			to := set.At.Position*j.travel - j.at
			if _, err := t.m.Turn(j.ref, to-below*j.travel, below*j.travel); err != nil {
				return err
			}
			t.entered(j.id, j.ref, 0, false)
			t.measured(j.s, set.Fall.Value, 0.1)
			return nil
		}
		plan, err = bias.Next(j.want, c)
	}
	return nil
}

// watchBias sets bias on a recorder with three heads as package bias says: up from too
// little through the peak, on until the fall is surely more than wanted, then by the
// curve back below the place and up to it, all in one visit.
func (t *technician) watchBias(j *biasJob) error {
	plan, err := bias.New(j.want, j.trim)
	if err != nil {
		return err
	}
	x := plan.Tracks[0].Positions
	step := (x[len(x)-1] - x[0]) / float64(len(x)-1) * j.travel
	hz := j.want.Tones.TrebleHz
	begun, back := false, 0
	fall := math.NaN()
	var refused error
	next := func(done []trims.Step) (float64, bool) {
		n := len(done)
		if n == 0 {
			return x[0]*j.travel - j.at, true
		}
		top, falling := math.Inf(-1), 0.0
		for _, s := range done {
			top = max(top, s.LevelDB[hz])
		}
		falling = top - done[n-1].LevelDB[hz]
		switch {
		case back == 1: // below the place: up to it
			back = 2
			return fall, true
		case back == 2:
			return 0, false
		case !begun && n > 2 && done[0].LevelDB[hz] >= top-0.5:
			begun = true // it began on the peak or past it: begin lower
			return -done[n-1].Turns + done[0].Turns - 4*step, true
		case falling < j.want.Aim.FallDB+0.8 && n < 24:
			return step, true
		}
		c, err := bias.Fit(j.trim, j.want.Tones, j.heard(done))
		if err != nil {
			refused = err
			return 0, false
		}
		set := c.Set(j.want.Aim)
		t.tell("bias of track %d at %g cm/s: %s %s %s", j.trim.Track, j.s.SpeedCmS, c.Verdict, c.Why, set.Refused)
		back, fall = 1, 0.1*j.travel
		if set.At == nil {
			// The peak may lie at the stop of least bias: then by what was seen to fall.
			t.measured(j.s, j.want.Aim.FallDB, 0.3)
			return fallen(done, hz, j.want.Aim.FallDB) - done[n-1].Turns - fall, true
		}
		t.measured(j.s, set.Fall.Value, 0.1)
		return set.At.Position*j.travel - (j.at + done[n-1].Turns) - fall, true
	}
	if _, err := t.m.Watch(j.ref, next, hz, j.want.Tones.LowHz); err != nil {
		return err
	}
	t.entered(j.id, j.ref, 0, false)
	return refused
}

// fallen is where, in turns, a tone had last fallen by db from its greatest reading.
func fallen(done []trims.Step, hz, db float64) float64 {
	top := math.Inf(-1)
	for _, s := range done {
		top = max(top, s.LevelDB[hz])
	}
	for i := len(done) - 1; i > 0; i-- {
		a, b := top-done[i-1].LevelDB[hz], top-done[i].LevelDB[hz]
		if a < db && b >= db {
			return done[i-1].Turns + (db-a)/(b-a)*(done[i].Turns-done[i-1].Turns)
		}
	}
	return done[len(done)-1].Turns
}

// biases sets bias on all tracks of a speed.
func (t *technician) biases(cmS float64) error {
	var jobs []*biasJob
	for _, s := range t.steps(cmS, lineup.Bias) {
		if s.Trim == "" {
			continue
		}
		j, err := t.newBias(s)
		if err != nil {
			return err
		}
		jobs = append(jobs, j)
	}
	if len(jobs) == 0 {
		return nil
	}
	if !t.m.OneHead() {
		for _, j := range jobs {
			if err := t.watchBias(j); err != nil {
				return err
			}
		}
		return nil
	}
	if err := t.bias(jobs[0]); err != nil {
		return err
	}
	if jobs[0].want.Aim.Recipe != bias.Flat || len(jobs[0].passes) == 0 {
		for _, j := range jobs[1:] {
			if err := t.bias(j); err != nil {
				return err
			}
		}
		return nil
	}
	return t.bySibling(cmS, jobs)
}

// bySibling sets the bias of tracks by one staircase of a sibling: where the aim is that
// treble and low tone come back alike, how far a track is from that is read at any bias,
// and the sibling's curve says by how much bias. A technician's judgement: siblings have
// one tape and nearly one trim.
func (t *technician) bySibling(cmS float64, jobs []*biasJob) error {
	curve, ok := differenceOf(jobs[0])
	if !ok {
		return fmt.Errorf("lining: no difference of tones over bias in the staircase of %s", jobs[0].ref)
	}
	tracks := t.m.Tracks()
	for range 3 {
		t.own[cmS] = trim.NewBench(t.model[cmS]) // what was known was of another bias
		if err := t.recordOwn(cmS, tracks); err != nil {
			return err
		}
		tracks = nil
		for _, j := range jobs {
			q := trim.Quantity{Measure: "record_response", Track: j.trim.Track, ToneHz: j.want.Tones.TrebleHz}
			v := t.last[key{cmS, q}] + j.want.Aim.FallDB
			t.measured(j.s, v, levelSD)
			if math.Abs(v) < flatEnough {
				continue
			}
			by := curve.shift(v) / j.trim.Law.SpanDB * j.travel * float64(j.trim.Sign)
			t.tell("bias of track %d: treble %+.2f dB re the low tone, turned by %+.3f turns", j.trim.Track, v, by)
			if _, err := t.m.Turn(j.ref, by); err != nil {
				return err
			}
			t.entered(j.id, j.ref, 0, false)
			tracks = append(tracks, j.trim.Track)
		}
		if len(tracks) == 0 {
			break
		}
	}
	// The last reading of each track is of the bias that it has.
	t.own[cmS] = trim.NewBench(t.model[cmS])
	var known []trim.Reading
	for k, v := range t.last {
		if k.cmS == cmS && strings.HasPrefix(k.q.Measure, "record_") {
			known = append(known, trim.Reading{Quantity: k.q, Value: v, SD: levelSD})
		}
	}
	slices.SortFunc(known, func(a, b trim.Reading) int { return cmp.Compare(a.Quantity.String(), b.Quantity.String()) })
	_, err := t.own[cmS].Read(known...)
	return err
}

// flatEnough is how far treble may be off the low tone before a bias is turned, dB: what
// the limit of flatness leaves for the case and the reading.
const flatEnough = 0.75

// difference is treble re low tone over bias, in dB by the law of the trim:
//
//	d = a - b·10^(x/20)
//
// which a tape's loss by the length of the zone in which it is written makes (as much as
// that is known; it has to hold over a few dB).
type difference struct{ a, b float64 }

func differenceOf(j *biasJob) (difference, bool) {
	var n, sx, sy, sxx, sxy float64
	for _, p := range j.passes {
		for _, r := range p.Readings {
			x := math.Exp(j.trim.Law.DB(r.Position) * math.Ln10 / 20)
			y := r.Treble.Value - r.Low.Value
			n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
		}
	}
	slope := (n*sxy - sx*sy) / (n*sxx - sx*sx)
	d := difference{a: (sy - slope*sx) / n, b: -slope}
	return d, n >= 4 && d.b > 0 && d.a > 0
}

// shift is by how many dB of bias a track is to be moved whose treble stands v dB over the
// low tone, by the sibling's curve.
func (d difference) shift(v float64) float64 {
	if d.a-v < 0.05*d.a {
		v = 0.95 * d.a
	}
	return 20 * math.Log10(d.a/(d.a-v))
}

// aim is what package lineup wants of bias, in the words of package bias.
func (t *technician) aim(s *lineup.Step) bias.Aim {
	x := t.order.Target(s.ID, t.setup)
	if x.Measure == "overbias" {
		return bias.Aim{Recipe: bias.TrebleFall, FallDB: x.Value, LoDB: x.Lo, HiDB: x.Hi}
	}
	more, _ := t.more(key{s.SpeedCmS, trim.Quantity{Measure: "record_response", Track: s.Tracks[0], ToneHz: lineup.TrebleHz(s.SpeedCmS)}})
	return bias.Aim{Recipe: bias.Flat, FallDB: -more}
}

// biasTravel is what of a bias trim's travel makes a dB of bias, clockwise, in the unit of
// package trim.
func (t *technician) biasTravel(id trim.ID) float64 {
	x := trimOf(t.def, t.refs[id].ID)
	b, err := bias.TrimOf(*x, 1, 0.5)
	if err != nil {
		return 0
	}
	for _, m := range t.model {
		if y, ok := m.Trim(id); ok {
			return float64(x.Sign) * y.Travel / b.Law.SpanDB
		}
	}
	return 0
}
