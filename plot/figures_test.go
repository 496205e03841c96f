package plot_test

import (
	"encoding/csv"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

func readCSV(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
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
	return rows[1:]
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// testdata/08_response_masks.csv: DIN 45500 minimum requirements (part 4, re-read from
// a stored text), the rest trade practice from memory.
func TestMasksAreThoseOfTheTable(t *testing.T) {
	rows := readCSV(t, "testdata/08_response_masks.csv")
	n := 0
	for _, m := range plot.Masks() {
		n += len(m.Bands)
	}
	if n != len(rows) {
		t.Errorf("%d bands, the table has %d", n, len(rows))
	}
	for _, r := range rows {
		m, ok := plot.MaskNamed(r[0])
		if !ok {
			t.Errorf("no mask %q", r[0])
			continue
		}
		from, to, width := float(t, r[1]), float(t, r[2]), float(t, r[3])
		i := slices.IndexFunc(m.Bands, func(b plot.MaskBand) bool { return b.FromHz == from && b.ToHz == to })
		if i < 0 {
			t.Errorf("%s has no band from %g to %g Hz", r[0], from, to)
			continue
		}
		b := m.Bands[i]
		if b.HighDB-b.LowDB != width || b.HighDB != -b.LowDB {
			t.Errorf("%s, %g to %g Hz: %g to %g dB, want a field of %g", r[0], from, to, b.LowDB, b.HighDB, width)
		}
		published := !strings.Contains(r[4], "memory")
		if published == strings.Contains(b.Source, "no source") || b.Source == "" {
			t.Errorf("%s: source %q for a number that is %q", r[0], b.Source, r[4])
		}
	}
}

func TestTheTightestBandHolds(t *testing.T) {
	bands := []plot.MaskBand{{FromHz: 60, ToHz: 12500, LowDB: -1, HighDB: 1}, {FromHz: 30, ToHz: 18000, LowDB: -2, HighDB: 3}}
	for _, c := range []struct{ hz, lo, hi float64 }{{30, -2, 3}, {59, -2, 3}, {60, -1, 1}, {1000, -1, 1}, {12500, -1, 1}, {12501, -2, 3}, {18000, -2, 3}} {
		if lo, hi, ok := plot.Limits(bands, c.hz); !ok || lo != c.lo || hi != c.hi {
			t.Errorf("%g Hz: %g to %g (%v), want %g to %g", c.hz, lo, hi, ok, c.lo, c.hi)
		}
	}
	for _, hz := range []float64{29.9, 18001} {
		if _, _, ok := plot.Limits(bands, hz); ok {
			t.Errorf("%g Hz has limits", hz)
		}
	}
}

func TestPointsOutsideTheMaskAreMarkedAndNamed(t *testing.T) {
	in := []measure.Result{result(1, 100, 0.5, 0.1), result(1, 1000, 1.4, 0.1), result(1, 10000, -1.05, 0.2),
		result(2, 100, 0.9, 0.3), result(2, 40, 1.9, 0.1), result(2, 20000, 9, 0.1)}
	d := plot.DrawResponse(in, plot.Options{Mask: []plot.MaskBand{{FromHz: 60, ToHz: 12500, LowDB: -1, HighDB: 1, Source: "common practice, no source"}}})
	svg := string(d.SVG())
	if n := strings.Count(svg, `class="outside"`); n != 2 {
		t.Errorf("%d crosses, want 2", n)
	}
	texts := wellFormed(t, d.SVG(), "text")
	if !contains(texts, "+0.40") { // 1.4 dB in a field that ends at 1 dB
		t.Errorf("the excess is not written: %q", texts)
	}
	for _, want := range []string{"2 of 4 points lie outside", "track 1 at 1\u2009kHz by +0.40\u2009dB;", "track 1 at 10\u2009kHz by \u22120.05\u2009dB, within its interval"} {
		if !strings.Contains(d.Describe(), want) {
			t.Errorf("no %q in: %s", want, d.Describe())
		}
	}
	if !strings.Contains(strings.Join(texts, " "), "common practice, no source") {
		t.Error("the source of the field is not written under the plot")
	}
	table := plot.TableOf(d)
	if got := table.Rows[0][3]; got != "+1.40\u2009±0.10\u2009dB, outside by +0.40\u2009dB" {
		t.Errorf("cell %q in %q", got, table.Rows)
	}
}

// testdata/06_azimuth_phase.csv: time = s·tan(α)/v, computed with its formula outside
// this project; McKnight, "Azimuth in a Magnetic Tape Recorder": 1', 10 kHz, 9.5 cm/s,
// 6.3 mm tape, about 45 degrees.
func TestAzimuthLineIsTheLawOfAzimuth(t *testing.T) {
	for _, r := range readCSV(t, "testdata/06_azimuth_phase.csv") {
		v, mm, arcmin, us := exactSpeed(float(t, r[0])), float(t, r[2]), float(t, r[3]), float(t, r[4])
		ms := []measure.Result{{Name: "delay", Track: 1, TrackB: 2, ToneHz: 1000, Value: us, Lo: us, Hi: us, Unit: "µs"},
			{Name: "azimuth_line", Value: arcmin, Lo: arcmin, Hi: arcmin, Unit: "arcmin", Conditions: measure.Conditions{SpeedCmS: v}}}
		slope, ok := plot.LineSlope(ms, []unit.Metre{0, unit.Metre(mm * 1e-3)})
		// The table has three decimals.
		if want := us / mm; !ok || math.Abs(slope-want) > 0.0006/mm {
			t.Errorf("%v: %.5f µs/mm, want %.5f", r, slope, want)
		}
		if v > 9.4 && v < 9.6 && mm == 4 && arcmin == 1 {
			if deg := slope * mm * 1e-6 * 10e3 * 360; math.Abs(deg-45) > 2.5 {
				t.Errorf("%.1f degrees at 10 kHz, McKnight has about 45", deg)
			}
		}
	}
}

// exactSpeed undoes the rounding of a speed's name: speeds are 15 inches a second halved
// again and again.
func exactSpeed(cmS float64) float64 {
	for v := 76.2; v > 2; v /= 2 {
		if math.Abs(v-cmS) < 0.01 {
			return v
		}
	}
	return cmS
}

func TestDelayRisesTheWayTheTracksAreLater(t *testing.T) {
	ms, centres := delays(6)
	svg := string(plot.DelayAcross(ms, centres, plot.Options{}).SVG())
	m := regexp.MustCompile(`<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" class="fit" stroke="currentColor"/>`).FindStringSubmatch(svg)
	if m == nil {
		t.Fatal("no azimuth line")
	}
	if !(float(t, m[3]) > float(t, m[1]) && float(t, m[4]) < float(t, m[2])) {
		t.Errorf("a positive azimuth must rise to the right: %v", m[1:])
	}
	if svg := string(plot.DelayAcross(ms, nil, plot.Options{}).SVG()); strings.Contains(svg, `class="fit"`) || !strings.Contains(svg, "are not known") {
		t.Error("without the places of the tracks there must be no line, and a word about it")
	}
}

// testdata of the trade: 3 % third harmonic is 30.46 dB below the fundamental, which DIN
// 45500 prints as about 30.5 dB.
func TestThreePercentLine(t *testing.T) {
	if v, ok := plot.ThreePercent("dB"); !ok || math.Abs(v+30.46) > 0.005 {
		t.Errorf("3 %% is %.3f dB, want -30.46", v)
	}
	if v, ok := plot.ThreePercent("%"); !ok || v != 3 {
		t.Errorf("3 %% is %g %%", v)
	}
}

func TestStepsMarkTheMeasuredLevel(t *testing.T) {
	ts, ms := levelSteps(1)
	d := plot.Steps(ts, ms, plot.Options{})
	texts := strings.Join(wellFormed(t, d.SVG(), "text"), "\n")
	f := ms[0].Figure()
	f.Difference = true
	for _, want := range []string{"3\u2009% at " + f.String(), "replayed level, dB", "recorded level, dB", "third harmonic, %"} {
		if !strings.Contains(texts, want) {
			t.Errorf("no text %q in %q", want, texts)
		}
	}
	if !strings.Contains(d.Describe(), ms[0].Figure().String()) {
		t.Errorf("desc: %s", d.Describe())
	}
	last := plot.TableOf(d).Rows[len(plot.TableOf(d).Rows)-1]
	if last[2] != ms[0].Figure().String() {
		t.Errorf("row %q", last)
	}
	// Without replayed levels the harmonics stand against what was recorded.
	texts = strings.Join(wellFormed(t, plot.Steps(ts[1:], ms, plot.Options{}).SVG(), "text"), "\n")
	if strings.Contains(texts, "replayed level, dB") || !strings.Contains(texts, "3\u2009% at ") {
		t.Errorf("texts %q", texts)
	}
}

func TestCrosstalkCells(t *testing.T) {
	in := crosstalks(4, 1000)
	in = append(in, measure.Result{Name: "crosstalk", Track: 1, TrackB: 2, ToneHz: 1000, Value: -1}) // the first stands
	d := plot.Crosstalk(in, plot.Options{})
	texts := wellFormed(t, d.SVG(), "text")
	if contains(texts, "−1") || !contains(texts, "(a)") || !contains(texts, "(a) not measured: track 4 does not carry the tone") {
		t.Errorf("texts %q", texts)
	}
	if got := unit.Signed(in[0].Value, 0); !contains(texts, got) {
		t.Errorf("no %q in %q", got, texts)
	}
	rows := plot.TableOf(d).Rows
	if len(rows) != 12 {
		t.Fatalf("%d pairs, want 12", len(rows))
	}
	if rows[0][0] != "1 into 2" || rows[0][1] != in[0].Figure().String() {
		t.Errorf("first row %q", rows[0])
	}
	if !strings.Contains(d.Describe(), "11 figures, 1 refused; most crosstalk from track") {
		t.Errorf("desc: %s", d.Describe())
	}
	// More ink for more crosstalk: strokes are counted in their paths.
	strokes := func(db float64) int {
		svg := string(plot.Crosstalk([]measure.Result{{Name: "crosstalk", Track: 1, TrackB: 2, ToneHz: 1000, Value: db, Unit: "dB"}}, plot.Options{}).SVG())
		return strings.Count(strings.Join(regexp.MustCompile(`<path d="([^"]*)"[^>]*class="hatch"`).FindAllString(svg, -1), ""), "M")
	}
	if a, b, c := strokes(-90), strokes(-70), strokes(-10); !(a < b && b < c) {
		t.Errorf("strokes at −90, −70 and −10 dB: %d, %d, %d", a, b, c)
	}
}

func TestTracesAreToldApart(t *testing.T) {
	svg := string(plot.Traces(staircases(), plot.Options{}).SVG())
	lines := regexp.MustCompile(`<polyline [^>]*>`).FindAllString(svg, -1)
	if len(lines) != 3 {
		t.Fatalf("%d curves, want 3", len(lines))
	}
	dash := regexp.MustCompile(`stroke-dasharray="([^"]*)"`)
	seen := map[string]bool{}
	for _, l := range lines {
		seen[strings.Join(dash.FindStringSubmatch(l), "")] = true
	}
	if len(seen) != 3 {
		t.Errorf("%d kinds of line for 3 curves: %v", len(seen), seen)
	}
	for n, want := range map[int]int{4: 1, 5: 5} {
		ts := staircases()
		for tr := 4; tr <= n; tr++ {
			more := ts[0]
			more.Track = tr
			ts = append(ts, more)
		}
		svg := string(plot.Traces(ts, plot.Options{}).SVG())
		// Each panel has its own frame: two lines without class.
		if got := len(regexp.MustCompile(`<line [^>]*y2="[\d.]+" stroke="currentColor"/>`).FindAllString(svg, -1)); (got > 40) != (want > 1) && strings.Contains(svg, "track 5") != (want > 1) {
			t.Errorf("%d tracks: small multiples %v", n, want > 1)
		}
	}
}

func TestGapsStayGaps(t *testing.T) {
	tr := driftTrace()
	tr.Points[5].Y = math.NaN()
	tr.Points[12].Y = math.Inf(1)
	d := plot.Trace(tr, plot.Options{})
	if n := strings.Count(string(d.SVG()), "<polyline"); n != 3 {
		t.Errorf("%d pieces, want 3 between two gaps", n)
	}
	if !strings.Contains(d.Describe(), "22 points") || !strings.Contains(d.Describe(), "2 points have no place") {
		t.Errorf("desc: %s", d.Describe())
	}
	if got := plot.TableOf(d).Rows[5][1]; got != "not measured: no finite value" {
		t.Errorf("cell %q", got)
	}
}

func TestBoundsThatAreNoIntervalsSaySo(t *testing.T) {
	d := plot.Trace(speedTrace(), plot.Options{})
	texts := strings.Join(wellFormed(t, d.SVG(), "text"), " ")
	notes := strings.Join(plot.TableOf(d).Notes, " ")
	if strings.Contains(texts, "95") || strings.Contains(notes, "95") || !strings.Contains(texts, "not an interval") || !strings.Contains(notes, "not an interval") {
		t.Errorf("texts %q, notes %q", texts, notes)
	}
	if cell := plot.TableOf(d).Rows[0][1]; strings.Contains(cell, "±") {
		t.Errorf("cell %q", cell)
	}
}

func TestTableListsWhatMatters(t *testing.T) {
	tr := speedTrace()
	tr.Points[333].Y = 0.7
	d := plot.Trace(tr, plot.Options{TableRows: 10})
	tb := plot.TableOf(d)
	if len(tb.Rows) < 11 || len(tb.Rows) > 12 {
		t.Errorf("%d rows, want 10 and the extremes", len(tb.Rows))
	}
	if !slices.ContainsFunc(tb.Rows, func(r []string) bool { return strings.HasPrefix(r[1], "+0.7\u2009%") }) {
		t.Errorf("the highest point is not listed: %q", tb.Rows)
	}
	if len(plot.TableOf(plot.Trace(tr, plot.Options{TableRows: -1})).Rows) != 600 {
		t.Error("all rows were asked for")
	}
	sp := plot.TableOf(plot.Trace(spectrumTrace(), plot.Options{}))
	if sp.Rows[0][2] != "supply reel" || sp.Rows[0][0] != "0.31\u2009Hz" {
		t.Errorf("named lines come first: %q", sp.Rows[0])
	}
	html := string(sp.HTML())
	for _, want := range []string{"<caption>", `<th scope="col">`, `<th scope="row">`} {
		if !strings.Contains(html, want) {
			t.Errorf("no %s in the table", want)
		}
	}
}

// Axes: ticks rise, are evenly spaced, lie within the ends and are about as many as
// there is room for.
func TestAxesAreReadable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of := measure.Axis{Label: "x", Unit: rapid.SampledFrom([]string{"", "s", "dB", "%", "Hz"}).Draw(t, "unit"), Log: rapid.Bool().Draw(t, "log")}
		lo := math.Pow(10, rapid.Float64Range(-6, 6).Draw(t, "lo"))
		hi := lo * math.Pow(10, rapid.Float64Range(0, 9).Draw(t, "ratio"))
		if !of.Log && rapid.Bool().Draw(t, "negative") {
			lo = -lo
		}
		room := rapid.Float64Range(2, 12).Draw(t, "room")
		outward := rapid.Bool().Draw(t, "outward")
		values, labels, from, to := plot.Ticks(of, lo, hi, outward, room)
		if !(from < to) || outward && (from > lo*(1+1e-6) && from > lo+1e-6 || to < hi*(1-1e-6)) {
			t.Fatalf("axis %g to %g does not hold %g to %g", from, to, lo, hi)
		}
		named := 0
		for i, v := range values {
			if v < from-1e-9*math.Abs(from)-1e-12 || v > to*(1+1e-9)+1e-12 || i > 0 && v <= values[i-1] {
				t.Errorf("tick %g of %v outside %g to %g", v, values, from, to)
			}
			if labels[i] != "" {
				named++
			}
		}
		if float64(named) > room+3 {
			t.Errorf("%d labels where %.1f have room: %q", named, room, labels)
		}
		if !of.Log && len(values) > 2 {
			step := values[1] - values[0]
			for i := range values[1:] {
				if math.Abs(values[i+1]-values[i]-step) > 1e-6*step {
					t.Errorf("uneven ticks %v", values)
				}
			}
		}
	})
}

func TestCombsAreLinesOfTheirOwn(t *testing.T) {
	var in []measure.Result
	for _, hz := range []float64{63, 1000, 10000} {
		r := result(1, hz, 0.25, 0.01)
		r.Section = unit.Frequency(unit.Hertz(hz))
		in = append(in, r)
	}
	for _, hz := range []float64{40, 100, 400, 1000, 4000, 12500} {
		r := result(1, hz, 0, 0.01)
		r.Section = "comb"
		in = append(in, r)
	}
	d := plot.DrawResponse(in, plot.Options{})
	svg := string(d.SVG())
	if n := strings.Count(svg, "<polyline"); n != 2 {
		t.Errorf("%d lines, want single tones and comb apart", n)
	}
	if n := strings.Count(svg, `fill="none" class="track k0 open"`); n != 6 {
		t.Errorf("%d open points, want the 6 of the comb", n)
	}
	if h := plot.TableOf(d).Head; !slices.Contains(h, "1\u2009kHz, comb") || !slices.Contains(h, "1\u2009kHz, 1\u2009kHz") || !slices.Contains(h, "40\u2009Hz") {
		t.Errorf("columns %q", h)
	}
	if n := strings.Count(string(plot.Response(in[3:], plot.Options{})), "open"); n != 0 {
		t.Error("a comb alone needs no open points")
	}
}

func TestAConstantLevelLooksConstant(t *testing.T) {
	tr := measure.Trace{Name: "level_time", Track: 1, X: measure.Axis{Label: "time", Unit: "s"}, Y: measure.Axis{Label: "level", Unit: "dB"}}
	for i := range 50 {
		y := 0.002 * float64(i%2)
		tr.Points = append(tr.Points, measure.Point{X: 0.1 * float64(i), Y: y, Lo: y, Hi: y})
	}
	d := plot.Trace(tr, plot.Options{})
	if texts := wellFormed(t, d.SVG(), "text"); contains(texts, "+0.001") {
		t.Errorf("two thousandths of a decibel fill the panel: %q", texts)
	}
	rows := plot.TableOf(d).Rows
	if rows[0][0] != "0.0\u2009s" || rows[10][0] != "1.0\u2009s" && rows[10][0] != "1.2\u2009s" {
		t.Errorf("places have unequal decimals: %q %q", rows[0], rows[10])
	}
}

func BenchmarkPNG(b *testing.B) {
	d := plot.Crosstalk(crosstalks(24, 1000), plot.Options{})
	n := 0
	for b.Loop() {
		if err := plot.WritePNG(io.Discard, d, 2); err != nil {
			b.Fatal(err)
		}
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "pictures/s")
}

func BenchmarkSVG(b *testing.B) {
	ts := levelTraces(24, 3)
	n := 0
	for b.Loop() {
		plot.Traces(ts, plot.Options{}).SVG()
		n++
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "pictures/s")
}
