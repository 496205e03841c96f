package phone

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"math/big"
	"time"
)

const (
	// CodeLife is how long a code holds.
	CodeLife = 5 * time.Minute
	// Tries is how many wrong codes are taken before the code in force is void.
	Tries = 5
)

// code is the one that is in force; the zero value is none.
type code struct {
	digits string
	until  time.Time
	wrong  int
}

// newCode is six digits of a secure source.
func newCode(now time.Time) code {
	n, err := rand.Int(rand.Reader, big.NewInt(1_000_000))
	if err != nil {
		panic(err) // crypto/rand documents that it does not fail
	}
	return code{digits: fmt.Sprintf("%06d", n), until: now.Add(CodeLife)}
}

func (c *code) inForce(now time.Time) bool {
	return c.digits != "" && now.Before(c.until) && c.wrong < Tries
}

// take uses the code up if it is the right one, and counts a try if not.
func (c *code) take(digits string, now time.Time) bool {
	if !c.inForce(now) {
		return false
	}
	if subtle.ConstantTimeCompare([]byte(c.digits), []byte(digits)) != 1 {
		c.wrong++
		return false
	}
	*c = code{}
	return true
}
