package deliver

import (
	"log/slog"
	"net"
)

// Secret is a password or a token. It prints, logs and marshals as a
// placeholder; string(s) is the secret itself.
type Secret string

const placeholder = "[hidden]"

// String is a placeholder.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return placeholder
}

// GoString is a placeholder, for %#v.
func (s Secret) GoString() string { return s.String() }

// LogValue is a placeholder.
func (s Secret) LogValue() slog.Value { return slog.StringValue(s.String()) }

// MarshalText is a placeholder.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// loopback says whether a host is this machine, to which a secret may travel in
// the clear.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}
