package machine

import (
	"headstack/tape"
	"headstack/unit"
)

// Geometry places the tracks across the tape, measured from the edge next to
// track 1. Without a stated first centre the head is centred on the tape.
func (d *Definition) Geometry() tape.Geometry {
	t := d.Tracks
	first := t.FirstCentreMm
	if first == 0 {
		first = (d.Medium.WidthMm - float64(t.Count-1)*t.PitchMm) / 2
	}
	g := tape.Geometry{TapeWidth: unit.Metre(d.Medium.WidthMm / 1000)}
	for i := range t.Count {
		g.Tracks = append(g.Tracks, tape.TrackPlace{
			Centre: unit.Metre((first + float64(i)*t.PitchMm) / 1000),
			Width:  unit.Metre(t.WidthMm / 1000),
		})
	}
	return g
}

// Speed returns the equalisation of a tape speed; 0 asks for the first one.
func (d *Definition) Speed(cmS float64) (Speed, bool) {
	for _, s := range d.Speeds {
		if cmS == 0 || s.CmS == cmS {
			return s, true
		}
	}
	return Speed{}, false
}

// OpeningMinutes returns the bench minutes of reaching an opening from the
// closed recorder and of closing it again, over the whole chain of openings
// before it, and the minutes of realignment that the chain costs afterwards.
// "closed" and an unknown id cost nothing.
func (d *Definition) OpeningMinutes(id string) (down, up, after unit.Minutes) {
	for _, o := range d.OpeningChain(id) {
		down += unit.Minutes(o.DownMin)
		up += unit.Minutes(o.UpMin)
		after += unit.Minutes(o.AfterMin)
	}
	return down, up, after
}

// OpeningChain lists the openings from the closed recorder to id, in the order
// in which they are made. "closed" gives an empty chain.
func (d *Definition) OpeningChain(id string) []*Opening {
	ix := d.idx()
	var chain []*Opening
	for id != Closed && len(chain) <= len(d.Openings) {
		o, ok := ix.openings[id]
		if !ok {
			return nil
		}
		chain = append([]*Opening{o}, chain...)
		id = o.From
	}
	if len(chain) > len(d.Openings) {
		return nil
	}
	return chain
}
