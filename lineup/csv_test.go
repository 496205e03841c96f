package lineup_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// table is one published check table of testdata; each file's first lines name its
// source.
type table struct {
	t      *testing.T
	name   string
	column map[string]int
	rows   [][]string
}

func readTable(t *testing.T, name string) table {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 5 {
		t.Fatalf("%s: only %d rows", name, len(rows))
	}
	tab := table{t: t, name: name, column: map[string]int{}, rows: rows[1:]}
	for i, c := range rows[0] {
		tab.column[c] = i
	}
	return tab
}

func (tab table) text(row int, column string) string {
	i, ok := tab.column[column]
	if !ok {
		tab.t.Fatalf("%s has no column %s", tab.name, column)
	}
	return tab.rows[row][i]
}

func (tab table) number(row int, column string) float64 {
	v, err := strconv.ParseFloat(tab.text(row, column), 64)
	if err != nil {
		tab.t.Fatalf("%s row %d: %v", tab.name, row+1, err)
	}
	return v
}

// exactSpeed undoes the rounding of speeds in print: the tables are computed with the
// inch values.
func exactSpeed(t *testing.T, printed float64) float64 {
	for _, exact := range []float64{4.7625, 9.525, 19.05, 38.1, 76.2} {
		if math.Abs(exact-printed) < 0.006 {
			return exact
		}
	}
	t.Fatalf("speed %v is no standard one", printed)
	return 0
}

// near checks got against a printed value with half a unit of its last place, plus extra
// where what it is made of is itself rounded.
func (tab table) near(row int, column string, got, lastPlace, extra float64) {
	tab.t.Helper()
	want := tab.number(row, column)
	if tolerance := lastPlace/2*(1+1e-9) + extra; !(math.Abs(got-want) <= tolerance) {
		tab.t.Errorf("%s row %d %s: got %.6f, want %.6f ± %.6f (%v)", tab.name, row+1, column, got, want, tolerance, tab.rows[row])
	}
}
