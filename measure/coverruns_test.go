package measure

import (
	"os"
	"testing"
)

// coverRuns is how many seeded runs a statistic of intervals has: 500 with
// HEADSTACK_LONG=full, of which 92 to 98 % have to hold the truth (bar); 150 with
// HEADSTACK_LONG=1 and few else, with a band as wide as chance demands.
func coverRuns(few, short int) (runs int, bar bool) {
	switch length := os.Getenv("HEADSTACK_LONG"); {
	case length == "full":
		return 500, true
	case length != "":
		return 150, false
	case testing.Short():
		return short, false
	}
	return few, false
}

// atLength: the long tests are wanted.
func atLength() bool { return os.Getenv("HEADSTACK_LONG") != "" }
