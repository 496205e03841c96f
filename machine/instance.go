package machine

// Instance is one stage of one replica: "C11-3".
type Instance struct {
	Stage *Stage
	Key   string // replica key: "3", "a", "L"; empty for a shared stage
}

// Contract for the rest of the program (implemented in this package):
//
//	Load(name string, data []byte) (*Definition, error)      // strict; errors carry file:line:column and what would be right
//	(*Definition).Lint() []Finding                            // unreachable stages, mismatched connectors ...
//	(*Definition).Geometry() tape.Geometry
//	(*Definition).Instances() []Instance                      // every stage instance, in definition order
//	(*Definition).Designator(pattern, each, key string) string
//	(Instance).Part() string                                  // "C11-3"
//	(*Definition).Path(function string, key string) ([]Instance, error) // "@" expanded, each stage resolved for that track
//	(*Definition).TestPoint(id string) (*TestPoint, bool)
//	(*Definition).Stage(id string) (*Stage, bool)
//	(*Definition).Function(id string) (*Function, bool)
//	(*Definition).ReplicaKeys(each string) []string           // "" gives [""]
//	(*Definition).GroupOf(track int) (Group, bool)
//	(*Definition).FaultModes(s *Stage) (prior float64, modes []FaultMode) // stage's own or its kind's defaults, weights normalised to sum 1
//	(*Definition).OpeningMinutes(id string) (down, up, after unit.Minutes) // whole chain from closed
//	(*Definition).CheckItems() []CheckItem                    // the expanded control check sheet in signal-flow order
//	TestPoint.ExpectedSI / expected value for a key with exceptions applied
//	machine.Builtin(id string) (*Definition, bool), machine.BuiltinNames() // the two invented recorders, embedded
