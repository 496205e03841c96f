package lining

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"headstack/lineup"
	"headstack/sim/trims"
	"headstack/trim"
)

// target is where a step's figure is to be with the case open, for package trim: as
// package lineup says, with what the open case adds.
func (t *technician) target(s *lineup.Step) (trim.Target, bool) {
	q, ok := t.quantity(s)
	if !ok {
		return trim.Target{}, false
	}
	more, sd := t.more(key{s.SpeedCmS, q})
	if sd > 0 {
		t.setup.Offset[s.ID] = lineup.Amount{Value: more, Half: 1.96 * sd, Source: "closed and open as found"}
	}
	x := t.order.Target(s.ID, t.setup)
	if x.Refused != "" || x.Side != lineup.Both {
		return trim.Target{}, false
	}
	return trim.Target{Quantity: q, Value: x.Value, Tolerance: x.Tolerance}, true
}

// settle turns what sets the figures of some steps at a speed until package trim has
// enough, and enters the readings.
func (t *technician) settle(cmS float64, b *trim.Bench, steps []*lineup.Step, look func(tracks []int) error) error {
	var targets []trim.Target
	for _, s := range steps {
		// A figure without a trim of its own would be met by turning what is set already.
		if x, ok := t.target(s); ok && s.Trim != "" && !slices.ContainsFunc(targets, func(y trim.Target) bool { return y.Quantity == x.Quantity }) {
			targets = append(targets, x)
		}
	}
	for round := range 8 {
		turns, err := b.Next(targets)
		if err != nil {
			return err
		}
		todo, reread, waiting := t.choose(cmS, turns)
		if len(todo) == 0 && len(reread) == 0 {
			break
		}
		for _, x := range todo {
			t.tell("round %d: %s", round, x.Sentence)
			if err := t.turn(cmS, x.Trim, x.By); err != nil {
				return err
			}
			if x.After95 < surely || waiting {
				reread = append(reread, t.tracksOf(x.Target.Quantity)...)
			}
		}
		if len(reread) == 0 {
			break // the proof will show it
		}
		slices.Sort(reread)
		if err := look(slices.Compact(reread)); err != nil {
			return err
		}
	}
	for _, s := range steps {
		if x, ok := t.target(s); ok {
			f, _ := b.State(x.Quantity)
			t.measured(s, f.Value, (f.Hi-f.Lo)/(2*1.96))
		}
	}
	return nil
}

// surely is the chance of being inside from which a turn is not looked at again before
// the proof.
const surely = 0.9

// tracksOf are the tracks on which a figure is heard: of an angle or a speed the outer
// ones.
func (t *technician) tracksOf(q trim.Quantity) []int {
	if q.Track == 0 {
		return outerTracks(t.m)
	}
	return []int{q.Track}
}

// choose takes of what package trim proposes what is turned before the next look. Of
// siblings none of which was ever turned only one is: the others learn from it. Those are
// taken on one track where that goes, which saves a look; waiting says that others wait for
// that look.
func (t *technician) choose(cmS float64, turns []trim.Turn) (todo []trim.Turn, reread []int, waiting bool) {
	fresh := map[string][]trim.Turn{}
	for _, x := range turns {
		switch x.Do {
		case trim.DoRead:
			reread = append(reread, t.tracksOf(x.Target.Quantity)...)
		case trim.DoTurn:
			todo = append(todo, x)
			if id := t.refs[x.Trim].ID; !t.moved[id] {
				fresh[id] = append(fresh[id], x)
			}
		case trim.DoFault:
			t.tell("fault: %s", x.Sentence)
		}
	}
	probe := false
	for _, x := range fresh {
		probe = probe || len(x) > 1
	}
	if !probe {
		return todo, reread, false
	}
	on := map[int]int{}
	for _, list := range fresh {
		for _, x := range list {
			for _, track := range t.tracksOf(x.Target.Quantity) {
				on[track]++
			}
		}
	}
	kept := map[string]trim.Turn{}
	for _, x := range todo {
		id := t.refs[x.Trim].ID
		if t.moved[id] {
			continue
		}
		was, ok := kept[id]
		if !ok || on[x.Target.Quantity.Track] > on[was.Target.Quantity.Track] {
			kept[id] = x
		}
	}
	todo = slices.DeleteFunc(todo, func(x trim.Turn) bool {
		id := t.refs[x.Trim].ID
		return t.moved[id] || kept[id].Trim != x.Trim
	})
	slices.SortFunc(todo, func(a, b trim.Turn) int { return cmp.Compare(a.Trim, b.Trim) })
	return todo, reread, true
}

// turn turns a trim by what package trim says, in its unit, and tells every bench that
// knows it.
func (t *technician) turn(cmS float64, id trim.ID, by ...float64) error {
	ref, ok := t.refs[id]
	if !ok {
		return fmt.Errorf("lining: no trim %s", id)
	}
	x, _ := t.model[cmS].Trim(id)
	per := 1.0
	if x.Unit == trim.Degrees {
		per = 360
	}
	turns, sum := make([]float64, len(by)), 0.0
	for i, y := range by {
		turns[i] = y / per
		sum += y
	}
	went, err := t.m.Turn(ref, turns...)
	if err != nil {
		return err
	}
	t.moved[ref.ID] = true
	t.entered(id, ref, went*per, math.Abs(went*per-sum) > 1e-9)
	return nil
}

// entered tells of a move.
func (t *technician) entered(id trim.ID, ref trims.Ref, by float64, stopped bool) {
	t.log = append(t.log, lineup.Event{Kind: lineup.Turned, Trim: ref.ID, Key: ref.Key})
	for v, model := range t.model {
		if _, ok := model.Trim(id); ok {
			for _, b := range []*trim.Bench{t.play[v], t.own[v]} {
				// Known to the bench by the test above.
				_ = b.Turn(trim.Move{Trim: id, By: by, Stopped: stopped})
			}
		}
	}
}

// tensions sets tension and brakes, and sees that the transport is steady.
func (t *technician) tensions() error {
	steps := t.steps(0, lineup.Tension, lineup.Brake)
	for _, s := range steps {
		if err := t.open(s.Reach.Opening); err != nil {
			return err
		}
	}
	if err := t.gauged(steps); err != nil {
		return err
	}
	for _, s := range t.steps(0, lineup.Flutter, lineup.Drift) {
		t.measured(s, 0.03, 0.001)
	}
	return nil
}

func (t *technician) speeds() error {
	for _, v := range t.def.Speeds {
		steps := t.steps(v.CmS, lineup.Speed)
		if err := t.settle(v.CmS, t.play[v.CmS], steps, func([]int) error { return t.hear(trims.PlayHead, v.CmS, outerTracks(t.m)) }); err != nil {
			return err
		}
	}
	return nil
}

func outerTracks(m *trims.Recorder) []int { return []int{1, m.Def.Tracks.Count} }

// replay sets azimuth, level and treble of the test tape together, a speed after the
// other, and reads them again.
func (t *technician) replay() error {
	for _, v := range t.def.Speeds {
		steps := t.steps(v.CmS, lineup.Azimuth, lineup.Level, lineup.Treble, lineup.LevelAgain, lineup.AzimuthAgain)
		if err := t.settle(v.CmS, t.play[v.CmS], steps, func(tracks []int) error { return t.hear(trims.PlayHead, v.CmS, tracks) }); err != nil {
			return err
		}
	}
	return t.gauged(t.steps(0, lineup.Meter))
}

// record sets the record side.
func (t *technician) record() error {
	first := t.def.Speeds[0].CmS
	if !t.m.OneHead() {
		// The play head was turned since they were read.
		t.own[first] = trim.NewBench(t.model[first])
		if err := t.recordOwn(first, t.m.Tracks()); err != nil {
			return err
		}
		err := t.settle(first, t.own[first], t.steps(first, lineup.RecordAzimuth), func([]int) error { return t.recordOwn(first, t.m.Tracks()) })
		if err != nil {
			return err
		}
	}
	if err := t.gauged(t.steps(0, lineup.EraseAzimuth, lineup.BiasFrequency, lineup.Erase, lineup.Trap, lineup.NoiseReduction)); err != nil {
		return err
	}
	for _, v := range t.def.Speeds {
		if err := t.biases(v.CmS); err != nil {
			return err
		}
		if !t.m.OneHead() {
			// What was known of own recordings was of another bias: it counts no longer.
			t.own[v.CmS] = trim.NewBench(t.model[v.CmS])
			if err := t.recordOwn(v.CmS, t.m.Tracks()); err != nil {
				return err
			}
		}
		steps := t.steps(v.CmS, lineup.RecordLevel, lineup.RecordTreble)
		if !t.m.OneHead() {
			steps = append(steps, t.steps(v.CmS, lineup.PlayBass)...)
		}
		if err := t.settle(v.CmS, t.own[v.CmS], steps, func(tracks []int) error { return t.recordOwn(v.CmS, tracks) }); err != nil {
			return err
		}
		// What package trim calls enough was read twice or more: the change is small.
		for _, s := range t.steps(v.CmS, lineup.RecordAgain) {
			t.measured(s, 0.1, 0.02)
		}
		for _, s := range t.steps(v.CmS, lineup.PlayBass) {
			t.measured(s, 0, 0.1)
		}
	}
	return t.gauged(t.steps(0, lineup.Other))
}

func (t *technician) sync() error {
	for i, v := range t.def.Speeds {
		steps := t.steps(v.CmS, lineup.SyncLevel, lineup.SyncTreble)
		if i == 0 && len(steps) > 0 {
			if err := t.settle(v.CmS, t.play[v.CmS], steps, func(tracks []int) error { return t.hear(trims.SyncHead, v.CmS, tracks) }); err != nil {
				return err
			}
			continue
		}
		for _, s := range steps {
			t.measured(s, 0, 0.1)
		}
	}
	for _, s := range t.steps(0, lineup.NoiseReductionOn) {
		t.measured(s, 0, 0.1)
	}
	return nil
}
