package sim

import "headstack/testtape"

// place is where a section lies on the tape, in seconds from its beginning, at
// nominal speed.
type place struct {
	index      int // in the tape's sections
	section    testtape.Section
	start, end float64
}

// layout places the sections that are there.
func (sc *Scenario) layout() []place {
	var places []place
	at := sc.LeadInS
	for i := sc.SkipHead; i < len(sc.Tape.Sections)-sc.SkipTail; i++ {
		s := sc.Tape.Sections[i]
		places = append(places, place{i, s, at, at + s.Seconds})
		at += s.Seconds + sc.GapS
	}
	return places
}

// endOfTape is where the tail ends, in seconds of tape.
func (sc *Scenario) endOfTape() float64 {
	places := sc.layout()
	return places[len(places)-1].end + sc.TailS
}
