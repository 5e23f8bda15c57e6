package auth

import (
	"strings"
	"testing"
)

// cheap keeps tests fast; the code is the same.
var cheap = Cost{Passes: 1, MemoryKiB: 64, Lanes: 1}

// The reference implementation's own test values (phc-winner-argon2, test.c,
// version 0x13, from memory), in the text form that Matches reads.
var published = []struct{ password, hash string }{
	{"password", "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"},
	{"password", "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"},
}

func TestMatchesPublishedHashes(t *testing.T) {
	for _, row := range published {
		if !Matches(row.hash, row.password) {
			t.Errorf("%s does not match %q", row.hash, row.password)
		}
		if Matches(row.hash, row.password+"x") {
			t.Errorf("%s matches a wrong password", row.hash)
		}
	}
}

func TestHashIsSaltedAndMatches(t *testing.T) {
	a, b := cheap.Hash("ten litres of brine"), cheap.Hash("ten litres of brine")
	if a == b {
		t.Error("two hashes of one password are equal: the salt is missing")
	}
	if !Matches(a, "ten litres of brine") || Matches(a, "ten litres of brin") {
		t.Errorf("%s does not tell its password from another", a)
	}
}

func TestAdvisedCostIsInTheHash(t *testing.T) {
	// RFC 9106, section 4, second recommended option: t=3, p=4, m=2^16 KiB.
	if hash := Advised.Hash("x"); !strings.HasPrefix(hash, "$argon2id$v=19$m=65536,t=3,p=4$") {
		t.Errorf("got %s", hash)
	}
}

func TestWhatIsNoHashMatchesNothing(t *testing.T) {
	good := cheap.Hash("p")
	for _, hash := range []string{"", "$", "p", strings.Replace(good, "argon2id", "argon2i", 1),
		strings.Replace(good, "v=19", "v=18", 1), strings.Replace(good, "t=1", "t=0", 1),
		strings.Replace(good, "t=1", "t=4000000000", 1), strings.Replace(good, "m=64", "m=4000000000", 1),
		strings.Replace(good, "p=1", "p=0", 1), good + "$", good[:len(good)-1]} {
		if Matches(hash, "p") {
			t.Errorf("%q matches", hash)
		}
	}
}
