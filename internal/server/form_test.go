package server

import (
	"net/http"
	"strings"
	"testing"

	"isohaline/internal/server/api"
	"isohaline/internal/tankfile"
)

// find is a group of a form, or fails.
func find(t *testing.T, g *api.FormGroup, path string) *api.FormGroup {
	t.Helper()
	for i := range g.Groups {
		inner := &g.Groups[i]
		if inner.Path == path {
			return inner
		}
		if rest, ok := strings.CutPrefix(path, inner.Path); ok && (rest[0] == '.' || rest[0] == '[') {
			return find(t, inner, path)
		}
	}
	t.Fatalf("the form has no group %s", path)
	return nil
}

// value is a field's value, or fails.
func value(t *testing.T, g *api.FormGroup, path string) string {
	t.Helper()
	for _, f := range g.Fields {
		if f.Path == path {
			return f.Value
		}
	}
	t.Fatalf("the group %s has no field %s", g.Path, path)
	return ""
}

// TestDesigningByForm: a tank's file is shown as a form, edited by field with its
// comments kept, mended where it is wrong, and saved.
func TestDesigningByForm(t *testing.T) {
	h := furnished(t)
	timo := h.as("timo")
	var form api.Form
	timo.want(http.StatusOK, "GET", "/api/tanks/reef/form", nil, &form)
	if form.Text != string(tankfile.Starter(tankfile.Answers{Name: "Our reef"})) || len(form.Problems) != 0 {
		t.Fatalf("the form has another text, or problems: %+v", form.Problems)
	}
	display := find(t, &form.Root, "display")
	old := value(t, display, "display.height")
	seasons := find(t, &form.Root, "room.seasons")
	if !seasons.List || seasons.Max != 12 || len(seasons.Groups) != 2 || seasons.Groups[0].Label == "" || !seasons.Groups[0].Optional {
		t.Errorf("the seasons are %+v", seasons)
	}
	edit := func(text string, edits ...jsonMap) (d api.Draft) {
		t.Helper()
		timo.want(http.StatusOK, "POST", "/api/drafts/form", jsonMap{"text": text, "edits": append([]jsonMap{}, edits...)}, &d)
		return d
	}
	untouched := edit(form.Text)
	if untouched.Form.Text != form.Text || untouched.Check == nil || !strings.HasPrefix(untouched.Section, "<svg") {
		t.Errorf("without edits there is check %v and section %.40q", untouched.Check, untouched.Section)
	}

	wrong := edit(form.Text, jsonMap{"do": "set", "path": "display.height", "value": "24"})
	if len(wrong.Form.Problems) == 0 || wrong.Form.Problems[0].Field != "display.height" || wrong.Form.Problems[0].Fix == "" || wrong.Check != nil || wrong.Section != "" {
		t.Errorf("half typed, the problems are %+v, the check %v", wrong.Form.Problems, wrong.Check)
	}
	better := edit(wrong.Form.Text, jsonMap{"do": "set", "path": "display.height", "value": "24 in"}, jsonMap{"do": "add", "path": "room.seasons"})
	if len(better.Form.Problems) == 0 || better.Form.Problems[0].Field != "room.seasons[3].name" {
		t.Errorf("with a third season, the problems are %+v", better.Form.Problems)
	}
	good := edit(better.Form.Text, jsonMap{"do": "remove", "path": "room.seasons[3]"})
	if len(good.Form.Problems) != 0 || good.Check == nil {
		t.Fatalf("mended, the problems are %+v", good.Form.Problems)
	}
	if want := strings.Replace(form.Text, "height: "+old, "height: 24 in", 1); good.Form.Text != want {
		t.Errorf("the text is\n%s", good.Form.Text)
	}
	var saved api.TankFile
	timo.want(http.StatusOK, "PUT", "/api/tanks/reef/file", jsonMap{"text": good.Form.Text, "base": 1}, &saved)
	timo.want(http.StatusOK, "GET", "/api/tanks/reef/form", nil, &form)
	if form.Text != saved.Text || value(t, find(t, &form.Root, "display"), "display.height") != "24 in" {
		t.Error("what was saved is not what the form shows")
	}

	broken := edit("name: [")
	if len(broken.Form.Problems) != 1 || broken.Form.Problems[0].Line != 1 || len(broken.Form.Root.Groups) == 0 {
		t.Errorf("no YAML: %+v", broken.Form.Problems)
	}
	for what, e := range map[string]jsonMap{
		"no such field": {"do": "set", "path": "display.hieght", "value": "1 m"},
		"no such item":  {"do": "remove", "path": "room.seasons[9]"},
		"no such deed":  {"do": "burn", "path": "display"},
	} {
		var problem api.Problem
		timo.want(http.StatusUnprocessableEntity, "POST", "/api/drafts/form", jsonMap{"text": form.Text, "edits": []jsonMap{e}}, &problem)
		if len(problem.Errors) == 0 || problem.Errors[0].Reason == "" {
			t.Errorf("%s: %+v", what, problem)
		}
	}
}
