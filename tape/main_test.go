package tape_test

import (
	"flag"
	"os"
	"testing"

	_ "pgregory.net/rapid" // its flags are set here
)

// TestMain fixes the seed of the property tests, which a failure prints; -rapid.seed
// asks for another, and 0 for a new one each time.
func TestMain(m *testing.M) {
	for name, value := range map[string]string{"rapid.seed": "19510400", "rapid.nofailfile": "true"} {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
