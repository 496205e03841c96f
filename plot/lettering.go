package plot

import (
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The fonts of the raster; they also say how wide a text is wherever it is drawn.
var (
	regular = sync.OnceValue(func() *sfnt.Font { return parseFont(goregular.TTF) })
	strong  = sync.OnceValue(func() *sfnt.Font { return parseFont(gobold.TTF) })
)

func parseFont(ttf []byte) *sfnt.Font {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic("plot: font of the module cannot be read: " + err.Error()) // compiled in
	}
	return f
}

func (k ink) font() *sfnt.Font {
	if k.bold {
		return strong()
	}
	return regular()
}

// Pages are shown in the reader's own font. The widest in common use is DejaVu Sans,
// with figures 0.636 em wide and 0.696 em when bold; those of the raster's font are
// 0.556 em (both read from the fonts' own tables).
const (
	widerPlain = 0.636 / 0.556
	widerBold  = 0.696 / 0.556
)

// textWidth is the width to keep free for s, in CSS pixels.
func textWidth(s string, k ink) float64 {
	if k.bold {
		return advance(s, k) * widerBold
	}
	return advance(s, k) * widerPlain
}

// advanceUnits measures at a size at which the rounding of 1/64 does not matter.
const advanceUnits = 1000

var advances sync.Map // of glyph to em

type glyph struct {
	r    rune
	bold bool
}

// advance is the width of s in the raster's own font.
func advance(s string, k ink) float64 {
	w := 0.0
	for _, r := range s {
		g := glyph{r, k.bold}
		em, ok := advances.Load(g)
		if !ok {
			em = k.glyphAdvance(r)
			advances.Store(g, em)
		}
		w += em.(float64)
	}
	return w * k.textSize()
}

// glyphAdvance is the width of one letter in em. Narrow spaces are not in the font.
func (k ink) glyphAdvance(r rune) float64 {
	if em, ok := spaces[r]; ok {
		return em
	}
	var b sfnt.Buffer
	f := k.font()
	i, err := f.GlyphIndex(&b, r)
	if err != nil {
		return 0.6
	}
	a, err := f.GlyphAdvance(&b, i, fixed.I(advanceUnits), font.HintingNone)
	if err != nil {
		return 0.6
	}
	return float64(a) / 64 / advanceUnits
}

// spaces in em: The Unicode Standard, chapter 6.2 (thin space a fifth).
var spaces = map[rune]float64{' ': 0.278, '\u00a0': 0.278, '\u2009': 0.2, '\u202f': 0.2}

// wrap breaks s at spaces into lines no wider than w; a longer word is cut.
func wrap(s string, w float64, k ink) []string {
	var lines []string
	line := ""
	for _, word := range fields(s) {
		word = clip(word, w, k)
		if line != "" && textWidth(line+" "+word, k) > w {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// fields splits at plain spaces only: thin ones hold number and unit together. A
// percent sign stays with its number.
func fields(s string) []string {
	s = strings.ReplaceAll(s, " %", "\u00a0%")
	var out []string
	word := ""
	for _, r := range s {
		if r == ' ' || r == '\n' || r == '\t' {
			if word != "" {
				out = append(out, word)
			}
			word = ""
			continue
		}
		word += string(r)
	}
	if word != "" {
		out = append(out, word)
	}
	return out
}

// clip shortens s to the width w.
func clip(s string, w float64, k ink) string {
	if textWidth(s, k) <= w {
		return s
	}
	r := []rune(s)
	for len(r) > 1 && textWidth(string(r)+"…", k) > w {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}
