package machine

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
)

// checker looks for what is wrong in a definition whose fields are all of the
// right type. Each rule reports through bad, which finds the line.
type checker struct {
	*problems
	d         *Definition
	ix        *index
	pathsGood bool // every function resolves, so that test points can be placed on them
}

// validate adds every semantic problem to p.
func validate(p *problems, d *Definition) {
	c := &checker{problems: p, d: d, ix: newIndex(d)}
	if d.Format != 1 {
		c.bad("machine", fmt.Sprintf("file format %d is not known", d.Format), "this program reads format 1")
		return
	}
	c.identity()
	c.tape()
	c.transport()
	c.replicas()
	c.parts()
	if len(p.list) > 0 {
		return // paths over undefined sets would only repeat the same problem
	}
	c.functions()
	c.testPoints()
	c.trims()
	c.setups()
	c.controls()
	c.openings()
	c.exceptions()
}

func (c *checker) bad(path, problem, want string) {
	at, ok := c.d.pos[path]
	for p := path; !ok && p != ""; {
		p = p[:max(0, strings.LastIndexAny(p, ".["))]
		at, ok = c.d.pos[p]
	}
	if !ok {
		at = position{1, 1}
	}
	c.add(at, path, problem, want)
}

// oneOf checks a word against a closed list.
func (c *checker) oneOf(path, value string, known ...string) {
	if !slices.Contains(known, value) {
		c.bad(path, fmt.Sprintf("%q is not one of the words known here", value), didYouMean(value, known))
	}
}

func (c *checker) text(path, value string) {
	if strings.TrimSpace(value) == "" {
		c.bad(path, "the text is empty", "write a few words")
	}
}

func (c *checker) within(path string, x, low, high float64, unit string) {
	if x < low || x > high || math.IsNaN(x) {
		c.bad(path, fmt.Sprintf("%g %s is out of range", x, unit), fmt.Sprintf("between %g and %g %s", low, high, unit))
	}
}

// minutes checks a duration of bench work.
func (c *checker) minutes(path string, x float64) { c.within(path, x, 0, 1440, "minutes") }

// board, each and opening check references to other parts of the definition.
func (c *checker) board(path, id string) {
	if _, ok := c.ix.boards[id]; !ok {
		c.bad(path, fmt.Sprintf("board %s is not defined", id), didYouMean(id, ids(c.d.Boards, func(b *Board) string { return b.ID })))
	}
}

func (c *checker) each(path, set string) bool {
	if set == "" || slices.Contains(c.sets(), set) {
		return true
	}
	c.bad(path, fmt.Sprintf("replica set %s is not defined", set), didYouMean(set, c.sets()))
	return false
}

func (c *checker) opening(path, id string) {
	if _, ok := c.ix.openings[id]; !ok && id != Closed {
		known := append([]string{Closed}, ids(c.d.Openings, func(o *Opening) string { return o.ID })...)
		c.bad(path, fmt.Sprintf("opening %s is not defined", id), didYouMean(id, known))
	}
}

func (c *checker) cautions(path string, list []string) {
	for i, text := range list {
		p := fmt.Sprintf("%s[%d]", path, i)
		c.text(p, text)
		if _, ok := standardCautions[text]; !ok && !strings.Contains(text, " ") {
			c.bad(p, fmt.Sprintf("%q is neither a sentence nor the name of a standard caution", text), didYouMean(text, cautionNames()))
		}
	}
}

// sets are the names of the replica sets.
func (c *checker) sets() []string {
	out := []string{EachTrack}
	if len(c.d.Groups) > 0 {
		out = append(out, EachGroup)
	}
	var own []string
	for name := range c.d.Replicas {
		own = append(own, name)
	}
	slices.Sort(own)
	return append(out, own...)
}

// largestSet is the number of replicas in the largest set.
func (c *checker) largestSet() int {
	n := 1
	for _, set := range c.sets() {
		n = max(n, len(c.d.ReplicaKeys(set)))
	}
	return n
}

// pattern checks a designator pattern against the set it repeats over.
func (c *checker) pattern(path, pattern, each string, mustRepeat bool) {
	c.text(path, pattern)
	found := placeholders(pattern)
	for _, name := range found {
		if name == each {
			continue
		}
		if each == "" {
			c.bad(path, fmt.Sprintf("{%s} stands in the pattern of something that does not repeat", name), fmt.Sprintf("add each: %s, or write the designator out", name))
		} else {
			c.bad(path, fmt.Sprintf("{%s} stands in the pattern of something that repeats over %s", name, each), fmt.Sprintf("write {%s}", each))
		}
	}
	if each != "" && mustRepeat && !slices.Contains(found, each) {
		c.bad(path, fmt.Sprintf("all replicas would be called %q", pattern), fmt.Sprintf("put {%s} where the designators differ, e.g. %q", each, pattern+"-{"+each+"}"))
	}
}

// unique reports the second use of an id.
func unique[T any](c *checker, list string, items []T, id func(*T) string) {
	seen := map[string]int{}
	for i := range items {
		name, path := id(&items[i]), fmt.Sprintf("%s[%d].id", list, i)
		if !idPattern.MatchString(name) {
			c.bad(path, fmt.Sprintf("%q cannot be an id", name), "use letters, digits, - and _ (1 to 40 of them), beginning with a letter or digit")
		}
		if first, ok := seen[name]; ok {
			at := c.d.pos[fmt.Sprintf("%s[%d].id", list, first)]
			c.bad(path, fmt.Sprintf("id %s is used twice", name), fmt.Sprintf("the other stands in line %d; rename one", at.line))
			continue
		}
		seen[name] = i
	}
}

var (
	idPattern   = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,39}$`)
	namePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)
	keyPattern  = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,15}$`)
)

func (c *checker) identity() {
	d := c.d
	if !namePattern.MatchString(d.ID) {
		c.bad("id", fmt.Sprintf("%q cannot be the short name", d.ID), "use small letters, digits and -, e.g. quern-6")
	}
	c.text("make", d.Make)
	c.text("name", d.Name)
	c.oneOf("medium.kind", d.Medium.Kind, "cassette", "open-reel")
	c.within("medium.width_mm", d.Medium.WidthMm, 1, 100, "mm")
	c.oneOf("supply.class", d.Supply.Class, "I", "II")
	c.text("supply.text", d.Supply.Text)
	if d.PriorWeight != 0 {
		c.within("prior_weight", d.PriorWeight, 1, 10000, "machines (left out: 20)")
	}
}

func (c *checker) tape() {
	d := c.d
	if len(d.Speeds) == 0 {
		c.bad("speeds", "no speed is given", "give at least one tape speed with its replay equalisation")
	}
	for i, s := range d.Speeds {
		p := fmt.Sprintf("speeds[%d].", i)
		c.within(p+"cm_s", s.CmS, 1, 200, "cm/s")
		c.within(p+"high_us", s.HighUs, 1, 1000, "µs")
		if s.LowUs != 0 {
			c.within(p+"low_us", s.LowUs, 100, 20000, "µs (0: none)")
		}
		c.within(p+"tolerance_percent", s.TolerancePercent, 0.01, 20, "%")
		for _, other := range d.Speeds[:i] {
			if other.CmS == s.CmS {
				c.bad(p+"cm_s", fmt.Sprintf("speed %g cm/s is given twice", s.CmS), "remove one")
			}
		}
	}
	c.within("reference.fluxivity_nwb_m", d.Reference.FluxivityNWbM, 20, 2000, "nWb/m")
	c.within("reference.tone_hz", d.Reference.ToneHz, 20, 20000, "Hz")
	c.oneOf("reference.convention", d.Reference.Convention, "short-circuit", "open-circuit")
	c.text("reference.output", d.Reference.Output)
	c.geometry()
	unique(c, "heads", d.Heads, func(h *Head) string { return h.ID })
	for i, h := range d.Heads {
		c.oneOf(fmt.Sprintf("heads[%d].use", i), h.Use, "record", "play", "record-play", "erase")
		if h.GapUm != 0 {
			c.within(fmt.Sprintf("heads[%d].gap_um", i), h.GapUm, 0.3, 30, "µm")
		}
	}
	if len(d.Heads) == 0 {
		c.bad("heads", "no head is given", "list the head stacks in the order in which the tape meets them")
	}
}

func (c *checker) geometry() {
	t := c.d.Tracks
	if t.Count < 1 || t.Count > maxReplica {
		c.bad("tracks.count", fmt.Sprintf("%d tracks", t.Count), fmt.Sprintf("between 1 and %d", maxReplica))
		return
	}
	c.within("tracks.pitch_mm", t.PitchMm, 0.05, 50, "mm")
	c.within("tracks.width_mm", t.WidthMm, 0.02, 50, "mm")
	if t.FirstCentreMm < 0 {
		c.bad("tracks.first_centre_mm", "the first track lies off the tape", "measure from the tape edge next to track 1 to that track's centre")
	}
	if t.Count > 1 && t.WidthMm > t.PitchMm {
		c.bad("tracks.width_mm", fmt.Sprintf("tracks %g mm wide at a pitch of %g mm overlap", t.WidthMm, t.PitchMm), "the pitch is measured from centre to centre")
		return
	}
	g := c.d.Geometry()
	lo := g.Tracks[0].Centre - g.Tracks[0].Width/2
	hi := g.Tracks[t.Count-1].Centre + g.Tracks[t.Count-1].Width/2
	// A micrometre of slack: the sum is made of rounded millimetres.
	if lo < -1e-6 || hi > g.TapeWidth+1e-6 {
		c.bad("tracks", fmt.Sprintf("%d tracks reach from %.3f to %.3f mm on a tape %.3f mm wide", t.Count, lo*1e3, hi*1e3, g.TapeWidth*1e3), "check count, pitch, width and first centre")
	}
}

func (c *checker) replicas() {
	for name, keys := range c.d.Replicas {
		p := "replicas." + name
		if !namePattern.MatchString(name) {
			c.bad(p, fmt.Sprintf("%q cannot name a replica set", name), "use small letters, digits and -")
		}
		if name == EachTrack || name == EachGroup {
			c.bad(p, name+" is made from the tracks and groups", "remove it here")
		}
		if len(keys) == 0 || len(keys) > maxReplica {
			c.bad(p, fmt.Sprintf("%d replicas", len(keys)), fmt.Sprintf("list 1 to %d keys", maxReplica))
		}
		for i, k := range keys {
			c.key(fmt.Sprintf("%s[%d]", p, i), k, keys[:i])
		}
	}
	if len(c.d.Groups) > maxReplica {
		c.bad("groups", fmt.Sprintf("%d groups", len(c.d.Groups)), fmt.Sprintf("at most %d", maxReplica))
	}
	unique(c, "groups", c.d.Groups, func(g *Group) string { return g.ID })
	owner := map[int]string{}
	for i, g := range c.d.Groups {
		for j, t := range g.Tracks {
			p := fmt.Sprintf("groups[%d].tracks[%d]", i, j)
			if t < 1 || t > c.d.Tracks.Count {
				c.bad(p, fmt.Sprintf("track %d does not exist", t), fmt.Sprintf("tracks are 1 to %d", c.d.Tracks.Count))
			}
			if o, ok := owner[t]; ok {
				c.bad(p, fmt.Sprintf("track %d is already in group %s", t, o), "a track belongs to one group")
			}
			owner[t] = g.ID
		}
	}
}

func (c *checker) key(path, key string, before []string) {
	if !keyPattern.MatchString(key) {
		c.bad(path, fmt.Sprintf("%q cannot be a replica key", key), "use up to 16 letters, digits, - and _")
	}
	if slices.Contains(before, key) {
		c.bad(path, fmt.Sprintf("key %s is used twice", key), "each replica has its own key")
	}
}
