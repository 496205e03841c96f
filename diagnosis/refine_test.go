package diagnosis

import (
	"fmt"
	"math"
	"testing"

	"headstack/machine"
)

// TestReadingsAgree: readings behind one fault that agree with each other and with it
// never speak against it, however far its loss lies from the centre of a wide bin. A
// track with dirt on the head loses 25 dB at 10 kHz; each of several points behind it is
// read, with a sibling, and again with fresh probes.
func TestReadingsAgree(t *testing.T) {
	def := hexastrand(t)
	const lossDB = -24.9
	b := &bench{}
	for _, f := range []string{"play", "cue", "record-play"} {
		b.check(f, "4", Faulty, SymptomDull)
	}
	before := 0.0
	for k, point := range []string{"TP10", "TP11", "TP10", "TP11"} {
		tp, _ := def.TestPoint(point)
		want := def.Expected(tp, "4").Value
		off := 0.2 * math.Sin(float64(k)) // within the spread of a good reading, dB
		b.read(point, "4", want*math.Pow(10, (lossDB+off)/20), 10000)
		b.ev.Readings[len(b.ev.Readings)-1].Setting = fmt.Sprint("probe ", k)
		if k < 2 {
			b.read(point, "2", want*math.Pow(10, -off/20), 10000)
		}
		p := faultyNow(t, def, b.ev, "H", "4")
		if p < before-0.02 {
			t.Errorf("%g dB: after reading %d, at %s, the head is at fault with %.3f, %.3f before", lossDB, k+1, point, p, before)
		}
		before = p
	}
	if before < 0.95 {
		t.Errorf("%g dB at every point behind it: the head is at fault with %.3f", lossDB, before)
	}
}

// faultyNow is the probability that a stage is at fault as things stand.
func faultyNow(t *testing.T, def *machine.Definition, ev Evidence, stage, key string) float64 {
	t.Helper()
	e, err := New(def, Options{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := e.build(ev)
	if err != nil {
		t.Fatal(err)
	}
	post, err := solve(p.model)
	if err != nil {
		t.Fatal(err)
	}
	in, _ := e.instance(stage, key)
	return p.now(post, p.comp[in])
}

// TestNarrowBins: about a loss that was seen the bins are narrow, all bins still share the
// mode's weight, and each lies where its severities do.
func TestNarrowBins(t *testing.T) {
	m := machine.FaultMode{Mode: machine.Weak, Weight: 0.7, LevelDB: []float64{-20, -1}, TrebleDB: []float64{-30, -2}}
	seen := mark{project: scalar(1, 0), db: -26.5}
	sum, near := 0.0, 0
	for _, a := range atomsOf([]machine.FaultMode{m}, false, []mark{seen}) {
		sum += a.weight
		loss := a.effect.db[qLevel] + a.effect.db[qTreble]
		if spread := a.effect.sd[qLevel] + a.effect.sd[qTreble]; math.Abs(loss-seen.db) < thinDB {
			if near++; spread > thinDB/math.Sqrt(12)*1.25 {
				t.Errorf("%.2f dB: spread by %.2f dB, want that of %g dB at most", loss, spread, thinDB)
			}
		}
	}
	if math.Abs(sum-0.7) > 1e-9 || near == 0 {
		t.Errorf("the bins share %.6f of 0.7, %d near the loss that was seen", sum, near)
	}
	var wide float64
	for _, a := range atomsOf([]machine.FaultMode{m}, false, nil) {
		wide = max(wide, a.effect.sd[qLevel]+a.effect.sd[qTreble])
	}
	if wide < 2*thinDB {
		t.Errorf("without a mark the widest bin is spread by %.2f dB: nothing would be tested here", wide)
	}
}
