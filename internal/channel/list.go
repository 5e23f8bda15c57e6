package channel

import (
	"isohaline/internal/account"
	"isohaline/internal/units"
	"isohaline/internal/wire"
)

// The names that the program itself speaks of. A contact is on while there is
// water at it, a pump while it runs.
const (
	WatchLevel      = "watch"
	CeilingLevel    = "ceiling"
	Floor           = "floor"
	Latched         = "latched"
	Reservoir       = "reservoir"
	TopOffPump      = "pump"
	TopOffRan       = "pump-ran"
	ReturnPump      = "return-pump"
	Level           = "level"
	WaterTemp       = "temperature"
	Salinity        = "salinity"
	Alkalinity      = "alkalinity"
	RoomTemp        = "room-temperature"
	RoomHumidity    = "room-humidity"
	PowerRestored   = "power-restored"
	Heartbeat       = "heartbeat"
	ReservoirFilled = "reservoir-filled"
	WaterChange     = "water-change"
)

const (
	mmPerM  = 1000
	percent = 100
	// caoMgPerMmol is the weight of calcium oxide (IUPAC 2021 atomic weights), of
	// which a degree of carbonate hardness is 10 mg in a litre; a mole of it has two
	// equivalents.
	caoMgPerMmol       = 56.077
	dkhMgPerEquivalent = 20
	// usGallonL is exact by definition (NIST SP 811, appendix B.8), as is the inch.
	usGallonL = 3.785411784
	inchM     = 0.0254
)

var (
	fahrenheit = map[string]wire.Mapping{"°F": {Scale: 5.0 / 9, Offset: -160.0 / 9}}
	litres     = map[string]wire.Mapping{"mL": {Scale: 0.001}, "gal": {Scale: usGallonL}}
)

// list is everything there is.
var list = []Channel{
	{Name: Salinity, Title: "Salinity", Unit: "PSU", Min: 0, Max: 60, // SenML has no unit for practical salinity, which has none by its nature
		Also: map[string]wire.Mapping{"ppt": {}}, Headings: []string{"salt"},
		Hand:  &Hand{Quantity: units.Salinity, Units: []string{"PSU", "SG", "mS/cm"}, Instruments: []string{"refractometer", "conductivity meter", "hydrometer"}},
		hears: account.Salinity},
	{Name: TopOffRan, Title: "Length of fills", SenML: "s", Unit: "s", Min: 0, Max: 86_400, // a whole run of the pump, told at its end
		Also: map[string]wire.Mapping{"min": {Unit: "min"}, "h": {Unit: "h"}}, hears: account.PumpRan},
	{Name: Level, Title: "Level above the datum", SenML: "m", Unit: "m", Min: -1, Max: 10, // in the chamber
		Also: map[string]wire.Mapping{"mm": {Unit: "mm"}, "cm": {Unit: "cm"}, "in": {Scale: inchM}}, Screen: Screen{"mm", mmPerM},
		Headings: []string{"water level", "sump level"}, hears: account.Level, scale: mmPerM},
	{Name: WaterTemp, Title: "Water temperature", SenML: "Cel", Unit: "°C", Min: -5, Max: 50,
		Also: fahrenheit, Headings: []string{"temp", "water temperature", "water temp"},
		Hand:  &Hand{Quantity: units.Temperature, Units: []string{"°C", "°F"}, Instruments: []string{"thermometer"}},
		hears: account.WaterTemp},
	{Name: Alkalinity, Title: "Alkalinity", Unit: "dKH", Min: 0, Max: 50, // SenML has no unit for equivalents
		Also: map[string]wire.Mapping{"meq/L": {Scale: caoMgPerMmol / dkhMgPerEquivalent}}, Headings: []string{"alk", "kh", "carbonate hardness"},
		Hand: &Hand{Quantity: units.Alkalinity, Units: []string{"dKH", "meq/L"}, Instruments: []string{"titration", "colorimeter"}}},
	{Name: RoomTemp, Title: "Room temperature", SenML: "Cel", Unit: "°C", Min: -30, Max: 60,
		Also: fahrenheit, Headings: []string{"room temp", "air temperature", "air temp"}, hears: account.RoomAir},
	{Name: RoomHumidity, Title: "Room humidity", SenML: "%RH", Unit: "%", Min: 0, Max: 100,
		Headings: []string{"humidity", "relative humidity", "rh"}, hears: account.RoomAir, scale: 1.0 / percent},
	{Name: ReservoirFilled, Title: "Reservoir filled", SenML: "l", Unit: "L", Min: 0, Max: 100_000, // what went in, 0 if nobody measured
		Also: litres, hears: account.ReservoirFilled},
	{Name: WaterChange, Title: "Water changed", SenML: "l", Unit: "L", Min: 0, Max: 100_000, // new water, as salty as the tank is to be
		Also: litres, hears: account.WaterChange},

	{Name: WatchLevel, Title: "Watch sensor", Contact: true, Headings: []string{"watch sensor"}, hears: account.Watch},
	{Name: CeilingLevel, Title: "Ceiling sensor", Contact: true, Headings: []string{"ceiling sensor"}, hears: account.Ceiling,
		Turned: [2]string{"the ceiling sensor is dry again", "the ceiling sensor is wet"}},
	{Name: Floor, Title: "Floor sensor", Contact: true, Headings: []string{"floor sensor"}, hears: account.Floor,
		Turned: [2]string{"the floor is dry again", "water on the floor"}},
	{Name: Reservoir, Title: "Low sensor of the reservoir", Contact: true, hears: account.ReservoirLow,
		Turned: [2]string{"the reservoir is low", "the reservoir is filled above its low sensor"}},
	{Name: TopOffPump, Title: "Top-off pump", Contact: true, Headings: []string{"top off pump", "top off"}, hears: account.PumpOn},
	{Name: ReturnPump, Title: "Return pump", Contact: true, hears: account.ReturnPump,
		Turned: [2]string{"the return pump stopped", "the return pump runs again"}},
	{Name: PowerRestored, Title: "Power restored", Contact: true, hears: account.PowerRestored,
		Turned: [2]string{"the device started", "the device started after a power cut"}},
	{Name: Latched, Title: "Guard latched", Contact: true, hears: account.Heartbeat}, // it has tripped, and waits for somebody on site; the account need not know
	{Name: Heartbeat, Title: "Heartbeat", Contact: true, hears: account.Heartbeat},
}
