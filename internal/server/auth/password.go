package auth

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Cost is what one hash of a password takes. It is written into every hash, so
// it can be raised without making old hashes useless.
type Cost struct {
	Passes    uint32
	MemoryKiB uint32
	Lanes     uint8
}

// Advised is the second option that RFC 9106, section 4, recommends, for
// machines without gigabytes to spare.
var Advised = Cost{Passes: 3, MemoryKiB: 64 * 1024, Lanes: 4}

// Lengths of salt and tag, RFC 9106, section 4.
const (
	saltLen = 16
	tagLen  = 32
)

// The most that a stored hash may ask of this machine.
const (
	maxPasses    = 16
	maxMemoryKiB = 1024 * 1024
)

// Hash is the argon2id hash of a password under a fresh salt, in the usual text
// form $argon2id$v=19$m=...,t=...,p=...$salt$tag.
func (c Cost) Hash(password string) string {
	salt := make([]byte, saltLen)
	_, _ = rand.Read(salt) // never fails, since Go 1.24
	return c.hash(password, salt)
}

func (c Cost) hash(password string, salt []byte) string {
	tag := argon2.IDKey([]byte(password), salt, c.Passes, c.MemoryKiB, c.Lanes, tagLen)
	enc := base64.RawStdEncoding
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version,
		c.MemoryKiB, c.Passes, c.Lanes, enc.EncodeToString(salt), enc.EncodeToString(tag))
}

// Matches says whether a password is the one behind a hash. A text that is no
// hash matches nothing.
func Matches(hash, password string) bool {
	parts := strings.Split(hash, "$")
	const fields = 6 // the text begins with a $
	if len(parts) != fields || parts[1] != "argon2id" {
		return false
	}
	var version int
	var c Cost
	if _, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || version != argon2.Version {
		return false
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.MemoryKiB, &c.Passes, &c.Lanes); err != nil ||
		c.Passes == 0 || c.Passes > maxPasses || c.MemoryKiB > maxMemoryKiB || c.Lanes == 0 {
		return false
	}
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	if err != nil {
		return false
	}
	return subtle.ConstantTimeCompare([]byte(c.hash(password, salt)), []byte(hash)) == 1
}
