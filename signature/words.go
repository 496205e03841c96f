package signature

// causeWords name the causes as a bench does.
var causeWords = map[Cause]string{
	None:             "nothing out of the ordinary",
	Gain:             "gain",
	Spacing:          "spacing",
	SpacingRamp:      "uneven spacing",
	Azimuth:          "azimuth",
	GapWear:          "gap wear",
	Height:           "height",
	Equalisation:     "equalisation",
	LowCorner:        "low corner",
	HighCorner:       "high corner",
	GroupGain:        "group gain",
	HeadOpen:         "open head",
	NoiseReductionOn: "noise reduction on",
	UnsteadyContact:  "unsteady contact",
	UnsteadyJoint:    "unsteady joint",
}

// Words names the cause for a heading or a label.
func (c Cause) Words() string {
	if w, ok := causeWords[c]; ok {
		return w
	}
	return string(c)
}
