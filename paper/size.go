package paper

import (
	"fmt"
	"strings"
)

// Size is a sheet of paper, in millimetres.
type Size struct {
	Name string  `json:"name"`
	W    float64 `json:"width_mm"`
	H    float64 `json:"height_mm"`
}

// The sheets that printers take: ISO 216 A4, and US letter (8.5 by 11 inches, ANSI/ASME
// Y14.1 size A).
var (
	A4     = Size{"A4", 210, 297}
	Letter = Size{"letter", 215.9, 279.4}
)

// Sizes are the sheets that can be asked for.
func Sizes() []Size { return []Size{A4, Letter} }

// SizeNamed finds a sheet by its name, in any case; empty is A4.
func SizeNamed(name string) (Size, error) {
	if name == "" {
		return A4, nil
	}
	for _, s := range Sizes() {
		if strings.EqualFold(s.Name, name) {
			return s, nil
		}
	}
	return Size{}, fmt.Errorf("paper %q is not known: A4 or letter", name)
}

// Margin is the blank edge in which nothing is drawn, mm: most printers cannot print in the
// outer 4 to 5 mm (common practice, no source).
const Margin = 5.0
