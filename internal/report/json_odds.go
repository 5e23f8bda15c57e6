package report

import (
	"math"
	"time"

	"isohaline/internal/odds"
	"isohaline/internal/plant"
)

// jsonOdds is how likely the harm is. Frequencies are a year, from 0; nothing
// here claims to be known better than its band.
type jsonOdds struct {
	Harms          []jsonHarm        `json:"harms"`
	Dominating     []jsonCombination `json:"dominating"`
	Testing        jsonTesting       `json:"testing"`
	InherentlySafe bool              `json:"inherently_safe"`
	SafeWords      string            `json:"safe_words"`
	// Changes and Lived are null where nobody asked.
	Changes []jsonTried `json:"changes"`
	Lived   *jsonLived  `json:"lived"`
	Rates   []jsonRate  `json:"rates"`
	Notes   []string    `json:"notes"`
}

type jsonHarm struct {
	ID           string `json:"id"`
	Words        string `json:"words"`
	PerYear      number `json:"per_year"`
	Low          number `json:"low_per_year"`
	Median       number `json:"median_per_year"`
	High         number `json:"high_per_year"`
	Combinations int    `json:"combinations"`
	Sentence     string `json:"sentence"`
}

type jsonCombination struct {
	Faults  []jsonFault `json:"faults"`
	PerYear number      `json:"per_year"`
	Share   number      `json:"share_frac"`
	Harm    string      `json:"harm"`
	Why     string      `json:"why"`
}

type jsonTesting struct {
	IntervalDays number      `json:"interval_days"`
	Curve        []jsonPoint `json:"curve"`
	Floor        number      `json:"floor_per_year"`
	KneeDays     number      `json:"knee_days"`
	SkipFactor   number      `json:"skip_factor"`
	SkipAdds     number      `json:"skip_adds"`
	SkipDays     number      `json:"skip_days"`
	Sentence     string      `json:"sentence"`
}

type jsonPoint struct {
	Days    number            `json:"days"`
	PerYear map[string]number `json:"per_year"`
	Low     number            `json:"danger_low_per_year"`
	High    number            `json:"danger_high_per_year"`
}

type jsonTried struct {
	ID string `json:"id"`
	// Price is null where none was stated.
	Price           number            `json:"price"`
	PerYear         map[string]number `json:"per_year"`
	Removes         map[string]number `json:"removes_per_year"`
	RemovesPerMoney number            `json:"removes_per_year_per_money"`
	Accepted        bool              `json:"accepted"`
	Words           string            `json:"words"`
	Sentence        string            `json:"sentence"`
}

type jsonLived struct {
	Years          int             `json:"years"`
	EffectiveYears number          `json:"effective_years"`
	Unsettled      number          `json:"unsettled_per_year"`
	Harms          []jsonAgreement `json:"harms"`
}

type jsonAgreement struct {
	ID         string `json:"id"`
	Tree       number `json:"tree_per_year"`
	Lived      number `json:"lived_per_year"`
	Error      number `json:"standard_error_per_year"`
	Sigmas     number `json:"standard_errors_apart"`
	Agrees     bool   `json:"agrees"`
	Unforeseen number `json:"unforeseen_per_year"`
	Averted    number `json:"averted_per_year"`
	Sentence   string `json:"sentence"`
}

type jsonRate struct {
	Fault   string   `json:"fault"`
	Words   string   `json:"words"`
	Mean    number   `json:"mean_per_year"`
	Low     number   `json:"low_per_year"`
	High    number   `json:"high_per_year"`
	Given   bool     `json:"given"`
	Sources []string `json:"sources"`
	Why     string   `json:"why"`
	Hidden  bool     `json:"hidden"`
	FoundBy string   `json:"found_by"`
	Stands  seconds  `json:"stands_s"`
}

// harmIDs name the harms for programs.
var harmIDs = [...]string{odds.WetFloor: "wet_floor", odds.Danger: "danger", odds.Loss: "loss"}

func byHarm(perYear [len(harmIDs)]float64) map[string]number {
	out := map[string]number{}
	for kind, v := range perYear {
		out[harmIDs[kind]] = number(v)
	}
	return out
}

// jsonOddsOf is nil where there is no answer, and then the reason.
func jsonOddsOf(o *Odds) (j *jsonOdds, because string) {
	switch {
	case o == nil:
		return nil, "only single faults were tried"
	case o.Answer == nil:
		return nil, o.Refused
	}
	a := o.Answer
	j = &jsonOdds{Harms: []jsonHarm{}, Dominating: []jsonCombination{}, Testing: jsonTestingOf(&a.Testing),
		InherentlySafe: a.Safe != "", SafeWords: a.Safe, Rates: []jsonRate{}, Notes: notNil(a.Notes)}
	for kind, f := range a.Harms {
		j.Harms = append(j.Harms, jsonHarm{ID: harmIDs[kind], Words: f.Harm.String(), PerYear: number(f.PerYear), Low: number(f.Low),
			Median: number(f.Median), High: number(f.High), Combinations: f.Combinations, Sentence: f.Sentence()})
	}
	for _, c := range a.Dominating {
		d := jsonCombination{Faults: []jsonFault{}, PerYear: number(c.PerYear), Share: number(c.Share), Harm: c.Harm, Why: c.Why}
		for _, f := range c.Faults {
			d.Faults = append(d.Faults, jsonFault{f.ID, f.Unit, f.Words})
		}
		j.Dominating = append(j.Dominating, d)
	}
	for _, r := range a.Rates {
		j.Rates = append(j.Rates, jsonRateOf(&r))
	}
	if o.Changes != nil {
		j.Changes = jsonTriedOf(o.Changes)
	}
	if o.Lived != nil {
		j.Lived = jsonLivedOf(a, o.Lived)
	}
	return j, ""
}

func jsonTestingOf(t *odds.Testing) jsonTesting {
	j := jsonTesting{IntervalDays: number(t.IntervalDays), Curve: []jsonPoint{}, Floor: number(t.FloorPerYear), KneeDays: number(t.KneeDays),
		SkipFactor: number(t.SkipFactor), SkipAdds: number(t.SkipAdds), SkipDays: number(t.SkipDays), Sentence: t.Sentence}
	for _, p := range t.Curve {
		j.Curve = append(j.Curve, jsonPoint{number(p.Days), byHarm(p.PerYear), number(p.Low), number(p.High)})
	}
	return j
}

func jsonTriedOf(tried *ChangesTried) []jsonTried {
	out := []jsonTried{}
	for _, im := range tried.Improvements {
		t := jsonTried{ID: im.ID, Price: number(math.NaN()), PerYear: byHarm(im.PerYear), Removes: byHarm(im.Removes),
			RemovesPerMoney: number(math.NaN()), Accepted: im.Accepted, Words: im.Words, Sentence: im.Sentence}
		if im.Price > 0 {
			t.Price, t.RemovesPerMoney = number(im.Price), number(im.RemovesPerMoney)
		}
		out = append(out, t)
	}
	return out
}

func jsonLivedOf(a *odds.Answer, t *odds.Tally) *jsonLived {
	j := &jsonLived{Years: t.Years(), EffectiveYears: number(t.EffectiveYears(odds.Danger)), Unsettled: number(t.Unsettled / float64(max(1, t.Years())))}
	for kind, g := range odds.Compare(a, *t) {
		j.Harms = append(j.Harms, jsonAgreement{ID: harmIDs[kind], Tree: number(g.Tree), Lived: number(g.Simulated), Error: number(g.StandardErr),
			Sigmas: number(g.Sigmas), Agrees: g.Agrees, Unforeseen: number(g.Unforeseen), Averted: number(g.Averted), Sentence: g.Sentence})
	}
	return j
}

func jsonRateOf(r *odds.Rate) jsonRate {
	j := jsonRate{Fault: r.Fault, Words: r.Words, Mean: number(r.MeanPerYear), Low: number(r.LowPerYear), High: number(r.HighPerYear),
		Given: r.Given, Sources: notNil(r.Sources), Why: r.Why, Hidden: r.Hidden, FoundBy: r.FoundBy, Stands: seconds(plant.NotReached)}
	if !r.Hidden {
		j.Stands = seconds(r.StandsH * float64(time.Hour))
	}
	return j
}
