package senml

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func FuzzDecodeJSON(f *testing.F) {
	for _, ex := range examples {
		f.Add([]byte(ex.json))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		check(t, data, DecodeJSON, EncodeJSON)
	})
}

func FuzzDecodeCBOR(f *testing.F) {
	f.Add(fromHex(f, voltageAndCurrentsCBOR))
	for _, ex := range examples {
		pack, err := DecodeJSON([]byte(ex.json))
		if err != nil {
			f.Fatal(err)
		}
		data, err := EncodeCBOR(pack)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		check(t, data, DecodeCBOR, EncodeCBOR)
	})
}

// check holds for any bytes: what is read can be written and read again, and what
// resolves has a valid name, a finite value and a time that a calendar has.
func check(t *testing.T, data []byte, decode func([]byte) (Pack, error), encode func(Pack) ([]byte, error)) {
	pack, err := decode(data)
	if err != nil {
		if err.Error() == "" {
			t.Error("refused without a word")
		}
		return
	}
	again, err := encode(pack)
	if err != nil {
		t.Fatalf("what was read cannot be written: %v", err)
	}
	pack2, err := decode(again)
	if err != nil {
		t.Fatalf("what was written cannot be read: %v\n%q", err, again)
	}
	if diff := cmp.Diff(pack, pack2, sameNumber); diff != "" {
		t.Errorf("(-first +second):\n%s", diff)
	}
	resolved, err := Resolve(pack, now)
	if err != nil {
		return
	}
	for _, r := range resolved {
		if why := nameFault(r.Name); why != "" {
			t.Errorf("resolved name %q %s", r.Name, why)
		}
		if year := r.Time.Year(); year < 1 || year > 9999 {
			t.Errorf("resolved time is in the year %d", year)
		}
		if r.Value != nil && !finite(*r.Value) || r.Sum != nil && !finite(*r.Sum) {
			t.Errorf("resolved to %v, sum %v", r.Value, r.Sum)
		}
	}
}

func BenchmarkDecodeJSON(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		pack, err := DecodeJSON([]byte(voltageAndCurrents))
		if err != nil || len(pack) != 7 {
			b.Fatal(err)
		}
	}
}

func BenchmarkDecodeCBOR(b *testing.B) {
	data := fromHex(b, voltageAndCurrentsCBOR)
	b.ReportAllocs()
	for b.Loop() {
		pack, err := DecodeCBOR(data)
		if err != nil || len(pack) != 7 {
			b.Fatal(err)
		}
	}
}
