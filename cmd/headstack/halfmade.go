package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"headstack/halfmade"
)

// clearHalfMade removes what killed programs left in the folder to be written to and in that
// for temporary files, and says so. What cannot be looked at stays: it stops nobody.
func clearHalfMade(e *env, folder string) {
	for _, dir := range halfMadeFolders(folder) {
		removed, left, _ := halfmade.Clear(dir, time.Now())
		for _, l := range removed {
			fmt.Fprintf(e.err, "removed %s, %s, which process %d left half-made when it was killed\n", l.Path, megabytes(l.Bytes), l.Process)
		}
		for _, l := range left {
			fmt.Fprintf(e.err, "%s\n", leftLine(l))
		}
	}
}

func leftLine(l halfmade.Left) string {
	return fmt.Sprintf("%s, %s, is half-made; process %d, which made it, no longer runs here: removed by the next backup, restore or export there after %s, or by you",
		l.Path, megabytes(l.Bytes), l.Process, l.Changed.Add(halfmade.Rest).Local().Format("2006-01-02 15:04"))
}

func halfMadeFolders(folder ...string) []string {
	out := []string{os.TempDir()}
	for _, f := range folder {
		if f, err := filepath.Abs(f); err == nil && !slices.Contains(out, f) {
			out = append(out, f)
		}
	}
	return out
}

// halfMadeFinding names what killed programs left in and beside the folder of the bench and in
// that for temporary files.
func halfMadeFinding(dir string) finding {
	const what = "half-made"
	var says []string
	for _, f := range halfMadeFolders(dir, filepath.Dir(dir)) {
		list, _ := halfmade.In(f)
		for _, l := range list {
			says = append(says, leftLine(l))
		}
	}
	if len(says) == 0 {
		return finding{what, true, "nothing was left by a program that was killed", ""}
	}
	return finding{what, true, fmt.Sprintf("%d left by programs that were killed, no part of the record", len(says)), strings.Join(says, "\n    ")}
}
