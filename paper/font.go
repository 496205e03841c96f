package paper

import (
	_ "embed"
	"sync"

	"golang.org/x/image/font/sfnt"
)

//go:embed font/DejaVuSans.ttf
var plainTTF []byte

//go:embed font/DejaVuSans-Bold.ttf
var boldTTF []byte

// lettersOf reads which letters a face has.
func lettersOf(ttf []byte) func(r rune) bool {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic("paper: font of the package cannot be read: " + err.Error()) // compiled in
	}
	var mu sync.Mutex
	known := map[rune]bool{}
	var buf sfnt.Buffer
	return func(r rune) bool {
		mu.Lock()
		defer mu.Unlock()
		has, seen := known[r]
		if !seen {
			i, err := f.GlyphIndex(&buf, r)
			has = err == nil && i != 0
			known[r] = has
		}
		return has
	}
}

var hasLetter = sync.OnceValue(func() func(rune) bool {
	plain, bold := lettersOf(plainTTF), lettersOf(boldTTF)
	return func(r rune) bool { return plain(r) && bold(r) }
})

// replacement stands for a letter that the fonts lack.
const replacement = '\uFFFD'
