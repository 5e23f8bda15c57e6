package bench

// Where the equations come from. An answer names those it used.
const (
	sourceCarbonate = "Carbonate system: Lueker, Dickson and Keeling 2000 (K1, K2); Dickson 1990 (bisulfate, borate); Lee et al. 2010 (boron); Weiss 1974 (CO2 solubility); Mucci 1983 (aragonite)."
	sourceMixing    = "Mixing: mass balance of water, salt, alkalinity, carbon, calcium and magnesium by kilogram."
	sourceTwin      = "The month: the twin that the check tries faults on, event by event, with the controller itself (docs/checking.md); evaporation after the tank file's model, by itself Shah 2012 and 2014 (ASHRAE Trans. 118(2) and 120(2))."
	sourceDensity   = "Density: TEOS-10 (IOC, SCOR and IAPSO 2010); practical salinity: PSS-78 (UNESCO 1981)."
	sourceDKH       = "1 dKH is 10 mg CaO in a litre by definition; atomic weights: IUPAC 2021."
	sourceFit       = "Consumption: weighted least squares (the balance of one well-mixed tank, solved by QR)."
	sourceSea       = "Composition of seawater: Millero et al. 2008, reference composition."
	sourceLime      = "Lime water: Cemdata18 (Lothenbach et al. 2019), within 0.3 % of Bates, Bower and Smith 1956 at 25 °C."
	sourceGas       = "Gas exchange: a well-mixed tank that answers to the room in its own recovery time; carbon to move for each CO2: Sarmiento and Gruber 2006, section 3.3."
	sourceRisk      = "Precipitation: seawater dosed with lime is stable to an aragonite saturation of 5 and runs away above 7 (Moras et al. 2022)."
	sourceRates     = "Limits a day and usual targets: common practice, no source."
	sourceErrors    = "Errors of readings: common practice, no source."
	sourceRefract   = "Refraction: Quan and Fry 1995; brine: CRC Handbook of Chemistry and Physics, 102nd ed."
	sourceOsmosis   = "Membrane: net driving pressure and temperature factor after ASTM D4516; resin: capacity in grains CaCO3 per cubic foot."
)

// Cautions. Common practice, no source.
const (
	cautionSlow    = "Change animals' water slowly: more than about 1 PSU or 1 dKH a day stresses them. Stop if they show it."
	cautionDryPump = "While no water goes in the level falls: the return pump must not run dry. Keep the top-off switched off until done."
	cautionSalts   = "Use salts of food or laboratory grade. Calcium chloride gives off heat as it dissolves: add it to water, never water to it. Sodium carbonate irritates eyes and skin: wear gloves and eye protection."
	cautionMains   = "An RO/DI unit on the mains is an endless source: never let a float valve alone stand between it and a tank or a floor. Local codes on backflow decide; ask a licensed plumber."
)
