package senml

import (
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// now is when the examples arrive.
var now = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// seconds is a time as the RFC writes it.
func seconds(s float64) time.Time {
	return time.UnixMicro(int64(s * 1e6)).UTC()
}

// The examples of RFC 8428 (C. Jennings, Z. Shelby, J. Arkko, A. Keranen,
// C. Bormann: Sensor Measurement Lists (SenML), August 2018), each with the
// Records that it resolves to. Section 5.1.4 gives those of 5.1.3 in full; the
// others follow from the text beside them.
var examples = []struct {
	section string
	json    string
	want    []Resolved
}{
	{
		"5.1.1 single data point",
		`[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]`,
		[]Resolved{{Name: "urn:dev:ow:10e2073a01080063", Unit: "Cel", Time: now, Relative: true, Value: new(23.1)}},
	},
	{
		"5.1.2 multiple data points, first",
		`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
		  {"n":"current","u":"A","v":1.2}]`,
		[]Resolved{
			{Name: "urn:dev:ow:10e2073a01080063:voltage", Unit: "V", Time: now, Relative: true, Value: new(120.1)},
			{Name: "urn:dev:ow:10e2073a01080063:current", Unit: "A", Time: now, Relative: true, Value: new(1.2)},
		},
	},
	{
		"5.1.2 multiple data points, second",
		voltageAndCurrents,
		[]Resolved{
			{Name: "urn:dev:ow:10e2073a0108006:voltage", Unit: "V", Time: seconds(1276020076.001), Value: new(120.1)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020071.001), Value: new(1.2)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020072.001), Value: new(1.3)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020073.001), Value: new(1.4)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020074.001), Value: new(1.5)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020075.001), Value: new(1.6)},
			{Name: "urn:dev:ow:10e2073a0108006:current", Unit: "A", Time: seconds(1276020076.001), Value: new(1.7)},
		},
	},
	{
		"5.1.3 multiple measurements, resolved in 5.1.4",
		`[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
		  {"u":"lon","v":24.30621},
		  {"u":"lat","v":60.07965},
		  {"t":60,"v":20.3},
		  {"u":"lon","t":60,"v":24.30622},
		  {"u":"lat","t":60,"v":60.07965},
		  {"t":120,"v":20.7},
		  {"u":"lon","t":120,"v":24.30623},
		  {"u":"lat","t":120,"v":60.07966},
		  {"u":"%EL","t":150,"v":98},
		  {"t":180,"v":21.2},
		  {"u":"lon","t":180,"v":24.30628},
		  {"u":"lat","t":180,"v":60.07967}]`,
		[]Resolved{
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "%RH", Time: seconds(1320067464), Value: new(20.0)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lon", Time: seconds(1320067464), Value: new(24.30621)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lat", Time: seconds(1320067464), Value: new(60.07965)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "%RH", Time: seconds(1320067524), Value: new(20.3)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lon", Time: seconds(1320067524), Value: new(24.30622)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lat", Time: seconds(1320067524), Value: new(60.07965)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "%RH", Time: seconds(1320067584), Value: new(20.7)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lon", Time: seconds(1320067584), Value: new(24.30623)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lat", Time: seconds(1320067584), Value: new(60.07966)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "%EL", Time: seconds(1320067614), Value: new(98.0)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "%RH", Time: seconds(1320067644), Value: new(21.2)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lon", Time: seconds(1320067644), Value: new(24.30628)},
			{Name: "urn:dev:ow:10e2073a01080063", Unit: "lat", Time: seconds(1320067644), Value: new(60.07967)},
		},
	},
	{
		"5.1.5 multiple data types",
		`[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
		  {"n":"label","vs":"Machine Room"},
		  {"n":"open","vb":false},
		  {"n":"nfc-reader","vd":"aGkgCg"}]`,
		[]Resolved{
			{Name: "urn:dev:ow:10e2073a01080063:temp", Unit: "Cel", Time: now, Relative: true, Value: new(23.1)},
			{Name: "urn:dev:ow:10e2073a01080063:label", Time: now, Relative: true, StringValue: new("Machine Room")},
			{Name: "urn:dev:ow:10e2073a01080063:open", Time: now, Relative: true, BoolValue: new(false)},
			{Name: "urn:dev:ow:10e2073a01080063:nfc-reader", Time: now, Relative: true, DataValue: []byte("hi \n")},
		},
	},
	{
		"5.1.6 collection of resources",
		`[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":27.2},
		  {"n":"humidity","u":"%RH","v":80},
		  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
		  {"n":"humidity","u":"%RH","v":67}]`,
		[]Resolved{
			{Name: "2001:db8::2/temperature", Unit: "Cel", Time: seconds(1320078429), Value: new(27.2)},
			{Name: "2001:db8::2/humidity", Unit: "%RH", Time: seconds(1320078429), Value: new(80.0)},
			{Name: "2001:db8::1/temperature", Unit: "Cel", Time: seconds(1320078429), Value: new(12.3)},
			{Name: "2001:db8::1/humidity", Unit: "%RH", Time: seconds(1320078429), Value: new(67.0)},
		},
	},
	{
		"5.1.7 setting an actuator",
		`[{"bn":"urn:dev:ow:10e2073a01080063:"},
		  {"n":"temp","u":"Cel","v":23.1},
		  {"n":"heat","u":"/","v":1},
		  {"n":"fan","u":"/","v":0}]`,
		[]Resolved{
			{Name: "urn:dev:ow:10e2073a01080063:temp", Unit: "Cel", Time: now, Relative: true, Value: new(23.1)},
			{Name: "urn:dev:ow:10e2073a01080063:heat", Unit: "/", Time: now, Relative: true, Value: new(1.0)},
			{Name: "urn:dev:ow:10e2073a01080063:fan", Unit: "/", Time: now, Relative: true, Value: new(0.0)},
		},
	},
}

const voltageAndCurrents = `[
	{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
	{"n":"current","t":-5,"v":1.2},
	{"n":"current","t":-4,"v":1.3},
	{"n":"current","t":-3,"v":1.4},
	{"n":"current","t":-2,"v":1.5},
	{"n":"current","t":-1,"v":1.6},
	{"n":"current","v":1.7}]`

func TestRFC8428Examples(t *testing.T) {
	for _, ex := range examples {
		t.Run(ex.section, func(t *testing.T) {
			pack, err := DecodeJSON([]byte(ex.json))
			if err != nil {
				t.Fatal(err)
			}
			got, err := Resolve(pack, now)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(ex.want, got, cmpopts.IgnoreFields(Resolved{}, "Record")); diff != "" {
				t.Errorf("resolved (-want +got):\n%s", diff)
			}
		})
	}
}

// voltageAndCurrentsCBOR is the dump in RFC 8428 section 6, which is the second
// example of section 5.1.2 in CBOR.
const voltageAndCurrentsCBOR = `
	87 a7 21 78 1b 75 72 6e 3a 64 65 76 3a 6f 77 3a
	31 30 65 32 30 37 33 61 30 31 30 38 30 30 36 3a
	22 fb 41 d3 03 a1 5b 00 10 62 23 61 41 20 05 00
	67 76 6f 6c 74 61 67 65 01 61 56 02 fb 40 5e 06
	66 66 66 66 66 a3 00 67 63 75 72 72 65 6e 74 06
	24 02 fb 3f f3 33 33 33 33 33 33 a3 00 67 63 75
	72 72 65 6e 74 06 23 02 fb 3f f4 cc cc cc cc cc
	cd a3 00 67 63 75 72 72 65 6e 74 06 22 02 fb 3f
	f6 66 66 66 66 66 66 a3 00 67 63 75 72 72 65 6e
	74 06 21 02 f9 3e 00 a3 00 67 63 75 72 72 65 6e
	74 06 20 02 fb 3f f9 99 99 99 99 99 9a a2 00 67
	63 75 72 72 65 6e 74 02 fb 3f fb 33 33 33 33 33
	33`

func fromHex(t testing.TB, dump string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.Join(strings.Fields(dump), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestRFC8428Section6(t *testing.T) {
	dump := fromHex(t, voltageAndCurrentsCBOR)
	fromCBOR, err := DecodeCBOR(dump)
	if err != nil {
		t.Fatal(err)
	}
	fromJSON, err := DecodeJSON([]byte(voltageAndCurrents))
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(fromJSON, fromCBOR); diff != "" {
		t.Errorf("the dump is another pack than the JSON of section 5.1.2 (-JSON +CBOR):\n%s", diff)
	}
	encoded, err := EncodeCBOR(fromJSON)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(dump, encoded); diff != "" {
		t.Errorf("encoding gives other bytes than the RFC (-want +got):\n%s", diff)
	}
}

// RFC 8949 section 3.4.4 gives 273.15 as the decimal fraction c4 82 21 19 6ab3;
// RFC 8428 section 6 allows such numbers.
func TestDecimalFraction(t *testing.T) {
	pack, err := DecodeCBOR(fromHex(t, "81 a2 00 61 61 02 c4 82 21 19 6a b3"))
	if err != nil {
		t.Fatal(err)
	}
	if got := *pack[0].Value; got != 273.15 {
		t.Errorf("value is %v, want 273.15", got)
	}
}
