package store

import (
	"context"
	"fmt"
	"time"

	"github.com/uptrace/bun"
)

// Point is what a chart shows of one span of time, from its start. Of a single
// reading all values are the same, and At is its time.
type Point struct {
	At              time.Time
	Low, High, Mean float64
	Last            float64
	N               int64
}

// Series is a channel over a range of time. Spans without readings have no
// point.
type Series struct {
	Step   time.Duration // 0: the points are single readings
	Points []Point
}

// ChartPoints is the most points a chart gets: about one for each pixel of a
// wide screen.
const ChartPoints = 2000

// steps are the spans a chart's points may have: round ones, which divide the
// next coarser unit, so that points of different charts lie on each other.
var steps = []time.Duration{
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour,
	24 * time.Hour, 48 * time.Hour, 7 * 24 * time.Hour, 28 * 24 * time.Hour, 364 * 24 * time.Hour,
}

// Chart is a channel from a time and before another, in no more than
// ChartPoints points: single readings if they are so few and still kept, else
// the finest spans that are few enough and still kept.
func (s *Store) Chart(ctx context.Context, channel int64, from, to time.Time) (Series, error) {
	what := "drawing channel %d"
	if !from.Before(to) {
		return Series{}, fmt.Errorf(what+" from %v to %v: the end must be after the beginning", channel, from, to)
	}
	limits, err := s.horizons(ctx, s.read, "")
	if err != nil {
		return Series{}, wrap(err, what, channel)
	}
	if limits.keeps(singles, from.UnixMicro()) {
		points, err := s.single(ctx, channel, from, to)
		if err != nil || len(points) <= ChartPoints {
			return Series{Points: points}, wrap(err, what, channel)
		}
	}
	step, base := stepFor(to.Sub(from), func(l level) bool { return limits.keeps(l.name, from.UnixMicro()) })
	points, err := s.spans(ctx, channel, from, to, step, base)
	return Series{Step: step, Points: points}, wrap(err, what, channel)
}

// stepFor is the finest step that makes no more than ChartPoints of a range,
// and the coarsest level that it can be put together from. Where that level is
// not kept so long, both are coarser.
func stepFor(length time.Duration, kept func(level) bool) (time.Duration, level) {
	step := steps[len(steps)-1]
	for _, s := range steps {
		if (length+s-1)/s < ChartPoints { // one more, for a range that begins within a span
			step = s
			break
		}
	}
	base := levels[0]
	for _, l := range levels {
		if step%l.span == 0 || !kept(base) {
			base = l
			step = max(step, l.span)
		}
	}
	return step, base
}

// single is up to one more than ChartPoints readings.
func (s *Store) single(ctx context.Context, channel int64, from, to time.Time) ([]Point, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT at, value FROM readings WHERE channel = ? AND at >= ? AND at < ? ORDER BY at LIMIT ?",
		channel, from.UnixMicro(), to.UnixMicro(), ChartPoints+1)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	points := []Point{}
	for rows.Next() {
		var at int64
		var value float64
		if err := rows.Scan(&at, &value); err != nil {
			return nil, err
		}
		points = append(points, Point{At: time.UnixMicro(at).UTC(), Low: value, High: value, Mean: value, Last: value, N: 1})
	}
	return points, rows.Err()
}

// spans puts roll-ups of one level together to steps. A range that begins or
// ends within a step has all of that step, so that a step is the same in every
// chart.
func (s *Store) spans(ctx context.Context, channel int64, from, to time.Time, step time.Duration, base level) ([]Point, error) {
	wide := level{span: step}
	rows, err := s.read.QueryContext(ctx, "SELECT start, n, low, high, sum, sum_err, last_at, last FROM ?"+
		" WHERE channel = ? AND start >= ? AND start < ? ORDER BY start",
		bun.Ident("rollup_"+base.name), channel, wide.floor(from.UnixMicro()), wide.floor(to.UnixMicro()-1)+step.Microseconds())
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var spans []rollup
	for rows.Next() {
		var r rollup
		if err := rows.Scan(&r.start, &r.n, &r.low, &r.high, &r.sum, &r.sumErr, &r.lastAt, &r.last); err != nil {
			return nil, err
		}
		r.start = wide.floor(r.start)
		if n := len(spans); n > 0 && spans[n-1].start == r.start {
			spans[n-1].add(&r)
		} else {
			spans = append(spans, r)
		}
	}
	points := make([]Point, len(spans))
	for i := range spans {
		r := &spans[i]
		points[i] = Point{At: time.UnixMicro(r.start).UTC(), Low: r.low, High: r.high, Mean: r.mean(), Last: r.last, N: r.n}
	}
	return points, rows.Err()
}
