package programme

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// reader takes values out of the YAML tree, notes where each stands, and gathers what
// has the wrong form. It is strict: a number in quotes is no number.
type reader struct {
	checker
	places map[string]*token.Token
}

// programme reads the whole file.
func (r *reader) programme(root *ast.MappingNode) *Programme {
	p := &Programme{}
	r.places[""] = firstToken(root)
	r.fields("", root, []field{
		{"programme", true, `begin the file with "programme: 1"`, func(at string, n ast.Node) { p.Format = r.whole(at, n) }},
		{"name", true, "give the programme a name of your own", func(at string, n ast.Node) { p.Name = r.text(at, n) }},
		{"tracks", true, "give the number of tracks of the machine", func(at string, n ast.Node) { p.Tracks = r.whole(at, n) }},
		{"speed_cm_s", true, "give the nominal speed in cm/s, such as 9.525 or 38.1", func(at string, n ast.Node) { p.SpeedCmS = r.number(at, n) }},
		{"reference_hz", true, "give the frequency of the reference tone in Hz", func(at string, n ast.Node) { p.ReferenceHz = r.number(at, n) }},
		{"reference_dbfs", true, "give the level of 0 dB in the written file in dBFS, such as -12", func(at string, n ast.Node) { p.ReferenceDBFS = r.number(at, n) }},
		{"rounds", true, "list the tracks recorded in each round, such as [[1, 2, 3, 4]]", func(at string, n ast.Node) {
			p.Rounds = list(r, at, n, func(at string, n ast.Node) []int { return list(r, at, n, r.whole) })
		}},
		{"parts", true, "list the parts in the order of recording", func(at string, n ast.Node) { p.Parts = list(r, at, n, r.part) }},
	})
	return p
}

func (r *reader) part(at string, n ast.Node) Part {
	var p Part
	r.fields(at, n, []field{
		{"name", true, "name the part", func(at string, n ast.Node) { p.Name = r.text(at, n) }},
		{"kind", true, fmt.Sprintf("say one of %v", Kinds()), func(at string, n ast.Node) { p.Kind = Kind(r.text(at, n)) }},
		{"seconds", true, "give the length in seconds", func(at string, n ast.Node) { p.Seconds = r.number(at, n) }},
		{"all", false, "", func(at string, n ast.Node) { p.All = list(r, at, n, r.sine) }},
		{"each", false, "", func(at string, n ast.Node) {
			p.Each = list(r, at, n, func(at string, n ast.Node) []Sine { return list(r, at, n, r.sine) })
		}},
		{"step_seconds", false, "", func(at string, n ast.Node) { p.StepSeconds = r.number(at, n) }},
	})
	return p
}

func (r *reader) sine(at string, n ast.Node) Sine {
	var s Sine
	r.fields(at, n, []field{
		{"hz", true, "give the frequency in Hz", func(at string, n ast.Node) { s.Hz = r.number(at, n) }},
		{"level_db", true, "give the level in dB re reference level", func(at string, n ast.Node) { s.LevelDB = r.number(at, n) }},
		{"phase_deg", false, "", func(at string, n ast.Node) { s.PhaseDeg = r.number(at, n) }},
	})
	return s
}

// field is one key of a mapping and what to do with its value.
type field struct {
	key      string
	required bool
	want     string // what to give where it is missing
	read     func(at string, n ast.Node)
}

func (r *reader) fields(path string, n ast.Node, known []field) {
	m, ok := n.(*ast.MappingNode)
	if !ok {
		var keys []string
		for _, f := range known {
			keys = append(keys, f.key)
		}
		r.bad(path, "give "+strings.Join(keys, ", "), "is not a set of keys and values")
		return
	}
	seen := map[string]bool{}
	for _, v := range m.Values {
		key := v.Key.GetToken().Value
		at := strings.TrimPrefix(path+"."+key, ".")
		k := slices.IndexFunc(known, func(f field) bool { return f.key == key })
		if k < 0 {
			r.places[at] = v.Key.GetToken()
			r.unknown(at, known)
			continue
		}
		r.places[at] = firstToken(v.Value)
		seen[key] = true
		known[k].read(at, v.Value)
	}
	for _, f := range known {
		if f.required && !seen[f.key] {
			at := strings.TrimPrefix(path+"."+f.key, ".")
			r.list = append(r.list, problem{at, at + " is missing", f.want})
		}
	}
}

func (r *reader) unknown(at string, known []field) {
	var keys []string
	for _, f := range known {
		keys = append(keys, f.key)
	}
	r.bad(at, "known here: "+strings.Join(keys, ", "), "is no key of a programme")
}

// list reads each entry of a sequence; what is there but empty is not nil.
func list[T any](r *reader, path string, n ast.Node, read func(at string, n ast.Node) T) []T {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		r.bad(path, "begin each entry with a dash, or write [ ] for none", "is not a list")
		return nil
	}
	out := make([]T, 0, len(s.Values))
	for i, v := range s.Values {
		at := fmt.Sprintf("%s[%d]", path, i)
		r.places[at] = firstToken(v)
		out = append(out, read(at, v))
	}
	return out
}

func (r *reader) number(at string, n ast.Node) float64 {
	switch v := n.(type) {
	case *ast.IntegerNode:
		switch x := v.Value.(type) {
		case int64:
			return float64(x)
		case uint64:
			return float64(x)
		}
	case *ast.FloatNode:
		if !math.IsNaN(v.Value) && !math.IsInf(v.Value, 0) {
			return v.Value
		}
	}
	r.bad(at, "give a plain number with a decimal point, without unit or quotes", "is not a number")
	return 0
}

func (r *reader) whole(at string, n ast.Node) int {
	v := r.number(at, n)
	if v != math.Trunc(v) || math.Abs(v) > 1e6 {
		r.bad(at, "give a whole number", "is %g", v)
		return 0
	}
	return int(v)
}

func (r *reader) text(at string, n ast.Node) string {
	switch v := n.(type) {
	case *ast.StringNode:
		return v.Value
	case *ast.LiteralNode:
		return v.Value.Value
	case *ast.IntegerNode, *ast.FloatNode:
		return n.GetToken().Value // a name may be a number
	}
	r.bad(at, "give a text", "is not a text")
	return ""
}
