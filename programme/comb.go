package programme

// combTone is one tone of the comb with the phase that keeps the peaks of all low.
type combTone struct{ hz, phaseDeg float64 }

// combTones lie within 4 % of the third-octave mid-band frequencies of ISO 266
// (exactly 1000·10^(n/10) Hz, IEC 61260-1), on multiples of 0.5 Hz, so that the whole
// repeats every 2 s. They are moved so that no second to fifth harmonic of one falls
// within 2.5 Hz of another, and none within 2 Hz of a harmonic of 50 or 60 Hz below
// 650 Hz: a machine that distorts or hums must not raise a response.
//
// The phases are the best of 30 starts of 150 rounds of clipping and going back to
// equal amplitudes (the method of Van der Ouderaa, Schoukens and Renneboog, IEEE
// Trans. Instrum. Meas. 37(1), 1988): the peak of all 28 at equal levels is 3.94 times
// their r.m.s., where phases by chance give about 4.75.
var combTones = []combTone{
	{31.5, 183}, {40, 79}, {52, 137}, {65.5, 136}, {77.5, 52}, {98, 288}, {123.5, 60},
	{162.5, 173}, {202.5, 139}, {252, 42}, {316, 302}, {398, 167}, {498, 293}, {629.5, 170},
	{793.5, 51}, {1000, 275}, {1256.5, 159}, {1584.5, 181}, {1995.5, 168}, {2510.5, 274},
	{3162.5, 92}, {3981, 76}, {5012, 357}, {6309.5, 286}, {7943.5, 213}, {10000, 293},
	{12589.5, 109}, {15849, 63},
}

// Levels of the comb re reference level: low enough that all together stay near
// reference level, and that treble does not saturate. Common practice, no source.
const (
	combDB       = -20.0
	combTrebleDB = -24.0 // above combTrebleHz below fastSpeed
	combTrebleHz = 6500.0
	combSlowHz   = 40.0 // lowest below fastSpeed
)

func (b *builder) comb() []Sine {
	slow := b.p.SpeedCmS < fastSpeed
	var list []Sine
	for _, t := range combTones {
		if !b.plays(t.hz) || slow && t.hz < combSlowHz {
			continue
		}
		s := Sine{Hz: t.hz, LevelDB: combDB, PhaseDeg: t.phaseDeg}
		if slow && t.hz > combTrebleHz {
			s.LevelDB = combTrebleDB
		}
		list = append(list, s)
	}
	return list
}
