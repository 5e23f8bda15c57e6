// Package pgtest starts private PostgreSQL servers, for tests alone.
package pgtest

// Options say what kind of server it is. The zero value works.
type Options struct {
	// Network makes it listen at a port of 127.0.0.1 too, by TLS, with this
	// certificate and key in PEM.
	Network          bool
	Certificate, Key []byte
}

// Server is a running server.
type Server struct {
	// Address is that of the administrator, by a socket in a temporary folder and
	// without a password. Every other user needs one.
	Address string
	// Host is where it listens, host:port; empty: nowhere but at the socket.
	Host string

	folder string
	stop   func()
}

// Stop ends the server and removes all it kept.
func (s *Server) Stop() { s.stop() }
