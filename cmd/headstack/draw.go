package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"headstack/machine"
	"headstack/measure"
	"headstack/plot"
	"headstack/unit"
)

// drawScale of the PNG files: twice the size in CSS pixels reads well on paper.
const drawScale = 2

// drawReport writes each picture of a report as NAME.png and NAME.svg, and its table
// as NAME.txt.
func drawReport(e *env, dir string, rep measure.Report, def *machine.Definition) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	return drawAll(e, dir, plot.ReportOf(rep, centres(def), "", plot.Options{}))
}

// drawAll writes pictures into a folder that is there.
func drawAll(e *env, dir string, pictures []plot.Named) error {
	for _, d := range pictures {
		base := filepath.Join(dir, d.Name)
		err := errors.Join(
			drawFile(base+".png", func(f *os.File) error { return plot.WritePNG(f, d.Drawing, drawScale) }),
			drawFile(base+".svg", func(f *os.File) error { _, err := f.WriteString(string(d.SVG())); return err }),
			drawFile(base+".txt", func(f *os.File) error { _, err := f.WriteString(plot.TableOf(d.Drawing).Text()); return err }),
		)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.err, "wrote %s.png, .svg and .txt\n", base)
	}
	return nil
}

// drawFile writes a new file; pictures that are there already are kept.
func drawFile(name string, write func(*os.File) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return withHint(err, "name another folder with --draw: pictures are not overwritten")
	}
	return errors.Join(write(f), f.Close())
}

// centres are the places of the cores across the tape.
func centres(def *machine.Definition) []unit.Metre {
	var out []unit.Metre
	for _, t := range def.Geometry().Tracks {
		out = append(out, t.Centre)
	}
	return out
}
