package machine

import "slices"

// The cautions below are common practice at the bench, no single source; they
// defer to local electrical codes, to the maker's own instructions and to
// licensed practice, which come first wherever they differ.

// standardCautions are the notes that a definition may name in one word instead
// of writing them out; Load puts the sentence in the word's place.
var standardCautions = map[string]string{
	"bias":        "Bias and erase nodes carry 20 to 60 V r.m.s. at 60 to 150 kHz and burn the skin at a point: set the probe with the oscillator off, insulated tip, one hand away, and read by a ×10 probe or the sense resistor.",
	"mains":       "Class I mains supply: pull the mains plug before opening, check the earth lead, and work on live mains parts only if local codes let you and you are licensed for it.",
	"capacitors":  "Supply capacitors hold 25 to 60 V for minutes after the plug is pulled: discharge each through a resistor (e.g. 1 kΩ 5 W), then measure that it is empty.",
	"mirrored":    "This connector is mirrored: pin n here is not pin n on the other board. Say which side you probe, find one pin of known voltage first, then clip.",
	"flat-cable":  "Flat cable: it breaks at the crease near the socket and is rated for few insertions. Pull straight by the stiffener, count each unplugging, leave it in if you can.",
	"trimmer":     "Turn it with a ceramic or plastic trimmer: a steel blade detunes coils, couples hum and can short a rail.",
	"ohmmeter":    "An ohmmeter magnetises a head slightly: measure a winding only when a fault points there, and demagnetise before the next tape.",
	"demagnetise": "Demagnetiser: recorder off, every tape more than 1.5 m away, switch on and off more than 1 m from the heads, withdraw slowly.",
	"solvent":     "Isopropanol for heads and metal, ventilated and away from flames; little and brief on rubber; no acetone on plastic; none in bearings or damped faders; dry before a tape goes in.",
	"solder":      "Solder with extraction and eye cover, recorder unplugged; old boards lift pads above about 350 °C.",
	"unplug":      "Switch off and pull the plug or adaptor before a connector is parted or joined.",
	"mark-plug":   "Mark plug and socket with one line across both and a dot at pin 1 before it is pulled: it is not keyed and goes in both ways.",
	"rotating":    "Keep hair, sleeves and leads away from turning reels, belts and the flywheel.",
	"springs":     "Springs and brake bands are under tension: wear eye cover and let them go slowly.",
	"short-loom":  "The looms are short: prop at the stated angle and watch that none is pulled; a loom under tension gives faults of its own.",
	"extender":    "Switch off before a card is pulled or put on the extender; check that it sits in the right slot the right way round.",
	"hot":         "Regulators and heat sinks burn: let them cool, or measure without touching.",
}

// StandardCautions are the names of the standard cautions, in alphabetical order.
func StandardCautions() []string { return cautionNames() }

func cautionNames() []string {
	var out []string
	for name := range standardCautions {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// StandardCaution returns the sentence behind the name of a standard caution.
func StandardCaution(name string) (string, bool) {
	s, ok := standardCautions[name]
	return s, ok
}

// expandCautions writes out the standard cautions that a definition names.
func expandCautions(d *Definition) {
	fill := func(list []string) {
		for i, s := range list {
			if full, ok := standardCautions[s]; ok {
				list[i] = full
			}
		}
	}
	for i := range d.Connectors {
		fill(d.Connectors[i].Cautions)
	}
	for i := range d.TestPoints {
		fill(d.TestPoints[i].Cautions)
	}
	for i := range d.Trims {
		fill(d.Trims[i].Cautions)
	}
	for i := range d.Controls {
		fill(d.Controls[i].Cautions)
	}
	for i := range d.Setups {
		fill(d.Setups[i].Cautions)
	}
	for i := range d.Openings {
		fill(d.Openings[i].Cautions)
	}
}

// Cautions are the notes that belong at the head of a job on this recorder
// type: once, before anything is opened.
func Cautions(d *Definition) []string {
	out := []string{"Local electrical codes, the maker's safety notes and licensed practice come first; where they differ from anything said here, follow them."}
	if d.Supply.Class == "I" {
		out = append(out, standardCautions["mains"],
			"Before first power: earth continuity from plug to bare metal (below 0.1 Ω plus the lead) and insulation (at least 1 MΩ), by somebody equipped and permitted to test it.",
			standardCautions["capacitors"],
			"A scope's ground clip on this recorder is an earth: identify the pin before you clip.")
	} else {
		out = append(out, "Class II adaptor: check a.c. or d.c., polarity and voltage (off load 10 to 25 % high is normal) before it meets the recorder; never open the adaptor; test insulation on the adaptor alone.",
			"The chassis is not earthed through the supply: instruments that join two of its nodes to mains earth are a short between them.")
	}
	out = append(out, "First power through a current limiter or lamp, rails watched for a minute, hand near the switch.",
		standardCautions["bias"])
	if slices.ContainsFunc(d.Connectors, func(c Connector) bool { return c.Mirrored }) {
		out = append(out, "This type has mirrored connectors ("+mirroredNames(d)+"): pin n on one board is not pin n on the other. Every probing step names the side.")
	}
	return append(out, standardCautions["demagnetise"])
}

func mirroredNames(d *Definition) string {
	var names []string
	for _, c := range d.Connectors {
		if c.Mirrored {
			names = append(names, c.ID)
		}
	}
	return listed(names)
}
