package wire

import (
	"context"
	"errors"
	"net"
	"runtime"
	"testing"
	"time"
)

// Whatever a house started has ended when it is closed.
func TestNoGoroutineStays(t *testing.T) {
	before := runtime.NumGoroutine()
	func() {
		l, err := OpenLog(t.Context(), LogOptions{Dir: t.TempDir()})
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		door, err := NewFrontDoor(DoorOptions{Append: l.Append, Authenticate: authenticate, Profile: func(DeviceID) *Profile { return testProfile }})
		if err != nil {
			t.Fatal(err)
		}
		ln, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		served := make(chan error, 1)
		go func() { served <- door.Serve(ctx, ln) }()
		silent, err := net.Dial("tcp", ln.Addr().String()) // never says who it is
		if err != nil {
			t.Fatal(err)
		}
		defer silent.Close()
		c := connect3(t, options3(ln.Addr().String(), "lobby/sump-1"))
		if token := c.Publish("isohaline/lobby/sump-1/level", 1, false, "312"); !token.WaitTimeout(15*time.Second) || token.Error() != nil {
			t.Errorf("publish: %v", token.Error())
		}
		start := time.Now()
		cancel()
		if err := <-served; err != nil {
			t.Errorf("Serve: %v", err)
		}
		if took := time.Since(start); took > connectTimeout/2 {
			t.Errorf("closing waited %v for a connection that never said who it is", took)
		}
	}()
	var stacks [1 << 20]byte
	for deadline := time.Now().Add(time.Minute); runtime.NumGoroutine() > before; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatalf("%d goroutines before, %d after:\n%s", before, runtime.NumGoroutine(), stacks[:runtime.Stack(stacks[:], true)])
		}
	}
}

// A listener that fails ends Serve with its error.
func TestServeReportsAListenerThatFails(t *testing.T) {
	door, err := NewFrontDoor(DoorOptions{Append: new(memory).append, Authenticate: authenticate, Profile: func(DeviceID) *Profile { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ln.Close()
	if err := door.Serve(t.Context(), ln); !errors.Is(err, net.ErrClosed) {
		t.Errorf("Serve: %v", err)
	}
}
