package senml

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

func optional[T any](g *rapid.Generator[T]) *rapid.Generator[*T] {
	return rapid.Custom(func(t *rapid.T) *T {
		if rapid.Bool().Draw(t, "present") {
			return new(g.Draw(t, "value"))
		}
		return nil
	})
}

// packs draws any Pack that can be written, sensible or not.
var packs = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Record {
	x := rapid.OneOf(rapid.Float64(), rapid.Map(rapid.Int32(), func(i int32) float64 { return float64(i) }))
	r := Record{
		BaseVersion: optional(rapid.IntRange(-3, 12)).Draw(t, "bver"),
		BaseName:    optional(rapid.String()).Draw(t, "bn"),
		BaseTime:    optional(x).Draw(t, "bt"),
		BaseUnit:    optional(rapid.String()).Draw(t, "bu"),
		BaseValue:   optional(x).Draw(t, "bv"),
		BaseSum:     optional(x).Draw(t, "bs"),
		Name:        rapid.String().Draw(t, "n"),
		Unit:        rapid.String().Draw(t, "u"),
		Time:        x.Draw(t, "t"),
		UpdateTime:  x.Draw(t, "ut"),
		Value:       optional(x).Draw(t, "v"),
		StringValue: optional(rapid.String()).Draw(t, "vs"),
		BoolValue:   optional(rapid.Bool()).Draw(t, "vb"),
		Sum:         optional(x).Draw(t, "s"),
	}
	if rapid.Bool().Draw(t, "has vd") {
		r.DataValue = append([]byte{}, rapid.SliceOf(rapid.Byte()).Draw(t, "vd")...)
	}
	return r
}), 0, 8)

// sameNumber: JSON and CBOR keep -0 where the number is present, but an absent time
// and a time of -0 are the same.
var sameNumber = cmp.Comparer(func(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || a == 0 && b == 0
})

func TestRoundTrip(t *testing.T) {
	for _, format := range []struct {
		name   string
		encode func(Pack) ([]byte, error)
		decode func([]byte) (Pack, error)
	}{{"JSON", EncodeJSON, DecodeJSON}, {"CBOR", EncodeCBOR, DecodeCBOR}} {
		t.Run(format.name, rapid.MakeCheck(func(t *rapid.T) {
			want := Pack(packs.Draw(t, "pack"))
			data, err := format.encode(want)
			if err != nil {
				t.Fatal(err)
			}
			got, err := format.decode(data)
			if err != nil {
				t.Fatalf("%v, reading %q", err, data)
			}
			if diff := cmp.Diff(want, got, sameNumber); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		}))
	}
}

// sensible draws Packs that resolve: valid names, moderate numbers, one value.
var sensible = rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Record {
	x := rapid.Float64Range(-1e6, 1e6)
	r := Record{
		BaseName:  optional(rapid.StringMatching(`[a-z0-9][a-z0-9/:._-]{0,9}`)).Draw(t, "bn"),
		BaseTime:  optional(rapid.Float64Range(0, 4e9)).Draw(t, "bt"),
		BaseUnit:  optional(rapid.SampledFrom([]string{"", "m", "Cel"})).Draw(t, "bu"),
		BaseValue: optional(x).Draw(t, "bv"),
		BaseSum:   optional(x).Draw(t, "bs"),
		Name:      rapid.StringMatching(`[a-z][a-z0-9]{0,5}`).Draw(t, "n"),
		Unit:      rapid.SampledFrom([]string{"", "m", "lon"}).Draw(t, "u"),
		Time:      x.Draw(t, "t"),
	}
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		r.Value = new(x.Draw(t, "v"))
	case 1:
		r.StringValue = new(rapid.String().Draw(t, "vs"))
	case 2:
		r.BoolValue = new(rapid.Bool().Draw(t, "vb"))
	case 3:
		r.DataValue = append([]byte{}, rapid.SliceOf(rapid.Byte()).Draw(t, "vd")...)
	case 4:
		r.Sum = new(x.Draw(t, "s"))
	}
	return r
}), 1, 8)

// What is resolved stands alone: as a Pack of its own it resolves to itself.
func TestResolveTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		once, err := Resolve(sensible.Draw(t, "pack"), now)
		if err != nil {
			t.Fatal(err)
		}
		alone := make(Pack, len(once))
		for i, r := range once {
			alone[i] = Record{
				Name: r.Name, Unit: r.Unit, Value: r.Value, StringValue: r.StringValue,
				BoolValue: r.BoolValue, DataValue: r.DataValue, Sum: r.Sum,
				Time: float64(r.Time.UnixMicro()) / 1e6,
			}
			if r.Relative {
				alone[i].Time = r.Time.Sub(now).Seconds()
			}
		}
		twice, err := Resolve(alone, now)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(once, twice, sameNumber, cmpopts.IgnoreFields(Resolved{}, "Record")); diff != "" {
			t.Errorf("(-once +twice):\n%s", diff)
		}
	})
}

func TestEncodeRefusesWhatIsNoNumber(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		p := Pack{{Name: "a", Value: &x}}
		if data, err := EncodeJSON(p); err == nil {
			t.Errorf("JSON of %v is %q", x, data)
		}
		if data, err := EncodeCBOR(p); err == nil {
			t.Errorf("CBOR of %v is %x", x, data)
		}
	}
}
