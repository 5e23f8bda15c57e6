package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// broker is the yardstick: mosquitto, from publisher to subscriber, at QoS 1 both
// ways and with persistence on.
type broker struct {
	cmd     *exec.Cmd
	address string
}

// startBroker starts it on a port of loopback; exec.ErrNotFound if it is not here.
func startBroker(ctx context.Context, dir string) (*broker, error) {
	path, err := exec.LookPath("mosquitto")
	if err != nil {
		path = "/usr/sbin/mosquitto" // where Debian has it, which not every PATH knows
		if _, err := os.Stat(path); err != nil {
			return nil, exec.ErrNotFound
		}
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0") // it cannot say which port it took
	if err != nil {
		return nil, err
	}
	b := &broker{address: ln.Addr().String()}
	ln.Close()
	_, port, err := net.SplitHostPort(b.address)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	config := filepath.Join(dir, "broker.conf")
	text := fmt.Sprintf("user root\nlistener %s 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location %s/\n"+
		"max_queued_messages 0\nmax_inflight_messages 0\n", port, dir)
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		return nil, err
	}
	b.cmd = exec.CommandContext(ctx, path, "-c", config)
	if err := b.cmd.Start(); err != nil {
		return nil, err
	}
	for end := time.Now().Add(patience); ; {
		c, err := b.connect(&device{clientID: "first"})
		if err == nil {
			c.Disconnect(0)
			return b, nil
		}
		if time.Now().After(end) || ctx.Err() != nil {
			b.stop()
			return nil, fmt.Errorf("mosquitto does not answer: %w", err)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func (b *broker) stop() {
	b.cmd.Process.Kill()
	b.cmd.Wait()
}

func (b *broker) name() string { return "mosquitto" }
func (b *broker) process() int { return b.cmd.Process.Pid }

func (b *broker) connect(d *device) (mqtt.Client, error) {
	return dial(mqtt.NewClientOptions().AddBroker("tcp://" + b.address).SetClientID(d.clientID))
}

func (b *broker) follow(ctx context.Context, d *device, looking func(), seen func(channel string, at time.Time)) error {
	lost := make(chan error, 1)
	c, err := dial(mqtt.NewClientOptions().AddBroker("tcp://" + b.address).SetClientID("page-" + d.clientID).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { lost <- err }))
	if err != nil {
		return err
	}
	defer c.Disconnect(0)
	strange := make(chan error, 1)
	const atLeastOnce = 1
	err = settle(ctx, c.Subscribe(d.topic, atLeastOnce, func(_ mqtt.Client, m mqtt.Message) {
		channel, at, err := readingAt(m.Payload())
		if err != nil {
			select {
			case strange <- err:
			default:
			}
			return
		}
		seen(channel, at)
	}))
	if err != nil {
		return err
	}
	looking()
	select {
	case <-ctx.Done():
		return nil
	case err := <-lost:
		return err
	case err := <-strange:
		return err
	}
}
