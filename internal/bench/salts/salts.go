// Package salts knows the salts that put a tank's chemistry right: what a mole
// weighs and which ions a mole brings.
package salts

// IUPAC abridged standard atomic weights 2021, g/mol.
const (
	massH, massC, massO   = 1.008, 12.011, 15.999
	massNa, massMg        = 22.990, 24.305
	massS, massCl, massCa = 32.06, 35.45, 40.078

	massWater = 2*massH + massO
)

// Salt is one compound. Ions are per mole of it.
type Salt struct {
	ID, Name, Formula string
	GramsPerMol       float64
	Ions
	// Hydrate is how many waters a formula holds.
	Hydrate int
}

// Ions are moles of dissolved ions.
type Ions struct{ Sodium, Magnesium, Calcium, Chloride, Sulfate, Bicarbonate, Carbonate float64 }

// The salts, by what people know them as in a shop for chemicals.
var (
	SodiumBicarbonate = newSalt("sodium-bicarbonate", "sodium bicarbonate", "NaHCO3", 0, Ions{Sodium: 1, Bicarbonate: 1})
	SodiumCarbonate   = newSalt("sodium-carbonate", "sodium carbonate", "Na2CO3", 0, Ions{Sodium: 2, Carbonate: 1})
	CalciumDihydrate  = newSalt("calcium-chloride-dihydrate", "calcium chloride dihydrate", "CaCl2·2H2O", 2, Ions{Calcium: 1, Chloride: 2})
	CalciumAnhydrous  = newSalt("calcium-chloride-anhydrous", "calcium chloride, anhydrous", "CaCl2", 0, Ions{Calcium: 1, Chloride: 2})
	MagnesiumChloride = newSalt("magnesium-chloride-hexahydrate", "magnesium chloride hexahydrate", "MgCl2·6H2O", 6, Ions{Magnesium: 1, Chloride: 2})
	MagnesiumSulfate  = newSalt("magnesium-sulfate-heptahydrate", "magnesium sulfate heptahydrate", "MgSO4·7H2O", 7, Ions{Magnesium: 1, Sulfate: 1})
)

// All are the salts, in the order above.
func All() []Salt {
	return []Salt{SodiumBicarbonate, SodiumCarbonate, CalciumDihydrate, CalciumAnhydrous, MagnesiumChloride, MagnesiumSulfate}
}

// ByID finds a salt; false if there is none of that id.
func ByID(id string) (Salt, bool) {
	for _, s := range All() {
		if s.ID == id {
			return s, true
		}
	}
	return Salt{}, false
}

func newSalt(id, name, formula string, hydrate int, ions Ions) Salt {
	return Salt{ID: id, Name: name, Formula: formula, Hydrate: hydrate, Ions: ions,
		GramsPerMol: ions.Grams() + float64(hydrate)*massWater}
}

// Grams is what the ions weigh by themselves: without the water that a crystal
// brings, which is water once dissolved.
func (n Ions) Grams() float64 {
	return n.Sodium*massNa + n.Magnesium*massMg + n.Calcium*massCa + n.Chloride*massCl +
		n.Sulfate*(massS+4*massO) + n.Bicarbonate*(massH+massC+3*massO) + n.Carbonate*(massC+3*massO)
}

// Alkalinity is in equivalents: what bicarbonate and carbonate bring.
func (n Ions) Alkalinity() float64 { return n.Bicarbonate + 2*n.Carbonate }

// Carbon is dissolved inorganic carbon in moles.
func (n Ions) Carbon() float64 { return n.Bicarbonate + n.Carbonate }

// Charge is the sum of charges in equivalents: nothing, in any salt.
func (n Ions) Charge() float64 {
	return n.Sodium + 2*n.Magnesium + 2*n.Calcium - n.Chloride - 2*n.Sulfate - n.Bicarbonate - 2*n.Carbonate
}

// Plus adds ions up.
func (n Ions) Plus(m Ions) Ions {
	return Ions{n.Sodium + m.Sodium, n.Magnesium + m.Magnesium, n.Calcium + m.Calcium, n.Chloride + m.Chloride,
		n.Sulfate + m.Sulfate, n.Bicarbonate + m.Bicarbonate, n.Carbonate + m.Carbonate}
}

// Times multiplies them.
func (n Ions) Times(k float64) Ions {
	return Ions{k * n.Sodium, k * n.Magnesium, k * n.Calcium, k * n.Chloride, k * n.Sulfate, k * n.Bicarbonate, k * n.Carbonate}
}

// Seawater is a kilogram of natural seawater at practical salinity 35, the ions
// that the salts above change: Millero et al. (2008), Deep-Sea Res. I 55, 50,
// table 4 (from memory), at 35.16504 g/kg.
func Seawater() Ions {
	return Ions{Sodium: 0.4689674, Magnesium: 0.0528170, Calcium: 0.0102820, Chloride: 0.5458695,
		Sulfate: 0.0282353, Bicarbonate: 0.0017177, Carbonate: 0.0002389}
}

// MgPerMol of the two that are told in mg/L.
const (
	CalciumMgPerMol   = massCa * 1000
	MagnesiumMgPerMol = massMg * 1000
)

// MeqPerLPerDKH: a degree of carbonate hardness is 10 mg of CaO in a litre by
// definition, and a mole of CaO takes up two of acid.
const MeqPerLPerDKH = 2 * 10 / (massCa + massO)
