package verify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"isohaline/carbonate"
	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
)

// noticedM3 is water on the floor worth a word, noticedDKH a change of
// alkalinity.
const (
	noticedM3  = 0.05e-3
	noticedDKH = 0.25
)

// sentence says what a row does as one would say it to a client.
func sentence(s *tankfile.Tank, row *Row, u units.System) string {
	what := "as built, with nothing wrong"
	if len(row.Faults) > 0 {
		clauses := make([]string, len(row.Faults))
		for i, f := range row.Faults {
			clauses[i] = f.Words
		}
		what = strings.Join(clauses, ", and ")
	}
	if row.Unnoticed {
		return capitalise(what) + ": nothing changes that anybody would notice."
	}
	return capitalise(what) + ": " + consequence(s, &row.Outcome, u) + ending(s, row, u) + "."
}

func capitalise(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:]
}

// consequence says what happened to floor, salinity and pumps.
func consequence(s *tankfile.Tank, o *plant.Outcome, u units.System) string {
	var parts []string
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	if floor := o.FloorTotalM3(); floor >= noticedM3 {
		add("%s on the floor (%s)", u.Volume(floor), origins(o))
		if o.RejectM3 > 0 {
			add("%s drawn from the mains, reject water included", u.Volume(o.MainsM3))
		}
	}
	l := &s.Limits
	target := s.Water.SalinityPSU
	fast := ""
	if o.HourPSU >= l.SalinityHourPSU[0] {
		fast = fmt.Sprintf(", %s of it within an hour", u.Salinity(o.HourPSU))
	}
	if o.LowPSU <= target-l.SalinityOffPSU[0] {
		add("salinity falls to %s%s", u.Salinity(o.LowPSU), fast)
		fast = ""
	}
	if o.HighPSU >= target+l.SalinityOffPSU[0] {
		add("salinity climbs to %s%s", u.Salinity(o.HighPSU), fast)
		fast = ""
	}
	if fast != "" {
		add("salinity moves by %s within an hour", u.Salinity(o.HourPSU))
	}
	parts = append(parts, chemistry(s, o, u)...)
	if o.PumpDry >= time.Minute {
		add("the top-off pump runs dry for %s", u.Duration(o.PumpDry.Seconds()))
	}
	if o.ReturnDry >= time.Minute {
		add("the return pump draws air for %s", u.Duration(o.ReturnDry.Seconds()))
	}
	if leak := o.FloorM3[plant.FromLeak]; leak >= noticedM3 {
		add("the leak itself loses %s", u.Volume(leak))
	}
	switch {
	case len(parts) > 0:
		return list(parts)
	case o.AlarmAt != plant.NotReached:
		return "no harm"
	}
	return "nothing that animals or floor would notice"
}

// chemistry says what happened to alkalinity and pH, as far as it is harm and
// not what dilution and evaporation do to everything that is dissolved.
func chemistry(s *tankfile.Tank, o *plant.Outcome, u units.System) (parts []string) {
	add := func(format string, args ...any) { parts = append(parts, fmt.Sprintf(format, args...)) }
	target, off := s.Water.AlkalinityDKH, plant.AlkalinityOffDKH[0]
	withSalt := func(psu float64) float64 { return target * psu / s.Water.SalinityPSU }
	if besideSalt := max(o.HighDKH-withSalt(o.HighPSU), withSalt(o.LowPSU)-o.LowDKH); besideSalt < noticedDKH {
		return nil
	}
	fast := ""
	if o.DayDKH >= plant.AlkalinityDayDKH[0] {
		fast = fmt.Sprintf(", %s of it within a day", u.Alkalinity(o.DayDKH))
	}
	switch climbs, falls := o.HighDKH >= target+off, o.LowDKH <= target-off; {
	case climbs && falls:
		add("alkalinity goes from %s to %s%s", u.Alkalinity(o.LowDKH), u.Alkalinity(o.HighDKH), fast)
	case climbs:
		add("alkalinity climbs to %s%s", u.Alkalinity(o.HighDKH), fast)
	case falls:
		add("alkalinity falls to %s%s", u.Alkalinity(o.LowDKH), fast)
	case fast != "":
		add("alkalinity moves by %s within a day", u.Alkalinity(o.DayDKH))
	}
	if o.HighPH >= plant.HighPH[0] {
		add("pH may rise to %.1f", o.HighPH)
	}
	if o.LowPH <= plant.LowPH[0] {
		add("pH may sink to %.1f", o.LowPH)
	}
	if len(parts) > 0 && carbonate.PrecipitationRiskAt(o.HighOmega) == carbonate.PrecipitationLikely {
		add("calcium carbonate is likely to fall out")
	}
	return parts
}

func list(parts []string) string {
	if len(parts) == 1 {
		return parts[0]
	}
	return strings.Join(parts[:len(parts)-1], ", ") + " and " + parts[len(parts)-1]
}

// origins names where the water on the floor came from, the most first.
func origins(o *plant.Outcome) string {
	type share struct {
		from plant.Origin
		m3   float64
	}
	var shares []share
	for i, v := range o.FloorM3 {
		if from := plant.Origin(i); from != plant.FromLeak && v > 0 {
			shares = append(shares, share{from, v})
		}
	}
	slices.SortFunc(shares, func(a, b share) int { return cmp.Compare(b.m3, a.m3) })
	names := make([]string, len(shares))
	for i, s := range shares {
		names[i] = s.from.String()
	}
	return strings.Join(names, ", ")
}

// ending says what stops it and who comes.
func ending(s *tankfile.Tank, row *Row, u units.System) string {
	if row.Unattended == plant.NoHarm {
		return ""
	}
	stops := ""
	switch row.StoppedBy {
	case NoBarrier, PersonBarrier, NoNeed:
	case EmptyBarrier:
		stops = "it ends when the reservoir is empty"
	default:
		stops = "the " + string(row.StoppedBy) + " stops the top-off"
	}
	comes := ""
	after := u.Duration(row.FoundAfter.Seconds())
	switch row.FoundBy {
	case ByAlarm:
		comes = fmt.Sprintf("the alarm (%s) brings somebody after %s", row.Alone.Alarms, after)
	case ByVisit:
		comes = fmt.Sprintf("the visit after %s finds it", after)
	case Nobody:
		comes = "nobody is called"
	}
	if stops == "" {
		if row.FoundBy == Nobody {
			return "; nothing stops it and nobody is called"
		}
		return "; " + comes
	}
	return "; " + stops + ", " + comes
}

// nearDanger is the share of class 3's border from which a row counts as near.
const nearDanger = 0.9

// judge gives the verdict.
func judge(r *Report) Verdict {
	v := Verdict{}
	near := ""
	for i := range r.Singles {
		row := &r.Singles[i]
		switch {
		case row.Class >= plant.Danger:
			v.Failing++
		case row.OfDanger >= nearDanger:
			v.Near++
			if near == "" {
				near = row.Faults[0].Words
			}
		}
	}
	for i := range r.Pairs {
		if r.Pairs[i].Class >= plant.Danger {
			v.PairsFailing++
		}
	}
	spills := r.Geometry.MarginM3 < 0
	sick := asBuiltFails(&r.AsBuilt)
	v.Accepted = v.Failing == 0 && !sick && !spills
	switch {
	case sick && r.AsBuilt.Alone.LatchedAt != plant.NotReached:
		v.Because = "With nothing wrong at all the controller latches: " + r.AsBuilt.Alone.LatchReason.String() + ". A fill may need longer than its limit, or the reservoir run out between visits."
	case sick:
		v.Because = "With nothing wrong at all it already does harm. " + r.AsBuilt.Sentence
	case spills:
		v.Because = r.Geometry.Problems[0]
	case v.Failing == 1:
		v.Because = "One single fault reaches class 3. " + r.Singles[0].Sentence
	case v.Failing > 1:
		v.Because = fmt.Sprintf("%d single faults reach class 3. The worst: %s", v.Failing, r.Singles[0].Sentence)
	default:
		v.Because = fmt.Sprintf("No single fault of the %d tried reaches class 3: animals at risk, or %s on the floor.",
			len(r.Singles), r.Units.Volume(r.Tank.Limits.FloorM3[plant.Danger-1]))
		if v.Near > 0 {
			v.Because += fmt.Sprintf(" %d came within a tenth of it: first, %s.", v.Near, near)
		}
		if v.PairsFailing > 0 {
			v.Because += fmt.Sprintf(" Of %d pairs of faults %d would.", len(r.Pairs), v.PairsFailing)
		}
	}
	return v
}

// asBuiltFails says whether a tank does harm with nothing wrong: its controller
// latches, or its animals are stressed if nobody but the routine visitor comes.
func asBuiltFails(row *Row) bool {
	return row.Unattended >= plant.Stress || row.Alone.LatchedAt != plant.NotReached
}
