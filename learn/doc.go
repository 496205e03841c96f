// Package learn turns what closed jobs proved into the numbers that a diagnosis starts
// from: how often each stage is at fault and by which cause, how long work takes, how
// often readings go wrong.
//
// # What is kept
//
// [Counts] holds counts and sums by definition, and nothing else: no name, serial number,
// owner, remark or date. Sums are whole numbers, so that adding machine by machine, job
// by job or shop by shop gives the same in any order: [Counts.Merge] is commutative and
// associative, exactly. [Counts.Encode] and [Decode] are the file that shops exchange.
//
// # How it is learned
//
// Each number of a definition is a prior, and each update is conjugate:
//
//   - The prior of a stage is the mean of a Beta distribution that weighs as much as
//     machine.Definition.Weight machines (20). The instances of a stage, of one machine
//     and of all, are taken as exchangeable. What goes wrong in all siblings at once
//     counts for more than it should; a prior counted in machines and not in parts holds
//     that down.
//   - The causes of a stage are a Dirichlet distribution that weighs as much as
//     [CauseWeight] faults.
//   - Error rates are Beta distributions that weigh as much as [RateWeight] readings or
//     checks.
//   - The logarithm of minutes is normal with unknown mean and variance; the definition's
//     figure weighs as much as [MinutesWeight] times that somebody took.
//
// A family is all stages of one kind. What other definitions show of it scales the priors
// of the stages of that kind: the factor has a Gamma distribution with mean 1 that
// weighs as much as [FamilyWeight] faults, and faults come at the factor times the rate
// that the definitions expected. Only the mean of the prior is moved: its weight stays
// that of the definition's prior, so that a family never weighs more than a prior does,
// and what is counted on machines of the type itself takes over at the same pace as ever.
//
// Source of the updates: A. Gelman, J. B. Carlin, H. S. Stern, D. B. Dunson, A. Vehtari,
// D. B. Rubin, Bayesian Data Analysis, 3rd edition, sections 2.4 (Beta), 2.6 (Gamma for a
// rate with exposure), 3.3 (normal with unknown mean and variance) and 3.4 (Dirichlet).
// The weights are estimates, common practice, no source.
//
// # What it does not do
//
// A fault that nobody found counts as a good part. An instance that was cured without a
// proven cause counts as neither. Only errors that were noticed are counted, so that
// error rates are on the low side.
package learn
