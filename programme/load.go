package programme

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits that keep a hostile or mistaken file from costing memory or time.
const (
	maxFileBytes = 96 << 10 // 32 tracks at length take about 30 KiB
	maxNesting   = 16       // the format itself needs 6
	// The YAML library takes time with the square of the number of these signs.
	maxCommas = 8000
	maxSigns  = 1000 // of & * ! % together
)

// Error is one mistake in a programme file: where, what, and what would be right.
// Line and Column count from 1; both are 0 when the mistake has no place in a file.
type Error struct {
	File         string
	Line, Column int
	Problem      string // what is wrong
	Want         string // what would be right
}

// Error returns "file:line:column: problem: want".
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.File)
	if e.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", e.Line, e.Column)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(e.Problem)
	if e.Want != "" {
		b.WriteString(": " + e.Want)
	}
	return b.String()
}

// Load reads a programme. name is the file's name for messages; data is YAML, at most
// 96 KiB, one document, without anchors and aliases, every key known.
//
// The error is an *[Error], or several of them joined when the file is well formed but
// several values are wrong.
func Load(name string, data []byte) (*Programme, error) {
	root, err := parse(name, data)
	if err != nil {
		return nil, err
	}
	if err := checkAliases(name, data); err != nil {
		return nil, err
	}
	r := reader{places: map[string]*token.Token{}}
	p := r.programme(root)
	if len(r.list) == 0 {
		r.list = p.problems()
	}
	var errs []error
	for _, q := range r.list {
		line, column := place(r.places, q.path)
		errs = append(errs, &Error{File: name, Line: line, Column: column, Problem: q.problem, Want: q.want})
	}
	switch len(errs) {
	case 0:
		return p, nil
	case 1:
		return nil, errs[0]
	}
	return nil, errors.Join(errs...)
}

// parse returns the one mapping that the file must hold.
func parse(name string, data []byte) (root *ast.MappingNode, err error) {
	if len(data) > maxFileBytes {
		return nil, &Error{File: name, Problem: fmt.Sprintf("file has %d bytes", len(data)), Want: fmt.Sprintf("a record programme has at most %d; is this the right file", maxFileBytes)}
	}
	if line, column, bad := badText(data); bad {
		return nil, &Error{File: name, Line: line, Column: column, Problem: "file is not UTF-8 text", Want: "save the programme as plain text in UTF-8"}
	}
	// The YAML library has been seen to panic on odd input; a person's file must
	// never end the program.
	defer func() {
		if recover() != nil {
			root, err = nil, &Error{File: name, Line: 1, Column: 1, Problem: "file is not YAML that can be read", Want: "start from a programme written by this program"}
		}
	}()
	if err := checkNesting(name, data); err != nil {
		return nil, err
	}
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return nil, yamlError(name, err)
	}
	var docs []*ast.DocumentNode
	for _, d := range file.Docs {
		if d.Body != nil && d.Body.Type() != ast.CommentType {
			docs = append(docs, d)
		}
	}
	if len(docs) == 0 {
		return nil, &Error{File: name, Line: 1, Column: 1, Problem: "file holds nothing", Want: "start from a programme written by this program"}
	}
	if len(docs) > 1 {
		line, column := tokenPlace(firstToken(docs[1].Body))
		return nil, &Error{File: name, Line: line, Column: column, Problem: "a second YAML document begins", Want: "one programme per file; remove the --- line or split the file"}
	}
	root, ok := docs[0].Body.(*ast.MappingNode)
	if !ok {
		line, column := tokenPlace(docs[0].Body.GetToken())
		return nil, &Error{File: name, Line: line, Column: column, Problem: "file is not a set of keys and values", Want: `begin with "programme: 1"`}
	}
	return root, nil
}

// badText finds the first byte that cannot be in a text file.
func badText(data []byte) (line, column int, bad bool) {
	line, column = 1, 1
	for len(data) > 0 {
		r, n := utf8.DecodeRune(data)
		if (r == utf8.RuneError && n == 1) || (r < ' ' && r != '\n' && r != '\r' && r != '\t') {
			return line, column, true
		}
		column++
		if r == '\n' {
			line, column = line+1, 1
		}
		data = data[n:]
	}
	return 0, 0, false
}

// checkNesting refuses what would cost the recursive parser depth or time. It counts
// generously: open brackets and commas anywhere, and list dashes and question marks
// along one line.
func checkNesting(name string, data []byte) error {
	open, inLine, commas, signs, indent := 0, 0, 0, 0, map[int]bool{}
	line, column := 1, 0
	lineStart := true
	for _, b := range data {
		column++
		switch b {
		case '\n':
			line, column, inLine, lineStart = line+1, 0, 0, true
			continue
		case '[', '{':
			open++
		case ']', '}':
			open--
		case '-', '?':
			inLine++
		case ':':
			inLine++
		case ',':
			commas++
		case '&', '*', '!', '%':
			signs++
		}
		if commas > maxCommas || signs > maxSigns {
			return &Error{File: name, Line: line, Column: column, Problem: "too many commas or special signs", Want: "a record programme has a few for each part; is this the right file"}
		}
		if lineStart && b != ' ' && b != '\r' && b != '\t' {
			lineStart = false
			indent[column] = true
		}
		if open > maxNesting || inLine > 64*maxNesting || len(indent) > 4*maxNesting {
			return &Error{File: name, Line: line, Column: column, Problem: "nested too deeply, or too many brackets, dashes or colons in a line", Want: "a record programme needs six levels"}
		}
	}
	return nil
}

// checkAliases refuses anchors and aliases: the format has no use for them, and they
// let a small file grow large.
func checkAliases(name string, data []byte) error {
	for _, tk := range lexer.Tokenize(string(data)) {
		switch tk.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType:
			line, column := tokenPlace(tk)
			return &Error{File: name, Line: line, Column: column, Problem: "an anchor, alias or merge key", Want: "write the values out"}
		}
	}
	return nil
}

// yamlError gives a library error our form.
func yamlError(name string, err error) error {
	e := &Error{File: name, Line: 1, Column: 1, Problem: err.Error(), Want: "see a programme written by this program for the form"}
	if y, ok := errors.AsType[yaml.Error](err); ok {
		e.Line, e.Column = tokenPlace(y.GetToken())
		e.Problem = y.GetMessage()
	}
	return e
}

func tokenPlace(tk *token.Token) (line, column int) {
	if tk == nil || tk.Position == nil {
		return 1, 1
	}
	return tk.Position.Line, tk.Position.Column
}

// firstToken is where a person sees the node begin: the token of a mapping is its
// first colon, which is not it.
func firstToken(node ast.Node) *token.Token {
	if m, ok := node.(*ast.MappingNode); ok && len(m.Values) > 0 {
		return m.Values[0].Key.GetToken()
	}
	return node.GetToken()
}

// place is where path stands, or the nearest thing around it that is there.
func place(places map[string]*token.Token, path string) (line, column int) {
	for {
		if tk, ok := places[path]; ok {
			return tokenPlace(tk)
		}
		cut := strings.LastIndexAny(path, ".[")
		if cut < 0 {
			if path == "" {
				return 1, 1
			}
			path = ""
			continue
		}
		path = path[:cut]
	}
}
