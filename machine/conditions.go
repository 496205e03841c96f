package machine

// Conditions are the words that [FaultMode.Shows] knows: how the recorder is treated
// while it is observed, and the state of its case.
func Conditions() []string { return []string{"pressed", "warm", "cold", "closed", "propped", "open"} }

// Cures are the words that [FaultMode.CuredBy] knows: works that look for no cause.
func Cures() []string { return []string{"clean", "reseat", "reflow"} }

// usualPresence is how often an intermittent fault shows at one look where nothing is
// said. [estimate] common practice, no source.
const usualPresence = 0.5

// pressedShows is how often pressing, flexing or tapping brings out an intermittent
// fault: 60 % of real ones. [estimate] common practice, no source.
const pressedShows = 0.6

// ShowsWhen is the probability that the fault shows at one look under a condition
// (pressed, warm, cold, closed, propped, open; empty: none): 1 for a fault that is
// always there. Where the definition says nothing, pressing brings it out in 60 % of
// looks, or as often as it shows anyway, and other conditions change nothing.
func (m *FaultMode) ShowsWhen(condition string) float64 {
	if p, ok := m.Shows[condition]; ok && condition != "" {
		return p
	}
	if m.Mode != Intermittent {
		return 1
	}
	p := m.Presence
	if p <= 0 || p >= 1 {
		p = usualPresence
	}
	if condition == "pressed" {
		return max(p, pressedShows)
	}
	return p
}

// CureChance is the probability that a work which looks for no cause (clean, reseat,
// reflow) cures the fault. Where the definition says nothing these are estimates
// (common practice, no source): cleaning cures dirt and poor contact in 85 % and an
// intermittent contact in 40 %, reseating an intermittent one in half, soldering a whole
// area anew 70 % of intermittent and 20 % of dead ones.
func (m *FaultMode) CureChance(work string) float64 {
	if p, ok := m.CuredBy[work]; ok {
		return p
	}
	switch {
	case work == "clean" && m.Mechanical:
		return 0.85
	case work == "clean" && m.Mode == Intermittent:
		return 0.4
	case work == "reseat" && m.Mode == Intermittent:
		return 0.5
	case work == "reflow" && m.Mode == Intermittent:
		return 0.7
	case work == "reflow" && m.Mode == Dead:
		return 0.2
	}
	return 0
}
