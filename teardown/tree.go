package teardown

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// opening is one edge of the teardown tree for one replica.
type opening struct {
	name            string // "lid", "extender/3"
	key             string
	of              *machine.Opening
	parent          int   // in the tree, -1 for none
	down, up, after int64 // millionths of a minute
	chain           set   // itself and all before it
	behind          set   // itself and all that hangs on it
	rivals          set   // replicas of which only one is open at a time
	cables          []int // flat cables that it parts
	openness        int   // rank of its case state
}

// shutting is what closing costs, with the realignment that follows.
func (o *opening) shutting() int64 { return o.up + o.after }

// cycle is what opening and closing again costs.
func (o *opening) cycle() int64 { return o.down + o.up + o.after }

// ranks of the case states: that of the recorder is the highest of what is open.
var ranks = map[string]int{"closed": 0, "propped": 1, "open": 2}

// resolve splits "extender/3" and finds the opening; the keys are those meant, all of
// them where a repeating opening is named alone.
func (c *checker) resolve(task, field, name string) (*machine.Opening, []string) {
	def := c.p.def
	id, key, given := strings.Cut(name, "/")
	o, ok := def.Opening(id)
	if !ok {
		var known []string
		for _, o := range def.Openings {
			known = append(known, o.ID)
		}
		c.bad(task, field, fmt.Sprintf("opening %s is not defined", id), didYouMean(id, known))
		return nil, nil
	}
	keys := def.ReplicaKeys(o.Each)
	switch {
	case o.Each == "" && given:
		c.bad(task, field, fmt.Sprintf("opening %s does not repeat", id), "write "+id)
		return nil, nil
	case given && !slices.Contains(keys, key):
		c.bad(task, field, fmt.Sprintf("opening %s has no %s %q", id, o.Each, key), "one of "+listed(keys))
		return nil, nil
	case given:
		return o, []string{key}
	case o.Each != "" && field != "shut":
		c.bad(task, field, fmt.Sprintf("opening %s repeats over %s", id, o.Each), fmt.Sprintf("say which: %s/%s", id, keys[0]))
		return nil, nil
	}
	return o, keys
}

// plant makes the part of the teardown tree that the tasks can want.
func (c *checker) plant() {
	p := c.p
	wanted := map[string]bool{}
	for _, t := range p.tasks {
		for _, n := range t.Needs {
			if o, keys := c.resolve(t.ID, "needs", n); o != nil {
				p.grow(c, t.ID, o, keys[0])
			}
		}
		for _, n := range t.Shut {
			c.resolve(t.ID, "shut", n)
		}
		if t.Case != "" && t.Case != "closed" {
			wanted[t.Case] = true
		}
	}
	for _, n := range p.opts.Open {
		if o, keys := c.resolve("", "open", n); o != nil {
			if i := p.grow(c, "", o, keys[0]); i >= 0 {
				p.start = p.start.or(p.tree[i].chain)
			}
		}
	}
	for i := range p.def.Openings {
		if o := &p.def.Openings[i]; wanted[o.Case] {
			for _, k := range p.def.ReplicaKeys(o.Each) {
				p.grow(c, "", o, k)
			}
		}
	}
	for _, id := range p.opts.Together {
		if _, ok := p.def.Opening(id); !ok {
			c.resolve("", "together", id)
		}
	}
	p.relate()
}

// grow adds an opening and those before it; -1 where they cannot be told.
func (p *Problem) grow(c *checker, task string, o *machine.Opening, key string) int {
	name := o.ID
	if o.Each != "" {
		name += "/" + key
	}
	if i, ok := p.at[name]; ok {
		return i
	}
	parent := -1
	if o.From != machine.Closed {
		if p.def.OpeningChain(o.ID) == nil {
			c.bad(task, "needs", fmt.Sprintf("the way back from opening %s does not end at the closed recorder", o.ID), "mend the definition: each opening's from must lead to closed")
			return -1
		}
		from, _ := p.def.Opening(o.From)
		fromKey, ok := p.keyBefore(from, o, key)
		if !ok {
			c.bad(task, "needs", fmt.Sprintf("opening %s does not say which %s of %s it is behind", o.ID, from.Each, from.ID), "let both repeat over the same set")
			return -1
		}
		if parent = p.grow(c, task, from, fromKey); parent < 0 {
			return -1
		}
	}
	if len(p.tree) == most {
		c.bad(task, "needs", fmt.Sprintf("more than %d openings are wanted", most), "plan fewer tasks at a time")
		return -1
	}
	i := len(p.tree)
	n := opening{name: name, key: key, of: o, parent: parent, openness: ranks[o.Case],
		down: toUnits(minutesOf(o.DownMin)), up: toUnits(minutesOf(o.UpMin)), after: toUnits(minutesOf(o.AfterMin))}
	if parent >= 0 {
		n.chain = p.tree[parent].chain
	}
	n.chain.add(i)
	p.tree = append(p.tree, n)
	p.at[name] = i
	return i
}

// keyBefore is the replica of from that a replica of o is behind.
func (p *Problem) keyBefore(from, o *machine.Opening, key string) (string, bool) {
	switch from.Each {
	case "":
		return "", true
	case o.Each:
		return key, true
	case machine.EachGroup:
		track, err := strconv.Atoi(key)
		g, ok := p.def.GroupOf(track)
		return g.ID, o.Each == machine.EachTrack && err == nil && ok
	}
	return "", false
}

// relate fills in what hangs on what, which replicas exclude each other, and which
// flat cables are parted.
func (p *Problem) relate() {
	together := map[string]bool{}
	for _, id := range p.opts.Together {
		together[id] = true
	}
	sides := []set{p.start}
	for _, t := range p.tasks {
		var need set
		for _, n := range t.Needs {
			if i, ok := p.at[n]; ok {
				need = need.or(p.tree[i].chain)
			}
		}
		sides = append(sides, need)
	}
	for _, need := range sides {
		replicas := map[string]int{}
		for i := range need.all {
			id := p.tree[i].of.ID
			replicas[id]++
			together[id] = together[id] || replicas[id] > 1
		}
	}
	for i := range p.tree {
		o := &p.tree[i]
		for j := range o.chain.all {
			p.tree[j].behind.add(i)
		}
		for j := range p.tree {
			if j != i && o.of.Each != "" && o.of.ID == p.tree[j].of.ID && !together[o.of.ID] {
				o.rivals.add(j)
			}
		}
		for _, name := range p.parted(o) {
			id, _, _ := strings.Cut(name, "/")
			if x, _ := p.def.Connector(id); !flat(x) {
				continue
			}
			k := slices.Index(p.cables, name)
			if k < 0 {
				k = len(p.cables)
				p.cables = append(p.cables, name)
			}
			o.cables = append(o.cables, k)
		}
	}
}

// parted are the connectors that an opening parts, "CE/3" where they repeat as it does.
func (p *Problem) parted(o *opening) []string {
	var out []string
	for _, id := range o.of.Disconnects {
		x, ok := p.def.Connector(id)
		switch {
		case !ok:
		case x.Each == "":
			out = append(out, id)
		case x.Each == o.of.Each:
			out = append(out, id+"/"+o.key)
		default:
			for _, k := range p.def.ReplicaKeys(x.Each) {
				out = append(out, id+"/"+k)
			}
		}
	}
	return out
}

// flat tells whether a connector is of the kind that only stands so many insertions.
func flat(x *machine.Connector) bool {
	return x.Rated > 0 || strings.Contains(x.Kind, "flat") || strings.Contains(x.Kind, "ribbon")
}
