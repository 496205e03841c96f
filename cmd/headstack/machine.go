package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"headstack/machine"
)

type machineVerb struct {
	Check  machineCheckVerb  `cmd:"" help:"Check a definition: errors by line and column, then lint."`
	Show   machineShowVerb   `cmd:"" help:"Show a definition, or a track's paths: stage, designator, board, test points."`
	New    machineNewVerb    `cmd:"" help:"Write a commented starting file, or a built-in definition to start from."`
	Schema machineSchemaVerb `cmd:"" help:"Print the JSON Schema of definitions, for editors."`
}

type machineCheckVerb struct {
	JSON bool     `help:"One JSON object on standard output."`
	Def  []string `arg:"" name:"def" help:"YAML files, or ids of built-in definitions."`
}

func (machineCheckVerb) Help() string {
	return `Example: headstack machine check my-recorder.yaml

Exit code 1 when a file does not load, 3 when lint finds an error or a warning, 0 when it is clean.`
}

// checked is the JSON form of one checked definition.
type checked struct {
	File     string            `json:"file"`
	Errors   []string          `json:"errors"`
	Findings []machine.Finding `json:"findings"`
}

func (v *machineCheckVerb) Run(e *env) error {
	var all []checked
	bad, open := 0, 0
	for _, name := range v.Def {
		c := checked{File: name, Errors: []string{}, Findings: []machine.Finding{}}
		def, err := loadMachine(name)
		if err != nil {
			bad++
			c.Errors = append(c.Errors, errorLines(err)...)
		} else {
			c.Findings = append(c.Findings, def.Lint()...)
		}
		for _, f := range c.Findings {
			if f.Severity != machine.SeverityHint {
				open++
			}
		}
		all = append(all, c)
		if !v.JSON {
			printChecked(e, c, def)
		}
	}
	if v.JSON {
		if err := printJSON(e.out, all); err != nil {
			return err
		}
	}
	switch {
	case bad > 0:
		return &fault{exitError, fmt.Errorf("%d of %d definitions do not load", bad, len(v.Def)), "the first error of a file is often the cause of those after it"}
	case open > 0:
		return &fault{exitNotInOrder, fmt.Errorf("%d lint findings", open), "each says what would be right"}
	}
	return nil
}

func printChecked(e *env, c checked, def *machine.Definition) {
	for _, l := range c.Errors {
		fmt.Fprintln(e.out, l)
	}
	for _, f := range c.Findings {
		fmt.Fprintf(e.out, "%s: %s\n", c.File, f)
	}
	if def != nil && len(c.Findings) == 0 {
		fmt.Fprintf(e.out, "%s: clean. %s %s: %d tracks, %d boards, %d connectors, %d stage instances, %d trims, %d check items\n",
			c.File, def.Make, def.Name, def.Tracks.Count, len(def.Boards), len(def.Connectors), len(def.Instances()), trimCount(def), len(def.CheckItems()))
	}
}

func trimCount(d *machine.Definition) int {
	n := 0
	for _, t := range d.Trims {
		n += len(d.ReplicaKeys(t.Each))
	}
	return n
}

// errorLines takes a list of problems apart.
func errorLines(err error) []string {
	var list machine.ErrorList
	if !errors.As(err, &list) {
		return []string{err.Error()}
	}
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = x.Error()
	}
	return out
}

type machineShowVerb struct {
	Track int    `placeholder:"N" help:"Show the paths of this track; without it the recorder as a whole."`
	JSON  bool   `help:"The whole definition as one JSON object."`
	Def   string `arg:"" name:"def" help:"YAML file, or id of a built-in definition."`
}

func (machineShowVerb) Help() string { return "Example: headstack machine show hexastrand --track 3" }

func (v *machineShowVerb) Run(e *env) error {
	def, err := loadMachine(v.Def)
	if err != nil {
		return err
	}
	if v.JSON {
		return printJSON(e.out, def)
	}
	return machine.Describe(e.out, def, v.Track)
}

type machineNewVerb struct {
	From string `placeholder:"ID" help:"Start from a built-in definition instead of the commented starting file."`
	File string `arg:"" optional:"" help:"File to write; without it standard output. An existing file is not overwritten."`
}

func (machineNewVerb) Help() string { return "Example: headstack machine new my-recorder.yaml" }

func (v *machineNewVerb) Run(e *env) error {
	text := machine.Template()
	if v.From != "" {
		var ok bool
		if text, ok = machine.BuiltinSource(v.From); !ok {
			return usage("no built-in definition %q; there are %v", v.From, machine.BuiltinNames())
		}
	}
	return writeNew(e, v.File, text)
}

// writeNew writes a file that is not there yet, or standard output.
func writeNew(e *env, file string, text []byte) error {
	if file == "" {
		_, err := e.out.Write(text)
		return err
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return withHint(fmt.Errorf("%s exists; nothing was written", file), "give another name")
	}
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err == nil {
		fmt.Fprintln(e.err, "wrote", file)
	}
	return err
}

type machineSchemaVerb struct{}

func (machineSchemaVerb) Run(e *env) error {
	_, err := e.out.Write(machine.Schema())
	return err
}
