package machine_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"headstack/machine"
)

// broken are definitions with one fault each, where it must be reported, and a
// piece of what must be said. The places were marked by hand in the texts, not
// read from the program's output.
var broken = []struct {
	file         string
	line, column int
	says         string
}{
	{"bracket-open", 13, 1, `close the bracket`},
	{"key-twice", 4, 1, `already defined`},
	{"tab-indent", 8, 1, `indent with spaces`},
	{"bare-at", 40, 70, `needs quotes: "@play"`},
	{"anchor", 5, 9, `anchor, alias or merge key`},
	{"merge-key", 5, 1, `anchor, alias or merge key`},
	{"tag", 3, 7, `YAML tag`},
	{"two-documents", 6, 1, `one recorder type per file`},
	{"not-a-mapping", 1, 1, `a list stands where fields`},
	{"empty", 1, 1, `the file is empty`},
	{"nested", 12, 25, `nested more than 16 deep`},
	{"binary", 1, 8, `control character`},
	{"format-unknown", 1, 10, `this program reads format 1`},
	{"unknown-field", 3, 1, `did you mean make?`},
	{"unknown-field-deep", 33, 71, `did you mean board?`},
	{"missing-field", 53, 5, `field "from" is missing`},
	{"number-wanted", 10, 30, `"wide" stands where a number is wanted`},
	{"whole-number-wanted", 10, 17, `"4.5" stands where a whole number is wanted`},
	{"number-with-unit", 8, 12, `no unit`},
	{"list-wanted", 39, 67, `"H" stands where a list is wanted`},
	{"bool-wanted", 24, 15, `"yes" stands where true or false is wanted`},
	{"no-value", 3, 1, `make has no value`},
	{"word-unknown", 5, 16, `did you mean cassette?`},
	{"class-unknown", 6, 17, `known here`},
	{"tracks-overlap", 10, 45, `overlap`},
	{"off-the-tape", 10, 9, `on a tape 3.810 mm wide`},
	{"group-track", 14, 36, `tracks are 1 to 4`},
	{"track-in-two-groups", 15, 37, `already in group a`},
	{"id-twice", 35, 10, `id U3 is used twice`},
	{"board-unknown", 34, 90, `did you mean MAIN?`},
	{"set-unknown", 35, 69, `did you mean side?`},
	{"kind-unknown", 37, 44, `did you mean oscillator?`},
	{"part-not-told-apart", 34, 39, `all replicas would be called "U3"`},
	{"placeholder-wrong", 35, 33, `write {side}`},
	{"stage-unknown", 39, 71, `stage U3x is not defined; did you mean U3?`},
	{"function-unknown", 40, 70, `function paly is not defined; did you mean play?`},
	{"function-in-circle", 39, 67, `contains itself`},
	{"set-not-fixed", 39, 67, `with: {side: L}`},
	{"replica-unknown", 40, 93, `it has L, R`},
	{"track-without-group", 41, 73, `track 4 is in no group`},
	{"point-off-path", 44, 85, `stage U5 is not on the path of play`},
	{"point-too-wide", 45, 89, `does not say which`},
	{"unit-unknown", 44, 127, `did you mean mV?`},
	{"two-values", 44, 109, `more than one of value`},
	{"pin-unknown", 45, 216, `no pin "T7" on the MAIN side of P1`},
	{"measure-unknown", 48, 70, `did you mean level?`},
	{"opening-unknown", 54, 41, `did you mean lid?`},
	{"opening-in-circle", 53, 34, `runs in a circle`},
	{"caution-unknown", 46, 206, `did you mean bias?`},
	{"exception-unknown", 56, 12, `no part is called U3-5`},
	{"pins-differ-in-number", 26, 27, `6 pins on MAIN and 5 on LID`},
	{"pins-not-mirrored", 26, 38, `should be pin 4 on MAIN, "T3", and is "T2"`},
	{"pins-mirrored-unsaid", 25, 27, `run against each other`},
	{"pins-exchanged", 31, 27, `run against each other`},
	{"signal-one-side", 31, 27, `signal "+9" of P2 is on the MAIN side only`},
	{"stage-unreached", 35, 10, `no function passes stage U9`},
	{"trim-without-measure", 48, 70, `sets no measure`},
	{"no-expected-value", 44, 109, `no expected value`},
	{"no-bias-caution", 46, 10, `touches bias or erase and has no caution`},
	{"turning-both-ways", 17, 5, `not given in one of the four ways`},
	{"turning-unknown", 18, 39, `transport part cop is not defined; did you mean cap?`},
	{"turning-circle", 17, 42, `fly hangs on itself`},
	{"turning-pack", 17, 57, `no larger than its hub`},
	{"turning-size", 17, 43, `0.0024 mm is out of range`},
	{"turning-slow", 18, 5, `turns 3790 to 3790 times a second`},
	{"gap-in-nanometres", 17, 54, `1500 µm is out of range`},
	{"condition-unknown", 34, 182, `did you mean pressed?`},
	{"chance-over-one", 34, 180, `a chance of 80; the chance that the fault shows at one look under that condition, 0 to 1`},
	{"cure-unknown", 34, 199, `"resolder" is not one of the words known here`},
	{"shows-and-always", 34, 195, `a fault that comes and goes is mode: intermittent`},
	{"shows-without-presence", 34, 173, `add presence`},
	{"designators-collide", 37, 34, `U9-L is the designator`},
}

func TestBrokenDefinitions(t *testing.T) {
	seen := map[string]bool{}
	for _, b := range broken {
		seen[b.file+".yaml"] = true
		t.Run(b.file, func(t *testing.T) {
			data, err := os.ReadFile(filepath.Join("testdata", "broken", b.file+".yaml"))
			if err != nil {
				t.Fatal(err)
			}
			got := reports(t, data)
			if len(got) == 0 {
				t.Fatal("nothing was reported")
			}
			want := fmt.Sprintf("%d:%d: ", b.line, b.column)
			for _, g := range got {
				if strings.HasPrefix(g, want) && strings.Contains(g, b.says) {
					if len(got) > 2 {
						t.Errorf("one fault and %d reports:\n%s", len(got), strings.Join(got, "\n"))
					}
					return
				}
			}
			t.Errorf("want at %s%q, got\n%s", want, b.says, strings.Join(got, "\n"))
		})
	}
	files, err := os.ReadDir("testdata/broken")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if !seen[f.Name()] {
			t.Errorf("%s is not in the table", f.Name())
		}
	}
	if len(broken) < 30 {
		t.Errorf("%d broken definitions, 30 are promised", len(broken))
	}
}

// reports are the errors of loading, or else the lint findings, each as
// "line:column: text".
func reports(t *testing.T, data []byte) []string {
	t.Helper()
	var out []string
	d, err := machine.Load("broken.yaml", data)
	if err != nil {
		var list machine.ErrorList
		if !errors.As(err, &list) {
			t.Fatalf("error of type %T", err)
		}
		for _, e := range list {
			if e.File != "broken.yaml" {
				t.Errorf("error names file %q", e.File)
			}
			out = append(out, strings.TrimPrefix(e.Error(), "broken.yaml:"))
		}
		return out
	}
	for _, f := range d.Lint() {
		out = append(out, f.String())
	}
	return out
}

// TestSmallIsSound makes sure that each broken file is broken by its one change
// only.
func TestSmallIsSound(t *testing.T) {
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if got := reports(t, data); len(got) > 0 {
		t.Errorf("the unbroken definition gives\n%s", strings.Join(got, "\n"))
	}
}

// TestAllProblemsAreReported: one file with four faults names all four.
func TestAllProblemsAreReported(t *testing.T) {
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for _, change := range [][2]string{{"kind: oscillator", "kind: oscilator"}, {"kind: head,", "kind: haed,"}, {"class: II", "class: 2"}, {"convention: short", "convention: shrt"}} {
		text = strings.Replace(text, change[0], change[1], 1)
	}
	if got := reports(t, []byte(text)); len(got) != 4 {
		t.Errorf("4 faults, %d reports:\n%s", len(got), strings.Join(got, "\n"))
	}
}

// TestMachineErrorIsTyped: callers reach file, line and column by type.
func TestMachineErrorIsTyped(t *testing.T) {
	_, err := machine.Load("x.yaml", []byte("machine: 1\nmaker: me\n"))
	e, ok := errors.AsType[*machine.Error](err)
	if !ok {
		t.Fatalf("%T holds no *machine.Error", err)
	}
	if e.File != "x.yaml" || e.Line < 1 || e.Column < 1 || e.Problem == "" {
		t.Errorf("got %+v", e)
	}
}
