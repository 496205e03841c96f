package machine

// kindDefaults are priors and fault modes by stage kind, for stages whose
// definition gives none.
//
// Where the figures come from: every prior, weight, range and minute here is
// [estimate] common practice, no source, to be overwritten by a shop's own
// counts. They were reached by spreading estimates of how many untouched
// cassette multitracks show a symptom over the causes and the parts of that
// kind: one dull track on 30 % of machines, 35 % of them dirt, over six tracks,
// gives about 0.018 a head; with wear, contact and height about 0.035. One weak
// track on 20 % (coupling capacitor 30 %) and one dead on 20 % (15 %) gives 0.09
// a machine, over some twelve such capacitors 0.008. Crackle on a control on
// 85 % of machines, 80 % oxide, over some 60 pots and faders gives 0.02 to 0.04
// each.
//
// The shape of the effects is physics: spacing takes treble 54.6 dB per
// wavelength and hardly touches the reference tone, so dirt that costs 25 dB at
// 10 kHz costs under 1 dB at 315 Hz; a coupling capacitor that has lost its
// capacitance forms a first-order high-pass, so bass goes first; an azimuth
// error is common to all tracks of a head; a 2:1 expander doubles each level
// error that reaches it.
var kindDefaults = map[string]kindDefault{
	"head": {0.035, []FaultMode{
		mechanical(dull(0.40, "dirt on the head face", span(-25, -4), span(-1.5, 0), "clean the head face with isopropanol on a swab, dry, measure again", 5)),
		cleaned(0.2, looks(mechanical(dull(0.22, "poor tape contact (pad, shell, pressure, zenith)", span(-20, -3), span(-1.5, 0), "try another shell or reel, press lightly while a 10 kHz tone plays, then correct the contact", 15)), "spacing", "unsteady_contact")),
		cleaned(0, looks(mechanical(dull(0.18, "worn face or opened gap", span(-12, -3), span(-3, 1), "inspect under magnification; relap or replace the head", 60)), "gap_wear")),
		cleaned(0, looks(mechanical(weak(0.08, "head height: track partly off the gap", span(-6, -1), "compare the edge tracks, then correct the height", 30)), "height", "gain")),
		{Mode: Noisy, Cause: "open winding or head lead", Weight: 0.06, LevelDB: gone, NoiseDB: span(10, 30), Cure: "measure the winding against its siblings; resolder the lead or replace the head", CureMin: 30},
		looks(dead(0.03, "shorted winding", "measure the winding against its siblings; replace the head", 60), "gain"),
		{Mode: Intermittent, Cause: "cracked joint at the head lead", Weight: 0.03, Presence: 0.5, LevelDB: gone, NoiseDB: span(0, 30), Cure: "flex the lead lightly, resolder", CureMin: 20, Signature: []string{"unsteady_joint", "head_open"}},
	}},
	"erase-head": {0.010, []FaultMode{
		mechanical(dull(0.35, "dirt on the erase head", span(-25, -4), span(-3, 0), "clean the erase head", 5)),
		weak(0.25, "erase drive or winding weak", span(-12, -2), "read the erase current against its siblings", 20),
		cleaned(0, mechanical(weak(0.20, "erase head height", span(-6, -1), "compare edge tracks, correct the height", 30))),
		dead(0.20, "open winding or lead", "measure the winding against its siblings; resolder or replace", 30),
	}},
	"alignment": {0.05, []FaultMode{
		cleaned(0, looks(mechanical(dull(0.50, "azimuth off", span(-8, -0.5), span(-0.3, 0), "set azimuth by inter-track delay, low tone first", 10)), "azimuth")),
		looks(mechanical(dull(0.28, "dirt or wear common to all tracks", span(-20, -2), span(-1, 0), "clean the whole tape path, measure again", 10)), "spacing", "gap_wear"),
		cleaned(0.1, looks(mechanical(dull(0.22, "zenith or guiding: contact grows worse across the head", span(-20, -2), span(-1, 0), "press one edge of the tape or shell, then the other, while a 10 kHz tone plays; correct zenith or guides", 25)), "spacing_ramp")),
	}},
	"coupling-capacitor": {0.008, []FaultMode{
		{Mode: Weak, Cause: "dried out: capacitance lost", Weight: 0.50, LevelDB: span(-10, -0.5), BassDB: span(-20, -4), Cure: "replace the capacitor, mind the polarity", CureMin: 15},
		{Mode: Weak, Cause: "dried out: series resistance high", Weight: 0.20, LevelDB: span(-12, -2), Cure: "replace the capacitor, mind the polarity", CureMin: 15},
		noisy(0.12, "leaky: direct current passes", span(6, 25), "replace the capacitor; check for d.c. after it", 15),
		dead(0.10, "open", "replace the capacitor", 15),
		intermittent(0.08, "cracked joint at the capacitor", 0.5, "resolder, then tap", 10),
	}},
	"electrolytic": {0.010, []FaultMode{
		noisy(0.60, "dried out: ripple passes", span(6, 30), "replace the capacitor, mind the polarity", 20),
		weak(0.30, "dried out: rail sags", span(-6, -1), "replace the capacitor, mind the polarity", 20),
		dead(0.10, "shorted", "find the hot part, replace it and what it took along", 30),
	}},
	"amplifier": {0.006, []FaultMode{
		dead(0.35, "amplifier dead", "check its rails and d.c. levels, replace it", 20),
		weak(0.20, "gain low", span(-20, -2), "check the feedback parts, then replace it", 20),
		noisy(0.30, "amplifier noisy", hissy, "replace it", 20),
		intermittent(0.15, "cracked joint or failing when warm", 0.4, "tap, warm and cool it; resolder or replace", 20),
	}},
	"equaliser": {0.005, []FaultMode{
		dull(0.55, "treble part lost (capacitor, joint)", span(-12, -3), span(-0.5, 0), "compare with a sibling, replace the part", 15),
		{Mode: Weak, Cause: "bass part changed", Weight: 0.15, BassDB: span(-8, -2), Cure: "compare with a sibling, replace the part", CureMin: 15},
		dead(0.10, "open", "resolder or replace", 15),
		intermittent(0.20, "cracked joint", 0.5, "tap, resolder", 10),
	}},
	"trim": {0.008, []FaultMode{
		weak(0.45, "oxide under the wiper", span(-12, -1), "mark the place, exercise it, put it back, measure", 10),
		weak(0.20, "turned away from its mark", span(-8, -0.5), "set it again by the line-up", 5),
		intermittent(0.20, "wiper contact comes and goes", 0.5, "exercise it, replace it if it returns", 15),
		noisy(0.10, "wiper noisy", span(3, 20), "exercise it, replace it if it returns", 15),
		dead(0.05, "track open", "replace it", 20),
	}},
	"treble-trim": {0.008, []FaultMode{
		dull(0.60, "oxide under the wiper", span(-8, -1), span(-0.5, 0), "mark the place, exercise it, put it back, measure", 10),
		dull(0.20, "turned away from its mark", span(-6, -0.5), span(-0.3, 0), "set it again by the line-up", 5),
		intermittent(0.20, "wiper contact comes and goes", 0.5, "exercise it, replace it if it returns", 15),
	}},
	"relay": {0.015, []FaultMode{
		weak(0.35, "film on the contacts", span(-15, -1), "work it fifty times; replace it if the film returns", 15),
		intermittent(0.40, "contacts come and go", 0.5, "work it, tap it; replace it if it returns", 20),
		dead(0.25, "does not pull in, or contact open", "check coil voltage and polarity; replace it", 25),
	}},
	"switch": {0.018, []FaultMode{
		weak(0.30, "film on the contacts", span(-15, -1), "work it a hundred times, cleaner, then lubricant", 10),
		intermittent(0.50, "oxide: comes back when pressed", 0.5, "work it a hundred times, cleaner, then lubricant", 10),
		noisy(0.10, "crackles", span(3, 20), "clean it", 10),
		dead(0.10, "broken or cracked joint", "resolder or replace it", 25),
	}},
	"fader": {0.040, []FaultMode{
		noisy(0.65, "oxide: crackles when moved", span(3, 25), "exercise it, cleaner fit for faders, keep the damping grease", 10),
		intermittent(0.20, "wiper contact comes and goes", 0.5, "exercise and clean it", 15),
		weak(0.10, "worn track", span(-10, -1), "replace it", 30),
		dead(0.05, "open or cracked joint", "resolder or replace it", 30),
	}},
	"pot": {0.030, []FaultMode{
		noisy(0.70, "oxide: crackles when turned", span(3, 25), "exercise it, then cleaner", 10),
		intermittent(0.18, "wiper contact comes and goes", 0.5, "exercise and clean it", 15),
		weak(0.07, "worn track", span(-10, -1), "replace it", 30),
		dead(0.05, "open or cracked joint", "resolder or replace it", 30),
	}},
	"connector": {0.010, []FaultMode{
		intermittent(0.45, "contact comes and goes", 0.5, "unplug, clean, plug and mark; wiggle to confirm", 10),
		dead(0.35, "contact or crimp open", "look at both sides of this pin, recrimp or resolder", 15),
		weak(0.10, "film on the contact", span(-12, -1), "unplug, clean, plug", 10),
		noisy(0.10, "contact noisy", span(3, 25), "unplug, clean, plug", 10),
	}},
	"ribbon": {0.012, []FaultMode{
		intermittent(0.55, "cable broken at the crease or plug loose", 0.4, "press along the crease; reseat once, replace if it returns", 20),
		dead(0.30, "plug off, reversed or one pin off", "compare the pins on both sides with the definition before power", 15),
		noisy(0.15, "shield or return open", span(3, 25), "check the shield pin from board to board", 15),
	}},
	"compander": {0.006, []FaultMode{
		looks(weak(0.40, "mistracks: level errors doubled", span(-12, -2), "compare in and out at two levels with noise reduction off and on", 20), "gain", "noise_reduction_on"),
		noisy(0.25, "breathes or hisses", hissy, "compare with a sibling, replace the timing capacitor", 30),
		dead(0.20, "dead", "check its rails and switching, replace it", 30),
		intermittent(0.15, "daughter board contact", 0.4, "reseat it, clean the pins", 10),
	}},
	"oscillator": {0.020, []FaultMode{
		dead(0.55, "does not oscillate", "check its supply and the record enable, then transistor and transformer", 30),
		weak(0.30, "amplitude low", span(-10, -1.5), "check its supply, capacitors and load", 30),
		intermittent(0.15, "starts at times", 0.5, "tap and warm; resolder", 20),
	}},
	"transformer": {0.002, []FaultMode{
		dead(0.60, "winding open", "measure the windings against the other output; replace it", 40),
		weak(0.40, "shorted turn", span(-12, -2), "compare unloaded and loaded; replace it", 40),
	}},
	"bias-capacitor": {0.004, []FaultMode{
		weak(0.60, "value low or cracked: bias low", span(-10, -1), "read bias current against the siblings, replace it", 15),
		dead(0.25, "open: no bias", "resolder or replace it", 15),
		intermittent(0.15, "cracked joint", 0.5, "tap, resolder", 10),
	}},
	"trap": {0.004, []FaultMode{
		weak(0.55, "detuned: bias leaks back and the record level sinks", span(-6, -0.5), "tune for least leak with a plastic trimmer", 10),
		dead(0.25, "coil open", "measure it against a sibling, replace it", 20),
		intermittent(0.20, "cracked joint", 0.5, "tap, resolder", 10),
	}},
	"regulator": {0.006, []FaultMode{
		dead(0.40, "no output", "check its input, load and fuse; replace it", 20),
		noisy(0.35, "ripple or hum on the rail", hissy, "replace its capacitors, then the regulator", 20),
		weak(0.10, "rail low", span(-6, -0.5), "check input and load, replace it", 20),
		intermittent(0.15, "hot joint", 0.4, "resolder; watch it warm", 15),
	}},
	"supply": {0.020, []FaultMode{
		dead(0.60, "fuse, adaptor or socket open", "check adaptor, socket joint and fuse in that order", 15),
		noisy(0.30, "hum: reservoir or rectifier", hissy, "replace the reservoir capacitor", 25),
		intermittent(0.10, "socket joint cracked", 0.5, "resolder the socket", 15),
	}},
	"jack": {0.015, []FaultMode{
		intermittent(0.60, "normal contact oxidised: comes and goes", 0.5, "plug and unplug fifty times, cleaner", 10),
		weak(0.15, "film on the normal contact", span(-12, -1), "plug and unplug fifty times, cleaner", 10),
		dead(0.15, "joint cracked or leaf broken", "resolder or replace it", 25),
		noisy(0.10, "crackles", span(3, 25), "clean it", 10),
	}},
	"meter": {0.020, []FaultMode{
		dead(0.55, "driver or lamp dead", "swap the drive with a sibling, replace the part", 30),
		weak(0.35, "reads low", span(-6, -1), "set its trim, then check driver and connector", 15),
		intermittent(0.10, "joint or plug", 0.5, "press, resolder", 15),
	}},
	"logic": {0.006, []FaultMode{
		dead(0.60, "stuck", "check supply and the line's levels in both states", 30),
		intermittent(0.40, "key or mode switch contact", 0.4, "clean the switch, resolder", 20),
	}},
	"sensor": {0.030, []FaultMode{
		mechanical(intermittent(0.60, "dirty", 0.5, "clean it", 10)),
		dead(0.40, "no pulses", "check its supply, magnet or lamp", 25),
	}},
	"motor": {0.015, []FaultMode{
		dead(0.40, "does not turn", "check its supply and driver; replace it", 40),
		noisy(0.35, "brushes or bearing: speed unsteady", span(3, 15), "oil or replace it", 40),
		intermittent(0.25, "stalls at times", 0.3, "check leads, then replace it", 40),
	}},
	"servo": {0.020, []FaultMode{
		weak(0.60, "speed off", span(-1, 0), "set its trim after belts and rubber are right", 10),
		dead(0.25, "motor runs away or stands", "check its supply, sensor and driver", 40),
		intermittent(0.15, "loses lock", 0.3, "clean its sensor, resolder", 30),
	}},
	"belt": {0.150, []FaultMode{
		cleaned(0, mechanical(dead(0.40, "broken, melted or off", "clean every residue from the pulleys, fit a new belt", 30))),
		cleaned(0, mechanical(weak(0.60, "stretched or hard: slips", span(-1, 0), "fit a new belt of the right length", 25))),
	}},
	"roller": {0.080, []FaultMode{
		cleaned(0.4, mechanical(weak(0.70, "glazed or hard: slips", span(-1, 0), "clean it, replace it if it shines", 20))),
		cleaned(0.5, mechanical(noisy(0.30, "bearing stiff: wow", span(1, 10), "clean and oil the bearing", 20))),
	}},
	"brake": {0.060, []FaultMode{
		cleaned(0, mechanical(weak(0.80, "tension or brake off", span(-2, 0), "measure with a gauge and set it", 20))),
		cleaned(0.2, mechanical(dead(0.20, "band or solenoid stuck", "free it, clean the band", 30))),
	}},
	"link": {0.002, []FaultMode{
		dead(0.60, "link open", "look at the solder link", 5),
		intermittent(0.40, "cracked joint", 0.5, "resolder", 10),
	}},
}
