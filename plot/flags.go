package plot

import (
	"math"
	"strconv"
	"strings"
)

// flag is a name that stands in a row above a panel, with a line down to its place.
type flag struct {
	x, y float64 // place
	name string
	key  string // letter under which the name stands below the panel, where there is no room

	row  int
	left bool // the name stands left of its line
}

const (
	flagHigh = 15.0 // from row to row
	flagRows = 8    // more rows than this are not read; names become letters
	flagGap  = 4.0  // from the line to its name
)

var flagInk = ink{size: 11.5}

func (f flag) label() string {
	if f.key != "" {
		return f.key
	}
	return f.name
}

// span is what the name covers of its row.
func (f flag) span(left bool) (from, to float64) {
	w := textWidth(f.label(), flagInk)
	if left {
		return f.x - flagGap - w, f.x - flagGap
	}
	return f.x + flagGap, f.x + flagGap + w
}

// setFlags gives every flag its row and side so that no name meets another and no
// line runs through a name, between x0 and x1, and returns the number of rows. Names
// without room become letters, which the caller explains.
func setFlags(flags []flag, x0, x1 float64) int {
	rows, stuck := placeFlags(flags, x0, x1)
	for stuck >= 0 || rows > flagRows {
		if stuck < 0 || rows > flagRows {
			lettered := true
			for i := range flags {
				lettered = lettered && flags[i].key != ""
				flags[i].key = letterOf(i)
			}
			if lettered {
				return rows // as close as letters can stand
			}
		} else {
			flags[stuck].key = letterOf(stuck)
		}
		rows, stuck = placeFlags(flags, x0, x1)
	}
	return rows
}

// placeFlags fills the rows from the lowest, nearest to the panel. A name may stand
// where it covers no line of a name still to come, for that line passes through this
// row. stuck is a flag for which there was no way, or −1.
func placeFlags(flags []flag, x0, x1 float64) (rows, stuck int) {
	todo := make([]int, len(flags))
	for i := range flags {
		todo[i] = i
	}
	for row := 0; len(todo) > 0; row++ {
		var inRow []int
		for n := len(todo) - 1; n >= 0; n-- {
			i := todo[n]
			for _, left := range []bool{false, true} {
				if fits(flags, i, left, todo, inRow, x0, x1) {
					flags[i].row, flags[i].left = row, left
					inRow = append(inRow, i)
					todo = append(todo[:n:n], todo[n+1:]...)
					break
				}
			}
		}
		if len(inRow) == 0 {
			return row, longest(flags, todo)
		}
		rows = row + 1
	}
	return rows, -1
}

// fits says whether the name of flag i can stand in the row.
func fits(flags []flag, i int, left bool, todo, inRow []int, x0, x1 float64) bool {
	from, to := flags[i].span(left)
	// A letter may lean into the margin, so that there is always a way.
	if flags[i].key == "" && (from < x0 || to > x1) {
		return false
	}
	if flags[i].key != "" && left {
		return false
	}
	for _, j := range todo {
		if j != i && flags[j].x > from-2 && flags[j].x < to+2 {
			return false
		}
	}
	for _, j := range inRow {
		f, t := flags[j].span(flags[j].left)
		if from < t+6 && f < to+6 {
			return false
		}
		// The line of flag j ends in this row, beside its own name.
		if flags[j].x > from-2 && flags[j].x < to+2 {
			return false
		}
		if flags[i].x > f-2 && flags[i].x < t+2 {
			return false
		}
	}
	return true
}

func longest(flags []flag, of []int) int {
	best := of[0]
	for _, i := range of {
		if flags[i].key == "" && (flags[best].key != "" || textWidth(flags[i].name, flagInk) > textWidth(flags[best].name, flagInk)) {
			best = i
		}
	}
	return best
}

// letterOf gives a, b ... z, a1, b1 ...
func letterOf(i int) string {
	s := string(rune('a' + i%26))
	if i >= 26 {
		s += strconv.Itoa(i / 26)
	}
	return s
}

// drawFlags writes the names above top and the lines down to the places.
func drawFlags(c *canvas, flags []flag, top float64) {
	for _, f := range flags {
		y := top - 5 - flagHigh*float64(f.row)
		anchor, x := "start", f.x+flagGap
		if f.left {
			anchor, x = "end", f.x-flagGap
		}
		c.line(f.x, y-8, f.x, f.y, ink{class: "leader", width: 0.8, opacity: 0.7})
		c.polygon([]float64{f.x, f.y - 4, f.x + 4, f.y, f.x, f.y + 4, f.x - 4, f.y}, ink{class: "flag", fill: pen})
		c.text(x, y, anchor, f.label(), flagInk)
	}
}

// flagKey explains the letters: "a capstan · b pinch roller".
func flagKey(flags []flag) string {
	var parts []string
	for _, f := range flags {
		if f.key != "" {
			parts = append(parts, f.key+"\u00a0"+f.name)
		}
	}
	return strings.Join(parts, " · ")
}

// spread moves heights apart by gap at least, within lo to hi, keeping their order;
// at must be ascending. Where they do not fit they are spread evenly.
func spread(at []float64, gap, lo, hi float64) []float64 {
	out := append([]float64{}, at...)
	if n := float64(len(out) - 1); n > 0 && gap*n > hi-lo {
		gap = (hi - lo) / n
	}
	for i := range out {
		out[i] = math.Max(out[i], lo+float64(i)*gap)
		if i > 0 {
			out[i] = math.Max(out[i], out[i-1]+gap)
		}
	}
	for i := len(out) - 1; i >= 0; i-- {
		out[i] = math.Min(out[i], hi-float64(len(out)-1-i)*gap)
	}
	return out
}
