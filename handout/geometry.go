package handout

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/paper"
)

// Geometry is a sheet of labels in plain figures, mm.
type Geometry struct {
	Name  string     `json:"name,omitempty"`
	Paper paper.Size `json:"paper"`
	// Columns and Rows of labels; W and H are those of one label.
	Columns int     `json:"columns"`
	Rows    int     `json:"rows"`
	W       float64 `json:"width_mm"`
	H       float64 `json:"height_mm"`
	// PitchX and PitchY go from one label's left or upper edge to the next one's; Left and
	// Top are the first label's from the edges of the sheet.
	PitchX float64 `json:"pitch_x_mm"`
	PitchY float64 `json:"pitch_y_mm"`
	Left   float64 `json:"left_mm"`
	Top    float64 `json:"top_mm"`
	// Cut draws lines to cut along: plain paper.
	Cut bool `json:"cut,omitempty"`
}

// The bounds of what can be asked for.
const (
	leastLabelW, leastLabelH = 12.0, 8.0 // mm; less holds no mark that is read at arm's length
	mostLabels               = 600       // on a sheet
	tolerance                = 0.05      // mm, of figures typed to a tenth
)

// geometries are common divisions of a sheet, named by what they are. The margins and
// pitches are from memory: print the outlines on plain paper and hold them against a sheet
// of labels before it goes in.
var geometries = []Geometry{
	{Paper: paper.A4, Columns: 3, Rows: 8, W: 70, H: 37, PitchX: 70, PitchY: 37, Left: 0, Top: 0.5},
	{Paper: paper.A4, Columns: 3, Rows: 7, W: 63.5, H: 38.1, PitchX: 66, PitchY: 38.1, Left: 7.25, Top: 15.15},
	{Paper: paper.A4, Columns: 2, Rows: 7, W: 99.1, H: 38.1, PitchX: 101.6, PitchY: 38.1, Left: 4.65, Top: 15.15},
	{Paper: paper.A4, Columns: 5, Rows: 13, W: 38.1, H: 21.2, PitchX: 40.6, PitchY: 21.2, Left: 4.75, Top: 10.7},
	{Paper: paper.Letter, Columns: 3, Rows: 10, W: 66.7, H: 25.4, PitchX: 69.85, PitchY: 25.4, Left: 4.75, Top: 12.7},
	{Paper: paper.Letter, Columns: 2, Rows: 5, W: 101.6, H: 50.8, PitchX: 105.6, PitchY: 50.8, Left: 4.35, Top: 12.7},
}

// Geometries are the divisions that can be asked for by name, "3 x 8, 70 x 37 mm, A4".
func Geometries() []Geometry {
	out := make([]Geometry, len(geometries))
	for i, g := range geometries {
		g.Name = g.text()
		out[i] = g
	}
	return out
}

func (g Geometry) text() string {
	return fmt.Sprintf("%d x %d, %s x %s mm, %s", g.Columns, g.Rows, mm(g.W), mm(g.H), g.Paper.Name)
}

func mm(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// GeometryNamed finds one of [Geometries]; spaces, case and the sign of "x" do not matter.
func GeometryNamed(name string) (Geometry, error) {
	bare := func(s string) string {
		return strings.NewReplacer(" ", "", "×", "x", ",", "", "mm", "").Replace(strings.ToLower(s))
	}
	var names []string
	for _, g := range Geometries() {
		if bare(g.Name) == bare(name) {
			return g, nil
		}
		names = append(names, "“"+g.Name+"”")
	}
	return Geometry{}, fmt.Errorf("no division of a sheet is called %q; there are %s; or give columns, rows, width, height, pitch and margins in mm", name, strings.Join(names, ", "))
}

// PlainPaper divides a sheet of plain paper into labels of w by h mm, to be cut.
func PlainPaper(size paper.Size, w, h float64) (Geometry, error) {
	g := Geometry{Paper: size, W: w, H: h, PitchX: w, PitchY: h, Cut: true}
	if !(w >= leastLabelW && h >= leastLabelH && w <= size.W && h <= size.H) {
		return g, fmt.Errorf("a label of %s x %s mm: from %g x %g mm up to the sheet of %s x %s mm", mm(w), mm(h), leastLabelW, leastLabelH, mm(size.W), mm(size.H))
	}
	wide, high := size.W-2*paper.Margin, size.H-2*paper.Margin-rulerHeight
	g.Columns, g.Rows = int(wide/w+1e-9), int(high/h+1e-9)
	g.Left, g.Top = (size.W-float64(g.Columns)*w)/2, paper.Margin
	g.Name = g.text() + ", to cut"
	return g, g.Check()
}

// Check says what of a geometry cannot be, with what would be right.
func (g Geometry) Check() error {
	for _, x := range []float64{g.W, g.H, g.PitchX, g.PitchY, g.Left, g.Top, g.Paper.W, g.Paper.H} {
		if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
			return fmt.Errorf("the sheet of labels has a length of %g mm: lengths are numbers from 0 up", x)
		}
	}
	switch {
	case g.Columns < 1 || g.Rows < 1:
		return fmt.Errorf("no label of %s x %s mm goes on the sheet of %s x %s mm", mm(g.W), mm(g.H), mm(g.Paper.W), mm(g.Paper.H))
	case g.Columns > mostLabels || g.Rows > mostLabels || g.Columns*g.Rows > mostLabels:
		return fmt.Errorf("%d x %d labels on one sheet: at most %d", g.Columns, g.Rows, mostLabels)
	case g.W < leastLabelW || g.H < leastLabelH:
		return fmt.Errorf("a label of %s x %s mm: at least %g x %g mm", mm(g.W), mm(g.H), leastLabelW, leastLabelH)
	case g.Columns > 1 && g.PitchX < g.W-tolerance:
		return fmt.Errorf("the labels overlap: %s mm wide, but the next begins after %s mm", mm(g.W), mm(g.PitchX))
	case g.Rows > 1 && g.PitchY < g.H-tolerance:
		return fmt.Errorf("the labels overlap: %s mm high, but the next begins after %s mm", mm(g.H), mm(g.PitchY))
	}
	if right := g.Left + float64(g.Columns-1)*g.PitchX + g.W; right > g.Paper.W+tolerance {
		return fmt.Errorf("the labels end %s mm from the left, the sheet (%s) after %s mm", mm(math.Round(right*100)/100), g.Paper.Name, mm(g.Paper.W))
	}
	if low := g.Top + float64(g.Rows-1)*g.PitchY + g.H; low > g.Paper.H+tolerance {
		return fmt.Errorf("the labels end %s mm from the top, the sheet (%s) after %s mm", mm(math.Round(low*100)/100), g.Paper.Name, mm(g.Paper.H))
	}
	return nil
}

// PerSheet is how many labels a sheet has.
func (g Geometry) PerSheet() int { return g.Columns * g.Rows }

// box is an upright rectangle, mm.
type box struct{ x, y, w, h float64 }

// label is where label i of a sheet lies, row after row.
func (g Geometry) label(i int) box {
	return box{g.Left + float64(i%g.Columns)*g.PitchX, g.Top + float64(i/g.Columns)*g.PitchY, g.W, g.H}
}

// inset leaves edge mm blank inside a label.
const inset = 1.6

// rulerHeight is the strip at the foot of a sheet of labels that the ruler takes, mm.
const rulerHeight = 4.0

// room is the part of a label on which can be printed: inside the label, the printable part
// of the sheet, and off the ruler.
func (g Geometry) room(i int) box {
	b := g.label(i)
	x0, y0 := max(b.x+inset, paper.Margin), max(b.y+inset, paper.Margin)
	x1, y1 := min(b.x+b.w-inset, g.Paper.W-paper.Margin), min(b.y+b.h-inset, g.Paper.H-paper.Margin-rulerHeight)
	return box{x0, y0, x1 - x0, y1 - y0}
}
