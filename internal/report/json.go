package report

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"isohaline/evaporation"
	"isohaline/internal/plant"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// Schema names the version of the JSON output; docs/check.schema.json describes
// it. A field may be added without a new number; one that is renamed, removed or
// given another meaning raises it.
const Schema = "isohaline-check/1"

// number is a float64 that is null where it is not finite.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	if f := float64(n); !math.IsNaN(f) && !math.IsInf(f, 0) {
		return strconv.AppendFloat(nil, f, 'g', -1, 64), nil
	}
	return []byte("null"), nil
}

// seconds is a duration that is null where it never came.
type seconds time.Duration

func (s seconds) MarshalJSON() ([]byte, error) {
	if time.Duration(s) == plant.NotReached {
		return []byte("null"), nil
	}
	return strconv.AppendFloat(nil, time.Duration(s).Seconds(), 'g', -1, 64), nil
}

type jsonReport struct {
	Schema   string        `json:"schema"`
	Tank     jsonTank      `json:"site"`
	Verdict  jsonVerdict   `json:"verdict"`
	Changes  []jsonChange  `json:"changes"`
	Left     []string      `json:"left"` // what the changes do not mend
	Water    []jsonWater   `json:"water"`
	Settings []jsonSetting `json:"settings"`
	Geometry jsonGeometry  `json:"geometry"`
	AsBuilt  jsonRow       `json:"as_built"`
	Singles  []jsonRow     `json:"singles"`
	Pairs    []jsonRow     `json:"pairs"`
	// Odds is null where there are none, and NoOddsBecause says why.
	Odds          *jsonOdds `json:"odds"`
	NoOddsBecause string    `json:"no_odds_because"`
	// TankYears is the simulated time behind the report.
	TankYears number `json:"tank_years"`
}

type jsonTank struct {
	Name          string `json:"name"`
	Place         string `json:"place"`
	HasSump       bool   `json:"has_sump"`
	HasController bool   `json:"has_controller"`
	SalinityPSU   number `json:"salinity_psu"`
	AlkalinityDKH number `json:"alkalinity_dkh"`
	RoomCO2PPM    number `json:"room_co2_ppm"`
	// LimeFrac is the lime water's share of saturation, 0 for fresh water.
	LimeFrac number `json:"lime_frac"`
	// Units is what sentences are written in: metric or us.
	Units string `json:"units_of_sentences"`
}

type jsonVerdict struct {
	Accepted       bool   `json:"accepted"`
	FailingSingles int    `json:"failing_singles"`
	NearSingles    int    `json:"near_singles"`
	FailingPairs   int    `json:"failing_pairs"`
	Because        string `json:"because"`
}

type jsonChange struct {
	ID    string   `json:"id"`
	Words string   `json:"words"`
	Buys  []string `json:"buys"`
}

type jsonWater struct {
	Season  string    `json:"season"`
	Days    number    `json:"days"`
	Display jsonRange `json:"display_m3_per_day"`
	Sump    jsonRange `json:"sump_m3_per_day"`
	Total   jsonRange `json:"total_m3_per_day"`
	// Condensing: the room's vapour condenses into the tank.
	Condensing bool   `json:"condensing"`
	FracPerDay number `json:"system_frac_per_day"`
}

type jsonRange struct {
	Low      number `json:"low"`
	Estimate number `json:"estimate"`
	High     number `json:"high"`
}

type jsonSetting struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	Words  string `json:"words"`
	Value  number `json:"value"`
	Unit   string `json:"unit"`
	Given  bool   `json:"given"`
	Reason string `json:"reason"`
}

type jsonGeometry struct {
	SystemM3         number   `json:"system_m3"`
	ReturnFlowM3S    number   `json:"return_flow_m3_per_s"`
	EdgeHeadM        number   `json:"edge_head_m"`
	OverEdgeM3       number   `json:"over_edge_m3"`
	SiphonM3         number   `json:"siphon_m3"`
	LineM3           number   `json:"line_m3"`
	DrainDownM3      number   `json:"drain_down_m3"`
	WatchM           number   `json:"watch_m"`
	CeilingM         number   `json:"ceiling_m"`
	HighestM         number   `json:"highest_m"`
	RestM            number   `json:"rest_m"`
	RimM             number   `json:"rim_m"`
	MarginM3         number   `json:"margin_m3"`
	MarginM          number   `json:"margin_m"`
	DipM             number   `json:"dip_m"`
	IntakeM          number   `json:"intake_m"`
	IntakeClearM     number   `json:"intake_clear_m"`
	DumpSafeM3       number   `json:"dump_safe_m3"`
	DumpSpillsM3     number   `json:"dump_spills_m3"`
	DumpSalinityM3   number   `json:"dump_salinity_m3"`
	DumpLimeM3       number   `json:"dump_lime_m3"` // null with fresh water
	DisplaySpareM3   number   `json:"display_spare_m3"`
	ChamberReserveM3 number   `json:"chamber_reserve_m3"`
	Problems         []string `json:"problems"`
}

type jsonRow struct {
	ID     string      `json:"id"`
	Faults []jsonFault `json:"faults"`
	Season string      `json:"season"`
	Class  int         `json:"class"`
	// Unattended is the class if nobody came.
	Unattended      int         `json:"unattended_class"`
	HarmAfter       seconds     `json:"harm_after_s"`
	UnattendedAfter seconds     `json:"unattended_after_s"`
	StoppedBy       string      `json:"stopped_by"`
	FoundBy         string      `json:"found_by"`
	FoundAfter      seconds     `json:"found_after_s"`
	Unnoticed       bool        `json:"unnoticed"`
	OfDangerFrac    number      `json:"of_danger_frac"`
	Sentence        string      `json:"sentence"`
	UntilFound      jsonOutcome `json:"until_found"`
	// Alone is left out of pairs, which are many.
	Alone *jsonOutcome `json:"alone,omitempty"`
}

type jsonFault struct {
	ID    string `json:"id"`
	Unit  string `json:"unit"`
	Words string `json:"words"`
}

type jsonOutcome struct {
	Length            seconds           `json:"length_s"`
	FloorM3           map[string]number `json:"floor_m3"`
	LowPSU            number            `json:"low_psu"`
	HighPSU           number            `json:"high_psu"`
	HourPSU           number            `json:"hour_psu"`
	LowDKH            number            `json:"low_dkh"`
	HighDKH           number            `json:"high_dkh"`
	DayDKH            number            `json:"day_dkh"`
	LowPH             number            `json:"low_ph"`
	HighPH            number            `json:"high_ph"`
	HighOmega         number            `json:"high_omega_aragonite"`
	LowChamberM       number            `json:"low_chamber_m"`
	HighChamberM      number            `json:"high_chamber_m"`
	PumpDry           seconds           `json:"pump_dry_s"`
	ReturnDry         seconds           `json:"return_dry_s"`
	TopOffM3          number            `json:"top_off_m3"`
	EvaporatedM3      number            `json:"evaporated_m3"`
	MainsM3           number            `json:"mains_m3"`
	RejectM3          number            `json:"reject_m3"`
	ClassAfter        []seconds         `json:"class_after_s"` // classes 1 to 4
	AlarmAfter        seconds           `json:"alarm_after_s"`
	Alarms            []string          `json:"alarms"`
	LatchedAfter      seconds           `json:"latched_after_s"`
	LatchReason       string            `json:"latch_reason"`
	FlowEndedAfter    seconds           `json:"flow_ended_after_s"`
	BudgetAfter       seconds           `json:"budget_after_s"`
	ReservoirEmpty    seconds           `json:"reservoir_empty_after_s"`
	WaterResidualFrac number            `json:"water_residual_frac"`
	SaltResidualFrac  number            `json:"salt_residual_frac"`
	AlkResidualFrac   number            `json:"alkalinity_residual_frac"`
}

// settingUnits are the SI units of the settings by ID: m, m3, s, and 1 for a
// ratio.
var settingUnits = map[string]string{
	"watch": "m", "ceiling": "m", "fill": "m3", "fill-time": "s", "first-fill-limit": "s",
	"run-limit": "s", "run-hard-cap": "s", "min-off": "s", "restart-settle": "s", "confirm-dry": "s",
	"daily-budget": "m3", "wet-too-long": "s", "hold-expires": "s", "reservoir": "m3",
}

// JSON writes the report for programs: Schema, SI units, null for what is not
// known or never came. likely may be nil.
func JSON(w io.Writer, r *verify.Report, likely *Odds) error {
	out := json.NewEncoder(w)
	out.SetIndent("", " ")
	j := jsonOf(r)
	j.Odds, j.NoOddsBecause = jsonOddsOf(likely)
	if err := out.Encode(j); err != nil {
		return fmt.Errorf("writing the report as JSON: %w", err)
	}
	return nil
}

func jsonOf(r *verify.Report) *jsonReport {
	s := r.Tank
	j := &jsonReport{
		Schema: Schema,
		Tank: jsonTank{Name: s.Name, Place: s.Place, HasSump: s.HasSump(), HasController: s.Controller != nil,
			SalinityPSU: number(s.Water.SalinityPSU), AlkalinityDKH: number(s.Water.AlkalinityDKH),
			RoomCO2PPM: number(s.Room.CO2PPM), LimeFrac: number(s.TopOff.Reservoir.LimeStrength()), Units: "metric"},
		Verdict: jsonVerdict{Accepted: r.Verdict.Accepted, FailingSingles: r.Verdict.Failing, NearSingles: r.Verdict.Near,
			FailingPairs: r.Verdict.PairsFailing, Because: r.Verdict.Because},
		Changes: []jsonChange{}, Left: notNil(r.Left), Water: []jsonWater{}, Settings: []jsonSetting{},
		Geometry: jsonGeometryOf(&r.Geometry),
		AsBuilt:  jsonRowOf(&r.AsBuilt, true), Singles: jsonRows(r.Singles, true), Pairs: jsonRows(r.Pairs, false),
		TankYears: number(r.TankYears),
	}
	if r.Units == units.US {
		j.Tank.Units = "us"
	}
	for _, c := range r.Changes {
		j.Changes = append(j.Changes, jsonChange{c.ID, c.Words, notNil(c.Buys)})
	}
	for _, w := range r.Water {
		j.Water = append(j.Water, jsonWater{
			Season: w.Season.Name, Days: number(w.Season.Days), Display: jsonRangeOf(w.Display), Sump: jsonRangeOf(w.Sump),
			Total: jsonRangeOf(w.Total), Condensing: w.Total.Condensing, FracPerDay: number(w.FracDay),
		})
	}
	for _, i := range r.Settings.Items {
		j.Settings = append(j.Settings, jsonSetting{ID: i.ID, Name: i.Name, Words: i.Value, Value: number(i.SI),
			Unit: settingUnits[i.ID], Given: i.Given, Reason: i.Reason})
	}
	return j
}

func jsonRangeOf(e evaporation.Estimate) jsonRange {
	return jsonRange{number(e.LowLitresPerDay * litre), number(e.LitresPerDay * litre), number(e.HighLitresPerDay * litre)}
}

func jsonGeometryOf(g *verify.Geometry) jsonGeometry {
	return jsonGeometry{
		SystemM3: number(g.SystemM3), ReturnFlowM3S: number(g.ReturnFlowM3S), EdgeHeadM: number(g.EdgeHeadM),
		OverEdgeM3: number(g.OverEdgeM3), SiphonM3: number(g.SiphonM3), LineM3: number(g.LineM3), DrainDownM3: number(g.DrainDownM3()),
		WatchM: number(g.WatchM), CeilingM: number(g.CeilingM), HighestM: number(g.HighestM), RestM: number(g.RestM), RimM: number(g.RimM),
		MarginM3: number(g.MarginM3), MarginM: number(g.MarginM), DipM: number(g.DipM), IntakeM: number(g.IntakeM), IntakeClearM: number(g.IntakeClearM),
		DumpSafeM3: number(g.DumpSafeM3), DumpSpillsM3: number(g.DumpSpillsM3), DumpSalinityM3: number(g.DumpSalinityM3), DumpLimeM3: number(g.DumpLimeM3),
		DisplaySpareM3: number(g.DisplaySpareM3), ChamberReserveM3: number(g.ChamberReserveM3), Problems: notNil(g.Problems),
	}
}

func jsonRows(rows []verify.Row, alone bool) []jsonRow {
	out := make([]jsonRow, len(rows))
	for i := range rows {
		out[i] = jsonRowOf(&rows[i], alone)
	}
	return out
}

func jsonRowOf(row *verify.Row, alone bool) jsonRow {
	j := jsonRow{
		ID: row.ID(), Faults: []jsonFault{}, Season: row.Season, Class: int(row.Class), Unattended: int(row.Unattended),
		HarmAfter: seconds(row.HarmAfter), UnattendedAfter: seconds(row.AloneAfter),
		StoppedBy: string(row.StoppedBy), FoundBy: string(row.FoundBy), FoundAfter: seconds(row.FoundAfter),
		Unnoticed: row.Unnoticed, OfDangerFrac: number(row.OfDanger), Sentence: row.Sentence, UntilFound: jsonOutcomeOf(&row.Outcome),
	}
	if alone {
		whole := jsonOutcomeOf(&row.Alone)
		j.Alone = &whole
	}
	for _, f := range row.Faults {
		j.Faults = append(j.Faults, jsonFault{f.ID, f.Unit, f.Words})
	}
	return j
}

func jsonOutcomeOf(o *plant.Outcome) jsonOutcome {
	j := jsonOutcome{
		Length: seconds(o.Length), FloorM3: map[string]number{},
		LowPSU: number(o.LowPSU), HighPSU: number(o.HighPSU), HourPSU: number(o.HourPSU),
		LowDKH: number(o.LowDKH), HighDKH: number(o.HighDKH), DayDKH: number(o.DayDKH),
		LowPH: number(o.LowPH), HighPH: number(o.HighPH), HighOmega: number(o.HighOmega),
		LowChamberM: number(o.LowChamberM), HighChamberM: number(o.HighChamberM),
		PumpDry: seconds(o.PumpDry), ReturnDry: seconds(o.ReturnDry),
		TopOffM3: number(o.TopOffM3), EvaporatedM3: number(o.EvaporatedM3), MainsM3: number(o.MainsM3), RejectM3: number(o.RejectM3),
		AlarmAfter: seconds(o.AlarmAt), Alarms: []string{}, LatchedAfter: seconds(o.LatchedAt),
		FlowEndedAfter: seconds(o.FlowEndedAt), BudgetAfter: seconds(o.BudgetAt), ReservoirEmpty: seconds(o.EmptyAt),
		WaterResidualFrac: number(o.Books.WaterResidual()), SaltResidualFrac: number(o.Books.SaltResidual()),
		AlkResidualFrac: number(o.Books.AlkalinityResidual()),
	}
	for from, m3 := range o.FloorM3 {
		j.FloorM3[plant.Origin(from).String()] = number(m3)
	}
	for c := plant.Nuisance; c <= plant.Loss; c++ {
		j.ClassAfter = append(j.ClassAfter, seconds(o.ReachedAt[c]))
	}
	for reason := range o.Alarms.All() {
		j.Alarms = append(j.Alarms, reason.String())
	}
	if o.LatchedAt != plant.NotReached {
		j.LatchReason = o.LatchReason.String()
	}
	return j
}

// notNil makes an empty list [] and not null.
func notNil(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}
