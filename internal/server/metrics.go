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
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), gatherer{s})
	return promhttp.HandlerFor(registry, promhttp.HandlerOpts{})
}

// gatherer reads the rooms' own counters when asked.
type gatherer struct{ s *Server }

// Describe says nothing in advance: the rooms know their counters.
func (gatherer) Describe(chan<- *prometheus.Desc) {}

func (g gatherer) Collect(out chan<- prometheus.Metric) {
	samples := append(g.s.door.Counters.Samples(), g.s.readings.Counters.Samples()...)
	n, s := g.s.Monitor.Counters(), &g.s.Sender.Counters
	samples = append(samples,
		wire.Sample{Name: "isohaline_watch_readings_total", Help: "Readings taken in from the log, repetitions included.", Value: n.Readings},
		wire.Sample{Name: "isohaline_watch_not_taken_total", Help: "Observations that an account refused.", Value: n.NotTaken},
		wire.Sample{Name: "isohaline_watch_findings_total", Help: "Findings that began or ended.", Value: n.Findings},
		wire.Sample{Name: "isohaline_watch_transitions_total", Help: "Changes of alarms.", Value: n.Transitions},
		wire.Sample{Name: "isohaline_import_readings_total", Help: "Readings that came in tables and were new.", Value: n.Imported},
		wire.Sample{Name: "isohaline_import_repeated_total", Help: "Readings that came in tables and were there already.", Value: n.Repeated},
		wire.Sample{Name: "isohaline_import_refused_total", Help: "Cells and rows of tables that could not be read.", Value: n.Unreadable},
		wire.Sample{Name: "isohaline_notices_sent_total", Help: "Messages about alarms that a channel took.", Value: s.Sent.Load()},
		wire.Sample{Name: "isohaline_notices_problems_total", Help: "Attempts to deliver a message that failed.", Value: s.Problems.Load()},
		wire.Sample{Name: "isohaline_notices_given_up_total", Help: "Messages that were given up: somebody was not told.", Value: s.GivenUp.Load()},
		wire.Sample{Name: "isohaline_upkeep_done_total", Help: "How often old readings and sessions were dropped.", Value: g.s.tidied.done.Load()},
		wire.Sample{Name: "isohaline_upkeep_problems_total", Help: "How often they could not be.", Value: g.s.tidied.problems.Load()},
		wire.Sample{Name: "isohaline_browsers_watching", Help: "Browsers that follow live.", Value: int64(g.s.Monitor.Feed.Subscribers())},
	)
	for _, sample := range samples {
		var names, values []string
		if sample.Reason != "" {
			names, values = []string{"reason"}, []string{sample.Reason}
		}
		out <- prometheus.MustNewConstMetric(prometheus.NewDesc(sample.Name, sample.Help, names, nil),
			prometheus.UntypedValue, float64(sample.Value), values...)
	}
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
