package plot

import (
	"fmt"
	"html/template"
	"strconv"
)

// ConnectorPlot is a connector seen from the side that is probed.
type ConnectorPlot struct {
	ID    string // prefix of the element ids; empty: "connector"
	Title string // "W5 seen from Tape"
	Pins  int
	Touch int // pin to touch, from 1
}

// Connector draws one row of pins, counted from the left, pin 1 marked by a cut
// corner and its number, the pin to touch filled.
func Connector(p ConnectorPlot) template.HTML {
	if p.ID == "" {
		p.ID = "connector"
	}
	const pitch, size = 20.0, 13.0
	w := 16 + pitch*float64(max(p.Pins, 1))
	var c canvas
	c.open(p.ID, "plot plot-connector", w, 62, p.Title, fmt.Sprintf("%d pins in a row, pin 1 at the left. Touch pin %d.", p.Pins, p.Touch))
	c.polygon([]float64{12, 8, w - 4, 8, w - 4, 36, 4, 36, 4, 16}, "fill", "none", "stroke", "currentColor", "stroke-width", "1.2")
	for i := 1; i <= p.Pins; i++ {
		x := 8 + pitch*float64(i-1)
		fill := "none"
		if i == p.Touch {
			fill = "currentColor"
		}
		c.rect(x+3, 15.5, size, size, "fill", fill, "stroke", "currentColor", "stroke-width", "1.2")
		if i == p.Touch {
			c.text(x+9.5, 54, "middle", strconv.Itoa(i), "font-weight", "700", "font-size", "15")
		} else if (i == 1 || i == p.Pins) && (i-p.Touch > 1 || p.Touch-i > 1) {
			c.text(x+9.5, 52, "middle", strconv.Itoa(i), "font-size", "11")
		}
	}
	return template.HTML(c.close())
}
