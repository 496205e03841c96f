package teardown

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

func minutesOf(m float64) unit.Minutes { return unit.Minutes(m) }

// demand is what a task asks of the recorder's state.
type demand struct {
	need, shut set
	cased      bool // one of offers must be open
	offers     set  // openings that give the wanted case state
	power      Power
	cost       int64 // minutes of the task
	later      Cost  // of a visit of its own
	before     []int // tasks that come first
}

// sameState tells whether two tasks ask for the same state.
func (d *demand) sameState(e *demand) bool {
	return d.need == e.need && d.shut == e.shut && d.cased == e.cased && d.offers == e.offers && d.power == e.power
}

// demands resolves every task.
func (c *checker) demands() {
	p := c.p
	p.demands = make([]demand, len(p.tasks))
	for i := range p.tasks {
		t, d := &p.tasks[i], &p.demands[i]
		d.power, d.cost = t.Power, toUnits(t.Minutes)
		for _, n := range t.Needs {
			d.need = d.need.or(p.tree[p.at[n]].chain)
		}
		c.shut(t, d)
		if t.Power == On {
			p.joined(t, d)
		}
		c.caseState(t, d)
		d.later = p.laterVisit(t, d)
	}
}

// shut collects what must be shut, and what hangs on it.
func (c *checker) shut(t *Task, d *demand) {
	p := c.p
	for _, n := range t.Shut {
		o, keys := c.resolve(t.ID, "shut", n)
		if o == nil {
			return
		}
		for _, k := range keys {
			name := o.ID
			if o.Each != "" {
				name += "/" + k
			}
			if i, ok := p.at[name]; ok {
				d.shut = d.shut.or(p.tree[i].behind)
			}
		}
	}
	for i := range d.need.all {
		for r := range p.tree[i].rivals.all {
			d.shut = d.shut.or(p.tree[r].behind)
		}
	}
	for i := range d.need.and(d.shut).all {
		c.bad(t.ID, "shut", fmt.Sprintf("it needs %s open and shut", p.tree[i].name), "take it out of one of them, or make two tasks of it")
		return
	}
}

// caseState turns a wanted case state into openings that must be shut, and openings of
// which one must be open.
func (c *checker) caseState(t *Task, d *demand) {
	if t.Case == "" {
		return
	}
	p, rank := c.p, ranks[t.Case]
	for i := range p.tree {
		if p.tree[i].openness > rank {
			if d.need.has(i) {
				c.bad(t.ID, "case", fmt.Sprintf("it wants the case %s, and %s leaves it %s", t.Case, p.tree[i].name, p.tree[i].of.Case), "want "+p.tree[i].of.Case+", or do not need "+p.tree[i].name)
				return
			}
			d.shut = d.shut.or(p.tree[i].behind)
		}
	}
	if rank == 0 {
		return
	}
	d.cased = true
	makes := false
	for i := range p.tree {
		if p.tree[i].openness == rank && !p.tree[i].chain.meets(d.shut) {
			makes = makes || d.need.has(i)
			// What hangs on another such opening adds nothing to it.
			if !p.within(i, rank) {
				d.offers.add(i)
			}
		}
	}
	if makes {
		d.cased, d.offers = false, set{}
		return
	}
	if d.offers.empty() {
		c.bad(t.ID, "case", fmt.Sprintf("nothing that it leaves open makes the case %s", t.Case), "name an opening that does, or want another case state")
	}
}

// within tells whether something before an opening already gives the case state.
func (p *Problem) within(i, rank int) bool {
	for j := range p.tree[i].chain.all {
		if j != i && p.tree[j].openness == rank {
			return true
		}
	}
	return false
}

// joined adds the openings that would leave a connector parted which the powered work
// passes, or parts on the mains bare. A card on an extender is joined through it, and what a task needs itself it
// is allowed, with a warning.
func (p *Problem) joined(t *Task, d *demand) {
	var live *path
	if t.Function != "" {
		live = p.pathOf(t.Function, t.Key)
	}
	for i := range p.tree {
		o := &p.tree[i]
		if p.bares(o) {
			if d.need.has(i) {
				p.warn = append(p.warn, fmt.Sprintf("%s is done with power on while %s bares parts on the mains: only if local codes let you and you are licensed for it, one hand away, nothing clipped by feel.", t.ID, o.name))
			} else {
				d.shut = d.shut.or(o.behind)
			}
		}
		if o.of.Each != "" {
			continue
		}
		var bars []string
		for _, id := range o.of.Disconnects {
			if x, ok := p.def.Connector(id); ok && (live == nil || live.passes(x)) {
				bars = append(bars, id)
			}
		}
		switch {
		case len(bars) == 0:
		case d.need.has(i):
			p.warn = append(p.warn, fmt.Sprintf("%s is done with power on while %s leaves %s parted: insulate what hangs free, or join it by a lead that reaches.", t.ID, o.name, strings.Join(bars, ", ")))
		default:
			d.shut = d.shut.or(o.behind)
		}
	}
}

// bares tells whether an opening bares parts on the mains: in a class I recorder, where
// the supply is reached or worked on. Common practice, no source.
func (p *Problem) bares(o *opening) bool {
	if p.def.Supply.Class != "I" {
		return false
	}
	return slices.ContainsFunc(p.def.Stages, func(s machine.Stage) bool {
		b, ok := p.def.Board(s.Board)
		return s.Kind == "supply" && ok && (b.Opening == o.of.ID || b.Work == o.of.ID)
	})
}

// laterVisit is what the task costs in a visit of its own, from closed to closed.
func (p *Problem) laterVisit(t *Task, d *demand) Cost {
	need := d.need
	if d.cased {
		var best set
		for i := range d.offers.all {
			if best.empty() || p.around(p.tree[i].chain.minus(need)) < p.around(best.minus(need)) {
				best = p.tree[i].chain
			}
		}
		need = need.or(best)
	}
	c := Cost{Tasks: t.Minutes}
	if t.LaterMinutes > 0 {
		c.Tasks = t.LaterMinutes
	}
	for i := range need.all {
		o := p.tree[i].of
		c.Opening += minutesOf(o.DownMin)
		c.Closing += minutesOf(o.UpMin)
		c.Realignment += minutesOf(o.AfterMin)
	}
	return c
}

// around is what opening and closing all of a set costs.
func (p *Problem) around(s set) int64 {
	var sum int64
	for i := range s.all {
		sum += p.tree[i].cycle()
	}
	return sum
}

// path is what a function passes: what must be whole for it to be tried.
type path struct {
	def    *machine.Definition
	boards map[string]bool
	supply map[string]bool // boards with the recorder's supply
	moving map[string]bool // boards with what turns, where the tape must run
}

// turning are the kinds of stages that move the tape.
var turning = []string{"motor", "servo", "belt", "roller", "brake", "sensor"}

// pathOf is the path of a function's replica; nil where there is none.
func (p *Problem) pathOf(function, key string) *path {
	stages, err := p.def.Path(function, key)
	f, ok := p.def.Function(function)
	if err != nil || !ok {
		return nil
	}
	out := &path{def: p.def, boards: map[string]bool{}, supply: map[string]bool{}, moving: map[string]bool{}}
	for _, in := range stages {
		out.boards[in.Stage.Board] = true
	}
	runs := slices.ContainsFunc(f.Modes, func(m string) bool { return m != "stop" })
	for i := range p.def.Stages {
		s := &p.def.Stages[i]
		if s.Kind == "supply" {
			out.supply[s.Board] = true
		}
		if runs && slices.Contains(turning, s.Kind) {
			out.moving[s.Board] = true
		}
	}
	return out
}

// passes tells whether the function cannot be tried while a connector is parted: it
// joins two boards of the path, carries the supply (a live plug would hang free), or
// runs the transport.
func (p *path) passes(x *machine.Connector) bool {
	return p.joins(x) || p.supply[x.A.Board] || p.supply[x.B.Board]
}

// joins tells whether the function runs over a connector.
func (p *path) joins(x *machine.Connector) bool {
	a, b := x.A.Board, x.B.Board
	return p.boards[a] && p.boards[b] || p.moving[a] || p.moving[b]
}

func boardIDs(def *machine.Definition) []string {
	var out []string
	for _, b := range def.Boards {
		out = append(out, b.ID)
	}
	return out
}
