package server

import (
	"math"
	"net/http"
	"strings"
	"testing"
	"time"

	"isohaline/internal/bench"
	"isohaline/internal/server/api"
)

// benchWater is an invented tank.
var benchWater = jsonMap{"volumeL": 40, "tempC": 25, "salinityPSU": 35, "alkalinityDKH": 8}

// TestBench: a client asks every question of the bench, and is answered in one
// shape.
func TestBench(t *testing.T) {
	h := furnished(t)
	carla := h.as("carla")
	for _, c := range []struct {
		question  string
		body      jsonMap
		figure    string
		want, tol float64
	}{
		{"shock", jsonMap{"water": benchWater, "topOffL": 2.4, "evaporationLitresDay": 0.4}, "alkalinity-change", -0.45, 0.01},
		{"use", jsonMap{"volumeL": 400, "log": []jsonMap{
			{"at": "2026-11-01T08:00:00Z", "what": "alkalinity", "amount": 9}, {"at": "2026-11-05T08:00:00Z", "what": "alkalinity", "amount": 7}}}, "alkalinity-use", 0.5, 1e-9},
		{"correct", jsonMap{"water": benchWater, "targetAlkalinityDKH": 9}, "alkalinity-days", 1, 0},
		{"salt", jsonMap{"volumeL": 400, "tempC": 25, "salinityPSU": 36.5, "targetPSU": 35}, "days", 2, 0},
		{"change", jsonMap{"water": benchWater, "eachL": 4, "times": 1, "everyDays": 7}, "water-new", 10, 1e-9},
		{"lime", jsonMap{"water": benchWater, "evaporationLitresDay": 0.4}, "lime-strength", 1.52, 0.05},
		{"convert", jsonMap{"reading": jsonMap{"instrument": "conductivity", "value": 53.071, "tempC": 25}}, "salinity", 35, 1e-3},
		{"agree", jsonMap{"readings": []jsonMap{{"instrument": "refractometer", "value": 35, "tempC": 25}}}, "salinity", 35, 1e-9},
		{"fluid", jsonMap{"for": "refractometer", "targetPSU": 35}, "sodium-chloride-mass", 36.5, 0.6},
		{"source", jsonMap{"ratedLitresDay": 190, "pressureBar": 4, "tempC": 25, "tdsMgL": 200, "litresDay": 5}, "waste-per-litre", 3, 0},
	} {
		var a bench.BenchAnswer
		carla.want(http.StatusOK, "POST", "/api/bench/"+c.question, c.body, &a)
		if f := a.Figure(c.figure); f.Name == "" || math.Abs(f.Value-c.want) > c.tol {
			t.Errorf("%s: %s is %+v, want %v", c.question, c.figure, f, c.want)
		}
		if a.Sentence == "" || len(a.Sources) == 0 || a.Cautions == nil || a.Steps == nil {
			t.Errorf("%s: %+v", c.question, a)
		}
	}
}

// TestBenchRefuses: what is out of range and what cannot be, by its field.
func TestBenchRefuses(t *testing.T) {
	h := furnished(t)
	carla := h.as("carla")
	with := func(field string, value any) jsonMap {
		w := jsonMap{}
		for k, v := range benchWater {
			w[k] = v
		}
		w[field] = value
		return jsonMap{"water": w, "topOffL": 1}
	}
	for _, c := range []struct {
		question string
		body     jsonMap
		field    string
	}{
		{"shock", with("pH", 15), "body.water.pH"},
		{"shock", with("alkalinityDKH", -1), "body.water.alkalinityDKH"},
		{"shock", with("salinityPSU", 0), "body.water.salinityPSU"},
		{"shock", with("salinityPSU", 50), "body.water.salinityPSU"},
		{"shock", with("alkalinityMeqL", 3), "body.water.alkalinityMeqL"},
		{"shock", jsonMap{"water": benchWater, "topOffL": 41}, "body.topOffL"},
		{"shock", jsonMap{"water": benchWater}, "body"},
		{"salt", jsonMap{"volumeL": 400, "tempC": 25, "salinityPSU": 33, "targetPSU": 35}, "body.supplyPSU"},
		{"use", jsonMap{"volumeL": 400, "log": []jsonMap{{"at": "2026-11-01T08:00:00Z", "what": "alkalinity", "amount": 9}, {"at": "2026-11-01T08:00:00Z", "what": "alkalinity", "amount": 9}}}, "body.log"},
	} {
		var p api.Problem
		carla.want(http.StatusUnprocessableEntity, "POST", "/api/bench/"+c.question, c.body, &p)
		if len(p.Errors) == 0 || p.Errors[0].Field != c.field {
			t.Errorf("%s %v: %+v, want %s", c.question, c.body, p, c.field)
		}
	}
}

// TestTankBench: the questions come filled in with the tank's own numbers, say
// where these come from, and can be asked as they are.
func TestTankBench(t *testing.T) {
	h := furnished(t)
	h.furnish("here", "reef")
	olga := h.as("olga")
	for days, dKH := range map[int]string{6: "8.6 dKH", 3: "7.7 dKH", 0: "6.8 dKH"} {
		at := h.now().Add(-time.Duration(days) * 24 * time.Hour).Format(time.RFC3339)
		olga.want(http.StatusCreated, "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "alkalinity", "value": dKH, "instrument": "titration", "at": at}, nil)
	}
	for name, value := range map[string]string{"conductivity meter": "35.1", "hydrometer": "36"} {
		olga.want(http.StatusCreated, "POST", "/api/tanks/reef/hand-readings", jsonMap{"kind": "salinity", "value": value, "instrument": name}, nil)
	}
	var b api.TankBench
	h.as("carla").want(http.StatusOK, "GET", "/api/tanks/reef/bench", nil, &b)
	if b.Shock == nil || b.Lime == nil || len(b.Use.Log) != 3 || b.Agree == nil || len(b.Agree.Readings) != 2 {
		t.Fatalf("%+v", b)
	}
	if w := b.Shock.Water; w.AlkalinityDKH != 6.8 || w.VolumeL < 50 || b.Shock.EvaporationLitresDay <= 0 {
		t.Errorf("%+v", b.Shock)
	}
	if use := b.Shock.UseAlkalinityDKHDay; math.Abs(use-0.3) > 1e-6 {
		t.Errorf("it uses up %v dKH a day", use)
	}
	if !strings.Contains(from(b.Known, "log"), "hand readings") || !strings.Contains(from(b.Known, "alkalinityDKH"), "titration") || from(b.Known, "salinityPSU") == "" {
		t.Errorf("%+v", b.Known)
	}
	for question, body := range map[string]any{"use": b.Use, "correct": b.Correct, "change": b.Change, "shock": b.Shock, "lime": b.Lime, "agree": b.Agree} {
		var a bench.BenchAnswer
		olga.want(http.StatusOK, "POST", "/api/bench/"+question, body, &a)
		if a.Sentence == "" {
			t.Errorf("%s says nothing", question)
		}
	}
}

// TestTankBenchHand: a tank's month by hand and by its controller, for those who
// see the tank; what it cannot answer is refused by its field.
func TestTankBenchHand(t *testing.T) {
	h := furnished(t)
	h.furnish("here", "reef")
	h.furnish("elsewhere", "other")
	carla := h.as("carla")
	const path = "/api/tanks/reef/bench/hand"
	var b api.TankBench
	carla.want(http.StatusOK, "GET", "/api/tanks/reef/bench", nil, &b)
	if b.Hand == nil || b.Hand.EveryDays != 3 || b.Use.Log == nil || b.Use.VolumeL < 50 { // of a tank that nobody measured
		t.Fatalf("%+v", b.Hand)
	}
	var a bench.BenchAnswer
	carla.want(http.StatusOK, "POST", path, b.Hand, &a)
	if !strings.HasPrefix(a.Sentence, "Topped off by hand every 3 days, ") || len(a.Series) != 4 || len(a.Sources) == 0 {
		t.Errorf("%+v", a)
	}
	if hand, automatic := a.Figure("salinity-hour-hand"), a.Figure("salinity-hour-automatic"); hand.Value <= automatic.Value || automatic.Name == "" {
		t.Errorf("by hand %+v, by the controller %+v", hand, automatic)
	}
	for _, c := range []struct {
		body  jsonMap
		field string
	}{
		{jsonMap{"everyDays": 0}, "body.everyDays"},
		{jsonMap{"everyDays": 31}, "body.everyDays"},
		{jsonMap{}, "body"},
		{jsonMap{"everyDays": 3, "season": "monsoon"}, "body.season"},
		{jsonMap{"everyDays": 3, "site": "here"}, "body.site"},
	} {
		var p api.Problem
		carla.want(http.StatusUnprocessableEntity, "POST", path, c.body, &p)
		if len(p.Errors) == 0 || p.Errors[0].Field != c.field {
			t.Errorf("%v: %+v, want %s", c.body, p, c.field)
		}
	}
	carla.want(http.StatusNotFound, "POST", "/api/tanks/other/bench/hand", b.Hand, nil)
}

func from(known []api.BenchKnown, field string) string {
	for _, k := range known {
		if k.Field == field {
			return k.From
		}
	}
	return ""
}
