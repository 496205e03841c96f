package programme

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// Encode writes the programme as YAML that [Load] reads back to the same value. The
// error is that of [Programme.Check], or that of a programme too long for a file: Load
// would refuse both.
func (p *Programme) Encode() ([]byte, error) {
	if err := p.Check(); err != nil {
		return nil, fmt.Errorf("writing programme %q: %w", p.Name, err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "programme: %d\nname: %s\ntracks: %d\nspeed_cm_s: %s\nreference_hz: %s\nreference_dbfs: %s\nrounds:\n",
		p.Format, quote(p.Name), p.Tracks, decimal(p.SpeedCmS), decimal(p.ReferenceHz), decimal(p.ReferenceDBFS))
	for _, r := range p.Rounds {
		var list []string
		for _, t := range r {
			list = append(list, strconv.Itoa(t))
		}
		fmt.Fprintf(&b, "  - [%s]\n", strings.Join(list, ", "))
	}
	b.WriteString("parts:\n")
	for _, part := range p.Parts {
		fmt.Fprintf(&b, "  - name: %s\n    kind: %s\n    seconds: %s\n", quote(part.Name), part.Kind, decimal(part.Seconds))
		if part.StepSeconds != 0 {
			fmt.Fprintf(&b, "    step_seconds: %s\n", decimal(part.StepSeconds))
		}
		writeList(&b, "all", part.All)
		if part.Each != nil {
			writeEach(&b, part.Each)
		}
	}
	if b.Len() > maxFileBytes {
		return nil, fmt.Errorf("writing programme %q: it takes %d bytes, more than the %d that are read", p.Name, b.Len(), maxFileBytes)
	}
	return b.Bytes(), nil
}

func writeList(b *bytes.Buffer, key string, list []Sine) {
	switch {
	case list == nil:
	case len(list) == 0:
		fmt.Fprintf(b, "    %s: []\n", key)
	default:
		fmt.Fprintf(b, "    %s:\n", key)
		for _, s := range list {
			fmt.Fprintf(b, "      - %s\n", flow(s))
		}
	}
}

func writeEach(b *bytes.Buffer, each [][]Sine) {
	if len(each) == 0 {
		b.WriteString("    each: []\n")
		return
	}
	b.WriteString("    each:\n")
	for _, on := range each {
		var list []string
		for _, s := range on {
			list = append(list, flow(s))
		}
		fmt.Fprintf(b, "      - [%s]\n", strings.Join(list, ", "))
	}
}

func flow(s Sine) string {
	out := "{hz: " + decimal(s.Hz) + ", level_db: " + decimal(s.LevelDB)
	if s.PhaseDeg != 0 {
		out += ", phase_deg: " + decimal(s.PhaseDeg)
	}
	return out + "}"
}

// decimal writes v so that it reads back to the same bits, never with an exponent:
// YAML 1.1 and 1.2 differ on "1e3".
func decimal(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// quote writes s as a double-quoted YAML scalar. Go's escapes of printable text
// (backslash and quote) are YAML's too, and names hold no control characters.
func quote(s string) string { return strconv.Quote(s) }
