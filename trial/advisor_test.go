package trial_test

import (
	"headstack/diagnosis"
	"headstack/machine"
	"headstack/trial"
)

// advisor is the engine under trial.
func advisor(told *machine.Definition) (trial.Advisor, error) {
	return diagnosis.New(told, diagnosis.Options{})
}
