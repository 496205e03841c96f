package machine

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// parts checks boards, connectors and stages.
func (c *checker) parts() {
	d := c.d
	unique(c, "boards", d.Boards, func(b *Board) string { return b.ID })
	for i, b := range d.Boards {
		p := fmt.Sprintf("boards[%d].", i)
		c.each(p+"each", b.Each)
		c.opening(p+"opening", b.Opening)
		if b.Work != "" {
			c.opening(p+"work", b.Work)
		}
	}
	if len(d.Boards) == 0 {
		c.bad("boards", "no board is given", "list every circuit board or other place that carries parts")
	}
	unique(c, "connectors", d.Connectors, func(x *Connector) string { return x.ID })
	for i := range d.Connectors {
		c.connector(fmt.Sprintf("connectors[%d].", i), &d.Connectors[i])
	}
	unique(c, "stages", d.Stages, func(s *Stage) string { return s.ID })
	for i := range d.Stages {
		c.stage(fmt.Sprintf("stages[%d].", i), &d.Stages[i])
	}
	if n := len(d.Stages) + len(d.Trims) + len(d.TestPoints); n*c.largestSet() > maxParts {
		c.bad("stages", fmt.Sprintf("%d stages, trims and test points over sets of up to %d are too many parts", n, c.largestSet()), fmt.Sprintf("at most %d together", maxParts))
	}
}

func (c *checker) connector(p string, x *Connector) {
	c.board(p+"a.board", x.A.Board)
	c.board(p+"b.board", x.B.Board)
	if x.A.Board == x.B.Board {
		c.bad(p+"b.board", fmt.Sprintf("both sides of %s are on board %s", x.ID, x.A.Board), "side b names the other board")
	}
	c.each(p+"each", x.Each)
	c.cautions(p+"cautions", x.Cautions)
	if x.LoomMm < 0 {
		c.bad(p+"loom_mm", "a negative length", "millimetres of free loom")
	}
	if x.Rated < 0 {
		c.bad(p+"rated_insertions", "a negative count", "how often it may be plugged; leave it out if unknown")
	}
	for side, pins := range map[string][]string{"a": x.A.Pins, "b": x.B.Pins} {
		if len(pins) == 0 || len(pins) > 200 {
			c.bad(p+side+".pins", fmt.Sprintf("%d pins", len(pins)), "list the signal on every pin, pin 1 first")
		}
		for i, s := range pins {
			c.text(fmt.Sprintf("%s%s.pins[%d]", p, side, i), s)
		}
	}
}

func (c *checker) stage(p string, s *Stage) {
	c.board(p+"board", s.Board)
	if c.each(p+"each", s.Each) {
		c.pattern(p+"part", s.Part, s.Each, true)
	}
	c.text(p+"name", s.Name)
	if len(placeholders(s.Name)) > 0 {
		c.bad(p+"name", "a stage's name holds a placeholder", "name the stage alike for all replicas; only part takes {"+s.Each+"}")
	}
	_, known := kindDefaults[s.Kind]
	if !known && (len(s.Faults) == 0 || s.Prior == 0) {
		c.bad(p+"kind", fmt.Sprintf("kind %q has no built-in fault modes", s.Kind), didYouMean(s.Kind, Kinds())+", or give prior and faults here")
	}
	if s.Prior < 0 || s.Prior > 0.5 {
		c.bad(p+"prior", fmt.Sprintf("a prior of %g", s.Prior), "the chance that one such part is faulty on an untouched machine, above 0 and at most 0.5")
	}
	for i, f := range s.Faults {
		c.fault(fmt.Sprintf("%sfaults[%d].", p, i), f)
	}
}

func (c *checker) fault(p string, f FaultMode) {
	c.oneOf(p+"mode", string(f.Mode), string(Dead), string(Weak), string(Noisy), string(Intermittent))
	c.text(p+"cause", f.Cause)
	if f.Weight <= 0 || f.Weight > 1e6 {
		c.bad(p+"weight", fmt.Sprintf("a weight of %g", f.Weight), "above 0; only the proportion to the other modes counts")
	}
	c.effect(p+"level_db", f.LevelDB)
	c.effect(p+"treble_db", f.TrebleDB)
	c.effect(p+"bass_db", f.BassDB)
	c.effect(p+"noise_db", f.NoiseDB)
	if f.Presence < 0 || f.Presence > 1 {
		c.bad(p+"presence", fmt.Sprintf("a presence of %g", f.Presence), "the chance that the fault shows at one look, 0 to 1")
	}
	c.chances(p+"shows", f.Shows, Conditions(), "the chance that the fault shows at one look under that condition, 0 to 1")
	c.chances(p+"cured_by", f.CuredBy, Cures(), "the chance that this work cures the fault, 0 to 1")
	c.minutes(p+"cure_minutes", f.CureMin)
	if len(f.Signature) > maxSignatures {
		c.bad(p+"signature", fmt.Sprintf("%d signatures", len(f.Signature)), fmt.Sprintf("at most %d, of which one is meant at a time", maxSignatures))
	}
	for i, s := range f.Signature {
		at := fmt.Sprintf("%ssignature[%d]", p, i)
		c.oneOf(at, s, Signatures()...)
		if slices.Contains(f.Signature[:i], s) {
			c.bad(at, s+" stands twice", "name each signature once")
		}
	}
}

// chances checks probabilities by word, in the order of the words so that reports are
// always in one order.
func (c *checker) chances(path string, given map[string]float64, known []string, want string) {
	for _, word := range slices.Sorted(maps.Keys(given)) {
		at := path + "." + word
		if !slices.Contains(known, word) {
			c.bad(at, fmt.Sprintf("%q is not one of the words known here", word), didYouMean(word, known))
		}
		if x := given[word]; x < 0 || x > 1 {
			c.bad(at, fmt.Sprintf("a chance of %g", x), want)
		}
	}
}

// effect checks a range of decibels.
func (c *checker) effect(path string, r []float64) {
	if len(r) == 0 {
		return
	}
	if len(r) != 2 {
		c.bad(path, fmt.Sprintf("%d figures where a range is wanted", len(r)), "write [low, high] in dB, e.g. [-20, -4]")
		return
	}
	if r[0] > r[1] {
		c.bad(path, fmt.Sprintf("the range [%g, %g] runs downwards", r[0], r[1]), fmt.Sprintf("write [%g, %g]", r[1], r[0]))
	}
	for _, x := range r {
		c.within(path, x, -120, 120, "dB")
	}
}

// functions checks references first, then circles, then that every path
// resolves for every replica: a later check on top of an earlier fault would
// only repeat it.
func (c *checker) functions() {
	d := c.d
	unique(c, "functions", d.Functions, func(f *Function) string { return f.ID })
	if len(d.Functions) == 0 {
		c.bad("functions", "no function is given", "describe at least the play path")
	}
	if len(d.Functions) > maxPaths {
		c.bad("functions", fmt.Sprintf("%d functions", len(d.Functions)), fmt.Sprintf("at most %d", maxPaths))
		return
	}
	before := len(c.list)
	for i := range d.Functions {
		f, p := &d.Functions[i], fmt.Sprintf("functions[%d].", i)
		c.minutes(p+"check_minutes", f.CheckMinutes)
		c.each(p+"each", f.Each)
		for set, key := range f.With {
			keys := d.ReplicaKeys(set)
			if c.each(p+"with."+set, set) && !slices.Contains(keys, key) {
				c.bad(p+"with."+set, fmt.Sprintf("%s has no replica %q", set, key), "it has "+listed(keys))
			}
		}
		c.through(p, f)
	}
	if len(c.list) == before {
		c.circles()
	}
	for i := range d.Functions {
		if len(c.list) == before {
			c.resolves(fmt.Sprintf("functions[%d].", i), &d.Functions[i])
		}
	}
	c.pathsGood = len(c.list) == before
}

// circles reports the first function that contains itself.
func (c *checker) circles() {
	for i := range c.d.Functions {
		if _, err := c.ix.steps(&c.d.Functions[i], nil, nil, new(int)); err != nil {
			c.bad(fmt.Sprintf("functions[%d].through", i), err.Error(), "take one of the @ items out")
			return
		}
	}
}

// through checks the items of a path.
func (c *checker) through(p string, f *Function) {
	if len(f.Through) == 0 {
		c.bad(p+"through", fmt.Sprintf("function %s passes no stage", f.ID), "list the stage ids in signal order")
	}
	stages := ids(c.d.Stages, func(s *Stage) string { return s.ID })
	for i, item := range f.Through {
		path := fmt.Sprintf("%sthrough[%d]", p, i)
		if slices.Contains(f.Through[:i], item) {
			c.bad(path, fmt.Sprintf("%s stands twice in this path", item), "a signal passes a stage once; remove one")
		}
		if other, ok := strings.CutPrefix(item, "@"); ok {
			if _, ok := c.ix.functions[other]; !ok {
				c.bad(path, fmt.Sprintf("function %s is not defined", other), didYouMean(other, c.d.functionIDs()))
			}
			continue
		}
		if _, ok := c.ix.stages[item]; !ok {
			c.bad(path, fmt.Sprintf("stage %s is not defined", item), didYouMean(item, stages))
		}
	}
}

func (c *checker) resolves(p string, f *Function) {
	c.d.index = c.ix
	defer func() { c.d.index = nil }()
	for _, k := range c.d.ReplicaKeys(f.Each) {
		if _, err := c.d.Path(f.ID, k); err != nil {
			c.bad(p+"through", strings.TrimSpace(fmt.Sprintf("the path of %s %s %s", f.ID, f.Each, k))+" does not resolve: "+err.Error(), "")
			return // the other replicas fail the same way
		}
	}
}
