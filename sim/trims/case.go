package trims

import (
	"fmt"
	"slices"

	"headstack/machine"
)

// casing is what an open case adds to the figures of a closed one.
type casing struct {
	level, treble []float64 // dB, by track; treble at 10 kHz re the tone of reference
	play, record  float64   // arcminutes, of either head
}

// Case facts; see the package comment.
const (
	propped      = 0.8
	repeatDB     = 0.1
	repeatArcmin = 0.5
	recordPart   = 0.5
)

// repeat is by how much a case state differs this time from what it is on the average.
type repeat struct {
	level, treble []float64
	azimuth       float64
}

func (m *Recorder) drawCase() {
	r := m.rng("case")
	level, treble := between(r, -0.6, 0.6), between(r, -1.5, 1.5)
	for range m.Def.Tracks.Count {
		m.cases.level = append(m.cases.level, level+between(r, -0.3, 0.3))
		m.cases.treble = append(m.cases.treble, treble+between(r, -0.5, 0.5))
	}
	m.cases.play = between(r, -6, 6)
	m.cases.record = m.cases.play
	if !m.OneHead() {
		m.cases.record = between(r, -6, 6)
	}
	m.settle(machine.Closed)
}

// settle draws what a case state is off by this time.
func (m *Recorder) settle(state string) {
	m.asked["settle "+state]++
	r := m.rng("settle", state, m.asked["settle "+state])
	x := repeat{azimuth: between(r, -repeatArcmin, repeatArcmin)}
	for range m.Def.Tracks.Count {
		x.level = append(x.level, between(r, -repeatDB, repeatDB))
		x.treble = append(x.treble, between(r, -repeatDB, repeatDB))
	}
	m.state[state] = x
}

// Case is the case state now: closed, propped or open.
func (m *Recorder) Case() string {
	now := machine.Closed
	for _, id := range m.open {
		o, _ := m.Def.Opening(id)
		if o.Case == "open" || o.Case == "propped" && now == machine.Closed {
			now = o.Case
		}
	}
	return now
}

// IsOpen are the openings that are open, outermost first.
func (m *Recorder) IsOpen() []string { return slices.Clone(m.open) }

// Open goes to an opening: what is open and not on the way is closed first, then what is
// on the way opened.
func (m *Recorder) Open(id string) error {
	chain := m.Def.OpeningChain(id)
	if chain == nil && id != machine.Closed {
		return fmt.Errorf("trims: machine %s has no opening %s", m.Def.ID, id)
	}
	m.reopen(chain)
	return nil
}

// Also opens an opening and leaves open what is.
func (m *Recorder) Also(id string) error {
	chain := m.Def.OpeningChain(id)
	if chain == nil {
		return fmt.Errorf("trims: machine %s has no opening %s", m.Def.ID, id)
	}
	before := m.Case()
	m.down(chain)
	m.changed(before)
	return nil
}

// Close puts the recorder together.
func (m *Recorder) Close() { m.reopen(nil) }

func (m *Recorder) reopen(chain []*machine.Opening) {
	before := m.Case()
	keep := 0
	for keep < len(m.open) && slices.ContainsFunc(chain, func(o *machine.Opening) bool { return o.ID == m.open[keep] }) {
		keep++
	}
	for _, id := range slices.Backward(m.open[keep:]) {
		o, _ := m.Def.Opening(id)
		m.count.Minutes += o.UpMin
	}
	m.open = m.open[:keep]
	m.down(chain)
	m.changed(before)
}

func (m *Recorder) down(chain []*machine.Opening) {
	for _, o := range chain {
		if slices.Contains(m.open, o.ID) {
			continue
		}
		m.open = append(m.open, o.ID)
		m.count.Openings++
		m.count.Minutes += o.DownMin
	}
}

// changed settles the case where its state is another one now.
func (m *Recorder) changed(before string) {
	if now := m.Case(); now != before {
		m.settle(now)
	}
}

// reach is the adjuster of a trim that can be reached now.
func (m *Recorder) reach(ref Ref) (*adjuster, error) {
	a, ok := m.at[ref]
	if !ok {
		return nil, fmt.Errorf("trims: machine %s has no trim %s", m.Def.ID, ref)
	}
	if a.trim.Opening != machine.Closed && !slices.Contains(m.open, a.trim.Opening) {
		return nil, fmt.Errorf("trims: trim %s is behind %s; open is %v", ref, a.trim.Opening, m.open)
	}
	return a, nil
}

// share is how much of what an open case does a state does.
func share(state string) float64 {
	switch state {
	case machine.Closed:
		return 0
	case "propped":
		return propped
	}
	return 1
}
