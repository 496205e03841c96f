package export

import (
	"encoding/csv"
	"strings"
	"testing"
)

// TestNoCellIsAFormula: what was typed is text in a spreadsheet program, and a figure a figure.
func TestNoCellIsAFormula(t *testing.T) {
	for typed, want := range map[string]string{
		`=HYPERLINK("http://evil.example","x")`: `'=HYPERLINK("http://evil.example","x")`,
		"=cmd|' /C calc'!A0":                    "'=cmd|' /C calc'!A0",
		"+1+1":                                  "'+1+1", "-2+3": "'-2+3", "@SUM(A1)": "'@SUM(A1)", "\t=1": "'\t=1", "  =1": "'  =1", "-": "'-",
		"-3.25": "-3.25", "+1e3": "+1e3", "-0": "-0", "": "", "plain": "plain", "a=b": "a=b", "'quoted": "''quoted",
	} {
		if got := asText([]string{typed})[0]; got != want {
			t.Errorf("%q is written as %q, want %q", typed, got, want)
		}
	}
}

// TestTablesWriteCellsAsText goes through the table itself.
func TestTablesWriteCellsAsText(t *testing.T) {
	all, err := newTables()
	if err != nil {
		t.Fatal(err)
	}
	defer all.close()
	if err := all.row("documents", "=1+1", "sha", "@x", "-3", "a", "b"); err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	if err := all.byName["documents"].copyTo(&out); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(out.String())).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][0] != "'=1+1" || rows[1][2] != "'@x" || rows[1][3] != "-3" {
		t.Errorf("%q, %v", rows, err)
	}
}
