package tape

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/interp"
)

// The curve between rows, against gonum's interpolation. The two differ in the
// slope at the ends only, so the first and last interval are left out.
func TestNeighbourCurveAgreesWithGonum(t *testing.T) {
	var c interp.FritschButland
	if err := c.Fit(neighbourX, neighbourE); err != nil {
		t.Fatal(err)
	}
	last := 0.0
	for x := 0.0; x < 10; x += 0.003 {
		got := neighbour(x)
		if got < last-1e-12 {
			t.Fatalf("falls at %g", x)
		}
		last = got
		if x < neighbourX[1] || x > neighbourX[len(neighbourX)-2] {
			continue
		}
		if want := c.Predict(x); math.Abs(got-want) > 1e-9 {
			t.Fatalf("neighbour(%g) = %.9f, want %.9f", x, got, want)
		}
	}
}
