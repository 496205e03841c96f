// Package teardown plans what to do in one opening: all work that is known to be done,
// put into the fewest and cheapest openings of the recorder, in an order that can be
// done, with what is worth doing beside it and what to have ready.
//
// [New] checks [Task]s against the teardown tree of a [machine.Definition];
// [Problem.Plan] returns the [Plan]: visits with their steps, times with intervals,
// the decision on each optional task, and the [Preparation] of each visit. Times are
// minutes at the bench.
//
// # Model
//
// A situation is what is done, what is open and whether power is on. An opening is made
// from its parent and closed after all behind it; a closing costs the realignment that
// the definition names. A task is done where its openings are open, what must be shut is
// shut, the case is as it wants, what it follows is done and the supply is as it wants.
// Nothing is opened or closed with power on. Work with power on waits until no opening
// but its own leaves a connector parted that its function passes: one between two boards
// of the path, one of the supply, one of the transport where the tape must run; without
// a function, any. In a class I recorder it waits until the supply is covered, unless it
// is done there. Of an opening that repeats one replica is open at a time.
//
// The plan makes the expected minutes least: those of all visits, and for each optional
// task that is left its chance of being needed later times a visit of its own (openings,
// work, closings, realignment). Of equal plans it has the fewest openings, then the
// fewest insertions of flat cables (a cable is plugged in once when the last opening
// that parts it is closed), then the fewest switchings of power.
//
// # Method
//
// A* over situations, with tasks of equal wants in one class, minutes counted in whole
// millionths so that ties are ties, and a lower bound that counts for each opening how
// often the worst chain of tasks wants it open, shut and open again, and chooses optional
// work by the best subtree (see bound.go for why it never overstates). Optional work is
// decided in the same search, so jointly and exactly. Nothing depends on chance or on
// the speed of the computer.
//
// A search looks at no more than [DefaultNodes] situations. When it gives up, it is made
// again without counting switchings of power; when that gives up too, a beam search
// makes a plan that says it is not proved, with the lower bound that was reached.
//
// # Measured
//
// The tests hold 300 random problems of up to eight tasks (with replicas, case states,
// power, cables and openings that stand open), and 120 with every choice among optional
// tasks and its opposite, against full enumeration by code that shares nothing with
// this; and the bound, along the plans of 1500 problems of up to fifteen tasks. Where
// proof was out of reach, 80 plans of eight tasks were none longer than the optimum.
//
// 40 tasks, on either of the recorders that come with the program, take 2 to 130 ms;
// of 120 draws of 40 tasks tied to each other at random all were proved least, twelve
// without proof of the fewest switchings of power, in 70 ms of one core on average and
// 0.7 s at worst (shared server, 2026).
//
// # Sources
//
// A*: P. E. Hart, N. J. Nilsson, B. Raphael, IEEE Trans. SSC 4(2), 1968. Choosing a
// subtree (a closure of greatest weight): J.-C. Picard, Management Science 22(11), 1976.
// Both from memory. Spreads of ±30 % ([UsualSpread]), 20 insertions of a flat cable
// ([UsualInsertions]), marking, photographs and checks before power are common practice,
// no source.
//
// # Assumptions and limits
//
// Estimates err independently, and one estimate used twice errs twice in the same way;
// who is slow at everything exceeds the interval. A visit later is for one task alone,
// and no later visit is shared. Realignment is paid at every closing that costs it, even
// if a task of the plan does the same; leave such a task out, or give it no minutes.
// What a function needs is told from boards and connectors of the definition: a board
// that hangs on a lead which the definition does not list counts as joined. At most 128
// classes of tasks and 128 openings.
//
// Cautions are reminders for people who know the work; local electrical codes and
// licensed practice come first.
package teardown
