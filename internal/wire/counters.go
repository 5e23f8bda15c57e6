package wire

import (
	"sync/atomic"
	"time"
)

// Sample is one counter as it stands, named for a metrics page.
type Sample struct {
	Name string
	// Reason is set where one name counts several reasons.
	Reason string
	Help   string
	Value  int64
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

// Samples are the counters with their names.
func (c *LogCounters) Samples() []Sample {
	return []Sample{
		{Name: "isohaline_log_readings_total", Help: "Readings acknowledged by the log.", Value: c.Readings.Load()},
		{Name: "isohaline_log_frames_total", Help: "Frames acknowledged by the log; readings share them.", Value: c.Frames.Load()},
		{Name: "isohaline_log_bytes_total", Help: "Bytes of frames acknowledged by the log.", Value: c.Bytes.Load()},
		{Name: "isohaline_log_retries_total", Help: "Times that the log did not take a frame and it was tried again.", Value: c.Retries.Load()},
		{Name: "isohaline_log_consumed_total", Help: "Readings that consumers have done with, repetitions included.", Value: c.Consumed.Load()},
		{Name: "isohaline_log_unreadable_total", Help: "Frames skipped because they cannot be read.", Value: c.Unreadable.Load()},
		{Name: "isohaline_log_trimmed_total", Help: "Frames removed after they were released.", Value: c.Trimmed.Load()},
		{Name: "isohaline_log_missing_total", Help: "Frames that a consumer had yet to read and that the log no longer has.", Value: c.Missing.Load()},
		{Name: "isohaline_log_oldest_seconds", Help: "Time of the oldest frame in the log, in seconds since 1970: how far back a restored backup can be completed. 0: the log is empty.", Value: c.Oldest.Load()},
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

// Samples are the counters with their names.
func (c *DoorCounters) Samples() []Sample {
	samples := []Sample{
		{Name: "isohaline_door_connections", Help: "Devices connected now.", Value: c.Connections.Load()},
		{Name: "isohaline_door_messages_total", Help: "Messages that came in.", Value: c.Messages.Load()},
		{Name: "isohaline_door_bytes_total", Help: "Bytes of messages that came in.", Value: c.Bytes.Load()},
		{Name: "isohaline_door_readings_total", Help: "Readings accepted: in the log, and acknowledged.", Value: c.Accepted.Load()},
		{Name: "isohaline_door_restamped_total", Help: "Readings accepted with a time that could not be, moved to their arrival.", Value: c.Restamped.Load()},
		{Name: "isohaline_door_wait_milliseconds_total", Help: "Time that messages waited for the log.", Value: time.Duration(c.Waited.Load()).Milliseconds()},
	}
	for reason := range reasons {
		samples = append(samples, Sample{
			Name: "isohaline_door_refused_total", Reason: reason.String(),
			Help: "Connections, subscriptions and messages refused.", Value: c.Refused[reason].Load(),
		})
	}
	return samples
}
