package channel

import (
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/account"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

var update = flag.Bool("update", false, "write the table of docs/wire.md again")

const (
	page       = "../../docs/wire.md"
	tableStart = "<!-- This table is made from the program: go test ./internal/channel -run Table -update -->\n\n"
	tableEnd   = "\n<!-- end of the table -->\n"
)

// table is the list as the reader's guide has it.
func table() string {
	var b strings.Builder
	b.WriteString("| channel | what | on the wire | values | in tables also |\n|---|---|---|---|---|\n")
	for i := range list {
		c := &list[i]
		on, values := "true or false", "1, 0, on, off, wet, dry"
		if !c.Contact {
			on, values = "no unit: "+c.Unit, fmt.Sprintf("%g to %g %s", c.Min, c.Max, c.Unit)
			if c.SenML != "" {
				on = "`" + c.SenML + "`"
			}
		}
		also := ""
		if all := Units(c.Name); len(all) > 0 {
			also = strings.Join(all[1:], ", ")
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", c.Name, c.Title, on, values, also)
	}
	return b.String()
}

// TestTable: the reader's guide has every channel as the program has it.
func TestTable(t *testing.T) {
	text, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(text), tableStart)
	old, after, ends := strings.Cut(rest, tableEnd)
	if !found || !ends {
		t.Fatalf("%s has lost its marks %q and %q", page, tableStart, tableEnd)
	}
	if *update {
		if err := os.WriteFile(page, []byte(before+tableStart+table()+tableEnd+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if diff := cmp.Diff(old, table()); diff != "" {
		t.Errorf("%s is behind the program (-document +program):\n%s", page, diff)
	}
}

// senML are the units that channels use, as RFC 8428, section 12.1, registers them.
var senML = []string{"m", "s", "Cel", "%RH", "l", "kg/m3", "pH", "V", "W", "S/m", "Pa"}

// TestRows: every channel can be shown, written in a table and refused.
func TestRows(t *testing.T) {
	if err := Profile().Check(); err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	headed := map[string]string{}
	for i := range list {
		c := &list[i]
		if seen[c.Name] {
			t.Errorf("%s is there twice", c.Name)
		}
		seen[c.Name] = true
		if c.Title == "" {
			t.Errorf("%s has no title", c.Name)
		}
		for _, h := range append(slices.Clone(c.Headings), strings.ReplaceAll(c.Name, "-", " ")) {
			if first, ok := headed[h]; ok {
				t.Errorf("%q heads a column of %s and of %s", h, first, c.Name)
			}
			headed[h] = c.Name
			if got, ok := Headed(h); !ok || got != c.Name || h != strings.Join(strings.Fields(strings.ToLower(h)), " ") {
				t.Errorf("the heading %q of %s is of %q", h, c.Name, got)
			}
		}
		if c.Contact {
			if c.Unit+c.SenML != "" || c.Min != 0 || c.Max != 0 || len(c.Also) > 0 || c.Hand != nil || (c.Turned[0] == "") != (c.Turned[1] == "") {
				t.Errorf("%s is a contact and %+v", c.Name, c)
			}
			continue
		}
		if c.Unit == "" || !(c.Min < c.Max) || c.Turned != [2]string{} {
			t.Errorf("%s is a number and %+v", c.Name, c)
		}
		if c.SenML != "" && !slices.Contains(senML, c.SenML) {
			t.Errorf("%s is in %q, which is not registered for SenML", c.Name, c.SenML)
		}
		if c.Hand != nil {
			if got := c.Hand.Units[0]; got != Shown(c.Name).Unit {
				t.Errorf("%s is typed in %s and shown in %s", c.Name, got, Shown(c.Name).Unit)
			}
			for _, u := range c.Hand.Units { // what a screen offers can be read
				typed := map[string]string{"SG": "1.0264 SG@25/25", "mS/cm": "53 mS/cm@25°C", "°F": "77 °F"}[u]
				if typed == "" {
					typed = "8 " + u
				}
				v, err := c.Hand.Quantity.Parse(typed)
				if lo, hi := c.HandRange(); err != nil || v < lo || v > hi {
					t.Errorf("%s: %q is %v, %v", c.Name, typed, v, err)
				}
			}
			if v, err := c.Hand.Quantity.Parse("8 " + c.Hand.Units[0]); err != nil || v != 8 {
				t.Errorf("%s: 8 %s is %v, %v: a bare number would be another", c.Name, c.Hand.Units[0], v, err)
			}
		}
	}
}

var device = wire.DeviceID{Site: "harbour", Device: "sump-1"}

// plain reads one bare value.
func plain(p *wire.Profile, word, value string, at time.Time) (wire.Reading, error) {
	got, err := wire.ReadPlain(device, p, word, []byte(value), at)
	if err != nil {
		return wire.Reading{}, err
	}
	return got[0], nil
}

// TestRanges: the profile takes both ends of a channel's range, in every unit that
// a table may be in, and refuses what lies beyond.
func TestRanges(t *testing.T) {
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	for i := range list {
		c := &list[i]
		if c.Contact {
			for text, want := range map[string]float64{"on": 1, "0": 0} {
				if r, err := plain(Profile(), c.Name, text, at); err != nil || r.Value != want {
					t.Errorf("%s %s: %+v, %v", c.Name, text, r, err)
				}
			}
			if _, err := plain(Profile(), c.Name, "0.5", at); err == nil {
				t.Errorf("%s is taken half", c.Name)
			}
			continue
		}
		for _, unit := range Units(c.Name) {
			m, ok := Recorded(c.Name, unit)
			if !ok {
				t.Fatalf("%s in %s is nothing", c.Name, unit)
			}
			p := &wire.Profile{Channels: Profile().Channels, Plain: map[string]wire.Mapping{"x": m}}
			if err := p.Check(); err != nil {
				t.Fatalf("%s in %s: %v", c.Name, unit, err)
			}
			read := func(own float64) error { // a value of the channel, written in the unit
				one, zero := inOwn(t, m, c, 1), inOwn(t, m, c, 0)
				_, err := plain(p, "x", fmt.Sprintf("%.17g", (own-zero)/(one-zero)), at)
				return err
			}
			inside, beyond := (c.Max-c.Min)*1e-9, (c.Max-c.Min)*1e-6
			for _, own := range []float64{c.Min + inside, c.Max - inside} {
				if err := read(own); err != nil {
					t.Errorf("%s in %s: %v", c.Name, unit, err)
				}
			}
			for _, own := range []float64{c.Min - beyond, c.Max + beyond} {
				if err := read(own); err == nil {
					t.Errorf("%s in %s: %v %s is taken", c.Name, unit, own, c.Unit)
				}
			}
		}
		for _, own := range []float64{c.Min, c.Max} { // exactly, in its own unit
			r, err := plain(Profile(), c.Name, fmt.Sprint(own), at)
			if err != nil || r.Value != own || r.Unit != c.SenML {
				t.Errorf("%s of %v: %+v, %v", c.Name, own, r, err)
			}
			got, err := wire.ReadBody(device, Profile(), fmt.Appendf(nil, `[{"n":%q,"u":%q,"v":%v,"t":1764064800}]`, c.Name, c.SenML, own), at)
			if err != nil || len(got) != 1 || got[0].Value != own {
				t.Errorf("%s of %v in SenML: %+v, %v", c.Name, own, got, err)
			}
			made := Reading(device, c.Name, own, at, at)
			if err := made.Validate(); err != nil || made.Unit != c.SenML {
				t.Errorf("%+v: %v", made, err)
			}
		}
		for _, own := range []float64{math.Nextafter(c.Min, math.Inf(-1)), math.Nextafter(c.Max, math.Inf(1))} {
			if _, err := plain(Profile(), c.Name, fmt.Sprintf("%.17g", own), at); err == nil {
				t.Errorf("%s of %v is taken", c.Name, own)
			}
		}
	}
}

// inOwn is a number of a mapping in the channel's own unit, worked out beside
// package wire: by RFC 8798's factors of the few units that tables use.
func inOwn(t *testing.T, m wire.Mapping, c *Channel, x float64) float64 {
	t.Helper()
	factor, ok := map[string]float64{"": 1, c.SenML: 1, "mm": 0.001, "cm": 0.01, "min": 60, "h": 3600, "ug/m3": 1e-9}[m.Unit]
	if !ok {
		t.Fatalf("%s: no factor for %q here", c.Name, m.Unit)
	}
	if m.Scale != 0 {
		x *= m.Scale
	}
	return (x + m.Offset) * factor
}

// TestSpellings against published equivalents: 32 °F is 0 °C and 212 °F 100 °C by
// definition; an inch is 25.4 mm and a US gallon 231 cubic inches (NIST Handbook 44,
// appendix C); 1 meq/L is 2.8 dKH (common practice, no source, to two figures).
func TestSpellings(t *testing.T) {
	for _, row := range []struct {
		channel, unit   string
		value, want, by float64
	}{
		{RoomTemp, "°F", 32, 0, 1e-12},
		{WaterTemp, "°F", 50, 10, 1e-12},
		{Level, "in", 10, 0.254, 1e-15},
		{ReservoirFilled, "gal", 1, 231 * 2.54 * 2.54 * 2.54 / 1000, 1e-12},
		{Alkalinity, "meq/L", 1, 2.8, 0.05},
	} {
		m, _ := Recorded(row.channel, row.unit)
		c, _ := Find(row.channel)
		if got := inOwn(t, m, c, row.value); math.Abs(got-row.want) > row.by {
			t.Errorf("%v %s of %s is %v, want %v", row.value, row.unit, row.channel, got, row.want)
		}
	}
	if _, ok := Recorded(Level, "furlong"); ok {
		t.Error("a level may be in furlongs")
	}
	if _, ok := Recorded("moon", ""); ok || Unit("moon") != "" || IsContact("moon") || Units("moon") != nil || Title("moon") != "moon" {
		t.Error("the moon is measured")
	}
}

// TestAccountTakes: whatever a device may report, the account takes or is not told,
// from one end of the range to the other.
func TestAccountTakes(t *testing.T) {
	text, err := os.ReadFile("../../examples/reading-room.yaml")
	if err != nil {
		t.Fatal(err)
	}
	tank, _, err := tankfile.Read("reading-room.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	a, err := account.New(tank, account.Settings{})
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	rapid.Check(t, func(rt *rapid.T) {
		s := a.Begin(at)
		c := rapid.SampledFrom(list).Draw(rt, "channel")
		value := float64(rapid.IntRange(0, 1).Draw(rt, "state"))
		if !c.Contact {
			value = rapid.OneOf(rapid.Float64Range(c.Min, c.Max), rapid.SampledFrom([]float64{c.Min, c.Max})).Draw(rt, "value")
		}
		lasts := map[string]float64{RoomTemp: 20, RoomHumidity: 50, c.Name: value}
		last := func(name string) (float64, bool) { v, ok := lasts[name]; return v, ok }
		r := Reading(device, c.Name, value, at.Add(time.Minute), at)
		o, ok := Observation(&r, last)
		if ok != (c.hears != 0 && c.Name != RoomTemp) {
			rt.Fatalf("%s tells the account: %v", c.Name, ok)
		}
		if !ok {
			return
		}
		if _, err := a.Observe(&s, o); err != nil {
			rt.Fatalf("%s of %v: %v", c.Name, value, err)
		}
		if c.Contact {
			return
		}
		if o, ok := ByHand(c.Name, r.At, value*Shown(c.Name).PerUnit, "other"); ok {
			if _, err := a.Observe(&s, o); err != nil && c.Name != Level { // rounding at an end
				rt.Fatalf("%s of %v by hand: %v", c.Name, value, err)
			}
		}
	})
}
