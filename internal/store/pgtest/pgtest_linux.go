package pgtest

import (
	"database/sql"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
)

// access lets the administrator in through the socket, and others with a password
// only.
const access = `local all postgres trust
local all all scram-sha-256
hostssl all all 127.0.0.1/32 scram-sha-256
`

// Start starts a server in a temporary folder, on a socket in that folder. It dies
// with this process, however that dies.
func Start(o Options) (*Server, error) {
	const tries = 5 // another program may take a port between our asking and the server's
	for try := 1; ; try++ {
		s, err := startOnce(o)
		if err == nil || !o.Network || try == tries {
			return s, err
		}
	}
}

func startOnce(o Options) (*Server, error) {
	folder, err := os.MkdirTemp("", "isohaline-pg")
	if err != nil {
		return nil, err
	}
	s := &Server{folder: folder, stop: func() { _ = os.RemoveAll(folder) }}
	settings := []string{"listen_addresses="}
	port := "5432" // part of the socket's name, and of nothing else
	if o.Network {
		free, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			s.Stop()
			return nil, err
		}
		s.Host = free.Addr().String()
		_, port, _ = net.SplitHostPort(s.Host)
		free.Close()
		settings = []string{"listen_addresses=127.0.0.1", "ssl=on", "ssl_cert_file=isohaline.crt", "ssl_key_file=isohaline.key"}
	}
	s.Address = "postgres:///postgres?user=postgres&port=" + port + "&host=" + folder
	if err := s.start(append(settings, "port="+port), o); err != nil {
		s.Stop()
		return nil, err
	}
	return s, nil
}

func (s *Server) start(settings []string, o Options) error {
	data := filepath.Join(s.folder, "data")
	programs, err := postgresPrograms()
	if err != nil {
		return err
	}
	attributes := &syscall.SysProcAttr{}
	if os.Getuid() == 0 { // the server refuses root
		if attributes.Credential, err = credential("postgres"); err == nil {
			err = os.Chown(s.folder, int(attributes.Credential.Uid), int(attributes.Credential.Gid))
		}
		if err != nil {
			return err
		}
	}
	initdb := exec.Command(filepath.Join(programs, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = attributes, s.folder
	if output, err := initdb.CombinedOutput(); err != nil {
		return fmt.Errorf("initdb: %w: %s", err, output)
	}
	for name, text := range map[string][]byte{"pg_hba.conf": []byte(access), "isohaline.crt": o.Certificate, "isohaline.key": o.Key} {
		path := filepath.Join(data, name)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			return err
		}
		if c := attributes.Credential; c != nil {
			if err := os.Chown(path, int(c.Uid), int(c.Gid)); err != nil {
				return err
			}
		}
	}
	args := []string{"-D", data, "-k", s.folder, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "log_min_messages=panic"}
	for _, setting := range settings {
		args = append(args, "-c", setting)
	}
	server := exec.Command(filepath.Join(programs, "postgres"), args...)
	// The kernel's signal comes when the thread that started the server ends,
	// so that thread waits for the server.
	server.SysProcAttr = &syscall.SysProcAttr{Credential: attributes.Credential, Pdeathsig: syscall.SIGQUIT}
	server.Dir = s.folder
	started, ended := make(chan error), make(chan struct{})
	go func() {
		runtime.LockOSThread()
		err := server.Start()
		started <- err
		if err == nil {
			_ = server.Wait()
			close(ended)
		}
	}()
	if err := <-started; err != nil {
		return err
	}
	remove := s.stop
	s.stop = func() {
		_ = server.Process.Signal(syscall.SIGINT) // fast shutdown
		<-ended
		remove()
	}
	return answers(s.Address, ended)
}

// postgresPrograms is the folder of the server's programs.
func postgresPrograms() (string, error) {
	if path, err := exec.LookPath("initdb"); err == nil {
		if path, err = filepath.EvalSymlinks(path); err == nil {
			return filepath.Dir(path), nil
		}
	}
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb") // where Debian puts them
	if err != nil || len(found) == 0 {
		return "", errors.New("set ISOHALINE_TEST_PG or install the Debian package postgresql")
	}
	return filepath.Dir(found[len(found)-1]), nil
}

func credential(name string) (*syscall.Credential, error) {
	u, err := user.Lookup(name)
	if err != nil {
		return nil, err
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, err
}

// answers waits until a server that was just started takes connections, or ends.
func answers(address string, ended <-chan struct{}) error {
	db, err := sql.Open("pgx", address)
	if err != nil {
		return err
	}
	defer db.Close()
	const tries, pause = 1200, 50 * time.Millisecond
	for range tries {
		if err = db.Ping(); err == nil {
			return nil
		}
		select {
		case <-ended:
			return fmt.Errorf("the server ended: %w", err)
		case <-time.After(pause):
		}
	}
	return fmt.Errorf("the server does not answer: %w", err)
}
