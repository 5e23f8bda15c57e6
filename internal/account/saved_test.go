package account_test

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/account"
)

// TestSavedStateComesBack: a state with something in every field, and one of any
// moment of a tank's days, come back from their bytes with every bit, and give the
// same findings.
func TestSavedStateComesBack(t *testing.T) {
	var full account.State
	n := 0
	fill(t, reflect.ValueOf(&full).Elem(), "State", &n)
	if d := cmp.Diff(full, savedAndBack(t, &full)); d != "" {
		t.Errorf("another state:\n%s", d)
	}
	a := newAccount(t, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	rapid.Check(t, func(t *rapid.T) {
		all := someDays(rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 11)), 2)
		cut := rapid.IntRange(0, len(all)).Draw(t, "cut")
		s := a.Begin(start)
		for _, o := range all[:cut] {
			if _, err := a.Observe(&s, o); err != nil {
				t.Fatal(err)
			}
		}
		back := savedAndBack(t, &s)
		told := feed(t, a, &back, all[cut:])
		toldByState := feed(t, a, &s, all[cut:])
		same(t, back, s, told, toldByState)
	})
}

func savedAndBack(t interface{ Fatal(...any) }, s *account.State) (back account.State) {
	data, err := s.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	if err := back.UnmarshalBinary(data); err != nil {
		t.Fatal(err)
	}
	return back
}

// TestOtherVersionIsRefused: what another version saved, JSON or this encoding, is
// said to be so and changes nothing; bytes that are cut short are an error.
func TestOtherVersionIsRefused(t *testing.T) {
	a := newAccount(t, "reading-room", account.Settings{})
	s := a.Begin(start)
	text, err := json.Marshal(&s)
	if err != nil {
		t.Fatal(err)
	}
	data, err := s.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	other := append([]byte(nil), data...)
	other[1] = account.Version + 1 // after the array's head
	for name, old := range map[string][]byte{"JSON": text, "another version": other, "nothing": nil} {
		back := s.Clone()
		if err := back.UnmarshalBinary(old); !errors.Is(err, account.ErrVersion) {
			t.Errorf("%s: error %v, want ErrVersion", name, err)
		}
		if d := cmp.Diff(s, back); d != "" {
			t.Errorf("%s: it changed the state:\n%s", name, d)
		}
	}
	for n := range len(data) {
		var back account.State
		if err := back.UnmarshalBinary(data[:n]); err == nil {
			t.Fatalf("%d of %d bytes were taken for a state", n, len(data))
		}
	}
}

// shapes are those of the saved state by version: what changes here without a new
// version would be misread.
var shapes = map[int]string{2: "5955f8bed9d844b2"}

// TestVersionOfShape: a state whose fields have changed has a new version.
func TestVersionOfShape(t *testing.T) {
	var b strings.Builder
	shape(&b, reflect.TypeFor[account.State]())
	sum := fmt.Sprintf("%x", sha256.Sum256([]byte(b.String())))[:16]
	if shapes[account.Version] != sum {
		t.Errorf("version %d of the state has the shape %s, want %s: give a state of another shape another version", account.Version, sum, shapes[account.Version])
	}
}

// shape writes a type's fields and their types.
func shape(b *strings.Builder, t reflect.Type) {
	if t == reflect.TypeFor[time.Time]() {
		b.WriteString("time")
		return
	}
	switch t.Kind() {
	case reflect.Struct:
		b.WriteByte('{')
		for f := range t.Fields() {
			fmt.Fprintf(b, "%s %v %q ", f.Name, f.Anonymous, f.Tag)
			shape(b, f.Type)
			b.WriteByte(';')
		}
		b.WriteByte('}')
	case reflect.Slice, reflect.Array, reflect.Pointer:
		n := 0
		if t.Kind() == reflect.Array {
			n = t.Len()
		}
		fmt.Fprintf(b, "%v%d ", t.Kind(), n)
		shape(b, t.Elem())
	default:
		b.WriteString(t.Kind().String())
	}
}

// BenchmarkSave is a state of an ordinary tank to bytes and back, as CBOR and, as
// the yardstick, as JSON.
func BenchmarkSave(b *testing.B) {
	a := newAccount(b, "reading-room", account.Settings{Heartbeat: 15 * time.Minute})
	s := a.Begin(start)
	feed(b, a, &s, someDays(rand.New(rand.NewPCG(1, 1)), 60))
	for _, row := range []struct {
		name string
		to   func() ([]byte, error)
		from func([]byte, *account.State) error
	}{
		{"cbor", s.MarshalBinary, func(data []byte, s *account.State) error { return s.UnmarshalBinary(data) }},
		{"json", func() ([]byte, error) { return json.Marshal(&s) }, func(data []byte, s *account.State) error { return json.Unmarshal(data, s) }},
	} {
		data, err := row.to()
		if err != nil {
			b.Fatal(err)
		}
		b.Run(row.name+"/to", func(b *testing.B) {
			for b.Loop() {
				if _, err := row.to(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(data)), "B/state")
		})
		b.Run(row.name+"/from", func(b *testing.B) {
			for b.Loop() {
				var back account.State
				if err := row.from(data, &back); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
