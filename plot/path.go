package plot

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"headstack/unit"
)

// Mark is what is known of one stage; it decides the shape drawn.
type Mark int

// The marks a stage can carry: open circle, filled square, triangle.
const (
	MarkUnknown Mark = iota
	MarkProved
	MarkSuspect
)

// Word names the mark as the pages do.
func (m Mark) Word() string {
	switch m {
	case MarkProved:
		return "proved"
	case MarkSuspect:
		return "suspect"
	}
	return "not known"
}

// Lane is one track's way through the stages of a function.
type Lane struct {
	Key    string // replica key, usually the track number
	Stages []PathStage
}

// PathStage is one stage on a lane. Two lanes meet where their stages have the
// same ID, which therefore must name the instance, not the pattern.
type PathStage struct {
	ID   string  // "coupling/3"
	Part string  // "C11-3"
	Mark Mark    // shape
	P    float64 // probability that it is faulty, written beside a suspect
}

// Tick is a test point below the path.
type Tick struct {
	After int    // index of the last stage it sees
	Part  string // "TP11-3"
	Read  bool   // there is a reading: filled
	Next  bool   // the next reading is to be taken here: marked and named
}

// PathPlot is what Path draws.
type PathPlot struct {
	ID       string // prefix of the element ids; empty: "path"
	Title    string // "play, track 3"
	Main     Lane
	Siblings []Lane // in track order; drawn above the main lane when Above
	Above    int    // how many of the siblings come above the main lane
	Ticks    []Tick
}

const (
	pathWide  = 62.0 // from stage to stage where there are few
	pathClose = 31.0 // where there are many: names then stand in three rows, not two
	pathMany  = 14
	pathLane  = 13.0 // from lane to lane
	pathLeft  = 60.0
	pathRow   = 17.0 // from row to row of names
)

// Path draws the signal path of one track as a horizontal line of stages, its
// siblings as thin lines beside it that join where a stage is shared, and its
// test points as ticks below. A filled square is proved, a triangle with a
// percentage suspect, an open circle not known.
func Path(p PathPlot) template.HTML { return DrawPath(p).SVG() }

// DrawPath is [Path] as a drawing.
func DrawPath(p PathPlot) Drawing {
	if p.ID == "" {
		p.ID = "path"
	}
	n := len(p.Main.Stages)
	above := min(max(p.Above, 0), len(p.Siblings))
	below := len(p.Siblings) - above
	d := pathDrawing{plot: p, pitch: pathWide, rows: 2}
	if n > pathMany {
		d.pitch, d.rows = pathClose, 3
	}
	d.top = pathRow*float64(d.rows) + 36
	d.y = d.top + 14 + float64(above)*pathLane
	d.bottom = d.y + 10 + float64(below)*pathLane
	rows := d.tickRows()
	w := pathLeft + math.Max(float64(n), 9)*d.pitch + 40
	h := d.bottom + 14 + 18*float64(rows)
	var c canvas
	out := Drawing{id: p.ID, class: "plot plot-path", w: w, h: h, title: p.Title, desc: d.describe(), table: d.table()}
	if n == 0 {
		c.text(pathLeft, d.y, "start", "no stages on this path", ink{})
		return c.finish(out)
	}
	for i, s := range p.Siblings {
		lane := -float64(above-i) * pathLane
		if i >= above {
			lane = float64(i-above+1) * pathLane
		}
		d.sibling(&c, s, d.y+lane)
	}
	c.line(pathLeft, d.y, d.x(n-1), d.y, ink{class: "main", width: 2.4})
	c.text(pathLeft-14, d.y+6, "end", p.Main.Key, ink{size: 20, bold: true})
	d.ticks(&c)
	for i, s := range p.Main.Stages {
		d.stage(&c, i, s)
	}
	return c.finish(out)
}

// table lists the stages of the main lane with what is known of each.
func (d pathDrawing) table() Table {
	t := Table{Caption: d.plot.Title, Head: []string{"stage", "what is known"}}
	for _, s := range d.plot.Main.Stages {
		what := s.Mark.Word()
		if s.Mark == MarkSuspect {
			what += ", " + unit.Probability(s.P)
		}
		t.Rows = append(t.Rows, []string{s.Part, what})
	}
	return t
}

type pathDrawing struct {
	plot      PathPlot
	pitch     float64 // from stage to stage
	rows      int     // of names
	top       float64 // below the names and percentages
	y, bottom float64 // of the main lane; of the lowest lane
}

func (d pathDrawing) x(i int) float64 { return pathLeft + d.pitch*(float64(i)+0.5) }

// describe says the states in words; the page has them as a table as well.
func (d pathDrawing) describe() string {
	var count [3]int
	var worst *PathStage
	for i, s := range d.plot.Main.Stages {
		count[s.Mark]++
		if s.Mark == MarkSuspect && (worst == nil || s.P > worst.P) {
			worst = &d.plot.Main.Stages[i]
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%d stages in signal order: %d proved, %d suspect, %d not known.",
		len(d.plot.Main.Stages), count[MarkProved], count[MarkSuspect], count[MarkUnknown])
	if worst != nil {
		fmt.Fprintf(&b, " Most suspect: %s, %s.", worst.Part, unit.Probability(worst.P))
	}
	for _, t := range d.plot.Ticks {
		if t.Next && t.After >= 0 && t.After < len(d.plot.Main.Stages) {
			fmt.Fprintf(&b, " Next reading at %s, after %s.", t.Part, d.plot.Main.Stages[t.After].Part)
		}
	}
	b.WriteString(" The table below has every stage.")
	return b.String()
}

// sibling draws a thin lane. Where its stage is the main lane's own it runs on
// the main line; elsewhere it keeps its height and shows a small mark.
func (d pathDrawing) sibling(c *canvas, s Lane, lane float64) {
	var points []float64
	shared := func(i int) bool {
		return i < len(d.plot.Main.Stages) && s.Stages[i].ID == d.plot.Main.Stages[i].ID
	}
	add := func(x, y float64) { points = append(points, x, y) }
	for i := range s.Stages {
		y := lane
		if shared(i) {
			y = d.y
		}
		if i > 0 && shared(i-1) != shared(i) {
			add(d.x(i-1)+d.pitch*0.3, points[len(points)-1])
			add(d.x(i)-d.pitch*0.3, y)
		}
		if i == 0 {
			add(pathLeft, y)
		}
		add(d.x(i), y)
	}
	if len(points) == 0 {
		return
	}
	c.polyline(points, ink{class: "sibling", stroke: pen, width: 0.9, opacity: 0.55})
	for i, st := range s.Stages {
		if !shared(i) {
			shape(c, d.x(i), lane, 3.4, st.Mark)
		}
	}
	c.text(pathLeft-4, lane+4, "end", s.Key, ink{size: 10.5})
}

func (d pathDrawing) stage(c *canvas, i int, s PathStage) {
	x := d.x(i)
	row := 14 + pathRow*float64(i%d.rows)
	c.line(x, row+4, x, d.y-10, ink{class: "grid", width: 0.6, opacity: 0.35})
	c.text(x, row, "middle", shorten(s.Part, int(d.pitch*float64(d.rows)/8)), ink{})
	shape(c, x, d.y, 8, s.Mark)
	if s.Mark == MarkSuspect {
		// Percentages in two rows, because those of neighbours would run together.
		c.text(x, d.top-3-14*float64(i%2), "middle", strings.Replace(strings.Replace(unit.Probability(s.P), "under ", "<", 1), "over ", ">", 1),
			ink{class: "percent", bold: true})
	}
}

// shape draws a mark of half-width r.
func shape(c *canvas, x, y, r float64, m Mark) {
	switch m {
	case MarkProved:
		c.rect(x-r, y-r, 2*r, 2*r, ink{class: "mark proved", fill: "#009E73", stroke: pen, width: r / 8})
	case MarkSuspect:
		c.polygon([]float64{x, y - 1.25*r, x + 1.2*r, y + r, x - 1.2*r, y + r}, ink{class: "mark suspect", fill: "#D55E00", stroke: pen, width: r / 8})
	default:
		c.circle(x, y, r, ink{class: "mark unknown", fill: "#ffffff", stroke: pen, width: math.Max(1, r/4)})
	}
}

// tickRows is how many rows of test-point names are needed below.
func (d pathDrawing) tickRows() int {
	rows := 1
	for _, r := range d.rowsOfTicks() {
		rows = max(rows, r+1)
	}
	return rows
}

// rowsOfTicks gives each tick the row of its name, which stands to the right of
// the tick's end. A name that would run into a tick further right goes below
// it, so that no tick crosses a name.
func (d pathDrawing) rowsOfTicks() []int {
	rows := make([]int, len(d.plot.Ticks))
	order := d.ticksByPlace()
	for n := len(order) - 1; n >= 0; n-- {
		i := order[n]
		end := d.tickX(i) + 12 + float64(len([]rune(d.plot.Ticks[i].label())))*7.6
		for _, j := range order[n+1:] {
			if d.tickX(j) < end {
				rows[i] = max(rows[i], rows[j]+1)
			}
		}
	}
	return rows
}

func (d pathDrawing) ticksByPlace() []int {
	order := make([]int, len(d.plot.Ticks))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(d.tickX(a), d.tickX(b)) })
	return order
}

// tickX sets several test points of one stage side by side.
func (d pathDrawing) tickX(i int) float64 {
	same := 0
	for _, t := range d.plot.Ticks[:i] {
		if t.After == d.plot.Ticks[i].After {
			same++
		}
	}
	return d.x(d.plot.Ticks[i].After) + d.pitch/2 - 6 + float64(same)*9
}

func (t Tick) label() string {
	if t.Next {
		return "next: " + t.Part
	}
	return t.Part
}

func (d pathDrawing) ticks(c *canvas) {
	rows := d.rowsOfTicks()
	for i, t := range d.plot.Ticks {
		x, end := d.tickX(i), d.bottom+8+18*float64(rows[i])
		c.line(x, d.y, x, end, ink{class: "tick", width: 1 + float64(btoi(t.Next))})
		switch {
		case t.Next:
			c.polygon([]float64{x, end - 3, x - 5, end + 5, x + 5, end + 5}, ink{class: "tick next", fill: pen})
		case t.Read:
			c.circle(x, end, 3, ink{class: "tick read", fill: pen})
		default:
			c.circle(x, end, 3, ink{class: "tick open", fill: "#ffffff", stroke: pen})
		}
		c.text(x+7, end+5, "start", t.label(), ink{size: 12, bold: t.Next})
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}
