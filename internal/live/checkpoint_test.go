package live

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/account"
)

// TestEncodedComesBack: with every nanosecond; and what another version saved, as
// JSON before there were bytes, or with another account, is said to be so.
func TestEncodedComesBack(t *testing.T) {
	at := time.Date(2026, 3, 2, 1, 2, 3, 123456789, time.UTC)
	v := &Value{Last: Lasts{"level": {1.0 / 3, at}}, Contacts: []Word{{"floor", "guard", true, at}},
		Conditions: map[account.Code]time.Time{account.CeilingWet: at}, Noted: at}
	v.Account.Done = at
	data, err := v.Encode()
	if err != nil {
		t.Fatal(err)
	}
	back, err := Decode(data)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(v, back); d != "" {
		t.Errorf("another value:\n%s", d)
	}
	for name, other := range map[string][]byte{"JSON": []byte(`{"Version":1,"Value":{}}`), "nothing": nil, "another version": append([]byte{data[0], data[1] + 1}, data[2:]...)} {
		if _, err := Decode(other); !errors.Is(err, ErrOtherVersion) {
			t.Errorf("%s: error %v, want ErrOtherVersion", name, err)
		}
	}
	state, err := v.Account.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	state[1]++ // its version, after the array's head
	data[bytes.Index(data, state[2:])-1] = state[1]
	if _, err := Decode(data); !errors.Is(err, ErrOtherVersion) || !errors.Is(err, account.ErrVersion) {
		t.Errorf("another account: error %v, want ErrOtherVersion and ErrVersion", err)
	}
}
