package diagnosis

import (
	"fmt"
	"slices"
	"strings"

	"headstack/machine"
	"headstack/unit"
)

// whereIs says where a test point is touched: the board, and for a connector
// the side, the pin as counted on that side, and its signal.
func (e *Engine) whereIs(tp *machine.TestPoint, key string) string {
	out := tp.Board
	if b, ok := e.def.Board(tp.Board); ok && b.Place != "" {
		out = fmt.Sprintf("%s (%s)", b.ID, b.Place)
	}
	c, ok := e.def.Connector(tp.Connector)
	if !ok {
		return out
	}
	pin := e.def.Designator(tp.Pin, tp.Each, key)
	side, other := c.A, c.B
	if c.B.Board == tp.Board {
		side, other = c.B, c.A
	}
	if n := slices.Index(side.Pins, pin); n >= 0 {
		out += fmt.Sprintf(", connector %s, %s side, pin %d of %d (%s)", c.ID, side.Board, n+1, len(side.Pins), pin)
		if c.Mirrored {
			if m := slices.Index(other.Pins, pin); m >= 0 {
				out += fmt.Sprintf("; mirrored: on the %s side it is pin %d", other.Board, m+1)
			}
		}
		return out
	}
	return out + fmt.Sprintf(", connector %s, pin %s", c.ID, pin)
}

// reach is what it takes to get at a board: the openings still closed on the
// way, their minutes and their cautions.
func (e *Engine) reach(board string) (opening string, minutes unit.Minutes, cautions []string) {
	b, ok := e.def.Board(board)
	if !ok {
		return "", 0, nil
	}
	for id := b.Opening; id != "" && id != machine.Closed && !slices.Contains(e.opt.Open, id); {
		o, ok := e.def.Opening(id)
		if !ok {
			break
		}
		minutes += unit.Minutes(o.DownMin)
		cautions = append(slices.Clone(o.Cautions), cautions...)
		opening = b.Opening
		id = o.From
	}
	return opening, minutes, cautions
}

// cautionsAt gathers what could hurt or break at a test point.
func (e *Engine) cautionsAt(tp *machine.TestPoint, opening []string) []string {
	var out []string
	add := func(list []string) {
		for _, s := range list {
			if !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	add(opening)
	add(tp.Cautions)
	if c, ok := e.def.Connector(tp.Connector); ok {
		// Parting the connector is not what is asked for here.
		for _, s := range c.Cautions {
			if !strings.Contains(s, "before a connector is parted") {
				add([]string{s})
			}
		}
		if s, ok := machine.StandardCaution("mirrored"); ok && c.Mirrored {
			add([]string{s})
		}
	}
	return out
}
