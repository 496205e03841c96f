package machine

import (
	"fmt"
	"strings"
)

// Error is one thing wrong in a definition file: where it is, what is wrong,
// and what would be right. Line and Column count from 1; Path names the field,
// e.g. "stages[3].board".
type Error struct {
	File         string
	Line, Column int
	Path         string
	Problem      string
	Want         string // what would be right, and what to do; may be empty
}

// Error writes "file:line:column: path: problem; want".
func (e *Error) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", e.File, e.Line, e.Column)
	if e.Path != "" {
		b.WriteString(e.Path + ": ")
	}
	b.WriteString(e.Problem)
	if e.Want != "" {
		b.WriteString("; " + e.Want)
	}
	return b.String()
}

// ErrorList is every problem found in one file, in the order of its lines. Use
// errors.AsType or a type assertion to reach the single [Error] values.
type ErrorList []*Error

// Error writes one problem a line.
func (l ErrorList) Error() string {
	lines := make([]string, len(l))
	for i, e := range l {
		lines[i] = e.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As reach each problem.
func (l ErrorList) Unwrap() []error {
	out := make([]error, len(l))
	for i, e := range l {
		out[i] = e
	}
	return out
}

// position is a place in the file.
type position struct{ line, column int }

// nearest returns the candidate that looks most like word, if one is close
// enough to be a slip of the hand: at most a third of its letters differ, and
// never more than three.
func nearest(word string, candidates []string) (string, bool) {
	best, bestD := "", 4
	for _, c := range candidates {
		d := editDistance(strings.ToLower(word), strings.ToLower(c))
		if d < bestD {
			best, bestD = c, d
		}
	}
	limit := min(3, 1+len([]rune(word))/3)
	return best, best != "" && bestD <= limit
}

// editDistance is the number of letters to insert, delete, replace or exchange
// with a neighbour to make b of a (optimal string alignment). Long words are cut
// at 64 letters: nobody mistypes a paragraph.
func editDistance(a, b string) int {
	x, y := []rune(a), []rune(b)
	x, y = x[:min(len(x), 64)], y[:min(len(y), 64)]
	d := make([][]int, len(x)+1)
	for i := range d {
		d[i] = make([]int, len(y)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(x); i++ {
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(x)][len(y)]
}

// didYouMean suggests the nearest known name, or lists what is known when
// nothing is near.
func didYouMean(word string, known []string) string {
	if n, ok := nearest(word, known); ok {
		return fmt.Sprintf("did you mean %s?", n)
	}
	return "known here: " + listed(known)
}

// listed joins names for a sentence; a long list is cut.
func listed(names []string) string {
	const most = 24
	if len(names) == 0 {
		return "none"
	}
	if len(names) > most {
		return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
	}
	return strings.Join(names, ", ")
}
