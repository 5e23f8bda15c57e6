package report

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"

	"isohaline/internal/chart"
	"isohaline/internal/plant"
	"isohaline/internal/verify"
)

// Trace is one row's fault against time, from the samples of its run (see
// verify.Report.Follow). It ends a little after the last thing that happened:
// the weeks after a story is over would squeeze the story into a corner.
func Trace(r *verify.Report, row *verify.Row, samples []plant.Sample) *chart.Trace {
	s, g := r.Tank, &r.Geometry
	t := &chart.Trace{
		Title:     traceTitle(row),
		Subtitle:  fmt.Sprintf("%s, %s. As it goes if nobody comes.", s.Name, row.Season),
		Units:     r.Units,
		TargetPSU: s.Water.SalinityPSU, OffPSU: s.Limits.SalinityOffPSU, FloorM3: s.Limits.FloorM3,
		TargetDKH: s.Water.AlkalinityDKH, OffDKH: plant.AlkalinityOffDKH, HighPH: plant.HighPH, LowPH: plant.LowPH,
		Levels: []chart.TraceLevel{{Name: "ceiling", ElevationM: g.CeilingM}, {Name: "rim", ElevationM: g.RimM}},
		Events: events(row),
	}
	if s.TopOff.Watch != nil {
		t.Levels = append(t.Levels, chart.TraceLevel{Name: "watch", ElevationM: g.WatchM})
	}
	if f := s.TopOff.FloatValve; f != nil {
		t.Levels = append(t.Levels, chart.TraceLevel{Name: "float valve", ElevationM: f.ShutElevationM})
	}
	if s.HasSump() {
		t.Levels = append(t.Levels, chart.TraceLevel{Name: "pump draws air", ElevationM: g.IntakeM})
	}
	until := storyEnd(t.Events)
	var closed, settled float64 // the last known
	for i, p := range samples {
		if !math.IsNaN(p.PHClosed + p.PHSettled) {
			closed, settled = p.PHClosed, p.PHSettled
		}
		t.Points = append(t.Points, chart.TracePoint{
			At: p.SinceOnset, SalinityPSU: p.SalinityPSU, LevelM: p.ChamberM, FloorM3: p.FloorM3, TopOff: p.TopOffM3S > 0,
			AlkalinityDKH: p.AlkalinityDKH, PHClosed: closed, PHSettled: settled,
		})
		if p.SinceOnset > until && i > 0 {
			break
		}
	}
	return t
}

func traceTitle(row *verify.Row) string {
	title := ""
	for i, f := range row.Faults {
		if i > 0 {
			title += ", and "
		}
		title += f.Words
	}
	if title == "" {
		return "As built, with nothing wrong"
	}
	return capitalise(title)
}

// events are what the row's outcome knows, in words, in the order of time.
func events(row *verify.Row) []chart.TraceEvent {
	o := &row.Alone
	var out []chart.TraceEvent
	add := func(at time.Duration, person bool, format string, args ...any) {
		if at != plant.NotReached && at >= 0 {
			out = append(out, chart.TraceEvent{At: at, Words: fmt.Sprintf(format, args...), Person: person})
		}
	}
	for c := plant.Nuisance; c <= plant.Loss; c++ {
		// Classes passed at one instant are one event, the last of them.
		if c < plant.Loss && o.ReachedAt[c] == o.ReachedAt[c+1] {
			continue
		}
		add(o.ReachedAt[c], c >= plant.Danger, "class %d begins, %s", c, c)
	}
	add(o.AlarmAt, true, "the controller calls: %s", o.Alarms)
	add(o.LatchedAt, false, "the controller latches: %s", o.LatchReason)
	add(o.BudgetAt, false, "the daily budget stops a fill")
	add(o.RunTimerAt, false, "the run timer cuts the pump off")
	add(o.EmptyAt, false, "the reservoir is empty")
	switch row.FoundBy {
	case verify.ByAlarm:
		add(row.FoundAfter, true, "somebody would be here, called by the alarm")
	case verify.ByVisit:
		add(row.FoundAfter, true, "a visit would find it")
	}
	slices.SortStableFunc(out, func(a, b chart.TraceEvent) int { return cmp.Compare(a.At, b.At) })
	return out
}

// storyEnd is how far a trace is drawn.
func storyEnd(events []chart.TraceEvent) time.Duration {
	const beyond, atLeast = 1.2, 6 * time.Hour
	if len(events) == 0 {
		return 7 * 24 * time.Hour
	}
	return max(atLeast, time.Duration(beyond*float64(events[len(events)-1].At)))
}

// traceColumns name their units.
var traceColumns = []string{
	"since_onset_s", "chamber_m", "display_m", "reservoir_m3", "salinity_psu", "chamber_psu", "floor_m3", "top_off_m3_s",
	"watch_wet", "ceiling_wet", "return_running", "phase", "reason", "alkalinity_dkh", "ph_closed", "ph_settled",
}

// TraceCSV writes samples as comma-separated values (RFC 4180) with a header,
// in SI units; a number that is not finite is an empty field.
func TraceCSV(w io.Writer, samples []plant.Sample) error {
	out := csv.NewWriter(w)
	if err := out.Write(traceColumns); err != nil {
		return fmt.Errorf("writing the trace: %w", err)
	}
	for _, s := range samples {
		record := []string{
			decimal(s.SinceOnset.Seconds()), decimal(s.ChamberM), decimal(s.DisplayM), decimal(s.ReservoirM3),
			decimal(s.SalinityPSU), decimal(s.ChamberPSU), decimal(s.FloorM3), decimal(s.TopOffM3S),
			strconv.FormatBool(s.WatchWet), strconv.FormatBool(s.CeilingWet), strconv.FormatBool(s.ReturnRunning),
			s.Phase.String(), s.Reason.String(), decimal(s.AlkalinityDKH), decimal(s.PHClosed), decimal(s.PHSettled),
		}
		if err := out.Write(record); err != nil {
			return fmt.Errorf("writing the trace: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("writing the trace: %w", err)
	}
	return nil
}

// decimal is the shortest decimal that reads back as the number.
func decimal(x float64) string {
	if x-x != 0 { // NaN and the infinities
		return ""
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
