package job

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"headstack/measure"
)

// Lengths of what a person types, in characters. They are far above what a
// bench needs and keep a pasted log file out of a remark.
const (
	maxLine = 200  // serial number, owner, instrument, file name ...
	maxText = 4000 // remark, note, claim
)

const (
	oneLine   = false
	manyLines = true
)

// cleanText trims a text in place and refuses one that cannot be kept exactly
// or shown safely.
func cleanText(field string, s *string, limit int, lines bool) error {
	t := strings.TrimSpace(strings.ReplaceAll(*s, "\r\n", "\n"))
	if !utf8.ValidString(t) {
		return &InvalidError{Field: field, Value: strings.ToValidUTF8(shorten(t), "�"), Problem: "is not text in UTF-8"}
	}
	if n := utf8.RuneCountInString(t); n > limit {
		return &InvalidError{Field: field, Value: shorten(t), Problem: fmt.Sprintf("has %d characters; at most %d are kept", n, limit)}
	}
	for _, r := range t {
		if unicode.IsControl(r) && !(lines && (r == '\n' || r == '\t')) {
			return &InvalidError{Field: field, Value: shorten(t), Problem: fmt.Sprintf("contains the control character %U", r)}
		}
	}
	*s = t
	return nil
}

// shorten keeps an error message readable.
func shorten(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}

var caseStates = []measure.CaseState{measure.CaseUnknown, measure.CaseClosed, measure.CasePropped, measure.CaseOpen}

func checkCase(c measure.CaseState) error {
	if slices.Contains(caseStates, c) {
		return nil
	}
	return &InvalidError{Field: "case state", Value: shorten(string(c)), Problem: "is not known",
		Nearest: []string{"closed", "propped", "open", "or nothing where it is not known"}}
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func asNotFound(err error) (*NotFoundError, bool) {
	return errors.AsType[*NotFoundError](err)
}

// nearest returns the few of valid that are most like s, for an error message.
func nearest(s string, valid []string) []string {
	const most = 6
	type scored struct {
		text     string
		distance int
	}
	s = strings.ToLower(shorten(s))
	list := make([]scored, len(valid))
	for i, v := range valid {
		list[i] = scored{v, distance(s, strings.ToLower(v))}
	}
	slices.SortStableFunc(list, func(a, b scored) int { return cmp.Compare(a.distance, b.distance) })
	var out []string
	for _, v := range list[:min(most, len(list))] {
		out = append(out, v.text)
	}
	return out
}

// distance is the number of letters to insert, remove or replace between a and
// b (Wagner and Fischer, J. ACM 21(1), 1974), less one for each letter of a
// common beginning, because ids of one family begin alike.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
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
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	common := 0
	for common < min(len(x), len(y)) && x[common] == y[common] {
		common++
	}
	return row[len(y)] - common
}
