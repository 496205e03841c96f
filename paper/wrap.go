package paper

import (
	"strings"
)

// Wrap breaks s into lines no wider than w mm: at line breaks and spaces, and within a word
// that is wider by itself. Thin and no-break spaces hold together. There is always a line.
func (d *Document) Wrap(s string, w float64, t Type) []string {
	var lines []string
	for part := range strings.SplitSeq(strings.ReplaceAll(s, "\r\n", "\n"), "\n") {
		lines = append(lines, d.wrapLine(part, w, t)...)
	}
	return lines
}

func (d *Document) wrapLine(s string, w float64, t Type) []string {
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == '\t' }) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if d.Width(longer, t) <= w {
			line = longer
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		var cut []string
		cut, line = d.cutWord(word, w, t)
		lines = append(lines, cut...)
	}
	if line != "" || len(lines) == 0 {
		lines = append(lines, line)
	}
	return lines
}

// cutWord cuts a word that is wider than a line into full lines and the rest.
func (d *Document) cutWord(word string, w float64, t Type) (lines []string, rest string) {
	for _, r := range word {
		if longer := rest + string(r); rest != "" && d.Width(longer, t) > w {
			lines = append(lines, rest)
			rest = string(r)
		} else {
			rest = longer
		}
	}
	return lines, rest
}

// Fit cuts s to w mm, with an ellipsis where something is cut; cut says whether it was.
func (d *Document) Fit(s string, w float64, t Type) (fits string, cut bool) {
	if d.Width(s, t) <= w {
		return s, false
	}
	r := []rune(s)
	for len(r) > 0 && d.Width(string(r)+"…", t) > w {
		r = r[:len(r)-1]
	}
	return strings.TrimRight(string(r), " ") + "…", true
}
