package bulk

import (
	"bytes"
	"context"
	"encoding/csv"
	"strings"
	"testing"

	"isohaline/internal/problem"
)

// FuzzRun: whatever the bytes, nothing panics, and a table that is taken comes
// out as CSV with a row for each row and a cell for each column.
func FuzzRun(f *testing.F) {
	for _, seed := range []string{
		"SP,t_degC,p_dbar\n35,25,0\n", "C_mS_cm,t_degC\n53,25\n", "SP\n35\n\n36", "\uFEFF# c\r\nt_degC\r\n25\r\n",
		"tdb_degC,rh_pct,p_Pa,note\n25,50,101325,\"a, b\"\n", "SP,note\n1,\"\n2,\"\"\"\n", "SP\nNaN\n1e999\n-0\n0x1p5\n", "#\n#\nSP,\n,,,\n",
		"SP\n#\n\"# \"\n", "SP,t_degC,TA_umol_kg,pH_total\n35,25,2300,8\n35,25,2300,14\n0,0,-5000,2\n",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		var out bytes.Buffer
		reported := 0
		sum, err := Run(context.Background(), bytes.NewReader(in), &out, func(p problem.Problem) {
			reported++
			if p.Line < 1 || p.Why == "" {
				t.Errorf("a problem without its place or reason: %+v", p)
			}
		})
		if err != nil {
			return
		}
		if sum.Bad != reported || sum.Bad > sum.Rows {
			t.Errorf("%+v, but %d problems", sum, reported)
		}
		if rows := rowsIn(in); sum.Rows != rows {
			t.Errorf("%d rows went in, %d were counted", rows, sum.Rows)
		}
		table := out.Bytes()
		for bytes.HasPrefix(table, []byte("#")) {
			_, table, _ = bytes.Cut(table, []byte("\n"))
		}
		records, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
		if err != nil {
			t.Fatalf("the output is not CSV: %v\n%s", err, table)
		}
		if len(records) != sum.Rows+1 {
			t.Errorf("%d rows went in, %d came out", sum.Rows, len(records)-1)
		}
	})
}

// rowsIn counts the rows of a table the plain way: lines that are not blank,
// less the header and the comments before it.
func rowsIn(in []byte) int {
	rows, header := 0, false
	for line := range strings.SplitSeq(strings.TrimPrefix(string(in), "\uFEFF"), "\n") {
		switch {
		case strings.TrimSpace(line) == "", !header && strings.HasPrefix(line, "#"):
		case !header:
			header = true
		default:
			rows++
		}
	}
	return rows
}
