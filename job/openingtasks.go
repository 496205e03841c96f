package job

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"headstack/diagnosis"
	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
	"headstack/teardown"
	"headstack/unit"
)

const (
	// sureFault is the probability from which a suspect is cured in the next opening without
	// more ado; below it and from mayFault on it is worth curing if that shortens the whole.
	// Common practice, no source.
	sureFault, mayFault = 0.8, 0.05
	// stepMinutes is what one trim takes: to find it, to turn, to read again. Common
	// practice, no source; from it times follow with the usual spread.
	stepMinutes = 3
	// leastChance is the chance of a preventive work below which it is not worth a line.
	leastChance = 0.01
)

// taskMaker makes tasks of what the record asks for.
type taskMaker struct {
	v *View // with the definition as closed jobs taught it
	// spreads are those of minutes that closed jobs tell, by stage and cause.
	spreads map[[2]string]float64
	tasks   []teardown.Task
}

// opening names an opening for a replica: "extender/3" where it repeats.
func (m *taskMaker) opening(id, each, key string) string {
	o, ok := m.v.Def.Opening(id)
	if !ok {
		return ""
	}
	switch {
	case o.Each == "":
		return id
	case o.Each == each:
		return id + "/" + key
	case o.Each == machine.EachGroup:
		if n, err := strconv.Atoi(key); err == nil {
			if g, ok := m.v.Def.GroupOf(n); ok {
				return id + "/" + g.ID
			}
		}
	}
	return id + "/" + m.v.Def.ReplicaKeys(o.Each)[0] // any of them: it is reached at each
}

func needs(openings ...string) []string {
	var out []string
	for _, o := range openings {
		if o != "" && !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	return out
}

// fixes are cures of suspects: of those that are surely at fault, of the one that the
// advice would cure next, and of others where that is worth it while inside.
func (m *taskMaker) fixes(a *diagnosis.Advice) {
	next := diagnosis.Step{}
	if len(a.Actions) > 0 && a.Actions[0].Kind == diagnosis.StepRepair {
		next = a.Actions[0]
	}
	for _, s := range a.Suspects {
		st, ok := m.v.Def.Stage(s.Stage)
		if !ok || s.Probability < mayFault {
			continue
		}
		minutes, cure := 0.0, ""
		_, modes := m.v.Def.FaultModes(st)
		for _, mode := range modes {
			if minutes == 0 || mode.Mode == s.Mode && mode.Cause == s.Cause {
				minutes, cure = mode.CureMin, mode.Cure
			}
		}
		t := teardown.Task{ID: "fix " + s.Part, Kind: teardown.Fix, Power: teardown.Off, Minutes: unit.Minutes(minutes), Boards: boards(st.Board),
			Spread: m.spreads[[2]string{s.Stage, s.Cause}], Materials: materials(cure),
			Needs: needs(m.opening(m.v.Def.WorkOpening(st), st.Each, s.Track)),
			Text:  fmt.Sprintf("%s: %s (at fault with %s, %s)", s.Part, orElse(cure, "repair or replace"), unit.Probability(s.Probability), orElse(s.Cause, string(s.Mode)))}
		if exchanges(cure) {
			t.Parts = []string{s.Part}
		}
		if s.Probability < sureFault && !(s.Stage == next.Stage && s.Track == next.Key) {
			t.Optional, t.Chance = true, s.Probability
		}
		m.tasks = append(m.tasks, t)
	}
}

// exchanges tells a cure for which a new part must be at hand, also one that falls back on
// it. A cure that is not told asks for one.
func exchanges(cure string) bool {
	return cure == "" || anyOf(cure, "replace", "renew", "new")
}

// materials are what a cure uses up. Common practice, no source.
func materials(cure string) (out []string) {
	if anyOf(cure, "clean", "isopropanol") && !anyOf(cure, "cleaner") {
		out = append(out, "isopropanol", "lint-free swabs")
	}
	if anyOf(cure, "cleaner", "exercise") {
		out = append(out, "contact cleaner fit for the part")
	}
	if anyOf(cure, "resolder", "solder", "recrimp", "capacitor", "capacitors", "part") && anyOf(cure, "resolder", "solder", "recrimp", "replace") {
		out = append(out, "solder", "flux", "desoldering braid")
	}
	if anyOf(cure, "lubricant", "oil") {
		out = append(out, "oil or grease as the part asks for")
	}
	return out
}

// anyOf tells whether a text holds one of the words.
func anyOf(text string, words ...string) bool {
	return slices.ContainsFunc(strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) }), func(w string) bool { return slices.Contains(words, w) })
}

func boards(id string) []string {
	if id == "" {
		return nil
	}
	return []string{id}
}

// settle is the observation, cleaning or exchange that the advice would make next, where
// it is made inside.
func (m *taskMaker) settle(a *diagnosis.Advice) {
	if len(a.Actions) == 0 {
		return
	}
	s := a.Actions[0]
	if s.Opening == "" && len(s.Open) == 0 || s.Kind == diagnosis.StepRepair || s.Kind == diagnosis.StepClose {
		return
	}
	inner := s.Opening
	if len(s.Open) > 0 {
		inner = s.Open[len(s.Open)-1]
	}
	each := machine.EachTrack
	if tp, ok := m.v.Def.TestPoint(s.TestPoint); ok {
		each = tp.Each
	}
	if st, ok := m.v.Def.Stage(s.Stage); ok {
		each = st.Each
	}
	t := teardown.Task{ID: "settle " + s.ID, Materials: settleMaterials(s.Kind), Kind: teardown.Settle, Text: s.Text, Minutes: s.Minutes, Power: teardown.On, Cautions: s.Cautions,
		Needs: needs(m.opening(inner, each, s.Key))}
	if s.Kind == diagnosis.StepClean || s.Kind == diagnosis.StepSwap {
		t.Power = teardown.Off
	}
	m.tasks = append(m.tasks, t)
}

// settleMaterials are those of a cleaning that settles a suspect.
func settleMaterials(k diagnosis.StepKind) []string {
	if k == diagnosis.StepClean {
		return materials("clean, exercise")
	}
	return nil
}

// lineUp gathers the steps that can be done in the next opening: due and stale ones that
// are reached inside, and those that wait for nothing but them. Steps of one kind behind
// the same openings are one task.
func (m *taskMaker) lineUp(l *LineUp) {
	in := m.within(l)
	at := map[string]int{} // task of a step
	groups := map[string]int{}
	for i := range l.Steps {
		s := &l.Steps[i]
		if !in[s.ID] || s.Phase == lineup.PhaseProof {
			continue
		}
		where := m.reach(s)
		if len(where) == 0 {
			continue
		}
		key := fmt.Sprintf("%s at %g cm/s, %s", s.Kind, s.SpeedCmS, strings.Join(where, " "))
		if s.Kind == lineup.Tension || s.Kind == lineup.Other {
			key += s.Trim
		}
		k, ok := groups[key]
		if !ok {
			k = len(m.tasks)
			groups[key] = k
			m.tasks = append(m.tasks, teardown.Task{ID: "set " + s.ID, Kind: teardown.LineUp, Power: teardown.On, Needs: where, Text: s.Name, Follows: m.before()})
		}
		t := &m.tasks[k]
		at[s.ID] = k
		t.Minutes += stepMinutes
		if s.Part != "" {
			t.Text += " " + s.Part
		}
		for _, c := range s.Cautions {
			if !slices.Contains(t.Cautions, c) {
				t.Cautions = append(t.Cautions, c)
			}
		}
		for _, n := range s.Needs {
			// Groups stand in the order of their first steps, so that none waits for itself.
			if j, ok := at[n.Step]; ok && j < k && !slices.Contains(t.Follows, m.tasks[j].ID) {
				t.Follows = append(t.Follows, m.tasks[j].ID)
			}
		}
	}
}

// before are the cures that are made in any case, and what settles a suspect: nothing is
// lined up before them.
func (m *taskMaker) before() []string {
	var out []string
	for _, t := range m.tasks {
		if t.Kind == teardown.Settle || t.Kind == teardown.Fix && !t.Optional {
			out = append(out, t.ID)
		}
	}
	return out
}

// within are the steps that the next opening can hold. A step that only reads with a tape
// on the closed recorder does not break the chain: it is read where it stands.
func (m *taskMaker) within(l *LineUp) map[string]bool {
	in := map[string]bool{}
	for i := range l.Steps { // every step stands after all that it needs
		s := &l.Steps[i]
		switch s.Standing.State {
		case lineup.StateDue, lineup.StateStale, lineup.StateBlocked:
		default:
			continue
		}
		if s.Gate {
			continue
		}
		in[s.ID] = !slices.ContainsFunc(s.Standing.Waits, func(id string) bool { return !in[id] })
	}
	return in
}

// reach are the openings of a step: where its trim is, and where its test point is.
func (m *taskMaker) reach(s *LineUpStep) []string {
	probe := ""
	if s.Probe.Case != measure.CaseClosed || s.Probe.Opening != "" {
		probe = s.Probe.Opening
	}
	key := s.Key
	if key == "" && len(s.Tracks) == 1 {
		key = strconv.Itoa(s.Tracks[0])
	}
	trimAt := ""
	if s.Trim != "" {
		trimAt = m.opening(s.Reach.Opening, s.Each, key)
	}
	return needs(trimAt, m.opening(probe, s.Each, key))
}

// preventive is cleaning of contacts and faces that dirt makes faulty sooner or later, by
// opening. The chance that it is needed later is that of the definition's prior, of a
// machine that nobody cleaned; what is proved good or suspect is left out.
func (m *taskMaker) preventive(a *diagnosis.Advice) {
	known := map[[2]string]bool{}
	for _, s := range a.Suspects {
		known[[2]string{s.Stage, s.Track}] = true
	}
	for _, s := range a.Cleared {
		known[[2]string{s.Stage, s.Track}] = true
	}
	type group struct {
		at      int
		spared  float64 // chance that none is needed
		minutes float64
		n       int
	}
	groups := map[string]*group{}
	first := len(m.tasks)
	for _, in := range m.v.Def.Instances() {
		st := in.Stage
		if known[[2]string{st.ID, in.Key}] {
			continue
		}
		chance, minutes := dirt(m.v.Def, st)
		where := m.opening(m.v.Def.WorkOpening(st), st.Each, in.Key)
		if chance < leastChance || where == "" {
			continue
		}
		g, ok := groups[where]
		if !ok {
			g = &group{at: len(m.tasks), spared: 1}
			groups[where] = g
			m.tasks = append(m.tasks, teardown.Task{ID: "clean at " + where, Kind: teardown.Preventive, Power: teardown.Off, Needs: []string{where}, Text: "clean", Optional: true, Materials: materials("clean")})
		}
		g.spared *= 1 - chance
		g.minutes += minutes
		g.n++
		t := &m.tasks[g.at]
		t.Minutes += unit.Minutes(minutes)
		t.Text += " " + in.Part()
		t.Chance, t.LaterMinutes = 1-g.spared, unit.Minutes(g.minutes/float64(g.n))
		if b := boards(st.Board); len(b) > 0 && !slices.Contains(t.Boards, b[0]) {
			t.Boards = append(t.Boards, b[0])
		}
	}
	for i := first; i < len(m.tasks); i++ {
		m.tasks[i].Text += " while inside"
	}
}

// usuallyCleans is the chance of a cure from which cleaning counts as the remedy of a
// fault.
const usuallyCleans = 0.5

// dirt is the chance that an instance of a stage is at fault by what cleaning cures, and
// the minutes that it takes.
func dirt(def *machine.Definition, st *machine.Stage) (chance, minutes float64) {
	prior, modes := def.FaultModes(st)
	for _, mode := range modes {
		if c := mode.CureChance("clean"); c >= usuallyCleans {
			chance += prior * mode.Weight * c
			minutes = max(minutes, mode.CureMin)
		}
	}
	return chance, minutes
}
