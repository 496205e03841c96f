package programme

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// What is written reads back to the same value, bit for bit.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := drawn(r)
		data, err := p.Encode()
		if err != nil {
			r.Fatal(err)
		}
		back, err := Load("drawn.yaml", data)
		if err != nil {
			r.Fatalf("%v\n%s", err, data)
		}
		if diff := cmp.Diff(p, back); diff != "" {
			r.Fatalf("-written +read:\n%s\n%s", diff, data)
		}
	})
}

// drawn is any programme that passes Check.
func drawn(r *rapid.T) *Programme {
	text := rapid.StringOfN(rapid.RuneFrom([]rune("ab 0#:'\"\\{}[],&*!%-é\u202f?|>~")), 1, 20, -1).Filter(func(s string) bool { return strings.TrimSpace(s) != "" })
	p := &Programme{Format: 1, Name: text.Draw(r, "name"), Tracks: rapid.IntRange(1, 6).Draw(r, "tracks")}
	p.SpeedCmS = rapid.Float64Range(1, 160).Draw(r, "speed")
	p.ReferenceHz = rapid.Float64Range(10, 24000).Draw(r, "reference")
	p.ReferenceDBFS = rapid.Float64Range(-60, -40).Draw(r, "dBFS")
	each := rapid.IntRange(1, p.Tracks).Draw(r, "at once")
	for t := 1; t <= p.Tracks; t += each {
		p.Rounds = append(p.Rounds, oneTo(t, min(t+each-1, p.Tracks)))
	}
	p.Parts = []Part{{Name: "the reference", Kind: Tone, Seconds: 5, All: []Sine{{Hz: p.ReferenceHz}}}}
	sine := rapid.Custom(func(r *rapid.T) Sine {
		return Sine{rapid.Float64Range(10, 24000).Draw(r, "hz"), rapid.Float64Range(-100, 0).Draw(r, "level"), rapid.Float64Range(-360, 360).Draw(r, "phase")}
	})
	for i := range rapid.IntRange(0, 6).Draw(r, "parts") {
		part := Part{Name: fmt.Sprintf("%d %s", i, text.Draw(r, "part")), Seconds: rapid.Float64Range(1, 3600).Draw(r, "seconds")}
		part.Kind = rapid.SampledFrom(Kinds()).Draw(r, "kind")
		n := needs[part.Kind]
		list := rapid.SliceOfN(sine, n[0], min(n[1], 5)).Draw(r, "tones")
		switch part.Kind {
		case Silence:
			if rapid.Bool().Draw(r, "said") {
				part.All = []Sine{}
			}
		case Identity, OneTrack:
			part.Each = make([][]Sine, rapid.IntRange(1, p.Tracks).Draw(r, "each"))
			for k := range part.Each {
				part.Each[k] = []Sine{}
			}
			part.Each[len(part.Each)-1] = list
		default:
			part.All = list
		}
		switch part.Kind {
		case Staircase:
			part.StepSeconds = part.Seconds / 2
		case Companding:
			part.StepSeconds = part.Seconds
		}
		p.Parts = append(p.Parts, part)
	}
	return p
}

func oneTo(from, to int) (list []int) {
	for ; from <= to; from++ {
		list = append(list, from)
	}
	return list
}

// Each broken programme says in its first lines which error it must give:
//
//	# at: 5:13
//	# says: a piece of the message
func TestBrokenProgrammes(t *testing.T) {
	files, err := filepath.Glob("testdata/broken/*.yaml")
	if err != nil || len(files) < 20 {
		t.Fatalf("%d broken programmes, %v", len(files), err)
	}
	for _, f := range files {
		t.Run(filepath.Base(f), func(t *testing.T) {
			src, err := os.ReadFile(f)
			if err != nil {
				t.Fatal(err)
			}
			var at, says string
			for _, l := range strings.Split(string(src), "\n") {
				if v, ok := strings.CutPrefix(l, "# at: "); ok {
					at = v
				}
				if v, ok := strings.CutPrefix(l, "# says: "); ok {
					says = v
				}
			}
			_, err = Load(filepath.Base(f), src)
			e, ok := errors.AsType[*Error](err)
			if !ok || says == "" {
				t.Fatalf("got %v, want an *Error", err)
			}
			if got := fmt.Sprintf("%d:%d", e.Line, e.Column); got != at || !strings.Contains(e.Error(), says) || e.Want == "" {
				t.Errorf("got %v (at %s, want part %q), want it at %s with %q", e, got, e.Want, at, says)
			}
		})
	}
}

// Hostile files end soon.
func TestHostileFiles(t *testing.T) {
	for name, data := range map[string]string{
		"large":    strings.Repeat("# x\n", 100<<10),
		"commas":   "rounds: [" + strings.Repeat("1,", 50000) + "1]",
		"brackets": "rounds: " + strings.Repeat("[", 5000),
		"dashes":   strings.Repeat("- ", 20000),
		"keys":     manyKeys(8000),
		"items":    "parts:\n" + strings.Repeat("  - 1\n", 15000),
		"bytes":    "name: \xff\xfe",
		"zero":     "name: \x00",
		"nothing":  "",
		"comment":  "# nothing",
		"text":     "hello",
	} {
		start := time.Now()
		_, err := Load(name, []byte(data))
		if _, ok := errors.AsType[*Error](err); !ok {
			t.Errorf("%s: error %v, want an *Error", name, err)
		}
		if d := time.Since(start); d > 10*time.Second {
			t.Errorf("%s took %v", name, d)
		}
	}
}

func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d: 1\n", i)
	}
	return b.String()
}

// The largest standard programme is far from the limit.
func TestLargestProgramme(t *testing.T) {
	data, err := standard(t, Options{Tracks: MaxTracks, SpeedCmS: 76.2, TracksPerRound: 1, Kinds: Kinds()}).Encode()
	if err != nil || len(data) > maxFileBytes/2 {
		t.Errorf("%d bytes of %d, %v", len(data), maxFileBytes, err)
	}
	if _, err := Load("largest.yaml", data); err != nil {
		t.Error(err)
	}
}

func FuzzLoad(f *testing.F) {
	p, err := New(Options{Tracks: 2, SpeedCmS: 9.525, TracksPerRound: 1})
	if err != nil {
		f.Fatal(err)
	}
	good, err := p.Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte("programme: 1\nparts: [{all: [{hz: 1}]}]"))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Load("fuzz.yaml", data)
		if err != nil {
			return
		}
		again, err := p.Encode()
		if err != nil {
			t.Fatalf("loads but does not write: %v", err)
		}
		back, err := Load("again.yaml", again)
		if err != nil {
			t.Fatalf("written but does not load: %v\n%s", err, again)
		}
		if diff := cmp.Diff(p, back); diff != "" {
			t.Fatalf("-first +second:\n%s", diff)
		}
	})
}

// All mistakes of a file are told at once.
func TestSeveralMistakes(t *testing.T) {
	data := `programme: 1
name: two mistakes
tracks: 2
speed_cm_s: 9.525
reference_hz: 315
reference_dbfs: -12
rounds: [[1, 2]]
parts:
  - {name: reference, kind: tone, seconds: 5, all: [{hz: 315, level_db: 0}]}
  - {name: reference, kind: tone, seconds: -5, all: [{hz: 5, level_db: 0}]}
`
	_, err := Load("two.yaml", []byte(data))
	for _, want := range []string{"two.yaml:10:12: ", "two.yaml:10:44: ", "two.yaml:10:59: "} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one at %s", err, want)
		}
	}
}
