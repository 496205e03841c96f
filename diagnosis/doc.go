// Package diagnosis says which stages of a recorder are proved good and by
// what, which are suspect, which evidence is better taken again, and what to do
// next so that the expected minutes to a verified fix are least.
//
// [New] prepares an [Engine] for a machine definition; [Engine.Diagnose] turns
// the [Evidence] of a job into a [Verdict], [Engine.Advise] into [Advice]. Values are SI, effects and
// deviations are in dB, times in minutes.
//
// # Model
//
// Every stage instance is good or faulty in one of the modes of its
// definition. A mode whose effect is a range is cut into bins of fixed effect;
// what is left inside a bin widens every observation of it. Faults act on four
// quantities: the level at the reference tone, treble (10 kHz) and bass (63 Hz)
// relative to it, and noise. Along a path effects add in dB; a dead stage leaves
// the floor. Intermittent faults show at each look with the probability that
// the definition states, which is integrated and never fitted.
//
// An observation sees a prefix of a function's path for one replica:
//
//   - A [Reading] is 20·log10(value/expected) = offset + effects + error. The
//     error of a right reading has Student's t with 4 degrees of freedom. The
//     offset is one unknown for all readings of a session, instrument, test
//     point and tone, integrated on a grid: narrow at the point's own tone (the
//     definition's spread and the instrument), 20 dB wide at any other, so that
//     only siblings count there. A reading may be wrong in ways that each have a
//     prior and predict a value ([WrongKind]): the next pin, the mirrored side or
//     a shield (from the connector's pin list: another point's value, a sibling's,
//     nothing), another track (a good sibling's value), a lead open or a.c. for d.c.
//     (the floor), leads exchanged, a range or a decimal point off, an
//     average-responding meter, anything at all. A registered [Instrument] is made
//     up for by its bandwidth; the corner of an ordinary meter is unknown and the
//     same for all siblings. Repeats in one probe setting share one value, about
//     which they scatter: they are hardly more than one reading.
//   - A [Check] has probabilities of each verdict that grow softly with what is
//     audible, and a small rate of wrong verdicts.
//   - A [Measured] capture gives level, one high and one low tone of the
//     response, and noise, compared between tracks. Where it has Shapes, these
//     stand in place of the two tones.
//
// # Shapes
//
// What a loss looks like over frequency, tracks and time tells what a treble or
// bass figure cannot: tape off the head from a corner in the electronics. Each
// fault mode has signatures (machine.FaultMode.Signature): the causes of
// package signature that it shows as, alternatives in equal parts. A capture
// with Shapes is one observation of the stages that all tracks share, and one of
// each track, given which shared shape acts:
//
//	P = (1-w)·exp(l - l_best) + (w/n)^k
//
// l is the fit's log-likelihood of the faults' shapes together, l_best that of
// the best shapes, n how many a wrong fit may name, w the probability that it is
// wrong in one cause (0.005 on a track, 0.01 for what is shared) and k the number
// of causes in which it would have to be, at least one. So a cause that a capture
// shows is worth at most 11 bits on a track and 10 where tracks share it, and where
// two were found, a fault that gives one of them is still better than none. The
// shapes of a group's stages are looked for on its tracks.
//
// Nothing is counted twice: a fault of level alone (gain, group gain, dead) has
// no shape, the level figure speaks for it, and every other shape is taken with a
// wrong gain or without, whichever fits. The noise figure stays as well, so an
// open winding counts as a shape only where the noise of its track stands out by
// 3 dB, else as one of the ways of losing everything; what it then says of hiss
// is partly said by the noise figure too. Two shapes on one track are weighed as
// the fit weighs the pair (signature.Evidence.Both), which must be better than
// one by e⁵; without such a figure the second can only take away. Two shapes that
// one fault gives (zenith with spacing) count as one. Behind a dead stage nothing
// is seen. A cause that needs sibling tracks and had none is neither accused nor
// cleared against the best. Intermittent faults show, or not, through the whole
// of a capture.
//
// Priors of stages and modes come from the definition; error rates are bench
// estimates (common practice, no source), each beside its constant.
//
// # Sums
//
// Faults are enumerated up to [Options.MaxFaults] in each scope: the shared
// stages, each group, each track. Tracks are independent once the faults above
// them and the offsets are fixed, so the posterior is an exact sum of products.
// Faults that no observation can tell apart are summed as one. Where the full
// sum is short it is done, and equals general exact inference to 1e-9; tests
// compare 200 random machines with package infer.
//
// Beyond, the likely faults of the shared scope and under each those of the
// groups are gone through one by one, and below them what each track says of
// each offset is passed on as a message on the offset's grid (belief
// propagation; the evidence is Bethe's). That is exact while siblings share one
// offset and treats several offsets as independent given the faults above but
// for what each track ties together. Which faults of a scope are likely is judged
// beforehand, beside what is likeliest below it; fault sets of a small share are
// counted in the ratio so judged with their likelier part. [Verdict.OutsideMass]
// states the prior mass of more faults than enumerated plus an estimate of the
// error; beside full sums a probability was off by at most 4e-4 on 40 random
// machines with priors as of real stages, by 6e-3 on 20 where a track fails eight
// checks in a row, and by 2e-3 on 100 with priors up to 20 %.
//
// Stages that no evidence touches keep their prior and take no part in the sums
// or in the count of faults. Figures that [measure] refused are not used: a
// refusal has many causes.
//
// # Works and conditions
//
// A [Work] changes what later observations see, not what earlier ones saw: each fault
// mode of what was worked on is split by whether the work cured it (a repair in 98 %,
// cleaning, reseating and reflow as machine.FaultMode.CureChance says, an exchange of
// siblings moves the part and reseats it). What was observed under a provocation or with
// the case in some state meets an intermittent fault as often as
// machine.FaultMode.ShowsWhen says. A symptom that went after a work that looked for no
// cause is listed as [Unproven] with what would prove it.
//
// # Explanations
//
// A stage is accused when the evidence raises its odds; explanations are fault sets over
// the accused stages, the others summed out. A stage is proved or suspect by thresholds
// stated in states.go. What settles it is a smallest set of observations: one that does
// so by itself, worked out from nothing else, and of which none can be left out.
//
// # Advice
//
// [Engine.Advise] turns the posterior into problems of package plan. What has nothing to
// do with each other (a dull track, a noisy other one) is planned apart. The states of a
// problem are the fault sets that explanations hold, and what is left of them as faults are cured; its
// actions are functions to be tried, as they are or pressed, readings, exchanges of
// cards, cleanings, repairs and the proof at the end; its covers are the definition's openings, those
// that part connectors in the way of every powered test. To hand over a recorder with a
// fault in it costs 800 minutes (an estimate). The plan puts an opening off until several
// things behind it are worth it, tests only where that lowers the expected total, and
// repairs several suspects behind one cover before it is closed again where that is
// cheaper. Of the problems the one whose best step needs least opened and closed goes
// first. Predictions take the offsets as known from siblings, group outcomes of a
// reading in eight steps, and leave out faults that nothing accuses.
//
// # Sources
//
// Diagnosis from first principles and next probe by entropy: J. de Kleer,
// B. C. Williams, Artificial Intelligence 32(1), 1987. Repairs by probability
// over cost: J. Kalagnanam, M. Henrion, UAI 4, 1988; D. Heckerman,
// J. S. Breese, K. Rommelse, Comm. ACM 38(3), 1995. Shared covers:
// T. J. Ottosen, F. V. Jensen, UAI 2010. One step of rollout: F. Tu, K. R. Pattipati,
// IEEE Trans. SMC-A 33(1), 2003. Integrated intermittents: R. Abreu,
// P. Zoeteweij, A. J. C. van Gemund, IJCAI 2009; J. de Kleer, IJCAI 2009.
//
// # Limits
//
// Effects of several faults add in dB, which overstates two faults that act at
// one place. A wrong reading is not tied to other wrong readings except within
// a probe setting under one condition. What an instrument reads too high at all points of a
// session is taken as an offset of each point. A source's impedance is not known, so
// what an input loads it with is said ([Instrument.CannotTell]) and not reckoned with. The tracks of one capture, and two captures, are wrong in
// their shapes independently of each other. What a shape says of one track was
// worked out beside the best causes of the others. Impedances and frequencies are not levels: readings at points
// that no stage explains are only judged as in or out of range.
package diagnosis
