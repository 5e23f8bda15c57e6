package edgeio

import (
	"errors"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/problem"
)

const whole = `
isohaline edge: 1
lease: 1.5 s
mqtt: {broker: "tcp://127.0.0.1:1883", user: edge, password: "s3cret"}
modbus:
  box: {url: "tcp://192.168.1.20:502", unit: 3, timeout: 0.2 s, watchdog register: 40, watchdog value: 20}
inputs:
  watch: {gpio: gpiochip0/GPIO17, pull: up, wet when: low}
  ceiling: {modbus: box, discrete: 3, wet when: off}
  floor: {mqtt: cellar/floor, wet: WET, dry: DRY, silent after: 90 s}
  return pump: {gpio: gpiochip0/GPIO22, running when: high}
  level: {modbus: box, register: 5, scale: 0.1 mm, offset: -20 mm}
outputs:
  pump: {gpio: gpiochip0/GPIO27, on when: high}
  valve: {modbus: box, coil: 0}
  horn: {mqtt: cellar/horn/set, on: "ON", off: "OFF"}
`

// TestRead: every key once.
func TestRead(t *testing.T) {
	w, err := Read("edge.yaml", []byte(whole))
	if err != nil {
		t.Fatal(err)
	}
	want := &Wiring{
		Lease:   1500 * time.Millisecond,
		Inputs:  map[Input]bool{Watch: true, Ceiling: true, Floor: true, ReturnPump: true, Level: true},
		Outputs: map[Output]bool{Pump: true, Valve: true, Horn: true},
		drivers: []driver{
			&gpio{inputs: map[Input]pin{
				Watch:      {chip: "gpiochip0", line: "GPIO17", pull: "up", activeLow: true},
				ReturnPump: {chip: "gpiochip0", line: "GPIO22"},
			}, outputs: map[Output]pin{Pump: {chip: "gpiochip0", line: "GPIO27"}}},
			&modbus{devices: map[string]*modbusDevice{"box": {name: "box", url: "tcp://192.168.1.20:502", unit: 3, baud: 9600,
				timeout: 200 * time.Millisecond, watchdog: &register{address: 40, value: 20},
				inputs: map[Input]point{
					Ceiling: {table: discrete, address: 3, activeLow: true},
					Level:   {table: inputReg, address: 5, scale: scale{perMM: 0.1, offsetMM: -20}},
				},
				outputs: map[Output]point{Valve: {table: coil}}}}},
			&mqtt{broker: &broker{url: "tcp://127.0.0.1:1883", user: "edge", password: "s3cret", client: "isohaline-edge"},
				inputs:  map[Input]topic{Floor: {name: "cellar/floor", on: "WET", off: "DRY", silentAfter: 90 * time.Second}},
				outputs: map[Output]topic{Horn: {name: "cellar/horn/set", on: "ON", off: "OFF"}}},
		},
	}
	ours := cmp.Exporter(func(t reflect.Type) bool { return t.PkgPath() == reflect.TypeFor[Wiring]().PkgPath() })
	if diff := cmp.Diff(want, w, ours); diff != "" {
		t.Error(diff)
	}
}

// TestWarnings: a device without a watchdog is said to have none.
func TestWarnings(t *testing.T) {
	w, err := Read("edge.yaml", []byte(strings.Replace(whole, ", watchdog register: 40, watchdog value: 20", "", 1)))
	if err != nil || len(w.Warnings) != 1 || !strings.HasPrefix(w.Warnings[0], "modbus.box: ") {
		t.Errorf("%q, %v", w.Warnings, err)
	}
}

// TestGuide: the file in the guide is one that can be read, and has every input
// and output; and the guide has every kind of wire.
func TestGuide(t *testing.T) {
	text, err := os.ReadFile("../../../docs/install-edge.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(text), "```yaml\n")
	file, _, _ := strings.Cut(rest, "```")
	w, err := Read("install-edge.md", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	if len(w.Inputs) != len(inputs) || len(w.Outputs) != len(outputs) {
		t.Errorf("it wires %d inputs and %d outputs", len(w.Inputs), len(w.Outputs))
	}
	lower := strings.ToLower(string(text))
	for _, d := range drivers {
		if !strings.Contains(lower, "\n- **"+d.name+"**") || !strings.Contains(lower, "\n| "+d.name+" ") {
			t.Errorf("the guide does not say how %s is wired, or what guarantees its off", d.name)
		}
	}
}

// TestProblems changes one thing at a time, and wants its place, the field and a
// fix.
func TestProblems(t *testing.T) {
	for _, tt := range []struct{ name, old, new, want string }{
		{"a key misspelt", "wet when: low", "wet wen: low", `edge.yaml:8:45: inputs.watch.wet wen: is not a key of this group; did you mean "wet when"?`},
		{"a level guessed", ", wet when: low", "", `edge.yaml:8:3: inputs.watch.wet when: is missing; add "wet when:", high or low`},
		{"another word", "wet when: low", "wet when: 0", `edge.yaml:8:55: inputs.watch.wet when: "0" is not valid here; write high or low`},
		{"no line", "gpiochip0/GPIO17", "GPIO17", `"GPIO17" is not a chip and a line`},
		{"two ways", "{modbus: box, coil: 0}", "{modbus: box, coil: 0, mqtt: x}", `outputs.valve: has 2 ways of wiring; give exactly one`},
		{"no way", "{modbus: box, coil: 0}", "{coil: 0}", `outputs.valve: has 0 ways of wiring`},
		{"no such device", "{modbus: box, coil: 0}", "{modbus: bix, coil: 0}", `outputs.valve.modbus: "bix" is not a device of this file`},
		{"no address", "{modbus: box, coil: 0}", "{modbus: box}", `outputs.valve.coil: is missing`},
		{"an address too high", "coil: 0", "coil: 65536", `"65536" is not a whole number from 0 to 65535`},
		{"an output that cannot be written", "coil: 0", "discrete: 0", `outputs.valve.discrete: is not a key of this group`},
		{"the same payload", `off: "OFF"`, `off: "ON"`, `outputs.horn.off: "ON" is the same as on`},
		{"a wildcard", "cellar/floor", "cellar/+", `inputs.floor.mqtt: "cellar/+" has a wildcard`},
		{"no broker", `mqtt: {broker: "tcp://127.0.0.1:1883", user: edge, password: "s3cret"}`, "", `inputs.floor.mqtt: "cellar/floor" needs a broker`},
		{"not a broker", "tcp://127.0.0.1:1883", "localhost", `mqtt.broker: "localhost" is not a broker's address`},
		{"not a device", "tcp://192.168.1.20:502", "192.168.1.20", `modbus.box.url: "192.168.1.20" is not a Modbus address`},
		{"one line twice", "GPIO27", "GPIO17", `outputs.pump: is wired to gpio gpiochip0/GPIO17, like inputs.watch; give each its own`},
		{"a lease too long", "1.5 s", "2 min", `edge.yaml:3:8: lease: "2 min" is outside`},
		{"a lease without a unit", "1.5 s", "1.5", `lease: "1.5"`},
		{"half a watchdog", ", watchdog value: 20", "", `modbus.box.watchdog value: is missing`},
		{"no watch", "  watch: {gpio: gpiochip0/GPIO17, pull: up, wet when: low}\n", "", `inputs.watch: is missing`},
		{"no pump", "  pump: {gpio: gpiochip0/GPIO27, on when: high}\n", "", `outputs.pump: is missing`},
		{"another format", "isohaline edge: 1", "isohaline edge: 2", `edge.yaml:2:17: isohaline edge: "2" is not a format`},
		{"a list", "{modbus: box, coil: 0}", "[1, 2]", "which wiring files do not use"},
		{"a key twice", "  pump:", "  valve:", "already defined"},
		{"an anchor", "lease: 1.5 s", "lease: &a 1.5 s", "which wiring files do not use"},
		{"not YAML", "lease: 1.5 s", "lease: {", "not valid YAML"},
	} {
		text := strings.Replace(whole, tt.old, tt.new, 1)
		if text == whole {
			t.Fatalf("%s: nothing changed", tt.name)
		}
		_, err := Read("edge.yaml", []byte(text))
		var problems problem.List
		if !errors.As(err, &problems) || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: got\n%v\nwant %s", tt.name, err, tt.want)
		}
	}
}

// FuzzRead: any bytes get a wiring or a problem with a place.
func FuzzRead(f *testing.F) {
	f.Add([]byte(whole))
	f.Add([]byte("isohaline edge: 1\ninputs: {watch: }\noutputs: 3"))
	f.Fuzz(func(t *testing.T, data []byte) {
		w, err := Read("edge.yaml", data)
		if err == nil {
			if !w.Inputs[Watch] {
				t.Fatal("no watch, and no problem")
			}
			return
		}
		var problems problem.List
		if !errors.As(err, &problems) || len(problems) == 0 || problems[0].Line < 1 {
			t.Fatalf("%v", err)
		}
	})
}
