package testtape

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/dsp"
)

// TestSearchEqualsFind: heard in pieces of odd lengths a capture gives what Find gives of
// the whole, and on the way each section is seen to begin, to run and to end.
func TestSearchEqualsFind(t *testing.T) {
	tape := shortTape(t, 0.4)
	sc := &scene{rate: 32000, channels: 2, ratio: 1.01, noiseDB: refDBFS - 45, flutter: 0.001, seed: 1}
	sc.pieces = append(lead(1.7, "leader"), scenePieces(tape, 1.01, 0.4)...)
	sc.pieces = append(sc.pieces, lead(2.1, "leader")...)
	data := sc.render().(*planar).data
	at := func(from, to int) dsp.Stream {
		p := &planar{rate: 32000, rng: rand.New(rand.NewPCG(uint64(from), 1))}
		for _, x := range data {
			p.data = append(p.data, x[from:to])
		}
		return p
	}
	n := len(data[0])
	whole, err := Find(t.Context(), at(0, n), tape)
	if err != nil {
		t.Fatal(err)
	}
	s, err := NewSearch(tape, 32000, 2)
	if err != nil {
		t.Fatal(err)
	}
	ran := map[int]bool{}
	for end := 0; end < n; end += 51234 {
		if err := s.Hear(t.Context(), at(int(s.Heard()), end), int64(end)-s.Heard()); err != nil {
			t.Fatal(err)
		}
		if lag := float64(int64(end)-s.Heard()) / 32000; lag > 1.4 {
			t.Fatalf("at %.1f s the search is %.2f s behind", float64(end)/32000, lag)
		}
		for i, l := range s.Finding().Sections {
			if !l.Found {
				continue
			}
			want := whole.Sections[i]
			if l.StartS < want.StartS-1 || l.StartS > want.EndS || l.EndS > want.EndS+1 {
				t.Errorf("at %.1f s %q is said to lie at %.2f to %.2f s, it lies at %.2f to %.2f", s.Seconds(), tape.Sections[i].Name, l.StartS, l.EndS, want.StartS, want.EndS)
			}
			if l.Partial && l.EndS > s.Seconds()-0.5 {
				ran[i] = true
			}
		}
	}
	if err := s.End(t.Context(), at(int(s.Heard()), n), int64(n)-s.Heard()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(whole, s.Finding()); diff != "" {
		t.Errorf("search and Find differ:\n%s", diff)
	}
	if math.Abs(s.Seconds()-float64(n)/32000) > 1e-9 || len(ran) < 7 {
		t.Errorf("%d sections were seen running, want 7 or more of %d; %.2f s heard", len(ran), len(tape.Sections), s.Seconds())
	}
}
