package diagnosis

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"headstack/machine"
)

// wideRecorder has 12 shared stages, 4 for each group of six tracks and 18 on each
// track; recording and playing back passes all 34 of a track.
func wideRecorder(tracks int) *machine.Definition {
	d := &machine.Definition{ID: "wide", Reference: machine.Reference{ToneHz: 315}, Tracks: machine.Tracks{Count: tracks},
		Boards: []machine.Board{{ID: "B", Opening: machine.Closed}}}
	size := min(6, max(2, tracks/2))
	for first := 1; first <= tracks; first += size {
		g := machine.Group{ID: string(rune('a' + len(d.Groups)))}
		g.Name = "G" + g.ID
		for k := first; k < first+size && k <= tracks; k++ {
			g.Tracks = append(g.Tracks, k)
		}
		d.Groups = append(d.Groups, g)
	}
	kinds := []string{"amplifier", "coupling-capacitor", "switch", "trim"}
	row := func(prefix, each string, n int) (ids []string) {
		for i := range n {
			id := fmt.Sprint(prefix, i+1)
			part := id
			if each != "" {
				part += "-{" + each + "}"
			}
			kind := kinds[i%len(kinds)]
			if id == "P1" {
				kind = "head"
			}
			d.Stages = append(d.Stages, machine.Stage{ID: id, Name: id, Part: part, Kind: kind, Each: each, Board: "B"})
			ids = append(ids, id)
		}
		return ids
	}
	play := append(row("P", "track", 9), row("SP", "", 6)...)
	record := append(row("SR", "", 6), row("GR", "group", 4)...)
	record = append(append(record, row("R", "track", 9)...), "@play")
	d.Functions = []machine.Function{
		{ID: "play", Name: "play", Each: "track", Through: play, CheckMinutes: 1},
		{ID: "record-play", Name: "record and play", Each: "track", Through: record, CheckMinutes: 3},
	}
	point := func(id, each, function, after string) {
		part := id
		if each != "" {
			part += "-{" + each + "}"
		}
		d.TestPoints = append(d.TestPoints, machine.TestPoint{ID: id, Name: id, Part: part, Each: each, Function: function,
			After: after, ToneHz: 315, Expect: machine.Quantity{Value: 100, Unit: "mV", SpreadDB: 1}, Board: "B"})
	}
	point("TP1", "track", "play", "P3")
	point("TP2", "track", "play", "P9")
	point("TP3", "track", "record-play", "R4")
	point("TP4", "track", "record-play", "R9")
	point("TP5", "group", "record-play", "GR3")
	return d
}

// wideJob is what a bench would find where the second group's coupling capacitor has
// lost 11 dB and the head of track 2 its treble, with one wrong reading: two checks
// and four readings a track and some of the groups, over ten offsets.
func wideJob(def *machine.Definition, tracks int) Evidence {
	rng := rand.New(rand.NewPCG(41, uint64(tracks)))
	b := &bench{}
	last := def.Groups[1]
	weak := map[int]bool{}
	for _, k := range last.Tracks {
		weak[k] = true
	}
	offset := map[string]float64{}
	read := func(point, key string, level, hz float64) {
		name := fmt.Sprint(point, hz)
		if _, ok := offset[name]; !ok {
			offset[name] = rng.NormFloat64()
		}
		b.read(point, key, 0.1*math.Pow(10, (offset[name]+level+0.3*rng.NormFloat64())/20), hz)
	}
	for k := 1; k <= tracks; k++ {
		key := fmt.Sprint(k)
		level, treble := 0.0, 0.0
		if weak[k] {
			level = -11
		}
		if k == 2 {
			treble = -12
		}
		if k == 2 {
			b.check("play", key, Faulty, SymptomDull)
		} else {
			b.check("play", key, Works, "")
		}
		if weak[k] {
			b.check("record-play", key, Faulty, SymptomWeak)
		} else if k != 2 {
			b.check("record-play", key, Works, "")
		}
		wrong := 0.0
		if k == 1 {
			wrong = -7
		}
		read("TP1", key, wrong, 0)
		read("TP4", key, level, 0)
		switch k % 3 {
		case 0:
			read("TP2", key, 0, 0)
			read("TP3", key, level, 0)
		case 1:
			read("TP2", key, 0, 63)
			read("TP3", key, level, 10000)
		default:
			read("TP1", key, treble, 10000)
			read("TP2", key, treble, 10000)
		}
	}
	for i, g := range def.Groups {
		level := 0.0
		if i == 1 {
			level = -11
		}
		read("TP5", g.ID, level, 0)
		read("TP5", g.ID, level, 63)
	}
	return b.ev
}

// TestWideRecorder: the hidden faults of a recorder of 24 tracks and some 460 stages
// are found, the same in every run, also in several at once.
func TestWideRecorder(t *testing.T) {
	t.Parallel()
	def := wideRecorder(24)
	e, err := New(def, Options{})
	if err != nil {
		t.Fatal(err)
	}
	ev := wideJob(def, 24)
	p, post := posteriorOf(t, e, ev)
	group := 0.0
	for part, f := range byPart(p, post) {
		switch {
		case part == "P1-2":
			if f < 0.5 {
				t.Errorf("the dull head of track 2 has %.3f", f)
			}
		case len(part) > 3 && part[:2] == "GR" && part[len(part)-1] == 'b':
			group += f
		case f > 0.3:
			t.Errorf("%s is blamed with %.3f", part, f)
		}
	}
	if group < 0.9 {
		t.Errorf("the stages of the weak group together have %.3f", group)
	}
	var wg sync.WaitGroup
	for range 3 {
		wg.Go(func() {
			q, err := e.build(ev)
			if err != nil {
				t.Error(err)
				return
			}
			again, err := solve(q.model)
			if err != nil {
				t.Error(err)
				return
			}
			for c := range p.seen {
				if again.faulty(c) != post.faulty(c) {
					t.Errorf("%s: %v, another time %v", p.seen[c].Part(), post.faulty(c), again.faulty(c))
				}
			}
		})
	}
	wg.Wait()
	t.Logf("%d stages, %d observations, %d offsets, stated loss %.2g", len(p.seen), len(p.model.obs), len(post.s.nodes[0].fams), post.s.loss)
}

// TestLongSumEnds: a sum gives up soon after its context ends.
func TestLongSumEnds(t *testing.T) {
	t.Parallel()
	def := wideRecorder(24)
	e, err := New(def, Options{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := e.build(wideJob(def, 24))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
	defer cancel()
	if _, err := solveWithin(ctx, p.model); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("after its deadline: %v", err)
	}
}
