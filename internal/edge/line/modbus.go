package line

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log"

	"github.com/simonvetter/modbus"

	"isohaline/internal/edge/lease"
	"isohaline/internal/edge/wiring"
	"isohaline/internal/guard"
)

// modbusDevice is one Modbus device, over TCP or a serial line.
//
// Off is guaranteed by the device's own watchdog, where the wiring names its
// register: it turns its outputs off when nobody speaks to it, whatever broke.
// Without one the process that holds this line turns them off when the lease
// ends, and a cut cable leaves them as they are: the hardware has to cover that.
type modbusDevice struct {
	name    string
	device  wiring.Device
	client  *modbus.ModbusClient
	open    bool
	inputs  map[wiring.Input]*wiring.Point
	outputs map[wiring.Output]*wiring.Point
}

// openModbus takes a device that anything is wired to; nil if nothing is. A
// device that does not answer is tried again at each turn.
func openModbus(name string, w *wiring.Wiring) (driver, error) {
	d := &modbusDevice{name: name, device: w.Devices[name], inputs: map[wiring.Input]*wiring.Point{}, outputs: map[wiring.Output]*wiring.Point{}}
	for i, s := range w.Inputs {
		if s.Point != nil && s.Point.Device == name {
			d.inputs[i] = s.Point
		}
	}
	for o, s := range w.Outputs {
		if s.Point != nil && s.Point.Device == name {
			d.outputs[o] = s.Point
		}
	}
	if len(d.inputs)+len(d.outputs) == 0 {
		return nil, nil
	}
	var err error
	d.client, err = modbus.NewClient(&modbus.ClientConfiguration{URL: d.device.URL, Speed: d.device.Baud,
		Timeout: d.device.Timeout, Logger: log.New(io.Discard, "", 0)}) // what it logs, its errors say
	if err == nil {
		err = d.client.SetUnitId(d.device.Unit)
	}
	if err != nil {
		return nil, fmt.Errorf("modbus %s: %w", name, err)
	}
	return d, nil
}

// connect opens the line, if it is not.
func (d *modbusDevice) connect() error {
	if d.open {
		return nil
	}
	if err := d.client.Open(); err != nil {
		return fmt.Errorf("modbus %s at %s: %w", d.name, d.device.URL, err)
	}
	d.open = true
	return nil
}

// talk makes one exchange. A line that failed is opened anew at the next, so that
// a late answer to this one is not taken for the answer to that.
func (d *modbusDevice) talk(exchange func() error) error {
	if err := d.connect(); err != nil {
		return err
	}
	if err := exchange(); err != nil {
		d.open = false
		return errors.Join(fmt.Errorf("modbus %s: %w", d.name, err), d.client.Close())
	}
	return nil
}

func (d *modbusDevice) read(_ context.Context, in *Inputs) error {
	var errs []error
	for i, p := range d.inputs {
		err := d.talk(func() error {
			if i == wiring.Level {
				kind := modbus.INPUT_REGISTER
				if p.Table == wiring.Holding {
					kind = modbus.HOLDING_REGISTER
				}
				v, err := d.client.ReadRegister(p.Address, kind)
				if err == nil {
					in.LevelMM, in.LevelRead = p.OffsetMM+p.ScaleMM*float64(v), true
				}
				return err
			}
			on, err := d.bit(p)
			if err == nil {
				in.Contacts[i] = contact(on != p.ActiveLow)
			}
			return err
		})
		errs = append(errs, failed(i, err))
		if err != nil && !d.open {
			for rest := range d.inputs { // one timeout a turn is enough
				if _, ok := in.Contacts[rest]; !ok && rest != wiring.Level {
					in.Contacts[rest] = guard.Faulty
				}
			}
			break
		}
	}
	return errors.Join(errs...)
}

// bit is a two-state point.
func (d *modbusDevice) bit(p *wiring.Point) (bool, error) {
	switch p.Table {
	case wiring.Coil:
		return d.client.ReadCoil(p.Address)
	case wiring.Discrete:
		return d.client.ReadDiscreteInput(p.Address)
	case wiring.Holding:
		v, err := d.client.ReadRegister(p.Address, modbus.HOLDING_REGISTER)
		return v != 0, err
	}
	v, err := d.client.ReadRegister(p.Address, modbus.INPUT_REGISTER)
	return v != 0, err
}

func (d *modbusDevice) drive(_ context.Context, out lease.Outputs) error {
	var errs []error
	if w := d.device.Watchdog; w != nil && len(d.outputs) > 0 {
		errs = append(errs, failed("watchdog", d.talk(func() error { return d.client.WriteRegister(w.Address, w.Value) })))
	}
	for _, on := range []bool{false, true} { // off first
		for o, p := range d.outputs {
			if o.Of(out) == on {
				errs = append(errs, failed(o, d.talk(func() error { return d.client.WriteCoil(p.Address, on != p.ActiveLow) })))
			}
		}
	}
	return errors.Join(errs...)
}

func (d *modbusDevice) close() error {
	err := d.drive(context.Background(), lease.Outputs{})
	if d.open {
		d.open = false
		err = errors.Join(err, d.client.Close())
	}
	return err
}
