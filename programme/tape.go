package programme

import "headstack/testtape"

// Tape is the programme as a tape with one section for each part, same order. A
// section's tone is the strongest of its part where all tracks carry the same one or
// where one track alone carries any; 0 for identity, comb and silence. Levels are re
// the programme's 0 dB. What a programme does not know, the fluxivity of 0 dB and the
// time constants, holds a figure that passes the tape's check and means nothing.
func (p *Programme) Tape() *testtape.Tape {
	t := p.emptyTape()
	for i := range p.Parts {
		t.Sections = append(t.Sections, p.section(i))
	}
	return t
}

// emptyTape is the tape without sections.
func (p *Programme) emptyTape() *testtape.Tape {
	t := &testtape.Tape{Format: 1, Name: p.Name, SpeedCmS: p.SpeedCmS, TrackLayout: testtape.PerTrack}
	t.Reference = testtape.Reference{FluxivityNWbM: 250, ToneHz: p.ReferenceHz, Convention: "not known: the machine's own reference level"}
	t.EqualisationUs = testtape.Equalisation{High: 1}
	return t
}

func (p *Programme) section(i int) testtape.Section {
	part := p.Parts[i]
	s := testtape.Section{Name: part.Name, Seconds: part.Seconds}
	if lead, ok := part.Lead(); ok {
		s.ToneHz, s.LevelDB = lead.Hz, lead.LevelDB
	}
	return s
}

// Lead is the tone that stands for the part: the strongest, the first of equals. ok is
// false for identity and comb, which have no such tone, and for silence.
func (p Part) Lead() (lead Sine, ok bool) {
	if p.Kind == Identity || p.Kind == Comb {
		return Sine{}, false
	}
	lists := p.Each
	if p.All != nil {
		lists = [][]Sine{p.All}
	}
	for _, on := range lists {
		for _, s := range on {
			if !ok || s.LevelDB > lead.LevelDB {
				lead, ok = s, true
			}
		}
	}
	return lead, ok
}
