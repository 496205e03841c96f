package field

// Kind is a kind of recorder with its constants. All of them are our own choice,
// plausible and nobody's.
type Kind int

// The kinds.
const (
	Cassette Kind = iota // narrow tape at low speed
	OpenReel             // wide tape at high speed
)

// Head is a sound head of the kind with cores at the given places; its pole faces are
// long.
func (k Kind) Head(centresM, widthsM []float64) Head {
	h := Head{GapM: 1.3e-6, SideDecay: 1.2, CentresM: centresM, WidthsM: widthsM}
	if k == OpenReel {
		h.GapM, h.SideDecay = 3e-6, 1.4
	}
	return h
}

// Faced is h with a pole face of the kind's length, whose ends make the bass uneven.
func (k Kind) Faced(h Head) Head {
	h.FaceM, h.EndM, h.EndSpacingM = 2.6e-3, 1.9e-3, 0.25e-3
	if k == OpenReel {
		h.FaceM, h.EndM, h.EndSpacingM = 5.2e-3, 3.4e-3, 0.9e-3
	}
	return h
}

// CoatingM is the depth of the kind's tape.
func (k Kind) CoatingM() float64 {
	if k == OpenReel {
		return 12e-6
	}
	return 4e-6
}
