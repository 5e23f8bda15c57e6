//go:build unix

// Package freeport reserves a port for tests of servers that open theirs themselves,
// or open the same one again. A test whose server takes a listener gives it one on
// port 0 instead.
package freeport

import (
	"net/netip"
	"runtime"
	"syscall"
	"testing"
)

// Reserve is an address on loopback that is the test's until it ends. A bound socket
// keeps the kernel from giving the port to another; a server that sets SO_REUSEADDR,
// as those of Go do, can listen there nevertheless, on Linux. Elsewhere the port is
// only likely to be free.
func Reserve(tb testing.TB) string {
	tb.Helper()
	must := func(err error) {
		tb.Helper()
		if err != nil {
			tb.Fatal(err)
		}
	}
	socket, err := syscall.Socket(syscall.AF_INET, syscall.SOCK_STREAM, 0)
	must(err)
	syscall.CloseOnExec(socket)
	if runtime.GOOS == "linux" {
		tb.Cleanup(func() { _ = syscall.Close(socket) })
	} else {
		defer syscall.Close(socket)
	}
	must(syscall.SetsockoptInt(socket, syscall.SOL_SOCKET, syscall.SO_REUSEADDR, 1))
	loopback := netip.MustParseAddr("127.0.0.1")
	must(syscall.Bind(socket, &syscall.SockaddrInet4{Addr: loopback.As4()}))
	bound, err := syscall.Getsockname(socket)
	must(err)
	return netip.AddrPortFrom(loopback, uint16(bound.(*syscall.SockaddrInet4).Port)).String()
}
