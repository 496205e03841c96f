package sim_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"headstack/machine"
	"headstack/sim"
	"headstack/testtape"
)

func hexastrand(t testing.TB) *machine.Definition {
	t.Helper()
	def, ok := machine.Builtin("hexastrand")
	if !ok {
		t.Fatal("no definition hexastrand")
	}
	return def
}

// exact is a bench whose readings have no error and whose parts are all alike.
func exact(t testing.TB, faults ...sim.Fault) *sim.Bench {
	t.Helper()
	b, err := sim.NewBench(hexastrand(t), 1, faults...)
	if err != nil {
		t.Fatal(err)
	}
	b.ReadingNoiseDB, b.InstrumentDB, b.Spread = 0, 0, 0
	return b
}

func read(t testing.TB, b *sim.Bench, p sim.Probe) sim.Reading {
	t.Helper()
	r, err := b.Read(p)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func dB(ratio float64) float64 { return 20 * math.Log10(ratio) }

// A good machine reads what its definition expects: the values of the invented
// recorder's sheet.
func TestReadingsOfGoodMachine(t *testing.T) {
	b := exact(t)
	for _, c := range []struct {
		point, key string
		want       float64
		unit       string
	}{
		{"TP1", "", 11.5, "V"}, {"TP2", "", -11.5, "V"}, {"TP10", "3", 0.038, "V"}, {"TP11", "3", 0.1, "V"},
		{"TP20", "a", 0.245, "V"}, {"TP22", "5", 22, "V"}, {"TP30", "2", 0.089, "V"},
	} {
		r := read(t, b, sim.Probe{TestPoint: c.point, Key: c.key})
		if math.Abs(r.Value/c.want-1) > 1e-4 || r.Unit != c.unit || r.Slip != sim.NoSlip {
			t.Errorf("%s-%s reads %v %s (%s), want %v %s", c.point, c.key, r.Value, r.Unit, r.Slip, c.want, c.unit)
		}
	}
	if r := read(t, b, sim.Probe{TestPoint: "TP24", Key: "1"}); !(r.Value > 0 && r.Value < 0.06) {
		t.Errorf("TP24-1 reads %v V, want below 0.06", r.Value)
	}
}

// A fault shows at the points behind it on its own track and nowhere else.
func TestFaultShowsBehindIt(t *testing.T) {
	b := exact(t, sim.Fault{Stage: "C11", Key: "3", Mode: machine.Weak, LevelDB: -6, BassDB: -5})
	for _, c := range []struct {
		point, key string
		toneHz     float64
		want       float64
	}{
		{"TP10", "3", 0, 0}, {"TP11", "3", 0, -6}, {"TP11", "2", 0, 0}, {"TP12", "3", 0, -6},
		{"TP11", "3", 63, -11}, {"TP11", "3", 10000, -6}, {"TP20", "a", 0, 0},
	} {
		p := sim.Probe{TestPoint: c.point, Key: c.key, ToneHz: c.toneHz}
		got := dB(read(t, b, p).Value / read(t, exact(t), p).Value)
		if math.Abs(got-c.want) > 2e-3 {
			t.Errorf("%s-%s at %v Hz is %+.4f dB, want %+v", c.point, c.key, c.toneHz, got, c.want)
		}
	}
	checks := map[string]string{"play 3": "weak", "play 2": "", "record-play 3": "weak", "record-play 4": ""}
	for what, want := range checks {
		var function, key string
		fmt.Sscan(what, &function, &key)
		c, err := b.Check(function, key, 0)
		if err != nil {
			t.Fatal(err)
		}
		if c.Symptom != want || (c.Outcome == sim.Works) != (want == "") {
			t.Errorf("%s: %s %q, want %q", what, c.Outcome, c.Symptom, want)
		}
	}
}

// A fault of a record group shows on its tracks in recording and never in play.
func TestGroupFault(t *testing.T) {
	b := exact(t, sim.Fault{Stage: "C31", Key: "a", Mode: machine.Weak, LevelDB: -8})
	for track := 1; track <= 6; track++ {
		key := fmt.Sprint(track)
		rec, err := b.Check("record-play", key, 0)
		if err != nil {
			t.Fatal(err)
		}
		play, err := b.Check("play", key, 0)
		if err != nil {
			t.Fatal(err)
		}
		if odd := track%2 == 1; (rec.Symptom == "weak") != odd || play.Outcome != sim.Works {
			t.Errorf("track %d: record-play %q, play %s", track, rec.Symptom, play.Outcome)
		}
	}
}

func TestSymptoms(t *testing.T) {
	for want, f := range map[string]sim.Fault{
		"dead":  {Dead: true},
		"weak":  {LevelDB: -7},
		"dull":  {TrebleDB: -9, LevelDB: -1},
		"thin":  {BassDB: -11, LevelDB: -2},
		"noisy": {LevelDB: -60, NoiseDB: 20},
		"":      {LevelDB: -0.5},
	} {
		f.Stage, f.Key = "U3", "1"
		c, err := exact(t, f).Check("play", "1", 0)
		if err != nil {
			t.Fatal(err)
		}
		if c.Symptom != want {
			t.Errorf("%+v sounds %q, want %q", f, c.Symptom, want)
		}
	}
}

func TestSlips(t *testing.T) {
	b := exact(t, sim.Fault{Stage: "U3", Key: "2", Mode: machine.Weak, LevelDB: -10})
	right := read(t, b, sim.Probe{TestPoint: "TP10", Key: "1"}).Value
	for slip, want := range map[sim.Slip]float64{sim.UnitSlip: 60, sim.Neighbour: -10, sim.LeadOff: -50} {
		r := read(t, b, sim.Probe{TestPoint: "TP10", Key: "1", Slip: slip})
		if got := dB(r.Value / right); math.Abs(got-want) > 2e-3 || r.Slip != slip || math.Abs(r.Right/right-1) > 1e-9 {
			t.Errorf("%s: %+.4f dB, slip %q, right %v; want %+v", slip, got, r.Slip, r.Right, want)
		}
	}
	b.SlipRate = 0.1
	slips := 0
	for i := range 2000 {
		if read(t, b, sim.Probe{TestPoint: "TP10", Key: "1", Setting: fmt.Sprint(i)}).Slip != sim.NoSlip {
			slips++
		}
	}
	// Binomial, n = 2000, p = 0.1: ± 4 standard deviations.
	if slips < 146 || slips > 254 {
		t.Errorf("%d slips of 2000, want about 200", slips)
	}
}

// A 20 kHz one-pole meter reads a 92 kHz bias 13.5 dB low, ×0.21; 50 kHz -6.4 dB,
// 100 kHz -2.7 dB: circuit theory, as technicians' notes print it.
func TestMeterBandwidth(t *testing.T) {
	b := exact(t)
	for bandwidth, want := range map[float64]float64{20000: -13.5, 50000: -6.4, 100000: -2.7} {
		p := sim.Probe{TestPoint: "TP22", Key: "1"}
		wide := read(t, b, p).Value
		p.BandwidthHz = bandwidth
		if got := dB(read(t, b, p).Value / wide); math.Abs(got-want) > 0.05 {
			t.Errorf("%v Hz: %.3f dB, want %v", bandwidth, got, want)
		}
	}
}

// Readings scatter as told: instruments by session, probe settings, parts.
func TestReadingScatter(t *testing.T) {
	b := exact(t)
	b.Seed = 7
	spread := func(ask func(i int) sim.Probe) float64 {
		const n = 3000
		sum, square := 0.0, 0.0
		for i := range n {
			r := read(t, b, ask(i))
			x := dB(math.Abs(r.Value) / 0.1)
			sum, square = sum+x, square+x*x
		}
		return math.Sqrt(square/n - sum/n*sum/n)
	}
	for _, c := range []struct {
		name                      string
		noise, instrument, factor float64
		want                      float64
		ask                       func(i int) sim.Probe
	}{
		{"sessions", 0, 0.3, 0, 0.3, func(i int) sim.Probe { return sim.Probe{TestPoint: "TP11", Key: "1", Session: fmt.Sprint(i)} }},
		{"one session", 0, 0.3, 0, 0, func(i int) sim.Probe { return sim.Probe{TestPoint: "TP11", Key: "1", Setting: fmt.Sprint(i)} }},
		{"settings", 0.2, 0, 0, 0.2 * math.Sqrt(1+1.0/16), func(i int) sim.Probe { return sim.Probe{TestPoint: "TP11", Key: "1", Setting: fmt.Sprint(i)} }},
		{"repeats", 0.2, 0, 0, 0.05, func(i int) sim.Probe { return sim.Probe{TestPoint: "TP11", Key: "1", Repeat: i} }},
	} {
		b.ReadingNoiseDB, b.InstrumentDB = c.noise, c.instrument
		// 3000 draws: the estimate scatters by 1.3 %; four times that.
		if got := spread(c.ask); math.Abs(got-c.want) > 0.052*c.want+1e-6 {
			t.Errorf("%s: scatter %.4f dB, want %.4f", c.name, got, c.want)
		}
	}
}

// Parts of good machines spread as the definition says: ± 2 dB at TP10 is two
// standard deviations.
func TestPartSpread(t *testing.T) {
	b := exact(t)
	b.Spread = 1
	square, n := 0.0, 0
	for seed := range 500 {
		b.Seed = uint64(seed)
		for track := 1; track <= 6; track++ {
			x := dB(read(t, b, sim.Probe{TestPoint: "TP10", Key: fmt.Sprint(track)}).Value / 0.038)
			square, n = square+x*x, n+1
		}
	}
	// 3000 draws scatter by 1.3 %; four times that.
	if got := math.Sqrt(square / float64(n)); math.Abs(got-1) > 0.052 {
		t.Errorf("spread %.4f dB, want 1", got)
	}
}

func TestIntermittentShowsNowAndThen(t *testing.T) {
	b := exact(t, sim.Fault{Stage: "RY1", Key: "4", Mode: machine.Intermittent, LevelDB: -30, Presence: 0.3})
	dead := 0
	for look := range 1000 {
		c, err := b.Check("play", "4", look)
		if err != nil {
			t.Fatal(err)
		}
		if c.Outcome == sim.Faulty {
			dead++
		}
	}
	// Binomial: 300 ± 4·14.5.
	if dead < 242 || dead > 358 {
		t.Errorf("shows at %d of 1000 looks, want about 300", dead)
	}
}

// The definition's own fault modes make faults of every depth.
func TestNewFault(t *testing.T) {
	def := hexastrand(t)
	mild, err := sim.NewFault(def, "H", "2", machine.Weak, "dirt on the head face", 0)
	if err != nil {
		t.Fatal(err)
	}
	severe, err := sim.NewFault(def, "H", "2", machine.Weak, "dirt on the head face", 1)
	if err != nil {
		t.Fatal(err)
	}
	if !mild.Mechanical || !(mild.TrebleDB < 0 && severe.TrebleDB < mild.TrebleDB && severe.LevelDB <= mild.LevelDB) {
		t.Errorf("mild %+v, severe %+v", mild, severe)
	}
	if _, err := sim.NewFault(def, "H", "2", machine.Weak, "moths", 0.5); !errors.Is(err, sim.ErrBench) {
		t.Errorf("moths: %v, want ErrBench", err)
	}
	if _, err := sim.NewBench(def, 1, sim.Fault{Stage: "H", Key: "9"}); !errors.Is(err, sim.ErrBench) {
		t.Errorf("track 9: %v, want ErrBench", err)
	}
	b := exact(t)
	for name, err := range map[string]error{
		"test point": second(b.Read(sim.Probe{TestPoint: "TP99"})),
		"key":        second(b.Read(sim.Probe{TestPoint: "TP10", Key: "9"})),
		"function":   second(b.Check("fly", "1", 0)),
	} {
		if !errors.Is(err, sim.ErrBench) {
			t.Errorf("unknown %s: %v, want ErrBench", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// A capture shows the faults that readings and checks show: level at the reference,
// treble and bass of the fault within what one corner can do.
func TestReplay(t *testing.T) {
	def := hexastrand(t)
	b := exact(t,
		sim.Fault{Stage: "H", Key: "1", Mode: machine.Weak, Mechanical: true, LevelDB: -1, TrebleDB: -8},
		sim.Fault{Stage: "EQ1", Key: "2", Mode: machine.Weak, LevelDB: -0.5, TrebleDB: -6},
		sim.Fault{Stage: "C11", Key: "3", Mode: machine.Weak, LevelDB: -3, BassDB: -7},
		sim.Fault{Stage: "U3", Key: "4", Mode: machine.Dead, Dead: true},
		sim.Fault{Stage: "U5", Key: "5", Mode: machine.Noisy, NoiseDB: 14},
		sim.Fault{Stage: "C31", Key: "b", Mode: machine.Weak, LevelDB: -8},
	)
	tape := testTape(0.3)
	tape.TrackLayout = testtape.PerTrack
	sc := sim.Perfect(tape, def.Geometry())
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60}
	}
	callers := sc.Tracks
	if err := b.Replay(&sc, "play"); err != nil {
		t.Fatal(err)
	}
	_, truth := render(t, sc)
	find := func(name string, track int, section string) float64 {
		v, ok := truth.Find(name, track, 0, section)
		if !ok {
			t.Errorf("track %d has no true %s of %s", track, name, section)
		}
		return v
	}
	for _, c := range []struct {
		track               int
		level, treble, bass float64
	}{{1, -13, -8, 0.0}, {2, -12.5, -6, 0}, {3, -15, 0, -7}, {5, -12, 0, 0}, {6, -12, 0, 0}} {
		if got := find("level", c.track, "reference"); math.Abs(got-c.level) > 1e-3 {
			t.Errorf("track %d: reference %.4f dBFS, want %v", c.track, got, c.level)
		}
		if c.treble != 0 {
			if got := find("response", c.track, "treble"); math.Abs(got-c.treble) > 1e-3 {
				t.Errorf("track %d: treble %.4f dB, want %v", c.track, got, c.treble)
			}
		}
		if c.bass != 0 {
			if got := find("response", c.track, "bass"); math.Abs(got-c.bass) > 1e-3 {
				t.Errorf("track %d: bass %.4f dB, want %v", c.track, got, c.bass)
			}
		}
	}
	if _, ok := truth.Find("level", 4, 0, "reference"); ok {
		t.Error("the dead track plays")
	}
	if d := find("noise", 5, "") - find("noise", 6, ""); math.Abs(d-14) > 1e-3 {
		t.Errorf("noisy track is %.3f dB noisier, want 14", d)
	}
	if callers[0].SpacingUm != 0 || callers[4].Noise.LevelDBFS != -60 {
		t.Error("Replay wrote into the caller's tracks")
	}
}

// A weak encoder capacitor of one record group, read behind it on a recorder whose
// parts are all alike, against the sibling group.
func ExampleBench() {
	def, _ := machine.Builtin("hexastrand")
	bench, err := sim.NewBench(def, 1, sim.Fault{Stage: "C31", Key: "a", Mode: machine.Weak, LevelDB: -8})
	if err != nil {
		fmt.Println(err)
		return
	}
	bench.Spread, bench.ReadingNoiseDB, bench.InstrumentDB = 0, 0, 0
	for _, group := range []string{"a", "b"} {
		r, err := bench.Read(sim.Probe{TestPoint: "TP21", Key: group})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("TP21-%s %.0f mV\n", group, r.Value*1000)
	}
	c, _ := bench.Check("record-play", "3", 0)
	fmt.Println("track 3:", c.Outcome, c.Symptom)
	// Output:
	// TP21-a 438 mV
	// TP21-b 1100 mV
	// track 3: faulty weak
}
