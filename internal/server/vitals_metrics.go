package server

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"isohaline/internal/server/hub"
)

// What the service knows of itself, for Prometheus.
var (
	readyDesc    = prometheus.NewDesc("isohaline_ready", "1 while the service does its work, as /readyz says; else 0.", nil, nil)
	waitingDesc  = prometheus.NewDesc("isohaline_tanks_waiting", "Tanks that are still to be taken up after the start.", nil, nil)
	behindDesc   = prometheus.NewDesc("isohaline_behind_seconds", "How long the oldest reading waits that is in the log and not worked through.", nil, nil)
	findingsDesc = prometheus.NewDesc("isohaline_hub_findings", "What is wrong with the service itself, by kind.", []string{"code"}, nil)
	signalsDesc  = prometheus.NewDesc("isohaline_signs_of_life_total", "Signs of life that were taken, not taken, or held back because the service did not work.", []string{"outcome"}, nil)
)

// vitalsGatherer asks the service how it stands.
type vitalsGatherer struct{ s *Server }

func (vitalsGatherer) Describe(out chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{readyDesc, waitingDesc, behindDesc, findingsDesc, signalsDesc} {
		out <- d
	}
}

func (g vitalsGatherer) Collect(out chan<- prometheus.Metric) {
	gauge := func(d *prometheus.Desc, value float64, labels ...string) {
		out <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, value, labels...)
	}
	works := 0.0
	if g.s.Works() == "" {
		works = 1
	}
	gauge(readyDesc, works)
	p := g.s.Monitor.Progress()
	gauge(waitingDesc, float64(max(0, p.Total-p.Done)))
	gauge(behindDesc, g.s.behind().Seconds())
	found := map[hub.Code]float64{}
	for _, f := range g.s.Findings() {
		found[f.Code]++
	}
	for _, code := range hub.Codes {
		gauge(findingsDesc, found[code], string(code))
	}
	signal := g.s.Signal
	for outcome, n := range map[string]int64{"taken": signal.Sent.Load(), "not-taken": signal.Failed.Load(), "held-back": signal.Held.Load()} {
		out <- prometheus.MustNewConstMetric(signalsDesc, prometheus.CounterValue, float64(n), outcome)
	}
}

// behind is how long the oldest reading waits that is not worked through.
func (s *Server) behind() time.Duration {
	s.vitals.mu.Lock()
	defer s.vitals.mu.Unlock()
	if s.vitals.facts.Unread.IsZero() {
		return 0
	}
	return max(0, time.Since(s.vitals.facts.Unread))
}
