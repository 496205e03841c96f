package export

import (
	"strconv"
	"strings"
)

// asText keeps a spreadsheet program from running what was typed: it takes a cell that
// begins with one of these signs for a formula, which can fetch from elsewhere or start a
// program. Such a cell gets an apostrophe before it, which those programs show as text. A
// number keeps its sign. The exact texts are in the JSON files beside the tables. (Common
// practice, from memory: OWASP, CSV Injection.)
func asText(cells []string) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		if strings.HasPrefix(c, "'") || strings.ContainsAny(firstOf(strings.TrimLeft(c, " ")), "=+-@\t\r\n") && !isNumber(c) {
			c = "'" + c
		}
		out[i] = c
	}
	return out
}

// firstOf is the first character of a text, where it has one.
func firstOf(s string) string { return s[:min(1, len(s))] }

func isNumber(s string) bool {
	_, err := strconv.ParseFloat(s, 64)
	return err == nil
}
