package job_test

import (
	"fmt"

	"headstack/job"
	"headstack/machine"
)

// What is typed at the bench becomes a reading of the definition's test point.
func ExampleParseReading() {
	def, _ := machine.Builtin("hexastrand")
	r, err := job.ParseReading(def, "tp21-a", "310m")
	fmt.Println(r.TestPoint, r.Key, r.Value, r.Unit, err)
	_, err = job.ParseReading(def, "TP21-c", "310 mV")
	fmt.Println(err)
	_, err = job.ParseReading(def, "TP21-a", "310 Hz")
	fmt.Println(err)
	// Output:
	// TP21 a 310 mV <nil>
	// test point "TP21-c" is not in the definition; there is TP21-a, TP21-b, TP20-a, TP20-b, TP22-1, TP22-2
	// unit "Hz" does not convert to V, which TP21 is read in; there is V, mV, µV, dBu, dBV
}
