package talk

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/edge/requests"
)

func TestRoundTrip(t *testing.T) {
	at := time.Date(2026, 11, 25, 10, 0, 0, 123456000, time.UTC)
	level := 212.5
	told := Tell{
		Received: "a", Answer: &requests.Answer{ID: "a", Taken: true, Code: "held", Why: "held by a person", At: at, LastSeq: 7},
		Picture: &Picture{At: at, Phase: "held", Reason: "held by a person", Alarms: []string{"ceiling wet"}, OnHold: true, LevelMM: &level, GiveMostML: 120, LastSeq: 7},
	}
	data, err := Encode(told)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Decode[Tell](data); err != nil || !cmp.Equal(got, told) {
		t.Errorf("%v %s", err, cmp.Diff(told, got))
	}
	asked := requests.Request{ID: "a", Seq: 7, Kind: requests.Give, GiveML: 50, By: "operator", AskedAt: at}
	if data, err = Encode(asked); err != nil {
		t.Fatal(err)
	}
	if got, err := Decode[requests.Request](data); err != nil || !cmp.Equal(got, asked) {
		t.Errorf("%v %s", err, cmp.Diff(asked, got))
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, row := range []struct{ what, in, want string }{
		{"nothing", "", "unexpected end"},
		{"no object", "7", "cannot unmarshal"},
		{"a wrong member", `{"received": 7}`, "cannot unmarshal"},
		{"too much", strings.Repeat(" ", maxMessage+1), "too many"},
	} {
		t.Run(row.what, func(t *testing.T) {
			if _, err := Decode[Tell]([]byte(row.in)); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("error is %v, want %q", err, row.want)
			}
		})
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(`{"received":"a","answer":{"id":"a","taken":true},"picture":{"at":"2026-11-25T10:00:00Z","level_mm":212.5}}`))
	f.Add([]byte(`{"id":"a","seq":7,"kind":"give","give_ml":50}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		if m, err := Decode[Tell](data); err == nil {
			if _, err := Encode(m); err != nil {
				t.Errorf("what was read cannot be written: %v", err)
			}
		}
		if m, err := Decode[requests.Request](data); err == nil {
			if _, err := Encode(m); err != nil {
				t.Errorf("what was read cannot be written: %v", err)
			}
		}
	})
}
