package job

// DefinitionInfo lists one recorder type that a job can be opened for.
type DefinitionInfo struct {
	ID      string // machine.Definition id
	Name    string // make and name
	SHA     string // of the YAML
	Builtin bool   // comes with the program; false: added to this bench
}

// TapeInfo lists one test tape that a capture can be measured against.
type TapeInfo struct {
	ID      string // the name as lower-case words with hyphens
	Name    string
	SHA     string
	Builtin bool
}
