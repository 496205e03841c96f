package trims

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"strconv"

	"headstack/machine"
)

// Ref names one trim of a recorder: the id in the definition and the replica, as "3" of
// a track; empty where there is one.
type Ref struct{ ID, Key string }

func (r Ref) String() string {
	if r.Key == "" {
		return r.ID
	}
	return r.ID + "-" + r.Key
}

// Count is what was done to a recorder.
type Count struct {
	Moves     int     // times that a screwdriver was put to a trim, a staircase as one
	Turns     float64 // turned in all, whichever way
	Good      int     // passes of the good test tape
	Own       int     // passes of a tape of one's own: a recording with its replay
	Openings  int     // openings made; closing is not counted again
	Gauged    int     // readings without tape
	Minutes   float64 // all of this, as the definition and the constants of this file say
	EndStops  int     // moves that met an end stop
	Untouched int     // trims that were never moved
}

// Minutes of a pass of the test tape, and of an own recording that is heard at once;
// common practice, no source.
const (
	PlayMinutes    = 3.0
	OffTapeMinutes = 1.5
)

// Minutes of other work, common practice, no source.
const (
	turnMinutes  = 0.5
	rewindOwn    = 3.0 // record, rewind, play
	stepMinutes  = 0.1 // one step of a staircase
	gaugeMinutes = 1.0
)

// Recorder is one recorder with its trims. Make it with [New]; it is for one goroutine.
type Recorder struct {
	Def  *machine.Definition
	Seed uint64

	refs  []Ref // in the order of the definition
	at    map[Ref]*adjuster
	bias  map[float64]hill       // by speed
	fixed map[float64][]fixed    // by speed, index track-1
	cases casing                 // what an open case does
	open  []string               // openings that are open, as a chain of the tree
	state map[string]repeat      // case state: what this time it is off by
	asked map[string]int         // how often a question was put
	moved map[Ref]int            // how often each was
	byUse map[string][]*adjuster // by what it sets
	count Count
}

// New draws a recorder. The error is of a range in the definition that is not understood.
func New(def *machine.Definition, seed uint64) (*Recorder, error) {
	m := &Recorder{Def: def, Seed: seed, at: map[Ref]*adjuster{}, state: map[string]repeat{}, asked: map[string]int{},
		moved: map[Ref]int{}, byUse: map[string][]*adjuster{}}
	for i := range def.Trims {
		if err := m.drawTrim(&def.Trims[i]); err != nil {
			return nil, err
		}
	}
	m.drawFixed()
	m.drawCase()
	return m, nil
}

// rng is a source of numbers that depends on the seed and on what it is for.
func (m *Recorder) rng(what ...any) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprint(h, what...)
	return rand.New(rand.NewPCG(m.Seed, h.Sum64()))
}

// between is a number from a to b.
func between(r *rand.Rand, a, b float64) float64 { return a + (b-a)*r.Float64() }

// sign is -1 or +1.
func sign(r *rand.Rand) float64 {
	if r.IntN(2) == 0 {
		return -1
	}
	return 1
}

// noise is the error of the n-th answer to a question.
func (m *Recorder) noise(sd float64, question ...any) float64 {
	q := fmt.Sprint(question...)
	m.asked[q]++
	return sd * m.rng("noise", q, m.asked[q]).NormFloat64()
}

// Trims are all trims, in the order of the definition.
func (m *Recorder) Trims() []Ref { return slices.Clone(m.refs) }

// Count says what was done so far.
func (m *Recorder) Count() Count {
	c := m.count
	c.Untouched = len(m.refs) - len(m.moved)
	return c
}

// Moved is how often a trim was moved, as [Count] counts moves.
func (m *Recorder) Moved(ref Ref) int { return m.moved[ref] }

// Tracks are the numbers of the tracks.
func (m *Recorder) Tracks() []int {
	out := make([]int, m.Def.Tracks.Count)
	for i := range out {
		out[i] = i + 1
	}
	return out
}

// HeardAtOnce is how many tracks can be measured in one pass: two where all goes through
// a stereo bus, else all.
func (m *Recorder) HeardAtOnce() int {
	if n := len(m.Def.ReplicaKeys("side")); n > 0 {
		return n
	}
	return m.Def.Tracks.Count
}

// OneHead says that recordings are made and played by the same head.
func (m *Recorder) OneHead() bool {
	return slices.ContainsFunc(m.Def.Heads, func(h machine.Head) bool { return h.Use == "record-play" })
}

// find is the adjuster that sets a measure of a replica at a speed: the one of that speed,
// or one for all speeds; nil where the recorder has none.
func (m *Recorder) find(sets, key string, speedCmS float64, use func(*machine.Trim) bool) *adjuster {
	for _, a := range m.byUse[sets] {
		t := a.trim
		if (a.key == "" || a.key == key) && (t.SpeedCmS == 0 || t.SpeedCmS == speedCmS) && (use == nil || use(t)) {
			return a
		}
	}
	return nil
}

// effect is what that adjuster does, 0 where there is none.
func (m *Recorder) effect(sets string, track int, speedCmS float64) float64 {
	if a := m.find(sets, strconv.Itoa(track), speedCmS, nil); a != nil {
		return a.effect()
	}
	return 0
}
