package unit

// Hertz is a frequency.
type Hertz float64

// Decibel is a level or a difference of levels; the identifier or the doc
// comment that carries it says what 0 dB is.
type Decibel float64

// Metre is a length: wavelength, gap, spacing, track width.
type Metre float64

// Second is a duration or a delay.
type Second float64

// MetrePerSecond is a tape speed.
type MetrePerSecond float64

// NanoweberPerMetre is a recorded short-circuit fluxivity unless a convention
// beside it says otherwise.
type NanoweberPerMetre float64

// Radian is an angle.
type Radian float64

// Percent is a relative deviation in parts per hundred.
type Percent float64

// Minutes is a duration of bench work; costs of checks, openings and repairs
// are stated in it.
type Minutes float64
