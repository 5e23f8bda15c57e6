package main

import (
	"log/slog"
	"math"
	"os"
	"runtime/debug"

	"github.com/KimMachineGun/automemlimit/memlimit"
)

// The service lives little and throws much away: a step makes a tank's next value and
// drops the one before. Go by itself collects garbage whenever as much was thrown away
// as lives, a sixth of the processor time of a busy service; it may be four times as
// much (collectPercent), as long as the whole stays under a share of the memory that
// the machine has, or that a container is given (memoryShare). Near that it collects
// sooner. Both are judgements, the first measured in docs/performance.md.
const (
	collectPercent = 400
	memoryShare    = 0.5
)

// spendMemory sets both, unless whoever runs the program has set them, by GOGC and
// GOMEMLIMIT.
func spendMemory(log *slog.Logger) {
	if os.Getenv("GOGC") != "" {
		return
	}
	limit, err := memlimit.Set(memlimit.WithRatio(memoryShare), memlimit.WithProvider(memlimit.ApplyFallback(memlimit.FromCgroup, memlimit.FromSystem)))
	if err != nil {
		log.Warn("it is not known how much memory there is; garbage is collected as often as Go does by itself", "error", err)
		return
	}
	if debug.SetMemoryLimit(-1) == math.MaxInt64 { // AUTOMEMLIMIT or GOMEMLIMIT says that there is none
		return
	}
	debug.SetGCPercent(collectPercent)
	log.Debug("memory", "limit_bytes", limit)
}
