package measure

// Heading names a measure for people: the title of its table and what it tells.
type Heading struct {
	Name  string // of the JSON contract
	Title string
	About string // one line: what it is, and over what
}

// Headings lists the measures in the order in which reports give them.
func Headings() []Heading {
	return []Heading{
		{"identity", "Track heard on the channel", "by the identity tones of a record programme"},
		{"polarity", "Polarity", "1 upright, -1 reversed"},
		{"level", "Level", "r.m.s. of each tone"},
		{"response", "Response", "level against the reference tone, stated levels allowed for"},
		{"speed_error", "Speed error", "mean speed against nominal"},
		{"drift", "Drift", "slow change of the mean speed"},
		{"wow_flutter_2sigma", "Wow and flutter, 2-sigma", "weighted deviation that is exceeded 5 % of the time"},
		{"wow_flutter_quasi_peak", "Wow and flutter, quasi-peak", "weighted, with the published indicating dynamics"},
		{"wow_flutter_rms", "Wow and flutter, r.m.s.", "weighted"},
		{"flutter_unweighted_rms", "Wow and flutter, unweighted r.m.s.", "over the whole band"},
		{"wow_rms", "Wow, r.m.s.", "the slow part"},
		{"flutter_rms", "Flutter, r.m.s.", "the fast part"},
		{"flutter_track_rms", "Flutter of the track alone, r.m.s.", "what is not common to all tracks"},
		{"flutter_line", "Lines of the speed's spectrum", "peak deviation at one rate"},
		{"azimuth", "Azimuth", "angle between two tracks"},
		{"azimuth_line", "Azimuth of the head, all pairs together", "one line through all tracks"},
		{"delay", "Delay between tracks", "the second track behind the first"},
		{"noise", "Noise", "r.m.s., unweighted"},
		{"noise_a", "Noise, A-weighted", "r.m.s."},
		{"noise_468", "Noise, 468-weighted", "quasi-peak"},
		{"noise_floor", "Noise re full scale", "r.m.s., unweighted; tells hiss from quiet on a track without signal"},
		{"hum", "Hum", "mains frequency and its harmonics together"},
		{"hum_line", "Lines of the hum", "one multiple of the mains frequency"},
		{"thd", "Harmonic distortion", "all harmonics over the fundamental"},
		{"harmonic_2", "Second harmonic", "over the fundamental"},
		{"harmonic_3", "Third harmonic", "over the fundamental"},
		{"mol_3pct", "Level at 3 % third harmonic", "maximum output level"},
		{"sol", "Saturation level", "largest output of the treble steps"},
		{"intermodulation_2", "Intermodulation of second order", "of two tones"},
		{"intermodulation", "Intermodulation of third order", "of two tones"},
		{"noise_reduction_left_on", "Noise reduction left on", "level differences measured over stated ones"},
		{"treble_follows_level", "Treble that follows level", "treble over the middle tone, loud against soft"},
		{"crosstalk", "Crosstalk", "of the row's track into the column's"},
		{"overdub_bleed", "Overdub bleed", "of the row's track, while it records, into the column's replay"},
		{"erase_depth", "Erase depth", "what is left of a tone that was recorded over"},
		{"flicker_all_band", "Flicker of all bands alike", "a joint or connector"},
		{"flicker_treble", "Flicker of treble over bass", "contact of tape and head"},
		{"flicker", "Flicker", "unsteadiness of the level"},
		{"flicker_coherence", "Flicker that tracks share", "1: they move together"},
		{"dropouts", "Drop-outs", "by a stated rule"},
	}
}

// HeadingOf is the heading of a measure; one that is not listed is its own title.
func HeadingOf(name string) Heading {
	for _, h := range Headings() {
		if h.Name == name {
			return h
		}
	}
	return Heading{Name: name, Title: name}
}
