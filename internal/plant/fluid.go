package plant

import (
	"isohaline/seawater"
)

// parcel is a body of water by what is conserved.
type parcel struct{ waterKg, saltKg float64 }

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

// parcelOf is a volume of water at a practical salinity.
func (f fluid) parcelOf(volumeM3, salinityPSU float64) parcel {
	saltFrac := seawater.AbsoluteSalinity(salinityPSU) / gramsPerKg
	massKg := volumeM3 / ((1-saltFrac)*f.waterM3Kg + saltFrac*f.saltM3Kg)
	return parcel{waterKg: massKg * (1 - saltFrac), saltKg: massKg * saltFrac}
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

// saltPerM3 is the concentration in kg/m3, zero for an empty parcel.
func (p *parcel) saltPerM3(volumeM3 float64) float64 {
	if volumeM3 <= 0 {
		return 0
	}
	return p.saltKg / volumeM3
}

func (p *parcel) add(q parcel) {
	p.waterKg += q.waterKg
	p.saltKg += q.saltKg
}

// take removes a share of p, between none and all of it, at p's own salinity.
func (p *parcel) take(share float64) parcel {
	share = min(max(share, 0), 1)
	q := parcel{waterKg: p.waterKg * share, saltKg: p.saltKg * share}
	p.waterKg -= q.waterKg
	p.saltKg -= q.saltKg
	return q
}

// draw removes a volume of p, as much of it as is there.
func (f fluid) draw(p *parcel, wantM3 float64) parcel {
	if volume := f.volumeM3(*p); wantM3 > 0 && volume > 0 {
		return p.take(wantM3 / volume)
	}
	return parcel{}
}
