package bias

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"headstack/machine"
	"headstack/programme"
	"headstack/unit"

	"pgregory.net/rapid"
)

// The table as it was published, row by row (testdata/overbias.csv says of each figure
// where it is from).
func TestOverbiasTable(t *testing.T) {
	f, err := os.Open("testdata/overbias.csv")
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
	if len(rows)-1 != len(usualOverbias) {
		t.Fatalf("%d rows published, %d here", len(rows)-1, len(usualOverbias))
	}
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	for i, row := range rows[1:] {
		lo, hi, _ := strings.Cut(row[2], " to ")
		want := usual{num(row[0]), num(row[1]), num(lo), num(hi), num(row[3])}
		if usualOverbias[i] != want {
			t.Errorf("row %d: %+v, published %+v", i+1, usualOverbias[i], want)
		}
		a, ok := Overbias(want.speedCmS, unit.Metre(want.gapUm*1e-6))
		if !ok || math.Abs(a.FallDB-want.middle) > 1e-9 || a.LoDB > want.lo+1e-9 || a.HiDB < want.hi-1e-9 || a.HiDB-a.LoDB < 2*disagreement-1e-9 {
			t.Errorf("row %d: aim %+v", i+1, a)
		}
	}
	if _, ok := Overbias(9.525, 1.5e-6); ok {
		t.Error("the table has no cassette")
	}
	if a := UsualAim(9.525, 0); a.Recipe != Flat {
		t.Errorf("a cassette's aim is %+v", a)
	}
	if a, ok := Overbias(38.1, 0); !ok || len(a.Warnings) != 1 || a.LoDB > 2 || a.HiDB < 3.5 {
		t.Errorf("of an unknown gap: %+v", a)
	}
	// Between gaps the aim lies between those of the table.
	rapid.Check(t, func(t *rapid.T) {
		um := rapid.Float64Range(6.3, 25).Draw(t, "gap")
		if a, ok := Overbias(38.1, unit.Metre(um*1e-6)); !ok || a.FallDB < 2 || a.FallDB > 3 || a.LoDB > a.FallDB || a.HiDB < a.FallDB {
			t.Fatalf("%+v", a)
		}
	})
}

// A law there and back, inside the travel and beyond it.
func TestLawThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := Law{SpanDB: rapid.Float64Range(1, 40).Draw(t, "span"), Bend: rapid.Float64Range(-0.6, 0.6).Draw(t, "bend")}
		p := rapid.Float64Range(0, 1).Draw(t, "position")
		if got := l.Position(l.DB(p)); math.Abs(got-p) > 1e-9 {
			t.Fatalf("%g came back as %g", p, got)
		}
		q := rapid.Float64Range(0, 1).Draw(t, "other")
		if p < q && !(l.DB(p) < l.DB(q)) {
			t.Fatal("a law that does not rise")
		}
	})
}

// Readings at the test point teach the law, whatever their unit; one teaches nothing.
func TestLearn(t *testing.T) {
	true1 := Law{SpanDB: 9.8, Bend: 0.35}
	var rs []BiasReading
	for _, p := range []float64{0.05, 0.3, 0.6, 0.95} {
		rs = append(rs, BiasReading{Position: p, Value: 0.21 * math.Pow(10, true1.DB(p)/20), SDDB: 0.05})
	}
	before := UsualLaw()
	if one := before.Learn(rs[:1]); one != before {
		t.Errorf("one reading: %+v", one)
	}
	got := before.Learn(rs)
	if math.Abs(got.SpanDB/true1.SpanDB-1) > 0.02 || math.Abs(got.Bend-true1.Bend) > 0.06 {
		t.Errorf("learned %+v, want %+v", got, true1)
	}
	if !(got.Spread < before.Spread/3 && got.BendSD < before.BendSD/3) {
		t.Errorf("spread %.3f and %.3f after four readings", got.Spread, got.BendSD)
	}
	for i := range rs {
		rs[i].Value *= 1000
	}
	if again := before.Learn(rs); math.Abs(again.SpanDB-got.SpanDB) > 1e-4 || math.Abs(again.Bend-got.Bend) > 1e-5 {
		t.Errorf("in another unit %+v, before %+v", again, got)
	}
}

// The trims of the invented recorders, and what is no bias trim.
func TestTrimOf(t *testing.T) {
	for _, c := range []struct {
		text string
		span float64
		ok   bool
	}{
		{"0.25 to 0.60 mA", 7.604, true}, // 20·lg 2.4
		{"2 to 7 mA", 10.881, true},      // 20·lg 3.5
		{"±4 dB", 8, true},
		{"4 turns", 0, false},
		{"0.6 to 0.2 mA", 0, false},
		{"84 to 100 kHz", 0, false},
	} {
		if got, ok := spanOf(c.text); ok != c.ok || math.Abs(got-c.span) > 1e-3 {
			t.Errorf("%q: %.3f dB, %v", c.text, got, ok)
		}
	}
	for _, id := range machine.BuiltinNames() {
		d, _ := machine.Builtin(id)
		n := 0
		for _, tr := range d.Trims {
			x, err := TrimOf(tr, 1, 0.5)
			if tr.Sets != "bias" {
				if !errors.Is(err, ErrTrim) {
					t.Errorf("%s %s: %v", id, tr.ID, err)
				}
				continue
			}
			n++
			if err != nil || x.Law.SpanDB == UsualLaw().SpanDB {
				t.Errorf("%s %s: %+v, %v", id, tr.ID, x, err)
			}
		}
		if n == 0 {
			t.Errorf("%s has no bias trim", id)
		}
	}
}

func TestWords(t *testing.T) {
	up, down := Trim{Sign: 1}, Trim{Sign: -1}
	many := Trim{Sign: 1, Turns: 15, Now: 0.5}
	for _, c := range []struct {
		trim Trim
		at   float64
		want string
	}{
		{up, 0, "7:00 o'clock"}, {up, 0.5, "12:00 o'clock"}, {up, 1, "5:00 o'clock"}, {up, 0.25, "9:30 o'clock"}, {up, 0.58, "12:50 o'clock"},
		{down, 0, "5:00 o'clock"}, {down, 0.75, "9:30 o'clock"},
		{many, 0.5, "where it stood"}, {many, 0.6, "1.50 turns clockwise of where it stood"}, {many, 0.45, "0.75 turns counter-clockwise of where it stood"},
	} {
		if got := c.trim.Words(c.at); got != c.want {
			t.Errorf("%g: %q, want %q", c.at, got, c.want)
		}
	}
}

// Plans rise, keep to the travel, hold the expected peak, and their programme is one
// that can be recorded: a round for each track, both tones 20 dB down.
func TestPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		trim := Trim{ID: "B", Track: rapid.IntRange(1, 8).Draw(t, "track"), Sign: 1, Now: rapid.Float64Range(0, 1).Draw(t, "now"),
			Law: Law{SpanDB: rapid.Float64Range(3, 30).Draw(t, "span"), Spread: 0.25, Bend: rapid.Float64Range(-0.5, 0.5).Draw(t, "bend"), BendSD: 0.2}}
		w := Want{Tones: Tones{TrebleHz: 10000, LowHz: 315, SpeedCmS: 9.525}, Steps: rapid.IntRange(4, 12).Draw(t, "steps"), Third: rapid.Bool().Draw(t, "third"), Aim: CassetteAim()}
		p, err := New(w, trim)
		if err != nil {
			t.Fatal(err)
		}
		at := p.Tracks[0].Positions
		if len(at) != w.Steps || !slices.IsSorted(at) || at[0] < 0 || at[len(at)-1] > 1 || len(slices.Compact(slices.Clone(at))) != len(at) {
			t.Fatalf("positions %v", at)
		}
		_, part := p.staircase()
		if part.Steps() != w.Steps || len(part.All) != 2 || part.All[0] != (programme.Sine{Hz: 10000, LevelDB: -20}) || part.All[1] != (programme.Sine{Hz: 315, LevelDB: -20}) {
			t.Fatalf("staircase %+v", part)
		}
		if err := p.Programme.Check(); err != nil {
			t.Fatal(err)
		}
		if got := p.Programme.Rounds[p.Tracks[0].Round]; len(got) != 1 || got[0] != trim.Track {
			t.Fatalf("rounds %v", p.Programme.Rounds)
		}
		cues := p.Cues(0)
		for i := range cues[1:] {
			if cues[i].AtS > cues[i+1].AtS {
				t.Fatalf("cue %q comes before %q", cues[i].Say, cues[i+1].Say)
			}
		}
	})
}

// What is asked for that no bench has is refused by a typed error.
func TestPlanRefuses(t *testing.T) {
	good := Trim{ID: "B", Track: 1, Sign: 1, Now: 0.5, Law: UsualLaw()}
	w := Want{Tones: studio}
	with := func(f func(*Trim)) Trim { x := good; f(&x); return x }
	for name, err := range map[string]error{
		"no track":      second(New(w)),
		"track twice":   second(New(w, good, good)),
		"off the dial":  second(New(w, with(func(x *Trim) { x.Now = 1.2 }))),
		"no sign":       second(New(w, with(func(x *Trim) { x.Sign = 0 }))),
		"no law":        second(New(w, with(func(x *Trim) { x.Law = Law{} }))),
		"NaN":           second(New(w, with(func(x *Trim) { x.Now = math.NaN() }))),
		"law of a fold": second(New(w, with(func(x *Trim) { x.Law.Bend = 2 }))),
	} {
		if !errors.Is(err, ErrTrim) {
			t.Errorf("%s: %v", name, err)
		}
	}
	lvl := &Level{Value: 1}
	for name, err := range map[string]error{
		"tones":     second(Fit(good, Tones{TrebleHz: 100, SpeedCmS: 38})),
		"no pass":   second(Fit(good, studio)),
		"falling":   second(Fit(good, studio, Staircase{Readings: []Reading{{Position: 0.5, Treble: lvl}, {Position: 0.4, Treble: lvl}}})),
		"off":       second(Fit(good, studio, Staircase{Readings: []Reading{{Position: 1.5, Treble: lvl}}})),
		"no number": second(Fit(good, studio, Staircase{Readings: []Reading{{Position: 0.5, Treble: &Level{Value: math.NaN()}}}})),
		"few steps": second(New(Want{Tones: studio, Steps: 2}, good)),
	} {
		if !errors.Is(err, ErrReadings) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// Where a hand can be hurt the caution comes before the step, and codes and licensed
// practice are named.
func TestCautionsComeFirst(t *testing.T) {
	good := Trim{ID: "B", Track: 1, Sign: -1, Now: 0.5, Law: UsualLaw()}
	p, err := New(Want{Tones: studio, Aim: UsualAim(38.1, 0)}, good)
	if err != nil {
		t.Fatal(err)
	}
	b := newBench(1, 0, 1e-3)
	c, err := Fit(b.trim, studio, b.record(b.positions(t)))
	if err != nil {
		t.Fatal(err)
	}
	for name, steps := range map[string][]string{
		"two heads":   p.TwoHead(),
		"three heads": ThreeHead(good, studio, UsualAim(38.1, 0)),
		"low tone":    ThreeHead(good, studio, LowToneAim()),
		"flat":        ThreeHead(good, studio, CassetteAim()),
		"setting":     c.Set(Aim{FallDB: 3}).Steps,
	} {
		caution := slices.IndexFunc(steps, func(s string) bool {
			return strings.HasPrefix(s, "Caution") && strings.Contains(s, "licensed practice") && strings.Contains(s, "60 V r.m.s.")
		})
		turn := slices.IndexFunc(steps, regexp.MustCompile(`(?i)\bturn (trim|clockwise|counter)|turn up to`).MatchString)
		if caution < 0 || turn < 0 || turn < caution {
			t.Errorf("%s: caution at %d, first turn at %d of %q", name, caution, turn, steps)
		}
	}
	if s := strings.Join(p.TwoHead(), " "); !strings.Contains(s, "×10 probe") || !strings.Contains(s, "13 dB low") {
		t.Error("probe loading and the meter's bandwidth are not said")
	}
}

// Names in JSON are a contract: lower case with underscores.
func TestJSONNames(t *testing.T) {
	b := newBench(2, 0.25, 0.03)
	c, err := Fit(b.trim, studio, b.record(b.positions(t)))
	if err != nil {
		t.Fatal(err)
	}
	plan, err := Next(Want{Tones: studio, Aim: Aim{FallDB: 3}}, c)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []any{c, c.Set(Aim{FallDB: 3}), plan, plan.Cues(0), c.More(Want{Tones: studio, Aim: Aim{FallDB: 3}}, 0.3)} {
		data, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`"([^"]*)":`).FindAllStringSubmatch(string(data), -1) {
			if !regexp.MustCompile(`^[a-z0-9_]+$`).MatchString(m[1]) {
				t.Errorf("%T has a key %q", v, m[1])
			}
		}
	}
}

// The second staircase has steps about the peak and about the setting; a peak outside
// moves it the way it lies.
func TestNext(t *testing.T) {
	b := newBench(5, 0, 1e-3)
	w := Want{Tones: studio, Aim: Aim{FallDB: 3}}
	c, err := Fit(b.trim, studio, b.record(b.positions(t)))
	if err != nil {
		t.Fatal(err)
	}
	p, err := Next(w, c)
	if err != nil {
		t.Fatal(err)
	}
	at, s := p.Tracks[0].Positions, c.Set(w.Aim)
	near := func(to float64) (n int) {
		for _, x := range at {
			if math.Abs(b.trim.Law.DB(x)-b.trim.Law.DB(to)) < 2 {
				n++
			}
		}
		return n
	}
	if len(at) != 7 || near(c.Peak.Position) < 3 || near(s.At.Position) < 3 {
		t.Errorf("positions %v, peak %.3f, setting %.3f", at, c.Peak.Position, s.At.Position)
	}
	for _, d := range []struct {
		lo, hi float64
		want   Verdict
	}{{-7, -2, Above}, {2, 6, Below}} {
		mid := b.trim.Law.DB(b.peak)
		var x []float64
		for i := range 6 {
			x = append(x, clamp(b.trim.Law.Position(math.Max(0.01*float64(i), mid+d.lo+(d.hi-d.lo)*float64(i)/5))))
		}
		c, err := Fit(b.trim, studio, b.record(x))
		if err != nil || c.Verdict != d.want {
			t.Fatalf("verdict %s of %v, want %s (%v)", c.Verdict, x, d.want, err)
		}
		p, err := Next(w, c)
		if err != nil {
			t.Fatal(err)
		}
		y := p.Tracks[0].Positions
		if d.want == Above && y[len(y)-1] <= x[len(x)-1] || d.want == Below && y[0] >= x[0] {
			t.Errorf("%s: after %v come %v", d.want, x, y)
		}
	}
}
