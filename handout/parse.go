package handout

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"headstack/paper"
)

// ParseGeometry reads a sheet as it is typed: grid "3x8" labels of label "70x37" mm, pitch
// "70x37" mm from one to the next, the first one "0x0.5" mm from the left and upper edge.
// Without a grid it is plain paper to cut; without a pitch the labels touch; without a first
// the grid stands in the middle of the sheet.
func ParseGeometry(size, grid, label, pitch, first string) (Geometry, error) {
	g := Geometry{}
	var err error
	if g.Paper, err = paper.SizeNamed(size); err != nil {
		return g, err
	}
	if g.W, g.H, err = pair("label", label); err != nil {
		return g, err
	}
	if strings.TrimSpace(grid) == "" {
		if strings.TrimSpace(pitch) != "" || strings.TrimSpace(first) != "" {
			return g, fmt.Errorf("a pitch or a first label without a grid: give columns and rows as in 3x8")
		}
		return PlainPaper(g.Paper, g.W, g.H)
	}
	columns, rows, err := pair("grid", grid)
	if err != nil {
		return g, err
	}
	if columns != math.Trunc(columns) || rows != math.Trunc(rows) || columns > mostLabels || rows > mostLabels {
		return g, fmt.Errorf("grid %q: whole numbers of columns and rows up to %d, as in 3x8", grid, mostLabels)
	}
	g.Columns, g.Rows, g.PitchX, g.PitchY = int(columns), int(rows), g.W, g.H
	if strings.TrimSpace(pitch) != "" {
		if g.PitchX, g.PitchY, err = pair("pitch", pitch); err != nil {
			return g, err
		}
	}
	if strings.TrimSpace(first) == "" {
		g.Left = (g.Paper.W - float64(g.Columns-1)*g.PitchX - g.W) / 2
		g.Top = (g.Paper.H - float64(g.Rows-1)*g.PitchY - g.H) / 2
		if g.Left < 0 || g.Top < 0 {
			g.Left, g.Top = max(0, g.Left), max(0, g.Top) // Check says what is too much
		}
	} else if g.Left, g.Top, err = pair("first label", first); err != nil {
		return g, err
	}
	g.Name = g.text()
	return g, g.Check()
}

// pair reads two lengths: "70x37", "70 × 37 mm".
func pair(what, s string) (a, b float64, err error) {
	bare := strings.NewReplacer(" ", "", "×", "x", "X", "x", "mm", "", ",", ".").Replace(strings.TrimSpace(s))
	left, right, ok := strings.Cut(bare, "x")
	if ok {
		a, err = strconv.ParseFloat(left, 64)
		if err == nil {
			b, err = strconv.ParseFloat(right, 64)
		}
	}
	if !ok || err != nil || !(a >= 0 && a <= 2000) || !(b >= 0 && b <= 2000) {
		return 0, 0, fmt.Errorf("%s %q: two numbers with x between, as in 70x37", what, s)
	}
	return a, b, nil
}
