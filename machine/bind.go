package machine

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// binder copies the parsed file into the Go types. The YAML library's own
// decoder is not used for this step for three reasons: it stops at the first
// problem, it shortens 3.5 to 3 where a whole number is wanted, and it turns the
// pin name +5 into 5. The binder finds every problem, refuses the second and
// keeps the text of the third.
type binder struct {
	*problems
	pos map[string]position // where each field stands, by path
}

// bind sets v from n.
func (b *binder) bind(n ast.Node, v reflect.Value, path string) {
	b.pos[path] = at(n)
	switch v.Kind() {
	case reflect.Struct:
		b.bindStruct(n, v, path)
	case reflect.Slice:
		b.bindSlice(n, v, path)
	case reflect.Map:
		b.bindMap(n, v, path)
	case reflect.String:
		if s, ok := scalarText(n); ok {
			v.SetString(s)
			return
		}
		b.wrongType(n, path, "text", `e.g. "U3-{track}"`)
	case reflect.Bool:
		if x, ok := n.(*ast.BoolNode); ok {
			v.SetBool(x.Value)
			return
		}
		b.wrongType(n, path, "true or false", "write true or false without quotes")
	case reflect.Int:
		b.bindInt(n, v, path)
	case reflect.Float64:
		b.bindFloat(n, v, path)
	default:
		panic("machine: no rule to read a " + v.Kind().String())
	}
}

func (b *binder) bindStruct(n ast.Node, v reflect.Value, path string) {
	entries, ok := mapping(n)
	if !ok {
		b.wrongType(n, path, "fields (name: value)", "known: "+listed(fieldNames(v.Type())))
		return
	}
	names := fieldNames(v.Type())
	seen := map[string]bool{}
	for _, e := range entries {
		key := keyText(e)
		i := fieldIndex(v.Type(), key)
		if i < 0 {
			b.add(at(e.Key), join(path, key), fmt.Sprintf("unknown field %q", key), didYouMean(key, names))
			continue
		}
		seen[key] = true
		if _, null := e.Value.(*ast.NullNode); null {
			b.add(at(e.Key), join(path, key), fmt.Sprintf("%s has no value", key), "write a value, or leave the field out if it is optional")
			continue
		}
		b.bind(e.Value, v.Field(i), join(path, key))
	}
	for i := range v.NumField() {
		name, required := fieldName(v.Type().Field(i))
		if name != "" && required && !seen[name] {
			b.add(at(n), join(path, name), fmt.Sprintf("field %q is missing", name), wantField(name))
		}
	}
}

func (b *binder) bindSlice(n ast.Node, v reflect.Value, path string) {
	s, ok := n.(*ast.SequenceNode)
	if !ok {
		b.wrongType(n, path, "a list", "write [a, b] or lines that start with -")
		return
	}
	if len(s.Values) > maxItems {
		b.add(at(n), path, fmt.Sprintf("%d items in one list", len(s.Values)), fmt.Sprintf("at most %d; what repeats per track is written once", maxItems))
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(s.Values), len(s.Values)))
	for i, e := range s.Values {
		b.bind(e, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
	}
}

func (b *binder) bindMap(n ast.Node, v reflect.Value, path string) {
	entries, ok := mapping(n)
	if !ok {
		b.wrongType(n, path, "names with values", "write name: value")
		return
	}
	v.Set(reflect.MakeMap(v.Type()))
	for _, e := range entries {
		item := reflect.New(v.Type().Elem()).Elem()
		b.bind(e.Value, item, join(path, keyText(e)))
		v.SetMapIndex(reflect.ValueOf(keyText(e)), item)
	}
}

func (b *binder) bindInt(n ast.Node, v reflect.Value, path string) {
	if x, ok := n.(*ast.IntegerNode); ok {
		if i, err := strconv.ParseInt(strings.ReplaceAll(x.Token.Value, "_", ""), 0, 32); err == nil {
			v.SetInt(i)
			return
		}
	}
	b.wrongType(n, path, "a whole number", "e.g. 6")
}

func (b *binder) bindFloat(n ast.Node, v reflect.Value, path string) {
	// 1e3 is text to YAML 1.1 and a number to everybody else.
	if s, ok := scalarText(n); ok && !quoted(n) {
		x, err := strconv.ParseFloat(strings.ReplaceAll(s, "_", ""), 64)
		if err == nil && !math.IsNaN(x) && !math.IsInf(x, 0) && math.Abs(x) < 1e12 {
			v.SetFloat(x)
			return
		}
	}
	b.wrongType(n, path, "a number", "write digits with a decimal point and no unit, e.g. 9.525")
}

func (b *binder) wrongType(n ast.Node, path, want, hint string) {
	b.add(at(n), path, fmt.Sprintf("%s stands where %s is wanted", what(n), want), hint)
}

// what names a node for a person.
func what(n ast.Node) string {
	switch n.(type) {
	case *ast.SequenceNode:
		return "a list"
	case *ast.MappingNode, *ast.MappingValueNode:
		return "a set of fields"
	case *ast.NullNode:
		return "nothing"
	}
	if s, ok := scalarText(n); ok {
		if r := []rune(s); len(r) > 40 {
			s = string(r[:40]) + "…"
		}
		return strconv.Quote(s)
	}
	return "something unreadable"
}

// scalarText is the text of a scalar as the person wrote it: +5 stays +5.
func scalarText(n ast.Node) (string, bool) {
	switch x := n.(type) {
	case *ast.StringNode:
		return x.Value, true
	case *ast.LiteralNode:
		return x.Value.Value, true
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode, *ast.InfinityNode, *ast.NanNode:
		return n.GetToken().Value, true
	}
	return "", false
}

func quoted(n ast.Node) bool {
	s, ok := n.(*ast.StringNode)
	return ok && s.Token != nil && strings.ContainsAny(s.Token.Origin, `"'`)
}

func mapping(n ast.Node) ([]*ast.MappingValueNode, bool) {
	switch x := n.(type) {
	case *ast.MappingNode:
		return x.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{x}, true
	}
	return nil, false
}

func keyText(e *ast.MappingValueNode) string {
	if s, ok := scalarText(e.Key); ok {
		return s
	}
	return e.Key.String()
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}

// fieldName is a struct field's name in the file, and whether it must be there:
// it must unless its tag says omitempty.
func fieldName(f reflect.StructField) (name string, required bool) {
	if !f.IsExported() {
		return "", false
	}
	parts := strings.Split(f.Tag.Get("yaml"), ",")
	return parts[0], !slices.Contains(parts[1:], "omitempty")
}

func fieldNames(t reflect.Type) []string {
	var out []string
	for f := range t.Fields() {
		if name, _ := fieldName(f); name != "" {
			out = append(out, name)
		}
	}
	return out
}

func fieldIndex(t reflect.Type, key string) int {
	for i := range t.NumField() {
		if name, _ := fieldName(t.Field(i)); name != "" && name == key {
			return i
		}
	}
	return -1
}

// wantField says what a missing field is for, where its name alone does not.
func wantField(name string) string {
	switch name {
	case "machine":
		return `write "machine: 1" as the first field: it names the file format`
	case "low_us":
		return "write 0 where the standard has no low-frequency time constant"
	case "keyed":
		return "write true if the plug can go in one way only"
	case "opening":
		return `name the opening at which it can be reached, or "closed"`
	case "sign":
		return "1 if clockwise raises, -1 if it lowers, 0 for a peak or a dip"
	case "trims", "controls", "connectors", "test_points", "openings":
		return "write an empty list [] if the recorder has none"
	}
	return "add it"
}
