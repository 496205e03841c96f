package trial

import (
	"slices"

	"headstack/machine"
	"headstack/measure"
)

func (t *technician) pay(minutes float64) { t.out.Minutes += minutes }

// reachPart opens the recorder as far as changing a stage needs.
func (t *technician) reachPart(stage, key string) {
	if s, ok := t.m.Def.Stage(stage); ok {
		t.reach(t.m.Def.WorkOpening(s), key)
	}
}

// reachBoard opens the recorder as far as touching a stage's board needs.
func (t *technician) reachBoard(stage, key string) {
	s, _ := t.m.Def.Stage(stage)
	if b, ok := t.m.Def.Board(s.Board); ok {
		t.reach(b.Opening, key)
	}
}

// reachSlot opens the recorder as far as exchanging the stage's card needs: a card is
// drawn from its slot, not worked on.
func (t *technician) reachSlot(stage, key string) {
	s, _ := t.m.Def.Stage(stage)
	b, ok := t.m.Def.Board(s.Board)
	if o, each := t.m.Def.Opening(b.Opening); ok && each && o.Each != "" {
		t.close(o.ID)
		t.reach(o.From, key)
		return
	}
	t.reachPart(stage, key)
}

// reach makes the openings on the way to one that are not open yet. Of an opening that
// repeats, one replica is open at a time.
func (t *technician) reach(id, key string) {
	for _, o := range t.m.Def.OpeningChain(id) {
		want := opened{o.ID, ""}
		if o.Each != "" {
			want.key = key
		}
		if slices.Contains(t.open, want) {
			continue
		}
		t.close(o.ID)
		t.pay(o.DownMin)
		t.out.Openings++
		t.open = append(t.open, want)
		t.tell("%s opens %s %s", t.clock(), o.Name, want.key)
	}
}

// power puts back what the recorder cannot run without: openings that part connectors,
// but for a card on its extender and those at which the measuring is done.
func (t *technician) power(at string) {
	own := t.m.Def.OpeningChain(at)
	for i := len(t.open) - 1; i >= 0; i-- {
		if i >= len(t.open) {
			continue // closed with one before it
		}
		o, _ := t.m.Def.Opening(t.open[i].id)
		if len(o.Disconnects) > 0 && o.Each == "" && !slices.Contains(own, o) {
			t.close(o.ID)
		}
	}
}

// close puts an opening back, and first what was opened from it.
func (t *technician) close(id string) {
	if !slices.ContainsFunc(t.open, func(o opened) bool { return o.id == id }) {
		return
	}
	for i := len(t.open) - 1; i >= 0; i-- {
		chain := t.m.Def.OpeningChain(t.open[i].id)
		at := slices.IndexFunc(chain, func(o *machine.Opening) bool { return o.ID == id })
		if at < 0 {
			continue
		}
		last := chain[len(chain)-1]
		t.pay(last.UpMin + last.AfterMin)
		t.open = slices.Delete(t.open, i, i+1)
		t.tell("%s closes %s", t.clock(), last.Name)
	}
}

// openIDs are the openings that are open, as the advisor names them.
func (t *technician) openIDs() []string {
	var out []string
	for _, o := range t.open {
		if o.key != "" {
			o.id += "/" + o.key
		}
		out = append(out, o.id)
	}
	return out
}

// caseState is the most open state that the openings make.
func (t *technician) caseState() measure.CaseState {
	state := measure.CaseClosed
	for _, x := range t.open {
		o, _ := t.m.Def.Opening(x.id)
		switch measure.CaseState(o.Case) {
		case measure.CaseOpen:
			return measure.CaseOpen
		case measure.CasePropped:
			state = measure.CasePropped
		}
	}
	return state
}
