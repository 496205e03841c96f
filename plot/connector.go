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
func Connector(p ConnectorPlot) template.HTML { return DrawConnector(p).SVG() }

// DrawConnector is [Connector] as a drawing.
func DrawConnector(p ConnectorPlot) Drawing {
	if p.ID == "" {
		p.ID = "connector"
	}
	const pitch, size = 20.0, 13.0
	w := 16 + pitch*float64(max(p.Pins, 1))
	var c canvas
	edge := ink{fill: "none", stroke: pen, width: 1.2}
	c.polygon([]float64{12, 8, w - 4, 8, w - 4, 36, 4, 36, 4, 16}, edge)
	for i := 1; i <= p.Pins; i++ {
		x := 8 + pitch*float64(i-1)
		pin := edge
		if i == p.Touch {
			pin.fill = pen
		}
		c.rect(x+3, 15.5, size, size, pin)
		if i == p.Touch {
			c.text(x+9.5, 54, "middle", strconv.Itoa(i), ink{bold: true, size: 15})
		} else if (i == 1 || i == p.Pins) && (i-p.Touch > 1 || p.Touch-i > 1) {
			c.text(x+9.5, 52, "middle", strconv.Itoa(i), ink{size: 11})
		}
	}
	d := Drawing{id: p.ID, class: "plot plot-connector", w: w, h: 62, title: p.Title,
		desc: fmt.Sprintf("%d pins in a row, pin 1 at the left. Touch pin %d.", p.Pins, p.Touch)}
	d.table = Table{Caption: p.Title, Head: []string{"pin", "from the left"}}
	for i := 1; i <= p.Pins; i++ {
		what := strconv.Itoa(i)
		if i == p.Touch {
			what += ", touch this one"
		}
		d.table.Rows = append(d.table.Rows, []string{strconv.Itoa(i), what})
	}
	return c.finish(d)
}
