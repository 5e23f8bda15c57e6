package server

import (
	"net/http"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"isohaline/internal/wire"
)

// metrics is the counters of every room, for Prometheus.
func (s *Server) metrics() http.Handler {
	registry := prometheus.NewRegistry()
	registry.MustRegister(s.door.Counters.Collectors()...)
	registry.MustRegister(s.readings.Counters.Collectors()...)
	registry.MustRegister(
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), vitalsGatherer{s},
		wire.Counter("isohaline_monitor_readings_total", "Readings taken in from the log, each once.", func() int64 { return s.Monitor.Counters().Readings }),
		wire.Counter("isohaline_monitor_not_taken_total", "Observations that an account refused.", func() int64 { return s.Monitor.Counters().NotTaken }),
		wire.Counter("isohaline_monitor_findings_total", "Findings that began or ended.", func() int64 { return s.Monitor.Counters().Findings }),
		wire.Counter("isohaline_monitor_transitions_total", "Changes of alarms.", func() int64 { return s.Monitor.Counters().Transitions }),
		wire.Counter("isohaline_import_readings_total", "Readings that came in tables and were new.", func() int64 { return s.Monitor.Counters().Imported }),
		wire.Counter("isohaline_import_repeated_total", "Readings that came in tables and were there already.", func() int64 { return s.Monitor.Counters().Repeated }),
		wire.Counter("isohaline_import_refused_total", "Cells and rows of tables that could not be read.", func() int64 { return s.Monitor.Counters().Unreadable }),
		wire.Counter("isohaline_notices_sent_total", "Messages about alarms that a channel took.", s.Sender.Counters.Sent.Load),
		wire.Counter("isohaline_notices_problems_total", "Attempts to deliver a message that failed.", s.Sender.Counters.Problems.Load),
		wire.Counter("isohaline_notices_given_up_total", "Messages that were given up: somebody was not told.", s.Sender.Counters.GivenUp.Load),
		wire.Counter("isohaline_upkeep_done_total", "How often old readings and sessions were dropped.", s.tidied.done.Load),
		wire.Counter("isohaline_upkeep_problems_total", "How often they could not be.", s.tidied.problems.Load),
		wire.Gauge("isohaline_browsers_live", "Browsers that follow live.", func() int64 { return int64(s.Monitor.Feed.Subscribers()) }),
	)
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
}

// health answers whether the store can be asked.
func (s *Server) health(w http.ResponseWriter, r *http.Request) {
	if err := s.Store.Check(r.Context()); err != nil {
		s.o.Log.Error("the store does not answer", "error", err)
		http.Error(w, "the store does not answer", http.StatusServiceUnavailable)
		return
	}
	w.Write([]byte("ok\n"))
}
