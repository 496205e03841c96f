package teardown

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// Preparation is what to have ready and to look after in one visit.
type Preparation struct {
	// Parts are exchanged, Materials used up: isopropanol, swabs, solder.
	Parts     []string `json:"parts,omitempty"`
	Materials []string `json:"materials,omitempty"`
	Tools     []string `json:"tools,omitempty"`
	// Photographs are to be taken before each opening, Connectors to be marked before
	// they are parted.
	Photographs []Photograph `json:"photographs,omitempty"`
	Connectors  []Plug       `json:"connectors,omitempty"`
	Insertions  []Insertion  `json:"insertions,omitempty"`
	// Tests are worth making before what they look into is closed; Power lists the
	// checks before and at the first power after the work, in order.
	Tests    []Trial  `json:"tests,omitempty"`
	Power    []Check  `json:"power,omitempty"`
	Cautions []string `json:"cautions,omitempty"`
}

// Photograph says what to photograph before an opening is made.
type Photograph struct {
	Opening string `json:"opening"`
	Text    string `json:"text"`
}

// Plug is a connector that the visit parts, with both sides.
type Plug struct {
	Connector string   `json:"connector"` // "W5", "CE/3"
	Kind      string   `json:"kind,omitempty"`
	Opening   string   `json:"opening"` // that parts it first
	Keyed     bool     `json:"keyed"`
	Mirrored  bool     `json:"mirrored"`
	Sides     [2]Side  `json:"sides"`
	Mark      string   `json:"mark"` // what to mark, and what would go wrong
	Cautions  []string `json:"cautions,omitempty"`
}

// Side is a connector as seen from one board, pin 1 first.
type Side struct {
	Board string   `json:"board"`
	Name  string   `json:"name"`
	Pins  []string `json:"pins"`
}

// Insertion is the account of one flat cable.
type Insertion struct {
	Connector string `json:"connector"`
	Here      int    `json:"here"`   // in this visit
	SoFar     int    `json:"so_far"` // before it
	Stands    int    `json:"stands"` // of all that it stands
	Told      bool   `json:"told"`   // the definition says so; else common practice, no source
	Over      bool   `json:"over"`   // it stands fewer than it will have had
	Text      string `json:"text"`
}

// UsualInsertions is how often a flat cable is plugged in before it is to be replaced,
// where its definition says nothing. Common practice, no source.
const UsualInsertions = 20

// prepare fills in the preparation of every visit.
func (p *Problem) prepare(visits []Visit) {
	soFar := map[string]int{}
	for k, n := range p.opts.Insertions {
		soFar[k] = n
	}
	open := p.start
	for i := range visits {
		v := &visits[i]
		a := &account{p: p, v: v, start: open}
		a.things()
		a.connectors()
		a.insertions(soFar)
		a.tests()
		a.power()
		a.cautions()
		for _, s := range v.Steps {
			open = p.named(s.Open)
		}
	}
}

// named is the set of openings with these names.
func (p *Problem) named(names []string) set {
	var s set
	for _, n := range names {
		s.add(p.at[n])
	}
	return s
}

// account gathers the preparation of one visit.
type account struct {
	p     *Problem
	v     *Visit
	start set // what is open when it begins
}

// made are the openings that stand open at some time of the visit, in the order in
// which they are made.
func (a *account) made() []*opening {
	var out []*opening
	for i := range a.start.all {
		out = append(out, &a.p.tree[i])
	}
	for _, name := range a.v.Openings {
		if o := &a.p.tree[a.p.at[name]]; !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	return out
}

// things are the parts and tools, and what to photograph.
func (a *account) things() {
	r := &a.v.Preparation
	for _, id := range a.v.Tasks {
		i, _ := a.p.task(id)
		r.Parts = append(r.Parts, a.p.tasks[i].Parts...) // two of a kind are two to have
		for _, m := range a.p.tasks[i].Materials {
			r.Materials = once(r.Materials, m)
		}
		for _, t := range a.p.tasks[i].Tools {
			r.Tools = once(r.Tools, t)
		}
	}
	seen := map[string]bool{}
	for _, name := range a.v.Openings {
		if seen[name] {
			continue
		}
		seen[name] = true
		o := &a.p.tree[a.p.at[name]]
		text := fmt.Sprintf("%s: the screw heads and every screw in its place before it is turned; screws of each length into a cup marked %s", a.p.openingText(o), name)
		if parted := a.p.parted(o); len(parted) > 0 {
			text += fmt.Sprintf("; %s as they sit, pin 1 and the run of each loom in view", strings.Join(parted, ", "))
		}
		if o.of.AfterMin > 0 {
			text += "; the position of all that is set again afterwards: " + o.of.AfterWhy
		}
		r.Photographs = append(r.Photographs, Photograph{name, text})
	}
}

func (a *account) connectors() {
	seen := map[string]bool{}
	for _, o := range a.made() {
		for _, name := range a.p.parted(o) {
			id, _, _ := strings.Cut(name, "/")
			x, ok := a.p.def.Connector(id)
			if !ok || seen[name] {
				continue
			}
			seen[name] = true
			plug := Plug{Connector: name, Kind: x.Kind, Opening: o.name, Keyed: x.Keyed, Mirrored: x.Mirrored,
				Sides: [2]Side{a.p.side(x.A), a.p.side(x.B)}, Cautions: x.Cautions}
			plug.Mark = plug.mark()
			a.v.Preparation.Connectors = append(a.v.Preparation.Connectors, plug)
		}
	}
}

func (p *Problem) side(s machine.ConnectorSide) Side {
	out := Side{Board: s.Board, Pins: s.Pins}
	if b, ok := p.def.Board(s.Board); ok {
		out.Name = b.Name
	}
	return out
}

// mark says how to mark a connector so that it goes back as it was.
func (x *Plug) mark() string {
	a, b := x.Sides[0], x.Sides[1]
	s := fmt.Sprintf("%s: one line across plug and socket, a dot at pin 1 of both sides", x.Connector)
	if len(a.Pins) > 0 && len(b.Pins) > 0 {
		s += fmt.Sprintf(" (pin 1 is %s on %s, %s on %s)", a.Pins[0], a.Board, b.Pins[0], b.Board)
	}
	if !x.Keyed {
		s += "; it is not keyed and goes in both ways"
	}
	if x.Mirrored {
		s += fmt.Sprintf("; it is mirrored: pin n on %s is pin %d%sn on %s", b.Board, len(a.Pins)+1, unit.Minus, a.Board)
	}
	return s + "."
}

// insertions counts how often each flat cable is plugged in again. A cable counts once
// for as long as anything open keeps it parted.
func (a *account) insertions(soFar map[string]int) {
	here := map[string]int{}
	was := a.loose(a.start)
	for _, s := range a.v.Steps {
		now := a.loose(a.p.named(s.Open))
		for c := range was.minus(now).all {
			here[a.p.cables[c]]++
		}
		was = now
	}
	for _, name := range sorted(here) {
		id, _, _ := strings.Cut(name, "/")
		x, _ := a.p.def.Connector(id)
		n := Insertion{Connector: name, Here: here[name], SoFar: soFar[name], Stands: x.Rated, Told: x.Rated > 0}
		source := "by its definition"
		if !n.Told {
			n.Stands, source = UsualInsertions, "common practice, no source"
		}
		soFar[name] += n.Here
		n.Over = soFar[name] > n.Stands
		n.Text = fmt.Sprintf("%s: %d here, %d before, of %d that it stands (%s)", name, n.Here, n.SoFar, n.Stands, source)
		if n.Over {
			n.Text += "; have a new cable at hand"
		}
		a.v.Preparation.Insertions = append(a.v.Preparation.Insertions, n)
	}
}

// loose are the flat cables that are parted.
func (a *account) loose(open set) set {
	var out set
	for i := range open.all {
		for _, c := range a.p.tree[i].cables {
			out.add(c)
		}
	}
	return out
}

// codes stands before all cautions.
const codes = "Local electrical codes, the maker's safety notes and licensed practice come first; where they differ from anything said here, follow them."

func (a *account) cautions() {
	r := &a.v.Preparation
	list := []string{codes}
	for _, o := range a.made() {
		for _, c := range o.of.Cautions {
			list = once(list, c)
		}
	}
	for _, x := range r.Connectors {
		for _, c := range x.Cautions {
			list = once(list, c)
		}
	}
	for _, id := range a.v.Tasks {
		i, _ := a.p.task(id)
		for _, c := range a.p.tasks[i].Cautions {
			list = once(list, c)
		}
	}
	for _, k := range r.Power {
		for _, c := range k.Cautions {
			list = once(list, c)
		}
	}
	if len(list) > 1 {
		r.Cautions = list
	}
}

// once adds what is not there yet.
func once(list []string, s string) []string {
	if slices.Contains(list, s) {
		return list
	}
	return append(list, s)
}
