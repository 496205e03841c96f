// Package plan answers what to do next with a machine that has a fault nobody knows
// yet: which action has the least expected cost from now until the machine is
// proved to work. It knows nothing of recorders: states with probabilities, covers,
// and actions that tell something, change something, or end the problem.
//
// [New] makes a [Problem] ready; [Model.Rank] ranks the actions in a [Situation];
// [Model.Exact] is the optimum of small problems; [Model.Cost] is what any [Policy]
// costs; [Model.Clairvoyant] bounds them all from below. Costs are in whatever unit
// the caller uses, at the bench in minutes. Everything is deterministic: ties go to
// the lower index, and no answer depends on how fast the computer is.
//
// # Model
//
// A state is a set of faults, or any hypothesis that excludes the others. An
// [Action] costs its own cost, that of the covers that must be closed for it
// ([Action.Shut]) and then opened ([Action.Cover]), and CostIn of the state. Covers
// stay as they were left, so openings are shared. The action first moves the state
// (To: a repair, with the chance that it succeeds), then shows an outcome with the
// chances of the state moved to (Like: wrong outcomes are part of these). An outcome
// may end the problem (Ends): the functional test after a repair that says "works".
// EndCost is what a wrong end costs, Reassemble what is still open. A test marked
// Once tells nothing more until something moves; with a fresh setting it is another
// action. A repair marked Once has failed for good when it has failed.
//
// The cost of a problem that ends is its expected sum; with a Discount below 1 the
// horizon is infinite. With the goal [Identify] it ends when one state, or class of
// states, is certain to 1e-9.
//
// # Method
//
// Exact: dynamic programming over the situations that can be reached (belief, open
// covers, used actions), by value iteration in post-order. Beliefs are told apart to
// 1e-10.
//
// Repairs: the block rule, generalised to several faults in one state, repairs that
// need a separate test as proof, and covers that this test wants closed. It gives an
// order with its exact expected cost when nothing but the end is looked at.
//
// Rank: where few states and situations remain, exact. Else every action worth
// considering is judged by the cost of repairs after each of its outcomes (myopic value
// of information over the expected cost of repair), and the best are judged again by
// following that same rule for some steps (rollout of it). Q is then the cost of a plan
// that can be carried out, but for what is rounded off to save time: states with less
// than 1e-7 of the mass and, where more than 16 states are possible, outcomes below
// 0.3 % and the last 1 % of a sequence of repairs, which are taken to cost what the
// whole costs.
//
// Measured: in 200 random chains of eight stages behind three covers the plan costs
// 1.0004 of the optimum on average and 1.041 at worst (judged by the repairs alone 1.013
// and 1.13; information per cost 1.031 and 1.13); in 60 random problems with wrong
// outcomes, separate proofs and reassembly 1.0006 and 1.027. With 64 states, 150 tests
// and 12 covers a ranking took 40 to 80 ms of one core at the first step, less later,
// and 10 ms with [Options.Fast] (2 cores of a shared server, 2026).
//
// [ByRatio], [BestOrder], [BestRepairs] and [ByBlocks] are the orders of repairs of
// the literature in their plain form.
//
// # Sources
//
// Blocks: W. A. Horn, SIAM J. Appl. Math. 23, 1972; T. J. Ottosen, F. V. Jensen, UAI
// 2010. Probability over cost and value of information over the cost of repair:
// J. Kalagnanam, M. Henrion, UAI 4, 1988; D. Heckerman, J. S. Breese, K. Rommelse,
// Comm. ACM 38(3), 1995. Test sequencing and information per cost: K. R. Pattipati,
// M. G. Alexandridis, IEEE Trans. SMC 20(4), 1990. Rollout: F. Tu, K. R. Pattipati,
// IEEE Trans. SMC-A 33(1), 2003. Acting on beliefs: L. P. Kaelbling, M. L. Littman,
// A. R. Cassandra, Artificial Intelligence 101, 1998. (Cited from memory; the cases in
// testdata say for each figure whether it was re-read.)
//
// # Limits
//
// The block rule is optimal for one fault, repairs that show their success, and
// covers side by side; with nested covers, closing for tests, or several faults it is
// a heuristic. The rule of one test at a time does not see two tests that only
// together are worth their cost, or an opening that pays only with the second test
// behind it, except as far as the rollout looks. Discounted problems are only ranked
// well where the exact plan is within reach.
package plan
