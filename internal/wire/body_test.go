package wire

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/problem"
	"isohaline/internal/wire/senml"
)

// arrival is when the messages of these tests come in.
var arrival = time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)

// at is the reading of a channel of the lobby's sensor, as it arrives.
func at(channel string, value float64, unit string) Reading {
	return Reading{
		Site: "lobby", Device: "sump-1", Channel: channel, At: arrival, Received: arrival, Clock: ByArrival,
		Value: value, Unit: unit,
	}
}

func with(r Reading, change func(*Reading)) Reading {
	change(&r)
	return r
}

func TestReadBody(t *testing.T) {
	inCBOR, err := cbor.Marshal([]map[int]any{{0: "level", 1: "m", 2: 0.5}}) // the labels of RFC 8428 table 4
	if err != nil {
		t.Fatal(err)
	}
	byDevice := func(seconds int64) func(*Reading) {
		return func(r *Reading) { r.At, r.Clock = time.Unix(seconds, 0).UTC(), ByDevice }
	}
	for _, row := range []struct {
		what, body string
		want       []Reading
	}{
		{"SenML", `[{"n":"level","u":"m","v":0.312}]`, []Reading{at("level", 0.312, "m")}},
		{"after white space", "\n [{\"n\":\"level\",\"u\":\"m\",\"v\":0.312}]", []Reading{at("level", 0.312, "m")}},
		{"in CBOR", string(inCBOR), []Reading{at("level", 0.5, "m")}},
		{"under the device's own name", `[{"bn":"lobby/sump-1/","n":"level","u":"m","v":1}]`, []Reading{at("level", 1, "m")}},
		{"under a mapped name", `[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":25}]`, []Reading{at("temperature", 25, "Cel")}},
		{"in a secondary unit", `[{"n":"level","u":"mm","v":312}]`, []Reading{at("level", 0.312, "m")}},
		{"a switch and a text", `[{"n":"watch","vb":true},{"n":"note","vs":"cleaned"}]`,
			[]Reading{at("watch", 1, ""), with(at("note", 0, ""), func(r *Reading) { r.Text = "cleaned" })}},
		{"with the device's time", `[{"n":"level","u":"m","v":1,"t":1764064800}]`, []Reading{with(at("level", 1, "m"), byDevice(1764064800))}},
		{"a minute ago", `[{"n":"level","u":"m","v":1,"t":-60}]`,
			[]Reading{with(at("level", 1, "m"), func(r *Reading) { r.At = arrival.Add(-time.Minute) })}},
		{"at both ends of the range", `[{"n":"level","u":"m","t":-2,"v":0},{"n":"level","u":"m","t":-1,"v":2}]`, []Reading{
			with(at("level", 0, "m"), func(r *Reading) { r.At = arrival.Add(-2 * time.Second) }),
			with(at("level", 2, "m"), func(r *Reading) { r.At = arrival.Add(-time.Second) })}},
		{"a plain object", `{"level": 312, "watch": true, "note": "ok"}`,
			[]Reading{at("level", 0.312, "m"), at("watch", 1, ""), with(at("note", 0, ""), func(r *Reading) { r.Text = "ok" })}},
		{"numbers as text", `{"level": "312"}`, []Reading{at("level", 0.312, "m")}},
	} {
		t.Run(row.what, func(t *testing.T) {
			got, err := ReadBody(lobby, testProfile, []byte(row.body), arrival)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(row.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestReadBodyRefuses(t *testing.T) {
	for _, row := range []struct {
		what, body string
		reason     Reason
		want       string
	}{
		{"nothing", "", Malformed, "message: is empty; send SenML"},
		{"white space", " \n", Malformed, "message: is empty"},
		{"a number", "24.8", Malformed, `message: "24.8" is neither SenML nor a JSON object`},
		{"bytes", "\xff\xfe", Malformed, "is neither SenML nor a JSON object"},
		{"broken CBOR", "\x81\xa1", Malformed, "pack: is no SenML in CBOR"},
		{"an empty pack", "[]", Malformed, "pack: is empty"},
		{"base fields only", `[{"bn":"lobby/"}]`, Malformed, "message: has base fields and no reading"},
		{"a sum", `[{"n":"level","u":"m","s":3}]`, Malformed, "record 1: level: has the wrong kind of value; send no sum"},
		{"no value for a number", `[{"n":"level","u":"m","vb":true}]`, Malformed, "send its number as v"},
		{"no value for a switch", `[{"n":"watch","v":1}]`, Malformed, "send true or false as vb"},
		{"no value for a text", `[{"n":"note","v":1}]`, Malformed, "send its words as vs"},
		{"bytes for a text", `[{"n":"note","vd":"aGkgCg"}]`, Malformed, "send its words as vs"},
		{"a long text", fmt.Sprintf(`[{"n":"note","vs":"%s"}]`, strings.Repeat("x", maxTextLen+1)), OutOfRange, "is no text that can be kept; use at most 1024 bytes"},
		{"a text with a zero in it", `[{"n":"note","vs":"a\u0000b"}]`, OutOfRange, "without the character 0"},
		{"no unit", `[{"n":"level","v":1}]`, WrongUnit, `record 1: level: has no unit; send "m"`},
		{"another unit", `[{"n":"temperature","u":"K","v":298}]`, WrongUnit, `"K" is no unit of this channel; send "Cel"`},
		{"a multiple of another unit", `[{"n":"level","u":"hPa","v":1}]`, WrongUnit, `"hPa" is no unit of this channel`},
		{"just above the range", `[{"n":"level","u":"mm","v":2000.001}]`, OutOfRange, `"2000.001 mm" cannot be: this channel has 0 to 2 m`},
		{"just below the range", `[{"n":"level","u":"m","v":-0.001}]`, OutOfRange, `"-0.001 m" cannot be`},
		{"another site's name", `[{"n":"atrium/sump-1/level","u":"m","v":1}]`, UnknownChannel, `channel: "atrium/sump-1/level" is none of this device`},
		{"one bad record of two", `[{"n":"level","u":"m","v":1},{"n":"level","u":"m","v":9,"t":-1}]`, OutOfRange, "record 2: level: "},
		{"a bad record after base fields", `[{"bu":"m"},{"n":"level","v":9}]`, OutOfRange, "record 2: level: "},
		{"twice at one instant", `[{"n":"level","u":"m","v":1},{"n":"level","u":"m","v":1.1}]`, Malformed, "level: stands twice at 2026-11-25T10:00:00Z"},
		{"too many records", "[" + strings.Repeat(`{"n":"level","u":"m","v":1},`, senml.MaxRecords) + `{"n":"level","u":"m","v":1}]`, TooLarge, "has more than 10000 records"},
		{"too many bytes", strings.Repeat(" ", MaxMessage+1), TooLarge, `message: "1048577 bytes" is more than the 1048576`},
		{"an empty object", "{}", Malformed, "message: has no members"},
		{"a broken object", `{"level": 1`, Malformed, "is no valid JSON"},
		{"two objects", `{"level": 1}{}`, Malformed, "is no valid JSON"},
		{"an unmapped member", `{"pressure": 1}`, UnknownChannel, `name: "pressure" has no mapping`},
		{"a member of a missing channel", `{"gone": 1}`, UnknownChannel, `gone: channel: "no-such" is none of this device`},
		{"null", `{"note": null}`, Malformed, `note: "null" is no single value`},
		{"an object within", `{"note": {}}`, Malformed, `note: "{}" is no single value`},
		{"a member twice", `{"level": 1, "level": 2}`, Malformed, "level: stands twice"},
		{"two members of one channel", `{"watch": 1, "dry-contact": 1}`, Malformed, "watch: stands twice"},
		{"a member with anything in its name", `{"a\u0000\"` + strings.Repeat("b", 100) + `": {}}`, Malformed, `a\x00\"bbb`},
	} {
		t.Run(row.what, func(t *testing.T) {
			got, err := ReadBody(lobby, testProfile, []byte(row.body), arrival)
			refusedFor(t, got, err, row.reason, row.want)
		})
	}
}

func refusedFor(t *testing.T, got []Reading, err error, reason Reason, want string) {
	t.Helper()
	if err == nil {
		t.Fatalf("accepted as %+v", got)
	}
	if got != nil {
		t.Errorf("refused, and yet gives %+v", got)
	}
	if ReasonOf(err) != reason || !strings.Contains(err.Error(), want) {
		t.Errorf("refused as %v: %q, want %v: %q", ReasonOf(err), err, reason, want)
	}
	if len(err.Error()) > 1000 {
		t.Errorf("the message has %d characters", len(err.Error()))
	}
}

func TestReadPlain(t *testing.T) {
	for _, row := range []struct {
		word, payload string
		want          Reading
	}{
		{"level", "312", at("level", 0.312, "m")},
		{"level", " 3.12e2\r\n", at("level", 0.312, "m")},
		{"level", "+312.0", at("level", 0.312, "m")},
		{"temp/f", "32", at("temperature", 0, "Cel")},
		{"temp/f", "77", at("temperature", 25, "Cel")},
		{"watch", "wet", at("watch", 1, "")},
		{"watch", "OFF", at("watch", 0, "")},
		{"watch", "1", at("watch", 1, "")},
		{"dry-contact", "1", at("watch", 0, "")},
		{"dry-contact", "false", at("watch", 1, "")},
		{"note", "pump cleaned", with(at("note", 0, ""), func(r *Reading) { r.Text = "pump cleaned" })},
	} {
		t.Run(row.word+" "+row.payload, func(t *testing.T) {
			got, err := ReadPlain(lobby, testProfile, row.word, []byte(row.payload), arrival)
			if err != nil {
				t.Fatal(err)
			}
			// Fahrenheit: the offset -160/9 is rounded, so 32 °F is 0 °C within that.
			near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })
			if diff := cmp.Diff([]Reading{row.want}, got, near); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

func TestReadPlainRefuses(t *testing.T) {
	for _, row := range []struct {
		word, payload string
		reason        Reason
		want          string
	}{
		{"level", "", Malformed, "level: is no number; send digits with a point"},
		{"level", "24,8", Malformed, `level: "24,8" is no number`},
		{"level", "24.8 mm", Malformed, `"24.8 mm" is no number`},
		{"level", "NaN", Malformed, `"NaN" is no number`},
		{"level", "inf", Malformed, `"inf" is no number`},
		{"level", "0x10", Malformed, `"0x10" is no number`},
		{"level", "1e999", Malformed, `"1e999" is no number`},
		{"level", "1e308", OutOfRange, "cannot be"},
		{"level", "\xff", Malformed, "is not UTF-8"},
		{"watch", "maybe", Malformed, `watch: "maybe" is no state of a switch`},
		{"pressure", "1", UnknownChannel, `name: "pressure" has no mapping`},
		{"gone", "1", UnknownChannel, `"no-such" is none of this device`},
		{"note", strings.Repeat("x", maxTextLen+1), OutOfRange, "is no text that can be kept; use at most 1024 bytes"},
		{"note", strings.Repeat("x", MaxMessage+1), TooLarge, "is more than the 1048576 bytes"},
	} {
		t.Run(row.word+" "+problem.Shown(row.payload), func(t *testing.T) {
			got, err := ReadPlain(lobby, testProfile, row.word, []byte(row.payload), arrival)
			refusedFor(t, got, err, row.reason, row.want)
		})
	}
	bad := &Profile{Channels: testProfile.Channels, Plain: map[string]Mapping{"w": {Channel: "watch", Scale: 2}}}
	got, err := ReadPlain(lobby, bad, "w", []byte("1"), arrival)
	refusedFor(t, got, err, OutOfRange, "is no state of a switch once scaled")
	got, err = ReadPlain(lobby, &Profile{}, "level", []byte("1"), arrival)
	refusedFor(t, got, err, UnknownChannel, "has no mapping")
}

// The same message read twice gives the same keys, if the device says the time:
// that is what makes sending again harmless.
func TestSendingAgainIsHarmless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seconds := rapid.Float64Range(1_600_000_000, 1_764_064_800).Draw(t, "t")
		body := fmt.Appendf(nil, `[{"n":"level","u":"m","t":%v,"v":1}]`, seconds)
		first, err := ReadBody(lobby, testProfile, body, arrival)
		if err != nil {
			t.Fatal(err)
		}
		later := time.Duration(rapid.Int64Range(0, int64(1000*time.Hour)).Draw(t, "later"))
		second, err := ReadBody(lobby, testProfile, body, arrival.Add(later))
		if err != nil {
			t.Fatal(err)
		}
		if first[0].Key() != second[0].Key() {
			t.Errorf("keys are %v and %v", first[0].Key(), second[0].Key())
		}
		if off := math.Abs(float64(first[0].Key().AtMicros) - seconds*1e6); off > 1 {
			t.Errorf("the time is %v µs off", off)
		}
	})
}

func TestProfileCheck(t *testing.T) {
	if err := (&Profile{}).Check(); err != nil {
		t.Errorf("an empty profile: %v", err)
	}
	level := map[string]Channel{"level": {Unit: "m", Max: 2}}
	for _, row := range []struct {
		what string
		p    Profile
		want string
	}{
		{"channel's name", Profile{Channels: map[string]Channel{"Level": {Max: 1}}}, `channel: "Level" is not valid`},
		{"kind", Profile{Channels: map[string]Channel{"level": {Kind: 9}}}, "channel level: kind"},
		{"no range", Profile{Channels: map[string]Channel{"level": {}}}, `channel level: range: "0 to 0" is not valid`},
		{"infinite range", Profile{Channels: map[string]Channel{"level": {Max: math.Inf(1)}}}, "channel level: range"},
		{"range of NaN", Profile{Channels: map[string]Channel{"level": {Min: math.NaN(), Max: 1}}}, "channel level: range"},
		{"mapping to nothing", Profile{Channels: level, Plain: map[string]Mapping{"l": {Channel: "lvl"}}}, `plain l: channel: "lvl" is none of this device; use level`},
		{"mapping's unit", Profile{Channels: level, Plain: map[string]Mapping{"l": {Channel: "level", Unit: "Cel"}}}, `plain l: level: "Cel" is no unit`},
		{"mapping's scale", Profile{Channels: level, Plain: map[string]Mapping{"l": {Channel: "level", Scale: math.NaN()}}}, "plain l: scale"},
		{"name of nothing", Profile{Names: map[string]string{"x": "level"}}, "name x: channel: \"level\" is none of this device; this device has no channels yet"},
	} {
		t.Run(row.what, func(t *testing.T) {
			if err := row.p.Check(); err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("error is %v, want %q", err, row.want)
			}
		})
	}
	good := &Profile{Channels: testProfile.Channels, Plain: map[string]Mapping{"l": {Channel: "level", Unit: "cm"}}, Names: testProfile.Names}
	if err := good.Check(); err != nil {
		t.Error(err)
	}
}

// RFC 8798 section 3, table 1: secondary units and what they are of the primary
// ones. The table is quoted from memory; the factors are also those of the SI.
func TestSecondaryUnits(t *testing.T) {
	for _, row := range []struct {
		from, to    string
		value, want float64
	}{
		{"ms", "s", 1, 0.001},
		{"min", "s", 1, 60},
		{"h", "s", 1, 3600},
		{"kW", "W", 1, 1000},
		{"Wh", "J", 1, 3600},
		{"kWh", "J", 1, 3_600_000},
		{"MHz", "Hz", 1, 1e6},
		{"kVA", "VA", 1, 1000},
		{"kvar", "var", 1, 1000},
		{"Ah", "C", 1, 3600},
		{"varh", "vars", 1, 3600},
		{"kvarh", "vars", 1, 3_600_000},
		{"kVAh", "VAs", 1, 3_600_000},
		{"Wh/km", "J/m", 1, 3.6},
		{"KiB", "B", 1, 1024},
		{"GB", "B", 1, 1e9},
		{"Mbit/s", "bit/s", 1, 1e6},
		{"B/s", "bit/s", 1, 8},
		{"MB/s", "bit/s", 1, 8e6},
		{"ug/m3", "kg/m3", 1, 1e-9},
		{"mV", "V", 1, 0.001},
		{"mA", "A", 1, 0.001},
		{"ppm", "/", 1, 1e-6},
		{"/100", "/", 1, 0.01},
		{"/1000", "/", 1, 0.001},
		{"hPa", "Pa", 1, 100},
		{"mm", "m", 1, 0.001},
		{"cm", "m", 1, 0.01},
		{"km", "m", 1, 1000},
		{"mm/h", "m/s", 3_600_000, 1},
		{"m/h", "m/s", 3600, 1},
		{"km/h", "m/s", 3.6, 1},
		{"mm", "cm", 312, 31.2},
		{"m", "mm", 0.312, 312},
		{"Cel", "Cel", 25, 25},
	} {
		got, ok := convert(row.value, row.from, row.to)
		if !ok || math.Abs(got-row.want) > 1e-15*math.Abs(row.want) {
			t.Errorf("%v %s is %v %s (%v), want %v", row.value, row.from, got, row.to, ok, row.want)
		}
		back, ok := convert(got, row.to, row.from)
		if !ok || math.Abs(back-row.value) > 1e-15*math.Abs(row.value) {
			t.Errorf("%v %s is %v %s (%v), want %v", got, row.to, back, row.from, ok, row.value)
		}
	}
	for _, pair := range [][2]string{{"mm", "s"}, {"", "m"}, {"m", ""}, {"K", "Cel"}, {"mm", "hPa"}} {
		if got, ok := convert(1, pair[0], pair[1]); ok {
			t.Errorf("1 %s is %v %s", pair[0], got, pair[1])
		}
	}
}
