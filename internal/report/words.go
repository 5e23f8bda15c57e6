package report

import (
	"fmt"
	"strings"

	"isohaline/internal/plant"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/verify"
)

// tests are what to try at commissioning, and again at every proof test, for
// the parts that this tank has. Common practice, no source; the expected values
// are the check's own.
func tests(r *verify.Report) []test {
	s, u, g, geo := r.Tank, r.Units, r.Settings.Guard, &r.Geometry
	var out []test
	add := func(do, expect string, args ...any) {
		// What is expected but not known is not worth a test.
		if e := fmt.Sprintf(expect, args...); !strings.Contains(e, units.Unknown) {
			out = append(out, test{do, e})
		}
	}
	if g != nil && s.TopOff.Watch != nil {
		add("Dry the watch sensor, then wet it again.", "The pump starts after %s and stops.", u.Duration(g.ConfirmDry.Seconds()))
		add("Keep the watch sensor dry, the tube’s end in a jug.", "The pump stops by itself, the first time within %s, and calls.", u.Duration(g.FirstFillLimit.Seconds()))
	}
	if g != nil && s.TopOff.Ceiling != nil {
		add("During a fill, wet the ceiling sensor.", "The pump stops at once; after %s the controller latches and calls.", u.Duration(g.CeilingConfirm.Seconds()))
	}
	if s.HasSump() {
		add("With the water at its highest, stop the return pump and wait until all has come down.", "No higher than %s above the chamber’s floor.", u.Length(geo.RestM))
		add("Start the return pump again.", "The chamber does not fall below %s; no air in the return.", u.Length(geo.WatchM-geo.DipM))
	}
	if g != nil && g.ReturnFitted {
		add("During a fill, stop the return pump; start it again.", "The pump stops, and stays off until %s after the restart.", u.Duration(g.RestartSettle.Seconds()))
	}
	if s.TopOff.Pump != nil {
		add("After a fill, watch the tube for a minute.", "No water follows: no siphon.")
	}
	add("Measure the tube’s end.", "%s above the %s’s floor, fixed so that it cannot slip.", u.Length(s.TopOff.TubeEndElevationM), chamberName(s))
	if g != nil && s.FloorSensor != nil {
		expect := "The pump stops, the controller latches and calls."
		if s.Controller.StopsReturnOnFloor {
			expect = "Both pumps stop, the controller latches and calls."
		}
		add("Wet the floor sensor.", "%s", expect)
	}
	if r := s.TopOff.Reservoir; g != nil && r != nil && r.LowSensor != nil {
		add("Lift the reservoir’s low sensor dry.", "The pump does not start.")
	}
	if g != nil {
		add("Take the controller’s power during a fill and give it back.", "The pump is off without power, and waits before it fills again.")
	}
	if s.Alarm.Remote {
		add("Let the alarm go off.", "It reaches the person on duty within minutes; they can be here within %s.", u.Duration(s.People.AnswerHours*3600))
	}
	if s.TopOff.FloatValve != nil {
		add("Lift the float valve by hand, then let it go.", "It shuts without a drip at %s.", u.Length(s.TopOff.FloatValve.ShutElevationM))
	}
	add("Press the test button of the residual-current device (RCD/GFCI).", "It trips; every cable has a drip loop.")
	add("Measure salinity with a calibrated instrument.", "%s.", u.Salinity(s.Water.SalinityPSU))
	return out
}

// Exact factors: 1 kg of fresh water a litre is near enough for a floor; the
// pound is 0.45359237 kg (NIST SP 811 B.8).
const (
	waterKgM3 = 1000
	poundKg   = 0.45359237
)

func weight(m3 float64) string {
	kg := m3 * waterKgM3
	return fmt.Sprintf("%.0f kg (%.0f lb)", kg, kg/poundKg)
}

// cautions are the usual ones, and those that this tank asks for.
func cautions(s *tankfile.Tank) []string {
	out := []string{
		"Mains power beside salt water kills. Protect every circuit at the tank with a residual-current device (RCD/GFCI), give every cable a drip loop, and mount sockets above any level that water could reach, a flood’s included. Unplug before you put a hand in the water.",
		"A licensed electrician or plumber and the local codes decide what may be built. So does the building’s owner.",
		"Water finds the neighbours below. Know where the mains tap and the breaker are, and who is told first.",
	}
	if r := s.TopOff.Reservoir; r != nil {
		if v, err := r.Shape.Vessel(); err == nil {
			out = append(out, "A full reservoir is a load: this one holds "+weight(v.VolumeM3(r.FillHeightM))+" of water, on top of tank, sump, stand and rock. Ask what the floor, or the shelf, may carry.")
		}
		if r.LimeWater {
			out = append(out, "This reservoir holds lime water (kalkwasser, calcium hydroxide). It is caustic: wear gloves and goggles, never put a bare hand in it, keep it from children and pets, label it, and rinse splashes at once; eyes for fifteen minutes, and see a doctor. Every overfill is a chemical accident too: pH and alkalinity rise with the dose. Never pour it in by hand to make up for a missed fill.",
				"Lime crusts whatever it dries on. Soak the pump, the tube’s end, float valves and sensors in vinegar or citric acid when you test them; let new lime settle, and keep the pump’s intake above it (common practice, no source).")
		}
	}
	if s.TopOff.Plumbed != nil || s.TopOff.Reservoir != nil && s.TopOff.Reservoir.Refill != nil {
		out = append(out, "A line plumbed to the mains does not end by itself. Shut its tap whenever nobody is there.")
	}
	return append(out,
		"The animals cannot leave. When a test or a repair stops the pumps, watch temperature and oxygen, and correct salinity by no more than about 1 a day (common practice, no source).",
		"This is an estimate from the measures in the tank file, not a certificate. It is as good as they are, and it does not replace a person who looks.")
}

// method says what was done.
func method(r *verify.Report) []string {
	return []string{
		fmt.Sprintf("Every fault that the tank’s parts can have was tried alone (%d)%s, in each of its %s. The worst season is the one shown.",
			len(r.Singles), andPairs(len(r.Pairs)), counted(len(r.Tank.Room.Seasons), "season")),
		fmt.Sprintf("Each trial is a simulation that keeps account of every gram of water and salt and of all alkalinity, run with the controller’s own program for at least 30 days: %.0f years of tank time in all.", r.TankYears),
		"The faults of a pair begin together. An interruption, of the mains or of the return pump, is also tried half a day after the other fault, and the worse of the two counts.",
		"A person ends a fault when an alarm reaches them, or at the first visit at which something is amiss. The class counts what was reached by then; “if nobody came” says what it would have become.",
		"A design is accepted when no single fault reaches class 3, when with nothing wrong it does no harm, and when nothing spills after a power cut.",
	}
}

func andPairs(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" and with every other (%d pairs)", n)
}

// counted writes a number with its noun.
func counted(n int, noun string) string {
	if n == 1 {
		return "one " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// limits says how far to trust it, and where the classes begin.
func limits(s *tankfile.Tank, u units.System) []string {
	steps := func(name string, v [4]float64, write func(float64) string) string {
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = write(x)
		}
		return name + " " + strings.Join(parts, ", ")
	}
	l := &s.Limits
	return []string{
		"Classes 1 to 4 begin at: " + steps("salinity off the target by", l.SalinityOffPSU, u.Salinity) + "; " +
			steps("salinity moving within an hour by", l.SalinityHourPSU, u.Salinity) + "; " +
			steps("water on the floor", l.FloorM3, u.Volume) + " (common practice, no source; the tank file may set its own); " +
			steps("alkalinity off the target by", plant.AlkalinityOffDKH, u.Alkalinity) + "; " +
			steps("alkalinity moving within a day by", plant.AlkalinityDayDKH, u.Alkalinity) + "; " +
			steps("pH above", plant.HighPH, onePlace) + "; " + steps("pH below", plant.LowPH, onePlace) +
			" (common practice; 8.5, 9.0 and 6.5 are water quality criteria, EPA 440/5-86-001).",
		"pH is worked out from alkalinity, salinity and the room’s carbon dioxide, as if no air had been met for a day and in balance with the room: the truth lies between. Lime that falls out as calcium carbonate is not followed, nor are light and breath.",
		"Evaporation from room air is known to about a third until the tank’s own record is used. Flow through a real tube or return line is known to about a fifth until it is measured. Heads of a few millimetres are known to one or two.",
		"Water temperature is held at the season’s. Oxygen, heat, waves, broken glass and burst pipes are not simulated.",
		"Faults are tried alone and in pairs. Three at once are not, but for how likely the harm is where a third would take away what held the other two. A fault that nobody thought of is not in the list.",
	}
}

func onePlace(v float64) string { return fmt.Sprintf("%.1f", v) }

// Of the answer at a glance, and of its section.
const (
	expectedName = "Serious harm, expected"
	seriousWords = "Serious harm is class 3 or worse: animals at risk, or a wet floor."
	safeWords    = "Inherently safe against overfilling: no sensor, relay or test is needed for that."
)

// oddsMethod says how frequencies are had.
const oddsMethod = "How likely: a combination does its harm when its last fault comes and finds the others standing. How often each comes is a range from published figures and from judgement; how long it stands unseen, the tests say; what it then does, the twin. Expected is with every rate at its mean; between the ends of the band lie 90 % of what is believed."

// oddsSources are what the rates rest on.
const oddsSources = "Failure rates, where published: SINTEF PDS Data Handbook (2021), MIL-HDBK-217F Notice 2, INL/EXT-21-65055 (2021), NUREG/CR-1278 (1983) and others, by the numbers FR-…, each with its page and whether that was read in the program’s table sources.csv. The rest is judgement. Hidden failures are averaged over the test cycle as in IEC 61508-6:2010, Annex B."

// sources are the published works the numbers rest on.
func sources(s *tankfile.Tank) []string {
	model := "Shah (2012, ASHRAE Trans. 118(2); 2014, 120(2))"
	if m := s.Room.EvaporationModel; m != "" {
		model = "the model “" + m + "”, named in the tank file"
	}
	return []string{
		"Salinity: Practical Salinity Scale 1978 (UNESCO 1981, Technical Papers in Marine Science 37).",
		"pH and carbonate: Lueker et al. (2000), Mar. Chem. 70, 105, and Dickson, Sabine and Christian (2007). Lime water: Bates, Bower and Smith (1956), at second hand.",
		"Density and water activity of seawater: TEOS-10 (IOC, SCOR and IAPSO 2010, Manuals and Guides 56).",
		"Evaporation: " + model + ".",
		"Flow over an edge: Rehbock (1929) and Kindsvater and Carter (1957), as in ISO 1438. Friction: Colebrook (1939). Viscosity: Sharqawy, Lienhard and Zubair (2010).",
		"Limits, margins and test intervals: common practice, no source.",
	}
}

// classWords are the words of every class.
func classWords() (out [classes]string) {
	for c := range out {
		out[c] = plant.Class(c).String()
	}
	return out
}
