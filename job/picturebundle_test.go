package job_test

import (
	"archive/zip"
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"headstack/job"
)

func TestABundleGoesToAnotherBench(t *testing.T) {
	b, _ := pictureBench(t, job.BenchOptions{})
	p, places := addBoard(t, b)
	for _, at := range places[:9] {
		if _, err := b.SetMark(t.Context(), "hexastrand", job.Mark{Picture: p.ID, Part: at.Part, X: at.X, Y: at.Y, Label: "here"}); err != nil {
			t.Fatal(err)
		}
	}
	var file bytes.Buffer
	if err := b.WriteBundle(t.Context(), "hexastrand", &file); err != nil {
		t.Fatal(err)
	}
	other, _ := pictureBench(t, job.BenchOptions{})
	for range 2 { // again changes nothing
		got, err := other.AddBundle(t.Context(), "hexastrand.zip", file.Bytes())
		if err != nil || got.Definition.ID != "hexastrand" || got.Pictures != 1 || got.Marks != 9 {
			t.Fatalf("%+v, %v", got, err)
		}
	}
	want, err := b.Marks(t.Context(), "hexastrand")
	if err != nil {
		t.Fatal(err)
	}
	got, err := other.Marks(t.Context(), "hexastrand")
	if diff := cmp.Diff(want, got); err != nil || diff != "" {
		t.Errorf("marks (%v, -want +got):\n%s", err, diff)
	}
	if h, err := other.MarkHistory(t.Context(), "hexastrand", p.ID); err != nil || len(h) != 9 {
		t.Errorf("%d changes, want 9 (%v)", len(h), err)
	}
}

func TestBundlesThatAreRefused(t *testing.T) {
	made := func(files map[string]string) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for name, text := range files {
			w, err := z.Create(name)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write([]byte(text)); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	b, _ := pictureBench(t, job.BenchOptions{})
	yaml, _, err := b.DefinitionYAML(t.Context(), "hexastrand")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"no archive":    {[]byte("hello"), "no ZIP"},
		"empty":         {made(nil), "definition.yaml"},
		"no index":      {made(map[string]string{"definition.yaml": string(yaml)}), "pictures.json"},
		"other form":    {made(map[string]string{"definition.yaml": string(yaml), "pictures.json": `{"pictures_of_a_definition": 2}`}), "form 2"},
		"a bomb":        {made(map[string]string{"definition.yaml": strings.Repeat("#", 3<<20), "pictures.json": "{}"}), "more than 2 MiB"},
		"no definition": {made(map[string]string{"definition.yaml": "machine: 1", "pictures.json": `{"pictures_of_a_definition": 1}`}), "definition.yaml"},
		"picture away":  {made(map[string]string{"definition.yaml": string(yaml), "pictures.json": `{"pictures_of_a_definition": 1, "pictures": [{"name": "../../x.png", "title": "x", "kind": "board"}]}`}), "has no file"},
	} {
		if _, err := b.AddBundle(t.Context(), "x.zip", c.data); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", name, err, c.want)
		}
	}
}
