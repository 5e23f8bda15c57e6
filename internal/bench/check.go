package bench

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"time"

	"isohaline/internal/problem"
)

// Refusal is a value that cannot be answered for. Its field is as the interface
// names it, like "water.salinityPSU".
type Refusal struct {
	Flag string // as the command line names it: "salinity"
	problem.Problem
}

// Unwrap is the complaint alone.
func (r *Refusal) Unwrap() error { return &r.Problem }

// refusal is a Refusal of what is not given, or of a word.
func refusal(field, flag, value, why, fix string) error {
	return &Refusal{flag, problem.Problem{Field: field, Value: value, Why: why, Fix: fix}}
}

// refuse is a Refusal of one number.
func refuse(field, flag string, value float64, reason, fix string) error {
	return refusal(field, flag, strconv.FormatFloat(value, 'g', 6, 64), reason, fix)
}

// impossible is a Refusal of values that cannot all be true: why is another
// package's reason.
func impossible(why error) error {
	return refusal("", "", "", "the values do not go together: "+why.Error(), "check the readings and their units")
}

// check holds every number of a question to the range in its tags, and every word
// to its list.
func check(q Question) error { return checkStruct(reflect.Indirect(reflect.ValueOf(q)), "") }

func checkStruct(v reflect.Value, path string) error {
	for i := range v.NumField() {
		f := v.Type().Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name == "-" || name == "" && !f.Anonymous {
			continue
		}
		place := strings.TrimPrefix(path+"."+name, ".")
		if err := checkField(v.Field(i), f.Tag, place); err != nil {
			return err
		}
	}
	return nil
}

func checkField(v reflect.Value, tag reflect.StructTag, place string) error {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return nil
		}
		v = v.Elem()
	}
	switch v.Kind() {
	case reflect.Float64:
		return checkRange(v.Float(), tag, place)
	case reflect.Int:
		return checkRange(float64(v.Int()), tag, place)
	case reflect.String:
		return checkWord(v.String(), tag, place)
	case reflect.Slice:
		if most, ok := limit(tag, "maxItems"); ok && float64(v.Len()) > most {
			return refuse(place, tag.Get("name"), float64(v.Len()), "are too many", fmt.Sprintf("give %g at most", most))
		}
		for i := range v.Len() {
			if err := checkField(v.Index(i), tag, fmt.Sprintf("%s[%d]", place, i)); err != nil {
				return err
			}
		}
	case reflect.Struct:
		if _, isTime := v.Interface().(time.Time); !isTime {
			return checkStruct(v, place)
		}
	}
	return nil
}

// checkRange refuses a number outside the tags' range; NaN too.
func checkRange(value float64, tag reflect.StructTag, place string) error {
	lo, hasLo := limit(tag, "minimum")
	hi, hasHi := limit(tag, "maximum")
	if (!hasLo || value >= lo) && (!hasHi || value <= hi) && !math.IsNaN(value) && !math.IsInf(value, 0) {
		return nil
	}
	return refuse(place, tag.Get("name"), value, "is out of range", fmt.Sprintf("give a value from %g to %g%s", lo, hi, unitOf(tag)))
}

// unitOf is the unit of a tagged number, for a sentence.
func unitOf(tag reflect.StructTag) string {
	if unit := tag.Get("type"); unit != "" && unit != "number" {
		return " " + unit
	}
	return ""
}

func limit(tag reflect.StructTag, key string) (float64, bool) {
	value, err := strconv.ParseFloat(tag.Get(key), 64)
	return value, err == nil
}

func checkWord(value string, tag reflect.StructTag, place string) error {
	list := tag.Get("enum")
	if list == "" || value == "" && tag.Get("required") == "" {
		return nil
	}
	for word := range strings.SplitSeq(list, ",") {
		if value == word {
			return nil
		}
	}
	return refusal(place, tag.Get("name"), value, "is none of the words there are", "give one of "+strings.ReplaceAll(list, ",", ", "))
}
