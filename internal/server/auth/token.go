package auth

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
)

// NewSecret is a random text of 128 bits or more, for tokens and for the
// passwords of devices.
func NewSecret() string { return rand.Text() }

// SecretHash is what is kept of a secret that this program made. Such a secret
// cannot be guessed, so a plain hash will do where a person's password needs a
// slow one.
func SecretHash(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// SecretMatches says whether a secret is the one behind a hash.
func SecretMatches(hash, secret string) bool {
	return subtle.ConstantTimeCompare([]byte(hash), []byte(SecretHash(secret))) == 1
}
