package bench

import (
	"isohaline/carbonate"
	"isohaline/internal/bench/instrument"
	"isohaline/internal/bench/salts"
	"isohaline/internal/tankfile"
	"isohaline/seawater"
)

// TankWater is the water of a tank as measured.
type TankWater struct {
	VolumeL        float64  `json:"volumeL" name:"volume" type:"L" required:"true" minimum:"0.1" maximum:"1000000" doc:"water in the whole system"`
	TempC          float64  `json:"tempC" name:"temperature" type:"°C" required:"true" minimum:"10" maximum:"35" doc:"temperature of the water"`
	SalinityPSU    float64  `json:"salinityPSU" name:"salinity" type:"PSU" required:"true" minimum:"20" maximum:"40" doc:"practical salinity"`
	AlkalinityDKH  float64  `json:"alkalinityDKH" name:"alkalinity" type:"dKH" required:"true" minimum:"0.5" maximum:"25" doc:"alkalinity"`
	PH             *float64 `json:"pH,omitempty" name:"ph" type:"number" minimum:"7" maximum:"9.5" doc:"as a probe calibrated in the usual buffers reads; without it, the water is taken to be in balance with the room"`
	CalciumMgL     *float64 `json:"calciumMgL,omitempty" name:"calcium" type:"mg/L" minimum:"50" maximum:"1500" doc:"calcium; without it, the sea's at this salinity"`
	MagnesiumMgL   *float64 `json:"magnesiumMgL,omitempty" name:"magnesium" type:"mg/L" minimum:"100" maximum:"5000" doc:"magnesium; without it, the sea's at this salinity"`
	RoomCO2PPM     *float64 `json:"roomCO2PPM,omitempty" name:"room-co2" type:"ppm" minimum:"300" maximum:"10000" doc:"carbon dioxide in the room's air; without it 700 ppm"`
	AirPressureHPa *float64 `json:"airPressureHPa,omitempty" name:"air-pressure" type:"hPa" minimum:"500" maximum:"1100" doc:"of the room's air where it is, not reduced to sea level; without it, sea level's 1013.25 hPa"`
}

const (
	// standardHPa is the standard atmosphere, ISO 2533:1975.
	standardHPa = 1013.25
	// roomSDFrac is how well it is known where nobody measured.
	roomSDFrac = 0.3
	// phConstantsSD and omegaConstantsFrac are what the published constants
	// leave open: package carbonate, "How good the answers are".
	phConstantsSD      = 0.015
	omegaConstantsFrac = 0.05

	seaPSU     = 35.0
	umolPerMol = 1e6
)

func (w *TankWater) roomPPM() float64 {
	if w.RoomCO2PPM != nil {
		return *w.RoomCO2PPM
	}
	return tankfile.UsualRoomCO2PPM
}

// roomUatm is the partial pressure of carbon dioxide that the water settles with.
func (w *TankWater) roomUatm() float64 {
	pressureHPa := standardHPa
	if w.AirPressureHPa != nil {
		pressureHPa = *w.AirPressureHPa
	}
	return w.roomPPM() * pressureHPa / standardHPa
}

// calciumMgL is as measured, or the sea's.
func (w *TankWater) calciumMgL() float64 {
	if w.CalciumMgL != nil {
		return *w.CalciumMgL
	}
	return seaMgL(salts.Seawater().Calcium*salts.CalciumMgPerMol, w)
}

func (w *TankWater) magnesiumMgL() float64 {
	if w.MagnesiumMgL != nil {
		return *w.MagnesiumMgL
	}
	return seaMgL(salts.Seawater().Magnesium*salts.MagnesiumMgPerMol, w)
}

// seaMgL brings what a kilogram of the sea holds, in mg, to a litre at the
// tank's salinity.
func seaMgL(mgPerKg float64, w *TankWater) float64 {
	return mgPerKg * w.SalinityPSU / seaPSU * w.densityKgM3() / litresPerM3
}

func (w *TankWater) densityKgM3() float64 { return densityKgM3(w.SalinityPSU, w.TempC) }

func densityKgM3(psu, tempC float64) float64 {
	return seawater.Density(seawater.AbsoluteSalinity(psu), tempC, 0)
}

// massKg is the mass of the tank's water.
func (w *TankWater) massKg() float64 { return w.VolumeL * w.densityKgM3() / litresPerM3 }

// dissolved is the tank's water for package carbonate. Its carbon follows from
// the pH, or from balance with the room where nobody measured one.
func (w *TankWater) dissolved() (carbonate.Water, error) {
	density := w.densityKgM3()
	out := carbonate.Water{
		MassKg: w.massKg(), SalinityPSU: w.SalinityPSU, TempC: w.TempC,
		TAUmolKg:        carbonate.UmolKgFromDKH(w.AlkalinityDKH, density),
		CalciumUmolKg:   carbonate.CalciumUmolKg(w.calciumMgL(), density),
		MagnesiumUmolKg: carbonate.MagnesiumUmolKg(w.magnesiumMgL(), density),
	}
	c, err := out.Constants(carbonate.Options{})
	if err != nil {
		return out, err
	}
	second := carbonate.PCO2(w.roomUatm())
	if w.PH != nil {
		total, err := convertPH(*w.PH, carbonate.NBS, carbonate.Total, out.SalinityPSU, out.TempC)
		if err != nil {
			return out, err
		}
		second = carbonate.PH(total)
	}
	state, err := c.Solve(carbonate.TA(out.TAUmolKg), second)
	out.DICUmolKg = state.DICUmolKg
	return out, err
}

// state is the carbonate system of a water as it stands, or settled with a room
// where its partial pressure is not 0.
func state(w carbonate.Water, roomUatm float64) (carbonate.State, error) {
	c, err := w.Constants(carbonate.Options{})
	if err != nil {
		return carbonate.State{}, err
	}
	second := carbonate.DIC(w.DICUmolKg)
	if roomUatm != 0 {
		second = carbonate.PCO2(roomUatm)
	}
	return c.Solve(carbonate.TA(w.TAUmolKg), second)
}

// probePH is what a probe calibrated in the usual buffers reads: the NBS scale.
func probePH(s carbonate.State, psu, tempC float64) (float64, error) {
	return convertPH(s.PHTotal, carbonate.Total, carbonate.NBS, psu, tempC)
}

// convertPH takes a pH between the scales. The NBS scale has measurements behind
// it from salinity 20 to 40; beyond, the factor at the end stands in: dilution
// that strong is out of any tank's life.
func convertPH(pH float64, from, to carbonate.Scale, psu, tempC float64) (float64, error) {
	c, err := carbonate.At(min(max(psu, carbonate.NBSSalinityMinPSU), carbonate.NBSSalinityMaxPSU), tempC, carbonate.Options{})
	if err != nil {
		return 0, err
	}
	return c.ConvertPH(pH, from, to)
}

// dKH is a water's alkalinity in its own litres.
func dKH(w carbonate.Water) float64 {
	return carbonate.DKHFromUmolKg(w.TAUmolKg, densityKgM3(w.SalinityPSU, w.TempC))
}

// errors are those of a tank's measurements, in the order that with takes them.
func (w *TankWater) errors() []measured {
	ph := measured{}
	room := measured{w.roomPPM(), 0}
	switch {
	case w.PH != nil:
		ph = measured{*w.PH, instrument.PHSD}
	case w.RoomCO2PPM == nil:
		room.sd = roomSDFrac * room.value
	}
	return []measured{
		{w.VolumeL, instrument.VolumeSDFrac * w.VolumeL}, {w.SalinityPSU, instrument.HandSDPSU("")},
		{w.AlkalinityDKH, instrument.AlkalinitySDDKH}, room, ph,
	}
}

// with is the tank at other measurements; how many it took.
func (w *TankWater) with(x []float64) (TankWater, int) {
	out := *w
	out.VolumeL, out.SalinityPSU, out.AlkalinityDKH = x[0], x[1], x[2]
	out.RoomCO2PPM = &x[3]
	if w.PH != nil {
		out.PH = &x[4]
	}
	return out, 5
}
