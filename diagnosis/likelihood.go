package diagnosis

import "math"

// How far observations are trusted. The figures are practice estimates of a
// repair bench (common practice, no source), to be replaced by a shop's own
// counts.
const (
	wrongResult  = 0.03 // a figure of a capture: channel or track mixed up
	spotRangeDB  = 130  // a wrong spot shows anything from −90 to +40 dB
	siblingSDDB  = 0.45 // good siblings, one meter, one spread-free circuit
	otherTrackDB = 1.0  // what another track's point shows instead
	floorDB      = -50  // what is left where a stage is dead, or a lead hangs open
	floorSDDB    = 12
	zeroDB       = -80 // a reading of 0 is entered as this
	signlessDB   = -35 // below it a steady voltage is what is left of none, with either sign
	// readingTails is the degrees of freedom of a right reading about its true value.
	// Spreads are estimates and benches differ: few degrees let a good reading lie far
	// out now and then without a part being blamed for it.
	readingTails = 4
)

// readingModel is how one value came about: right about what arrives, or wrong in
// one of several ways. Values are in dB relative to what is expected; any other
// logarithm does as well.
type readingModel struct {
	y float64 // the value: of several repeats in one probe setting their mean
	// others are further values of the setting, each as likely as y, where its repeats
	// contradict each other.
	others []float64
	noise  float64 // standard deviation of y about the one value of its probe setting
	sd     float64 // scale of that value, when right, about the true one
	nu     float64 // degrees of freedom of that spread; 0: it is normal
	// opposite says that the value has the other sign than expected.
	opposite bool
	ways     []wrongWay
	// droop, above 0, is the part of the offset, in dB below, from which it is the
	// meter's and not the point's: the value then misleads as an absolute one.
	droop float64
}

// wrongWay is one way in which a reading goes wrong, and what it then shows.
type wrongWay struct {
	state   int     // the state of the observation that it counts to
	p       float64 // prior probability
	shows   shows
	density float64 // of anything: per dB
	db, sd  float64 // of the others: by how much it is off, and how sharply
	// opposite says that it shows the other sign than expected.
	opposite bool
}

// shows says what a wrong reading follows.
type shows int

const (
	anything shows = iota // any value, by density
	through               // what a right reading would show, off by db
	sound                 // what a point with nothing wrong before it shows, off by db, with the same offset
	fixed                 // db
	floor                 // what an open lead picks up
)

// prior is the probability of each state before the value is known.
func (r readingModel) prior() [readStates]float64 {
	var p [readStates]float64
	p[readRight] = 1
	for _, w := range r.ways {
		p[w.state] += w.p
		p[readRight] -= w.p
	}
	return p
}

// like is the likelihood of the reading in its states. A right reading has
// Student's t about offset plus effect, whose scale holds what is left inside the
// bins of the faults on the way. What a dead stage leaves is spread as a normal
// density: it has no way of being as loud as the signal.
func (r readingModel) like(arrive []total, offset float64, out []float64) {
	clear(out)
	r.add(r.y, 1/float64(1+len(r.others)), arrive, offset, out)
	for _, y := range r.others {
		r.add(y, 1/float64(1+len(r.others)), arrive, offset, out)
	}
}

func (r *readingModel) add(y, share float64, arrive []total, offset float64, out []float64) {
	right := share
	for i := range r.ways {
		w := &r.ways[i]
		right -= share * w.p
		if w.shows != anything && w.opposite != r.opposite {
			continue
		}
		d := 0.0
		if w.shows == through {
			d = r.through(y-w.db, w.sd, arrive, offset)
		} else {
			d = r.apart(w, y, offset)
		}
		out[w.state] += share * w.p * d
	}
	if r.opposite {
		return
	}
	state := readRight
	if r.droop > 0 && offset < -r.droop {
		state = readBandwidth
	}
	out[state] += right * r.through(y, 0, arrive, offset)
}

// apart is the density of a wrong value that does not follow what arrives.
func (r *readingModel) apart(w *wrongWay, y, offset float64) float64 {
	switch w.shows {
	case anything:
		return w.density
	case sound:
		return r.spread(y-offset-w.db, math.Hypot(r.sd, w.sd))
	case fixed:
		return r.spread(y-w.db, w.sd)
	case floor:
		return gauss(y-floorDB, math.Hypot(r.noise, floorSDDB))
	}
	return 0
}

// through is the density of a value that follows what arrives, spread by sd beside
// the usual.
func (r *readingModel) through(y, sd float64, arrive []total, offset float64) float64 {
	sum := 0.0
	for i := range arrive {
		t := &arrive[i]
		if mean := t.db[qLevel]; t.dead || mean < floorDB {
			floor, floorSD := t.floor()
			sum += t.p * gauss(y-offset-floor, math.Hypot(math.Hypot(r.sd, sd), floorSD))
		} else {
			sum += t.p * r.spread(y-offset-mean, math.Hypot(r.sd, math.Hypot(sd, t.sd[qLevel])))
		}
	}
	return sum
}

// spread is the density of the mean of the repeats at x from its true value.
func (r *readingModel) spread(x, scale float64) float64 {
	if r.nu == 0 {
		return gauss(x, math.Hypot(scale, r.noise))
	}
	if r.noise == 0 {
		return student(x, scale, r.nu)
	}
	return smeared(x, scale, r.nu, r.noise)
}

// gauss is the normal density of x about 0.
func gauss(x, sd float64) float64 {
	z := x / sd
	if z > 38.6 || z < -38.6 {
		return 0 // the exponential is below the smallest number
	}
	return math.Exp(-z*z/2) / (sd * math.Sqrt(2*math.Pi))
}

// student is the density of x about 0 of Student's t with nu > 0 degrees of freedom
// and the given scale:
//
//	Γ((ν+1)/2) / (Γ(ν/2)·√(νπ)·s) · (1 + (x/s)²/ν)^(-(ν+1)/2)
func student(x, scale, nu float64) float64 {
	z := x / scale
	if nu == 4 { // the usual, without powers
		u := 1 + z*z/4
		return 0.375 / (u * u * math.Sqrt(u) * scale)
	}
	a, _ := math.Lgamma((nu + 1) / 2)
	b, _ := math.Lgamma(nu / 2)
	return math.Exp(a-b-(nu+1)/2*math.Log1p(z*z/nu)) / (scale * math.Sqrt(nu*math.Pi))
}

// floor is what is read where nothing passes: the noise of a sound track, or the hiss of
// an open winding above it, at most as loud as a signal.
func (t total) floor() (db, sd float64) {
	return math.Min(0, floorDB+math.Max(0, t.db[qNoise])), math.Hypot(floorSDDB, t.sd[qNoise])
}
