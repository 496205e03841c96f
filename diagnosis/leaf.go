package diagnosis

import (
	"math"
	"slices"
)

// form is the rows of a lowest scope under given effects from above, apart from
// offsets. Rows are added as they are needed.
type form struct {
	upper []int32
	rows  []int32 // rows of the node
	base  []float64
	at    []int32   // rows × slots: which of the slot's effects
	ids   [][]int32 // per slot: effect numbers, one for each observation of it
	place []int32   // of the node's rows, -1 none
	// plain is, of the rows of at most one fault, the likelihood of each observation
	// without a shared offset; nil of others.
	plain [][]float64
}

// leaf is what a cell of a lowest scope holds.
type leaf struct {
	form   *form
	active []int32       // rows of the form in use
	lump   []float64     // per active row: the factor for what is counted with it
	ghosts []ghost       // counted with none
	tab    [][][]float64 // slot, effect: likelihood over the window
	dot    [][]float64   // slot, effect: the same averaged over the offset
	coef   [][]float64
	cav    [][]float64 // slot: what the others say of its offset, over the window
	tot    []float64   // per active row: prior times likelihood
	sum    float64
}

func (t *net) formOf(n *node, all []int32) *form {
	upper := make([]int32, len(n.own))
	for k, o := range n.own {
		upper[k] = all[o]
	}
	key := idKey(upper)
	if n.net.forms == nil {
		n.net.forms = map[string]*form{}
	}
	if f, ok := n.net.forms[key]; ok {
		return f
	}
	f := &form{upper: upper, ids: make([][]int32, len(n.net.slots))}
	n.net.forms[key] = f
	return f
}

// addTo finds or adds a row of the node in a form and returns its place there.
func (t *net) addTo(n *node, f *form, r int32) int32 {
	for int(r) >= len(f.place) {
		f.place = append(f.place, -1)
	}
	if at := f.place[r]; at >= 0 {
		return at
	}
	if kinds := n.sets[n.rows[r].sets[0]].kinds; len(kinds) == 2 {
		a, b := f.placeOf(1+kinds[0]), f.placeOf(1+kinds[1])
		if a >= 0 && b >= 0 {
			return t.addPair(n, f, r, kinds, [2]int32{a, b})
		}
	}
	s := t.s
	sig := s.sigOf(n, r)
	base := n.rows[r].w
	id := func(k int) int32 { return s.m.obs[n.own[k]].space.merge(f.upper[k], sig[k]) }
	plain := make([]float64, len(n.net.plain))
	for i, k := range n.net.plain {
		plain[i] = s.likelihood(n.own[k], id(k), 0)
		base *= plain[i]
	}
	for x := range n.net.slots {
		f.at = append(f.at, t.effect(f, &n.net.slots[x], x, id))
	}
	return f.add(r, base, plain)
}

func (f *form) placeOf(r int32) int32 {
	if int(r) >= len(f.place) {
		return -1
	}
	return f.place[r]
}

// add notes a row whose effects at the slots are there already.
func (f *form) add(r int32, base float64, plain []float64) int32 {
	f.rows = append(f.rows, r)
	f.base = append(f.base, base)
	f.plain = append(f.plain, plain)
	f.place[r] = int32(len(f.rows) - 1)
	return f.place[r]
}

// addPair adds a row of two kinds whose rows have the given places. Most observations see
// at most one of the two and need no sums.
func (t *net) addPair(n *node, f *form, r int32, kinds []int32, at [2]int32) int32 {
	s := t.s
	a, b := n.kinds[kinds[0]].sig, n.kinds[kinds[1]].sig
	id := func(k int) int32 {
		space := s.m.obs[n.own[k]].space
		return space.merge(f.upper[k], space.merge(a[k], b[k]))
	}
	base := n.rows[r].w
	plainA, plainB := f.plain[at[0]], f.plain[at[1]]
	for i, k := range n.net.plain {
		switch {
		case b[k] == 0:
			base *= plainA[i]
		case a[k] == 0:
			base *= plainB[i]
		default:
			base *= s.likelihood(n.own[k], id(k), 0)
		}
	}
	w := len(n.net.slots)
	for x := range n.net.slots {
		sl := &n.net.slots[x]
		var e int32
		switch {
		case sl.blind(b):
			e = f.at[int(at[0])*w+x]
		case sl.blind(a):
			e = f.at[int(at[1])*w+x]
		default:
			e = t.effect(f, sl, x, id)
		}
		f.at = append(f.at, e)
	}
	return f.add(r, base, nil)
}

// blind says that no observation of a slot sees a signature.
func (sl *slot) blind(sig []int32) bool {
	for _, k := range sl.obs {
		if sig[k] != 0 {
			return false
		}
	}
	return true
}

// effect finds or adds the combination of effects at the observations of a slot.
func (t *net) effect(f *form, sl *slot, x int, id func(k int) int32) int32 {
	w := len(sl.obs)
	list := f.ids[x]
	if w == 1 {
		v := id(sl.obs[0])
		known := sl.of(f, x)
		for int(v) >= len(*known) {
			*known = append(*known, found{})
		}
		p := &(*known)[v]
		if p.turn != sl.turn {
			*p = found{sl.turn, int32(len(list))}
			f.ids[x] = append(list, v)
		}
		return p.at
	}
	at := len(list)
	for _, k := range sl.obs {
		list = append(list, id(k))
	}
next:
	for e := 0; e < at; e += w {
		for k := range w {
			if list[e+k] != list[at+k] {
				continue next
			}
		}
		f.ids[x] = list[:at]
		return int32(e / w)
	}
	f.ids[x] = list
	return int32(at / w)
}

// found is the place of an effect in the list of a form; it holds while turn is the
// slot's.
type found struct{ turn, at int32 }

// of is where the effects of a form at a slot with one observation are found.
func (sl *slot) of(f *form, x int) *[]found {
	if sl.form == f {
		return &sl.found
	}
	sl.form = f
	sl.turn++
	for e, v := range f.ids[x] {
		for int(v) >= len(sl.found) {
			sl.found = append(sl.found, found{})
		}
		sl.found[v] = found{sl.turn, int32(e)}
	}
	return &sl.found
}

// newLeaf takes up the rows that matter under the faults above. A fault that was
// next to nothing beside none, times the weight of those faults, is counted with
// none in the proportion found where nothing is at fault above.
func (t *net) newLeaf(c *cell) {
	c.form = t.formOf(c.n, c.all)
	slots := len(c.n.net.slots)
	c.tab, c.dot, c.coef = make([][][]float64, slots), make([][]float64, slots), make([][]float64, slots)
	typical := t.typical[c.i]
	use := func(r int32) {
		c.active = append(c.active, t.addTo(c.n, c.form, r))
		c.lump = append(c.lump, 1)
	}
	use(0)
	for k := range c.n.kinds {
		if typical != nil && typical[k] < leastTypical && typical[k]*c.weight < leastKind {
			if typical[k] > 0 {
				c.ghosts = append(c.ghosts, ghost{int32(1 + k), typical[k]})
			}
			continue
		}
		use(int32(1 + k))
	}
	c.lump[0] = 1 + sumGhosts(c.ghosts)
	c.tot = make([]float64, len(c.active))
}

// ghost is a row that is counted with another in a fixed ratio.
type ghost struct {
	row   int32
	ratio float64
}

func sumGhosts(list []ghost) float64 {
	sum := 0.0
	for _, g := range list {
		sum += g.ratio
	}
	return sum
}

// tables fills in the likelihoods of effects that have none yet.
func (t *net) tables(c *cell) {
	for x, sl := range c.n.net.slots {
		w := c.win[sl.fam]
		per := len(sl.obs)
		have := len(c.form.ids[x]) / per
		for e := len(c.tab[x]); e < have; e++ {
			c.tab[x] = append(c.tab[x], t.product(c, sl, c.form.ids[x][e*per:(e+1)*per], w, -1))
			c.dot[x] = append(c.dot[x], 0)
			c.coef[x] = append(c.coef[x], 0)
		}
	}
}

// product is the likelihood of a slot's observations over a window, without
// observation skip.
func (t *net) product(c *cell, sl slot, ids []int32, w span, skip int) []float64 {
	var out []float64
	fresh := false
	for i, k := range sl.obs {
		o := c.n.own[k]
		if o == skip {
			continue
		}
		v := t.s.window(o, ids[i], w.lo, w.hi)
		switch {
		case out == nil:
			out = v
		case !fresh:
			out = append([]float64(nil), out...)
			fresh = true
			fallthrough
		default:
			for k := range out {
				out[k] *= v[k]
			}
		}
	}
	if out == nil {
		out = make([]float64, w.hi-w.lo)
		for k := range out {
			out[k] = 1
		}
	}
	return out
}

// sweepLeaf sums the fault sets of a lowest scope. Each offset's message is the
// sum over fault sets with the other offsets averaged out.
func (t *net) sweepLeaf(c *cell, cav [][]float64) {
	t.average(c, cav)
	t.sumRows(c)
	if c.age == 2 && t.only == nil {
		t.trim(c, leastRow*leastRow, t.company(c)) // the offsets are not settled yet
		if t.s.m.maxFaults > 1 {
			t.pairUp(c)
			t.average(c, cav)
			t.sumRows(c)
		}
	}
	if c.age == 4 && t.only == nil {
		t.trim(c, leastRow, 1)
		t.sumRows(c)
	}
	for x, sl := range c.n.net.slots {
		w := c.win[sl.fam]
		out := c.out[sl.fam][w.lo:w.hi]
		clear(out)
		for e, tab := range c.tab[x] {
			if c.coef[x][e] == 0 {
				continue
			}
			f := c.coef[x][e] / c.dot[x][e] / c.sum
			for k, l := range tab {
				out[k] += f * l
			}
		}
	}
	c.logZ = math.Log(c.sum)
	if t.book != nil {
		t.bookLeaf(c, cav)
	}
}

// average is the likelihood of each effect with the offset averaged out.
func (t *net) average(c *cell, cav [][]float64) {
	t.tables(c)
	for x, sl := range c.n.net.slots {
		w := c.win[sl.fam]
		mu := cav[sl.fam][w.lo:w.hi]
		for e, tab := range c.tab[x] {
			v := 0.0
			for k, m := range mu {
				v += m * tab[k]
			}
			c.dot[x][e] = v
		}
	}
}

// sumRows weighs every row with its averaged likelihoods.
func (t *net) sumRows(c *cell) {
	n := c.n
	w := len(n.net.slots)
	for x := range c.coef {
		clear(c.coef[x])
	}
	c.sum = 0
	for i, a := range c.active {
		v := c.form.base[a]
		at := c.form.at[int(a)*w : int(a)*w+w]
		for x, e := range at {
			v *= c.dot[x][e]
		}
		if !t.plain {
			v *= c.lump[i]
		}
		if t.only != nil {
			v *= t.factorWith(c.i, c.form.rows[a], i, c.ghosts)
		}
		c.tot[i] = v
		c.sum += v
		for x, e := range at {
			c.coef[x][e] += v
		}
	}
}

// company is how much more two faults may hold than one of them: as often as the other is
// likelier than none. A fault that changes nothing of what is seen beside a dead stage
// holds next to nothing by itself, and with that stage its prior share.
func (t *net) company(c *cell) float64 {
	if t.s.m.maxFaults < 2 || len(c.tot) < 2 || !(c.tot[0] > 0) {
		return 1
	}
	return math.Max(1, slices.Max(c.tot[1:])/c.tot[0])
}

// trim drops rows that hold next to nothing, in the company that they may be in.
func (t *net) trim(c *cell, share, company float64) {
	least := share / math.Max(c.weight, leastRow) * c.sum / company
	k := 1
	for i := 1; i < len(c.active); i++ {
		if c.tot[i] >= least {
			c.active[k], c.lump[k], c.tot[k] = c.active[i], c.lump[i], c.tot[i]
			k++
		}
	}
	c.active, c.lump, c.tot = c.active[:k], c.lump[:k], c.tot[:k]
}

// pairUp finds the pairs of faults that matter by what each does alone. Those
// that promise little are counted with their parts: each part's row gains what
// the pair holds and none loses it once, so that the sum and what is said of
// each fault are right to first order.
func (t *net) pairUp(c *cell) {
	n := c.n
	if c.tot[0] <= 0 {
		return
	}
	none := c.tot[0] / c.lump[0]
	slack := t.surprise(c)
	count := len(n.kinds)
	// Of the rows in use the first is none and the others are one fault each.
	singles := c.active[1:]
	gain, kind := make([]float64, len(singles)), make([]int, len(singles))
	for i, a := range singles {
		kind[i] = int(c.form.rows[a]) - 1
		gain[i] = c.tot[1+i] / (none * n.kinds[kind[i]].sum)
	}
	least := leastPair / math.Max(c.weight, leastPair) * c.sum / none
	// Two faults that each explain something may explain together what neither does: as
	// much, at most, as the best.
	together := slices.Max(append(gain, 0)) * slack
	add := make([]float64, len(singles))
	var pairs [][2]int
	lost := 0.0
	for i, a := range kind {
		row := n.net.pair[a*count : a*count+count]
		mine, gainI := add[i], gain[i]
		for j := i; j < len(kind); j++ {
			p := row[kind[j]] * gainI * gain[j]
			promise := p * slack
			if gainI > helps && gain[j] > helps {
				promise = math.Max(promise, math.Min(p*mostTogether, row[kind[j]]*together))
			}
			if promise >= least && p > 0 {
				pairs = append(pairs, [2]int{a, kind[j]})
				continue
			}
			lost += p
			mine += p
			if j == i {
				mine += p
			} else {
				add[j] += p
			}
		}
		add[i] = mine
	}
	for i, v := range add {
		c.lump[1+i] = 1 + v*none/c.tot[1+i]
	}
	c.lump[0] *= 1 - math.Min(0.5, lost)
	for _, p := range pairs {
		r := t.s.pairRow(n, min(p[0], p[1]), max(p[0], p[1]))
		c.active = append(c.active, t.addTo(n, c.form, r))
		c.lump = append(c.lump, 1)
		c.tot = append(c.tot, 0)
	}
}

// surprise is by how much the best single fault falls short of what the
// observations could say at most: two faults together may do that much better
// than each promises alone.
func (t *net) surprise(c *cell) float64 {
	n := c.n
	best := 0
	for i := range c.active {
		if c.tot[i]/n.rows[c.form.rows[c.active[i]]].w > c.tot[best]/n.rows[c.form.rows[c.active[best]]].w {
			best = i
		}
	}
	w := len(n.net.slots)
	a := int(c.active[best])
	out := 1.0
	short := func(got, top float64) {
		if got < top/20 {
			out *= top / math.Max(got, top/1000)
		}
	}
	for x, sl := range n.net.slots {
		top := 1.0
		for _, k := range sl.obs {
			top *= t.s.like[n.own[k]].top
		}
		short(c.dot[x][c.form.at[a*w+x]], top)
	}
	for _, k := range n.net.plain {
		o := n.own[k]
		id := t.s.m.obs[o].space.merge(c.form.upper[k], t.s.sigOf(n, c.form.rows[a])[k])
		short(t.s.likelihood(o, id, 0), t.s.like[o].top)
	}
	return math.Min(out, 1000)
}
