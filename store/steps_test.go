package store

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// source is what is written here, without tests, on any system.
func source(t *testing.T) map[string]*ast.File {
	t.Helper()
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*ast.File{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		if out[name], err = parser.ParseFile(token.NewFileSet(), name, nil, 0); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// steps are the constants of type step by their names in the source.
func steps(t *testing.T) map[string]step {
	t.Helper()
	out := map[string]step{}
	ast.Inspect(source(t)["disk.go"], func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if !ok || len(v.Values) != 1 {
			return true
		}
		if id, ok := v.Type.(*ast.Ident); ok && id.Name == "step" {
			text, err := strconv.Unquote(v.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			out[v.Names[0].Name] = step(text)
		}
		return true
	})
	if len(out) < 40 {
		t.Fatalf("only %d steps found", len(out))
	}
	return out
}

// changing are the calls that change a disk, by the last part of their names.
var changing = []string{"Create", "CreateTemp", "OpenFile", "Mkdir", "MkdirAll", "MkdirTemp", "WriteFile", "Rename", "Remove", "RemoveAll",
	"Chmod", "Chown", "Chtimes", "Link", "Symlink", "Truncate", "CopyFS", "Sync", "Commit", "Begin", "BeginTx", "Exec", "ExecContext", "Up", "UpTo",
	"WriteString", "WriteAt", "ReadFrom", "syncDir", "syncPath"}

// elsewhere are the functions in which such calls need no step, and why.
var elsewhere = map[string]string{
	"putEntry":      "within a transaction, whose beginning and commit are steps",
	"exec":          "within a transaction",
	"putJob":        "within a transaction",
	"PutDocument":   "within a transaction",
	"AppendListing": "within a transaction",
	"tryOn":         "on a server: what it does to its disk is its own",
	"migrateServer": "the same",
	"openInstant":   "it only reads",
	"instantPool":   "the same",
	"appendWhole":   "within a transaction",
	"lockFolder":    "the lock is held, not written: its file stays empty",
	"release":       "the same",
	"syncPath":      "called in steps only, as this test sees to",
	"syncDir":       "the same",
}

// ofTime says that a call takes a duration, as that of a time which is called Truncate, too.
func ofTime(call *ast.CallExpr) bool {
	if len(call.Args) != 1 {
		return false
	}
	s, ok := call.Args[0].(*ast.SelectorExpr)
	if !ok {
		return false
	}
	id, ok := s.X.(*ast.Ident)
	return ok && id.Name == "time"
}

// TestStepsAreComplete: whatever changes the disk is a step, and each step is made at one
// place, so that TestEachStepCanFail can make it fail.
func TestStepsAreComplete(t *testing.T) {
	known, used := steps(t), map[string]int{}
	for name, file := range source(t) {
		if name == "disk.go" {
			continue
		}
		for _, decl := range file.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			if !ok {
				continue
			}
			var walk func(n ast.Node, in bool)
			walk = func(n ast.Node, in bool) {
				ast.Inspect(n, func(n ast.Node) bool {
					call, ok := n.(*ast.CallExpr)
					if !ok {
						return true
					}
					callee := ""
					switch f := call.Fun.(type) {
					case *ast.SelectorExpr:
						callee = f.Sel.Name
					case *ast.Ident:
						callee = f.Name
					}
					if len(call.Args) == 2 {
						if id, ok := call.Args[0].(*ast.Ident); ok && strings.HasPrefix(id.Name, "step") {
							if _, ok := known[id.Name]; !ok || !slices.Contains([]string{"do", "writer", "discard", "close"}, callee) {
								t.Errorf("%s: %s is no step of disk.go, or not made by disk", name, id.Name)
							}
							used[id.Name]++
							walk(call.Args[1], true)
							return false
						}
					}
					if slices.Contains(changing, callee) && !in && !ofTime(call) && elsewhere[fn.Name.Name] == "" {
						t.Errorf("%s: %s calls %s outside of a step: make it one in disk.go", name, fn.Name.Name, callee)
					}
					return true
				})
			}
			walk(fn.Body, false)
		}
	}
	for name := range known {
		if used[name] != 1 {
			t.Errorf("%s is made at %d places, want 1", name, used[name])
		}
	}
	t.Logf("%d steps", len(known))
}
