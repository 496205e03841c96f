package diagnosis

// Provocation is how the recorder was treated while it was observed. Some
// intermittent faults show far more often under one; which, the definition says
// (machine.FaultMode.Shows).
type Provocation string

// The provocations.
const (
	Unprovoked Provocation = ""
	Pressed    Provocation = "pressed" // pressed, flexed, tapped or wiggled where the fault is sought
	Warm       Provocation = "warm"    // after the time in which joints and parts warm up
	Cold       Provocation = "cold"    // cooled, or just switched on
)

// Work is something done to the recorder: it may have cured a fault, whether or
// not anyone knows which.
type Work struct {
	Ref  string // how the record names it: "work 2"
	Seq  int64  // observations with a higher Seq were made after it
	Kind WorkKind
	// Stage and Key name what was worked on. With a swap, With is the replica key that
	// the stage was exchanged with.
	Stage, Key, With string
	// Back says that the swap with the same Stage, Key and With was undone.
	Back bool
}

// WorkKind says what was done.
type WorkKind string

// The kinds of work.
const (
	WorkRepair WorkKind = "repair" // the part replaced, or the cause found and put right
	WorkClean  WorkKind = "clean"  // cleaned, exercised
	WorkReseat WorkKind = "reseat" // unplugged and plugged in again
	WorkReflow WorkKind = "reflow" // joints of a whole area soldered anew
	WorkSwap   WorkKind = "swap"   // exchanged with a sibling; it reseats on the way
)

// Instrument is an entry of the register of instruments.
type Instrument struct {
	ID   string
	Name string
	Kind InstrumentKind
	// BandwidthHz is where it reads 3 dB low (one pole); 0 where nobody knows.
	BandwidthHz float64
	// ACPercent and DCPercent are the errors of reading that it is good for, as 95 %
	// intervals; 0 where nobody knows.
	ACPercent, DCPercent float64
	// InputOhm and InputF are what it loads a test point with, leads included; 0 where
	// nobody knows.
	InputOhm, InputF float64
	LeadsOhm         float64 // resistance of both leads in series
	Autorange        bool
	Leads            string // "x10 probe", "croc clips"
	// Address is where it can be asked, and Dialect how, as package instrument has them;
	// empty where it is read by eye. They say nothing of its readings.
	Address, Dialect string
}

// InstrumentKind is how an instrument makes a number of an alternating voltage.
type InstrumentKind string

// The kinds of instrument.
const (
	TrueRMS InstrumentKind = "true r.m.s."
	Average InstrumentKind = "average" // rectified mean, scaled to the r.m.s. value of a sine
	Scope   InstrumentKind = "scope"
	Counter InstrumentKind = "counter"
)
