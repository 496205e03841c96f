package bias

import (
	"fmt"
	"math"

	"headstack/unit"
)

// usual is one row of the published table: the customary fall of 10 kHz, recorded 20 dB
// below reference, past its peak.
type usual struct {
	speedCmS, gapUm, lo, hi, middle float64
}

// usualOverbias: trade practice and data sheets of tape. Re-read: 3 dB at 38 cm/s and a
// record gap of 12.7 µm, and that the amount depends on gap and speed; every other
// figure is from memory. Sources disagree by 0.5 dB for the same speed and gap.
var usualOverbias = []usual{
	{76.2, 6.3, 1.25, 1.75, 1.5},
	{38.1, 6.3, 3.0, 3.5, 3.0},
	{19.05, 6.3, 6.0, 6.5, 6.0},
	{76.2, 12.7, 1.25, 1.5, 1.5},
	{38.1, 12.7, 2.5, 3.0, 3.0},
	{19.05, 12.7, 5.0, 5.5, 5.0},
	{76.2, 25, 1.0, 1.25, 1.0},
	{38.1, 25, 2.0, 2.5, 2.0},
	{19.05, 25, 4.0, 4.5, 4.0},
}

// disagreement is by how much sources differ for the same speed and gap, dB.
const disagreement = 0.5

// Overbias is the customary aim at an open-reel speed: the fall of 10 kHz past its peak
// for the record head's gap, between the table's gaps by the logarithm of the gap; gap
// 0: not known, and all gaps of the table are allowed for. At speeds that the table does
// not have, those of a cassette among them, ok is false: see [CassetteAim].
func Overbias(speedCmS float64, gap unit.Metre) (aim Aim, ok bool) {
	um := float64(gap) * 1e6
	var rows []usual
	for _, u := range usualOverbias {
		if math.Abs(speedCmS/u.speedCmS-1) < 0.02 {
			rows = append(rows, u)
		}
	}
	if len(rows) == 0 || !(um >= 0) {
		return Aim{}, false
	}
	aim = Aim{Recipe: TrebleFall, Source: fmt.Sprintf("customary fall of 10 kHz at %g cm/s by record gap, trade practice and data sheets; the tape's own figure comes first", rows[0].speedCmS)}
	if um == 0 {
		aim.FallDB, aim.LoDB, aim.HiDB = rows[1].middle, rows[2].lo, rows[0].hi
		aim.Warnings = []string{"the record head's gap is not known: the usual middle gap of 12.7 µm is taken, and the range holds gaps from 6.3 to 25 µm"}
		return aim, true
	}
	if um < rows[0].gapUm || um > rows[2].gapUm {
		aim.Warnings = []string{fmt.Sprintf("a record gap of %.1f µm lies outside the table, 6.3 to 25 µm: its nearest row is taken", um)}
	}
	um = math.Min(math.Max(um, rows[0].gapUm), rows[2].gapUm)
	i := 0
	if um > rows[1].gapUm {
		i = 1
	}
	t := math.Log(um/rows[i].gapUm) / math.Log(rows[i+1].gapUm/rows[i].gapUm)
	mix := func(a, b float64) float64 { return a + t*(b-a) }
	a, b := rows[i], rows[i+1]
	aim.FallDB = mix(a.middle, b.middle)
	aim.LoDB = math.Min(mix(a.lo, b.lo), aim.FallDB-disagreement)
	aim.HiDB = math.Max(mix(a.hi, b.hi), aim.FallDB+disagreement)
	return aim, true
}

// TapeAim is the fall that the tape's own data ask for, past the peak of 10 kHz. tape
// names it.
func TapeAim(fallDB float64, tape string) Aim {
	return Aim{Recipe: TrebleFall, FallDB: fallDB, LoDB: fallDB - disagreement/2, HiDB: fallDB + disagreement/2, Source: "data of " + tape}
}

// CassetteAim is the recipe of cassette machines: treble and low tone come back alike,
// both recorded 20 dB below reference, with the record treble trim in its middle. Range
// ±0.5 dB. Common practice, no source.
func CassetteAim() Aim {
	return Aim{Recipe: Flat, LoDB: -0.5, HiDB: 0.5, Source: "cassette practice: treble and low tone alike at 20 dB below reference, record treble in its middle; common practice, no source",
		Warnings: []string{"other cassette practice sets 6.3 kHz at 4.76 cm/s past its peak, by 0.5 to 1.5 dB or by 1.5 to 3 dB: sources disagree; distortion of the low tone decides"}}
}

// LowToneAim is the second recipe of open reel: past the peak of 1 kHz by about 1 dB,
// 0.5 to 1.5 dB. Trade articles; re-read that it is in use, its range from memory.
func LowToneAim() Aim {
	return Aim{Recipe: LowFall, FallDB: 1, LoDB: 0.5, HiDB: 1.5, Source: "1 kHz past its peak by about 1 dB, trade articles"}
}

// UsualAim is what is aimed at where nobody says otherwise: the table where it has the
// speed, else the recipe of cassettes.
func UsualAim(speedCmS float64, gap unit.Metre) Aim {
	if a, ok := Overbias(speedCmS, gap); ok {
		return a
	}
	return CassetteAim()
}

// TrebleHz is the treble tone of a staircase: 10 kHz from 9 cm/s on, else 6.3 kHz, as
// the standard programme has it.
func TrebleHz(speedCmS float64) float64 {
	if speedCmS < 9 {
		return 6300
	}
	return 10000
}
