package wire

import (
	"errors"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"time"
)

const (
	// connectTimeout is how long a connection may take to say who it is.
	connectTimeout = 10 * time.Second
	// acceptPauseLongest is the longest pause after an error of accept, like too
	// many open files.
	acceptPauseLongest = time.Second
)

// listener is what the broker accepts connections from. It bounds their number,
// gives each a time to introduce itself, outlives passing errors, and closes all
// of them at the end, also those that never said who they are.
type listener struct {
	net.Listener
	logger *slog.Logger
	slots  chan struct{} // one taken per connection
	done   chan struct{} // closed by Close
	// failed gets the error that ended accepting, other than Close.
	failed chan error

	mu    sync.Mutex
	conns map[*conn]struct{} // nil after Close
}

// conn is one connection and the device it belongs to.
type conn struct {
	net.Conn
	of     *listener
	device atomic.Pointer[DeviceID] // nil until the credentials were checked
	once   sync.Once
}

// own says whose the connection is.
func (c *conn) own(dev DeviceID) { c.device.Store(&dev) }

// owner is whose the connection is, the zero DeviceID before that is known.
func (c *conn) owner() DeviceID {
	if dev := c.device.Load(); dev != nil {
		return *dev
	}
	return DeviceID{}
}

func newListener(inner net.Listener, max int, logger *slog.Logger) *listener {
	return &listener{
		Listener: inner, logger: logger,
		slots: make(chan struct{}, max), done: make(chan struct{}), failed: make(chan error, 1),
		conns: map[*conn]struct{}{},
	}
}

// Accept waits for the next connection. At the limit it waits until one ends;
// newcomers wait in the system's queue.
func (l *listener) Accept() (net.Conn, error) {
	select {
	case l.slots <- struct{}{}:
	case <-l.done:
		return nil, net.ErrClosed
	}
	inner, err := l.accept()
	if err != nil {
		<-l.slots
		return nil, err
	}
	c := &conn{Conn: inner, of: l}
	l.mu.Lock()
	open := l.conns != nil
	if open {
		l.conns[c] = struct{}{}
	}
	l.mu.Unlock()
	if !open {
		c.Close()
		return nil, net.ErrClosed
	}
	_ = c.SetDeadline(time.Now().Add(connectTimeout)) // fails only on a connection that is gone, which reading will tell
	return c, nil
}

// accept tries again after errors that pass.
func (l *listener) accept() (net.Conn, error) {
	for pause := 5 * time.Millisecond; ; pause = min(2*pause, acceptPauseLongest) {
		c, err := l.Listener.Accept()
		if err == nil {
			return c, nil
		}
		if errors.Is(err, net.ErrClosed) {
			select {
			case <-l.done:
			default:
				l.failed <- err // closed, but not by us
			}
			return nil, err
		}
		l.logger.Warn("the front door cannot accept a connection and tries again", "error", err)
		select {
		case <-l.done:
			return nil, net.ErrClosed
		case <-time.After(pause):
		}
	}
}

// Close stops accepting and closes every connection. It may be called again.
func (l *listener) Close() error {
	l.mu.Lock()
	conns := l.conns
	l.conns = nil
	if conns != nil {
		close(l.done)
	}
	l.mu.Unlock()
	err := l.Listener.Close()
	for c := range conns {
		c.Close()
	}
	return err
}

// Close closes the connection and gives its slot back.
func (c *conn) Close() error {
	err := c.Conn.Close()
	c.once.Do(func() {
		c.of.mu.Lock()
		delete(c.of.conns, c)
		c.of.mu.Unlock()
		<-c.of.slots
	})
	return err
}
