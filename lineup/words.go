package lineup

import (
	"slices"
	"strconv"
	"strings"

	"headstack/machine"
)

// Words says a step by its id alone: "play level, VRa-6" for "level/VRa/6", "speed,
// 9.525 cm/s" for "speed/9.525". It needs no order, so that an entry whose step the
// definition has lost since can still be read. An id of no known kind comes back as it is.
func Words(def *machine.Definition, id string) string {
	kind, rest, _ := strings.Cut(id, "/")
	i := slices.IndexFunc(kinds, func(in kindInfo) bool { return string(in.kind) == kind })
	if i < 0 {
		return id
	}
	of, key, _ := strings.Cut(rest, "/")
	if t := trimOf(def, of); t != nil {
		of, key = def.Designator(t.Part, t.Each, key), ""
	} else if _, err := strconv.ParseFloat(of, 64); err == nil {
		of += " cm/s"
	}
	if _, err := strconv.Atoi(key); err == nil {
		key = "track " + key
	}
	words := slices.DeleteFunc([]string{kinds[i].name, of, key}, func(s string) bool { return s == "" })
	return strings.Join(words, ", ")
}

func trimOf(def *machine.Definition, id string) *machine.Trim {
	for i := range def.Trims {
		if def.Trims[i].ID == id {
			return &def.Trims[i]
		}
	}
	return nil
}
