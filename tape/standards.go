package tape

import "math"

// Standard is one equalisation that standards or practice give for a medium and speed.
type Standard struct {
	ID           string       // short name of our own, unique
	Name         string       // who set it and when, in words
	Medium       string       // "cassette" (3.81 mm in a shell) or "open-reel"
	SpeedCmS     float64      // exact nominal speed in cm/s, such as 9.525
	Equalisation Equalisation // of the recorded flux; the replay chain has the opposite
	State        string       // "current", "historical", or "practice" where no standard exists
	Source       string       // where the figures are from
}

// Where the figures of standards are from.
const (
	iasa   = "IASA TC-04, clause 5.4.10, Table 1"
	notes  = "practice notes; IEC 60094-1:1981 clause 15 from memory"
	memory = "from memory"
)

// standards is the table of IASA TC-04, clause 5.4.10, and what practice adds, by
// medium and rising speed, the current ones of each speed first.
var standards = []Standard{
	{"cassette_4.76_type1", "IEC 60094-1 type I (ferric)", "cassette", 4.7625, Equalisation{HighUs: 120, LowUs: 3180}, "current", notes},
	{"cassette_4.76_type2_4", "IEC 60094-1 types II, III and IV", "cassette", 4.7625, Equalisation{HighUs: 70, LowUs: 3180}, "current", notes},
	{"cassette_4.76_old", "DIN/IEC, about 1968 to 1974", "cassette", 4.7625, Equalisation{HighUs: 120, LowUs: 1590}, "historical", memory},
	{"cassette_9.53_120", "no standard: practice of portable multitrack machines", "cassette", 9.525, Equalisation{HighUs: 120, LowUs: 3180}, "practice", memory},
	{"cassette_9.53_70", "no standard: practice of portable multitrack machines", "cassette", 9.525, Equalisation{HighUs: 70, LowUs: 3180}, "practice", memory},
	{"reel_4.76", "IEC, DIN", "open-reel", 4.7625, Equalisation{HighUs: 120, LowUs: 3180}, "current", memory},
	{"reel_9.53_nab_iec2", "IEC2, NAB, RIAA (1965/1968)", "open-reel", 9.525, Equalisation{HighUs: 90, LowUs: 3180}, "current", iasa},
	{"reel_9.53_din62", "DIN 1962", "open-reel", 9.525, Equalisation{HighUs: 120, LowUs: 3180}, "historical", iasa},
	{"reel_9.53_iec62", "IEC 1962 to 1968", "open-reel", 9.525, Equalisation{HighUs: 140, LowUs: 3180}, "historical", iasa},
	{"reel_9.53_din55", "DIN 1955 to 1961", "open-reel", 9.525, Equalisation{HighUs: 200}, "historical", iasa},
	{"reel_9.53_us53", "US practice 1953 to 1958", "open-reel", 9.525, Equalisation{HighUs: 200, LowUs: 3180}, "historical", iasa},
	{"reel_9.53_eia67", "EIA proposal 1967", "open-reel", 9.525, Equalisation{HighUs: 100}, "historical", iasa},
	{"reel_19.05_iec1", "IEC1, CCIR, DIN studio (1965/1968)", "open-reel", 19.05, Equalisation{HighUs: 70}, "current", iasa},
	{"reel_19.05_nab_iec2", "IEC2, NAB, DIN home, EIA, RIAA (1963 to 1968)", "open-reel", 19.05, Equalisation{HighUs: 50, LowUs: 3180}, "current", iasa},
	{"reel_19.05_eia67", "EIA proposal 1967", "open-reel", 19.05, Equalisation{HighUs: 50}, "historical", iasa},
	{"reel_19.05_ccir_old", "CCIR, IEC, DIN, BS up to 1965/1968", "open-reel", 19.05, Equalisation{HighUs: 100}, "historical", iasa},
	{"reel_38.1_iec1", "IEC1, CCIR, DIN, BS (1953/1968)", "open-reel", 38.1, Equalisation{HighUs: 35}, "current", iasa},
	{"reel_38.1_nab_iec2", "NAB, EIA (1953/1963)", "open-reel", 38.1, Equalisation{HighUs: 50, LowUs: 3180}, "current", iasa},
	{"reel_76.2_aes_iec2", "IEC2, AES (1981)", "open-reel", 76.2, Equalisation{HighUs: 17.5}, "current", iasa},
	{"reel_76.2_ccir", "CCIR, IEC1, DIN 1953 to 1968", "open-reel", 76.2, Equalisation{HighUs: 35}, "historical", iasa},
}

// Standards returns every known standard, by medium and rising speed, in a slice of
// the caller's own. Time constants of 0 are absent ones.
func Standards() []Standard { return append([]Standard(nil), standards...) }

// StandardsAt returns the standards for a speed, which may be off the nominal one by up
// to 1 % because labels print 4.75, 4.76 and 4.8 for the same, and a medium, "cassette"
// or "open-reel"; an empty medium takes both. It returns nil where there are none.
func StandardsAt(speedCmS float64, medium string) []Standard {
	var found []Standard
	for _, s := range standards {
		if (medium == "" || s.Medium == medium) && math.Abs(speedCmS/s.SpeedCmS-1) <= 0.01 {
			found = append(found, s)
		}
	}
	return found
}
