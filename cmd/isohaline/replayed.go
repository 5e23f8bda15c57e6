package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"isohaline/internal/account"
	"isohaline/internal/live"
	"isohaline/internal/records"
)

// replayed is what an account made of a recording, as it is printed. Times are
// UTC.
type replayed struct {
	Tank         string            `json:"site"`
	Readings     int               `json:"readings"`
	From         time.Time         `json:"from"`
	To           time.Time         `json:"to"`
	ProblemCount int               `json:"problemCount"`
	Problems     []replayedProblem `json:"problems"`
	NotTaken     int64             `json:"notTaken"`
	Findings     []replayedFinding `json:"findings"`
}

type replayedProblem struct {
	Row    int    `json:"row"`
	Column int    `json:"column,omitempty"`
	Header string `json:"header,omitempty"`
	Value  string `json:"value,omitempty"`
	Reason string `json:"reason"`
	Fix    string `json:"fix,omitempty"`
}

type replayedFinding struct {
	Code       string     `json:"code"`
	Sentence   string     `json:"sentence"`
	Began      time.Time  `json:"began"`
	Found      time.Time  `json:"found"`
	Ended      *time.Time `json:"ended"` // nil: open at the end of the records
	Confidence float64    `json:"confidence"`
	Class      int        `json:"class"`
	Amount     float64    `json:"amount"`
	AmountSD   float64    `json:"amountSD"`
	AmountUnit string     `json:"amountUnit"`
	Evidence   []evidence `json:"evidence"`
	RuledOut   []ruledOut `json:"ruledOut"`
}

type evidence struct {
	Name     string    `json:"name"`
	Value    float64   `json:"value"`
	Expected float64   `json:"expected"`
	SD       float64   `json:"sd"`
	Unit     string    `json:"unit"`
	At       time.Time `json:"at"`
}

type ruledOut struct {
	Code string `json:"code"`
	Why  string `json:"why"`
}

func newReplayed(name string, table *records.Table, told *live.Recording) *replayed {
	from, to := table.Readings.Span()
	out := &replayed{Tank: name, Readings: table.Readings.Len(), From: from, To: to, ProblemCount: table.ProblemCount,
		Problems: []replayedProblem{}, NotTaken: int64(told.NotTaken), Findings: []replayedFinding{}}
	for _, p := range table.Problems {
		out.Problems = append(out.Problems, replayedProblem{p.Row, p.Column, p.Field, p.Value, p.Why, p.Fix})
	}
	for i := range told.Findings {
		out.Findings = append(out.Findings, newFinding(&told.Findings[i]))
	}
	return out
}

func newFinding(f *account.Finding) replayedFinding {
	out := replayedFinding{Code: string(f.Code), Sentence: f.Sentence, Began: f.Since, Found: f.Found, Confidence: number(f.Confidence), Class: f.Class,
		Amount: number(f.Amount), AmountSD: number(f.AmountSD), AmountUnit: f.AmountUnit, Evidence: []evidence{}, RuledOut: []ruledOut{}}
	if !f.Ended.IsZero() {
		out.Ended = &f.Ended
	}
	for _, e := range f.Evidence {
		out.Evidence = append(out.Evidence, evidence{e.Name, number(e.Value), number(e.Expected), number(e.SD), e.Unit, e.At})
	}
	for _, r := range f.RuledOut {
		out.RuledOut = append(out.RuledOut, ruledOut{string(r.Code), r.Why})
	}
	return out
}

// number keeps what JSON has no word for out of it.
func number(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

func (r *replayed) json(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(r)
}

// minute is how times are written for people.
const minute = "2006-01-02 15:04"

func (r *replayed) text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d readings from %s to %s UTC\n", r.Tank, r.Readings, r.From.UTC().Format(minute), r.To.UTC().Format(minute))
	if r.NotTaken > 0 {
		fmt.Fprintf(&b, "%d of them the account does not take.\n", r.NotTaken)
	}
	if len(r.Findings) == 0 {
		b.WriteString("\nNothing was found.\n")
	}
	for i := range r.Findings {
		r.Findings[i].text(&b)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (f *replayedFinding) text(b *strings.Builder) {
	fmt.Fprintf(b, "\n%s, %.0f %% sure, harm class %d\n  %s\n", f.Code, 100*f.Confidence, f.Class, f.Sentence)
	line := func(name, format string, args ...any) {
		fmt.Fprintf(b, "  %-9s "+format+"\n", append([]any{name}, args...)...)
	}
	line("began", "%s, found %s", f.Began.UTC().Format(minute), f.Found.UTC().Format(minute))
	if f.Ended != nil {
		line("ended", "%s", f.Ended.UTC().Format(minute))
	} else {
		line("open", "at the end of the records")
	}
	for _, e := range f.Evidence {
		line("evidence", "%s: %s, expected %s ± %.2g", e.Name, quantity(e.Value, e.Unit), quantity(e.Expected, e.Unit), e.SD)
	}
	for _, o := range f.RuledOut {
		line("not", "%s: %s", o.Code, o.Why)
	}
}

func quantity(x float64, unit string) string {
	return strings.TrimSpace(fmt.Sprintf("%.4g %s", x, unit))
}
