package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"isohaline/internal/channel"
	"isohaline/internal/wire"
)

// device is one simulated device: it plays what its tank goes through, at the
// pace of the clock, and tells it over MQTT like any device.
type device struct {
	id       wire.DeviceID
	password string
	values   []Value // what is still to come
	began    time.Time
	log      *slog.Logger
}

// How a device talks.
const (
	keepAlive      = 30 * time.Second
	connectTimeout = 10 * time.Second
	quiesceMS      = 250
	// beatEvery is how often a device says something though nothing happens.
	beatEvery = 5 * time.Minute
)

// run connects to the front door at an address and reports until ctx ends.
func (d *device) run(ctx context.Context, door string) error {
	o := mqtt.NewClientOptions().AddBroker("tcp://" + door).SetClientID(d.id.Device).
		SetUsername(d.id.Device).SetPassword(d.password).
		SetKeepAlive(keepAlive).SetConnectTimeout(connectTimeout).SetConnectRetry(true).SetAutoReconnect(true)
	client := mqtt.NewClient(o)
	err := settled(ctx, client.Connect())
	if ctx.Err() != nil {
		return nil
	}
	if err != nil {
		return fmt.Errorf("demo device %s: %w", d.id, err)
	}
	defer client.Disconnect(quiesceMS)
	alive := func() { d.publish(ctx, client, Value{At: time.Since(d.began), Channel: channel.Heartbeat, Value: 1}) }
	alive()
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	for {
		next := time.NewTimer(d.untilNext())
		select {
		case <-ctx.Done():
			next.Stop()
			return nil
		case <-beat.C:
			next.Stop()
			alive()
		case <-next.C:
			if len(d.values) > 0 {
				d.publish(ctx, client, d.values[0])
				d.values = d.values[1:]
			}
		}
	}
}

// untilNext is how long the device waits for its next reading; when it has
// played all, it only beats.
func (d *device) untilNext() time.Duration {
	if len(d.values) == 0 {
		return day
	}
	return max(0, time.Until(d.began.Add(d.values[0].At)))
}

// publish sends one reading as SenML. A reading that is refused is logged; the
// refusal is on the device's page, too.
func (d *device) publish(ctx context.Context, client mqtt.Client, v Value) {
	record := map[string]any{"n": v.Channel, "t": float64(d.began.Add(v.At).UnixMicro()) / 1e6}
	c := channel.Profile().Channels[v.Channel]
	if c.Kind == wire.Switch {
		record["vb"] = v.Value != 0
	} else {
		record["v"] = v.Value
		if c.Unit != "" {
			record["u"] = c.Unit
		}
	}
	body, err := json.Marshal([]any{record})
	if err == nil {
		const atLeastOnce = 1
		err = settled(ctx, client.Publish(fmt.Sprintf("%s/%s/%s", wire.Root, d.id, wire.BodyWord), atLeastOnce, false, body))
	}
	if err != nil && ctx.Err() == nil {
		d.log.Warn("a demo device could not report", "device", d.id.String(), "error", err)
	}
}

// settled waits for the outcome of what a client was asked.
func settled(ctx context.Context, t mqtt.Token) error {
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return ctx.Err()
	}
}
