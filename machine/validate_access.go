package machine

import (
	"fmt"
	"slices"
	"strings"
)

// testPoints checks where instruments meet the paths.
func (c *checker) testPoints() {
	d := c.d
	unique(c, "test_points", d.TestPoints, func(t *TestPoint) string { return t.ID })
	for i := range d.TestPoints {
		t, p := &d.TestPoints[i], fmt.Sprintf("test_points[%d].", i)
		c.board(p+"board", t.Board)
		if c.each(p+"each", t.Each) {
			c.pattern(p+"part", t.Part, t.Each, false)
			c.pointPath(p, t)
			c.pointPin(p, t)
		}
		c.quantity(p+"expect.", t.Expect)
		c.minutes(p+"minutes", t.Minutes)
		c.cautions(p+"cautions", t.Cautions)
		if t.ToneHz != 0 {
			c.within(p+"tone_hz", t.ToneHz, 0, 1e6, "Hz")
		}
	}
}

func (c *checker) pointPath(p string, t *TestPoint) {
	if t.Function == "" {
		if t.After != "" {
			c.bad(p+"after", "a stage is named but no function", "add the function whose path is read here")
		}
		return
	}
	if _, ok := c.ix.functions[t.Function]; !ok {
		c.bad(p+"function", fmt.Sprintf("function %s is not defined", t.Function), didYouMean(t.Function, c.d.functionIDs()))
		return
	}
	if _, ok := c.ix.stages[t.After]; !ok {
		known := ids(c.d.Stages, func(s *Stage) string { return s.ID })
		problem := fmt.Sprintf("stage %s is not defined", t.After)
		if t.After == "" {
			problem = "nothing says after which stage the point lies"
		}
		c.bad(p+"after", problem, didYouMean(t.After, known))
		return
	}
	if !c.pathsGood {
		return
	}
	c.d.index = c.ix
	defer func() { c.d.index = nil }()
	for _, k := range c.d.ReplicaKeys(t.Each) {
		if _, err := c.d.TestPointPath(t, k); err != nil {
			c.bad(p+"after", err.Error(), "name a stage on the path of "+t.Function+", and the set (each) that tells such points apart")
			return
		}
	}
}

// pointPin checks that a point on a connector names a pin that is there.
func (c *checker) pointPin(p string, t *TestPoint) {
	if t.Connector == "" {
		if t.Pin != "" {
			c.bad(p+"pin", "a pin is named but no connector", "add the connector")
		}
		return
	}
	x, ok := c.ix.connectors[t.Connector]
	if !ok {
		c.bad(p+"connector", fmt.Sprintf("connector %s is not defined", t.Connector),
			didYouMean(t.Connector, ids(c.d.Connectors, func(x *Connector) string { return x.ID })))
		return
	}
	side := x.A
	if x.B.Board == t.Board {
		side = x.B
	} else if x.A.Board != t.Board {
		c.bad(p+"board", fmt.Sprintf("connector %s has no side on board %s", x.ID, t.Board), fmt.Sprintf("it joins %s and %s", x.A.Board, x.B.Board))
		return
	}
	for _, k := range c.d.ReplicaKeys(t.Each) {
		if pin := expand(t.Pin, t.Each, k); !slices.Contains(side.Pins, pin) {
			c.bad(p+"pin", fmt.Sprintf("no pin %q on the %s side of %s", pin, side.Board, x.ID), didYouMean(pin, side.Pins))
			return
		}
	}
}

// quantity checks an expected value; that there is one at all is for Lint.
func (c *checker) quantity(p string, q Quantity) {
	if _, _, ok := baseUnit(q.Unit); !ok {
		c.bad(p+"unit", fmt.Sprintf("unit %q is not known", q.Unit), didYouMean(q.Unit, unitNames()))
	}
	given := 0
	for _, there := range []bool{q.Value != 0, q.Low != 0 || q.High != 0, q.Max != 0} {
		if there {
			given++
		}
	}
	if given > 1 {
		c.bad(strings.TrimSuffix(p, "."), "more than one of value, low with high, and max is given", "keep the one that the circuit diagram gives")
	}
	if (q.Low != 0 || q.High != 0) && !(q.Low > 0 && q.Low < q.High) {
		c.bad(p+"low", fmt.Sprintf("the range %g to %g is no range", q.Low, q.High), "both ends above 0, the lower one first")
	}
	if q.SpreadDB != 0 && q.SpreadPercent != 0 {
		c.bad(p+"spread_percent", "the spread is given twice", "in dB or in percent, not both")
	}
	c.within(p+"spread_db", q.SpreadDB, 0, 40, "dB")
	c.within(p+"spread_percent", q.SpreadPercent, 0, 300, "%")
	c.within(p+"max", q.Max, 0, 1e9, q.Unit)
}

func (c *checker) trims() {
	d := c.d
	unique(c, "trims", d.Trims, func(t *Trim) string { return t.ID })
	for i := range d.Trims {
		t, p := &d.Trims[i], fmt.Sprintf("trims[%d].", i)
		c.board(p+"board", t.Board)
		c.opening(p+"opening", t.Opening)
		if c.each(p+"each", t.Each) {
			c.pattern(p+"part", t.Part, t.Each, true)
		}
		if t.Sets != "" {
			c.oneOf(p+"sets", t.Sets, Measures()...)
		}
		if t.Sign < -1 || t.Sign > 1 {
			c.bad(p+"sign", fmt.Sprintf("a sign of %d", t.Sign), "1 if clockwise raises, -1 if it lowers, 0 for a peak or a dip")
		}
		if t.At != "" && c.ix.functions[t.At] == nil && c.ix.points[t.At] == nil {
			known := append(d.functionIDs(), ids(d.TestPoints, func(t *TestPoint) string { return t.ID })...)
			c.bad(p+"at", fmt.Sprintf("%s is neither a function nor a test point", t.At), didYouMean(t.At, known))
		}
		if _, ok := d.Speed(t.SpeedCmS); !ok {
			c.bad(p+"speed_cm_s", fmt.Sprintf("the recorder has no speed of %g cm/s", t.SpeedCmS), "name one of its speeds, or leave it out")
		}
		c.cautions(p+"cautions", t.Cautions)
	}
}

func (c *checker) controls() {
	d := c.d
	unique(c, "controls", d.Controls, func(x *Control) string { return x.ID })
	for i := range d.Controls {
		x, p := &d.Controls[i], fmt.Sprintf("controls[%d].", i)
		c.board(p+"board", x.Board)
		c.text(p+"kind", x.Kind)
		if len(x.Items) > 0 && x.Each != "" {
			c.bad(p+"items", "items and each are both given", "a control repeats over a set or has named items, not both")
		}
		for j, item := range x.Items {
			c.text(fmt.Sprintf("%sitems[%d]", p, j), item)
			if slices.Contains(x.Items[:j], item) {
				c.bad(fmt.Sprintf("%sitems[%d]", p, j), fmt.Sprintf("item %q stands twice", item), "each item of the check sheet needs its own name")
			}
		}
		if c.each(p+"each", x.Each) {
			c.pattern(p+"name", x.Name, x.Each, true)
		}
		if x.Stage != "" && c.ix.stages[x.Stage] == nil {
			c.bad(p+"stage", fmt.Sprintf("stage %s is not defined", x.Stage), didYouMean(x.Stage, ids(d.Stages, func(s *Stage) string { return s.ID })))
		}
		for j, id := range x.Setup {
			if !slices.ContainsFunc(d.Setups, func(s Setup) bool { return s.ID == id }) {
				c.bad(fmt.Sprintf("%ssetup[%d]", p, j), fmt.Sprintf("set-up %s is not defined", id), didYouMean(id, ids(d.Setups, func(s *Setup) string { return s.ID })))
			}
		}
		c.minutes(p+"minutes", x.Minutes)
		c.cautions(p+"cautions", x.Cautions)
	}
}

// setups checks the ways in which the bench is set up while controls are tried.
func (c *checker) setups() {
	unique(c, "setups", c.d.Setups, func(s *Setup) string { return s.ID })
	for i := range c.d.Setups {
		s, p := &c.d.Setups[i], fmt.Sprintf("setups[%d].", i)
		c.text(p+"name", s.Name)
		if c.each(p+"each", s.Each) {
			c.pattern(p+"name", s.Name, s.Each, true)
		}
		c.minutes(p+"minutes", s.Minutes)
		c.cautions(p+"cautions", s.Cautions)
	}
}

// openings checks that the teardown edges form a tree from the closed recorder.
func (c *checker) openings() {
	d := c.d
	unique(c, "openings", d.Openings, func(o *Opening) string { return o.ID })
	for i := range d.Openings {
		o, p := &d.Openings[i], fmt.Sprintf("openings[%d].", i)
		if o.ID == Closed {
			c.bad(p+"id", "closed is the recorder with nothing opened", "give the opening another name")
			continue
		}
		c.each(p+"each", o.Each)
		c.opening(p+"from", o.From)
		c.minutes(p+"down_minutes", o.DownMin)
		c.minutes(p+"up_minutes", o.UpMin)
		c.minutes(p+"after_minutes", o.AfterMin)
		c.oneOf(p+"case", o.Case, "closed", "propped", "open")
		c.cautions(p+"cautions", o.Cautions)
		for j, id := range o.Disconnects {
			if c.ix.connectors[id] == nil {
				c.bad(fmt.Sprintf("%sdisconnects[%d]", p, j), fmt.Sprintf("connector %s is not defined", id),
					didYouMean(id, ids(d.Connectors, func(x *Connector) string { return x.ID })))
			}
		}
		c.rooted(p, o)
	}
}

// rooted checks that an opening can be reached from the closed recorder.
func (c *checker) rooted(p string, o *Opening) {
	at, seen := o, []string{o.ID}
	for at.From != Closed {
		next, ok := c.ix.openings[at.From]
		if !ok {
			return // reported as undefined where it stands
		}
		if slices.Contains(seen, next.ID) {
			c.bad(p+"from", "going back from "+o.ID+" runs in a circle: "+strings.Join(append(seen, next.ID), " ← "), "one of them must start from closed")
			return
		}
		at, seen = next, append(seen, next.ID)
	}
}

// exceptions checks that each names a part that exists.
func (c *checker) exceptions() {
	if len(c.d.Exceptions) == 0 {
		return
	}
	parts := c.d.partList()
	for i, x := range c.d.Exceptions {
		p := fmt.Sprintf("exceptions[%d].", i)
		if !slices.Contains(parts, x.Part) {
			hint := "write the designator of one replica of a stage, trim or test point"
			if n, ok := nearest(x.Part, parts); ok {
				hint = "did you mean " + n + "?"
			}
			c.bad(p+"part", fmt.Sprintf("no part is called %s", x.Part), hint)
		}
		c.text(p+"differs", x.Differs)
		if x.ExpectFactor < 0 || x.ExpectFactor > 100 {
			c.bad(p+"expect_factor", fmt.Sprintf("a factor of %g", x.ExpectFactor), "what the expected value is multiplied by, e.g. 1.05; leave it out if unknown")
		}
	}
}

// partList is every designator of every replica of stages, trims and points.
func (d *Definition) partList() []string {
	var out []string
	add := func(pattern, each string) {
		for _, k := range d.ReplicaKeys(each) {
			out = append(out, partNames(expand(pattern, each, k))...)
		}
	}
	for _, s := range d.Stages {
		add(s.Part, s.Each)
	}
	for _, t := range d.Trims {
		add(t.Part, t.Each)
	}
	for _, t := range d.TestPoints {
		add(t.Part, t.Each)
	}
	return out
}
