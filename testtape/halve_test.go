package testtape

import (
	"math"
	"testing"
)

// A tone below a third of the new rate passes within 1 dB; one that would
// fold onto it is 20 dB down. In pieces of any even size it is the same filter.
func TestHalver(t *testing.T) {
	power := func(f float64, piece int) float64 {
		const n = 1200
		x, y := make([]float64, n), make([]float64, n/2)
		for i := range x {
			x[i] = math.Sin(2 * math.Pi * f * float64(i))
		}
		var h halver
		for i := 0; i < n; i += piece {
			h.halve(y[i/2:], x[i:min(n, i+piece)])
		}
		sum := 0.
		for _, v := range y[20:] {
			sum += 2 * v * v / float64(len(y)-20)
		}
		return 10 * math.Log10(sum)
	}
	for _, f := range []float64{0.013, 0.05, 0.11, 0.1601} { // of the old rate
		for _, piece := range []int{2, 8, 40, 1200} {
			if db := power(f, piece); math.Abs(db) > 1 {
				t.Errorf("tone at %g of the rate, pieces of %d: %.2f dB, want 0 ±1", f, piece, db)
			}
			if db := power(0.5-f, piece); db > -19.9 {
				t.Errorf("tone at %g of the rate, pieces of %d: %.2f dB, want at most -20", 0.5-f, piece, db)
			}
		}
	}
}
