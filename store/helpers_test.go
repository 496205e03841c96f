package store

import (
	"path/filepath"
	"strconv"
)

func (s *Store) captures() string { return filepath.Join(s.dir, capturesName) }

func itoa(n int) string { return strconv.Itoa(n) }
