package machine

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits on a definition file. The two recorders that come with the program
// take 34 and 30 kB; the limits keep the time and memory of reading a broken or
// hostile file small (the YAML parser's time grows with the square of the number
// of keys in one mapping and of brackets inside each other).
const (
	maxBytes   = 256 << 10
	maxLine    = 4000 // bytes in one line
	maxNesting = 16   // mappings and lists inside each other
	maxKeys    = 500  // keys in one mapping
	maxItems   = 1000 // items in one list
	maxReplica = 64   // tracks, groups or keys of a replica set
	maxPaths   = 100  // functions
	maxParts   = 20000
	maxErrors  = 100 // more say nothing new
)

// Load reads a definition. name is used in error messages only. On any problem
// it returns no definition and an [ErrorList] with every problem found at the
// deepest level that could be reached: a file that is no YAML gives one error, a
// file with wrong fields gives one for each, and only a file of the right shape
// is searched for wrong references.
func Load(name string, data []byte) (*Definition, error) {
	p := &problems{file: name}
	root := parse(p, data)
	if root == nil {
		return nil, p.err()
	}
	def := &Definition{pos: map[string]position{}}
	b := &binder{problems: p, pos: def.pos}
	b.bind(root, reflect.ValueOf(def).Elem(), "")
	if len(p.list) == 0 {
		validate(p, def)
	}
	if err := p.err(); err != nil {
		return nil, err
	}
	expandCautions(def)
	def.index = newIndex(def)
	return def, nil
}

// problems collects errors.
type problems struct {
	file string
	list ErrorList
}

func (p *problems) add(at position, path, problem, want string) {
	if len(p.list) < maxErrors {
		p.list = append(p.list, &Error{File: p.file, Line: at.line, Column: at.column,
			Path: path, Problem: problem, Want: want})
	}
}

func (p *problems) err() error {
	if len(p.list) == 0 {
		return nil
	}
	slices.SortStableFunc(p.list, func(a, b *Error) int {
		if a.Line != b.Line {
			return a.Line - b.Line
		}
		return a.Column - b.Column
	})
	return p.list
}

// parse turns the bytes into the mapping at the top of the file, or nil with
// the reason in p.
func parse(p *problems, data []byte) ast.Node {
	if !checkText(p, data) {
		return nil
	}
	tokens := lexer.Tokenize(string(data))
	if !checkTokens(p, tokens) {
		return nil
	}
	file, err := parseTokens(tokens)
	if err != nil {
		addSyntax(p, err)
		return nil
	}
	var body ast.Node
	for _, doc := range file.Docs {
		if doc.Body == nil {
			continue
		}
		if body != nil {
			p.add(at(doc.Body), "", "a second document starts here", "write one recorder type per file; remove the --- line")
			return nil
		}
		body = doc.Body
	}
	if body == nil {
		p.add(position{1, 1}, "", "the file is empty", `start with "machine: 1"; "headstack machine new" writes a commented starting file`)
	}
	return body
}

// parseTokens calls the YAML parser. A panic there, none is known, would be a
// fault of the library on a strange file: the person with the file needs an
// error, not a crash.
func parseTokens(tokens token.Tokens) (file *ast.File, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the YAML parser gave up: %v", r)
		}
	}()
	return parser.Parse(tokens, 0)
}

// checkText looks at size, encoding and line lengths before any library does.
func checkText(p *problems, data []byte) bool {
	if len(data) > maxBytes {
		p.add(position{1, 1}, "", fmt.Sprintf("the file is %d bytes long", len(data)),
			fmt.Sprintf("a definition may have at most %d; is this the right file?", maxBytes))
		return false
	}
	line := 1
	for text := range bytes.Lines(data) {
		if !utf8.Valid(text) {
			p.add(position{line, 1}, "", "the line is not UTF-8 text", "save the file as UTF-8; is this a YAML file?")
			return false
		}
		if i := bytes.IndexFunc(text, isControl); i >= 0 {
			p.add(position{line, 1 + utf8.RuneCount(text[:i])}, "", fmt.Sprintf("control character %#02x", text[i]),
				"a definition is plain text; is this a YAML file?")
			return false
		}
		if len(text) > maxLine {
			p.add(position{line, 1}, "", fmt.Sprintf("the line is %d bytes long", len(text)),
				fmt.Sprintf("at most %d; break it into several lines", maxLine))
			return false
		}
		line++
	}
	return true
}

func isControl(r rune) bool {
	return r < ' ' && r != '\n' && r != '\r' && r != '\t' || r == 0x7f
}

// checkTokens refuses what makes YAML files explode or surprise: anchors,
// aliases, merge keys, tags, directives and deep nesting.
func checkTokens(p *problems, tokens token.Tokens) bool {
	dashes, dashLine := 0, 0
	var n nesting
	for _, t := range tokens {
		where := position{t.Position.Line, t.Position.Column}
		switch t.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			p.add(where, "", fmt.Sprintf("%q is an anchor, alias or merge key", t.Value),
				"these are not read: write the value out, or quote the text if it is text")
			return false
		case token.TagType:
			p.add(where, "", fmt.Sprintf("%q is a YAML tag", t.Value), "tags are not read: leave it out, or quote the text if it is text")
			return false
		case token.DirectiveType:
			p.add(where, "", "a YAML directive (a line that starts with %)", "leave it out")
			return false
		case token.MappingKeyType:
			p.add(where, "", `"?" starts a compound key`, "write the key as plain text followed by a colon")
			return false
		case token.SequenceEntryType:
			if t.Position.Line != dashLine {
				dashes, dashLine = 0, t.Position.Line
			}
			dashes++
		}
		n.see(t)
		if n.keys() > maxKeys {
			p.add(where, "", fmt.Sprintf("more than %d keys in one mapping", maxKeys), "is this a recorder definition?")
			return false
		}
		if len(n.flow) > maxNesting || dashes > maxNesting {
			p.add(where, "", fmt.Sprintf("lists or mappings nested more than %d deep", maxNesting),
				"a definition needs five levels; look for a missing bracket")
			return false
		}
	}
	return true
}

// nesting follows the brackets and the indentation of a token stream, so far as
// is needed to count the keys of each mapping.
type nesting struct {
	flow   []int // keys so far in each open bracket
	blocks []block
}

// block is a mapping by indentation.
type block struct{ column, keys int }

func (n *nesting) see(t *token.Token) {
	switch t.Type {
	case token.SequenceStartType, token.MappingStartType:
		n.flow = append(n.flow, 0)
	case token.SequenceEndType, token.MappingEndType:
		n.flow = n.flow[:max(0, len(n.flow)-1)]
	case token.SequenceEntryType:
		n.closeBlocks(t.Position.Column)
	case token.MappingValueType:
		if len(n.flow) > 0 {
			n.flow[len(n.flow)-1]++
			return
		}
		column := t.Position.Column
		if t.Prev != nil {
			column = t.Prev.Position.Column
		}
		n.closeBlocks(column)
		if len(n.blocks) == 0 || n.blocks[len(n.blocks)-1].column < column {
			n.blocks = append(n.blocks, block{column: column})
		}
		n.blocks[len(n.blocks)-1].keys++
	}
}

// closeBlocks ends the mappings that stand further right than column.
func (n *nesting) closeBlocks(column int) {
	for len(n.blocks) > 0 && n.blocks[len(n.blocks)-1].column > column {
		n.blocks = n.blocks[:len(n.blocks)-1]
	}
}

// keys is the number of keys so far in the innermost mapping.
func (n *nesting) keys() int {
	if len(n.flow) > 0 {
		return n.flow[len(n.flow)-1]
	}
	if len(n.blocks) > 0 {
		return n.blocks[len(n.blocks)-1].keys
	}
	return 0
}

// addSyntax words the library's syntax error in this package's form.
func addSyntax(p *problems, err error) {
	where, msg := position{1, 1}, err.Error()
	if e, ok := err.(yaml.Error); ok {
		msg = e.GetMessage()
		if t := e.GetToken(); t != nil && t.Position != nil {
			where = position{max(1, t.Position.Line), max(1, t.Position.Column)}
		}
	}
	want := "correct the YAML here or just above: indentation, a colon, a bracket or a quote"
	switch {
	case strings.Contains(msg, "reserved character"):
		want = `text that starts with @ or a backtick needs quotes: "@play"`
	case strings.Contains(msg, "already defined"):
		want = "each key may stand once; remove or rename one"
	case strings.ContainsRune(msg, '\t'), strings.Contains(msg, "tab character"):
		want = "indent with spaces"
	case strings.Contains(msg, "not found"), strings.Contains(msg, "must be specified"):
		want = "close the bracket or brace"
	}
	p.add(where, "", "not valid YAML: "+strings.ReplaceAll(msg, "\t", `\t`), want)
}

// at is the place of a node in the file.
func at(n ast.Node) position {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		return at(m.Values[0].Key)
	}
	t := n.GetToken()
	if t == nil || t.Position == nil {
		return position{1, 1}
	}
	return position{max(1, t.Position.Line), max(1, t.Position.Column)}
}
