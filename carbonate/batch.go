package carbonate

// Row is one water of a batch: where it is and the two quantities known of it.
type Row struct {
	SalinityPSU, TempC float64
	A, B               Known
}

// Result is what became of a Row: a state, or the reason there is none.
type Result struct {
	State State
	Err   error
}

// SolveBatch solves rows into results, which must be at least as long, and
// returns how many were refused; a refused row does not stop the others. It
// computes constants anew only when salinity or temperature differ from the
// row before, so rows grouped by water are faster, and allocates only for
// refusals.
func SolveBatch(options Options, rows []Row, results []Result) (refused int) {
	var (
		constants Constants
		err       error
	)
	for i, row := range rows {
		if i == 0 || row.SalinityPSU != rows[i-1].SalinityPSU || row.TempC != rows[i-1].TempC {
			constants, err = At(row.SalinityPSU, row.TempC, options)
		}
		if err != nil {
			results[i] = Result{Err: err}
		} else {
			state, solveErr := constants.Solve(row.A, row.B)
			results[i] = Result{State: state, Err: solveErr}
		}
		if results[i].Err != nil {
			refused++
		}
	}
	return refused
}
