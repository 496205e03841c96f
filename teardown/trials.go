package teardown

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// Trial is a function to try before something is put back.
type Trial struct {
	Function string   `json:"function"`
	Keys     []string `json:"keys,omitempty"` // replicas whose path passes what was touched
	// Before is the opening that is closed next; empty where the function can only be
	// tried with everything closed. Case is the case state then.
	Before  string       `json:"before,omitempty"`
	Case    string       `json:"case"`
	Minutes unit.Minutes `json:"minutes"`
	Text    string       `json:"text"`
}

// Check is one thing to look at before or at the first power after the work.
type Check struct {
	Text string `json:"text"`
	// The rest is there for a rail that is read.
	TestPoint string       `json:"test_point,omitempty"`
	Board     string       `json:"board,omitempty"`
	Connector string       `json:"connector,omitempty"`
	Pin       string       `json:"pin,omitempty"`
	Expect    string       `json:"expect,omitempty"`
	Before    string       `json:"before,omitempty"` // read it before this opening is closed
	Minutes   unit.Minutes `json:"minutes,omitempty"`
	Cautions  []string     `json:"cautions,omitempty"`
}

// moment is a state on the way to closed, and what is put back next.
type moment struct {
	open set
	next string
}

// closing are the states from the last work on, as one opening after the other is put
// back.
func (a *account) closing() []moment {
	last := -1
	open := a.start
	for i, s := range a.v.Steps {
		if s.Do == DoTask || s.Do == DoOpen {
			last = i
			open = a.p.named(s.Open)
		}
	}
	var out []moment
	for _, s := range a.v.Steps[last+1:] {
		if s.Do == DoClose {
			out = append(out, moment{open, s.Opening})
			open = a.p.named(s.Open)
		}
	}
	return append(out, moment{open: open})
}

// whole tells whether a function can be tried in a state: nothing parts what it passes.
func (a *account) whole(f *path, open set) bool {
	for i := range open.all {
		o := &a.p.tree[i]
		if o.of.Each != "" {
			continue // a card on an extender is joined through it
		}
		for _, id := range o.of.Disconnects {
			if x, ok := a.p.def.Connector(id); ok && f.passes(x) {
				return false
			}
		}
	}
	return true
}

// bare tells whether parts on the mains are bare.
func (a *account) bare(open set) bool {
	for i := range open.all {
		if a.p.bares(&a.p.tree[i]) {
			return true
		}
	}
	return false
}

// caseOf is the case state of what is open.
func (p *Problem) caseOf(open set) string {
	rank := 0
	for i := range open.all {
		rank = max(rank, p.tree[i].openness)
	}
	return []string{"closed", "propped", "open"}[rank]
}

// place is a board, of one replica where it repeats.
type place struct{ board, key string }

// touched are the boards that the visit worked on.
func (a *account) touched() map[place]bool {
	out := map[place]bool{}
	add := func(board, key string) {
		b, ok := a.p.def.Board(board)
		switch {
		case !ok:
		case b.Each == "":
			out[place{board, ""}] = true
		case key != "":
			out[place{board, key}] = true
		default:
			for _, k := range a.p.def.ReplicaKeys(b.Each) {
				out[place{board, k}] = true
			}
		}
	}
	for _, id := range a.v.Tasks {
		i, _ := a.p.task(id)
		for _, b := range a.p.tasks[i].Boards {
			add(b, "")
		}
		if len(a.p.tasks[i].Boards) > 0 {
			continue
		}
		for _, o := range a.p.innermost(i) {
			for _, b := range a.p.def.Boards {
				if at := b.Work; at == a.p.tree[o].of.ID || at == "" && b.Opening == a.p.tree[o].of.ID {
					add(b.ID, a.p.tree[o].key)
				}
			}
		}
	}
	return out
}

// tests lists the functions whose path passes what was worked on or parted, each at the earliest
// moment of closing at which it can be tried.
func (a *account) tests() {
	if len(a.made()) == 0 {
		return
	}
	touched, moments := a.touched(), a.closing()
	at := map[string]int{}
	r := &a.v.Preparation
	for i := range a.p.def.Functions {
		f := &a.p.def.Functions[i]
		if f.CheckMinutes <= 0 {
			continue
		}
		for _, key := range a.p.def.ReplicaKeys(f.Each) {
			live := a.p.pathOf(f.ID, key)
			if live == nil || !a.passes(f, key, touched) && !a.replugged(live, f, key) {
				continue
			}
			k := slices.IndexFunc(moments, func(m moment) bool { return a.whole(live, m.open) && !a.bare(m.open) })
			if k < 0 {
				continue
			}
			group := fmt.Sprint(f.ID, k)
			n, ok := at[group]
			if !ok {
				n = len(r.Tests)
				at[group] = n
				r.Tests = append(r.Tests, Trial{Function: f.ID, Before: moments[k].next, Case: a.p.caseOf(moments[k].open)})
			}
			if key != "" {
				r.Tests[n].Keys = append(r.Tests[n].Keys, key)
			}
			r.Tests[n].Minutes += minutesOf(f.CheckMinutes)
		}
	}
	for i := range r.Tests {
		t := &r.Tests[i]
		f, _ := a.p.def.Function(t.Function)
		t.Text = f.Name
		if len(t.Keys) > 0 {
			t.Text += ", " + f.Each + " " + strings.Join(t.Keys, ", ")
		}
		if t.Before != "" {
			t.Text += ": before " + t.Before + " is put back"
		} else {
			t.Text += ": when all is closed"
		}
	}
}

// passes tells whether the path of a function's replica runs over what was touched.
func (a *account) passes(f *machine.Function, key string, touched map[place]bool) bool {
	stages, err := a.p.def.Path(f.ID, key)
	return err == nil && slices.ContainsFunc(stages, func(in machine.Instance) bool {
		return touched[place{in.Stage.Board, ""}] || touched[place{in.Stage.Board, in.Key}]
	})
}

// replugged tells whether a function's replica runs over a connector that was parted.
func (a *account) replugged(live *path, f *machine.Function, key string) bool {
	for _, o := range a.made() {
		if o.of.Each != "" && o.of.Each == f.Each && o.key != key {
			continue // the card of another replica
		}
		for _, id := range o.of.Disconnects {
			if x, ok := a.p.def.Connector(id); ok && live.joins(x) {
				return true
			}
		}
	}
	return false
}

// power lists what to look at before power is applied after an opening that bares or
// parts anything.
func (a *account) power() {
	bared := slices.ContainsFunc(a.made(), func(o *opening) bool { return o.openness > 0 || len(o.of.Disconnects) > 0 })
	if !bared {
		return
	}
	r := &a.v.Preparation
	list := []Check{{Text: "Nothing left inside: tools, screws, clippings and swabs counted against the cups and the photographs."}}
	for _, x := range r.Connectors {
		list = append(list, Check{Text: fmt.Sprintf("%s seated on both sides, %s and %s, mark to mark, no pin beside its place.", x.Connector, x.Sides[0].Board, x.Sides[1].Board), Connector: x.Connector})
	}
	list = append(list, Check{Text: "First power through a current limiter or a lamp, a hand near the switch, the rails watched for a minute; off at once if the current does not settle."})
	rails := a.rails()
	if len(rails) == 0 {
		rails = []Check{{Text: "No rail is within reach in this visit: watch the supply current alone."}}
	}
	r.Power = append(list, rails...)
}

// rails are the test points that read a supply: nothing but supply and regulators
// before them, in volts; each at the earliest moment at which it is bare and whole.
func (a *account) rails() []Check {
	var out []Check
	for i := range a.p.def.TestPoints {
		tp := &a.p.def.TestPoints[i]
		if tp.Expect.Unit != "V" {
			continue
		}
		for _, key := range a.p.def.ReplicaKeys(tp.Each) {
			stages, err := a.p.def.TestPointPath(tp, key)
			if err != nil || len(stages) == 0 || slices.ContainsFunc(stages, func(in machine.Instance) bool {
				return in.Stage.Kind != "supply" && in.Stage.Kind != "regulator"
			}) {
				continue
			}
			if c, ok := a.rail(tp, key); ok {
				out = append(out, c)
			}
		}
	}
	return out
}

func (a *account) rail(tp *machine.TestPoint, key string) (Check, bool) {
	b, ok := a.p.def.Board(tp.Board)
	if !ok {
		return Check{}, false
	}
	f, _ := a.p.def.Function(tp.Function)
	fkey := ""
	if f.Each == tp.Each {
		fkey = key
	}
	live := a.p.pathOf(f.ID, fkey)
	for _, m := range a.closing() {
		i, planted := a.p.at[b.Opening]
		reached := b.Opening == machine.Closed || planted && m.open.has(i)
		if !reached || live != nil && !a.whole(live, m.open) {
			continue
		}
		c := Check{TestPoint: tp.ID, Board: tp.Board, Connector: tp.Connector, Pin: a.p.def.Designator(tp.Pin, tp.Each, key),
			Expect: a.p.def.ExpectText(tp, key), Before: m.next, Minutes: minutesOf(tp.Minutes), Cautions: tp.Cautions}
		if mains, ok := machine.StandardCaution("mains"); ok && a.bare(m.open) {
			c.Cautions = once(slices.Clone(c.Cautions), mains)
		}
		where := "on " + tp.Board
		if tp.Connector != "" {
			where = fmt.Sprintf("at %s pin %s, %s side", tp.Connector, c.Pin, tp.Board)
		}
		c.Text = fmt.Sprintf("%s: %s %s, %s", tp.Name, c.Expect, where, tp.Instrument)
		if tp.Mode != "" {
			c.Text += "; " + tp.Mode
		}
		if m.next != "" {
			c.Text += ": before " + m.next + " is put back"
		}
		return c, true
	}
	return Check{}, false
}
