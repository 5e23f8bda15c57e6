package reliability

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// testdata/fault_tree_checks.csv and fault_tree_models.json: fault trees with
// expected values asserted by the SCRAM project (GPL-3.0, numbers only), most of
// them older open benchmarks of OpenFTA, XFTA and Aralia; a pressure tank after
// NUREG-0492 that is from memory and is not asserted.

type row map[string]string

func readTable(t testing.TB, path string) []row {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var rows []row
	for _, record := range records[1:] {
		r := row{}
		for i, name := range records[0] {
			r[name] = record[i]
		}
		rows = append(rows, r)
	}
	if len(rows) == 0 {
		t.Fatalf("%s has no rows", path)
	}
	return rows
}

func (r row) number(t testing.TB, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("%s %s: %v", r["id"], column, err)
	}
	return v
}

// halfUnit is half a unit of the last digit printed: the width of what the
// text can stand for.
func halfUnit(printed string) float64 {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(printed), "e")
	scale, _ := strconv.Atoi(exponent) // none: 0
	if _, decimals, ok := strings.Cut(mantissa, "."); ok {
		scale -= len(decimals)
	}
	return 0.5 * math.Pow(10, float64(scale))
}

// digits counts the correct significant digits of a result.
func digits(got, want float64) float64 {
	if got == want {
		return 16
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

// readModels reads the published models. The order of events is that of their
// names: no result depends on it.
func readModels(t testing.TB) map[string]published {
	t.Helper()
	data, err := os.ReadFile("testdata/fault_tree_models.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Models map[string]struct {
			Top          string
			Gates        map[string]string
			House        map[string]bool
			P            map[string]float64
			RatesPerHour map[string]float64 `json:"rates_per_h"`
			MissionH     float64            `json:"mission_h"`
			Groups       map[string]struct {
				Members []string
				P       float64 `json:"p_total"`
				Beta    float64
			} `json:"ccf_groups"`
		}
	}
	if err := json.Unmarshal(data, &file); err != nil {
		t.Fatal(err)
	}
	models := map[string]published{}
	for name, in := range file.Models {
		m := Model{Top: in.Top}
		for _, gate := range slices.Sorted(maps.Keys(in.Gates)) {
			m.Gates = append(m.Gates, parseGate(t, gate, in.Gates[gate])...)
		}
		for name, is := range in.House {
			m.Events = append(m.Events, Event{Name: name, Prob: map[bool]float64{true: 1}[is]})
		}
		for _, name := range slices.Sorted(maps.Keys(in.P)) {
			m.Events = append(m.Events, Event{Name: name, Prob: in.P[name]})
		}
		for _, name := range slices.Sorted(maps.Keys(in.RatesPerHour)) {
			m.Events = append(m.Events, Event{Name: name})
		}
		for _, name := range slices.Sorted(maps.Keys(in.Groups)) {
			g := in.Groups[name]
			m.addGroup(name, g.Members, g.P, g.Beta)
		}
		models[name] = published{m, in.RatesPerHour, in.MissionH}
	}
	if len(models) != 16 {
		t.Fatalf("%d models, want 16", len(models))
	}
	return models
}

// published is a model as it was published: some of its events by the rate of a
// part without repair, over the time that it is exposed.
type published struct {
	Model
	ratesPerH map[string]float64
	missionH  float64
}

// after is the model once its parts were exposed for so long.
func (p published) after(hours float64) Model {
	m := p.Model
	m.Events = slices.Clone(m.Events)
	for i := range m.Events {
		if rate, ok := p.ratesPerH[m.Events[i].Name]; ok {
			m.Events[i].Prob = -math.Expm1(-rate * hours)
		}
	}
	return m
}

// addGroup adds like parts with a shared cause (the beta-factor model, IEC
// 61508-6:2010 Annex D): each fails by itself with probability (1-beta)·prob and
// all of them at once with beta·prob.
func (m *Model) addGroup(name string, members []string, prob, beta float64) {
	for _, member := range members {
		alone := member + " alone"
		m.Events = append(m.Events, Event{Name: alone, Prob: (1 - beta) * prob})
		m.Gates = append(m.Gates, Gate{Name: member, Kind: Or, Inputs: []string{alone, name}})
	}
	m.Events = append(m.Events, Event{Name: name, Prob: beta * prob})
}

// parseGate turns "A & (B | C)" or "atleast(2, A, B, C)" into the gate of this
// name and gates for what stands in its parentheses. The files are our own, so
// what is wrong in one is the test's failure.
func parseGate(t testing.TB, name, text string) []Gate {
	t.Helper()
	tokens := regexp.MustCompile(`[^\s()&|,]+|[()&|,]`).FindAllString(text, -1)
	var gates []Gate
	next := func() (token string) {
		if len(tokens) > 0 {
			token, tokens = tokens[0], tokens[1:]
		}
		return token
	}
	// list reads inputs up to the closing parenthesis or the end, and the mark
	// between them.
	var list func() (inputs []string, mark string)
	list = func() (inputs []string, mark string) {
		for {
			in := next()
			switch {
			case in == "(" || in == "atleast" && tokens[0] == "(":
				g := Gate{Name: fmt.Sprintf("%s#%d", name, len(gates))}
				at := len(gates)
				gates = append(gates, g) // its place, before those within it
				g.Kind = Or
				if in == "atleast" {
					next()
					k, err := strconv.Atoi(next())
					if err != nil {
						t.Fatalf("%s: %q: %v", name, text, err)
					}
					g.Kind, g.K = AtLeast, k
					next() // the comma
				}
				var inner string
				if g.Inputs, inner = list(); inner == "&" {
					g.Kind = And
				}
				gates[at] = g
				inputs = append(inputs, g.Name)
			default:
				inputs = append(inputs, in)
			}
			switch m := next(); {
			case m == "" || m == ")":
				return inputs, mark
			case mark != "" && m != mark:
				t.Fatalf("%s: %q: %s beside %s", name, text, m, mark)
			default:
				mark = m
			}
		}
	}
	gates = append(gates, Gate{})
	inputs, mark := list()
	gates[0] = Gate{Name: name, Kind: Or, Inputs: inputs}
	if mark == "&" {
		gates[0].Kind = And
	}
	return gates
}

// probability of the top with the tree's own event probabilities.
func probability(t interface{ Fatal(...any) }, d *Diagram) float64 {
	probs := make([]float64, len(d.tree.events))
	for i, e := range d.tree.events {
		probs[i] = e.Prob
	}
	p, err := d.ProbabilityWith(probs)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func compile(t testing.TB, m Model) (*Tree, *Diagram) {
	t.Helper()
	tree, err := NewTree(m)
	if err != nil {
		t.Fatalf("%s: %v", m.Top, err)
	}
	d, err := tree.Compile(DefaultLimit)
	if err != nil {
		t.Fatalf("%s: %v", m.Top, err)
	}
	return tree, d
}

func TestPublishedFaultTrees(t *testing.T) {
	models := readModels(t)
	worst, worstRow := 16.0, ""
	for _, r := range readTable(t, "testdata/fault_tree_checks.csv") {
		if strings.HasPrefix(r["confirmed"], "no:") {
			continue // from memory
		}
		m, ok := models[r["model"]]
		if !ok {
			t.Fatalf("%s: no model %s", r["id"], r["model"])
		}
		if hours, ok := strings.CutPrefix(r["subject"], "t="); ok {
			if _, err := fmt.Sscanf(hours, "%g h", &m.missionH); err != nil {
				t.Fatalf("%s: %v", r["id"], err)
			}
		}
		_, d := compile(t, m.after(m.missionH))
		got := probability(t, d)
		want, tolerance := r.number(t, "expected"), r.number(t, "tol_abs")
		if !(math.Abs(got-want) <= tolerance) {
			t.Errorf("%s %s %s: got %.10g, want %.10g within %g (%s)", r["id"], r["model"], r["subject"], got, want, tolerance, r["source"])
		}
		// A second calculation, by another program, to more digits than the
		// source asserts. It had unrounded rates where the models have nine
		// digits.
		second := r.number(t, "recomputed")
		if !(math.Abs(got-second) <= max(halfUnit(r["recomputed"]), 1e-8*math.Abs(second))) {
			t.Errorf("%s %s %s: got %.12g, recomputed elsewhere %s", r["id"], r["model"], r["subject"], got, r["recomputed"])
		}
		if d := digits(got, second); d < worst {
			worst, worstRow = d, r["id"]
		}
	}
	t.Logf("worst %s with %.1f digits against the recomputed value as printed", worstRow, worst)
}
