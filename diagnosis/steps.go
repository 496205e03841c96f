package diagnosis

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/plan"
	"headstack/unit"
)

// finish fills in what a step costs from here, what it may show, and, unless only a
// program reads it, what a person needs.
func (g *planning) finish(i int, a *plan.Action, outcomes []float64) Step {
	c := &g.stepOf[i]
	s := c.step
	if s.Kind != StepClose {
		closing, opening, minutes := g.access(a.Cover, a.Shut)
		s.Close, s.Open = closing, opening
		s.Minutes += unit.Minutes(minutes)
		if len(opening) > 0 {
			s.Opening = opening[len(opening)-1]
		}
	}
	s.Predicts = []Prediction{}
	switch {
	case c.outcome != nil:
		for k, p := range outcomes {
			if p >= 0.005 {
				s.Predicts = append(s.Predicts, Prediction{c.outcome(k), p})
			}
		}
		slices.SortStableFunc(s.Predicts, func(x, y Prediction) int { return cmp.Compare(y.Probability, x.Probability) })
	case a.To != nil:
		p := g.cures(a)
		s.Predicts = append(s.Predicts, Prediction{"cured", p}, Prediction{"still faulty", 1 - p})
	}
	s.Cautions = []string{}
	if !g.now.Brief {
		g.describe(c, &s, a)
	}
	return s
}

// cures is the probability that everything is right after a work.
func (g *planning) cures(a *plan.Action) float64 {
	p := 0.0
	for i := range g.states {
		for _, m := range a.To[i] {
			if m.State == 0 {
				p += g.states[i].p * m.P
			}
		}
	}
	return p
}

// describe writes the step for a person.
func (g *planning) describe(c *candidate, s *Step, a *plan.Action) {
	e := g.e
	openingCautions := g.openingCautions(s)
	switch s.Kind {
	case StepCheck, StepProvoke:
		f, _ := e.def.Function(s.Function)
		s.Text = "Try " + s.Function
		if it := item(f, s.Key); it != "" {
			s.Text += " on " + it
		}
		s.Text += ": " + f.Name
		switch {
		case s.Kind == StepProvoke:
			s.Text += ", while pressing, flexing and tapping lightly along its path; strike ever lighter where it answers"
		case s.Again:
			s.Text += " again: what comes and goes is not cleared by one look"
		}
		s.Text += "."
		s.Cautions = append(s.Cautions, openingCautions...)
		if s.Kind == StepProvoke {
			s.Cautions = append(s.Cautions, "Press with something that does not conduct, and keep clear of mains and of bias and erase nodes.")
		}
	case StepReading:
		g.describeReading(c, s, openingCautions)
	case StepRepair, StepClean:
		g.describeWork(s, openingCautions)
	case StepSwap:
		s.Text = fmt.Sprintf("Exchange card %s of track %s with that of track %s, try %s on both, exchange them back and try again: the exchange itself reseats contacts and cures some.",
			g.boardOf(s.Stage), s.Key, s.With, s.Function)
		s.Cautions = append(s.Cautions, openingCautions...)
		if t, ok := machine.StandardCaution("unplug"); ok {
			s.Cautions = append(s.Cautions, t)
		}
	case StepClose:
		s.Text = "Put it together and try in the state in which it failed what did not work."
		if len(s.Close) == 0 {
			s.Text = "Nothing more to find: try once more what did not work, then line it up."
		}
		s.Cautions = append(s.Cautions, "Before power: every plug on its marked side, no lead pinched, nothing left inside.")
	}
	s.Why = g.why(c, s)
	if len(s.Close) > 0 && s.Kind != StepClose {
		s.Text += " First put back: " + strings.Join(s.Close, ", ") + "."
	}
}

func (g *planning) openingCautions(s *Step) []string {
	var out []string
	for _, id := range s.Open {
		name, _, _ := strings.Cut(id, "/")
		if o, ok := g.e.def.Opening(name); ok {
			for _, x := range o.Cautions {
				if !slices.Contains(out, x) {
					out = append(out, x)
				}
			}
		}
	}
	return out
}

func (g *planning) describeReading(c *candidate, s *Step, cautions []string) {
	e, r := g.e, c.reader
	tp, want := r.tp, g.e.def.Expected(r.tp, r.key)
	s.Where = e.whereIs(tp, r.key)
	s.Cautions = append(s.Cautions, e.cautionsAt(tp, cautions)...)
	if s.ToneHz == tp.ToneHz {
		s.Expect = quantity(want.Value, want.Unit)
		if db := 2 * want.SDDB(); db > 0 && !dc(tp) {
			s.Expect += fmt.Sprintf(" ± %.2g dB", db)
		} else if db > 0 {
			s.Expect += fmt.Sprintf(" ± %.2g %%", 200*want.SDLn)
		}
		s.Text = fmt.Sprintf("Read %s (%s expected): %s", r.name(), quantity(want.Value, want.Unit), tp.Name)
		if tp.Mode != "" {
			s.Text += "; " + tp.Mode
		}
		if tp.Instrument != "" {
			s.Text += "; " + tp.Instrument
		}
		s.Text += "."
		return
	}
	if len(s.Siblings) == 0 {
		s.Text = fmt.Sprintf("Read %s with %s, same meter and range: it should agree with its siblings.", r.name(), tone(s.ToneHz))
		s.Expect = fmt.Sprintf("within about %.1f dB of its siblings", 2*r.spreadDB)
		return
	}
	name := pointName(e.def, tp, s.Siblings[0])
	s.Expect = fmt.Sprintf("within about %.1f dB of %s", 2*r.spreadDB, name)
	s.Text = fmt.Sprintf("Read %s and %s with %s, same meter and range: they should agree.", r.name(), name, tone(s.ToneHz))
}

// describeWork says what to do by the most probable fault mode.
func (g *planning) describeWork(s *Step, cautions []string) {
	def := g.e.def
	in := machine.Instance{Key: s.Key}
	in.Stage, _ = def.Stage(s.Stage)
	c := g.p.comp[in]
	var list []ModeP
	for k, at := range g.p.model.components[c].atoms {
		m := g.e.atlas.modes[in.Stage][at.mode]
		if i := slices.IndexFunc(list, func(x ModeP) bool { return x.Cause == m.Cause }); at.effect.until == 0 {
			if i < 0 {
				i = len(list)
				list = append(list, ModeP{Mode: m.Mode, Cause: m.Cause})
			}
			list[i].P += g.a.post.fault[c][k]
		}
	}
	slices.SortStableFunc(list, func(x, y ModeP) int { return cmp.Compare(y.P, x.P) })
	s.Text = fmt.Sprintf("Clean or exercise %s (%s).", in.Part(), in.Stage.Name)
	if s.Kind == StepRepair {
		s.Text = fmt.Sprintf("Repair %s (%s)", in.Part(), in.Stage.Name)
		for _, m := range g.e.atlas.modes[in.Stage] {
			if len(list) > 0 && m.Cause == list[0].Cause {
				s.Text += ": probably " + m.Cause + "; " + m.Cure
			}
		}
		s.Text += "."
	}
	b, ok := def.Board(in.Stage.Board)
	if ok && b.Place != "" {
		s.Where = fmt.Sprintf("%s (%s)", b.ID, b.Place)
	}
	s.Cautions = append(s.Cautions, cautions...)
	add := func(name string) {
		if t, ok := machine.StandardCaution(name); ok && !slices.Contains(s.Cautions, t) {
			s.Cautions = append(s.Cautions, t)
		}
	}
	add("unplug")
	if s.Kind == StepClean {
		add("solvent")
	} else if g.e.def.WorkOpening(in.Stage) != b.Opening || in.Stage.Kind == "supply" || in.Stage.Kind == "regulator" {
		add("solder")
	}
	if in.Stage.Kind == "supply" || in.Stage.Kind == "regulator" || in.Stage.Kind == "electrolytic" {
		add("capacitors")
	}
	if in.Stage.Kind == "head" || in.Stage.Kind == "erase-head" {
		add("demagnetise")
	}
}

func (g *planning) boardOf(stage string) string {
	s, ok := g.e.def.Stage(stage)
	if !ok {
		return ""
	}
	return s.Board
}

// why says what a step would tell apart or cure.
func (g *planning) why(c *candidate, s *Step) string {
	on := map[int]bool{}
	g.p.look = afterAll(Unprovoked)
	for _, in := range c.path {
		if x, ok := g.p.comp[g.p.placed(in)]; ok {
			on[x] = true
		}
	}
	suspects := g.suspects()
	var sees, not []string
	for _, x := range suspects[:min(len(suspects), 6)] {
		if on[x] {
			sees = append(sees, g.p.seen[x].Part())
		} else {
			not = append(not, g.p.seen[x].Part())
		}
	}
	switch {
	case s.Kind == StepRepair || s.Kind == StepClean:
		p := 0.0
		x := g.p.comp[c.path[0]]
		for i := range g.states {
			if slices.Contains(g.states[i].comps, x) {
				p += g.states[i].p
			}
		}
		return fmt.Sprintf("It is at fault with %s; after it everything works with %s.", unit.Probability(p), unit.Probability(s.Predicts[0].Probability))
	case s.Kind == StepClose:
		return fmt.Sprintf("Everything works with %s.", unit.Probability(g.states[0].p))
	case s.Kind == StepSwap:
		return fmt.Sprintf("What goes with the card is on it: %s.", strings.Join(sees, ", "))
	case (s.Kind == StepCheck || s.Kind == StepProvoke) && len(not) == 0:
		return "It tells whether anything is left of " + listed(sees) + "."
	case len(sees) == 0:
		return "It tells what is normal for a sibling."
	case len(not) == 0:
		return fmt.Sprintf("It sees %s: how far off it is tells them apart.", strings.Join(sees, ", "))
	}
	return fmt.Sprintf("It sees %s but not %s: right clears the former, wrong the latter.", strings.Join(sees, ", "), strings.Join(not, ", "))
}
