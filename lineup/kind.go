package lineup

// Kind is what a step of a line-up is for.
type Kind string

// The gates: what must be so before anything is set. They come first, those of the
// closing proof last.
const (
	PathClean         Kind = "path_clean"
	Demagnetised      Kind = "demagnetised"
	DemagnetiserAway  Kind = "demagnetiser_away"
	ScrapRun          Kind = "scrap_run"
	NoiseReductionOff Kind = "noise_reduction_off"
	PitchCentre       Kind = "pitch_centre"
	Warm              Kind = "warm"
	Flutter           Kind = "flutter" // measured: the transport is steady
	Drift             Kind = "drift"   // measured: and holds its speed
	CaseClosed        Kind = "case_closed"
	FreshShell        Kind = "fresh_shell"
)

// The steps, in the order in which they are usually taken.
const (
	Tension          Kind = "tension"
	Brake            Kind = "brake"
	Speed            Kind = "speed"
	Height           Kind = "height"
	Rack             Kind = "rack"
	Azimuth          Kind = "azimuth"
	Level            Kind = "level"
	Treble           Kind = "treble"
	LevelAgain       Kind = "level_again"
	AzimuthAgain     Kind = "azimuth_again"
	Meter            Kind = "meter"
	EraseAzimuth     Kind = "erase_azimuth"
	RecordAzimuth    Kind = "record_azimuth"
	BiasFrequency    Kind = "bias_frequency"
	Erase            Kind = "erase"
	Trap             Kind = "trap"
	NoiseReduction   Kind = "noise_reduction" // level of an encoder or decoder
	Bias             Kind = "bias"
	RecordLevel      Kind = "record_level"
	RecordTreble     Kind = "record_treble"
	RecordAgain      Kind = "record_again"
	PlayBass         Kind = "play_bass"
	SyncLevel        Kind = "sync_level"
	SyncTreble       Kind = "sync_treble"
	NoiseReductionOn Kind = "noise_reduction_on" // a track encoded and decoded
	Other            Kind = "other"              // a trim whose measure the order does not know
)

// The closing proof, with the case closed.
const (
	ProofSpeed        Kind = "proof_speed"
	ProofFlutter      Kind = "proof_flutter"
	ProofAzimuth      Kind = "proof_azimuth"
	ProofLevel        Kind = "proof_level"
	ProofTreble       Kind = "proof_treble"
	ProofRecordLevel  Kind = "proof_record_level"
	ProofRecordTreble Kind = "proof_record_treble"
	ProofErase        Kind = "proof_erase"
	ProofNoise        Kind = "proof_noise"
	ProofDistortion   Kind = "proof_distortion"
	ProofCrosstalk    Kind = "proof_crosstalk"
)

// Phase gathers steps that are done together, under one way of running the recorder.
type Phase string

// The phases, in order.
const (
	PhaseGates     Phase = "gates"
	PhaseTransport Phase = "transport"
	PhaseReplay    Phase = "replay"
	PhaseRecord    Phase = "record"
	PhaseSync      Phase = "sync"
	PhaseLast      Phase = "last"
	PhaseProof     Phase = "proof"
)

// kindInfo is what is known of a kind beforehand.
type kindInfo struct {
	kind    Kind
	phase   Phase
	name    string
	measure string // the name of the result that settles it
	gate    bool
}

// kinds are all kinds in the order of a line-up; within a phase a speed is finished
// before the next.
var kinds = []kindInfo{
	{PathClean, PhaseGates, "whole tape path clean and dry", "", true},
	{Demagnetised, PhaseGates, "heads and guides demagnetised", "", true},
	{DemagnetiserAway, PhaseGates, "demagnetiser put away, off, farther than 1.5 m from every tape", "", true},
	{ScrapRun, PhaseGates, "a worthless tape has run from end to end without damage, and every track has recorded and played", "", true},
	{NoiseReductionOff, PhaseGates, "noise reduction off on all tracks", "", true},
	{PitchCentre, PhaseGates, "pitch or varispeed at its centre or off", "", true},
	{Warm, PhaseGates, "warmed up", "", true},
	{Tension, PhaseTransport, "tape tension", "tension", false},
	{Brake, PhaseTransport, "brakes", "brake_torque", false},
	{Flutter, PhaseTransport, "transport steady: wow and flutter", "wow_flutter_2sigma", true},
	{Drift, PhaseTransport, "transport steady: drift of the speed", "drift", true},
	{Speed, PhaseTransport, "speed", "speed_error", false},
	{Height, PhaseReplay, "head height", "height", false},
	{Rack, PhaseReplay, "head rack", "rack", false},
	{Azimuth, PhaseReplay, "play azimuth", "azimuth_line", false},
	{Level, PhaseReplay, "play level", "level", false},
	{Treble, PhaseReplay, "play treble", "response", false},
	{LevelAgain, PhaseReplay, "play level again", "level", false},
	{AzimuthAgain, PhaseReplay, "play azimuth again", "azimuth_line", false},
	{Meter, PhaseReplay, "meter", "meter", false},
	{EraseAzimuth, PhaseRecord, "erase head azimuth", "azimuth", false},
	{RecordAzimuth, PhaseRecord, "record head azimuth against the play head", "azimuth_line", false},
	{BiasFrequency, PhaseRecord, "bias oscillator frequency", "bias_frequency", false},
	{Erase, PhaseRecord, "erase", "erase", false},
	{Trap, PhaseRecord, "bias trap", "trap_leak", false},
	{NoiseReduction, PhaseRecord, "noise-reduction level", "compander_level", false},
	{Bias, PhaseRecord, "bias", "bias", false},
	{RecordLevel, PhaseRecord, "record level", "level", false},
	{RecordTreble, PhaseRecord, "record treble", "response", false},
	{RecordAgain, PhaseRecord, "bias, record level and record treble again", "record_change", false},
	{PlayBass, PhaseRecord, "play bass, against own recording", "response", false},
	{SyncLevel, PhaseSync, "sync level", "level", false},
	{SyncTreble, PhaseSync, "sync treble", "response", false},
	{NoiseReductionOn, PhaseLast, "a track recorded and played with noise reduction on", "level", false},
	{Other, PhaseLast, "", "", false},
	{CaseClosed, PhaseProof, "case closed, every cover and screw in", "", true},
	{FreshShell, PhaseProof, "a fresh shell of the tape that the bias was set for", "", true},
	{ProofSpeed, PhaseProof, "speed", "speed_error", false},
	{ProofFlutter, PhaseProof, "wow and flutter", "wow_flutter_2sigma", false},
	{ProofAzimuth, PhaseProof, "azimuth", "azimuth_line", false},
	{ProofLevel, PhaseProof, "play level", "level", false},
	{ProofTreble, PhaseProof, "play treble", "response", false},
	{ProofRecordLevel, PhaseProof, "record level, own recording", "level", false},
	{ProofRecordTreble, PhaseProof, "record treble, own recording", "response", false},
	{ProofErase, PhaseProof, "erase depth", "erase_depth", false},
	{ProofNoise, PhaseProof, "noise", "noise_a", false},
	{ProofDistortion, PhaseProof, "third harmonic at reference level", "harmonic_3", false},
	{ProofCrosstalk, PhaseProof, "crosstalk into the worst neighbour", "crosstalk", false},
}

// infoOf finds a kind, with its rank.
func infoOf(k Kind) (kindInfo, int) {
	for i, in := range kinds {
		if in.kind == k {
			return in, i
		}
	}
	panic("lineup: unknown kind " + string(k))
}

// Proof tells the kinds of the closing proof, its gates left out.
func (k Kind) Proof() bool {
	in, _ := infoOf(k)
	return in.phase == PhaseProof && !in.gate
}

// phaseRank orders phases.
var phaseRank = map[Phase]int{PhaseGates: 0, PhaseTransport: 1, PhaseReplay: 2, PhaseRecord: 3, PhaseSync: 4, PhaseLast: 5, PhaseProof: 6}
