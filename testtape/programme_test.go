package testtape

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// part is one section of something recorded through a machine: what each track
// carries, and the tone that stands for it in the tape's description.
type part struct {
	hz, db, seconds float64     // as listed
	each            [][]float64 // per track: tones at db; nil: the listed tone on all
}

// programmeTape describes parts as a tape.
func programmeTape(t *testing.T, parts []part) *Tape {
	t.Helper()
	tape := &Tape{
		Format: 1, Name: "programme", SpeedCmS: 38.1, Reference: Reference{250, 1000, "short-circuit"},
		EqualisationUs: Equalisation{High: 35}, TrackLayout: PerTrack,
	}
	for i, p := range parts {
		tape.Sections = append(tape.Sections, Section{Name: fmt.Sprint("part ", i), ToneHz: p.hz, LevelDB: p.db, Seconds: p.seconds})
	}
	if err := tape.Check(); err != nil {
		t.Fatal(err)
	}
	return tape
}

// recorded plays parts one straight after the other, as a machine would: with
// gains that differ between tracks, compression of high levels, crosstalk 40 dB
// down, hiss, hum and flutter. It returns the edges: edges[i] begins part i.
func recorded(parts []part, channels int, ratio, snr float64, seed uint64) (*planar, []float64) {
	const rate = 32000
	rng := rand.New(rand.NewPCG(seed, 0x9e0a))
	lead, tail := 0.7+2*rng.Float64(), 0.5+rng.Float64()
	at := lead
	var edges []float64
	for _, p := range parts {
		edges = append(edges, at)
		at += p.seconds / ratio
	}
	edges = append(edges, at)
	n := int((at + tail) * rate)
	played, hum := make([]float64, n), make([]float64, n)
	for j := range played {
		s := float64(j) / rate
		played[j] = ratio*s + 0.0005/(2*math.Pi*7)*math.Sin(2*math.Pi*7*s)
		hum[j] = 0.0005 * math.Sin(2*math.Pi*50*s)
	}
	clean := make([][]float64, channels)
	gains := make([]float64, channels)
	for c := range clean {
		clean[c], gains[c] = make([]float64, n), amplitude(refDBFS+6*rng.Float64()-3)
	}
	for i, p := range parts {
		lo, hi := int(edges[i]*rate), int(edges[i+1]*rate)
		for c := range clean {
			tones := []float64{p.hz}
			if p.each != nil {
				tones = p.each[c]
			}
			for _, hz := range tones {
				if hz == 0 {
					continue
				}
				a, phase := amplitude(p.db), 2*math.Pi*rng.Float64()
				for j := lo; j < hi; j++ {
					clean[c][j] += a * math.Sin(2*math.Pi*hz*played[j]+phase)
				}
			}
		}
	}
	out := &planar{rate: rate, rng: rng}
	noise := amplitude(refDBFS-snr) / math.Sqrt2
	for c := range clean {
		x := make([]float64, n)
		for j := range x {
			v := clean[c][j]
			v -= 0.03 * v * v * v // a high level comes back with less
			if c > 0 {
				v += 0.01 * clean[c-1][j]
			}
			x[j] = gains[c]*v + noise*rng.NormFloat64() + hum[j]
		}
		out.data = append(out.data, x)
	}
	return out, edges
}

// only puts tones on one track of four.
func only(track int, hz ...float64) [][]float64 {
	each := make([][]float64, 4)
	each[track] = hz
	return each
}

// Sections follow each other without a gap, on one track or all, with the same
// tone at other levels or on other tracks, and some last two seconds only.
func TestFindProgramme(t *testing.T) {
	steps := func(hz, from, by, seconds float64, n int) []part {
		var list []part
		for i := range n {
			list = append(list, part{hz: hz, db: from + by*float64(i), seconds: seconds})
		}
		return list
	}
	comb := func(hz ...float64) [][]float64 { return [][]float64{hz, hz, hz, hz} }
	identity := part{hz: 400, db: 0, seconds: 4, each: [][]float64{{400}, {560}, {800}, {1120}}}
	reference := part{hz: 1000, db: 0, seconds: 10}
	end := []part{{hz: 0, seconds: 5}, {hz: 3150, db: -10, seconds: 10}}
	join := func(lists ...[]part) []part {
		var all []part
		for _, l := range lists {
			all = append(all, l...)
		}
		return all
	}
	cases := map[string][]part{
		"steps of 2 dB up":    join([]part{identity, reference}, steps(1000, -18, 2, 3, 12), end),
		"steps of 3 dB down":  join([]part{identity, reference}, steps(400, 6, -3, 2, 10), end),
		"steps of 10 dB":      join([]part{reference}, steps(1000, -50, 10, 4, 6), end),
		"steps from the same": join([]part{reference}, steps(1000, 0, 2, 2.5, 5), steps(1000, -20, 2, 2.5, 10), end),
		"two runs of steps":   join([]part{reference}, steps(1000, -10, 2, 2, 11), steps(10000, -30, 3, 2, 10), end),
		"short sections": join([]part{reference}, []part{
			{hz: 63, db: -10, seconds: 2}, {hz: 125, db: -10, seconds: 2}, {hz: 250, db: -10, seconds: 2}, {hz: 500, db: -10, seconds: 2}, {hz: 2000, db: -10, seconds: 2},
			{hz: 4000, db: -10, seconds: 2}, {hz: 0, seconds: 2}, {hz: 8000, db: -20, seconds: 2}, {hz: 10000, db: -20, seconds: 2}, {hz: 12500, db: -20, seconds: 2},
		}, end),
		"one track after the other": join([]part{identity, reference}, []part{
			{hz: 1000, db: 0, seconds: 3, each: only(0, 1000)}, {hz: 1000, db: 0, seconds: 3, each: only(1, 1000)},
			{hz: 1000, db: 0, seconds: 3, each: only(2, 1000)}, {hz: 1000, db: 0, seconds: 3, each: only(3, 1000)},
			{hz: 10000, db: -10, seconds: 3, each: only(0, 10000)}, {hz: 10000, db: -10, seconds: 3, each: only(1, 10000)},
			{hz: 10000, db: -10, seconds: 3, each: only(2, 10000)}, {hz: 10000, db: -10, seconds: 3, each: only(3, 10000)},
		}, end),
		"combs and two tones": join([]part{identity, reference}, []part{
			{hz: 1250, db: -20, seconds: 5, each: comb(40, 80, 160, 315, 630, 1250, 2500, 5000, 10000)},
			{hz: 1000, db: -20, seconds: 5, each: comb(50, 100, 200, 400, 800, 1000, 1600, 3150, 6300, 12500)},
			{hz: 60, db: -6, seconds: 4, each: comb(60, 7000)},
			{hz: 11000, db: -6, seconds: 4, each: comb(10000, 11000)},
		}, end),
		"the same tone twice": join([]part{identity, reference, reference, {hz: 10000, db: -20, seconds: 5}, {hz: 10000, db: -20, seconds: 5}}, end),
	}
	for name, parts := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tape := programmeTape(t, parts)
			for seed, ratio := range []float64{1, 0.985, 1.03} {
				for seed := uint64(seed); seed < 9; seed += 3 {
					if seed >= 3 && !long() {
						break
					}
					stream, edges := recorded(parts, 4, ratio, 45, seed)
					f, err := Find(t.Context(), stream, tape)
					if err != nil {
						t.Fatal(err)
					}
					for i, s := range f.Sections {
						tol := 0.1
						if parts[i].hz == 0 {
							tol = 0.15
						}
						if d, e := s.StartS-edges[i], s.EndS-edges[i+1]; !s.Found || s.Partial || math.Abs(d) > tol || math.Abs(e) > tol {
							t.Errorf("seed %d, speed %g: part %d (%g Hz, %g dB): found %v, partial %v, %.2f to %.2f s, want %.2f to %.2f; %s", seed, ratio, i, parts[i].hz, parts[i].db, s.Found, s.Partial, s.StartS, s.EndS, edges[i], edges[i+1], s.Reason)
						}
					}
				}
			}
		})
	}
}
