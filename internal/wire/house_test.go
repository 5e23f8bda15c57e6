package wire

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"testing"
	"time"
)

// Names of the invented fleet that the tests use.
var lobby = DeviceID{"lobby", "sump-1"}

// testProfile is a device with one channel of every kind.
var testProfile = &Profile{
	Channels: map[string]Channel{
		"level":       {Kind: Number, Unit: "m", Min: 0, Max: 2},
		"temperature": {Kind: Number, Unit: "Cel", Min: -5, Max: 50},
		"humidity":    {Kind: Number, Unit: "%RH", Min: 0, Max: 100},
		"watch":       {Kind: Switch},
		"note":        {Kind: Text},
	},
	Plain: map[string]Mapping{
		"level":       {Channel: "level", Unit: "mm"},
		"temp/f":      {Channel: "temperature", Scale: 5.0 / 9, Offset: -160.0 / 9},
		"watch":       {Channel: "watch"},
		"dry-contact": {Channel: "watch", Scale: -1, Offset: 1},
		"note":        {Channel: "note"},
		"gone":        {Channel: "no-such"},
	},
	Names: map[string]string{"urn:dev:ow:10e2073a01080063": "temperature"},
}

// secretOf is the password of the tests' devices.
func secretOf(clientID string) string { return "secret of " + clientID }

// authenticate knows every client id of the form site/device.
func authenticate(clientID, user string, password []byte) (DeviceID, bool) {
	var dev DeviceID
	for i := range len(clientID) {
		if clientID[i] == '/' {
			dev = DeviceID{clientID[:i], clientID[i+1:]}
		}
	}
	return dev, dev.Site != "" && user == clientID && string(password) == secretOf(clientID)
}

// house is a front door on a loopback port with what stands behind it.
type house struct {
	door    *FrontDoor
	address string

	mu       sync.Mutex
	refusals []Refusal
}

// openHouse starts a front door that appends with the given function.
func openHouse(t testing.TB, appendReadings func(context.Context, []Reading) error) *house {
	t.Helper()
	h := &house{}
	var err error
	h.door, err = NewFrontDoor(DoorOptions{
		Append: appendReadings, Authenticate: authenticate,
		Profile: func(DeviceID) *Profile { return testProfile },
		Refused: func(r Refusal) {
			h.mu.Lock()
			defer h.mu.Unlock()
			h.refusals = append(h.refusals, r)
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h.address = ln.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- h.door.Serve(ctx, ln) }()
	t.Cleanup(func() {
		cancel()
		if err := <-served; err != nil {
			t.Errorf("Serve: %v", err)
		}
	})
	return h
}

// refusal waits for the n-th refusal, from 1.
func (h *house) refusal(t testing.TB, n int) Refusal {
	t.Helper()
	var r Refusal
	eventually(t, fmt.Sprintf("refusal %d", n), func() bool {
		h.mu.Lock()
		defer h.mu.Unlock()
		if len(h.refusals) < n {
			return false
		}
		r = h.refusals[n-1]
		return true
	})
	return r
}

// eventually waits for a condition that other goroutines bring about.
func eventually(t testing.TB, what string, holds func() bool) {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%s did not come about", what)
		}
	}
}

// memory is a log that keeps readings in memory, for tests of the door alone.
type memory struct {
	mu       sync.Mutex
	readings []Reading
	broken   bool
}

var errBroken = errors.New("the disk is full")

func (m *memory) append(_ context.Context, readings []Reading) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.broken {
		return errBroken
	}
	m.readings = append(m.readings, readings...)
	return nil
}

func (m *memory) all() []Reading {
	m.mu.Lock()
	defer m.mu.Unlock()
	return append([]Reading(nil), m.readings...)
}

// openLog opens an embedded log that the test closes.
func openLog(t testing.TB, o LogOptions) *Log {
	t.Helper()
	if o.Dir == "" && o.URL == "" {
		o.Dir = t.TempDir()
	}
	l, err := OpenLog(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Close)
	return l
}

// numbered makes n readings of one channel, a millisecond apart.
func numbered(n int) []Reading {
	start := time.Date(2026, 11, 25, 10, 0, 0, 0, time.UTC)
	out := make([]Reading, n)
	for i := range out {
		at := start.Add(time.Duration(i) * time.Millisecond)
		out[i] = Reading{Site: "lobby", Device: "sump-1", Channel: "level", At: at, Received: at, Value: float64(i), Unit: "m"}
	}
	return out
}

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		os.Exit(durabilityChild(dir))
	}
	if role := os.Getenv(catchUpRole); role != "" {
		os.Exit(catchUpChild(role))
	}
	os.Exit(m.Run())
}
