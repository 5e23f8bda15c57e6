package hydraulics

import "math"

// The published weir formulas, for the range of heads their authors measured.
// The overflow edge of a tank runs far below that range: see edge.go.

const (
	// footM is the international foot, exact since 1959.
	footM = 0.3048

	// VNotchLeastHeadM is the least head, 0.2 ft, at which a V-notch may be
	// trusted: below it the nappe can cling to the plate (USBR Water
	// Measurement Manual, ch. 7 sec. 7).
	VNotchLeastHeadM = 0.2 * footM
)

// SharpCrest is a thin, level, straight crest across a channel: the measuring
// weir of hydraulics laboratories. Heads are measured above the crest and well
// upstream. Every method is zero at a head of zero or less.
type SharpCrest struct {
	// WidthM is the length of the crest, CrestHeightM its height over the
	// channel bed upstream.
	WidthM, CrestHeightM float64
}

// KindsvaterCarterM3S is the flow of a crest as wide as its channel (Kindsvater
// and Carter 1957, J. Hydraulics Division ASCE 83(6), as in ISO 1438). Heads
// over 30 mm, up to 2.5 crest heights.
func (w SharpCrest) KindsvaterCarterM3S(headM float64) float64 {
	c := 2.0 / 3 * math.Sqrt2 * (0.602 + 0.075*headM/w.CrestHeightM)
	return weirFlow(c, w.WidthM-0.001, headM, 0.001)
}

// RehbockM3S is the flow of a crest as wide as its channel (Rehbock 1929,
// Trans. ASCE 93, 1143). Heads over 30 mm, up to the crest height.
func (w SharpCrest) RehbockM3S(headM float64) float64 {
	c := 2.0 / 3 * math.Sqrt2 * (0.602 + 0.0832*headM/w.CrestHeightM)
	return weirFlow(c, w.WidthM, headM, 0.00125)
}

// AckersM3S is the flow of a crest as wide as its channel (Ackers, White,
// Perkins and Harrison 1978, Weirs and Flumes for Flow Measurement). Heads over
// 20 mm, up to 2.2 crest heights.
func (w SharpCrest) AckersM3S(headM float64) float64 {
	return weirFlow(0.564*(1+0.150*headM/w.CrestHeightM), w.WidthM, headM, 0.001)
}

// ContractedM3S is the flow of a crest at most a fifth as wide as its channel
// (Kindsvater and Carter 1957, in the form of Ackers et al. 1978). Crests over
// 150 mm, heads over 30 mm.
func (w SharpCrest) ContractedM3S(headM float64) float64 {
	return weirFlow(0.554*(1-0.0035*headM/w.CrestHeightM), w.WidthM+0.0025, headM, 0.0001)
}

// FrancisM3S is the flow of a crest narrower than its channel by Francis's
// formula, 3.33 h^1.5 (L - 0.2 h) in feet (1883; USBR Water Measurement Manual,
// ch. 7; from memory). Heads under a third of the width.
func (w SharpCrest) FrancisM3S(headM float64) float64 {
	if headM <= 0 {
		return 0
	}
	head, width := headM/footM, w.WidthM/footM
	return 3.33 * math.Pow(head, 1.5) * (width - 0.2*head) * footM * footM * footM
}

// weirFlow is c b sqrt(g) (h+k)^1.5. The published head correction k would make
// a weir flow at no head, so the flow is cut to zero there.
func weirFlow(c, widthM, headM, correctionM float64) float64 {
	if headM <= 0 {
		return 0
	}
	h := headM + correctionM
	return c * widthM * math.Sqrt(StandardGravityMS2) * h * math.Sqrt(h)
}

// VNotch is a sharp-edged triangular notch.
type VNotch struct{ AngleDeg float64 }

// shen holds the coefficient and the head correction of Shen (1981, USGS Water
// Supply Paper 1617-B) against the notch angle, read from its curves; at 90
// degrees ISO 1438 has 0.578 and 0.85 mm.
var shen = [...]struct{ angleDeg, c, correctionM float64 }{
	{20, 0.59, 0.0028},
	{40, 0.58, 0.0017},
	{60, 0.575, 0.0012},
	{80, 0.575, 0.001},
	{100, 0.58, 0.001},
}

// FlowM3S is the flow at a head above the notch's point,
//
//	8/15 sqrt(2 g) c tan(angle/2) (h+k)^2.5
//
// with Shen's (1981) c and k linear in the angle. Angles of 20 to 100 degrees; outside, the
// nearest end's coefficients hold. Heads over 50 mm: the teeth of a tank's
// overflow run at less, where the formula is an extrapolation and water may
// cling or not run at all.
func (v VNotch) FlowM3S(headM float64) float64 {
	if headM <= 0 {
		return 0
	}
	c, correctionM := shenCoefficients(v.AngleDeg)
	h := headM + correctionM
	return 8.0 / 15 * math.Sqrt(2*StandardGravityMS2) * c * math.Tan(v.AngleDeg*math.Pi/360) * h * h * math.Sqrt(h)
}

func shenCoefficients(angleDeg float64) (c, correctionM float64) {
	first, last := shen[0], shen[len(shen)-1]
	if angleDeg <= first.angleDeg {
		return first.c, first.correctionM
	}
	for i, b := range shen[1:] {
		if a := shen[i]; angleDeg <= b.angleDeg {
			x := (angleDeg - a.angleDeg) / (b.angleDeg - a.angleDeg)
			return a.c + x*(b.c-a.c), a.correctionM + x*(b.correctionM-a.correctionM)
		}
	}
	return last.c, last.correctionM
}

// ConeM3S is the flow of a 90 degree V-notch by Cone's formula, 2.49 h^2.48 in
// feet (1916; USBR Water Measurement Manual, ch. 7; from memory). Heads from
// VNotchLeastHeadM to 1.25 ft.
func ConeM3S(headM float64) float64 {
	if headM <= 0 {
		return 0
	}
	return 2.49 * math.Pow(headM/footM, 2.48) * footM * footM * footM
}
