package demo

import (
	"math"
	"time"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
)

// HistoryDays is how far back the demo's records go.
const HistoryDays = 90

const (
	day        = 24 * time.Hour
	litre      = 0.001 // m3
	daySeconds = 86_400.0
)

// Tank is one tank of the fleet.
type Tank struct {
	SiteID, SiteName string
	ID               string
	answers          tankfile.Answers
	// alter changes the drafted site where the answers cannot.
	alter func(*tankfile.Tank)
	// gauge: a level gauge reports, beside the switches.
	gauge bool
	// trouble is what is wrong on a day, counted from the beginning of the
	// records; nil: nothing.
	trouble func(day int, c *plant.Conditions)
	// silentFor is how long the device has said nothing by now; 0: it reports.
	silentFor time.Duration
	// guarded: from now on the guard's own agent runs the tank and reports, in
	// place of the device, and can be asked from afar.
	guarded bool
}

// Fleet is the tanks of the demo: eight with something to say, four quiet.
func Fleet() []Tank {
	return []Tank{
		{SiteID: "quill-street", SiteName: "Quill Street Library", ID: "reading-room", gauge: true,
			answers: reef("Reading Room reef", "ground floor, behind the atlases", 1.2, 0.6, 0.6, 40), alter: noFloorSensor,
			trouble: from(HistoryDays-14, func(_ int, c *plant.Conditions) { c.TankLeakM3S = 2.1 * litre / daySeconds })},
		{SiteID: "quill-street", SiteName: "Quill Street Library", ID: "childrens-corner",
			answers: nano("Children's Corner", "first floor", 0.5, 0.35, 0.4, 6)},
		{SiteID: "harbour-stair", SiteName: "Harbour Stair Hotel", ID: "grand-lobby", gauge: true,
			answers: reef("Grand Lobby reef", "lobby", 2.2, 0.85, 0.8, 90),
			trouble: from(HistoryDays-24, func(since int, c *plant.Conditions) { c.TopOffPumpFrac = math.Pow(0.965, float64(since)) })},
		{SiteID: "harbour-stair", SiteName: "Harbour Stair Hotel", ID: "breakfast-terrace", gauge: true,
			answers: reef("Breakfast Terrace", "winter garden", 1.5, 0.6, 0.6, 40), alter: visitedEveryFourDays,
			trouble: from(HistoryDays-2, func(_ int, c *plant.Conditions) { c.EvaporationFactor *= 1.6 })},
		{SiteID: "tern-lane", SiteName: "Tern Lane School", ID: "window-nano",
			answers: nano("Window Nano", "room 3", 0.45, 0.32, 0.36, 5)},
		{SiteID: "tern-lane", SiteName: "Tern Lane School", ID: "biology-hall", gauge: true, guarded: true,
			answers: reef("Biology Hall", "by the stairs", 1.0, 0.5, 0.5, 30)},
		{SiteID: "saltmarsh-clinic", SiteName: "Saltmarsh Clinic", ID: "waiting-room",
			answers: reef("Waiting Room", "ward 2", 1.3, 0.55, 0.55, 40), alter: returnNotSensed,
			trouble: from(HistoryDays-5, func(_ int, c *plant.Conditions) {
				c.ReturnOff = plant.Pulse{On: 8 * time.Minute, Period: 7 * time.Hour}
			})},
		{SiteID: "saltmarsh-clinic", SiteName: "Saltmarsh Clinic", ID: "dentist", gauge: true,
			answers: reef("Dentist's Wall", "ward 4", 1.6, 0.5, 0.6, 45), alter: bigSkimmer,
			trouble: from(HistoryDays-21, func(_ int, c *plant.Conditions) { c.SkimmateFactor = 8 })},
		{SiteID: "glasshouse-row", SiteName: "Glasshouse Row 9", ID: "orchid-house", gauge: true,
			answers: reef("Orchid House reef", "under the palms", 1.4, 0.7, 0.6, 60),
			trouble: from(HistoryDays-9, func(_ int, c *plant.Conditions) { c.EvaporationFactor *= 1.45 })},
		{SiteID: "glasshouse-row", SiteName: "Glasshouse Row 9", ID: "studio", gauge: true,
			answers: reef("Studio cube", "north room", 0.7, 0.7, 0.6, 30), silentFor: 9 * time.Hour},
		{SiteID: "ferry-office", SiteName: "Old Ferry Office", ID: "counter", gauge: true,
			answers: reef("Ticket Counter", "hall", 1.2, 0.5, 0.55, 40)},
		{SiteID: "ferry-office", SiteName: "Old Ferry Office", ID: "lighthouse", gauge: true,
			answers: reef("Lighthouse column", "staircase", 0.8, 0.8, 0.9, 45),
			trouble: from(HistoryDays-12, func(since int, c *plant.Conditions) { c.Watch.ShiftM = -0.0006 * float64(since+1) })},
	}
}

// from lets a trouble begin on a day; since counts from there.
func from(begin int, what func(since int, c *plant.Conditions)) func(int, *plant.Conditions) {
	return func(d int, c *plant.Conditions) {
		if d >= begin {
			what(d-begin, c)
		}
	}
}

func reef(name, place string, lengthM, widthM, heightM, reservoirL float64) tankfile.Answers {
	return tankfile.Answers{Name: name, Place: place,
		Display: tankfile.Box{LengthM: lengthM, WidthM: widthM, HeightM: heightM},
		Sump:    tankfile.Box{LengthM: 0.65 * lengthM, WidthM: 0.4, HeightM: 0.42}, Sensors: 2,
		ReservoirLitres: reservoirL, DaysBetweenVisits: 3}
}

func nano(name, place string, lengthM, widthM, heightM, reservoirL float64) tankfile.Answers {
	return tankfile.Answers{Name: name, Place: place, NoSump: true, Sensors: 2,
		Display:         tankfile.Box{LengthM: lengthM, WidthM: widthM, HeightM: heightM},
		ReservoirLitres: reservoirL, DaysBetweenVisits: 3}
}

func visitedEveryFourDays(s *tankfile.Tank) { s.People.DaysBetweenVisits = 4 }

// noFloorSensor: what leaks runs away unseen.
func noFloorSensor(s *tankfile.Tank) { s.FloorSensor = nil }

// returnNotSensed: the controller does not know that the return pump stands,
// and does not wait after a restart.
func returnNotSensed(s *tankfile.Tank) {
	s.TopOff.Ceiling = nil
	s.TopOff.ReturnSensed = false
	s.TopOff.Pump = &tankfile.Pump{Curve: []tankfile.PumpPoint{{FlowM3S: 1.5 * litre / 60}}}
	s.Overflow.PrimingHeadM = 0.01
	s.Controller.RestartSettleS = 10
}

func bigSkimmer(s *tankfile.Tank) {
	s.Skimmer.SkimmateM3Day = 0.15 * litre
	s.Skimmer.CupM3 = 12 * litre
}
