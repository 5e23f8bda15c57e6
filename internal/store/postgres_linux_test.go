package store_test

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"syscall"
	"time"
)

// startPostgres starts a private server in a temporary folder, on a socket in
// that folder and no network at all, and returns its address and how to stop
// it. It dies with this process, however that dies.
func startPostgres() (address string, stop func(), err error) {
	programs, err := postgresPrograms()
	if err != nil {
		return "", nil, err
	}
	folder, err := os.MkdirTemp("", "isohaline-pg")
	if err != nil {
		return "", nil, err
	}
	clean := func() { _ = os.RemoveAll(folder) }
	attributes := &syscall.SysProcAttr{}
	if os.Getuid() == 0 { // the server refuses root
		if attributes.Credential, err = credential("postgres"); err == nil {
			err = os.Chown(folder, int(attributes.Credential.Uid), int(attributes.Credential.Gid))
		}
		if err != nil {
			clean()
			return "", nil, err
		}
	}
	data := filepath.Join(folder, "data")
	initdb := exec.Command(filepath.Join(programs, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = attributes, folder
	if output, err := initdb.CombinedOutput(); err != nil {
		clean()
		return "", nil, fmt.Errorf("initdb: %w: %s", err, output)
	}

	server := exec.Command(filepath.Join(programs, "postgres"), "-D", data, "-k", folder,
		"-c", "listen_addresses=", "-c", "fsync=off", "-c", "log_min_messages=panic")
	// The kernel's signal comes when the thread that started the server ends,
	// so that thread waits for the server.
	server.SysProcAttr = &syscall.SysProcAttr{Credential: attributes.Credential, Pdeathsig: syscall.SIGQUIT}
	server.Dir = folder
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
		clean()
		return "", nil, err
	}
	stop = func() {
		_ = server.Process.Signal(syscall.SIGINT) // fast shutdown
		<-ended
		clean()
	}
	address = "postgres:///postgres?user=postgres&host=" + folder
	if err := answers(address); err != nil {
		stop()
		return "", nil, err
	}
	return address, stop, nil
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

// answers waits until a server that was just started takes connections.
func answers(address string) error {
	db, err := sql.Open("pgx", address)
	if err != nil {
		return err
	}
	defer db.Close()
	const tries, pause = 200, 50 * time.Millisecond
	for range tries {
		if err = db.Ping(); err == nil {
			return nil
		}
		time.Sleep(pause)
	}
	return fmt.Errorf("the server does not answer: %w", err)
}
