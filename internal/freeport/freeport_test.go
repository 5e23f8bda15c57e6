//go:build linux

package freeport_test

import (
	"net"
	"testing"

	"isohaline/internal/freeport"
)

// TestReserve: the port can be listened on, again and again, and is given to nobody
// who asks for any port.
func TestReserve(t *testing.T) {
	address := freeport.Reserve(t)
	for range 3 {
		ln, err := net.Listen("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		ln.Close()
	}
	const ports = 2000
	for range ports {
		ln, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		if ln.Addr().String() == address {
			t.Error("it was given to another")
		}
		ln.Close()
	}
}
