package wire

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestValidate(t *testing.T) {
	good := numbered(1)[0]
	if err := good.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		change func(*Reading)
		want   string
	}{
		{func(r *Reading) { r.Site = "" }, "site: is not valid"},
		{func(r *Reading) { r.Site = "Lobby" }, `site: "Lobby"`},
		{func(r *Reading) { r.Site = "a/b" }, `site: "a/b"`},
		{func(r *Reading) { r.Site = "-a" }, `site: "-a"`},
		{func(r *Reading) { r.Site = strings.Repeat("a", 65) }, "site: "},
		{func(r *Reading) { r.Device = "a.b" }, `device: "a.b"`},
		{func(r *Reading) { r.Device = "*" }, `device: "*"`},
		{func(r *Reading) { r.Channel = "" }, "channel: "},
		{func(r *Reading) { r.Channel = "a//b" }, "channel: "},
		{func(r *Reading) { r.Channel = "a/#" }, "channel: "},
		{func(r *Reading) { r.Channel = strings.Repeat("a", 129) }, "channel: "},
		{func(r *Reading) { r.Value = math.NaN() }, `value: "NaN" is no number`},
		{func(r *Reading) { r.Value = math.Inf(-1) }, `value: "-Inf" is no number`},
		{func(r *Reading) { r.Unit = strings.Repeat("m", 33) }, "unit: "},
		{func(r *Reading) { r.Unit = "\xff" }, "unit: "},
		{func(r *Reading) { r.Text = strings.Repeat("m", 1025) }, "text: "},
		{func(r *Reading) { r.Text = "\xff" }, "text: "},
		{func(r *Reading) { r.Text = "a\x00" }, "text: "},
		{func(r *Reading) { r.At = time.Time{} }, "at: "},
		{func(r *Reading) { r.At = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }, "at: "},
		{func(r *Reading) { r.Received = time.Time{} }, "received: "},
	} {
		bad := with(good, row.change)
		if err := bad.Validate(); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%+v: error is %v, want %q", bad, err, row.want)
		}
	}
	for _, name := range []string{"a", "0", "sump-1", "a_b", strings.Repeat("a", 64)} {
		if r := with(good, func(r *Reading) { r.Site, r.Device, r.Channel = name, name, name+"/"+name[:1] }); r.Validate() != nil {
			t.Errorf("%q is refused: %v", name, r.Validate())
		}
	}
}

// Two readings are the same reading if and only if what the key names is the same.
func TestKey(t *testing.T) {
	a := numbered(1)[0]
	same := with(a, func(r *Reading) { r.Value, r.Received, r.Skew, r.At = 9, arrival, 1, r.At.Local() })
	if a.Key() != same.Key() {
		t.Errorf("keys differ: %v, %v", a.Key(), same.Key())
	}
	for _, change := range []func(*Reading){
		func(r *Reading) { r.Site = "atrium" },
		func(r *Reading) { r.Device = "sump-2" },
		func(r *Reading) { r.Channel = "temperature" },
		func(r *Reading) { r.At = r.At.Add(time.Microsecond) },
	} {
		if other := with(a, change); a.Key() == other.Key() {
			t.Errorf("%+v has the same key", other)
		}
	}
}

var anyReading = rapid.Custom(func(t *rapid.T) Reading {
	name := rapid.StringMatching(`[a-z0-9][a-z0-9_-]{0,9}`)
	micro := rapid.Int64Range(-62_135_596_799_000_000, 253_402_300_799_000_000)
	return Reading{
		Site: name.Draw(t, "site"), Device: name.Draw(t, "device"),
		Channel: rapid.StringMatching(`[a-z0-9][a-z0-9_-]{0,5}(/[a-z0-9]{1,5}){0,2}`).Draw(t, "channel"),
		At:      time.UnixMicro(micro.Draw(t, "at")).UTC(), Received: time.UnixMicro(micro.Draw(t, "received")).UTC(),
		Clock: Clock(rapid.IntRange(0, int(Restamped)).Draw(t, "clock")),
		Skew:  time.Duration(rapid.Int64().Draw(t, "skew")),
		Value: rapid.Float64().Draw(t, "value"),
		Unit:  rapid.SampledFrom([]string{"", "m", "Cel", "%RH"}).Draw(t, "unit"),
		Text:  rapid.StringMatching(`[^\x00]{0,20}`).Draw(t, "text"),
	}
})

func frameOf(readings []Reading) ([]byte, error) {
	encoded := make([]cbor.RawMessage, len(readings))
	for i, r := range readings {
		var err error
		if encoded[i], err = encodeReading(r); err != nil {
			return nil, err
		}
	}
	return encodeFrame(encoded)
}

func TestFrameRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(anyReading, 1, 8).Draw(t, "readings")
		data, err := frameOf(want)
		if err != nil {
			t.Fatal(err)
		}
		got, err := decodeFrame(data)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	})
}

// The largest reading there can be fits into a frame alone, with its header.
func TestLargestReadingFits(t *testing.T) {
	r := Reading{
		Site: strings.Repeat("s", maxNameLen), Device: strings.Repeat("d", maxNameLen), Channel: strings.Repeat("c", maxChannelLen),
		At: arrival, Received: arrival.Add(-time.Hour), Clock: Restamped, Skew: math.MaxInt64,
		Value: 1.0 / 3, Unit: strings.Repeat("u", maxUnitLen), Text: strings.Repeat("t", maxTextLen),
	}
	encoded, err := encodeReading(r)
	if err != nil {
		t.Fatal(err)
	}
	var e entry
	if !e.fits(1, len(encoded)) {
		t.Errorf("%d bytes do not fit", len(encoded))
	}
}

// A full frame is no larger than a NATS server takes by default, a mebibyte.
func TestFullFrame(t *testing.T) {
	readings := make([]Reading, maxFrameReadings)
	for i := range readings {
		readings[i] = with(numbered(1)[0], func(r *Reading) { r.Text = strings.Repeat("t", maxTextLen) })
	}
	entries, err := split(readings)
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for _, e := range entries {
		data, err := encodeFrame(e.readings)
		if err != nil {
			t.Fatal(err)
		}
		if len(data) > maxFrameBytes {
			t.Errorf("a frame has %d bytes, more than %d", len(data), maxFrameBytes)
		}
		got, err := decodeFrame(data)
		if err != nil {
			t.Fatal(err)
		}
		total += len(got)
	}
	if total != len(readings) {
		t.Errorf("%d readings came out of %d", total, len(readings))
	}
}

func TestDecodeFrameRefuses(t *testing.T) {
	encoded, err := encodeReading(numbered(1)[0])
	if err != nil {
		t.Fatal(err)
	}
	newer, err := cbor.Marshal(frame[[]cbor.RawMessage]{Version: 2, Readings: []cbor.RawMessage{encoded}})
	if err != nil {
		t.Fatal(err)
	}
	nameless, err := cbor.Marshal([]any{1, []any{map[int]any{1: "", 2: "d", 3: "c", 4: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		what string
		data []byte
		want string
	}{
		{"nothing", nil, "frame: "},
		{"text", []byte("hello"), "frame: "},
		{"a newer version", newer, "version 2 is not understood; this program reads version 1"},
		{"an invalid reading", nameless, "frame: reading 1: site: "},
	} {
		if got, err := decodeFrame(row.data); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %+v, %v; want %q", row.what, got, err, row.want)
		}
	}
}

func TestReasons(t *testing.T) {
	seen := map[string]bool{}
	for r := range reasons {
		if seen[r.String()] || r.String() == "" {
			t.Errorf("reason %d is called %q", r, r)
		}
		seen[r.String()] = true
	}
	if got := ReasonOf(fmt.Errorf("wrapped: %w", &Problem{Reason: WrongUnit})); got != WrongUnit {
		t.Errorf("the reason of a wrapped problem is %v", got)
	}
	if got := ReasonOf(errors.New("disk full")); got != LogUnavailable {
		t.Errorf("the reason of anything else is %v", got)
	}
}

// Every counter has a name of its own and comes out under it.
func TestSamples(t *testing.T) {
	var door DoorCounters
	var log LogCounters
	door.Refused[WrongUnit].Add(7)
	door.Waited.Add(int64(3 * time.Millisecond))
	log.Frames.Add(5)
	got := map[string]int64{}
	for _, s := range append(door.Samples(), log.Samples()...) {
		name := s.Name + " " + s.Reason
		if _, ok := got[name]; ok || s.Help == "" {
			t.Errorf("%q stands twice, or without a word", name)
		}
		got[name] = s.Value
	}
	for name, want := range map[string]int64{
		"isohaline_door_refused_total wrong-unit":   7,
		"isohaline_door_wait_milliseconds_total ":   3,
		"isohaline_log_frames_total ":               5,
		"isohaline_door_refused_total out-of-range": 0,
	} {
		if v, ok := got[name]; !ok || v != want {
			t.Errorf("%q is %d (%v), want %d", name, v, ok, want)
		}
	}
}
