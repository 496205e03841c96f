package export

import (
	"bufio"
	"fmt"
	"io"
	"io/fs"
	"strings"
)

// sum is one line of SHA256SUMS.
type sum struct{ hash, name string }

func writeSums(w io.Writer, list []sum) error {
	for _, s := range list {
		if _, err := fmt.Fprintf(w, "%s  %s\n", s.hash, s.name); err != nil {
			return err
		}
	}
	return nil
}

// parseSums reads SHA256SUMS: a hash, two spaces or a space and an asterisk, and a name, a
// line. No name twice.
func parseSums(r io.Reader) ([]sum, error) {
	var out []sum
	seen := map[string]int{}
	lines := bufio.NewScanner(r)
	lines.Buffer(make([]byte, 0, 4096), mostName+80)
	for n := 1; lines.Scan(); n++ {
		bad := func(format string, args ...any) error {
			return &BadError{File: sumsName, Line: n, Problem: fmt.Sprintf(format, args...)}
		}
		hash, name, ok := strings.Cut(lines.Text(), " ")
		if !ok || !isHash(hash) || len(name) < 2 || name[0] != ' ' && name[0] != '*' {
			return nil, bad("is not a SHA-256 of 64 hexadecimal digits, two spaces and a name")
		}
		name = name[1:]
		if err := checkName(name); err != nil {
			return nil, bad("%v", err)
		}
		if first := seen[name]; first > 0 {
			return nil, bad("names %s, which line %d does already", name, first)
		}
		if len(out) == mostFiles {
			return nil, bad("is one more than the %d files that are taken", mostFiles)
		}
		seen[name] = n
		out = append(out, sum{hash, name})
	}
	if err := lines.Err(); err != nil {
		return nil, &BadError{File: sumsName, Line: len(out) + 1, Problem: "cannot be read: " + err.Error()}
	}
	if len(out) == 0 {
		return nil, &BadError{File: sumsName, Problem: "is empty, where every file should have its line"}
	}
	return out, nil
}

// checkName refuses names that lead elsewhere. Nothing is written under a name of an export;
// one that tries to lead out of it was made to harm, and is not gone on with.
func checkName(name string) error {
	switch {
	case len(name) > mostName:
		return fmt.Errorf("has a name of %d bytes, where at most %d are taken", len(name), mostName)
	case !fs.ValidPath(name) || name == "." || strings.ContainsAny(name, "\\:") || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return fmt.Errorf("has the name %q, which is none inside of an export (no .., no drive, no leading slash)", name)
	case strings.Count(name, "/") > mostDepth:
		return fmt.Errorf("has the name %q, %d folders deep, where at most %d are taken", name, strings.Count(name, "/"), mostDepth)
	}
	return nil
}
