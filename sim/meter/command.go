package meter

import (
	"fmt"
	"strings"
)

// The errors of SCPI-1999 (volume 2, 21.8.9 and .10) that it knows.
const (
	undefinedHeader = `-113,"Undefined header"`
	stale           = `-230,"Data corrupt or stale"`
	overflow        = `-350,"Queue overflow"`
)

// mostErrors is how many the queue holds.
const mostErrors = 10

// is says whether a header is the one of a pattern, node by node in its long or short
// form (SCPI-1999 volume 1, 6.2.1): the capitals of the pattern are the short one, and
// what stands in brackets may be left out.
func is(header, pattern string) bool {
	optional := ""
	if i := strings.IndexByte(pattern, '['); i >= 0 {
		k := strings.IndexByte(pattern, ']')
		optional = pattern[i+1 : k]
		pattern = pattern[:i] + "\x00" + pattern[k+1:]
	}
	if nodes(header, strings.Replace(pattern, "\x00", "", 1)) {
		return true
	}
	return optional != "" && nodes(header, strings.Replace(pattern, "\x00", optional, 1))
}

func nodes(header, pattern string) bool {
	h, p := strings.Split(strings.TrimPrefix(header, ":"), ":"), strings.Split(pattern, ":")
	if len(h) != len(p) {
		return false
	}
	for i := range h {
		short := strings.Map(func(r rune) rune {
			if r >= 'a' && r <= 'z' {
				return -1
			}
			return r
		}, p[i])
		if up := strings.ToUpper(h[i]); up != strings.ToUpper(p[i]) && up != short {
			return false
		}
	}
	return true
}

// settings are the functions that CONFigure and MEASure set.
var settings = []struct {
	tree string
	set  Function
}{{"VOLTage:AC", VoltAC}, {"VOLTage[:DC]", VoltDC}, {"RESistance", Res}, {"FREQuency", Freq}}

func function(header, verb, mark string) (Function, bool) {
	for _, s := range settings {
		if is(header, verb+":"+s.tree+mark) {
			return s.set, true
		}
	}
	return "", false
}

// obey does one command; ok says that answer is sent. The meter is locked.
func (s *Server) obey(command string) (answer string, ok bool) {
	header, _, _ := strings.Cut(strings.TrimSpace(command), " ")
	if f, ok := function(header, "CONFigure", ""); ok {
		s.c.Set(f)
		s.fresh = ""
		return "", false
	}
	if f, ok := function(header, "MEASure", "?"); ok {
		s.c.Set(f)
		return s.read(), true
	}
	switch {
	case header == "":
	case is(header, "*IDN?"):
		return fmt.Sprintf("HEADSTACK,%s,%d,1", s.c.m.Name, s.c.m.Seed), true
	case is(header, "*OPC?"):
		return "1", true
	case is(header, "*CLS"):
		s.errors = nil
	case is(header, "*RST"):
		s.c.Set(VoltAC)
	case is(header, "SYSTem:ERRor[:NEXT]?"):
		if len(s.errors) == 0 {
			return `0,"No error"`, true
		}
		e := s.errors[0]
		s.errors = s.errors[1:]
		return e, true
	case is(header, "SYSTem:VERSion?"):
		return "1999.0", true
	case is(header, "CONFigure?"), is(header, "FUNCtion?"):
		return `"` + string(s.c.set) + `"`, true
	case is(header, "READ?"):
		return s.read(), true
	case is(header, "FETCh?"):
		s.catchUp()
		if s.fresh == "" {
			s.complain(stale)
			return "", false
		}
		return s.fresh, true
	default:
		s.complain(undefinedHeader)
	}
	return "", false
}

func (s *Server) complain(e string) {
	if len(s.errors) == mostErrors {
		s.errors[mostErrors-1] = overflow
		return
	}
	s.errors = append(s.errors, e)
}
