package plant

import (
	"isohaline/seawater"
)

// parcel is a body of water by what is conserved: water, salt, and total
// alkalinity in moles of the acid that it takes up.
type parcel struct{ waterKg, saltKg, alkMol float64 }

// mix is what is dissolved in a kind of water that comes in from outside.
type mix struct{ psu, alkMolM3 float64 }

// fluid turns masses into volumes at the tank's temperature. Both specific
// volumes are constants: see seawater.SpecificVolumes for the error.
type fluid struct{ waterM3Kg, saltM3Kg float64 }

const (
	gramsPerKg = 1000
	// standardSalinityPSU is where the specific volume of salt is exact.
	standardSalinityPSU = 35
)

func newFluid(tempC float64) fluid {
	w, s := seawater.SpecificVolumes(standardSalinityPSU, tempC)
	return fluid{waterM3Kg: w, saltM3Kg: s}
}

func (f fluid) volumeM3(p parcel) float64 {
	return p.waterKg*f.waterM3Kg + p.saltKg*f.saltM3Kg
}

// parcelOf is a volume of a mix.
func (f fluid) parcelOf(volumeM3 float64, m mix) parcel {
	massKg := volumeM3 * f.densityKgM3(m.psu)
	saltFrac := seawater.AbsoluteSalinity(m.psu) / gramsPerKg
	return parcel{waterKg: massKg * (1 - saltFrac), saltKg: massKg * saltFrac, alkMol: volumeM3 * m.alkMolM3}
}

// densityKgM3 is that of water of a practical salinity. What else is dissolved
// is a thousandth of the salt or less and has no volume here.
func (f fluid) densityKgM3(salinityPSU float64) float64 {
	saltFrac := seawater.AbsoluteSalinity(salinityPSU) / gramsPerKg
	return 1 / ((1-saltFrac)*f.waterM3Kg + saltFrac*f.saltM3Kg)
}

// psuPerSaltFrac carries the reference composition's fixed ratio to brines that
// the equation of state refuses: a sump that dries out must still add up.
var psuPerSaltFrac = seawater.PracticalSalinity(standardSalinityPSU) / standardSalinityPSU * gramsPerKg

// salinityPSU is zero for an empty parcel.
func (p parcel) salinityPSU() float64 {
	mass := p.waterKg + p.saltKg
	if mass <= 0 {
		return 0
	}
	return psuPerSaltFrac * p.saltKg / mass
}

// dissolved is what is dissolved in a cubic metre: kg of salt, mol of
// alkalinity.
type dissolved struct{ saltKgM3, alkMolM3 float64 }

// dissolvedIn is zero for an empty parcel.
func (p *parcel) dissolvedIn(volumeM3 float64) dissolved {
	if volumeM3 <= 0 {
		return dissolved{}
	}
	return dissolved{p.saltKg / volumeM3, p.alkMol / volumeM3}
}

func (d dissolved) minus(e dissolved) dissolved {
	return dissolved{d.saltKgM3 - e.saltKgM3, d.alkMolM3 - e.alkMolM3}
}

func (p *parcel) add(q parcel) {
	p.waterKg += q.waterKg
	p.saltKg += q.saltKg
	p.alkMol += q.alkMol
}

// take removes a share of p, between none and all of it, of p's own making.
func (p *parcel) take(share float64) parcel {
	share = min(max(share, 0), 1)
	q := parcel{waterKg: p.waterKg * share, saltKg: p.saltKg * share, alkMol: p.alkMol * share}
	p.waterKg -= q.waterKg
	p.saltKg -= q.saltKg
	p.alkMol -= q.alkMol
	return q
}

// draw removes a volume of p, as much of it as is there.
func (f fluid) draw(p *parcel, wantM3 float64) parcel {
	if volume := f.volumeM3(*p); wantM3 > 0 && volume > 0 {
		return p.take(wantM3 / volume)
	}
	return parcel{}
}
