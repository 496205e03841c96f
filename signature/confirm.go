package signature

// confirm is the cheapest test that parts what a finding still leaves open: which of its
// sources it is. Common practice, no source.
func confirm(c Cause) string {
	switch c {
	case Gain:
		return "compare the track with its siblings along its channel, input and output of each stage, at the reference tone"
	case Spacing:
		return "clean the head and play the treble again; if it stays, press the tape lightly to the head with a dry cotton bud while 10 kHz plays, and try another shell or reel"
	case SpacingRamp:
		return "clean the head and play the treble again; if it stays, try another shell or reel, then press lightly, on the shell or with a dry cotton bud on the tape, at either edge of the head in turn: guides and pad answer, wear does not"
	case Azimuth:
		return "set it by the delay of outer tracks, low tone first; play a second tape to see that it is not the tape's"
	case GapWear:
		return "look at the head face under magnification for an opened gap or pits"
	case Height:
		return "watch the tape run over the head and guides, and see whether the other edge changes when it is lifted a little"
	case Equalisation:
		return "work the tape-type or equalisation switch, and check which curve this tape was recorded to"
	case LowCorner:
		return "compare the track with its siblings at 63 Hz at the input and output of each coupling capacitor"
	case HighCorner:
		return "swap two head leads, then swap them back: the loss follows the head or stays with the channel"
	case GroupGain:
		return "compare the groups at the output of what each group shares, at the reference tone"
	case HeadOpen:
		return "with the machine off, compare the winding's resistance with its siblings at the connector"
	case UnsteadyContact:
		return "clean head, pinch roller and guides, try another shell or reel, and look at pad and tape edge"
	case UnsteadyJoint:
		return "tap and flex along the channel while the reference tone plays, ever lighter towards the spot that answers"
	}
	return ""
}
