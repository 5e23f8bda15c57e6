package wire

import (
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// Counter is a number of the program's that only grows, for a metrics page; its name
// ends in _total.
func Counter(name, help string, read func() int64) prometheus.Collector {
	return prometheus.NewCounterFunc(prometheus.CounterOpts{Name: name, Help: help}, func() float64 { return float64(read()) })
}

// Gauge is a number of the program's that rises and falls, for a metrics page.
func Gauge(name, help string, read func() int64) prometheus.Collector {
	return prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, func() float64 { return float64(read()) })
}

// LogCounters count what the log did since it was opened.
type LogCounters struct {
	Readings   atomic.Int64
	Frames     atomic.Int64
	Bytes      atomic.Int64
	Retries    atomic.Int64
	Consumed   atomic.Int64
	Unreadable atomic.Int64
	Trimmed    atomic.Int64
	Missing    atomic.Int64
	Oldest     atomic.Int64 // now: seconds since 1970, 0 for an empty log
}

// Collectors are the counters with their names.
func (c *LogCounters) Collectors() []prometheus.Collector {
	return []prometheus.Collector{
		Counter("isohaline_log_readings_total", "Readings acknowledged by the log.", c.Readings.Load),
		Counter("isohaline_log_frames_total", "Frames acknowledged by the log; readings share them.", c.Frames.Load),
		Counter("isohaline_log_bytes_total", "Bytes of frames acknowledged by the log.", c.Bytes.Load),
		Counter("isohaline_log_retries_total", "Times that the log did not take a frame and it was tried again.", c.Retries.Load),
		Counter("isohaline_log_consumed_total", "Readings that consumers have done with, repetitions included.", c.Consumed.Load),
		Counter("isohaline_log_unreadable_total", "Frames skipped because they cannot be read.", c.Unreadable.Load),
		Counter("isohaline_log_trimmed_total", "Frames removed after they were released.", c.Trimmed.Load),
		Counter("isohaline_log_missing_total", "Frames that a consumer had yet to read and that the log no longer has.", c.Missing.Load),
		Gauge("isohaline_log_oldest_seconds", "Time of the oldest frame in the log, in seconds since 1970: how far back a restored backup can be completed. 0: the log is empty.", c.Oldest.Load),
	}
}

// DoorCounters count what came to the front door since it was opened.
type DoorCounters struct {
	Connections atomic.Int64 // now
	Messages    atomic.Int64
	Bytes       atomic.Int64
	Accepted    atomic.Int64
	Restamped   atomic.Int64
	Waited      atomic.Int64 // nanoseconds
	Refused     [reasons]atomic.Int64
}

// Collectors are the counters with their names.
func (c *DoorCounters) Collectors() []prometheus.Collector {
	collectors := []prometheus.Collector{
		Gauge("isohaline_door_connections", "Devices connected now.", c.Connections.Load),
		Counter("isohaline_door_messages_total", "Messages that came in.", c.Messages.Load),
		Counter("isohaline_door_bytes_total", "Bytes of messages that came in.", c.Bytes.Load),
		Counter("isohaline_door_readings_total", "Readings accepted: in the log, and acknowledged.", c.Accepted.Load),
		Counter("isohaline_door_restamped_total", "Readings accepted with a time that could not be, moved to their arrival.", c.Restamped.Load),
		prometheus.NewCounterFunc(
			prometheus.CounterOpts{Name: "isohaline_door_wait_seconds_total", Help: "Time that messages waited for the log."},
			func() float64 { return time.Duration(c.Waited.Load()).Seconds() }),
	}
	for reason := range reasons {
		collectors = append(collectors, prometheus.NewCounterFunc(prometheus.CounterOpts{
			Name: "isohaline_door_refused_total", ConstLabels: prometheus.Labels{"reason": reason.String()},
			Help: "Connections, subscriptions and messages refused.",
		}, func() float64 { return float64(c.Refused[reason].Load()) }))
	}
	return collectors
}
