package edgeio

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"maps"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"

	lib "github.com/simonvetter/modbus"

	"isohaline/internal/edge/lease"
	"isohaline/internal/guard"
)

// Usual values of a Modbus device. Judgements.
const (
	usualTimeout    = 300 * time.Millisecond
	shortestTimeout = 20 * time.Millisecond
	longestTimeout  = time.Second
	usualBaud       = "9600"
	usualUnit       = "1"
)

// modbus is Modbus devices, over TCP or a serial line.
//
// Off is guaranteed by the device's own watchdog, where the wiring names its
// register: it turns its outputs off when nobody speaks to it, whatever broke.
// Without one the process that holds this line turns them off when the lease
// ends, and a cut cable leaves them as they are: the hardware has to cover that.
type modbus struct {
	devices map[string]*modbusDevice
}

func newModbus() driver { return &modbus{devices: map[string]*modbusDevice{}} }

// modbusDevice is one of them, and what is wired to it.
type modbusDevice struct {
	name string
	// url is tcp://host:port or rtu:///dev/ttyUSB0.
	url     string
	unit    uint8
	baud    uint // of a serial line
	timeout time.Duration
	// watchdog is a holding register that is written with a value at the start
	// and at every word: a device that has one turns its outputs off by itself
	// when nobody speaks to it. Nil: it has none.
	watchdog *register
	inputs   map[Input]point
	outputs  map[Output]point

	client *lib.ModbusClient
	opened bool
}

// register is a holding register and what is written to it.
type register struct{ address, value uint16 }

// table is one of the four kinds of point of Modbus, by its key in a file.
type table string

const (
	coil     table = "coil"
	discrete table = "discrete"
	holding  table = "holding"
	inputReg table = "register" // an input register
)

// point is a point of a device.
type point struct {
	table   table
	address uint16
	// activeLow: off means wet, running or on.
	activeLow bool
	scale     scale // of a level
}

// section reads the devices, by name.
func (m *modbus) section(r *reader, path string, n *node) {
	for _, name := range n.keys {
		m.devices[name] = readDevice(r, name, join(path, name), n.values[name])
	}
}

func readDevice(r *reader, name, path string, n *node) *modbusDevice {
	g := r.group(path, n, "url", "unit", "baud", "timeout", "watchdog register", "watchdog value")
	d := &modbusDevice{name: name, url: g.text("url", "", `its address, like "tcp://192.168.1.20:502" or "rtu:///dev/ttyUSB0"`),
		unit: uint8(g.number("unit", 0, 247, usualUnit)), baud: uint(g.number("baud", 1200, 115200, usualBaud)),
		timeout: g.duration("timeout", usualTimeout, shortestTimeout, longestTimeout),
		inputs:  map[Input]point{}, outputs: map[Output]point{}}
	if u, err := url.Parse(d.url); d.url != "" && (err != nil || u.Scheme != "tcp" && u.Scheme != "rtu" || u.Host+u.Path == "") {
		g.wrong("url", "is not a Modbus address", `write it like "tcp://192.168.1.20:502" or "rtu:///dev/ttyUSB0"`)
	}
	if g.has("watchdog register") || g.has("watchdog value") {
		d.watchdog = &register{uint16(g.number("watchdog register", 0, math.MaxUint16, "")), uint16(g.number("watchdog value", 0, math.MaxUint16, ""))}
	} else {
		r.warnings = append(r.warnings, path+": nothing on this device turns its outputs off when its cable is cut; name its watchdog's register, or let hardware see to it")
	}
	return d
}

func tablesOf(i Input) []table {
	if i == Level {
		return []table{inputReg, holding}
	}
	return []table{discrete, coil, inputReg, holding}
}

func (*modbus) inputKeys(i Input) []string {
	keys := append([]string{"modbus"}, wordsOf(tablesOf(i))...)
	if i == Level {
		return append(keys, levelKeys...)
	}
	return append(keys, i.when())
}

func (*modbus) outputKeys() []string { return []string{"modbus", string(coil), onWhen} }

func (m *modbus) input(g group, i Input) string {
	d, p, place := m.point(g, tablesOf(i))
	if i == Level {
		p.scale = g.level()
	} else {
		p.activeLow = g.word(i.when(), "on", "on", "off") == "off"
	}
	if d != nil {
		d.inputs[i] = p
	}
	return place
}

func (m *modbus) output(g group, o Output) string {
	d, p, place := m.point(g, []table{coil})
	p.activeLow = g.word(onWhen, "on", "on", "off") == "off"
	if d != nil {
		d.outputs[o] = p
	}
	return place
}

// point reads a point in one of some tables.
func (m *modbus) point(g group, tables []table) (d *modbusDevice, p point, place string) {
	name := g.text("modbus", "", "the name of a device under modbus")
	d = m.devices[name]
	if d == nil && name != "" {
		g.wrong("modbus", "is not a device of this file", "describe it under modbus")
	}
	for _, t := range tables {
		if !g.has(string(t)) {
			continue
		}
		if p.table != "" {
			g.wrong(string(t), "is a second point", "give one of "+strings.Join(wordsOf(tables), ", "))
		}
		p.table, p.address = t, uint16(g.number(string(t), 0, math.MaxUint16, ""))
	}
	if p.table == "" {
		g.missing(string(tables[0]), "the point's address: one of "+strings.Join(wordsOf(tables), ", "))
		return d, p, ""
	}
	return d, p, fmt.Sprintf("%s %s %d", name, p.table, p.address)
}

// open takes the devices that anything is wired to. One that does not answer is
// tried again at each turn.
func (m *modbus) open(context.Context) ([]wires, error) {
	var held []wires
	for _, name := range slices.Sorted(maps.Keys(m.devices)) {
		d := m.devices[name]
		if len(d.inputs)+len(d.outputs) == 0 {
			continue
		}
		var err error
		d.client, err = lib.NewClient(&lib.ClientConfiguration{URL: d.url, Speed: d.baud,
			Timeout: d.timeout, Logger: log.New(io.Discard, "", 0)}) // what it logs, its errors say
		if err == nil {
			err = d.client.SetUnitId(d.unit)
		}
		if err != nil {
			return held, fmt.Errorf("modbus %s: %w", name, err)
		}
		held = append(held, d)
	}
	return held, nil
}

// connect opens the line, if it is not.
func (d *modbusDevice) connect() error {
	if d.opened {
		return nil
	}
	if err := d.client.Open(); err != nil {
		return fmt.Errorf("modbus %s at %s: %w", d.name, d.url, err)
	}
	d.opened = true
	return nil
}

// talk makes one exchange. A line that failed is opened again at the next, so that
// a late answer to this one is not taken for the answer to that.
func (d *modbusDevice) talk(exchange func() error) error {
	if err := d.connect(); err != nil {
		return err
	}
	if err := exchange(); err != nil {
		d.opened = false
		return errors.Join(fmt.Errorf("modbus %s: %w", d.name, err), d.client.Close())
	}
	return nil
}

func (d *modbusDevice) read(_ context.Context, in *Inputs) error {
	var errs []error
	for i, p := range d.inputs {
		err := d.talk(func() error {
			if i == Level {
				kind := lib.INPUT_REGISTER
				if p.table == holding {
					kind = lib.HOLDING_REGISTER
				}
				v, err := d.client.ReadRegister(p.address, kind)
				if err == nil {
					in.LevelMM, in.LevelRead = p.scale.mm(float64(v)), true
				}
				return err
			}
			on, err := d.bit(p)
			if err == nil {
				in.Contacts[i] = contact(on != p.activeLow)
			}
			return err
		})
		errs = append(errs, failed(i, err))
		if err != nil && !d.opened {
			for rest := range d.inputs { // one timeout a turn is enough
				if _, ok := in.Contacts[rest]; !ok && rest != Level {
					in.Contacts[rest] = guard.Faulty
				}
			}
			break
		}
	}
	return errors.Join(errs...)
}

// bit is a two-state point.
func (d *modbusDevice) bit(p point) (bool, error) {
	switch p.table {
	case coil:
		return d.client.ReadCoil(p.address)
	case discrete:
		return d.client.ReadDiscreteInput(p.address)
	case holding:
		v, err := d.client.ReadRegister(p.address, lib.HOLDING_REGISTER)
		return v != 0, err
	}
	v, err := d.client.ReadRegister(p.address, lib.INPUT_REGISTER)
	return v != 0, err
}

func (d *modbusDevice) drive(_ context.Context, out lease.Outputs) error {
	var errs []error
	if w := d.watchdog; w != nil && len(d.outputs) > 0 {
		errs = append(errs, failed("watchdog", d.talk(func() error { return d.client.WriteRegister(w.address, w.value) })))
	}
	for _, on := range []bool{false, true} { // off first
		for o, p := range d.outputs {
			if o.Of(out) == on {
				errs = append(errs, failed(o, d.talk(func() error { return d.client.WriteCoil(p.address, on != p.activeLow) })))
			}
		}
	}
	return errors.Join(errs...)
}

func (d *modbusDevice) close() error {
	err := d.drive(context.Background(), lease.Outputs{})
	if d.opened {
		d.opened = false
		err = errors.Join(err, d.client.Close())
	}
	return err
}
