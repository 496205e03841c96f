package main

import (
	"fmt"
	"text/tabwriter"

	"headstack/testtape"
)

type tapeVerb struct {
	Check  tapeCheckVerb  `cmd:"" help:"Check a test-tape description and list its sections."`
	New    tapeNewVerb    `cmd:"" help:"Write a commented starting file, or a built-in description to start from."`
	Schema tapeSchemaVerb `cmd:"" help:"Print the JSON Schema of test tapes, for editors."`
}

type tapeCheckVerb struct {
	JSON bool   `help:"The description as one JSON object."`
	Tape string `arg:"" help:"YAML file, or id of a built-in tape."`
}

func (tapeCheckVerb) Help() string { return "Example: headstack tape check my-tape.yaml" }

func (v *tapeCheckVerb) Run(e *env) error {
	t, err := loadTape(v.Tape)
	if err != nil {
		return err
	}
	if v.JSON {
		return printJSON(e.out, t)
	}
	fmt.Fprintf(e.out, "%s: %g cm/s, 0 dB = %g nWb/m at %g Hz (%s), %s, %s\n", t.Name, t.SpeedCmS, t.Reference.FluxivityNWbM, t.Reference.ToneHz,
		t.Reference.Convention, timeConstants(t.EqualisationUs.High, t.EqualisationUs.Low), t.TrackLayout)
	w := tabwriter.NewWriter(e.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "section\ttone\tlevel re reference\tlength")
	for _, s := range t.Sections {
		tone, level := fmt.Sprintf("%g Hz", s.ToneHz), fmt.Sprintf("%+g dB", s.LevelDB)
		if s.Silent() {
			tone, level = "silence", ""
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%g s\n", s.Name, tone, level, s.Seconds)
	}
	return w.Flush()
}

type tapeNewVerb struct {
	From string `placeholder:"ID" help:"Start from a built-in tape instead of the commented starting file."`
	File string `arg:"" optional:"" help:"File to write; without it standard output. An existing file is not overwritten."`
}

func (tapeNewVerb) Help() string { return "Example: headstack tape new my-tape.yaml" }

func (v *tapeNewVerb) Run(e *env) error {
	text := testtape.New()
	if v.From != "" {
		var err error
		if text, err = testtape.BuiltinSource(v.From); err != nil {
			return usage("%v", err)
		}
	}
	return writeNew(e, v.File, text)
}

type tapeSchemaVerb struct{}

func (tapeSchemaVerb) Run(e *env) error {
	_, err := e.out.Write(testtape.Schema())
	return err
}
