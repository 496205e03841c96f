package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"headstack/capture"
	"headstack/machine"
	"headstack/signature"
	"headstack/sim"
	"headstack/store/pgtest"
	"headstack/testtape"
)

func TestMain(m *testing.M) {
	testscript.Main(pgtest.Main{M: m}, map[string]func(){"headstack": main})
}

func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"playtape":     playTape,
			"drawboard":    drawBoard,
			"jsonhas":      jsonHas,
			"playworn":     playWorn,
			"jsonexplains": jsonExplains,
			"rawof":        rawOf,
		},
		Setup: func(e *testscript.Env) error {
			e.Setenv("HEADSTACK_BENCH", filepath.Join(e.WorkDir, "bench"))
			return nil
		},
	})
}

// playTape renders a tape through a sound recorder into a capture, the true
// values beside it: playtape TAPE.yaml OUT.wav [track ...]
func playTape(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: playtape TAPE.yaml OUT.wav [track ...]")
	}
	tape, err := testtape.Load(args[0], []byte(ts.ReadFile(args[0])))
	ts.Check(err)
	def, _ := machine.Builtin("hexastrand")
	sc := sim.Perfect(tape, def.Geometry())
	sc.SpeedErrorPercent, sc.AzimuthArcmin = 0.5, 4
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60}
	}
	sc.Tracks[2].GainDB = -3
	for _, a := range args[2:] {
		n, err := strconv.Atoi(a)
		ts.Check(err)
		sc.Channels = append(sc.Channels, n)
	}
	_, err = sim.RenderFile(context.Background(), ts.MkAbs(args[1]), sc)
	ts.Check(err)
}

// rawOf writes the samples of a capture without a header, three bytes each: rawof IN.wav OUT.raw
func rawOf(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: rawof IN.wav OUT.raw")
	}
	r, err := capture.Open(ts.MkAbs(args[0]))
	ts.Check(err)
	defer r.Close()
	x := make([][]float64, r.Channels())
	for c := range x {
		x[c] = make([]float64, 4096)
	}
	var raw []byte
	for {
		n, err := r.Read(x)
		if errors.Is(err, io.EOF) {
			break
		}
		ts.Check(err)
		for i := range n {
			for c := range x {
				v := int32(math.Round(x[c][i] * (1 << 23)))
				raw = append(raw, byte(v), byte(v>>8), byte(v>>16))
			}
		}
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), raw, 0o666))
}

// jsonHas looks for a measure in the JSON on standard output and checks that its
// value lies within a tolerance: jsonhas NAME TRACK TRACK_B SECTION VALUE TOLERANCE
func jsonHas(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 6 {
		ts.Fatalf("usage: jsonhas name track track_b section value tolerance")
	}
	var doc struct {
		Measures []struct {
			Name    string
			Track   *int
			TrackB  *int `json:"track_b"`
			Section string
			Value   *float64
			Lo, Hi  *float64
			Refused *string
		}
	}
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &doc))
	num := func(p *int) string {
		if p == nil {
			return "-"
		}
		return strconv.Itoa(*p)
	}
	section := args[3]
	if section == "-" {
		section = ""
	}
	want, _ := strconv.ParseFloat(args[4], 64)
	tol, _ := strconv.ParseFloat(args[5], 64)
	for _, m := range doc.Measures {
		if m.Name != args[0] || num(m.Track) != args[1] || num(m.TrackB) != args[2] || m.Section != section {
			continue
		}
		if m.Value == nil {
			ts.Fatalf("%v: refused: %v", args, *m.Refused)
		}
		if math.Abs(*m.Value-want) > tol {
			ts.Fatalf("%v: got %v", args, *m.Value)
		}
		if m.Lo == nil || m.Hi == nil || *m.Lo > *m.Value || *m.Hi < *m.Value {
			ts.Fatalf("%v: interval does not hold the value", args)
		}
		return
	}
	ts.Fatalf("%v: no such measure", args)
}

// TestEveryVerbHasAScript keeps the scripts complete: a verb without one is not
// described.
func TestEveryVerbHasAScript(t *testing.T) {
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, verb := range []string{"measure", "explain", "machine", "tape", "programme", "loopback", "instrument", "job", "picture", "mark", "photograph", "next", "lineup", "openings", "record", "check", "reading", "note", "capture", "correct", "closing", "counts", "verdict", "report", "serve", "demo", "backup", "restore", "export", "import", "verify", "doctor"} {
		if !slices.ContainsFunc(files, func(f string) bool {
			return len(filepath.Base(f)) > len(verb) && filepath.Base(f)[:len(verb)+1] == verb+"_"
		}) {
			t.Errorf("no script %s_*.txtar", verb)
		}
	}
}

// playWorn renders a tape through a recorder whose tape stands off the head on tracks 4
// to 6, rising to the last: playworn TAPE.yaml OUT.wav UM
func playWorn(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: playworn TAPE.yaml OUT.wav um")
	}
	tape, err := testtape.Load(args[0], []byte(ts.ReadFile(args[0])))
	ts.Check(err)
	um, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	def, _ := machine.Builtin("hexastrand")
	sc := sim.Perfect(tape, def.Geometry())
	for i := range sc.Tracks {
		sc.Tracks[i].Noise = &sim.Noise{LevelDBFS: -60}
		if i >= 3 {
			sc.Tracks[i].SpacingUm = um * float64(i-2) / 3
		}
	}
	_, err = sim.RenderFile(context.Background(), ts.MkAbs(args[1]), sc)
	ts.Check(err)
}

// jsonExplains holds the JSON on standard output against the published schema and looks
// for a finding: its cause begins with the word given, and where a track is named its
// parameter lies within a tolerance: jsonexplains CAUSE [TRACK VALUE TOLERANCE]
func jsonExplains(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 && len(args) != 4 {
		ts.Fatalf("usage: jsonexplains cause [track value tolerance]")
	}
	text := []byte(ts.ReadFile("stdout"))
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(signature.Schema))
	ts.Check(err)
	c := jsonschema.NewCompiler()
	ts.Check(c.AddResource("explanation.json", schema))
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	ts.Check(err)
	ts.Check(c.MustCompile("explanation.json").Validate(doc))
	var x signature.Explanation
	ts.Check(json.Unmarshal(text, &x))
	if len(args) == 1 {
		if len(x.Findings) == 0 || string(x.Findings[0].Cause) != args[0] {
			ts.Fatalf("the first finding is not %s: %+v", args[0], x.Findings)
		}
		return
	}
	track, _ := strconv.Atoi(args[1])
	want, _ := strconv.ParseFloat(args[2], 64)
	tol, _ := strconv.ParseFloat(args[3], 64)
	for _, f := range x.Findings {
		for _, p := range f.Parameters {
			if strings.HasPrefix(string(f.Cause), args[0]) && p.Track == track && math.Abs(p.Value-want) <= tol {
				return
			}
		}
	}
	ts.Fatalf("%v: no such figure in %+v", args, x.Findings)
}
