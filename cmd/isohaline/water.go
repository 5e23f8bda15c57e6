package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strings"
	"text/tabwriter"

	"isohaline/internal/bench"
	"isohaline/internal/bulk"
	"isohaline/internal/problem"
	"isohaline/internal/units"
	"isohaline/moistair"
)

type waterCommand struct {
	State stateCommand `cmd:"" default:"withargs" help:"Evaluate one state; this is what water does on its own."`
	Batch batchCommand `cmd:"" help:"Read a table of states as CSV and append the computed columns."`

	Use     benchCommand[bench.Consumption]      `cmd:"" help:"What the tank uses up a day, from a log of readings, water changes and doses."`
	Correct benchCommand[bench.Correction]       `cmd:"" help:"What puts alkalinity, calcium and magnesium right: which salts, how many grams a day."`
	Salt    benchCommand[bench.SalinityMove]     `cmd:"" help:"What brings the tank to another salinity: litres, grams, days."`
	Change  benchCommand[bench.WaterChanges]     `cmd:"" help:"What a series of water changes does, against one large one."`
	Shock   benchCommand[bench.TopOffShock]      `cmd:"" help:"What giving fresh water does at once, and what a month of it is like by hand."`
	Hand    handCommand                          `cmd:"" help:"What a month is like at a tank, topped off by hand and by its controller."`
	Lime    benchCommand[bench.LimeSupply]       `cmd:"" help:"What lime water in the reservoir gives, and what it must not do."`
	Convert benchCommand[bench.Conversion]       `cmd:"" help:"What an instrument's reading means, and what every other would show."`
	Agree   benchCommand[bench.Agreement]        `cmd:"" help:"What several readings of one water say together, and which instrument is off."`
	Fluid   benchCommand[bench.CalibrationFluid] `cmd:"" help:"A fluid of table salt to calibrate with."`
	Source  benchCommand[bench.SourceWater]      `cmd:"" help:"What the RO/DI unit gives, wastes, and when its parts are due."`
}

// Help shows the shortest way in.
func (waterCommand) Help() string {
	return "One state is given by flags (see isohaline water state --help), like\n\n" +
		"  isohaline water --salinity '35 ppt' --temperature '25 °C'\n\n" +
		"and a table of them on standard input (see isohaline water batch --help), like\n\n" +
		"  isohaline water batch <states.csv >computed.csv\n\n" +
		"The other commands are the water bench: corrections, salinity, water changes, what a top-off does, lime water, instruments, source water."
}

// stateCommand evaluates one state of water, air or both.
type stateCommand struct {
	Salinity     string `placeholder:"VALUE" xor:"salt" help:"Salinity, like '35 ppt', '1.0264 SG@25/25' or '53 mS/cm@25°C'."`
	Conductivity string `placeholder:"VALUE" xor:"salt" help:"Or the conductivity at the water's own temperature, like '53.1 mS/cm'."`
	Temperature  string `placeholder:"VALUE" help:"Temperature of the water, like '25.5 °C'. Alone: pure water and its vapour."`
	Air          string `placeholder:"VALUE" help:"Temperature of the air, like '22 °C'."`
	Humidity     string `placeholder:"VALUE" help:"Relative humidity of the air, like '45 %'."`
	Pressure     string `placeholder:"VALUE" xor:"weight" help:"Pressure of the air, like '1009 hPa'; 1013.25 hPa without it."`
	Elevation    string `placeholder:"VALUE" xor:"weight" help:"Or the elevation above the sea, like '40 m'."`
	JSON         bool   `help:"Print JSON."`
}

func (s *stateCommand) Run(c *console) error {
	inputs, err := s.inputs()
	if err != nil {
		return err
	}
	values, extrapolated, err := bulk.Evaluate(inputs)
	if err != nil {
		return err
	}
	if s.JSON {
		return writeStateJSON(c, inputs, values, extrapolated)
	}
	w := tabwriter.NewWriter(c.Out, 0, 0, 2, ' ', 0)
	for _, v := range values {
		fmt.Fprintf(w, "%s\t%s\n", v.Words, strings.TrimSpace(figures(v.Is)+" "+v.Unit))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if extrapolated {
		fmt.Fprintln(c.Err, extrapolatedWords("this state lies", bulk.FittedSeawater))
	}
	return nil
}

// extrapolatedWords warns that values are good only by luck.
func extrapolatedWords(what, fitted string) string {
	return "isohaline: note: " + what + " outside " + fitted + ", where the formulas were fitted; the values are extrapolated"
}

// inputs turns the flags into the columns of a table.
func (s *stateCommand) inputs() (map[string]float64, error) {
	in := map[string]float64{}
	var errs []error
	read := func(flag, text string, kind *units.Kind, column string, perBase float64) {
		if text == "" {
			return
		}
		v, err := kind.Parse(text)
		if err != nil {
			errs = append(errs, fmt.Errorf("--%s: %w", flag, err))
			return
		}
		in[column] = v * perBase
	}
	const percent = 100
	read("salinity", s.Salinity, units.Salinity, "SP", 1)
	read("temperature", s.Temperature, units.Temperature, "t_degC", 1)
	read("air", s.Air, units.Temperature, "tdb_degC", 1)
	read("humidity", s.Humidity, units.Fraction, "rh_pct", percent)
	read("pressure", s.Pressure, units.Pressure, "p_Pa", 1)
	if s.Conductivity != "" {
		// The water's own temperature is what makes it a salinity.
		read("conductivity", s.Conductivity+"@"+s.Temperature, units.Salinity, "SP", 1)
	}
	if s.Elevation != "" {
		elevationM, err := units.Length.Parse(s.Elevation)
		if err != nil {
			errs = append(errs, fmt.Errorf("--elevation: %w", err))
		}
		in["p_Pa"] = moistair.PressureAtElevationPa(elevationM)
	} else if s.Pressure == "" && (s.Air != "" || s.Humidity != "") {
		in["p_Pa"] = moistair.PressureAtElevationPa(0)
	}
	if s.Salinity == "" && s.Conductivity == "" && s.Temperature == "" && s.Air == "" {
		errs = append(errs, errors.New("nothing to evaluate; give --salinity, --temperature or --air, like --salinity '35 ppt' --temperature '25 °C'"))
	}
	return in, errors.Join(errs...)
}

// figures writes a value with as many digits as it deserves.
func figures(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "not defined here"
	}
	const digits = 7
	return fmt.Sprintf("%.*g", digits, v)
}

// writeStateJSON prints the inputs and values by the names of the table.
func writeStateJSON(c *console, inputs map[string]float64, values []bulk.Value, extrapolated bool) error {
	type jsonValue struct {
		Name  string   `json:"name"`
		Words string   `json:"words"`
		Unit  string   `json:"unit,omitempty"`
		Value *float64 `json:"value"` // null where not defined
	}
	out := struct {
		Inputs       map[string]float64 `json:"inputs"`
		Extrapolated bool               `json:"extrapolated"`
		Values       []jsonValue        `json:"values"`
	}{inputs, extrapolated, nil}
	for _, v := range values {
		j := jsonValue{Name: v.Name, Words: v.Words, Unit: v.Unit}
		if !math.IsNaN(v.Is) && !math.IsInf(v.Is, 0) {
			j.Value = &v.Is
		}
		out.Values = append(out.Values, j)
	}
	e := json.NewEncoder(c.Out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(out)
}

// batchCommand computes a table of states.
type batchCommand struct{}

// Help says what the table may hold.
func (batchCommand) Help() string { return bulk.Help() }

func (batchCommand) Run(ctx context.Context, c *console) error {
	sum, err := bulk.Run(ctx, c.In, c.Out, func(p problem.Problem) { fmt.Fprintln(c.Err, "isohaline:", p) })
	if err != nil {
		return err
	}
	if sum.Extrapolated > 0 {
		fmt.Fprintln(c.Err, extrapolatedWords(fmt.Sprintf("%d of %d rows lie", sum.Extrapolated, sum.Rows), sum.Fitted))
	}
	if sum.Bad > 0 {
		return no(fmt.Sprintf("%d of %d rows could not be computed; their computed cells are empty", sum.Bad, sum.Rows))
	}
	return nil
}
