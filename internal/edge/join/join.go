// Package join is the file by which an edge joins its hub: where the hub is, who
// the edge is, and the secret half of its key. The hub writes it once, when the
// edge is made; whoever has it is that edge.
package join

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"os"

	"github.com/goccy/go-yaml"
	"github.com/nats-io/nkeys"

	"isohaline/internal/wire"
)

// File is what the file says.
type File struct {
	// Hub is where edges come in, host:port.
	Hub string `yaml:"hub"`
	// Site and Edge are its name: wire.DeviceID.
	Site string `yaml:"site"`
	Edge string `yaml:"edge"`
	// Key is the seed of its NKey.
	Key string `yaml:"key"`
	// TLS says that the hub encrypts its links. CA is its certificate's issuer in
	// PEM, if it is none that the system knows.
	TLS bool   `yaml:"tls,omitempty"`
	CA  string `yaml:"ca,omitempty"`
}

const heading = `# How this edge joins its hub. Whoever has this file is this edge: keep it where
# only the agent can read it. Lost it, or somebody saw it? Give the edge a new key.
`

// maxBytes is far more than the file has.
const maxBytes = 64 << 10

// Write is the file's text.
func (f File) Write() (string, error) {
	text, err := yaml.Marshal(f)
	if err != nil {
		return "", fmt.Errorf("join file: %w", err)
	}
	return heading + string(text), nil
}

// Open reads the file of a name. Others may not be able to read it too.
func Open(name string) (File, error) {
	info, err := os.Stat(name)
	if err != nil {
		return File{}, fmt.Errorf("join file: %w", err)
	}
	const others = 0o077
	switch {
	case info.Size() > maxBytes:
		return File{}, fmt.Errorf("join file: %s has %d bytes; give the one that the hub wrote", name, info.Size())
	case info.Mode().Perm()&others != 0:
		return File{}, fmt.Errorf("join file: others may read %s, and be this edge; chmod 600 %s", name, name)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return File{}, fmt.Errorf("join file: %w", err)
	}
	return Read(data)
}

// Read reads the file's text. Any bytes may come.
func Read(data []byte) (File, error) {
	var f File
	if len(data) > maxBytes {
		return f, errors.New("join file: too large; give the one that the hub wrote")
	}
	if err := yaml.NewDecoder(bytes.NewReader(data), yaml.Strict()).Decode(&f); err != nil {
		return File{}, fmt.Errorf("join file: %s", yaml.FormatError(err, false, false))
	}
	if _, _, err := net.SplitHostPort(f.Hub); err != nil {
		return File{}, fmt.Errorf("join file: hub: %q is no address; give host:port", f.Hub)
	}
	if _, err := nkeys.FromSeed([]byte(f.Key)); err != nil {
		return File{}, errors.New("join file: key: is no seed of a key; take the file that the hub wrote as it is")
	}
	if f.CA != "" {
		if !f.TLS {
			return File{}, errors.New("join file: ca: is of no use without tls: true")
		}
		if !x509.NewCertPool().AppendCertsFromPEM([]byte(f.CA)) {
			return File{}, errors.New("join file: ca: holds no certificate in PEM")
		}
	}
	return f, nil
}

// ID is the edge's name.
func (f File) ID() wire.DeviceID { return wire.DeviceID{Site: f.Site, Device: f.Edge} }

// TLSConfig is how the link is encrypted; nil: it is not.
func (f File) TLSConfig() *tls.Config {
	if !f.TLS {
		return nil
	}
	c := &tls.Config{MinVersion: tls.VersionTLS12}
	if f.CA != "" {
		c.RootCAs = x509.NewCertPool()
		c.RootCAs.AppendCertsFromPEM([]byte(f.CA)) // Read has tried
	}
	return c
}
