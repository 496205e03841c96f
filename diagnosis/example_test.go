package diagnosis_test

import (
	"fmt"

	"headstack/diagnosis"
	"headstack/machine"
)

// A six-track recorder records weak on tracks 1, 3 and 5 and plays well. Two
// readings tell where on the way that these tracks share the level is lost.
func Example() {
	def, _ := machine.Builtin("hexastrand")
	e, err := diagnosis.New(def, diagnosis.Options{Open: []string{"lid"}})
	if err != nil {
		fmt.Println(err)
		return
	}
	var ev diagnosis.Evidence
	for track := 1; track <= 6; track++ {
		outcome, symptom := diagnosis.Works, diagnosis.SymptomUnknown
		if track%2 == 1 {
			outcome, symptom = diagnosis.Faulty, diagnosis.SymptomWeak
		}
		ev.Checks = append(ev.Checks,
			diagnosis.Check{Ref: fmt.Sprint("check ", 2*track-1), Function: "play", Key: fmt.Sprint(track), Outcome: diagnosis.Works},
			diagnosis.Check{Ref: fmt.Sprint("check ", 2*track), Function: "record-play", Key: fmt.Sprint(track), Outcome: outcome, Symptom: symptom})
	}
	v, err := e.Diagnose(ev)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(v.Next[0].Text)
	ev.Readings = []diagnosis.Reading{
		{Ref: "reading 1", TestPoint: "TP20", Key: "a", Value: 0.245, Unit: "V", Setting: "1"},
		{Ref: "reading 2", TestPoint: "TP21", Key: "a", Value: 0.310, Unit: "V", Setting: "2"},
	}
	if v, err = e.Diagnose(ev); err != nil {
		fmt.Println(err)
		return
	}
	for _, x := range v.Explanations[:2] {
		fmt.Println(x.Faults[0].Part, x.Faults[0].Cause)
	}
	// Output:
	// Read TP20-a (245 mV expected): encoder output; record 0 dB 315 Hz, noise reduction off.
	// C31-a dried out: series resistance high
	// U12-a gain low
}
