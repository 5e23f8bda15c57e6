package verify

import (
	"fmt"
	"strings"
	"time"

	"isohaline/internal/plant"
)

// Follow lets faults happen once more on the report's tank and keeps every step,
// for drawing: the row of that season, and the samples from the onset on to the
// end as if nobody came. Without a season it is the worst one. The error says
// which seasons there are.
func (r *Report) Follow(faults []plant.Fault, season string) (Row, []plant.Sample, error) {
	b, err := prepare(r.Tank, r.Units)
	if err != nil {
		return Row{}, nil, err
	}
	if season == "" {
		season = b.worst(faults).Season
	}
	var names []string
	for i, s := range r.Tank.Room.Seasons {
		if s.Name != season {
			names = append(names, s.Name)
			continue
		}
		row, way := b.worstWay(i, faults)
		row.Sentence = sentence(r.Tank, &row, r.Units)
		var samples []plant.Sample
		way.StopAt = plant.NoHarm
		way.Trace = func(p plant.Sample) { samples = append(samples, p) }
		// A sample is the end of a segment: it takes the shortest of runs to see
		// where all began.
		for _, way.Length = range []time.Duration{time.Nanosecond, way.Length} {
			b.onsets[i].Run(way)
		}
		if len(samples) > 0 {
			samples[0].SinceOnset = 0
		}
		return row, samples, nil
	}
	return Row{}, nil, fmt.Errorf("season %q is not in the tank file; there are: %s", season, strings.Join(names, ", "))
}
