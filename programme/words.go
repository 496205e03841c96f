package programme

import (
	"fmt"
	"math"
	"strconv"
)

// hertz writes a frequency as the trade does: 315 Hz, 3.15 kHz.
func hertz(hz float64) string {
	if hz >= 1000 {
		return strconv.FormatFloat(math.Round(hz)/1000, 'f', -1, 64) + " kHz"
	}
	return strconv.FormatFloat(math.Round(10*hz)/10, 'f', -1, 64) + " Hz"
}

// decibels writes a level with its sign, in letters that anyone can type: names of
// parts are asked for by scripts.
func decibels(db float64) string {
	if db == 0 {
		return "0 dB"
	}
	return fmt.Sprintf("%+g dB", db)
}

// clock writes seconds from the beginning as 3:05.
func clock(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}
