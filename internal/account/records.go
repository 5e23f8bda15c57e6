package account

import (
	"slices"
	"time"
)

// Record is what is remembered of a finding while it goes on.
type Record struct {
	Code         Code
	Since, Found time.Time
	// Ended is zero while it goes on; Last is when something that comes again
	// last came.
	Ended, Last time.Time `json:",omitzero"`
	Confidence  float64
	// Subject tells the ways of one code apart.
	Subject string `json:",omitempty"`
	// Reads and Against are the instruments that disagree.
	Reads, Against   string `json:",omitempty"`
	Amount, AmountSD float64
	// Number is a second figure, where the code has one.
	Number float64 `json:",omitempty"`
	// Was is what was believed before.
	Was Levels
}

// find is the open record of a code, nil if there is none.
func (s *State) find(code Code) *Record {
	for i := range s.Open {
		if s.Open[i].Code == code {
			return &s.Open[i]
		}
	}
	return nil
}

// begin opens a finding and tells it, unless one of its code is open.
func (w *clerk) begin(r Record) {
	s := w.s
	if s.find(r.Code) != nil {
		return
	}
	s.Open = append(s.Open, r)
	w.told = append(w.told, w.finding(&r))
}

// end closes a finding, if it is open, and tells it.
func (w *clerk) end(code Code, at time.Time) {
	s := w.s
	for i := range s.Open {
		if s.Open[i].Code == code {
			r, was := s.Open[i], w.broken()
			s.Open = slices.Delete(s.Open, i, i+1)
			r.Ended = at
			if code == EvaporationChanged {
				s.Rhythm.Normal = s.Base.X[evap] + s.Base.X[weather]
			}
			w.told = append(w.told, w.finding(&r))
			if was && !w.broken() {
				w.mended()
			}
			return
		}
	}
}

// Findings are the open ones with today's figures, in the order in which they
// were found.
func (a *Account) Findings(s *State) []Finding {
	w := clerk{a, s, nil}
	var all []Finding
	for i := range s.Open {
		all = append(all, w.finding(&s.Open[i]))
	}
	return all
}
