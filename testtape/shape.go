package testtape

import (
	"fmt"
	"slices"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// kind is what a value of the file must be.
type kind int

const (
	number kind = iota
	text
	truth
)

// shape lists a mapping's keys: scalar ones with their kind, and mappings or
// lists of mappings inside.
type shape struct {
	scalars map[string]kind
	maps    map[string]*shape
	lists   map[string]*shape
}

var tapeShape = &shape{
	scalars: map[string]kind{"testtape": number, "name": text, "speed_cm_s": number, "track_layout": text, "fringing_compensated": truth},
	maps: map[string]*shape{
		"reference":       {scalars: map[string]kind{"fluxivity_nwb_m": number, "tone_hz": number, "convention": text}},
		"equalisation_us": {scalars: map[string]kind{"high": number, "low": number}},
	},
	lists: map[string]*shape{
		"sections": {scalars: map[string]kind{"name": text, "tone_hz": number, "level_db": number, "seconds": number}},
	},
}

func (s *shape) keys() []string {
	var keys []string
	for k := range s.scalars {
		keys = append(keys, k)
	}
	for k := range s.maps {
		keys = append(keys, k)
	}
	for k := range s.lists {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// checkShape finds unknown keys and values of the wrong kind, in words of this
// format. The YAML library would find most of them too, but it takes a quoted
// number for a number and speaks of Go types.
func checkShape(name string, root *ast.MappingNode) error {
	if e := tapeShape.check("", root); e != nil {
		e.File = name
		return e
	}
	return nil
}

func wrong(tk *token.Token, problem, want string) *Error {
	line, column := tokenPlace(tk)
	return &Error{Line: line, Column: column, Problem: problem, Want: want}
}

func (s *shape) check(path string, m *ast.MappingNode) *Error {
	for _, v := range m.Values {
		key := v.Key.GetToken().Value
		at := strings.TrimPrefix(path+"."+key, ".")
		var e *Error
		if k, ok := s.scalars[key]; ok {
			e = checkScalar(at, k, v)
		} else if sub, ok := s.maps[key]; ok {
			inner, isMap := v.Value.(*ast.MappingNode)
			if !isMap {
				return wrong(v.Key.GetToken(), at+" is not a set of keys and values", "give "+strings.Join(sub.keys(), ", ")+" beneath it")
			}
			e = sub.check(at, inner)
		} else if sub, ok := s.lists[key]; ok {
			e = sub.checkList(at, v)
		} else {
			e = wrong(v.Key.GetToken(), fmt.Sprintf("unknown key %q", at), "known here: "+strings.Join(s.keys(), ", "))
		}
		if e != nil {
			return e
		}
	}
	return nil
}

func (s *shape) checkList(at string, v *ast.MappingValueNode) *Error {
	list, ok := v.Value.(*ast.SequenceNode)
	if !ok {
		return wrong(v.Key.GetToken(), at+" is not a list", "begin each entry with a dash")
	}
	for i, item := range list.Values {
		m, ok := item.(*ast.MappingNode)
		if !ok {
			return wrong(item.GetToken(), fmt.Sprintf("%s[%d] is not a set of keys and values", at, i), "give "+strings.Join(s.keys(), ", "))
		}
		if e := s.check(fmt.Sprintf("%s[%d]", at, i), m); e != nil {
			return e
		}
	}
	return nil
}

func checkScalar(at string, k kind, v *ast.MappingValueNode) *Error {
	switch k {
	case number:
		switch v.Value.(type) {
		case *ast.IntegerNode, *ast.FloatNode:
			return nil
		}
		return wrong(v.Value.GetToken(), fmt.Sprintf("%s is not a number", at), "give a plain number with a decimal point, without unit or quotes")
	case truth:
		if _, ok := v.Value.(*ast.BoolNode); !ok {
			return wrong(v.Value.GetToken(), fmt.Sprintf("%s is not true or false", at), "give true or false")
		}
	case text:
		switch v.Value.(type) {
		case *ast.StringNode, *ast.LiteralNode:
			return nil
		}
		return wrong(v.Value.GetToken(), fmt.Sprintf("%s is not text", at), "put it in double quotes")
	}
	return nil
}
