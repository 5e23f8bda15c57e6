package api

import (
	"context"

	"isohaline/internal/live"
	"isohaline/internal/tankfile"
)

// Form is a tank file as groups of fields, to be edited by a person.
type Form struct {
	Text     string    `json:"text" doc:"the tank file that the form shows"`
	Root     FormGroup `json:"root" doc:"the file itself"`
	Problems []Wrong   `json:"problems" doc:"by field, in the order of lines; none: the file is valid"`
	Warnings []Wrong   `json:"warnings" doc:"worth a look"`
}

// FormGroup is a group of keys, or a list of groups.
type FormGroup struct {
	Path     string      `json:"path" example:"top-off.reservoir" doc:"empty for the file itself; items of a list count from 1"`
	Label    string      `json:"label" example:"Reservoir"`
	Help     string      `json:"help"`
	List     bool        `json:"list" doc:"its groups are items: add one under the path, remove one under its own"`
	Max      int         `json:"max,omitempty" doc:"how many items at most"`
	Optional bool        `json:"optional" doc:"it may be left out"`
	Present  bool        `json:"present" doc:"the file has it"`
	Fields   []FormField `json:"fields"`
	Groups   []FormGroup `json:"groups"`
}

// FormField is one key with its value as the file has it, unit and all.
type FormField struct {
	Path     string   `json:"path" example:"display.height"`
	Label    string   `json:"label" example:"Height"`
	Help     string   `json:"help"`
	Kind     string   `json:"kind" enum:"text,choice,yes-no,quantity,list" doc:"a list is one entry to a line"`
	Quantity string   `json:"quantity,omitempty" example:"a length"`
	Units    []string `json:"units,omitempty" doc:"those that may be used"`
	Range    string   `json:"range,omitempty" example:"20 mm to 5 m"`
	Choices  []string `json:"choices,omitempty"`
	Example  string   `json:"example,omitempty" example:"340 mm"`
	Optional bool     `json:"optional"`
	Absent   string   `json:"absent,omitempty" doc:"what it means when the key is left out"`
	Present  bool     `json:"present"`
	Value    string   `json:"value" doc:"as the file has it; empty when absent"`
}

// FormEdit is one change of a draft.
type FormEdit struct {
	Path  string `json:"path" maxLength:"200" example:"display.height"`
	Do    string `json:"do" enum:"set,add,remove" doc:"set a field; add an optional group, or an item to a list; remove a field, a group or an item"`
	Value string `json:"value,omitempty" maxLength:"8192" doc:"for set"`
}

type editDraftIn struct {
	Format string `query:"format" enum:"wide,narrow" default:"wide" doc:"of the section"`
	Body   struct {
		Text  string     `json:"text" maxLength:"262144" doc:"the draft before the edits"`
		Edits []FormEdit `json:"edits" maxItems:"200"`
	}
}

// Draft is a draft after edits: its form and, if it is valid, what it makes.
type Draft struct {
	Form    Form   `json:"form"`
	Section string `json:"section,omitempty" doc:"the section drawing, as SVG; absent while there are problems"`
	Check   *Check `json:"check,omitempty" doc:"absent while there are problems"`
}

func (a *API) designForm(ctx context.Context, in *TankIn) (*reply[Form], error) {
	const newest = 0
	d, err := a.store.Description(ctx, in.Tank, newest)
	if err != nil {
		return nil, err
	}
	form := tankfile.NewForm(in.Tank, d.YAML)
	return &reply[Form]{Body: showForm(&form)}, nil
}

func (a *API) editDraft(ctx context.Context, in *editDraftIn) (*reply[Draft], error) {
	edits := make([]tankfile.Edit, len(in.Body.Edits))
	for i, e := range in.Body.Edits {
		edits[i] = tankfile.Edit{Do: tankfile.Action(e.Do), Path: e.Path, Value: e.Value}
	}
	text := in.Body.Text
	if len(edits) > 0 { // a text that is no YAML is shown as it is, and cannot be edited
		var err error
		if text, err = tankfile.Apply(text, edits); err != nil {
			return nil, err
		}
	}
	form := tankfile.NewForm(draftName, text)
	out := &reply[Draft]{Body: Draft{Form: showForm(&form)}}
	if len(form.Problems) > 0 {
		return out, nil
	}
	sheet, err := live.Read(draftName, text)
	if err != nil {
		return nil, err
	}
	drawing, err := section(ctx, sheet, nil, in.Format)
	if err != nil {
		return nil, err
	}
	check, err := a.check(ctx, text, sheet.Tank)
	if err != nil {
		return nil, err
	}
	out.Body.Section, out.Body.Check = string(drawing), &check
	return out, nil
}

func showForm(f *tankfile.Form) Form {
	return Form{Text: f.Text, Root: showGroup(&f.Root), Problems: listed(f.Problems, showWrong), Warnings: listed(f.Warnings, showWrong)}
}

func showGroup(g *tankfile.FormGroup) FormGroup {
	return FormGroup{Path: g.Path, Label: g.Label, Help: g.Help, List: g.List, Max: g.Max, Optional: g.Optional, Present: g.Present,
		Fields: listed(g.Fields, showField), Groups: listed(g.Groups, showGroup)}
}

func showField(f *tankfile.FormField) FormField {
	return FormField{Path: f.Path, Label: f.Label, Help: f.Help, Kind: string(f.Kind), Quantity: f.Quantity, Units: f.Units,
		Range: f.Range, Choices: f.Choices, Example: f.Example, Optional: f.Optional, Absent: f.Absent, Present: f.Present, Value: f.Value}
}
