package lineup_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"headstack/lineup"
	"headstack/machine"
	"headstack/measure"
)

func upTo(n int) []int {
	var out []int
	for i := 1; i <= n; i++ {
		out = append(out, i)
	}
	return out
}

// fewest is the least number of rounds by trying all: the tracks go one by one into any
// round so far or a new one.
func fewest(groups []int, per, atOnce int) int {
	best := len(groups)
	var rounds []map[int]int
	var sizes []int
	var place func(i int)
	place = func(i int) {
		if len(rounds) >= best {
			return
		}
		if i == len(groups) {
			best = len(rounds)
			return
		}
		for r := range rounds {
			if sizes[r] < atOnce && rounds[r][groups[i]] < per {
				sizes[r]++
				rounds[r][groups[i]]++
				place(i + 1)
				sizes[r]--
				rounds[r][groups[i]]--
			}
		}
		rounds, sizes = append(rounds, map[int]int{groups[i]: 1}), append(sizes, 1)
		place(i + 1)
		rounds, sizes = rounds[:len(rounds)-1], sizes[:len(sizes)-1]
	}
	best++
	place(0)
	return best
}

// Each track is recorded once, no round holds more than it may, and there is no way with
// fewer rounds.
func TestRecordRoundsAreFewest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "tracks")
		groups := rapid.IntRange(1, 3).Draw(t, "groups")
		d := &machine.Definition{Tracks: machine.Tracks{Count: n}}
		of := make([]int, n)
		lists := make([][]int, groups)
		for i := range n {
			of[i] = rapid.IntRange(0, groups).Draw(t, "group")
			if of[i] < groups {
				lists[of[i]] = append(lists[of[i]], i+1)
			} else {
				of[i] = groups + i // in none
			}
		}
		for _, l := range lists {
			d.Groups = append(d.Groups, machine.Group{Tracks: l})
		}
		per, atOnce := rapid.IntRange(1, 3).Draw(t, "per"), rapid.IntRange(1, 4).Draw(t, "at once")
		rounds, err := lineup.RecordRounds(d, lineup.Recording{AtOnce: atOnce, PerGroup: per})
		if err != nil {
			t.Fatal(err)
		}
		if got := slices.Sorted(slices.Values(slices.Concat(rounds...))); !slices.Equal(got, upTo(n)) {
			t.Fatalf("%v", rounds)
		}
		for _, r := range rounds {
			in := map[int]int{}
			for _, track := range r {
				in[of[track-1]]++
				if in[of[track-1]] > per {
					t.Fatalf("%v takes %d of a group", rounds, in[of[track-1]])
				}
			}
			if len(r) == 0 || len(r) > atOnce {
				t.Fatalf("%v", rounds)
			}
		}
		if want := fewest(of, per, atOnce); len(rounds) != want {
			t.Fatalf("%v: %d rounds, %d suffice", rounds, len(rounds), want)
		}
	})
}

func TestRecordRoundsOfBuiltins(t *testing.T) {
	for name, want := range map[string][][]int{"hexastrand": {{1, 2}, {3, 4}, {5, 6}}, "octogrange": {{1, 2, 3, 4, 5, 6, 7, 8}}} {
		d, _ := machine.Builtin(name)
		got, err := lineup.RecordRounds(d, lineup.Recording{})
		if err != nil || !slices.EqualFunc(got, want, slices.Equal) {
			t.Errorf("%s: %v, %v", name, got, err)
		}
	}
	d, _ := machine.Builtin("hexastrand")
	if _, err := lineup.RecordRounds(d, lineup.Recording{AtOnce: -1}); !errors.Is(err, lineup.ErrRounds) {
		t.Error(err)
	}
}

// joins reports that passes hold all tracks and, for a line, join them to one another.
func joins(passes [][]int, n int, line bool) bool {
	reached := map[int]bool{}
	if !line {
		for _, p := range passes {
			for _, t := range p {
				reached[t] = true
			}
		}
		return len(reached) == n
	}
	reached[1] = true
	for range n {
		for _, p := range passes {
			if slices.ContainsFunc(p, func(t int) bool { return reached[t] }) {
				for _, t := range p {
					reached[t] = true
				}
			}
		}
	}
	return len(reached) == n
}

// Fewer passes never do, by trying all choices of them.
func TestHearRoundsAreFewest(t *testing.T) {
	for n := 1; n <= 6; n++ {
		for k := 1; k <= 4; k++ {
			for _, p := range []lineup.Purpose{lineup.HearEach, lineup.HearLine} {
				passes, err := lineup.HearRounds(upTo(n), lineup.Hearing{AtOnce: k}, p)
				if p == lineup.HearLine && k == 1 && n > 1 {
					if !errors.Is(err, lineup.ErrRounds) {
						t.Errorf("one at once compared: %v", passes)
					}
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				var lists [][]int
				for _, x := range passes {
					lists = append(lists, x.Tracks)
					if len(x.Tracks) > k || p == lineup.HearLine && x.Tracks[0] != 1 {
						t.Errorf("n %d, k %d: %v", n, k, passes)
					}
				}
				if !joins(lists, n, p == lineup.HearLine) {
					t.Errorf("n %d, k %d, %s: %v does not do", n, k, p, lists)
				}
				if n > 1 && with(nil, subsets(n, k), len(lists)-1, func(c [][]int) bool { return joins(c, n, p == lineup.HearLine) }) {
					t.Errorf("n %d, k %d, %s: fewer than %d do", n, k, p, len(lists))
				}
			}
		}
	}
}

// with tells whether some choice of m sets does.
func with(chosen, sets [][]int, m int, does func([][]int) bool) bool {
	if m <= 0 {
		return does(chosen)
	}
	for i, s := range sets {
		if with(append(slices.Clip(chosen), s), sets[i:], m-1, does) {
			return true
		}
	}
	return false
}

// subsets are those of k of n tracks, or all n.
func subsets(n, k int) [][]int {
	var out [][]int
	for bits := 1; bits < 1<<n; bits++ {
		var s []int
		for i := range n {
			if bits&(1<<i) != 0 {
				s = append(s, i+1)
			}
		}
		if len(s) == min(n, k) {
			out = append(out, s)
		}
	}
	return out
}

// Passes with sides exchanged tell the path's error; with one pass fewer, whichever, they
// do not, for any choice of pairs.
func TestCorrectedPassesAreFewest(t *testing.T) {
	reading := measure.Result{Unit: "dB", Lo: -0.1, Hi: 0.1}
	hear := func(pairs [][]int) *lineup.BusFigures {
		var heard []lineup.Heard
		for _, p := range pairs {
			heard = append(heard, lineup.Heard{Left: p[0], Right: p[1], LeftDB: reading, RightDB: reading, DelayUs: reading})
		}
		f, err := lineup.Solve(heard, 0)
		if err != nil {
			return nil
		}
		return f
	}
	for n := 2; n <= 4; n++ {
		passes, err := lineup.HearRounds(upTo(n), lineup.Hearing{AtOnce: 2, Bus: true}, lineup.HearCorrected)
		if err != nil || len(passes) != n {
			t.Fatalf("%d tracks: %v, %v", n, passes, err)
		}
		var lists [][]int
		for _, p := range passes {
			lists = append(lists, p.Tracks)
		}
		if f := hear(lists); f == nil || f.PathUs.Refused != "" || f.PathDB.Refused != "" || len(f.Levels) != n || len(f.Delays) != n-1 {
			t.Errorf("%d tracks: %+v", n, f)
		}
		var ordered [][]int
		for a := 1; a <= n; a++ {
			for b := 1; b <= n; b++ {
				if a != b {
					ordered = append(ordered, []int{a, b})
				}
			}
		}
		if with(nil, ordered, n-1, func(c [][]int) bool {
			f := hear(c)
			return f != nil && len(f.Levels) == n && f.PathUs.Refused == ""
		}) {
			t.Errorf("%d tracks: fewer passes do", n)
		}
	}
	for _, h := range []lineup.Hearing{{AtOnce: 4}, {AtOnce: 2, Reference: 9}, {AtOnce: 3, Bus: true}} {
		if _, err := lineup.HearRounds(upTo(6), h, lineup.HearCorrected); !errors.Is(err, lineup.ErrRounds) {
			t.Errorf("%+v: %v", h, err)
		}
	}
}

// A synthetic bus of known error: levels, delays and the path come out, and the intervals
// cover the truth as often as they say.
func TestSolveCovers(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 11))
	const n, tries, sdDB, sdUs = 6, 2000, 0.08, 1.5
	inside, figures, worst := 0, 0, 0.0
	check := func(r measure.Result, truth float64) {
		if r.Refused != "" {
			t.Fatal(r.Refused)
		}
		figures++
		if r.Lo <= truth && truth <= r.Hi {
			inside++
		}
		worst = math.Max(worst, math.Abs(r.Value-truth)/(r.Hi-r.Lo))
	}
	for range tries {
		level, delay := make([]float64, n), make([]float64, n)
		for i := 1; i < n; i++ {
			level[i], delay[i] = rng.NormFloat64(), 20*rng.NormFloat64()
		}
		g, d := 0.5*rng.NormFloat64(), 5*rng.NormFloat64()
		passes, err := lineup.HearRounds(upTo(n), lineup.Hearing{AtOnce: 2, Bus: true}, lineup.HearCorrected)
		if err != nil {
			t.Fatal(err)
		}
		var heard []lineup.Heard
		for _, p := range passes {
			a, b := p.Tracks[0]-1, p.Tracks[1]-1
			noisy := func(v, sd float64) measure.Result {
				v += sd * rng.NormFloat64()
				return measure.Result{Value: v, Lo: v - 1.96*sd, Hi: v + 1.96*sd, Unit: "dB"}
			}
			heard = append(heard, lineup.Heard{Left: a + 1, Right: b + 1, LeftDB: noisy(level[a], sdDB), RightDB: noisy(level[b]+g, sdDB), DelayUs: noisy(delay[b]-delay[a]+d, sdUs)})
		}
		f, err := lineup.Solve(heard, 1)
		if err != nil {
			t.Fatal(err)
		}
		for i, r := range f.Levels {
			check(r, level[i])
		}
		for i, r := range f.Delays {
			check(r, delay[i+1])
		}
		check(f.PathDB, g)
		check(f.PathUs, d)
	}
	share := float64(inside) / float64(figures)
	t.Logf("%.2f %% of %d intervals cover", 100*share, figures)
	// Figures of one try go together; intervals are only ever widened.
	if share < 0.945 || share > 0.985 {
		t.Errorf("95 %% intervals cover %.2f %%", 100*share)
	}
}

// One pass exchanged cancels the path: half of what sides exchanged differ by is the path,
// the mean of both the delay.
func TestSolveBySymmetry(t *testing.T) {
	r := func(v float64) measure.Result { return measure.Result{Value: v, Lo: v - 0.1, Hi: v + 0.1, Unit: "dB"} }
	f, err := lineup.Solve([]lineup.Heard{
		{Left: 1, Right: 2, LeftDB: r(0), RightDB: r(1.4), DelayUs: r(13)},
		{Left: 2, Right: 1, LeftDB: r(1), RightDB: r(0.4), DelayUs: r(-7)},
	}, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		got  measure.Result
		want float64
	}{{f.Delays[0], 10}, {f.PathUs, 3}, {f.PathDB, 0.4}, {f.Levels[1], 1}, {f.Levels[0], 0}} {
		if math.Abs(c.got.Value-c.want) > 1e-9 || len(c.got.Warnings) != 0 {
			t.Errorf("%+v, want %g", c.got, c.want)
		}
	}
	// The delay is a mean of two readings of ±0.1.
	if half := (f.Delays[0].Hi - f.Delays[0].Lo) / 2; math.Abs(half-0.1/math.Sqrt2) > 1e-6 {
		t.Errorf("±%g", half)
	}
	if _, err := lineup.Solve([]lineup.Heard{{Left: 1, Right: 2}, {Left: 3, Right: 4}}, 1); !errors.Is(err, lineup.ErrHeard) {
		t.Error("passes without a common track were joined")
	}
	f, err = lineup.Solve([]lineup.Heard{{Left: 1, Right: 2, LeftDB: r(0), RightDB: r(1), DelayUs: r(3)}}, 1)
	if err != nil || f.PathUs.Refused == "" || len(f.Delays[0].Warnings) != 1 || f.Delays[0].Value != 3 {
		t.Errorf("%+v, %v", f, err)
	}
}
