package senml

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// What RFC 8428 forbids, with the section that does, and what we bound.
func TestRefusals(t *testing.T) {
	for _, row := range []struct{ what, pack, want string }{
		{"5: a pack is an array", `{"n":"a","v":1}`, "pack: is no JSON array"},
		{"5: of objects", `[1]`, "record 1: record: is no JSON object"},
		{"3: at least one record", `[]`, "pack: is empty; send at least one record"},
		{"broken JSON", `[{"n":"a","v":1}`, "pack: does not end"},
		{"broken JSON in a record", `[{"n":"a","v":}]`, "record 1: v: is broken"},
		{"something after the pack", `[{"n":"a","v":1}] []`, "pack: is followed by something"},
		{"not UTF-8", "[{\"n\":\"a\",\"vs\":\"\xff\"}]", "pack: is not UTF-8"},
		{"a label twice", `[{"n":"a","v":1,"v":2}]`, "record 1: v: stands twice in one record"},
		{"4.2: one value", `[{"n":"a","v":1,"vs":"x"}]`, "record 1: v: stands beside another value: there are 2"},
		{"4.2: no value", `[{"n":"a"}]`, "record 1: v: is missing; send one of v, vs, vb, vd, or a sum s"},
		{"4.1: a version from the future", `[{"bver":11,"n":"a","v":1}]`, `record 1: bver: "11" is a version not understood here`},
		{"4.1: no version at all", `[{"bver":0,"n":"a","v":1}]`, `record 1: bver: "0" is a version not understood`},
		{"4.1: two versions", `[{"bver":10,"n":"a","v":1},{"bver":9,"n":"a","v":1}]`, `record 2: bver: "9" contradicts version 10 of record 1`},
		{"version is whole", `[{"bver":9.5,"n":"a","v":1}]`, `record 1: bver: "9.5" has the wrong type`},
		{"4.4: must understand", `[{"n":"a","v":1,"shut_":true}]`, "record 1: shut_: must be understood"},
		{"4.5.1: no name", `[{"v":1}]`, "record 1: n: is missing"},
		{"4.5.1: begins with", `[{"n":":a","v":1}]`, `record 1: n: ":a" does not begin with a letter`},
		{"4.5.1: characters", `[{"n":"a b","v":1}]`, `record 1: n: "a b" has the character ' '`},
		{"4.5.1: characters beyond ASCII", `[{"n":"höhe","v":1}]`, `has the character 'ö'`},
		{"long name", fmt.Sprintf(`[{"n":"%s","v":1}]`, strings.Repeat("a", 257)), "is longer than 256 characters"},
		{"text for a number", `[{"n":"a","v":"1"}]`, `record 1: v: "\"1\"" has the wrong type or size; send a finite number`},
		{"null is no number", `[{"n":"a","v":null}]`, `record 1: v: "null" has the wrong type`},
		{"NaN is no JSON", `[{"n":"a","v":NaN}]`, "record 1: v: is broken"},
		{"too large for a float64", `[{"n":"a","v":1e999}]`, `record 1: v: "1e999" has the wrong type or size`},
		{"too large once added", `[{"bv":1e308,"n":"a","v":1e308}]`, `record 1: v: "+Inf" is no number`},
		{"sum too large once added", `[{"bs":1e308,"n":"a","s":1e308}]`, `record 1: s: "+Inf" is no number`},
		{"number for a truth", `[{"n":"a","vb":1}]`, "record 1: vb: \"1\" has the wrong type or size; send true or false"},
		{"number for a text", `[{"n":"a","vs":1}]`, "record 1: vs: \"1\" has the wrong type or size; send text"},
		{"number for a name", `[{"n":7,"v":1}]`, "record 1: n: \"7\" has the wrong type"},
		{"5: padded base64", `[{"n":"a","vd":"aGkgCg=="}]`, "record 1: vd:"},
		{"no time of any calendar", `[{"n":"a","t":1e300,"v":1}]`, `record 1: t: "1e+300" is no time`},
		{"relative beyond sense", `[{"n":"a","t":-1e12,"v":1}]`, `record 1: t: "-1e+12" is no time`},
		{"negative update time", `[{"n":"a","ut":-1,"v":1}]`, `record 1: ut: "-1" is no time to wait`},
		{"too many records", "[" + strings.Repeat(`{"n":"a","v":1},`, MaxRecords) + `{"n":"a","v":1}]`, "pack: has more than 10000 records"},
	} {
		t.Run(row.what, func(t *testing.T) {
			refused(t, row.want, func() (Pack, error) { return DecodeJSON([]byte(row.pack)) })
		})
	}
}

func TestRefusalsCBOR(t *testing.T) {
	for _, row := range []struct{ what, pack, want string }{
		{"null is no pack", "f6", "pack: is no CBOR array"},
		{"a map is no pack", "a2 00 61 61 02 01", "pack: is no CBOR array"},
		{"null is no record", "81 f6", "record 1: record: is null"},
		{"cut short", "81 a2 00 61 61 02", "pack: is no SenML in CBOR"},
		{"something after the pack", "81 a2 00 61 61 02 01 00", "pack: is no SenML in CBOR"},
		{"a label twice", "81 a3 00 61 61 02 01 02 02", "pack: is no SenML in CBOR"},
		{"table 4: labels are integers", "81 a2 61 6e 61 61 02 01", "record 1: n: is spelled as text"},
		{"a label of bytes", "81 a1 41 00 01", "record 1: "},
		{"NaN", "81 a2 00 61 61 02 f9 7e 00", "record 1: v: \"NaN\" has the wrong type"},
		{"infinity", "81 a2 00 61 61 02 f9 7c 00", "record 1: v: \"Infinity\" has the wrong type"},
		{"null is no number", "81 a2 00 61 61 02 f6", "record 1: v: \"null\" has the wrong type"},
		{"a bignum", "81 a2 00 61 61 02 c2 49 01 00 00 00 00 00 00 00 00", "record 1: v: "},
		{"a fraction beyond a float64", "81 a2 00 61 61 02 c4 82 19 01 90 01", "record 1: v: "},
		{"a fraction of text", "81 a2 00 61 61 02 c4 82 61 31 01", "record 1: v: "},
		{"null is no text", "81 a2 00 f6 02 01", "record 1: n: \"null\" has the wrong type"},
		{"null is no truth", "81 a2 00 61 61 04 f6", "record 1: vb: \"null\" has the wrong type"},
		{"too many records", "9a 00 00 27 11" + strings.Repeat("a0", MaxRecords+1), "pack: has more than 10000 records"},
		{"text for bytes", "81 a2 00 61 61 08 61 61", "record 1: vd: "},
	} {
		t.Run(row.what, func(t *testing.T) {
			refused(t, row.want, func() (Pack, error) { return DecodeCBOR(fromHex(t, row.pack)) })
		})
	}
}

// refused checks that decoding or else resolving fails with these words.
func refused(t *testing.T, want string, decode func() (Pack, error)) {
	t.Helper()
	pack, err := decode()
	if err == nil {
		_, err = Resolve(pack, now)
	}
	if err == nil {
		t.Fatalf("accepted as %+v", pack)
	}
	if !strings.Contains(err.Error(), want) {
		t.Errorf("error is %q, want %q", err, want)
	}
}

// What must not be refused.
func TestAccepted(t *testing.T) {
	for _, row := range []struct {
		what, pack string
		check      func(Resolved) bool
	}{
		{"4.4: unknown fields are ignored", `[{"n":"a","v":1,"shut":{"x":[1]}}]`, func(r Resolved) bool { return *r.Value == 1 }},
		{"4.2: a sum without a value", `[{"n":"a","s":7}]`, func(r Resolved) bool { return r.Value == nil && *r.Sum == 7 }},
		{"4.5.4: base value and value", `[{"bv":20,"n":"a","v":1.5}]`, func(r Resolved) bool { return *r.Value == 21.5 }},
		{"4.5.4: base value alone", `[{"bv":20},{"n":"a"}]`, func(r Resolved) bool { return *r.Value == 20 }},
		{"4.5.4: base sum alone", `[{"bs":3,"n":"a","v":1}]`, func(r Resolved) bool { return *r.Value == 1 && *r.Sum == 3 }},
		{"a base value does not touch text", `[{"bv":20,"n":"a","vs":"x"}]`, func(r Resolved) bool { return r.Value == nil && *r.StringValue == "x" }},
		{"a record keeps its number", `[{"bn":"x/"},{"n":"a","v":1}]`, func(r Resolved) bool { return r.Record == 2 }},
		{"a base may be reset", `[{"bn":"x/","bt":1e9,"bu":"m","bv":2},{"bn":"","bt":0,"bu":"","bv":0,"n":"a","v":1}]`,
			func(r Resolved) bool { return r.Name == "a" && r.Relative && r.Unit == "" && *r.Value == 1 }},
		{"4.5.3: the last relative second", `[{"n":"a","t":268435455,"v":1}]`,
			func(r Resolved) bool { return r.Relative && r.Time.Equal(now.Add(268435455*time.Second)) }},
		{"4.5.3: the first absolute second", `[{"n":"a","t":268435456,"v":1}]`,
			func(r Resolved) bool { return !r.Relative && r.Time.Unix() == 268435456 }},
		{"4.5.3: before now", `[{"n":"a","t":-1.5,"v":1}]`,
			func(r Resolved) bool { return r.Relative && r.Time.Equal(now.Add(-1500*time.Millisecond)) }},
		{"empty bytes are a value", `[{"n":"a","vd":""}]`, func(r Resolved) bool { return r.DataValue != nil && len(r.DataValue) == 0 }},
		{"an old version", `[{"bver":5,"n":"a","v":1},{"bver":5,"n":"a","v":1}]`, func(r Resolved) bool { return *r.Value == 1 }},
	} {
		t.Run(row.what, func(t *testing.T) {
			pack, err := DecodeJSON([]byte(row.pack))
			if err != nil {
				t.Fatal(err)
			}
			got, err := Resolve(pack, now)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) == 0 || !row.check(got[len(got)-1]) {
				t.Errorf("resolved to %+v", got)
			}
		})
	}
}
