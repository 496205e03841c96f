package teardown

import (
	"errors"
	"fmt"
	"strings"
)

// TaskError is one thing wrong with a task or an option, and what would be right.
type TaskError struct {
	Task    string // its id; empty for an option
	Field   string // "needs", "follows", "open" ...
	Problem string
	Want    string
}

// Error writes `task "t": needs: problem; want`.
func (e *TaskError) Error() string {
	s := "options: "
	if e.Task != "" {
		s = fmt.Sprintf("task %q: ", e.Task)
	}
	if e.Field != "" {
		s += e.Field + ": "
	}
	s += e.Problem
	if e.Want != "" {
		s += "; " + e.Want
	}
	return s
}

func (c *checker) bad(task, field, problem, want string) {
	c.errs = append(c.errs, &TaskError{Task: task, Field: field, Problem: problem, Want: want})
}

func (c *checker) err() error {
	var list []error
	for _, e := range c.errs {
		list = append(list, e)
	}
	return errors.Join(list...)
}

// didYouMean suggests the known names nearest to a word, or lists what is known.
func didYouMean(word string, known []string) string {
	best, at := 4, []string{}
	for _, k := range known {
		switch d := distance(strings.ToLower(word), strings.ToLower(k)); {
		case d < best:
			best, at = d, []string{k}
		case d == best:
			at = append(at, k)
		}
	}
	if len(at) > 0 && best <= 1+len([]rune(word))/3 {
		return "did you mean " + strings.Join(at, " or ") + "?"
	}
	if len(known) == 0 {
		return "there is none"
	}
	return "known: " + listed(known)
}

// distance is the number of letters to insert, delete or replace to make b of a.
// Words are cut at 64 letters.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	x, y = x[:min(len(x), 64)], y[:min(len(y), 64)]
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diagonal := row[0]
		row[0] = i + 1
		for j := range y {
			cost := diagonal
			if x[i] != y[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(row[j+1]+1, row[j]+1, cost)
		}
	}
	return row[len(y)]
}

// listed joins names for a sentence; a long list is cut.
func listed(names []string) string {
	const longest = 24
	if len(names) > longest {
		return strings.Join(names[:longest], ", ") + fmt.Sprintf(" and %d more", len(names)-longest)
	}
	return strings.Join(names, ", ")
}
