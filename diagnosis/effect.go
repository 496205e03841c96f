package diagnosis

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"

	"headstack/machine"
)

// The quantities that a fault changes and an observation sees.
const (
	qLevel  = iota // dB at the reference tone
	qTreble        // dB at 10 kHz relative to the reference tone
	qBass          // dB at 63 Hz relative to the reference tone
	qNoise         // dB rise of the noise
	quantities
)

// effect is what one fault does to the signal that passes it.
type effect struct {
	db [quantities]float64 // the change, added along the path
	sd [quantities]float64 // spread within the bin that db stands for
	// dead lets nothing pass: the level is at the floor whatever follows.
	dead bool
	// set replaces the signal instead of changing it: what the path did before
	// this stage no longer matters. Logic levels fail like this.
	set bool
	// presence is the probability that the effect shows at one look; 1 always.
	presence float64
	// own and common are the shapes it gives to a capture of one track and of all.
	own, common shapes
	// mode is the fault mode that it comes from, for what depends on how one looks; nil
	// where that changes nothing.
	mode *machine.FaultMode
	// until is the Seq of the work that cured it; 0: it is there still.
	until int64
}

// look is how and when an observation was made.
type look struct {
	seq       int64  // 0: before all works
	condition string // one of machine.FaultMode.Shows, or empty
}

// seen is an effect as one look meets it: gone after the work that cured it, and
// showing as often as its mode does under the look's condition.
func (e effect) seen(l look) effect {
	if e.until > 0 && l.seq > e.until {
		return effect{presence: 1}
	}
	if e.mode != nil && e.presence < 1 {
		e.presence = e.mode.ShowsWhen(l.condition)
	}
	e.mode, e.until = nil, 0
	return e
}

// none says that the effect changes nothing.
func (e effect) none() bool {
	return !e.dead && !e.set && e.db == [quantities]float64{} && e.own|e.common == 0
}

// plus adds two permanent effects. Spreads of different faults are independent.
func (e effect) plus(f effect) effect {
	for q := range quantities {
		e.db[q] += f.db[q]
		switch {
		case f.sd[q] == 0: // the usual, without a root
			e.sd[q] = math.Abs(e.sd[q])
		case e.sd[q] == 0:
			e.sd[q] = math.Abs(f.sd[q])
		default:
			e.sd[q] = math.Hypot(e.sd[q], f.sd[q])
		}
	}
	e.dead = e.dead || f.dead
	e.own, e.common = e.own|f.own, e.common|f.common
	return e
}

// piece is an effect at a place along the path of one observation.
type piece struct {
	pos int
	effect
}

// total is what arrives at an observation, in one of the cases of which
// intermittent faults show.
type total struct {
	p    float64 // probability of the case
	db   [quantities]float64
	sd   [quantities]float64
	dead bool
	// own and common are the shapes of the faults that show.
	own, common shapes
	// shown and hidden count the intermittent faults that do and do not show.
	shown, hidden int
}

// space numbers the different combinations of effects that one observation can
// meet. Number 0 is no effect at all. Two combinations that the observation
// cannot tell apart have one number.
type space struct {
	lists [][]piece
	index map[string]int32
	pairs pairTable // the number of two together
	room  []piece   // scratch, as the next two
	form  []piece
	key   []byte
	// look is how the observation was made, project reduces an effect to what it
	// perceives.
	look    look
	project func(effect) effect
}

func newSpace(project func(effect) effect) *space {
	s := &space{index: map[string]int32{}, project: project}
	s.intern(nil)
	return s
}

// single is the number of one fault at place pos.
func (s *space) single(pos int, e effect) int32 {
	e = s.project(e.seen(s.look))
	if e.none() {
		return 0
	}
	return s.intern([]piece{{pos, e}})
}

// merge is the number of two combinations together.
func (s *space) merge(a, b int32) int32 {
	switch {
	case a == 0:
		return b
	case b == 0:
		return a
	case a > b:
		a, b = b, a
	}
	key := uint64(a)<<32 | uint64(b) // not 0: a is none no more
	if id, ok := s.pairs.get(key); ok {
		return id
	}
	s.room = append(append(s.room[:0], s.lists[a]...), s.lists[b]...)
	id := s.intern(s.room)
	s.pairs.put(key, id)
	return id
}

// pairTable is a map from keys other than 0, as open as it needs to be for speed: two
// effects are merged for every fault of every scope under every fault above.
type pairTable struct {
	slots []pairSlot // a power of two of them, at most half in use; key 0 is free
	used  int
}

type pairSlot struct {
	key uint64
	id  int32
}

func (t *pairTable) at(key uint64) int {
	mask := len(t.slots) - 1
	k := int(key*0x9e3779b97f4a7c15>>32) & mask
	for t.slots[k].key != key && t.slots[k].key != 0 {
		k = (k + 1) & mask
	}
	return k
}

func (t *pairTable) get(key uint64) (id int32, ok bool) {
	if len(t.slots) == 0 {
		return 0, false
	}
	x := &t.slots[t.at(key)]
	return x.id, x.key == key
}

func (t *pairTable) put(key uint64, id int32) {
	if t.used++; 2*t.used > len(t.slots) {
		old := t.slots
		t.slots = make([]pairSlot, max(16, 2*len(old)))
		for _, x := range old {
			if x.key != 0 {
				t.slots[t.at(x.key)] = x
			}
		}
	}
	t.slots[t.at(key)] = pairSlot{key, id}
}

func (s *space) intern(list []piece) int32 {
	list = s.canonical(list)
	s.key = encode(s.key[:0], list)
	if id, ok := s.index[string(s.key)]; ok {
		return id
	}
	id := int32(len(s.lists))
	s.lists = append(s.lists, slices.Clone(list))
	s.index[string(s.key)] = id
	return id
}

// canonical brings a list of effects into the one form that stands for all
// lists with the same result: permanent additions are summed, places are
// dropped where order does not matter. It stands until the next.
func (s *space) canonical(list []piece) []piece {
	sets := slices.ContainsFunc(list, func(p piece) bool { return p.set })
	if sets {
		return ordered(list)
	}
	var sum effect
	sum.presence = 1
	out := append(s.form[:0], piece{})
	for _, p := range list {
		if p.presence < 1 {
			p.pos = 0
			out = append(out, p)
			continue
		}
		sum = sum.plus(p.effect)
	}
	s.form = out
	slices.SortFunc(out[1:], comparePieces)
	if sum.none() && sum.sd == [quantities]float64{} {
		return out[1:]
	}
	out[0].effect = sum
	return out
}

// ordered sorts by place and drops what stands before the last stage that
// replaces the signal for certain.
func ordered(list []piece) []piece {
	slices.SortFunc(list, comparePieces)
	from := 0
	for i, p := range list {
		if p.set && p.presence >= 1 {
			from = i
		}
	}
	return list[from:]
}

func comparePieces(a, b piece) int {
	if c := cmp.Compare(a.pos, b.pos); c != 0 {
		return c
	}
	for q := range quantities {
		if c := cmp.Compare(a.db[q], b.db[q]); c != 0 {
			return c
		}
		if c := cmp.Compare(a.sd[q], b.sd[q]); c != 0 {
			return c
		}
	}
	return cmp.Or(cmp.Compare(a.presence, b.presence), cmp.Compare(a.own, b.own), cmp.Compare(a.common, b.common))
}

// encode appends a list as a map key.
func encode(b []byte, list []piece) []byte {
	for _, p := range list {
		flags := byte(0)
		if p.dead {
			flags |= 1
		}
		if p.set {
			flags |= 2
		}
		b = append(b, flags)
		b = binary.AppendVarint(b, int64(p.pos))
		for q := range quantities {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.db[q]+0))
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.sd[q]))
		}
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(p.presence))
		b = binary.LittleEndian.AppendUint32(b, uint32(p.own)<<16|uint32(p.common))
	}
	return b
}

// totals lists what arrives for a combination, one case for each set of
// intermittent faults that show. The probabilities sum to 1.
func (s *space) totals(id int32) []total {
	list := s.lists[id]
	fickle := 0
	for _, p := range list {
		if p.presence < 1 {
			fickle++
		}
	}
	out := make([]total, 0, 1<<fickle)
	for mask := range 1 << fickle {
		t := total{p: 1}
		var sum effect
		k := 0
		for i := range list {
			p := &list[i]
			if p.presence < 1 {
				shows := mask>>k&1 == 1
				k++
				if !shows {
					t.p *= 1 - p.presence
					t.hidden++
					continue
				}
				t.p *= p.presence
				t.shown++
			}
			if p.set {
				sum = p.effect
			} else {
				sum = sum.plus(p.effect)
			}
		}
		t.db, t.sd, t.dead, t.own, t.common = sum.db, sum.sd, sum.dead, sum.own, sum.common
		if t.p > 0 {
			out = append(out, t)
		}
	}
	return out
}
