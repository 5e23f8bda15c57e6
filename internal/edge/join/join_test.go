package join

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"isohaline/internal/wire"
)

func example(t testing.TB) File {
	t.Helper()
	_, seed, err := wire.NewEdgeKey()
	if err != nil {
		t.Fatal(err)
	}
	return File{Hub: "192.0.2.10:8743", Site: "harbour", Edge: "k3f9x2ab", Key: seed}
}

func TestWriteAndOpen(t *testing.T) {
	want := example(t)
	text, err := want.Write()
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "join.yaml")
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	got, err := Open(name)
	if err != nil || got != want {
		t.Errorf("got %+v, %v", got, err)
	}
	if id := got.ID(); id.String() != "harbour/k3f9x2ab" || got.TLSConfig() != nil {
		t.Errorf("%v, TLS %v", id, got.TLSConfig())
	}
	if err := os.Chmod(name, 0o640); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(name); err == nil || !strings.Contains(err.Error(), "chmod 600") {
		t.Errorf("a file that others may read: %v", err)
	}
}

func TestReadRefuses(t *testing.T) {
	good := example(t)
	text, err := good.Write()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct{ what, old, new, want string }{
		{"no port", "192.0.2.10:8743", "192.0.2.10", "give host:port"},
		{"a broken key", good.Key, good.Key[:20], "key: is no seed"},
		{"an unknown member", "site:", "sight:", "unknown field"},
		{"no YAML", text, "\t{", "join file"},
		{"a certificate without TLS", "site:", "ca: abc\nsite:", "without tls"},
		{"no certificate", "site:", "tls: true\nca: abc\nsite:", "no certificate"},
	} {
		t.Run(row.what, func(t *testing.T) {
			_, err := Read([]byte(strings.Replace(text, row.old, row.new, 1)))
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("error is %v, want %q", err, row.want)
			}
			if err != nil && strings.Contains(err.Error(), good.Key) {
				t.Errorf("the error shows the key: %v", err)
			}
		})
	}
}

func FuzzRead(f *testing.F) {
	text, err := example(f).Write()
	if err != nil {
		f.Fatal(err)
	}
	f.Add([]byte(text))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Read(data)
		if err != nil {
			return
		}
		written, err := file.Write()
		if err != nil {
			t.Fatal(err)
		}
		if again, err := Read([]byte(written)); err != nil || again != file {
			t.Errorf("%+v became %+v, %v", file, again, err)
		}
	})
}
