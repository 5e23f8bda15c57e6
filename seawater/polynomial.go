package seawater

// horner is c[0] + c[1] x + c[2] x² + …
func horner(c []float64, x float64) float64 {
	sum := 0.0
	for j := len(c) - 1; j >= 0; j-- {
		sum = sum*x + c[j]
	}
	return sum
}

// surface is a polynomial in two variables, y and z: row k holds the
// coefficients of z^k, from y^0 upwards. Rows may differ in length, as the
// published tables do.
type surface [][]float64

// at is the value.
func (s surface) at(y, z float64) float64 {
	sum := 0.0
	for k := len(s) - 1; k >= 0; k-- {
		sum = sum*z + horner(s[k], y)
	}
	return sum
}

// dz is the first derivative in z.
func (s surface) dz(y, z float64) float64 {
	sum := 0.0
	for k := len(s) - 1; k >= 1; k-- {
		sum = sum*z + float64(k)*horner(s[k], y)
	}
	return sum
}

// dy is the first derivative in y.
func (s surface) dy(y, z float64) float64 {
	sum := 0.0
	for k := len(s) - 1; k >= 0; k-- {
		row := 0.0
		for j := len(s[k]) - 1; j >= 1; j-- {
			row = row*y + float64(j)*s[k][j]
		}
		sum = sum*z + row
	}
	return sum
}

// dyy is the second derivative in y.
func (s surface) dyy(y, z float64) float64 {
	sum := 0.0
	for k := len(s) - 1; k >= 0; k-- {
		row := 0.0
		for j := len(s[k]) - 1; j >= 2; j-- {
			row = row*y + float64(j*(j-1))*s[k][j]
		}
		sum = sum*z + row
	}
	return sum
}
