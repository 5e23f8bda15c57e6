package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"

	"isohaline/internal/server"
	"isohaline/internal/wire"
)

// serveFlags are what serve and demo have in common.
type serveFlags struct {
	HTTP  string `name:"http" placeholder:"HOST:PORT" help:"Where browsers reach the service; by itself only from this machine."`
	MQTT  string `name:"mqtt" placeholder:"HOST:PORT" help:"Where devices reach the service; by itself only from this machine."`
	Edges string `placeholder:"HOST:PORT" help:"Where edges link themselves to the service; by itself only from this machine."`
}

// serveCommand runs the service.
type serveCommand struct {
	serveFlags
	databaseFlags
	Dir        string `aliases:"data" placeholder:"FOLDER" help:"Where everything is kept; by itself a folder of this user's."`
	NATS       string `name:"nats" placeholder:"URL" help:"An external NATS server for the log of readings, instead of the one within; edges link to this program as ever."`
	Durability string `default:"killed-process" enum:"killed-process,power-cut" help:"What an acknowledged reading survives: killed-process or power-cut."`
	Secure     bool   `help:"Browsers come over HTTPS, by a proxy: send cookies over that alone."`
	EdgesCert  string `placeholder:"FILE" help:"Certificate, in PEM, that encrypts the links of edges; with --edges-key."`
	EdgesKey   string `placeholder:"FILE" help:"Its key."`
}

func (s *serveCommand) Run(ctx context.Context, c *console) error {
	durability, err := wire.ParseDurability(s.Durability)
	if err != nil {
		return err
	}
	dir := s.Dir
	if dir == "" {
		if dir, err = userDir(); err != nil {
			return err
		}
	}
	database, err := s.address()
	if err != nil {
		return err
	}
	encrypted, err := s.edgesTLS()
	if err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(c.Err, nil))
	spendMemory(log)
	srv, err := server.Open(ctx, server.Options{Dir: dir, HTTP: s.HTTP, MQTT: s.MQTT, Edges: s.Edges, EdgesTLS: encrypted, Database: database, NATS: s.NATS,
		Durability: durability, Secure: s.Secure, Log: log})
	if err != nil {
		return err
	}
	defer srv.Close()
	kept := dir
	if database != "" {
		kept = srv.Store.Place() + ", with the log in " + dir
	}
	fmt.Fprintf(c.Out, "Isohaline is running. Pages: %s  Devices: %s  Edges: %s  Kept in: %s\n", srv.Address(), srv.DoorAddress(), srv.EdgesAddress(), kept)
	if srv.Token != "" {
		fmt.Fprintf(c.Out, "\nNobody has an account yet. Open the pages and make the first one with this token:\n\n    %s\n\nIt is good once, and until the program ends.\n", srv.Token)
	}
	return srv.Run(ctx)
}

// edgesTLS encrypts the links of edges; nil without a certificate.
func (s *serveCommand) edgesTLS() (*tls.Config, error) {
	if s.EdgesCert == "" && s.EdgesKey == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(s.EdgesCert, s.EdgesKey)
	if err != nil {
		return nil, fmt.Errorf("--edges-cert and --edges-key: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}

// userDir is where a user's data is kept: what the XDG base directory
// specification calls the data home, or beside the user's settings.
func userDir() (string, error) {
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "isohaline"), nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", errors.New("there is no folder for this user's data; name one with --dir")
	}
	return filepath.Join(dir, "isohaline"), nil
}
