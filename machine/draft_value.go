package machine

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
)

// Value is a value in the text of a draft: [Text], [Plain], [List] or [Fields].
type Value any

// Text is words; it is quoted where YAML needs it.
type Text string

// Plain is a number, true or false, written as it is.
type Plain string

// List is a list of values.
type List []Value

// Fields are named values in their order.
type Fields []Field

// Field is one named value.
type Field struct {
	Key   string
	Value Value
}

// Get is the value of a field, nil where there is none.
func (f Fields) Get(key string) Value {
	for _, x := range f {
		if x.Key == key {
			return x.Value
		}
	}
	return nil
}

// With is a copy in which a field has a value; it keeps its place, or comes last.
// nil leaves the field out.
func (f Fields) With(key string, v Value) Fields {
	out := slices.Clone(f)
	i := slices.IndexFunc(out, func(x Field) bool { return x.Key == key })
	switch {
	case i >= 0 && v == nil:
		return slices.Delete(out, i, i+1)
	case i >= 0:
		out[i].Value = v
	case v != nil:
		out = append(out, Field{key, v})
	}
	return out
}

// valueOf is a node as a Value; nil where the node is empty.
func valueOf(n ast.Node) Value {
	if entries, ok := mapping(n); ok {
		out := Fields{}
		for _, e := range entries {
			out = append(out, Field{keyText(e), valueOf(e.Value)})
		}
		return out
	}
	if s, ok := n.(*ast.SequenceNode); ok {
		out := List{}
		for _, e := range s.Values {
			out = append(out, valueOf(e))
		}
		return out
	}
	text, ok := scalarText(n)
	if !ok {
		return nil
	}
	switch n.(type) {
	case *ast.StringNode, *ast.LiteralNode:
		// 1e3 is text to the parser and a number to the loader.
		if _, err := strconv.ParseFloat(text, 64); err != nil || quoted(n) {
			return Text(text)
		}
	}
	return Plain(text)
}

const (
	flowWidth = 200 // characters of an item on one line; longer ones take a line a field
	maxSpill  = 100 // characters of a nested list of fields on one line
)

// lay writes a field at the top of the file.
func lay(key string, v Value) []string {
	switch v := v.(type) {
	case List:
		if len(v) == 0 {
			return []string{key + ": []"}
		}
		if _, ok := v[0].(Fields); !ok {
			return []string{key + ": " + flow(v)}
		}
		out := []string{key + ":"}
		for _, item := range v {
			f, ok := item.(Fields)
			if !ok {
				out = append(out, "  - "+flow(item))
				continue
			}
			out = append(out, layItem("  ", f)...)
		}
		return out
	case Fields:
		if len(v) == 0 {
			return []string{key + ": {}"}
		}
		out := []string{key + ":"}
		for _, f := range v {
			out = append(out, "  "+word(f.Key)+": "+flow(f.Value))
		}
		return out
	}
	return []string{key + ": " + flow(v)}
}

// layItem writes an item of a list: on one line where it is short, else a line a field.
func layItem(indent string, f Fields) []string {
	if one := flow(f); len(indent)+2+len(one) <= flowWidth {
		return []string{indent + "- " + one}
	}
	var out []string
	for i, x := range f {
		lead := indent + "  "
		if i == 0 {
			lead = indent + "- "
		}
		text := flow(x.Value)
		list, ok := x.Value.(List)
		if ok && len(text) > maxSpill && len(list) > 0 {
			if _, ok := list[0].(Fields); ok {
				out = append(out, lead+word(x.Key)+":")
				for _, item := range list {
					out = append(out, indent+"    - "+flow(item))
				}
				continue
			}
		}
		out = append(out, lead+word(x.Key)+": "+text)
	}
	return out
}

// flow writes a value on one line.
func flow(v Value) string {
	switch v := v.(type) {
	case Text:
		return word(string(v))
	case Plain:
		return string(v)
	case List:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = flow(x)
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case Fields:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = word(x.Key) + ": " + flow(x.Value)
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	return "null"
}

// bare is text that YAML takes for text without quotes, inside brackets too.
var bare = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_-]*$`)

// taken are words that are something else than text to one YAML reader or another.
var taken = []string{"true", "false", "null", "yes", "no", "on", "off", "y", "n", "inf", "nan"}

var escapes = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\t", `\t`, "\r", "")

func word(s string) string {
	if bare.MatchString(s) && !slices.Contains(taken, strings.ToLower(s)) {
		return s
	}
	return `"` + escapes.Replace(s) + `"`
}
