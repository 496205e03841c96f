package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// mayImport lists, for each package, which of ours it may import. An arrow that
// is not here points back.
var mayImport = map[string][]string{
	"unit":          {},
	"tape":          {"unit"},
	"dsp":           {"unit"},
	"infer":         {},
	"phone":         {},
	"plan":          {},
	"capture":       {"dsp"},
	"testtape":      {"dsp", "tape", "unit"},
	"programme":     {"dsp", "tape", "testtape", "unit"},
	"measure":       {"dsp", "programme", "tape", "testtape", "unit"},
	"signature":     {"measure", "tape", "testtape", "unit"},
	"machine":       {"tape", "unit"},
	"live":          {"capture", "dsp", "machine", "measure", "programme", "testtape", "unit"},
	"live/pulse":    {},
	"bias":          {"dsp", "machine", "measure", "programme", "tape", "unit"},
	"learn":         {"dsp", "machine", "unit"},
	"trim":          {"dsp", "machine", "measure", "tape", "unit"},
	"lineup":        {"machine", "measure", "programme", "tape", "testtape", "unit"},
	"teardown":      {"machine", "unit"},
	"diagnosis":     {"infer", "machine", "measure", "plan", "signature", "unit"},
	"plot":          {"measure", "signature", "unit"},
	"job":           {"bias", "capture", "diagnosis", "dsp", "instrument", "learn", "lineup", "live", "machine", "measure", "picture", "programme", "signature", "tape", "teardown", "testtape", "trim", "unit"},
	"picture":       {},
	"picture/pdf":   {"picture"},
	"job/memory":    {"job"},
	"job/jobtest":   {"bias", "diagnosis", "job", "measure"},
	"halfmade":      {},
	"store":         {"halfmade", "job", "measure", "unit"},
	"store/pgtest":  {},
	"export":        {"halfmade", "diagnosis", "job", "measure"},
	"report":        {"diagnosis", "job", "machine", "measure", "plot", "signature", "testtape", "unit"},
	"paper":         {"plot"},
	"paper/pdftest": {},
	"handout":       {"diagnosis", "job", "lineup", "machine", "measure", "paper", "plot", "report", "teardown", "testtape", "unit"},
	"help":          {},
	"logbook":       {},
	"doc":           {},
	"web":           {"halfmade", "bias", "capture", "diagnosis", "doc", "handout", "help", "instrument", "job", "learn", "lineup", "live", "logbook", "machine", "measure", "paper", "phone", "plot", "programme", "report", "signature", "teardown", "testtape", "trim", "unit"},
	"instrument":    {},
	"sim/board":     {"machine"},
	"sim/field":     {},
	"sim/meter":     {},
	"sim/trims":     {"machine", "tape", "unit"},
	"sim":           {"sim/field", "capture", "dsp", "machine", "measure", "programme", "tape", "testtape", "unit"},
	"trial":         {"diagnosis", "machine", "measure", "sim", "unit"},
	"trial/lining":  {"bias", "lineup", "machine", "measure", "sim/trims", "tape", "testtape", "trim", "unit"},
	"cmd/headstack": {"*"},
}

// numeric packages know no files, SQL or HTTP: not even the standard library's.
var numeric = []string{"unit", "tape", "dsp", "programme", "measure", "infer", "plan", "signature", "learn", "diagnosis", "trim", "teardown", "bias", "lineup"}

func TestImportsPointOneWay(t *testing.T) {
	root := filepath.Join("..", "..")
	seen := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "testdata" || d.Name() == "node_modules") {
			return fs.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		rel, _ := filepath.Rel(root, filepath.Dir(path))
		pkg := filepath.ToSlash(rel)
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		seen[pkg] = true
		checkImports(t, pkg, path, f.Imports)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for pkg := range mayImport {
		if !seen[pkg] && pkg != "job/memory" {
			t.Errorf("package %s is in the list but not in the tree", pkg)
		}
	}
}

func checkImports(t *testing.T, pkg, path string, imports []*ast.ImportSpec) {
	t.Helper()
	allowed, known := mayImport[pkg]
	if !known {
		t.Errorf("package %s (%s) is not in the list of packages: give it a place among the arrows", pkg, path)
		return
	}
	for _, im := range imports {
		p, _ := strconv.Unquote(im.Path.Value)
		if slices.Contains(numeric, pkg) && slices.Contains([]string{"os", "net/http", "database/sql"}, p) {
			t.Errorf("%s imports %s: the numeric core knows no files, SQL or HTTP", path, p)
		}
		ours, ok := strings.CutPrefix(p, "headstack/")
		if !ok || slices.Contains(allowed, "*") || slices.Contains(allowed, ours) {
			continue
		}
		t.Errorf("%s imports headstack/%s: %s may import only %v", path, ours, pkg, allowed)
	}
}
