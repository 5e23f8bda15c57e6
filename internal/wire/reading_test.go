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
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
	dto "github.com/prometheus/client_model/go"
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

// gathered is what a metrics page gets from counters.
func gathered(t *testing.T, door *DoorCounters, log *LogCounters) []*dto.MetricFamily {
	t.Helper()
	registry := prometheus.NewRegistry()
	for _, c := range append(door.Collectors(), log.Collectors()...) {
		if err := registry.Register(c); err != nil {
			t.Error(err)
		}
	}
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	return families
}

// Every counter comes out under its name and reason, as the linter of Prometheus wants it.
func TestCounters(t *testing.T) {
	var door DoorCounters
	var log LogCounters
	door.Refused[WrongUnit].Add(7)
	door.Waited.Add(int64(3 * time.Millisecond))
	door.Connections.Add(2)
	log.Frames.Add(5)
	got := map[string]float64{}
	families := gathered(t, &door, &log)
	for _, f := range families {
		for _, m := range f.Metric {
			name := f.GetName()
			for _, l := range m.Label {
				name += " " + l.GetValue()
			}
			got[name] = m.GetCounter().GetValue() + m.GetGauge().GetValue()
		}
	}
	want := map[string]float64{
		"isohaline_door_refused_total wrong-unit":   7,
		"isohaline_door_refused_total out-of-range": 0,
		"isohaline_door_wait_seconds_total":         0.003,
		"isohaline_door_connections":                2,
		"isohaline_log_frames_total":                5,
	}
	for name, want := range want {
		if v, ok := got[name]; !ok || v != want {
			t.Errorf("%q is %v (%v), want %v", name, v, ok, want)
		}
	}
	problems, err := promlint.NewWithMetricFamilies(families).Lint()
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
}
