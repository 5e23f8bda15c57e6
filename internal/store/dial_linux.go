package store

import (
	"errors"
	"strings"
	"syscall"
)

// tcpUserTimeout is TCP_USER_TIMEOUT of linux/tcp.h (RFC 5482): after so many
// milliseconds without an acknowledgement of what was sent the connection is given up,
// and not after the quarter of an hour that the kernel tries else.
const tcpUserTimeout = 18

// limitSilence has the kernel give up a link over which nothing comes back.
func limitSilence(network, _ string, c syscall.RawConn) error {
	if !strings.HasPrefix(network, "tcp") {
		return nil
	}
	var failed error
	err := c.Control(func(fd uintptr) {
		failed = syscall.SetsockoptInt(int(fd), syscall.IPPROTO_TCP, tcpUserTimeout, int(linkTimeout.Milliseconds()))
	})
	return errors.Join(err, failed)
}
