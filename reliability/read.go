package reliability

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// maxModelBytes bounds what Read takes in. A tree of MaxNames names fits.
const maxModelBytes = 16 << 20

// Read reads fault trees from JSON, in the order they are written:
//
//	{
//	  "format": "any text",
//	  "models": {
//	    "pressure guard": {
//	      "top": "Top",
//	      "gates": {
//	        "Top": "Logic | Sensors",
//	        "Sensors": "atleast(2, S1, S2, S3)"
//	      },
//	      "p": {"Logic": 1e-5, "S1": 8e-5, "S2": 8e-5},
//	      "rates_per_h": {"S3": 7e-7},
//	      "mission_h": 120
//	    }
//	  }
//	}
//
// A model may hold: top (required); gates, each an expression of names with &
// (all), | (any), atleast(k, ...) and parentheses, which are required where &
// and | meet; p, event probabilities; rates_per_h, event rates as numbers per
// hour; rates, event rates as text with their unit (see ParseRate); mission_h,
// the hours over which rates act; house, constants true or false; ccf_groups,
// each with members, p_total (of one member) and beta; source and note, any
// text. Names in expressions are made of letters, digits and _ . : -
//
// Read returns an *InputError with line and path for anything else: an unknown
// or repeated key, a rate without unit, a wrong type. It does not check what
// NewTree checks.
func Read(r io.Reader) ([]Model, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxModelBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading fault trees: %w", err)
	}
	if len(data) > maxModelBytes {
		return nil, refuse("file", "split it", "it is larger than %d bytes", maxModelBytes)
	}
	j := newJSONReader(data)
	var models []Model
	err = j.object(func(key string) error {
		switch key {
		case "format":
			_, err := j.text()
			return err
		case "models":
			return j.object(func(name string) error {
				m, err := readModel(j, name)
				models = append(models, m)
				return err
			})
		}
		return j.unknown("format, models")
	})
	if err == nil {
		err = j.end()
	}
	if err != nil {
		return nil, err
	}
	return models, nil
}

func readModel(j *jsonReader, name string) (Model, error) {
	m := Model{Name: name}
	err := j.object(func(key string) (err error) {
		switch key {
		case "top":
			m.Top, err = j.text()
		case "source":
			m.Source, err = j.text()
		case "note":
			m.Note, err = j.text()
		case "mission_h":
			m.MissionH, err = j.number()
		case "gates":
			return j.object(func(name string) error { return readGates(j, &m, name) })
		case "house":
			return j.object(func(name string) error {
				state, err := j.boolean()
				m.House = append(m.House, House{name, state})
				return err
			})
		case "p":
			return j.object(func(name string) error {
				p, err := j.number()
				m.Events = append(m.Events, Event{Name: name, Prob: p})
				return err
			})
		case "rates_per_h":
			return j.object(func(name string) error {
				rate, err := j.number()
				m.Events = append(m.Events, Event{Name: name, Rate: PerHour(rate)})
				return err
			})
		case "rates":
			return j.object(func(name string) error {
				rate, err := readRate(j)
				m.Events = append(m.Events, Event{Name: name, Rate: rate})
				return err
			})
		case "ccf_groups":
			return j.object(func(name string) error {
				g, err := readGroup(j, name)
				m.Groups = append(m.Groups, g)
				return err
			})
		default:
			return j.unknown("top, gates, p, rates_per_h, rates, mission_h, house, ccf_groups, source, note")
		}
		return err
	})
	return m, err
}

func readGates(j *jsonReader, m *Model, name string) error {
	text, err := j.text()
	if err != nil {
		return err
	}
	gates, err := parseGate(name, text)
	if err != nil {
		return j.refuse(`write it like "A & (B | C)" or "atleast(2, A, B, C)"`, "%q: %v", text, err)
	}
	m.Gates = append(m.Gates, gates...)
	return nil
}

func readRate(j *jsonReader) (PerHour, error) {
	token, err := j.token()
	if err != nil {
		return 0, err
	}
	text, ok := token.(string)
	if !ok {
		text = fmt.Sprint(token)
	}
	rate, err := ParseRate(text)
	var wrong *InputError
	if errors.As(err, &wrong) {
		return 0, j.refuse(wrong.Fix, "%s", wrong.Problem)
	}
	return rate, nil
}

func readGroup(j *jsonReader, name string) (BetaGroup, error) {
	g := BetaGroup{Name: name}
	err := j.object(func(key string) (err error) {
		switch key {
		case "members":
			g.Members, err = j.texts()
		case "p_total":
			g.Prob, err = j.number()
		case "beta":
			g.Beta, err = j.number()
		default:
			return j.unknown("members, p_total, beta")
		}
		return err
	})
	return g, err
}

// jsonReader reads JSON token by token, so that it can keep the order of keys,
// refuse repeated ones and say where it is.
type jsonReader struct {
	data []byte
	dec  *json.Decoder
	path []string
}

func newJSONReader(data []byte) *jsonReader {
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	return &jsonReader{data: data, dec: dec}
}

func (j *jsonReader) refuse(fix, problem string, args ...any) error {
	line := 1 + bytes.Count(j.data[:j.dec.InputOffset()], []byte("\n"))
	place := fmt.Sprintf("line %d", line)
	if len(j.path) > 0 {
		place += ", " + strings.Join(j.path, " / ")
	}
	return refuse(place, fix, problem, args...)
}

func (j *jsonReader) unknown(known string) error {
	return j.refuse("the keys here are "+known, "the key is unknown")
}

func (j *jsonReader) token() (json.Token, error) {
	token, err := j.dec.Token()
	if err != nil {
		return nil, j.refuse("mend the JSON", "%v", err)
	}
	return token, nil
}

func (j *jsonReader) end() error {
	if _, err := j.dec.Token(); err != io.EOF {
		return j.refuse("remove what follows the closing brace", "there is more after the end")
	}
	return nil
}

// object reads an object and calls each at every value, with the key on the
// path.
func (j *jsonReader) object(each func(key string) error) error {
	token, err := j.token()
	if err != nil {
		return err
	}
	if token != json.Delim('{') {
		return j.refuse("write an object { ... }", "%v is not an object", token)
	}
	seen := map[string]bool{}
	for j.dec.More() {
		token, err := j.token()
		if err != nil {
			return err
		}
		key, _ := token.(string) // the decoder lets nothing else stand here
		j.path = append(j.path, key)
		if seen[key] {
			return j.refuse("remove one of them", "the key is there twice")
		}
		seen[key] = true
		if err := each(key); err != nil {
			return err
		}
		j.path = j.path[:len(j.path)-1]
	}
	_, err = j.token()
	return err
}

func (j *jsonReader) text() (string, error) {
	return value[string](j, "text in quotes")
}

func (j *jsonReader) boolean() (bool, error) {
	return value[bool](j, "true or false")
}

func (j *jsonReader) number() (float64, error) {
	n, err := value[json.Number](j, "a number")
	if err != nil {
		return 0, err
	}
	v, err := n.Float64()
	if err != nil {
		return 0, j.refuse("give a smaller one", "%s is too large for a number", n)
	}
	return v, nil
}

func (j *jsonReader) texts() ([]string, error) {
	token, err := j.token()
	if err != nil {
		return nil, err
	}
	if token != json.Delim('[') {
		return nil, j.refuse(`write a list ["a", "b"]`, "%v is not a list", token)
	}
	var list []string
	for j.dec.More() {
		s, err := j.text()
		if err != nil {
			return nil, err
		}
		list = append(list, s)
	}
	_, err = j.token()
	return list, err
}

func value[T any](j *jsonReader, what string) (T, error) {
	token, err := j.token()
	if err != nil {
		var zero T
		return zero, err
	}
	v, ok := token.(T)
	if !ok {
		return v, j.refuse("write "+what, "%v is not %s", token, what)
	}
	return v, nil
}
