package sim

import (
	"context"
	"fmt"
	"os"
	"strings"
)

// TruthPath is where the truth of a capture lies: capture.wav has
// capture.truth.json.
func TruthPath(wav string) string { return strings.TrimSuffix(wav, ".wav") + ".truth.json" }

// RenderFile renders to a file and writes the truth to [TruthPath] beside it. A
// capture that could not be finished is removed. Errors are those of [Render] and
// of the files.
func RenderFile(ctx context.Context, wav string, sc Scenario) (truth Truth, err error) {
	f, err := os.Create(wav)
	if err != nil {
		return Truth{}, fmt.Errorf("rendering a capture: %w", err)
	}
	truth, err = Render(ctx, f, sc)
	if closing := f.Close(); err == nil && closing != nil {
		err = fmt.Errorf("rendering a capture: %w", closing)
	}
	if err == nil {
		err = writeTruthFile(TruthPath(wav), truth)
	}
	if err != nil {
		os.Remove(wav) // half a capture without its truth is of no use
		return Truth{}, err
	}
	return truth, nil
}

func writeTruthFile(path string, t Truth) error {
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("writing truth: %w", err)
	}
	if err := WriteTruth(f, t); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
