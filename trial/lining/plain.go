package lining

import (
	"fmt"
	"math"
	"strconv"

	"headstack/sim/trims"
)

// Looking is how a plain technician looks while turning.
type Looking int

// The ways of looking.
const (
	// EachTurn turns one trim, plays, and turns again: every look at a trim is a pass.
	EachTurn Looking = iota
	// Rows turns one kind of trim on all tracks between two looks at all tracks.
	Rows
	// Watching turns one trim while the tape plays: a pass a trim, however often it is
	// turned. With one head for recording and playing there is nothing to watch on an
	// own recording, and every look is a pass there.
	Watching
)

// plain is the procedure of the trade: one kind of trim after the other in the classic
// order, each turned as far as its range says, until the reading is inside the tolerance,
// with the case open, and again where a later step moved an earlier one.
type plain struct {
	m       *trims.Recorder
	l       Limits
	looking Looking
	passes  trims.Count           // what watching saves: passes and minutes
	sure    map[trims.Ref]float64 // direction where it had to be found out, and more where a trim does more than nominal
	last    map[trims.Ref]float64 // what it was last to move
	err     error
}

// Plain lines a recorder up by the plain procedure.
func Plain(m *trims.Recorder, how Looking) (Result, error) {
	p := &plain{m: m, l: LimitsOf(m.Def, 0), looking: how, sure: map[trims.Ref]float64{}, last: map[trims.Ref]float64{}}
	out := begin(m)
	for _, t := range m.Def.Trims {
		if err := m.Also(t.Opening); err != nil {
			return out, err
		}
	}
	p.lineUp()
	m.Close()
	p.proof()
	out.end(m)
	out.Count.Good -= p.passes.Good
	out.Count.Own -= p.passes.Own
	out.Count.Minutes -= p.passes.Minutes
	return out, p.err
}

func (p *plain) lineUp() {
	for _, s := range []string{"tension", "brake_torque"} {
		p.gauged(s)
	}
	for _, v := range p.m.Def.Speeds {
		p.speed(v.CmS)
	}
	first := p.m.Def.Speeds[0].CmS
	p.azimuth("play", first)
	for _, v := range p.m.Def.Speeds {
		p.l = LimitsOf(p.m.Def, v.CmS)
		for range 3 { // level and treble move each other a little
			before := p.m.Count().Moves
			p.rows("level", v.CmS, p.playLevel(trims.PlayHead, v.CmS), p.l.LevelDB)
			p.rows("response", v.CmS, p.playTreble(trims.PlayHead, v.CmS), p.l.TrebleDB)
			p.rows("response_low", v.CmS, p.play(trims.PlayHead, v.CmS, func(f trims.TrackFigures) float64 { return f.ResponseDB[60] }), p.l.BassDB)
			if p.m.Count().Moves == before {
				break
			}
		}
	}
	p.azimuth("play", first)
	for _, s := range []string{"meter", "offset", "compander_level", "bias_frequency"} {
		p.gauged(s)
	}
	p.tuned("erase")
	p.tuned("trap_leak")
	if !p.m.OneHead() {
		p.azimuth("record-play", first)
	}
	for _, v := range p.m.Def.Speeds {
		p.l = LimitsOf(p.m.Def, v.CmS)
		for i := range 4 { // bias, level and treble until nothing moves
			before := p.m.Count().Moves
			p.bias(v.CmS, i > 0)
			p.rows("record_level", v.CmS, p.own(v.CmS, func(f trims.TrackFigures) float64 { return f.LevelDB }), p.l.LevelDB)
			p.rows("record_response", v.CmS, p.own(v.CmS, func(f trims.TrackFigures) float64 { return f.ResponseDB[10e3] }), p.l.TrebleDB)
			if p.m.Count().Moves == before {
				break
			}
		}
	}
	p.l = LimitsOf(p.m.Def, first)
	if !p.m.OneHead() {
		p.rows("sync_level", first, p.playLevel(trims.SyncHead, first), p.l.SyncLevelDB)
		p.rows("sync_response", first, p.playTreble(trims.SyncHead, first), p.l.TrebleDB)
		p.rows("sync_level", first, p.playLevel(trims.SyncHead, first), p.l.SyncLevelDB)
	}
}

// proof measures everything once more, closed.
func (p *plain) proof() {
	for _, v := range p.m.Def.Speeds {
		for _, r := range heardRounds(p.m, p.m.Tracks()) {
			p.fail(second(p.m.Play(trims.PlayHead, v.CmS, r...)))
		}
		for _, r := range recordRounds(p.m, p.m.Tracks()) {
			p.fail(second(p.m.Record(v.CmS, -20, r...)))
		}
	}
}

func (p *plain) fail(err error) {
	if p.err == nil {
		p.err = err
	}
}

func second[T any](_ T, err error) error { return err }

// look reads one figure of some tracks.
type look struct {
	rounds func(*trims.Recorder, []int) [][]int
	take   func(tracks []int) (trims.Figures, error)
	of     func(trims.TrackFigures) float64
	own    bool
}

func (p *plain) play(mode trims.Mode, cmS float64, of func(trims.TrackFigures) float64) look {
	return look{heardRounds, func(t []int) (trims.Figures, error) { return p.m.Play(mode, cmS, t...) }, of, false}
}

func (p *plain) playLevel(mode trims.Mode, cmS float64) look {
	return p.play(mode, cmS, func(f trims.TrackFigures) float64 { return f.LevelDB })
}

func (p *plain) playTreble(mode trims.Mode, cmS float64) look {
	return p.play(mode, cmS, func(f trims.TrackFigures) float64 { return f.ResponseDB[10e3] })
}

func (p *plain) own(cmS float64, of func(trims.TrackFigures) float64) look {
	return look{recordRounds, func(t []int) (trims.Figures, error) { return p.m.Record(cmS, -20, t...) }, of, true}
}

func (p *plain) read(l look, tracks ...int) map[int]float64 {
	out := map[int]float64{}
	for _, r := range l.rounds(p.m, tracks) {
		f, err := l.take(r)
		p.fail(err)
		for _, t := range f.Tracks {
			out[t.Track] = l.of(t)
		}
	}
	return out
}

// rows sets the trims of a measure at a speed on all tracks.
func (p *plain) rows(sets string, cmS float64, l look, limit float64) {
	refs := map[int]trims.Ref{}
	var tracks []int
	for _, t := range p.m.Tracks() {
		if ref, ok := p.find(sets, t, cmS); ok {
			refs[t] = ref
			tracks = append(tracks, t)
		}
	}
	if p.looking == Rows {
		for range 8 {
			var out []int
			now := p.read(l, tracks...)
			for _, t := range tracks {
				if math.Abs(now[t]) > limit {
					out = append(out, t)
					p.turn(refs[t], -now[t])
				}
			}
			if len(out) == 0 {
				return
			}
			tracks = out
		}
		return
	}
	for _, t := range tracks {
		looks := 0
		for range 8 {
			x := p.read(l, t)[t]
			looks++
			if math.Abs(x) <= limit {
				break
			}
			p.turn(refs[t], -x)
		}
		p.watched(l, looks)
	}
}

// watched takes back the passes that watching saves.
func (p *plain) watched(l look, looks int) {
	if p.looking != Watching || looks < 2 || l.own && p.m.OneHead() {
		return
	}
	saved := float64(looks - 1)
	if l.own {
		p.passes.Own += looks - 1
		p.passes.Minutes += saved * trims.OffTapeMinutes
	} else {
		p.passes.Good += looks - 1
		p.passes.Minutes += saved * trims.PlayMinutes
	}
}

// turn moves what a trim sets by x, as far as its range says; who went too far last time
// goes less far.
func (p *plain) turn(ref trims.Ref, x float64) {
	per, _ := p.m.Nominal(ref)
	k, ok := p.sure[ref]
	if trimOf(p.m.Def, ref.ID).Sign != 0 && p.last[ref]*x < 0 {
		if !ok {
			k, ok = 1, true
		}
		k *= 1.5
		p.sure[ref] = k
	}
	if ok {
		per *= k
	}
	p.last[ref] = x
	p.fail(second(p.m.Turn(ref, x/per)))
}

func (p *plain) find(sets string, track int, cmS float64) (trims.Ref, bool) {
	return findTrim(p.m, sets, strconv.Itoa(track), cmS, "")
}

// findTrim is the trim that sets a measure of a replica at a speed; at, if given, is the
// function at which.
func findTrim(m *trims.Recorder, sets, key string, cmS float64, at string) (trims.Ref, bool) {
	for _, ref := range m.Trims() {
		t := trimOf(m.Def, ref.ID)
		if t.Sets == sets && (ref.Key == "" || ref.Key == key) && (t.SpeedCmS == 0 || t.SpeedCmS == cmS) && (at == "" || t.At == at) {
			return ref, true
		}
	}
	return trims.Ref{}, false
}

func (p *plain) speed(cmS float64) {
	ref, ok := findTrim(p.m, "speed_error", "", cmS, "")
	v, _ := p.m.Def.Speed(cmS)
	if !ok {
		return
	}
	looks := 0
	for range 8 {
		f, err := p.m.Play(trims.PlayHead, cmS, 1)
		p.fail(err)
		looks++
		if math.Abs(f.SpeedPercent) <= v.TolerancePercent {
			break
		}
		p.turn(ref, -f.SpeedPercent)
	}
	p.watched(look{}, looks)
}

// azimuth sets a screw by the delay of the outer tracks; which way it goes is found out
// by the first move.
func (p *plain) azimuth(at string, cmS float64) {
	ref, ok := findTrim(p.m, "azimuth", "", 0, at)
	if !ok {
		return
	}
	last := p.m.Def.Tracks.Count
	apart := outer(p.m.Def)
	own := at != "play"
	limit := p.l.DelaySec
	looks, before := 0, math.NaN()
	for range 10 {
		var f trims.Figures
		var err error
		if own {
			f, err = p.m.Record(cmS, -20, 1, last)
		} else {
			f, err = p.m.Play(trims.PlayHead, cmS, 1, last)
		}
		if err != nil {
			p.fail(err)
			return
		}
		looks++
		x := f.Delays[0].Seconds
		if own {
			x = -x // the record head's angle counts the other way
		}
		if math.Abs(x) <= limit {
			break
		}
		if _, known := p.sure[ref]; !known && !math.IsNaN(before) {
			p.sure[ref] = 1
			if math.Abs(x) > math.Abs(before) {
				p.sure[ref] = -1
			}
		}
		before = x
		p.turn(ref, -math.Atan(x*cmS/100/apart)*10800/math.Pi)
	}
	p.watched(look{own: own}, looks)
}

// gauged sets what is read at a test point.
func (p *plain) gauged(sets string) {
	for _, ref := range p.m.Trims() {
		t := trimOf(p.m.Def, ref.ID)
		if t.Sets != sets {
			continue
		}
		limit, before := p.l.ofTrim(p.m.Def, t), math.NaN()
		for range 8 {
			r, err := p.m.Gauge(ref)
			p.fail(err)
			if math.Abs(r.Value) <= limit {
				break
			}
			if _, known := p.sure[ref]; t.Sign == 0 && !known && !math.IsNaN(before) {
				p.sure[ref] = 1
				if math.Abs(r.Value) > math.Abs(before) {
					p.sure[ref] = -1
				}
			}
			before = r.Value
			p.turn(ref, -r.Value)
		}
	}
}

// tuned turns a core to and fro by ever less until it reads its extreme.
func (p *plain) tuned(sets string) {
	for _, ref := range p.m.Trims() {
		if trimOf(p.m.Def, ref.ID).Sets != sets {
			continue
		}
		read := func() float64 {
			r, err := p.m.Gauge(ref)
			p.fail(err)
			if sets == "trap_leak" {
				return -r.Value
			}
			return r.Value
		}
		now, by := read(), 0.6
		for range 8 {
			p.turn(ref, by)
			next := read()
			if next > now {
				now = next
				continue
			}
			p.turn(ref, -by)
			if by = -by * 0.5; math.Abs(by) < 0.25 {
				break
			}
			now = read()
		}
	}
}

// bias sets bias on all tracks of a speed: for a flat response where the recorder has no
// trim for that, else over the peak of 10 kHz and on until it has fallen as wanted, which
// what comes after it does not move.
func (p *plain) bias(cmS float64, again bool) {
	if _, ok := p.find("record_response", 1, cmS); !ok {
		// Less treble wants less bias, 2 dB for each dB of it.
		l := p.own(cmS, func(f trims.TrackFigures) float64 { return -f.ResponseDB[10e3] / 2 })
		p.rows("bias", cmS, l, p.l.TrebleDB/2)
		return
	}
	for _, t := range p.m.Tracks() {
		if ref, ok := p.find("bias", t, cmS); ok && !again {
			p.overPeak(ref, t, cmS)
		}
	}
}

func (p *plain) overPeak(ref trims.Ref, track int, cmS float64) {
	l := p.own(cmS, func(f trims.TrackFigures) float64 { return f.LevelDB + f.ResponseDB[10e3] })
	looks := 0
	read := func() float64 { looks++; return p.read(l, track)[track] }
	want := trims.Overbias(p.m.Def, cmS)
	p.turn(ref, -3)
	best, by := read(), 1.0
	for range 20 {
		p.turn(ref, by)
		x := read()
		if best = max(best, x); best-x > 0.3 {
			by = 0.5
		}
		if best-x >= want-p.l.OverbiasDB/2 {
			break
		}
	}
	p.watched(l, looks)
}

func (r Result) String() string {
	return fmt.Sprintf("within %v, %d trims out, %d moves, %d good and %d own passes, %.0f min", r.Within, r.Out, r.Count.Moves, r.Count.Good, r.Count.Own, r.Count.Minutes)
}
