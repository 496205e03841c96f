package web

import (
	"strings"

	"headstack/job"
	"headstack/machine"
)

// intakeItem is one thing to look at before a recorder is worked on. It is recorded as a
// note that begins with its name, so that the record reads without this program.
type intakeItem struct {
	Name, Text string
	Power      bool     // of the list for the first power
	Cautions   []string // beside the item
	Entry      *job.Entry
	Found      string // what was written with it
}

// intakePrefix begins the note of an item.
const intakePrefix = "Intake, "

// The lists are common practice, no source; local electrical codes and the maker's own
// instructions hold where they differ.

var looks = []intakeItem{
	{Name: "photographs", Text: "All sides, sockets, door, heads, the serial label, each damaged control, the screw heads: scarred ones say that somebody was in."},
	{Name: "tapes and accessories", Text: "What is in the tray or on the reels is taken out and kept apart, never used for a test. Adaptor, remote, lids, tapes that came with it."},
	{Name: "loose parts", Text: "Tilt it gently both ways and listen: what rattles can lie across a rail."},
	{Name: "rubber and smell", Text: "Belts gone to tar, a roller with a glaze, an idler with a flat: they decide whether a tape may go in at all."},
	{Name: "history", Text: "Stored where and how long, smoker or damp, when it last worked, what changed just before, who opened it, whether trims were turned."},
}

var powerI = []intakeItem{
	{Name: "lead and fuse", Power: true, Text: "Plug and lead whole, the voltage selector set for the local mains, the fuse of the printed rating."},
	{Name: "earth", Power: true, Text: "Earth from plug to bare metal below 0.1 Ω plus the lead.", Cautions: []string{"By somebody equipped and permitted to test it; local codes hold. Without a good earth it is not switched on."}},
	{Name: "insulation", Power: true, Text: "Mains conductors against earth: at least 1 MΩ at 500 V d.c., 250 V where suppressors are fitted, the recorder unplugged.", Cautions: []string{"By somebody equipped and permitted to test it. Let what was charged run down before it is touched."}},
}

var powerII = []intakeItem{
	{Name: "adaptor", Power: true, Text: "Its plate says a.c. or d.c., volts and amperes; measured off load, 10 to 25 % high is normal; polarity as printed beside the socket.", Cautions: []string{"Never open the adaptor. A wrong polarity kills a diode, a regulator or more in a second."}},
	{Name: "insulation of the adaptor", Power: true, Text: "The adaptor alone, unplugged from the recorder: at least 2 MΩ.", Cautions: []string{"By somebody equipped and permitted to test it; never through the secondary into the recorder."}},
}

var powerBoth = []intakeItem{
	{Name: "current limit", Power: true, Text: "First power through a limited bench supply or a lamp in series, a hand near the switch.", Cautions: []string{"Off at once at smoke, smell, or a current that keeps rising. Regulators burn: near them, not on them."}},
	{Name: "rails", Power: true, Text: "Every rail watched for a minute: within 3 % of what the definition says."},
	{Name: "currents", Power: true, Text: "Idle, play, wind and record, written down: the next person compares with them.", Cautions: []string{"A worthless tape first: one that may be lost. The good test tape stays in its box."}},
}

// intakeList is what there is to see to on a recorder of this type, each with the note that
// says it was.
func intakeList(v *job.View) []intakeItem {
	list := append([]intakeItem(nil), looks...)
	if v.Def.Supply.Class == "I" {
		list = append(list, powerI...)
	} else {
		list = append(list, powerII...)
	}
	list = append(list, powerBoth...)
	for i := range list {
		for k := range v.Current {
			e := &v.Current[k]
			if rest, ok := strings.CutPrefix(e.Remark, intakePrefix+list[i].Name); ok && e.Kind == job.KindNote && (rest == "" || rest[0] == ':') {
				list[i].Entry, list[i].Found = e, strings.TrimSpace(strings.TrimPrefix(rest, ":"))
			}
		}
	}
	return list
}

// unseen counts what of the list no note speaks of.
func unseen(list []intakeItem) int {
	n := 0
	for _, it := range list {
		n += btoi(it.Entry == nil)
	}
	return n
}

// firstCautions are those at the head of the page: what must never be done, of the
// definition's own supply.
func firstCautions(d *machine.Definition) []string { return machine.Cautions(d) }
