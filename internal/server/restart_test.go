//go:build unix

package server

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"isohaline/internal/channel"
	"isohaline/internal/longtest"
	"isohaline/internal/server/auth"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/wire"
)

// BenchmarkRestart is what a start costs over tanks with a past: processor time of
// all that Open and taking the tanks up do. The yardstick of the same run is
// reading as many descriptions and accounts back as they are, which no start can
// do without. The goals are 5 s for 1,000 tanks and 15 s for 3,000.
func BenchmarkRestart(b *testing.B) {
	for _, tanks := range []int{100, 1000, 3000} {
		b.Run(fmt.Sprintf("tanks=%d", tanks), func(b *testing.B) {
			if tanks > 100 {
				longtest.Only(b, "it takes minutes to make the tanks' past")
			}
			dir := b.TempDir()
			state := livedIn(b, dir, tanks)
			o := Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: auth.Cost{Passes: 1, MemoryKiB: 64, Lanes: 1}}
			var open, whole, yardstick time.Duration
			for b.Loop() {
				before := processorTime(b)
				s, err := Open(b.Context(), o)
				if err != nil {
					b.Fatal(err)
				}
				open += processorTime(b) - before
				if err := s.Monitor.TakeUp(b.Context()); err != nil {
					b.Fatal(err)
				}
				whole += processorTime(b) - before
				if n := len(s.Monitor.Tanks()); n != tanks {
					b.Fatalf("%d tanks are under watch, want %d", n, tanks)
				}
				before = processorTime(b)
				for _, v := range s.Monitor.Tanks() {
					if _, err := s.Store.Description(b.Context(), v.ID, 0); err != nil {
						b.Fatal(err)
					}
					if _, err := s.Store.Checkpoint(b.Context(), "tank", v.ID); err != nil {
						b.Fatal(err)
					}
				}
				yardstick += processorTime(b) - before
				if err := s.Close(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(whole.Seconds()/float64(b.N), "cpu-s/start")
			b.ReportMetric(open.Seconds()/float64(b.N), "cpu-s/open")
			b.ReportMetric(whole.Seconds()/yardstick.Seconds(), "x-reading-it-back")
			b.ReportMetric(float64(state)/1000, "kB/account")
		})
	}
}

// processorTime is what this process has had.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}

// livedIn fills a folder with tanks at five to a site, a device each, and thirty
// days of readings behind the account of every one of them. It returns the size of
// an account in bytes.
func livedIn(b *testing.B, dir string, tanks int) (stateBytes int) {
	b.Helper()
	const aSite, days, every = 5, 30, 30 * time.Minute
	s, err := Open(b.Context(), Options{Dir: dir, HTTP: "127.0.0.1:0", MQTT: "127.0.0.1:0", Edges: "127.0.0.1:0", Cost: cheap})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	began := time.Now().UTC().Add(-days * 24 * time.Hour).Truncate(time.Second)
	e := s.Store.Edit("test", began)
	channels := map[string]float64{channel.WatchLevel: 1, channel.CeilingLevel: 0, channel.Floor: 0, channel.Level: 0.2, channel.WaterTemp: 25, channel.Heartbeat: 1, channel.ReturnPump: 1, channel.TopOffPump: 0}
	var state store.SavedTank
	for i := range tanks {
		id, site := fmt.Sprintf("tank-%d", i), fmt.Sprintf("site-%d", i/aSite)
		err := s.Monitor.AddTank(b.Context(), monitor.NewTank{SiteID: site, TankID: id, By: "test",
			File: string(tankfile.Starter(tankfile.Answers{Name: "Reef " + id}))})
		if err != nil {
			b.Fatal(err)
		}
		d, _, err := s.Devices.New(b.Context(), e, store.Device{SiteID: site, TankID: id, Name: "Level head"})
		if err != nil {
			b.Fatal(err)
		}
		if i > 0 { // as the first, but for the readings: days are what a start looks at
			if err := s.Store.Commit(b.Context(), store.Commit{Tanks: []store.TankStep{{TankID: id, Saved: &state}}}); err != nil {
				b.Fatal(err)
			}
			var rows []store.Reading
			for name, value := range channels {
				c, err := s.Store.EnsureChannel(b.Context(), d.ID, name)
				if err != nil {
					b.Fatal(err)
				}
				for day := range days {
					rows = append(rows, store.Reading{Channel: c.ID, At: began.AddDate(0, 0, day), Value: value})
				}
			}
			if _, err := s.Store.AddReadings(b.Context(), rows); err != nil {
				b.Fatal(err)
			}
			continue
		}
		h := monitor.History{TankID: id}
		for at := began; at.Before(began.AddDate(0, 0, days)); at = at.Add(every) {
			for name, value := range channels {
				h.Readings = append(h.Readings, wire.Reading{Site: site, Device: d.ID, Channel: name, At: at, Value: value})
			}
		}
		if err := s.Monitor.Import(b.Context(), []monitor.History{h}); err != nil {
			b.Fatal(err)
		}
		load, err := s.Store.Load(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		state = *load.Tanks[0].Saved
	}
	return len(state.Data)
}
