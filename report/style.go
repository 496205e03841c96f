package report

import (
	"crypto/sha256"
	"encoding/base64"
)

func styleHash(s string) string {
	sum := sha256.Sum256([]byte(s))
	return base64.StdEncoding.EncodeToString(sum[:])
}
