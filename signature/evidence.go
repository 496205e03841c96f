package signature

// Evidence is what a capture says about each cause as log-likelihoods (natural), for a
// diagnosis that weighs it with other readings. All are relative to no cause at all:
// positive speaks for the cause.
//
// The strengths are integrated over the causes' parameters, so they hold for a fault of
// that class and not of that size.
type Evidence struct {
	// Shared[c] is for a cause that acts on all tracks of the head or path.
	Shared map[Cause]float64
	// Track[t][c] is for cause c on track t+1 alone, given no other cause there; nil for a
	// track that was not captured.
	Track []map[Cause]float64
	// GivenShared[s][t][c] is the same where the shared cause s acts as well.
	GivenShared map[Cause][]map[Cause]float64
	// Group[g] is for GroupGain on Options.Groups[g].
	Group []float64
	// Both[t] is for two causes on track t+1 together, and SharedBoth for two shared ones,
	// where at least one of them says something alone.
	Both       []map[Pair]float64
	SharedBoth map[Pair]float64
}
