package tape

import "headstack/unit"

// ReferenceFluxivity is one level that test tapes and machines are referred to.
type ReferenceFluxivity struct {
	Level  unit.NanoweberPerMetre // as printed, by the convention that Use names or implies
	Use    string                 // where it is met, in words
	Source string                 // where the figure is from
}

// references are the levels met in the trade, rising. A level without its method is
// uncertain by about 1 dB; see [Convention].
var references = []ReferenceFluxivity{
	{160, "early domestic reference (meter zero of many cassette machines)", "practice note"},
	{180, "early US level by older calibrations", "from memory"},
	{185, "US operating level of the 1960s, by the direct method (700 Hz tapes)", "level lists"},
	{200, "cassette noise-reduction reference by the direct (ANSI) method, 400 Hz; also a US level", "practice notes"},
	{218, "the same 200 nWb/m flux stated by the older transfer-to-dc (DIN) calibration", "from memory"},
	{220, "as 218, rounded in practice notes", "practice note"},
	{225, "250 nWb/m of the old DIN calibration measured by the direct method", "computed here"},
	{250, "IEC/DIN reference for 4.76 and 9.53 cm/s (315 Hz); US elevated level", "McKnight et al. 1998; level lists"},
	{255, "Chinese broadcast recorder standard GB/T 5440-1985, working level at 1 kHz", "standard, translated text"},
	{257, "a consumer open-reel operating level", "level list"},
	{260, "trade: +3 dB over 185", "from memory; exact 261.3 computed here"},
	{288, "320 nWb/m of the old DIN calibration measured by the direct method", "McKnight et al. 1998"},
	{290, "as 288, rounded", "from memory"},
	{320, "IEC/DIN reference for 19.05 and 38.1 cm/s (1 kHz), mono or full track", "McKnight et al. 1998; level lists"},
	{355, "trade: +5 over 200; equals 320 by the direct method restated on the old DIN calibration", "from memory; 320/0.9 = 355.6 computed here"},
	{370, "trade: +6 dB over 185", "from memory; exact 369.1 computed here"},
	{400, "trade: +6 dB over 200", "from memory"},
	{500, "modern high-output level; NAB +8", "level list"},
	{510, "DIN/IEC reference for stereo with wide separation, 38.1 cm/s", "level list"},
	{514, "as 510 (the two figures are both printed)", "level list"},
	{520, "trade: +9 dB over 185", "from memory; exact 521.4 computed here"},
	{1000, "usual full-modulation order of studio tapes", "history article gives 1000 to 1040"},
}

// ReferenceFluxivities returns the reference levels met in the trade, rising, in a
// slice of the caller's own.
func ReferenceFluxivities() []ReferenceFluxivity {
	return append([]ReferenceFluxivity(nil), references...)
}
