package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"headstack/machine"
	"headstack/testtape"
)

// maxDefinition bounds what is read of a definition file; the largest built-in
// one is well under a tenth of it.
const maxDefinition = 4 << 20

// readFile reads a whole small text file.
func readFile(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxDefinition+1))
	if err == nil && len(data) > maxDefinition {
		err = fmt.Errorf("%s is larger than %d MiB: not a definition", path, maxDefinition>>20)
	}
	return data, err
}

// fileOrID reads name if it is a file. A name of which there is no file, or only a
// folder, is an id; a file that cannot be read is an error, not an unknown id.
func fileOrID(name string) (data []byte, isFile bool, err error) {
	st, err := os.Stat(name)
	if errors.Is(err, fs.ErrNotExist) || err == nil && st.IsDir() {
		return nil, false, nil
	}
	if err == nil {
		data, err = readFile(name)
	}
	return data, err == nil, err
}

// loadMachine loads a definition file, or a built-in definition by its id.
func loadMachine(name string) (*machine.Definition, error) {
	if def, ok := machine.Builtin(name); ok {
		return def, nil
	}
	data, err := readFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, withHint(fmt.Errorf("no recorder definition %s", name),
			"give a YAML file, or one of the built-in ids: "+strings.Join(machine.BuiltinNames(), ", "))
	}
	if err != nil {
		return nil, err
	}
	def, err := machine.Load(name, data)
	if err != nil && startsWith(data, "testtape:") {
		return nil, withHint(fmt.Errorf("%s describes a test tape, not a recorder", name), "are --machine and --tape swapped?")
	}
	return def, err
}

// startsWith tells whether a line of a definition file begins with a key.
func startsWith(data []byte, key string) bool {
	return bytes.HasPrefix(data, []byte(key)) || bytes.Contains(data, []byte("\n"+key))
}

// loadTape loads a test-tape file, or a built-in one by its id.
func loadTape(name string) (*testtape.Tape, error) {
	if t, err := testtape.Builtin(name); err == nil {
		return t, nil
	}
	data, err := readFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, withHint(fmt.Errorf("no test-tape definition %s", name),
			"give a YAML file, or one of the built-in ids: "+strings.Join(testtape.BuiltinNames(), ", "))
	}
	if err != nil {
		return nil, err
	}
	t, err := testtape.Load(name, data)
	if err != nil && startsWith(data, "machine:") {
		return nil, withHint(fmt.Errorf("%s describes a recorder, not a test tape", name), "are --machine and --tape swapped?")
	}
	return t, err
}
