package plot

import (
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"headstack/unit"
)

// Table holds the figures of a picture as text, the same for pages, report and
// command line. The first cell of a row says what the row is of.
type Table struct {
	Caption string // what, in which unit, and what 0 is
	Head    []string
	Rows    [][]string
	Notes   []string // warnings, rows left out, sources
}

// TableOf is the table of a drawing's figures: each with unit and 95 % interval, or
// the reason why there is none.
func TableOf(d Drawing) Table { return d.table }

// HTML is the table as one element, with caption and with row and column headings
// marked as such, and its notes as a list after it. The caller gives it room to
// scroll sideways.
func (t Table) HTML() template.HTML {
	var b strings.Builder
	b.WriteString("<table class=\"figures\">\n<caption>" + escape(t.Caption) + "</caption>\n<thead><tr>")
	for _, h := range t.Head {
		b.WriteString(`<th scope="col">` + escape(h) + "</th>")
	}
	b.WriteString("</tr></thead>\n<tbody>\n")
	for _, row := range t.Rows {
		b.WriteString("<tr>")
		for i, cell := range row {
			if i == 0 {
				b.WriteString(`<th scope="row">` + escape(cell) + "</th>")
				continue
			}
			b.WriteString("<td" + cellClass(cell) + ">" + escape(cell) + "</td>")
		}
		b.WriteString("</tr>\n")
	}
	b.WriteString("</tbody>\n</table>\n")
	if len(t.Notes) > 0 {
		b.WriteString("<ul class=\"notes\">")
		for _, n := range t.Notes {
			b.WriteString("<li>" + escape(n) + "</li>")
		}
		b.WriteString("</ul>\n")
	}
	return template.HTML(b.String())
}

func cellClass(cell string) string {
	if strings.HasPrefix(cell, refusal) {
		return ` class="` + html.EscapeString("refused") + `"`
	}
	return ""
}

// refusal is how [unit.Figure] begins one.
const refusal = "not measured: "

// Text is the table for a terminal: columns in line, two spaces apart.
func (t Table) Text() string {
	widths := make([]int, len(t.Head))
	each := func(row []string) {
		for i, cell := range row {
			if i < len(widths) {
				widths[i] = max(widths[i], utf8.RuneCountInString(cell))
			}
		}
	}
	each(t.Head)
	for _, r := range t.Rows {
		each(r)
	}
	var b strings.Builder
	b.WriteString(t.Caption + "\n")
	line := func(row []string) {
		var l strings.Builder
		for i, cell := range row {
			l.WriteString(cell)
			if i < len(widths) {
				l.WriteString(strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell)+2))
			}
		}
		b.WriteString(strings.TrimRight(l.String(), " ") + "\n")
	}
	line(t.Head)
	for _, r := range t.Rows {
		line(r)
	}
	for _, n := range t.Notes {
		b.WriteString(n + "\n")
	}
	return b.String()
}

// none stands where nothing was asked for.
const none = "–"

// evenly writes figures without interval with as many decimals each: those that the
// most precise of them has, up to a thousandth of their span.
func evenly(vs []float64, unitName string, sign bool) []string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range vs {
		if drawable(v, false) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	most := 4
	if hi > lo {
		most = min(9, max(0, int(math.Ceil(-math.Log10((hi-lo)/1000)))))
	}
	decimals := 0
	for _, v := range vs {
		for drawable(v, false) && decimals < most && math.Abs(v-roundTo(v, decimals)) > 1e-3*math.Pow(10, -float64(decimals)) {
			decimals++
		}
	}
	out := make([]string, len(vs))
	for i, v := range vs {
		if !drawable(v, false) {
			out[i] = value(v, unitName, sign)
			continue
		}
		out[i] = strconv.FormatFloat(math.Abs(v), 'f', decimals, 64)
		if sign || v < 0 {
			out[i] = unit.Signed(v, decimals)
		}
		if unitName != "" {
			out[i] += unit.ThinSpace + unitName
		}
	}
	return out
}

func roundTo(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}

// value writes a figure without interval to five significant digits: the measure
// gives none for it, which the table's notes say.
func value(v float64, unitName string, sign bool) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return refusal + "no finite value"
	}
	s := strconv.FormatFloat(math.Abs(v), 'g', 5, 64)
	if strings.Contains(s, "e") && math.Abs(v) < beyond && math.Abs(v) >= 1 {
		s = strconv.FormatFloat(math.Abs(v), 'f', 0, 64)
	}
	s = minus(s)
	if v < 0 {
		s = unit.Minus + s
	} else if sign && v > 0 {
		s = "+" + s
	}
	if unitName != "" {
		s += unit.ThinSpace + unitName
	}
	return s
}
