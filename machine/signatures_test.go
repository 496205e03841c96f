package machine_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"headstack/machine"
)

// What a mode looks like in a capture follows from its effects unless it is stated.
func TestUsualSignatures(t *testing.T) {
	d := &machine.Definition{}
	looks := func(kind, cause string) []string {
		_, modes := d.FaultModes(&machine.Stage{Kind: kind})
		for _, m := range modes {
			if m.Cause == cause {
				return m.Signature
			}
		}
		t.Errorf("%s has no mode %q", kind, cause)
		return nil
	}
	for _, c := range []struct {
		kind, cause string
		want        []string
	}{
		{"head", "dirt on the head face", []string{"spacing"}},
		{"head", "worn face or opened gap", []string{"gap_wear"}},
		{"head", "head height: track partly off the gap", []string{"height", "gain"}},
		{"head", "open winding or head lead", []string{"head_open"}},
		{"head", "shorted winding", []string{"gain"}},
		{"alignment", "azimuth off", []string{"azimuth"}},
		{"alignment", "zenith or guiding: contact grows worse across the head", []string{"spacing_ramp"}},
		{"coupling-capacitor", "dried out: capacitance lost", []string{"low_corner"}},
		{"coupling-capacitor", "dried out: series resistance high", []string{"gain"}},
		{"coupling-capacitor", "leaky: direct current passes", []string{"none"}},
		{"equaliser", "treble part lost (capacitor, joint)", []string{"high_corner"}},
		{"treble-trim", "oxide under the wiper", []string{"high_corner"}},
		{"amplifier", "amplifier dead", []string{"gain"}},
		{"compander", "mistracks: level errors doubled", []string{"gain", "noise_reduction_on"}},
		{"connector", "contact comes and goes", []string{"unsteady_joint", "gain"}},
		{"sensor", "dirty", []string{"unsteady_contact"}},
	} {
		if got := looks(c.kind, c.cause); !slices.Equal(got, c.want) {
			t.Errorf("%s, %s: %v, want %v", c.kind, c.cause, got, c.want)
		}
	}
	for _, kind := range machine.Kinds() {
		_, modes := d.FaultModes(&machine.Stage{Kind: kind})
		for _, m := range modes {
			for _, s := range m.Signature {
				if !slices.Contains(machine.Signatures(), s) {
					t.Errorf("%s, %s: %q is no signature", kind, m.Cause, s)
				}
			}
			if len(m.Signature) == 0 {
				t.Errorf("%s, %s has no signature", kind, m.Cause)
			}
		}
	}
}

func TestSignaturesAreChecked(t *testing.T) {
	data, _ := machine.BuiltinSource("hexastrand")
	const stage = `  - {id: U43, name:`
	with := func(signature string) error {
		add := `  - {id: SX, name: "tape switch", part: SX, kind: switch, board: Strip, faults: [{mode: weak, cause: "other tape", weight: 1, signature: ` + signature + `}]}` + "\n"
		if bytes.Count(data, []byte(stage)) != 1 {
			t.Fatalf("the definition no longer holds %q once", stage)
		}
		_, err := machine.Load("x.yaml", bytes.Replace(data, []byte(stage), []byte(add+stage), 1))
		return err
	}
	if err := with("[equalisation, noise_reduction_on]"); err != nil {
		t.Error(err)
	}
	for signature, want := range map[string]string{
		"[equalization]":                             "equalisation",
		"[spacing, spacing]":                         "stands twice",
		"[spacing, gain, height, azimuth, gap_wear]": "at most 4",
		"spacing": "list",
	} {
		if err := with(signature); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "x.yaml:") {
			t.Errorf("signature: %s gives %v, want an error with a place and %q", signature, err, want)
		}
	}
}
