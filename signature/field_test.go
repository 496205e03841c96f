package signature_test

import (
	"context"
	"fmt"
	"math"
	"math/cmplx"
	"math/rand/v2"
	"slices"
	"testing"

	"headstack/machine"
	"headstack/measure"
	"headstack/signature"
	"headstack/sim"
	"headstack/sim/field"
	"headstack/tape"
	"headstack/testtape"
)

// bench is one of the two demo recorders with a tape of twenty tones.
type bench struct {
	kind field.Kind
	def  *machine.Definition
	tape *testtape.Tape
	geo  tape.Geometry
	opt  signature.Options
}

func benchOf(reel bool) *bench {
	b := &bench{kind: field.Cassette}
	id, head := "hexastrand", "RP"
	if reel {
		b.kind, id, head = field.OpenReel, "octogrange", "HP"
	}
	b.def, _ = machine.Builtin(id)
	b.tape, b.geo = sim.FieldTape(b.kind, testtape.FullWidth), b.def.Geometry()
	b.opt = signature.Options{Tape: b.tape, Geometry: b.geo}
	for _, g := range b.def.Groups {
		b.opt.Groups = append(b.opt.Groups, signature.Group{Name: g.Name, Tracks: g.Tracks})
	}
	for _, h := range b.def.Heads {
		if h.ID == head {
			b.opt.DesignGapUm = h.GapUm
		}
	}
	return b
}

// scene is a simulated recorder: what is wrong with it, and what a sound one differs by.
type scene struct {
	*bench
	faults  []field.Fault
	flicker []sim.Flicker
	hiss    []float64
	scatter []float64                // of the gaps along the tape, m
	ripple  []map[float64][2]float64 // of each track by tone: dB and radians
	tone    []float64                // errors of the tape by section, dB
	arc     float64                  // azimuth, arcmin
	causes  []truth
	seed    uint64
}

// truth is a cause that was put in.
type truth struct {
	cause  signature.Cause
	tracks []int
}

func (t truth) String() string { return fmt.Sprintf("%s %v", t.cause, t.tracks) }

// newScene is a sound recorder: levels of tracks to 0.15 dB, contact to 0.01 µm, gaps on one
// line to 0.1 µm, each tone to 0.03 dB and 0.1°, azimuth to 0.6 arcminutes (standard
// deviations, invented), and tones of the tape evenly spread
// within ±0.3 dB.
func newScene(b *bench, seed uint64) (*scene, *rand.Rand) {
	rng := rand.New(rand.NewPCG(seed, 0x51617))
	s := &scene{bench: b, seed: seed, faults: make([]field.Fault, len(b.geo.Tracks))}
	s.flicker, s.hiss = make([]sim.Flicker, len(s.faults)), make([]float64, len(s.faults))
	for range b.tape.Sections {
		s.tone = append(s.tone, 0.6*rng.Float64()-0.3)
	}
	s.arc = 0.6 * rng.NormFloat64()
	for t := range s.faults {
		s.faults[t].GainDB = 0.15 * rng.NormFloat64()
		s.spaced(t, 0.01e-6*math.Abs(rng.NormFloat64()))
		s.flicker[t] = sim.Flicker{DepthDB: 0.05 + 0.1*rng.Float64(), RateHz: 2}
		ripple := map[float64][2]float64{}
		for _, sec := range b.tape.Sections {
			ripple[sec.ToneHz] = [2]float64{0.03 * rng.NormFloat64(), 0.1 * math.Pi / 180 * rng.NormFloat64()}
		}
		s.ripple = append(s.ripple, ripple)
		s.scatter = append(s.scatter, 0.1e-6*rng.NormFloat64())
	}
	return s, rng
}

// spaced adds spacing evenly over a core.
func (s *scene) spaced(t int, m float64) {
	s.faults[t].SpacingLowM += m
	s.faults[t].SpacingHighM += m
}

// spacing of a track, the mean over its core, µm.
func (s *scene) spacing(t int) float64 {
	return (s.faults[t].SpacingLowM + s.faults[t].SpacingHighM) / 2 * 1e6
}

// capture renders the audio and measures it.
func (s *scene) capture(t testing.TB, m *sim.Memory) measure.Report {
	t.Helper()
	for i := range s.faults {
		s.faults[i].AzimuthRad = s.arc * math.Pi / 10800
	}
	sc, err := sim.FieldScenario(s.tape, s.geo, s.faults, sim.FieldOptions{Kind: s.kind, Seed: s.seed, ToneErrorsDB: s.tone,
		Flicker: s.flicker, NoiseRiseDB: s.hiss, SampleRate: 44100, Faced: true})
	if err != nil {
		t.Fatal(err)
	}
	for i, late := range s.scatter {
		seconds, play, ripple := late/(s.tape.SpeedCmS/100), sc.Tracks[i].Response, s.ripple[i]
		sc.Tracks[i].Response = func(toneHz, levelDB float64) complex128 {
			r := ripple[toneHz]
			return play(toneHz, levelDB) * cmplx.Rect(math.Pow(10, r[0]/20), r[1]-2*math.Pi*toneHz*seconds)
		}
	}
	sc.AzimuthWander = sim.Wander{RMSArcmin: 0.3, LowHz: 0.2, HighHz: 5}
	if _, err := m.Render(context.Background(), sc); err != nil {
		t.Fatal(err)
	}
	all := make([]int, len(s.faults))
	for i := range all {
		all[i] = i + 1
	}
	rep, err := measure.TestTape(context.Background(), []measure.Source{{Name: "simulated", Tracks: all, Open: m.Open}},
		measure.Options{Tape: s.tape, Geometry: s.geo})
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// put adds one cause of a class, on tracks drawn at random but for those in use. It is
// false where the class cannot be put in beside what is there.
func (s *scene) put(c signature.Cause, rng *rand.Rand) bool {
	n := len(s.faults)
	between := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	used := map[int]bool{}
	for _, t := range s.causes {
		// A ramp on top of an even spacing is one pattern.
		spaced := func(c signature.Cause) bool { return c == signature.Spacing || c == signature.SpacingRamp }
		if t.cause == c || spaced(t.cause) && spaced(c) {
			return false
		}
		if len(t.tracks) < n-1 {
			for _, k := range t.tracks {
				used[k] = true
			}
		}
	}
	t := rng.IntN(n)
	for used[t+1] {
		t = rng.IntN(n)
	}
	all := make([]int, n)
	for i := range all {
		all[i] = i + 1
	}
	tracks := []int{t + 1}
	f := &s.faults[t]
	widest := 1.0 // longer waves want more spacing to be heard
	if s.kind == field.OpenReel {
		widest = 2.5
	}
	switch c {
	case signature.Gain:
		if g := between(0.8, 10); rng.Float64() < 0.8 {
			f.GainDB -= g
		} else {
			f.GainDB += g / 2
		}
	case signature.Spacing:
		d := between(0.1, 2) * widest * 1e-6
		if rng.Float64() < 0.4 {
			tracks = all
			d = between(0.3, 2) * widest * 1e-6
			for i := range s.faults {
				s.spaced(i, d*(0.9+0.2*rng.Float64()))
			}
		} else {
			s.spaced(t, d)
		}
	case signature.SpacingRamp:
		top, up := between(0.2, 2)*widest*1e-6, rng.IntN(2) == 0
		tracks = nil
		for i := range s.faults {
			g := s.geo.Tracks
			edge := func(at float64) float64 {
				x := (at - float64(g[0].Centre)) / float64(g[n-1].Centre-g[0].Centre)
				if !up {
					x = 1 - x
				}
				return top * math.Max(0, x)
			}
			s.faults[i].SpacingLowM += edge(float64(g[i].Centre - g[i].Width/2))
			s.faults[i].SpacingHighM += edge(float64(g[i].Centre + g[i].Width/2))
			if (up && i > 0) || (!up && i < n-1) {
				tracks = append(tracks, i+1)
			}
		}
	case signature.Azimuth:
		s.arc = between(2.5, 15)
		if rng.IntN(2) == 0 {
			s.arc = -s.arc
		}
		tracks = all
	case signature.GapWear:
		g, lo, hi := s.opt.DesignGapUm*1e-6, 1.4, 2.4
		if s.kind == field.OpenReel {
			lo, hi = 1.9, 4
		}
		if rng.Float64() < 0.5 {
			tracks = all
			g *= between(1.1*lo, 1.1*hi)
			for i := range s.faults {
				s.faults[i].GapM = g
			}
		} else {
			f.GapM = g * between(lo, hi)
		}
	case signature.Height:
		g := s.geo.Tracks
		part := float64(g[0].Width) * (0.1 + 0.3*rng.Float64())
		room, sign := float64(g[0].Centre-g[0].Width/2), -1.0
		tracks = []int{1}
		if rng.IntN(2) == 0 {
			room, sign, tracks = float64(s.geo.TapeWidth-g[n-1].Centre-g[n-1].Width/2), 1, []int{n}
		}
		for i := range s.faults {
			s.faults[i].HeightM = sign * (room + part)
		}
	case signature.Equalisation:
		own := s.tape.EqualisationUs
		curves := []field.Curve{{HighUs: 120, LowUs: own.Low}, {HighUs: 70, LowUs: own.Low}, {HighUs: 50, LowUs: 3180}, {HighUs: 35, LowUs: own.Low}, {HighUs: 90, LowUs: 3180}}
		curves = slices.DeleteFunc(curves, func(c field.Curve) bool { return c.HighUs == own.High })
		cv := curves[rng.IntN(len(curves))]
		tracks = all
		for i := range s.faults {
			s.faults[i].Replay = &cv
		}
	case signature.LowCorner:
		f.LowCornerHz = between(40, 600)
	case signature.HighCorner:
		f.HighCornerHz = between(1500, 12000)
	case signature.GroupGain:
		g := between(0.8, 8)
		if rng.Float64() < 0.25 {
			g = -g // too high
		}
		tracks = nil
		odd := rng.IntN(2)
		for i := range s.faults {
			if i%2 == odd {
				s.faults[i].GainDB -= g
				tracks = append(tracks, i+1)
			}
		}
	case signature.HeadOpen:
		f.OpenDB = -40 - 30*rng.Float64()
		s.hiss[t] = 10 + 20*rng.Float64()
	case signature.NoiseReductionOn:
		if rng.Float64() < 0.5 {
			tracks = all
			for i := range s.faults {
				s.faults[i].Expander = true
			}
		} else {
			f.Expander = true
		}
	case signature.UnsteadyContact:
		s.flicker[t] = sim.Flicker{DepthDB: between(2, 12), RateHz: 1 + 3*rng.Float64(), TrebleOnly: true}
	case signature.UnsteadyJoint:
		s.flicker[t] = sim.Flicker{DepthDB: between(2, 12), RateHz: 1 + 3*rng.Float64()}
	default:
		return false
	}
	s.causes = append(s.causes, truth{c, tracks})
	return true
}

// classes are the causes that are put in.
var classes = []signature.Cause{signature.Gain, signature.Spacing, signature.SpacingRamp, signature.Azimuth, signature.GapWear,
	signature.Height, signature.Equalisation, signature.LowCorner, signature.HighCorner, signature.GroupGain, signature.HeadOpen,
	signature.NoiseReductionOn, signature.UnsteadyContact, signature.UnsteadyJoint}

func TestClasses(t *testing.T) {
	var m sim.Memory
	for _, reel := range []bool{false, true} {
		b := benchOf(reel)
		for i, c := range append([]signature.Cause{signature.None}, classes...) {
			for k := range 2 {
				s, rng := newScene(b, uint64(100*i+k))
				s.put(c, rng)
				e, err := signature.Explain(s.capture(t, &m), b.opt)
				if err != nil {
					t.Fatal(err)
				}
				t.Logf("reel %v: %v arc %.2f", reel, s.causes, s.arc)
				for _, f := range e.Findings {
					t.Logf("   %.4f %s %v", f.Probability, f.Cause, f.Tracks)
					for _, p := range f.Parameters {
						t.Logf("        %s %d %.3f %.3f..%.3f", p.Name, p.Track, p.Value, p.Lo, p.Hi)
					}
				}
			}
		}
	}
}
