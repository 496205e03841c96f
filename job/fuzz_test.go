package job_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"headstack/job"
	"headstack/job/memory"
	"headstack/machine"
)

// FuzzTurn: a turn that is read lies within a number's range and says which trim; one that
// is not says which field and what it could be.
func FuzzTurn(f *testing.F) {
	def, _ := machine.Builtin("hexastrand")
	part := def.Trims[0].ID
	for _, s := range [][3]string{{"30deg", "", ""}, {"left 1/8 turn", "", ""}, {"2.5 turns", "", ""}, {"", "10:30", "12"}, {"", "90deg", "135deg"}, {"1/0 turn", "", ""}, {"1e400deg", "25:99", "-1:-1"}, {"\x00", "½", "٣"}} {
		f.Add(part, s[0], s[1], s[2])
	}
	f.Fuzz(func(t *testing.T, part, amount, from, to string) {
		turn, err := job.ParseTurn(def, part, amount, from, to)
		if err != nil {
			if bad, ok := errors.AsType[*job.InvalidError](err); ok && (bad.Field == "" || bad.Problem == "") {
				t.Fatalf("%#v", bad)
			}
			if err.Error() == "" {
				t.Fatal("an error without words")
			}
			return
		}
		if turn.Trim == "" || math.IsNaN(turn.By) || math.IsInf(turn.By, 0) {
			t.Fatalf("%q, %q, %q is read as %+v", amount, from, to, turn)
		}
		for _, p := range []*float64{turn.From, turn.To} {
			if p != nil && (math.IsNaN(*p) || math.IsInf(*p, 0)) {
				t.Fatalf("%q, %q, %q is read as position %v", amount, from, to, *p)
			}
		}
	})
}

// FuzzBundle: a bundle from elsewhere is kept or refused in words; what is kept of it is a
// definition that this bench can give out again, in a bundle that is taken again.
func FuzzBundle(f *testing.F) {
	yaml, _ := machine.BuiltinSource("hexastrand")
	yaml = bytes.Replace(yaml, []byte("id: hexastrand"), []byte("id: hexastrand-own"), 1)
	for _, index := range []string{`{"pictures_of_a_definition":1,"definition":"hexastrand-own","pictures":[]}`,
		`{"pictures_of_a_definition":1,"pictures":[{"name":"../../x.png","kind":"board","title":"t"}]}`, `{"pictures_of_a_definition":2}`, `[`} {
		f.Add(yaml, []byte(index), "pictures/a.png", []byte("\x89PNG\r\n\x1a\n"))
	}
	f.Add([]byte("machine: 1"), []byte("{}"), "../definition.yaml", []byte{})
	f.Fuzz(func(t *testing.T, yaml, index []byte, name string, image []byte) {
		if len(yaml)+len(index)+len(image) > 1<<20 || len(name) > 1000 {
			t.Skip()
		}
		var data bytes.Buffer
		z := zip.NewWriter(&data)
		for _, x := range []struct {
			name string
			data []byte
		}{{"definition.yaml", yaml}, {"pictures.json", index}, {name, image}} {
			w, err := z.Create(x.name)
			if err != nil {
				t.Skip() // no archive can have it
			}
			_, _ = w.Write(x.data)
		}
		if err := z.Close(); err != nil {
			t.Skip()
		}
		b := job.NewBench(&memory.Record{}, &memory.Files{}, job.BenchOptions{Now: func() time.Time { return time.Unix(1.9e9, 0) }})
		ctx := context.Background()
		kept, err := b.AddBundle(ctx, "fuzz.zip", data.Bytes())
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Fatal("an error without words")
			}
			return
		}
		var out bytes.Buffer
		if err := b.WriteBundle(ctx, kept.Definition.ID, &out); err != nil {
			t.Fatalf("what was taken cannot be given out: %v", err)
		}
		if again, err := b.AddBundle(ctx, "again.zip", out.Bytes()); err != nil || again.Pictures != kept.Pictures {
			t.Fatalf("%+v, %v; first %+v", again, err, kept)
		}
	})
}
