// Package infer computes exact answers about small discrete factor graphs:
// posteriors, joint posteriors and the probability of the evidence, by variable
// elimination.
//
// It is the reference against which the faster, special reasoning of package
// diagnosis is tested, and a tool for any small network of causes and readings.
//
// # Model
//
// A [Graph] has variables with a finite number of states and factors, which are
// tables of non-negative weights over a few variables. The product of all
// factors, normalised, is the joint distribution. A Bayesian network is the
// special case in which each factor is a conditional table.
//
// # Method
//
// Evidence is cut out of the tables first. The remaining variables are summed
// out one by one in min-fill order (the variable whose elimination joins the
// fewest pairs of neighbours not yet joined; ties go to the smaller new table,
// then to the lower number). Every intermediate table is scaled to a largest
// entry of 1 and the logarithm of the scale is carried beside it, so that
// neither thousands of readings nor tiny priors run out of the exponent.
//
// # Sources
//
// Elimination: N. L. Zhang, D. Poole, A simple approach to Bayesian network
// computations, 1994; R. Dechter, Bucket elimination, Artificial Intelligence
// 113, 1999. Min-fill: U. Kjærulff, Triangulation of graphs, Aalborg R 90-09,
// 1990. (Cited from memory; the published networks in testdata, which name
// their own sources, are what the results are checked against.)
//
// # Limits
//
// Cost is exponential in the width of the elimination order. A table of more
// than [MaxTable] entries is refused with [ErrTooLarge] instead of taking the
// machine's memory. Continuous quantities are not known here: put them on a
// grid.
package infer
