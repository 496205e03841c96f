package dsp

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"strings"
	"testing"
)

// checkTable is one published table of testdata; each file's first lines name
// its source and say what was re-read and what is from memory.
type checkTable struct {
	t      *testing.T
	name   string
	column map[string]int
	rows   [][]string
}

func readCheckTable(t *testing.T, name string, rows int) checkTable {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != rows+1 {
		t.Fatalf("%s: %d rows, expected %d", name, len(all)-1, rows)
	}
	tab := checkTable{t: t, name: name, column: map[string]int{}, rows: all[1:]}
	for i, c := range all[0] {
		tab.column[c] = i
	}
	return tab
}

// at returns a figure, or whenEmpty for an empty field.
func (tab checkTable) at(row int, column string, whenEmpty float64) float64 {
	i, ok := tab.column[column]
	if !ok {
		tab.t.Fatalf("%s has no column %s", tab.name, column)
	}
	s := strings.TrimSpace(tab.rows[row][i])
	if s == "" {
		return whenEmpty
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		tab.t.Fatalf("%s row %d: %v", tab.name, row+1, err)
	}
	return v
}

var audioRates = []float64{44100, 48000, 88200, 96000, 176400, 192000}

// IEC 61672-1:2013, Table 3 and Annex E: the weighting at the exact
// frequencies, to the last printed digit.
func TestWeightingAIsTheStandards(t *testing.T) {
	tab := readCheckTable(t, "03_iec61672_a_c_weighting.csv", 34)
	for i := range tab.rows {
		hz := tab.at(i, "exact_frequency_hz", math.NaN())
		got := WeightingA(hz)
		// The frequency is printed to 1e-4 Hz and the slope at 10 Hz is 7 dB per Hz.
		if want := tab.at(i, "a_unrounded_db", math.NaN()); math.Abs(got-want) > 0.0005+0.0004 {
			t.Errorf("A(%g Hz) = %.4f dB, want %.3f", hz, got, want)
		}
	}
}

// IEC 61672-1:2013, Annex E: the corner frequencies follow from five agreed
// numbers.
func TestCornersOfA(t *testing.T) {
	fr, fl, fh, fa, d := 1e3, math.Pow(10, 1.5), math.Pow(10, 3.9), math.Pow(10, 2.45), math.Sqrt(0.5)
	b := (fr*fr + fl*fl*fh*fh/(fr*fr) - d*(fl*fl+fh*fh)) / (1 - d)
	c := fl * fl * fh * fh
	root := math.Sqrt(b*b - 4*c)
	want := []float64{math.Sqrt((-b - root) / 2), (3 - math.Sqrt(5)) / 2 * fa, (3 + math.Sqrt(5)) / 2 * fa, math.Sqrt((-b + root) / 2)}
	tab := readCheckTable(t, "03_iec61672_constants.csv", 9+1)
	rows := map[string]float64{}
	for i := range tab.rows {
		rows[tab.rows[i][0][:2]] = tab.at(i, "exact_value", math.NaN())
	}
	for i, got := range []float64{aF1, aF2, aF3, aF4} {
		if math.Abs(got/want[i]-1) > 1e-10 {
			t.Errorf("f%d = %.9f Hz, want %.9f", i+1, got, want[i])
		}
		if printed := rows["f"+strconv.Itoa(i+1)]; got != printed {
			t.Errorf("f%d = %.9f Hz, table says %.9f", i+1, got, printed)
		}
	}
}

// IEC 61672-1:2013, Table 3: class 1 limits (remembered), at every tabulated
// frequency below half the rate; the deviation is from the printed weighting.
func TestFilterAIsClass1(t *testing.T) {
	tab := readCheckTable(t, "03_iec61672_a_c_weighting.csv", 34)
	for _, rate := range audioRates {
		f := NewFilterA(rate)
		worst := 0.0
		for i := range tab.rows {
			hz := tab.at(i, "exact_frequency_hz", math.NaN())
			want := tab.at(i, "a_weighting_db", math.NaN())
			plus, minus := tab.at(i, "class1_2013_plus_db", math.NaN()), tab.at(i, "class1_2013_minus_db", math.NaN())
			d := f.ResponseDB(hz) - want
			if !(d <= plus && d >= minus) {
				t.Errorf("%g Hz rate: A at %g Hz is off by %.3f dB, limits %+g %+g", rate, hz, d, plus, minus)
			}
			worst = math.Max(worst, math.Abs(f.ResponseDB(hz)-WeightingA(hz)))
		}
		t.Logf("%6g Hz rate: largest difference from the formula %.4f dB, settles in %.4f s", rate, worst, f.Settle())
	}
}

// ITU-R BS.468-4, Table 1. The row without a tolerance (6.3 kHz) is held to
// the rounding of the table.
func TestFilter468IsInTolerance(t *testing.T) {
	tab := readCheckTable(t, "02_bs468_weighting.csv", 21)
	for _, rate := range append([]float64{0}, audioRates...) {
		response := Weighting468 // rate 0: the formula itself
		if rate > 0 {
			response = NewFilter468(rate).ResponseDB
		}
		rows := 0
		for i := range tab.rows {
			hz := tab.at(i, "frequency_hz", math.NaN())
			if rate > 0 && hz >= rate/2 {
				continue
			}
			rows++
			want := tab.at(i, "response_db", math.NaN())
			plus := math.Max(0.05, tab.at(i, "tolerance_plus_db", math.NaN()))
			minus := math.Min(-0.05, tab.at(i, "tolerance_minus_db", math.NaN()))
			d := response(hz) - want
			if !(d <= plus && d >= minus) {
				t.Errorf("%g Hz rate: 468 at %g Hz is off by %.3f dB, limits %+g %+g", rate, hz, d, plus, minus)
			}
			if rate == 0 && math.Abs(response(hz)-tab.at(i, "formula_db", math.NaN())) > 0.00051 {
				t.Errorf("formula at %g Hz: %.4f dB, table says %g", hz, response(hz), tab.at(i, "formula_db", math.NaN()))
			}
		}
		if rows < 20 {
			t.Errorf("%g Hz rate: only %d rows tested", rate, rows)
		}
	}
}

// IEC 60386:1972 with Amendment 1:1988 (remembered): the tolerance of each row,
// not its centre. 4 Hz is the reference and has none; 0.1 Hz has no remembered
// tolerance and is held, like all rows, to the residual stated for the formula.
func TestFilterFlutterIsInTolerance(t *testing.T) {
	tab := readCheckTable(t, "01_wow_flutter_weighting.csv", 17)
	for i := range tab.rows {
		hz, want := tab.at(i, "frequency_hz", math.NaN()), tab.at(i, "weighting_db", math.NaN())
		if d := WeightingFlutter(hz) - want; math.Abs(d) > 0.345 {
			t.Errorf("formula at %g Hz: off by %.3f dB, stated residual 0.34", hz, d)
		}
		if d := WeightingFlutter(hz) - tab.at(i, "rational_fit_db", math.NaN()); math.Abs(d) > 0.0051 {
			t.Errorf("formula at %g Hz: %.3f dB, table says %g", hz, WeightingFlutter(hz), tab.at(i, "rational_fit_db", math.NaN()))
		}
	}
	for _, rate := range []float64{200, 250, 500, 1000, 2000, 4000, 8000} {
		f := NewFilterFlutter(rate)
		for i := range tab.rows {
			hz, want := tab.at(i, "frequency_hz", math.NaN()), tab.at(i, "weighting_db", math.NaN())
			if hz >= rate/2 {
				continue
			}
			plus, minus := tab.at(i, "tolerance_plus_db", 4), tab.at(i, "tolerance_minus_db", -4)
			if hz == 4 {
				plus, minus = 1e-9, -1e-9
			}
			d := f.ResponseDB(hz) - want
			if !(d <= plus && d >= minus) {
				t.Errorf("%g Hz rate: flutter weighting at %g Hz is off by %.3f dB, limits %+g %+g", rate, hz, d, plus, minus)
			}
		}
	}
}

// The accuracies that the constructors promise, on a dense grid and at rates
// that no converter has.
func TestFiltersFollowTheirFormulas(t *testing.T) {
	type promise struct {
		from, to, within float64
	}
	check := func(name string, rate float64, f *Filter, formula func(float64) float64, p ...promise) {
		for _, q := range p {
			for hz := q.from; hz <= math.Min(q.to, 0.45*rate); hz *= 1.01 {
				if d := f.ResponseDB(hz) - formula(hz); !(math.Abs(d) <= q.within) {
					t.Errorf("%s at %g Hz rate: %.4f dB off at %.1f Hz, promised %g", name, rate, d, hz, q.within)
					break
				}
			}
		}
	}
	for rate := 44100.0; rate <= 400000; rate *= 1.037 {
		a, n := NewFilterA(rate), NewFilter468(rate)
		check("A", rate, a, WeightingA, promise{5, 16000, 0.1}, promise{16000, 20000, 0.5})
		if rate >= 88200 {
			check("A", rate, a, WeightingA, promise{5, 20000, 0.1})
		}
		check("468", rate, n, Weighting468, promise{5, 31500, 0.1})
	}
	for rate := 32000.0; rate < 44100; rate *= 1.037 {
		check("468", rate, NewFilter468(rate), Weighting468, promise{5, 31500, 0.1})
	}
	for rate := 200.0; rate <= 8000; rate *= 1.037 {
		within := 0.2
		if rate >= 500 {
			within = 0.1
		}
		check("flutter", rate, NewFilterFlutter(rate), WeightingFlutter, promise{0.02, 200, within})
	}
}

func TestWeightingsAtTheEnds(t *testing.T) {
	for name, w := range map[string]func(float64) float64{"A": WeightingA, "468": Weighting468, "flutter": WeightingFlutter} {
		for _, hz := range []float64{0, math.Inf(1), math.Inf(-1)} {
			if got := w(hz); !math.IsInf(got, -1) {
				t.Errorf("%s(%g) = %g, want -Inf", name, hz, got)
			}
		}
		if !math.IsNaN(w(math.NaN())) {
			t.Errorf("%s(NaN) = %g", name, w(math.NaN()))
		}
		if w(-7) != w(7) {
			t.Errorf("%s depends on the sign of the frequency", name)
		}
	}
	f := NewFilter468(48000)
	if !math.IsInf(f.ResponseDB(0), -1) || !cmplx.IsNaN(f.Response(24001)) || !cmplx.IsNaN(f.Response(-1)) || !cmplx.IsNaN(f.Response(math.NaN())) {
		t.Error("response at 0 or outside the band is not as documented")
	}
}
