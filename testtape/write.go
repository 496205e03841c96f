package testtape

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
)

// Write writes the tape as YAML that Load reads back to the same value. It
// returns Check's error for a tape that Load would refuse.
func (t *Tape) Write(w io.Writer) error {
	if err := t.Check(); err != nil {
		return fmt.Errorf("writing test tape %q: %w", t.Name, err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "testtape: %d\nname: %s\nspeed_cm_s: %s\n", t.Format, quote(t.Name), decimal(t.SpeedCmS))
	fmt.Fprintf(&b, "reference: {fluxivity_nwb_m: %s, tone_hz: %s, convention: %s}\n",
		decimal(t.Reference.FluxivityNWbM), decimal(t.Reference.ToneHz), quote(t.Reference.Convention))
	fmt.Fprintf(&b, "equalisation_us: {high: %s, low: %s}\n", decimal(t.EqualisationUs.High), decimal(t.EqualisationUs.Low))
	fmt.Fprintf(&b, "track_layout: %s\nfringing_compensated: %t\nsections:\n", t.TrackLayout, t.FringingCompensated)
	for _, s := range t.Sections {
		level := s.LevelDB
		if math.IsNaN(level) || math.IsInf(level, 0) { // possible for silence only, where it means nothing
			level = 0
		}
		fmt.Fprintf(&b, "  - {name: %s, tone_hz: %s, level_db: %s, seconds: %s}\n",
			quote(s.Name), decimal(s.ToneHz), decimal(level), decimal(s.Seconds))
	}
	_, err := w.Write(b.Bytes())
	return err
}

// decimal writes v so that it reads back to the same bits, never with an
// exponent: YAML 1.1 and 1.2 differ on "1e3".
func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// quote writes s as a double-quoted YAML scalar. Go's escapes of printable text
// (backslash and quote) are YAML's too, and names hold no control characters.
func quote(s string) string { return strconv.Quote(s) }
