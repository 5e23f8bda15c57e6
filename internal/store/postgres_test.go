package store_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"database/sql"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgproto3"

	"isohaline/internal/store"
	"isohaline/internal/store/pgtest"
)

// geheim is the password of the tests; no error may show it.
const geheim = "gehe1m"

// ownPostgres is a server for one test, with a user "keeper" that has a password,
// owns the database "reef" and may use "bare" but make nothing there.
func ownPostgres(t *testing.T, o pgtest.Options) *pgtest.Server {
	t.Helper()
	if pgAddress == "" {
		t.Skip("NO POSTGRESQL: ", pgMissing)
	}
	server, err := pgtest.Start(o)
	if err != nil {
		t.Skip("NO POSTGRESQL: ", err)
	}
	t.Cleanup(server.Stop)
	db := got(sql.Open("pgx", server.Address))(t)
	defer db.Close()
	for _, q := range []string{"CREATE ROLE keeper LOGIN PASSWORD '" + geheim + "'", "CREATE DATABASE reef OWNER keeper", "CREATE DATABASE bare"} {
		_, err := db.Exec(q)
		must(t, err)
	}
	return server
}

// as is a server's address with another user, password and database, and more
// after the question mark.
func as(address, user, password, database string, more ...string) string {
	u, _ := url.Parse(address)
	q := u.Query()
	q.Set("user", user)
	q.Set("password", password)
	for i := 0; i < len(more); i += 2 {
		q.Set(more[i], more[i+1])
	}
	u.Path, u.RawQuery = "/"+database, q.Encode()
	return u.String()
}

// refused opens a database, which must fail with each of the words.
func refused(t *testing.T, what, address string, words ...string) {
	t.Helper()
	s, err := store.Open(t.Context(), address, store.Kill)
	if err == nil {
		t.Errorf("%s: it opened", what)
		must(t, s.Close())
		return
	}
	for _, word := range words {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("%s: the error is %q, want %q in it", what, err, word)
		}
	}
	if strings.Contains(err.Error(), geheim) {
		t.Errorf("%s: the error shows the password: %v", what, err)
	}
}

func opens(t *testing.T, what, address string) {
	t.Helper()
	s, err := store.Open(t.Context(), address, store.Kill)
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	must(t, s.Close())
}

// TestPostgresWrong: whatever is wrong with a database, the error says what and
// the remedy, and never the password.
func TestPostgresWrong(t *testing.T) {
	t.Parallel()
	server := ownPostgres(t, pgtest.Options{})
	nobody := got(net.Listen("tcp", "127.0.0.1:0"))(t)
	must(t, nobody.Close())
	for _, row := range []struct {
		what, address string
		words         []string
	}{
		{"wrong password", as(server.Address, "keeper", geheim+"x", "reef"), []string{`password of user "keeper" is wrong`, "PGPASSFILE"}},
		{"no such user", as(server.Address, "nobody", geheim, "reef"), []string{`user "nobody"`}},
		{"no such database", as(server.Address, "keeper", geheim, "reed"), []string{`no database "reed"`, "createdb --owner=\"keeper\""}},
		{"no rights", as(server.Address, "keeper", geheim, "bare"), []string{"may not make or change tables", `ALTER DATABASE "bare" OWNER TO "keeper"`}},
		{"no schema", as(server.Address, "keeper", geheim, "reef", "search_path", "none"), []string{"search_path"}},
		{"not reachable", "postgres://keeper:" + geheim + "@" + nobody.Addr().String() + "/reef", []string{"not to be reached", "connection refused", "start the server"}},
		{"no such host", "postgres://keeper:" + geheim + "@no-such-host.invalid/reef", []string{"not to be reached", "no-such-host.invalid"}},
		{"no such socket", as("postgres:///?host="+t.TempDir(), "keeper", geheim, "reef"), []string{"not to be reached"}},
		{"no address", "postgres://keeper:" + geheim + "@[bad/reef", []string{"no postgres:// address", "%40"}},
		{"a slash in the password", "postgres://keeper:12/" + geheim + "@host/reef", []string{"no postgres:// address", "%2F"}},
		{"a number sign in the password", "postgres://keeper:12#" + geheim + "@host/reef", []string{"no postgres:// address"}},
		{"a question mark in the password", "postgres://keeper:12?" + geheim + "@host/reef", []string{"no postgres:// address"}},
		{"no sslmode", as(server.Address, "keeper", geheim, "reef", "sslmode", geheim, "host", "127.0.0.1"), []string{"cannot be used", "sslmode"}},
		{"no authority", as(server.Address, "keeper", geheim, "reef", "sslrootcert", "/no/"+geheim, "host", "127.0.0.1", "sslmode", "verify-full"), []string{"cannot be used", "sslrootcert"}},
		{"no timeout", as(server.Address, "keeper", geheim, "reef", "connect_timeout", "soon"), []string{"connect_timeout"}},
	} {
		refused(t, row.what, row.address, row.words...)
	}
	opens(t, "the right one", as(server.Address, "keeper", geheim, "reef"))

	// The password in a file of its own, as libpq has it.
	passwords := filepath.Join(t.TempDir(), "passwords")
	must(t, os.WriteFile(passwords, []byte("*:*:reef:keeper:"+geheim+"\n"), 0o600))
	opens(t, "a password file", as(server.Address, "keeper", "", "reef", "passfile", passwords))

	s := got(store.Open(t.Context(), as(server.Address, "keeper", geheim, "reef"), store.Kill))(t)
	defer s.Close()
	if place := s.Place(); !strings.Contains(place, `"reef"`) || strings.Contains(place, geheim) {
		t.Errorf("the place is %q", place)
	}
}

// TestPostgresTLS: an encrypted connection comes about with the right authority
// alone, and a server without one is refused where one is asked for.
func TestPostgresTLS(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	certificate, key := selfSigned(t)
	other, _ := selfSigned(t)
	write := func(name string, text []byte) string {
		path := filepath.Join(dir, name)
		must(t, os.WriteFile(path, text, 0o600))
		return path
	}
	right, wrong := write("right.pem", certificate), write("wrong.pem", other)
	server := ownPostgres(t, pgtest.Options{Network: true, Certificate: certificate, Key: key})
	at := func(host string, more ...string) string {
		return as("postgres://"+host, "keeper", geheim, "reef", more...)
	}
	opens(t, "verified", at(server.Host, "sslmode", "verify-full", "sslrootcert", right))
	opens(t, "encrypted", at(server.Host, "sslmode", "require"))
	refused(t, "another authority", at(server.Host, "sslmode", "verify-full", "sslrootcert", wrong), "no encrypted connection", "sslrootcert=FILE")
	refused(t, "no authority", at(server.Host, "sslmode", "verify-full"), "no encrypted connection")
	refused(t, "in the clear", at(server.Host, "sslmode", "disable"), "pg_hba.conf", "leave sslmode=disable out")

	s := got(store.Open(t.Context(), at(server.Host, "sslmode", "verify-full", "sslrootcert", right), store.Kill))(t)
	defer s.Close()
	if encrypted := got(store.Ask(t.Context(), s, "SELECT ssl FROM pg_stat_ssl WHERE pid = pg_backend_pid()"))(t); encrypted != "true" {
		t.Errorf("encrypted: %s", encrypted)
	}
	plain := fakePostgres(t, func(conn net.Conn, b *pgproto3.Backend) {
		_, _ = b.ReceiveStartupMessage() // the request for TLS
		_, _ = conn.Write([]byte("N"))
	})
	refused(t, "a server without TLS", at(plain, "sslmode", "require"), "does not encrypt", "ssl = on")
}

// TestPostgresTooOld: an old server is named with what to use. The server here is
// one that says no more than that, by the protocol's own library.
func TestPostgresTooOld(t *testing.T) {
	t.Parallel()
	old := fakePostgres(t, func(_ net.Conn, b *pgproto3.Backend) {
		_, _ = b.ReceiveStartupMessage()
		b.Send(&pgproto3.AuthenticationOk{})
		b.Send(&pgproto3.ParameterStatus{Name: "server_version", Value: "9.6.24"})
		b.Send(&pgproto3.ReadyForQuery{TxStatus: 'I'})
		_ = b.Flush()
		_, _ = b.Receive() // until the client goes
	})
	refused(t, "too old", "postgres://keeper:"+geheim+"@"+old+"/reef?sslmode=disable", "9.6.24", "use PostgreSQL 15 or later")
}

// fakePostgres answers every connection with serve.
func fakePostgres(t *testing.T, serve func(net.Conn, *pgproto3.Backend)) (host string) {
	t.Helper()
	l := got(net.Listen("tcp", "127.0.0.1:0"))(t)
	t.Cleanup(func() { must(t, l.Close()) })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				serve(conn, pgproto3.NewBackend(conn, conn))
			}()
		}
	}()
	return l.Addr().String()
}

// selfSigned is a certificate for 127.0.0.1 that is its own authority, and its key.
func selfSigned(t *testing.T) (certificate, key []byte) {
	t.Helper()
	private := got(ecdsa.GenerateKey(elliptic.P256(), rand.Reader))(t)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}}
	der := got(x509.CreateCertificate(rand.Reader, template, template, &private.PublicKey, private))(t)
	secret := got(x509.MarshalPKCS8PrivateKey(private))(t)
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})
}

// TestClaim: of two programs on one database the second is refused, and told who
// has it; when the first ends, it may.
func TestClaim(t *testing.T) {
	t.Parallel()
	ctx, address := t.Context(), newPostgres(t)
	open := func() *store.Store { return got(store.Open(ctx, address, store.Kill))(t) }
	first, second := open(), open()
	defer second.Close()
	must(t, first.Claim(ctx))
	err := second.Claim(ctx)
	if !errors.Is(err, store.ErrClaimed) || !contains(err, fmt.Sprintf("process %d on", os.Getpid())) || !contains(err, "database of its own") {
		t.Errorf("the second: %v", err)
	}
	other := got(store.Open(ctx, newPostgres(t), store.Kill))(t)
	must(t, other.Claim(ctx)) // another schema is another database
	must(t, other.Close())
	must(t, first.Close())
	must(t, second.Claim(ctx))

	// The server forgets the claim with its connection: it is taken again, unless
	// another was faster.
	kill := "SELECT count(pg_terminate_backend(pid, 10000)) FROM pg_locks WHERE locktype = 'advisory' AND classid = 1230196552 AND objid::bigint = hashtext(current_schema())::bigint & 4294967295"
	third := open()
	defer third.Close()
	_ = got(store.Ask(ctx, third, kill))(t)
	must(t, store.RenewClaim(ctx, second))
	if err := third.Claim(ctx); !errors.Is(err, store.ErrClaimed) {
		t.Errorf("beside a renewed claim: %v", err)
	}
	_ = got(store.Ask(ctx, third, kill))(t)
	must(t, third.Claim(ctx))
	if err := store.RenewClaim(ctx, second); !errors.Is(err, store.ErrClaimed) {
		t.Errorf("renewed where another was faster: %v", err)
	}
	must(t, openSQLite(t, store.Kill).Claim(ctx))
}
