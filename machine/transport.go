package machine

import (
	"fmt"
	"math"
	"slices"
)

// Turning is a part of the transport that turns with the tape. It is given in one of
// four ways: diameter_mm, when the tape runs over it; hub_mm and full_mm, when the tape
// winds on it; driven_by and turns, when another part drives it; driven_by, pulley_mm
// and belt_mm, when it is a belt.
type Turning struct {
	ID   string `yaml:"id" json:"id"`
	Name string `yaml:"name" json:"name"`
	// DiameterMm is the diameter of the surface that moves at tape speed.
	DiameterMm float64 `yaml:"diameter_mm,omitempty" json:"diameter_mm,omitempty"`
	// HubMm and FullMm are the diameters of an empty hub and of a full pack.
	HubMm  float64 `yaml:"hub_mm,omitempty" json:"hub_mm,omitempty"`
	FullMm float64 `yaml:"full_mm,omitempty" json:"full_mm,omitempty"`
	// DrivenBy is the part that this one is coupled to.
	DrivenBy string `yaml:"driven_by,omitempty" json:"driven_by,omitempty"`
	// Turns of this part for one turn of the part named in DrivenBy; below 1 when it is
	// geared down.
	Turns float64 `yaml:"turns,omitempty" json:"turns,omitempty"`
	// PulleyMm is the diameter at which a belt of length BeltMm runs on the part
	// named in DrivenBy.
	PulleyMm float64 `yaml:"pulley_mm,omitempty" json:"pulley_mm,omitempty"`
	BeltMm   float64 `yaml:"belt_mm,omitempty" json:"belt_mm,omitempty"`
}

// Rotation is how often a part turns, or a belt passes, at a tape speed: between LowHz
// and HighHz through the tape, equal where the rate does not change.
type Rotation struct {
	Name   string
	LowHz  float64
	HighHz float64
}

// OnceRound returns how often each part of the transport turns at a tape speed in cm/s,
// in the order of the file:
//
//	tape on a surface of diameter d:   f = v/(π·d)
//	coupled with n turns per turn:     f = n·f(driver)
//	belt of length l on a pulley of p: f = f(driver)·π·p/l
//
// Slip of belts and the thickness of tape and belts are left out: together some tenths
// of a per cent. It is nil for a speed that is not positive, or when the definition says
// nothing of its transport.
func (d *Definition) OnceRound(speedCmS float64) []Rotation {
	if !(speedCmS > 0) || math.IsInf(speedCmS, 0) {
		return nil
	}
	var out []Rotation
	for i := range d.Transport {
		t := &d.Transport[i]
		if lo, hi, ok := d.turning(t, 10*speedCmS, len(d.Transport)); ok {
			out = append(out, Rotation{Name: t.Name, LowHz: lo, HighHz: hi})
		}
	}
	return out
}

// turning is the rate of a part at a tape speed in mm/s; depth bounds the couplings
// followed.
func (d *Definition) turning(t *Turning, v float64, depth int) (lo, hi float64, ok bool) {
	switch {
	case t.DiameterMm > 0:
		f := v / (math.Pi * t.DiameterMm)
		return f, f, true
	case t.HubMm > 0 && t.FullMm > 0:
		return v / (math.Pi * t.FullMm), v / (math.Pi * t.HubMm), true
	case t.DrivenBy == "" || depth == 0:
		return 0, 0, false
	}
	i := slices.IndexFunc(d.Transport, func(o Turning) bool { return o.ID == t.DrivenBy })
	if i < 0 {
		return 0, 0, false
	}
	k := t.Turns
	if t.BeltMm > 0 {
		k = math.Pi * t.PulleyMm / t.BeltMm
	}
	lo, hi, ok = d.turning(&d.Transport[i], v, depth-1)
	return k * lo, k * hi, ok && k > 0
}

// transport checks the parts that turn.
func (c *checker) transport() {
	list := c.d.Transport
	if len(list) > maxReplica {
		c.bad("transport", fmt.Sprintf("%d parts", len(list)), fmt.Sprintf("at most %d", maxReplica))
		return
	}
	unique(c, "transport", list, func(t *Turning) string { return t.ID })
	for i := range list {
		p := fmt.Sprintf("transport[%d].", i)
		c.text(p+"name", list[i].Name)
		c.turning(p, &list[i])
	}
}

// turning checks that a part is given in one way, with sane sizes.
func (c *checker) turning(p string, t *Turning) {
	const ways = "give diameter_mm; or hub_mm and full_mm; or driven_by and turns; or driven_by, pulley_mm and belt_mm"
	sizes := []struct {
		field  string
		x      float64
		lo, hi float64
		unit   string
	}{
		{"diameter_mm", t.DiameterMm, 0.5, 500, "mm"}, {"hub_mm", t.HubMm, 2, 500, "mm"}, {"full_mm", t.FullMm, 2, 500, "mm"},
		{"turns", t.Turns, 0.001, 1000, "turns per turn"}, {"pulley_mm", t.PulleyMm, 0.5, 500, "mm"}, {"belt_mm", t.BeltMm, 10, 3000, "mm"},
	}
	var given []string
	for _, s := range sizes {
		if _, written := c.d.pos[p+s.field]; written || s.x != 0 {
			given = append(given, s.field)
			c.within(p+s.field, s.x, s.lo, s.hi, s.unit)
		}
	}
	is := func(fields ...string) bool { return slices.Equal(given, fields) }
	switch {
	case is("diameter_mm") && t.DrivenBy == "":
	case is("hub_mm", "full_mm") && t.DrivenBy == "":
		if t.FullMm <= t.HubMm {
			c.bad(p+"full_mm", fmt.Sprintf("a full pack of %g mm is no larger than its hub of %g mm", t.FullMm, t.HubMm), "full_mm is the outer diameter of all the tape on the hub")
		}
	case (is("turns") || is("pulley_mm", "belt_mm")) && t.DrivenBy != "":
		c.coupled(p+"driven_by", t)
	default:
		c.bad(p[:len(p)-1], fmt.Sprintf("how often %s turns is not given in one of the four ways", t.ID), ways)
	}
}

// coupled checks that a part hangs on another one and, in the end, on the tape.
func (c *checker) coupled(path string, t *Turning) {
	seen := []string{t.ID}
	for on := t.DrivenBy; on != ""; {
		i := slices.IndexFunc(c.d.Transport, func(o Turning) bool { return o.ID == on })
		if i < 0 {
			if on == t.DrivenBy { // else it is reported where it stands
				c.bad(path, fmt.Sprintf("transport part %s is not defined", on), didYouMean(on, ids(c.d.Transport, func(o *Turning) string { return o.ID })))
			}
			return
		}
		if slices.Contains(seen, on) {
			c.bad(path, fmt.Sprintf("%s hangs on itself", t.ID), "follow driven_by from part to part; it must end at one that the tape drives or winds on")
			return
		}
		seen = append(seen, on)
		on = c.d.Transport[i].DrivenBy
	}
}

// transport looks for rates that no transport has.
func (l *linter) transport() {
	if len(l.d.Transport) == 0 || len(l.d.Speeds) == 0 {
		return
	}
	for i := range l.d.Transport {
		t := &l.d.Transport[i]
		slow, fast := math.Inf(1), 0.0
		for _, s := range l.d.Speeds {
			lo, hi, _ := l.d.turning(t, 10*s.CmS, len(l.d.Transport))
			slow, fast = math.Min(slow, lo), math.Max(fast, hi)
		}
		if slow > 200 || fast < 0.05 {
			l.add(SeverityHint, fmt.Sprintf("transport[%d]", i), fmt.Sprintf("%s turns %.0f to %.0f times a second", t.Name, slow, fast),
				"flutter is measured from 0.2 to 200 Hz; check the diameter in mm, or the turns per turn")
		}
	}
}
