package main

import (
	"os"

	"github.com/rogpeppe/go-internal/testscript"

	"headstack/machine"
	"headstack/picture"
	"headstack/sim/board"
)

// drawBoard draws an invented board of the built-in recorder: drawboard BOARD OUT.png
func drawBoard(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: drawboard BOARD OUT.png")
	}
	def, _ := machine.Builtin("hexastrand")
	img, _ := board.Draw(def, args[0])
	data, err := picture.Encode(img, picture.PNG)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), data, 0o644))
}
