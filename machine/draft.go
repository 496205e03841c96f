package machine

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/token"
)

// Draft is the text of a definition while it is being written. It need not load;
// it must be YAML. A change touches the lines it is about and no others, so that
// what a person wrote beside it, comments too, stands as it was.
//
// A Draft is never altered: each change gives a new one.
type Draft struct {
	lines []string // without line ends
	root  []*ast.MappingValueNode
	tree  Fields
}

// ParseDraft reads the text of a definition that need not be complete. The error
// is an [ErrorList] when the text is no YAML mapping, or over the limits of [Load].
func ParseDraft(name string, text []byte) (*Draft, error) {
	p := &problems{file: name}
	node := parse(p, text)
	if node == nil {
		return nil, p.err()
	}
	entries, ok := mapping(node)
	if !ok {
		p.add(at(node), "", what(node)+" stands where fields (name: value) are wanted", `start with "machine: 1"`)
		return nil, p.err()
	}
	value, ok := valueOf(node).(Fields)
	if !ok {
		value = Fields{}
	}
	return &Draft{lines: strings.Split(strings.TrimSuffix(string(text), "\n"), "\n"), root: entries, tree: value}, nil
}

// Text is the draft as YAML.
func (d *Draft) Text() []byte { return []byte(strings.Join(d.lines, "\n") + "\n") }

// Fields are the fields at the top of the draft. They are not to be changed.
func (d *Draft) Fields() Fields { return d.tree }

// Items are the mappings in a list of the draft, such as "stages"; an item that is
// no mapping is empty. They are not to be changed.
func (d *Draft) Items(list string) []Fields {
	values, _ := d.tree.Get(list).(List)
	out := make([]Fields, len(values))
	for i, v := range values {
		out[i], _ = v.(Fields)
	}
	return out
}

// Set writes a field at the top of the draft; nil takes it out.
func (d *Draft) Set(name string, v Value) (*Draft, error) {
	want := d.tree.With(name, v)
	node := d.find(name)
	switch {
	case reflect.DeepEqual(want, d.tree):
		return d, nil
	case node == nil:
		return d.added(name, v)
	}
	if next, ok := d.inPlace(node.Value, v, want); ok {
		return next, nil
	}
	from, to := d.section(name)
	var lines []string
	if v != nil {
		lines = append(d.comments(from, to, ""), lay(name, v)...)
	}
	return d.spliced(from, to, lines, want)
}

// added writes a field that is not there yet where the order of [Definition] has it.
func (d *Draft) added(name string, v Value) (*Draft, error) {
	order := fieldNames(reflect.TypeFor[Definition]())
	place, after, line := slices.Index(order, name), 0, 0
	for i, f := range d.tree {
		if p := slices.Index(order, f.Key); p >= 0 && p < place || place < 0 {
			_, line = d.section(f.Key)
			after = i + 1
		}
	}
	return d.spliced(line, line, lay(name, v), slices.Insert(slices.Clone(d.tree), after, Field{name, v}))
}

// Put writes item i of a list; i equal to the length appends it.
func (d *Draft) Put(list string, i int, item Fields) (*Draft, error) {
	old, _ := d.tree.Get(list).(List)
	if i < 0 || i > len(old) {
		return nil, fmt.Errorf("%s has %d items; there is no item %d", list, len(old), i+1)
	}
	values := slices.Clone(old)
	if i == len(old) {
		values = append(values, item)
	} else {
		values[i] = item
	}
	want := d.tree.With(list, values)
	if reflect.DeepEqual(want, d.tree) {
		return d, nil
	}
	seq, ok := d.blockList(list)
	if !ok {
		return d.Set(list, values)
	}
	if i == len(old) {
		_, end := d.section(list)
		return d.spliced(end, end, layItem(d.indent(seq), item), want)
	}
	if next, ok := d.inPlace(seq.Values[i], item, want); ok {
		return next, nil
	}
	from, to := d.item(list, seq, i)
	return d.spliced(from, to, append(d.comments(from, to, d.indent(seq)), layItem(d.indent(seq), item)...), want)
}

// Remove takes item i out of a list, with the comment lines inside it.
func (d *Draft) Remove(list string, i int) (*Draft, error) {
	old, _ := d.tree.Get(list).(List)
	if i < 0 || i >= len(old) {
		return nil, fmt.Errorf("%s has %d items; there is no item %d", list, len(old), i+1)
	}
	values := slices.Delete(slices.Clone(old), i, i+1)
	seq, ok := d.blockList(list)
	if !ok || len(values) == 0 {
		return d.Set(list, values)
	}
	from, to := d.item(list, seq, i)
	return d.spliced(from, to, nil, d.tree.With(list, values))
}

// Move exchanges item i of a list with the one before it (by -1) or after it (by 1).
// At either end of the list nothing changes.
func (d *Draft) Move(list string, i, by int) (*Draft, error) {
	old, _ := d.tree.Get(list).(List)
	j := i + by
	if i < 0 || i >= len(old) || by != 1 && by != -1 {
		return nil, fmt.Errorf("%s has %d items; item %d cannot be moved", list, len(old), i+1)
	}
	if j < 0 || j >= len(old) {
		return d, nil
	}
	values := slices.Clone(old)
	values[i], values[j] = values[j], values[i]
	seq, ok := d.blockList(list)
	if !ok {
		return d.Set(list, values)
	}
	i, j = min(i, j), max(i, j)
	f1, t1 := d.item(list, seq, i)
	f2, t2 := d.item(list, seq, j)
	lines := slices.Concat(d.lines[f2:t2], d.lines[t1:f2], d.lines[f1:t1])
	return d.spliced(f1, t2, lines, d.tree.With(list, values))
}

// spliced puts lines in the place of lines from to to, and holds that the result
// says what was wanted: a file laid out in a way that this does not foresee is left
// alone rather than damaged.
func (d *Draft) spliced(from, to int, lines []string, want Fields) (*Draft, error) {
	text := strings.Join(slices.Concat(d.lines[:from], lines, d.lines[to:]), "\n") + "\n"
	next, err := ParseDraft("draft", []byte(text))
	if err != nil {
		return nil, fmt.Errorf("the text would no longer be YAML (%w): change it in the text itself", err)
	}
	if !reflect.DeepEqual(next.tree, want) {
		return nil, fmt.Errorf("line %d is laid out in a way that a form cannot change: change it in the text itself", from+1)
	}
	return next, nil
}

// inPlace writes a value over node where only words and figures differ.
func (d *Draft) inPlace(node ast.Node, v Value, want Fields) (*Draft, bool) {
	var edits []edit
	if !collect(node, v, &edits) {
		return nil, false
	}
	slices.SortFunc(edits, func(a, b edit) int { // the last first: places before it stay valid
		if a.at.line != b.at.line {
			return b.at.line - a.at.line
		}
		return b.at.column - a.at.column
	})
	lines := slices.Clone(d.lines)
	for _, e := range edits {
		if e.at.line < 1 || e.at.line > len(lines) {
			return nil, false
		}
		line := []rune(lines[e.at.line-1])
		c := e.at.column - 1
		if c < 0 || c > len(line) || !strings.HasPrefix(string(line[c:]), e.old) {
			return nil, false
		}
		rest := line[c+utf8.RuneCountInString(e.old):]
		lines[e.at.line-1] = string(line[:c]) + e.new + string(rest)
	}
	next, err := ParseDraft("draft", []byte(strings.Join(lines, "\n")+"\n"))
	if err != nil || !reflect.DeepEqual(next.tree, want) {
		return nil, false
	}
	return next, true
}

// edit is a word of the text and what comes in its place.
type edit struct {
	at       position
	old, new string
}

// collect lists the scalars in which v differs from node; false when the two
// differ in more.
func collect(n ast.Node, v Value, out *[]edit) bool {
	have := valueOf(n)
	if reflect.DeepEqual(have, v) {
		return true
	}
	switch v := v.(type) {
	case Fields:
		entries, ok := mapping(n)
		if !ok || len(entries) != len(v) {
			return false
		}
		for i, e := range entries {
			if keyText(e) != v[i].Key || !collect(e.Value, v[i].Value, out) {
				return false
			}
		}
		return true
	case List:
		s, ok := n.(*ast.SequenceNode)
		if !ok || len(s.Values) != len(v) {
			return false
		}
		for i, e := range s.Values {
			if !collect(e, v[i], out) {
				return false
			}
		}
		return true
	case Text, Plain:
		t := n.GetToken()
		if _, ok := scalarText(n); !ok || t == nil {
			return false
		}
		old := strings.TrimSpace(t.Origin)
		if old == "" || strings.Contains(old, "\n") {
			return false
		}
		*out = append(*out, edit{position{t.Position.Line, t.Position.Column}, old, flow(v)})
		return true
	}
	return false
}

func (d *Draft) find(name string) *ast.MappingValueNode {
	for _, e := range d.root {
		if keyText(e) == name {
			return e
		}
	}
	return nil
}

// section is the range of lines of a field at the top: from its key to what
// follows, less the comments that stand above the next.
func (d *Draft) section(name string) (from, to int) {
	to = len(d.lines)
	for i, e := range d.root {
		if keyText(e) != name {
			continue
		}
		from = line(e.Key) - 1
		if i+1 < len(d.root) {
			to = line(d.root[i+1].Key) - 1
		}
	}
	return from, d.trimmed(from, to)
}

// item is the range of lines of one item of a list laid out line by line.
func (d *Draft) item(list string, seq *ast.SequenceNode, i int) (from, to int) {
	from = seq.Entries[i].Start.Position.Line - 1
	if i+1 < len(seq.Entries) {
		to = seq.Entries[i+1].Start.Position.Line - 1
	} else {
		_, to = d.section(list)
	}
	return from, d.trimmed(from, to)
}

// trimmed takes blank lines and comments off the end of a range.
func (d *Draft) trimmed(from, to int) int {
	for to > from+1 {
		s := strings.TrimSpace(d.lines[to-1])
		if s != "" && !strings.HasPrefix(s, "#") {
			break
		}
		to--
	}
	return to
}

// blockList is a list whose items stand each on lines of their own.
func (d *Draft) blockList(name string) (*ast.SequenceNode, bool) {
	e := d.find(name)
	if e == nil {
		return nil, false
	}
	seq, ok := e.Value.(*ast.SequenceNode)
	if !ok || seq.IsFlowStyle || len(seq.Values) == 0 || len(seq.Entries) != len(seq.Values) {
		return nil, false
	}
	last := line(e.Key)
	for _, x := range seq.Entries {
		if x.Start == nil || x.Start.Position.Line <= last {
			return nil, false
		}
		last = x.Start.Position.Line
	}
	return seq, true
}

// indent is what stands before the dash of a list's items.
func (d *Draft) indent(seq *ast.SequenceNode) string {
	return strings.Repeat(" ", max(0, seq.Entries[0].Start.Position.Column-1))
}

// comments are those inside a range of lines, to be put above what takes its place.
func (d *Draft) comments(from, to int, indent string) []string {
	var out []string
	for _, t := range lexer.Tokenize(string(bytes.Join(bytesOf(d.lines[from:to]), []byte("\n")))) {
		if t.Type == token.CommentType {
			out = append(out, indent+"# "+strings.TrimSpace(t.Value))
		}
	}
	return out
}

func bytesOf(lines []string) [][]byte {
	out := make([][]byte, len(lines))
	for i, l := range lines {
		out[i] = []byte(l)
	}
	return out
}

func line(n ast.Node) int { return at(n).line }

// Sketch reads as much of an unfinished definition as has the right shape, so that
// what is there already can be shown; it is nil when the text is no YAML mapping.
// It is not checked: paths may fail to resolve, numbers may be out of range. Sets
// over the limits of [Load] are left empty.
func Sketch(text []byte) *Definition {
	p := &problems{file: "draft"}
	root := parse(p, text)
	if root == nil {
		return nil
	}
	def := &Definition{pos: map[string]position{}}
	b := &binder{problems: p, pos: def.pos}
	b.bind(root, reflect.ValueOf(def).Elem(), "")
	if def.Tracks.Count > maxReplica {
		def.Tracks.Count = 0
	}
	for name, keys := range def.Replicas {
		if len(keys) > maxReplica {
			def.Replicas[name] = nil
		}
	}
	if len(def.Groups) > maxReplica {
		def.Groups = nil
	}
	def.index = newIndex(def)
	return def
}
