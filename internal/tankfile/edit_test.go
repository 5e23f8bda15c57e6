package tankfile_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/token"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"isohaline/internal/tankfile"
)

// TestEdits: what an edit does to the text, and all that it does.
func TestEdits(t *testing.T) {
	const start = `# our tank
isohaline: 1
name: "Tank: one"   # as on the door
water: {salinity: 35 ppt, temperature: 25 °C}

room:
  seasons:
    # the cold one
    - name: winter
      # measured in January
      days: 180   # about
      air: 20 °C
    - {name: summer, days: 185, air: 70 °F}
display:
  height: 24 in       # inside
  lid: 40 %
return:
  pump: {curve: ["0 L/h at 3 m", "1 gpm at 0 ft"]}
controller: {}        # all proposed
limits:
  water on the floor:
    - 0.1 L # a cup
    - 0.5 L
    - 1 L
future: {what: unknown}`
	set := func(path, value string) tankfile.Edit {
		return tankfile.Edit{Do: tankfile.Set, Path: path, Value: value}
	}
	add := func(path string) tankfile.Edit { return tankfile.Edit{Do: tankfile.Add, Path: path} }
	remove := func(path string) tankfile.Edit { return tankfile.Edit{Do: tankfile.Remove, Path: path} }
	for _, row := range []struct {
		what     string
		edits    []tankfile.Edit
		old, new string // the stretch of the text that changes
	}{
		{"a value with its unit", []tankfile.Edit{set("display.height", "25.5 in")}, "24 in  ", "25.5 in  "},
		{"a quoted text", []tankfile.Edit{set("name", "Tank two")}, `"Tank: one"`, "Tank two"},
		{"a text that needs quotes", []tankfile.Edit{set("name", "a: b # c")}, `"Tank: one"`, `"a: b # c"`},
		{"half typed", []tankfile.Edit{set("display.height", "2")}, "24 in  ", "2  "},
		{"cleared", []tankfile.Edit{set("display.height", "")}, "24 in  ", `""  `},
		{"in braces", []tankfile.Edit{set("water.salinity", "36 ppt")}, "35 ppt", "36 ppt"},
		{"a comma in braces", []tankfile.Edit{set("water.salinity", "36,5 ppt")}, "35 ppt", `"36,5 ppt"`},
		{"a new key in braces", []tankfile.Edit{set("water.alkalinity", "8 dKH")}, "25 °C}", "25 °C, alkalinity: 8 dKH}"},
		{"a new key on lines", []tankfile.Edit{set("display.floor elevation", "0.9 m")}, "# inside\n", "# inside\n  floor elevation: 0.9 m\n"},
		{"a new key first", []tankfile.Edit{set("display.shape", "rectangle")}, "  height:", "  shape: rectangle\n  height:"},
		{"into an item", []tankfile.Edit{set("room.seasons[1].humidity", "40 %")}, "20 °C\n", "20 °C\n      humidity: 40 %\n"},
		{"into an item in braces", []tankfile.Edit{set("room.seasons[2].humidity", "40 %")}, "70 °F}", "70 °F, humidity: 40 %}"},
		{"into braces with nothing in them", []tankfile.Edit{set("controller.confirm dry", "5 s")}, "controller: {}        # all proposed\n", "controller:         # all proposed\n  confirm dry: 5 s\n"},
		{"into a group that is not there", []tankfile.Edit{set("skimmer.cup", "2 L")}, "controller:", "\nskimmer:\n  cup: 2 L\ncontroller:"},
		{"two levels that are not there", []tankfile.Edit{set("top-off.watch.kind", "float")}, "controller:", "\ntop-off:\n  watch:\n    kind: float\ncontroller:"},
		{"the end of a text without a last line end", []tankfile.Edit{set("limits.salinity off", "0.5 ppt\n1 ppt\n2 ppt\n3 ppt"), remove("future")}, "  water on the floor:", "  salinity off: [0.5 ppt, 1 ppt, 2 ppt, 3 ppt]\n  water on the floor:"},
		{"lines, one of them", []tankfile.Edit{set("limits.water on the floor", "0.1 L\n0.5 L\n2 L")}, "- 1 L", "- 2 L"},
		{"fewer lines", []tankfile.Edit{set("limits.water on the floor", "0.1 L\n0.5 L")}, "    - 1 L\n", ""},
		{"more lines", []tankfile.Edit{set("limits.water on the floor", "0.1 L\n0.5 L\n1 L\n 100 L ")}, "- 1 L\n", "- 1 L\n    - 100 L\n"},
		{"points in brackets", []tankfile.Edit{set("return.pump.curve", "0 L/h at 3 m\n2 gpm at 1 ft\n3 gpm at 0 ft")}, `"1 gpm at 0 ft"`, `2 gpm at 1 ft, 3 gpm at 0 ft`},
		{"add a group", []tankfile.Edit{add("floor sensor")}, "limits:", "floor sensor: {}\nlimits:"},
		{"add a group and remove it", []tankfile.Edit{add("skimmer"), set("skimmer.cup", "1 L"), remove("skimmer.cup"), remove("skimmer")}, "controller:", "\ncontroller:"},
		{"add an item", []tankfile.Edit{add("room.seasons"), set("room.seasons[3].name", "rains")}, "70 °F}\n", "70 °F}\n    - name: rains\n"},
		{"add a list with its group", []tankfile.Edit{add("sump.compartments"), set("sump.compartments[1].name", "return chamber")}, "controller:", "\nsump:\n  compartments:\n    - name: return chamber\ncontroller:"},
		{"remove a key", []tankfile.Edit{remove("display.lid")}, "  lid: 40 %\n", ""},
		{"remove a key in braces", []tankfile.Edit{remove("water.salinity")}, "salinity: 35 ppt, ", ""},
		{"remove the last key in braces", []tankfile.Edit{remove("water.temperature")}, ", temperature: 25 °C", ""},
		{"remove all keys in braces", []tankfile.Edit{remove("water.temperature"), remove("water.salinity")}, "salinity: 35 ppt, temperature: 25 °C", ""},
		{"remove the key behind a dash", []tankfile.Edit{remove("room.seasons[1].name")}, "- name: winter\n      # measured", "- # measured"},
		{"remove an item", []tankfile.Edit{remove("room.seasons[2]")}, "    - {name: summer, days: 185, air: 70 °F}\n", ""},
		{"remove a group", []tankfile.Edit{remove("return.pump")}, "  pump: {curve: [\"0 L/h at 3 m\", \"1 gpm at 0 ft\"]}\n", ""},
		{"remove what nobody knows", []tankfile.Edit{remove("future")}, "future: {what: unknown}", ""},
	} {
		t.Run(row.what, func(t *testing.T) {
			if strings.Count(start, row.old) != 1 {
				t.Fatalf("%q is there %d times", row.old, strings.Count(start, row.old))
			}
			got, err := tankfile.Apply(start, row.edits)
			if err != nil {
				t.Fatal(err)
			}
			want := strings.Replace(start, row.old, row.new, 1)
			if row.edits[len(row.edits)-1] == remove("future") && row.old != "future: {what: unknown}" {
				want = strings.TrimSuffix(want, "future: {what: unknown}")
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("-want +got:\n%s", diff)
			}
			// A file from a Windows editor keeps its line ends and its mark.
			windows := func(s string) string { return "\ufeff" + strings.ReplaceAll(s, "\n", "\r\n") }
			got, err = tankfile.Apply(windows(start), row.edits)
			if diff := cmp.Diff(windows(want), got); diff != "" || err != nil {
				t.Errorf("Windows: %v, -want +got:\n%s", err, diff)
			}
		})
	}
}

// TestAddedAndRemoved: a file in which groups stand apart is as before when a
// group was added and removed again.
func TestAddedAndRemoved(t *testing.T) {
	text := string(tankfile.Starter(tankfile.Answers{NoSump: true}))
	added, err := tankfile.Apply(text, []tankfile.Edit{{Do: tankfile.Set, Path: "skimmer.cup", Value: "1 L"}})
	if err != nil || !strings.Contains(added, "\n\nskimmer:\n  cup: 1 L\n\n") {
		t.Fatalf("added: %v\n%s", err, added)
	}
	again, err := tankfile.Apply(added, []tankfile.Edit{{Do: tankfile.Remove, Path: "skimmer"}})
	if diff := cmp.Diff(text, again); diff != "" || err != nil {
		t.Errorf("removed: %v, -before +after\n%s", err, diff)
	}
}

// TestEditsRefused: what cannot be done is said, and changes nothing.
func TestEditsRefused(t *testing.T) {
	const text = "isohaline: 1\nroom:\n  seasons: [{name: a}]\nwater: 3\n"
	for _, row := range []struct {
		edit tankfile.Edit
		want string
	}{
		{tankfile.Edit{Do: tankfile.Set, Path: "display.hieght", Value: "1 m"}, "is no field or group"},
		{tankfile.Edit{Do: tankfile.Set, Path: "", Value: "1 m"}, "is no path"},
		{tankfile.Edit{Do: tankfile.Set, Path: "a[b]", Value: "1 m"}, "is no path"},
		{tankfile.Edit{Do: tankfile.Set, Path: "display", Value: "1 m"}, "cannot be done"},
		{tankfile.Edit{Do: tankfile.Add, Path: "display.height"}, "cannot be done"},
		{tankfile.Edit{Do: "burn", Path: "display.height"}, "cannot be done"},
		{tankfile.Edit{Do: tankfile.Set, Path: "room.seasons[2].name", Value: "b"}, "is an item that is not there"},
		{tankfile.Edit{Do: tankfile.Set, Path: "room.seasons.name", Value: "b"}, "is no field or group"},
		{tankfile.Edit{Do: tankfile.Set, Path: "display[1].height", Value: "b"}, "is no field or group"},
		{tankfile.Edit{Do: tankfile.Add, Path: "room"}, "is there already"},
		{tankfile.Edit{Do: tankfile.Remove, Path: "sump"}, "is not in the file"},
		{tankfile.Edit{Do: tankfile.Set, Path: "water.salinity", Value: "35 ppt"}, "change it in the text"},
		{tankfile.Edit{Do: tankfile.Set, Path: "limits.salinity off", Value: "1\n2\n3\n4\n5"}, "has 5 values"},
	} {
		got, err := tankfile.Apply(text, []tankfile.Edit{{Do: tankfile.Set, Path: "name", Value: "x"}, row.edit})
		if err == nil || !strings.Contains(err.Error(), row.want) || !strings.Contains(err.Error(), row.edit.Path) {
			t.Errorf("%+v: %v, want %q", row.edit, err, row.want)
		}
		if got != text {
			t.Errorf("%+v: the text became %q", row.edit, got)
		}
	}
	full := "room:\n  seasons:\n" + strings.Repeat("    - name: a\n", 12)
	if _, err := tankfile.Apply(full, []tankfile.Edit{{Do: tankfile.Add, Path: "room.seasons"}}); err == nil || !strings.Contains(err.Error(), "has 12 items") {
		t.Errorf("a thirteenth season: %v", err)
	}
	if _, err := tankfile.Apply("a: [", nil); err == nil || !strings.Contains(err.Error(), "not valid YAML") {
		t.Errorf("no YAML: %v", err)
	}
}

// values are the fields of a form that the file has, by path.
func values(g *tankfile.FormGroup) map[string]string {
	all := map[string]string{}
	var walk func(*tankfile.FormGroup)
	walk = func(g *tankfile.FormGroup) {
		if g.Path != "" && g.Present {
			all[g.Path+"/"] = ""
		}
		for _, f := range g.Fields {
			if f.Present {
				all[f.Path] = f.Value
			}
		}
		for i := range g.Groups {
			walk(&g.Groups[i])
		}
	}
	walk(g)
	return all
}

// comments are those of a text, in order.
func comments(text string) []string {
	var all []string
	for _, tk := range lexer.Tokenize(text) {
		if tk.Type == token.CommentType {
			all = append(all, strings.TrimSpace(tk.Value))
		}
	}
	return all
}

// places are the fields and groups of a form at which something can be done.
func places(g *tankfile.FormGroup) (fields []tankfile.FormField, groups []*tankfile.FormGroup) {
	fields = append(fields, g.Fields...)
	for i := range g.Groups {
		inner := &g.Groups[i]
		groups = append(groups, inner)
		f, gs := places(inner)
		fields, groups = append(fields, f...), append(groups, gs...)
	}
	return fields, groups
}

// anyEdit draws an edit that a form offers, and says what it does to the values.
func anyEdit(t *rapid.T, form *tankfile.Form) (e tankfile.Edit, want map[string]string) {
	want = values(&form.Root)
	fields, groups := places(&form.Root)
	drop := func(path string) {
		for p := range want {
			if p == path || strings.HasPrefix(p, path+".") || strings.HasPrefix(p, path+"[") || p == path+"/" {
				delete(want, p)
			}
		}
	}
	f := rapid.SampledFrom(fields).Draw(t, "field")
	g := rapid.SampledFrom(groups).Draw(t, "group")
	switch what := rapid.IntRange(0, 9).Draw(t, "what"); {
	case what < 5:
		e = tankfile.Edit{Do: tankfile.Set, Path: f.Path, Value: anyValue(t, &f)}
		want[f.Path] = e.Value
		for p := f.Path; strings.ContainsAny(p, ".["); { // the groups that it needs
			p = p[:strings.LastIndexAny(p, ".[")]
			want[p+"/"] = ""
		}
	case what < 7 && f.Present:
		e = tankfile.Edit{Do: tankfile.Remove, Path: f.Path}
		drop(f.Path)
	case g.Present && !g.List && (what == 7 || strings.HasSuffix(g.Path, "]")):
		e = tankfile.Edit{Do: tankfile.Remove, Path: g.Path}
		drop(g.Path)
		if at := strings.LastIndexByte(g.Path, '['); strings.HasSuffix(g.Path, "]") {
			renumber(want, g.Path[:at], g.Path)
		}
	case g.List && len(g.Groups) < g.Max:
		e = tankfile.Edit{Do: tankfile.Add, Path: g.Path}
		for p := g.Path; ; p = p[:strings.LastIndexByte(p, '.')] {
			want[p+"/"] = ""
			if !strings.Contains(p, ".") {
				break
			}
		}
		want[fmt.Sprintf("%s[%d]/", g.Path, len(g.Groups)+1)] = ""
	case !g.Present && !g.List:
		e = tankfile.Edit{Do: tankfile.Add, Path: g.Path}
		for p := g.Path; ; p = p[:strings.LastIndexByte(p, '.')] {
			want[p+"/"] = ""
			if !strings.Contains(p, ".") {
				break
			}
		}
	}
	return e, want
}

// renumber moves the items after one that is gone.
func renumber(want map[string]string, list, gone string) {
	var n int
	fmt.Sscanf(gone[len(list):], "[%d]", &n)
	for i := n + 1; i <= 12; i++ {
		from, to := fmt.Sprintf("%s[%d]", list, i), fmt.Sprintf("%s[%d]", list, i-1)
		for p, v := range want {
			if rest, ok := strings.CutPrefix(p, from); ok {
				delete(want, p)
				want[to+rest] = v
			}
		}
	}
}

// anyValue draws what somebody types into a field, right or not.
func anyValue(t *rapid.T, f *tankfile.FormField) string {
	one := rapid.OneOf(
		rapid.SampledFrom(append([]string{"3", "12.5 in", "", "a, b", "x: y", "# z", "- d", "[", "}", "'", `"`, `\`, "no", "null", "~", "&a", "*b", "!c", "|", ">", "%", "@", "1:2", "ä ½ °C", "\t", "a\tb", " a "}, f.Choices...)),
		rapid.String(),
	)
	if f.Kind != tankfile.SeveralLines {
		return one.Draw(t, "value")
	}
	lines := rapid.SliceOfN(one, 1, 4).Draw(t, "values")
	for i := range lines {
		lines[i] = strings.TrimSpace(strings.NewReplacer("\n", " ", "\r", " ").Replace(lines[i]))
	}
	lines = slices.DeleteFunc(lines, func(s string) bool { return s == "" })
	return strings.Join(lines, "\n")
}

// TestEditsAndBack: after any edits that a form offers, the text reads as what
// was asked for and as nothing else, and no comment is lost but those within
// what was removed.
func TestEditsAndBack(t *testing.T) {
	var texts []string
	files, _ := filepath.Glob(examples + "/*.yaml")
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, string(data))
	}
	if len(texts) == 0 {
		t.Fatal("there are no examples")
	}
	texts = append(texts, "", "# nothing yet\n", string(tankfile.Starter(tankfile.Answers{})))
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SampledFrom(texts).Draw(t, "text")
		form := tankfile.NewForm("x", text)
		for range rapid.IntRange(1, 12).Draw(t, "edits") {
			e, want := anyEdit(t, &form)
			if e.Path == "" {
				continue // the form does not offer this
			}
			next, err := tankfile.Apply(text, []tankfile.Edit{e})
			if err != nil {
				t.Fatalf("%+v: %v\n%s", e, err, text)
			}
			after := tankfile.NewForm("x", next)
			if diff := cmp.Diff(want, values(&after.Root)); diff != "" {
				t.Fatalf("%+v: -want +got\n%s\nfrom:\n%s\nto:\n%s", e, diff, text, next)
			}
			old, left := comments(text), comments(next)
			switch {
			case e.Do != tankfile.Remove && !slices.Equal(old, left) && !(e.Do == tankfile.Set && shrunk(&form, e)):
				t.Fatalf("%+v: the comments were %q and are %q", e, old, left)
			case !within(left, old):
				t.Fatalf("%+v: the comments were %q and are %q", e, old, left)
			}
			text, form = next, after
		}
	})
}

// shrunk says whether an edit takes lines away, and their comments with them.
func shrunk(form *tankfile.Form, e tankfile.Edit) bool {
	was := values(&form.Root)[e.Path]
	return strings.Count(was, "\n") > strings.Count(e.Value, "\n") || was != "" && e.Value == ""
}

// within says whether all of part are in whole, in order.
func within(part, whole []string) bool {
	for _, s := range whole {
		if len(part) > 0 && part[0] == s {
			part = part[1:]
		}
	}
	return len(part) == 0
}

// FuzzApply: no text and no edit makes Apply panic. What it accepts is a text in
// which the edit has nothing left to do.
func FuzzApply(f *testing.F) {
	files, _ := filepath.Glob(examples + "/*.yaml")
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(data), "set", "display.height", "3 in")
		f.Add(string(data), "add", "room.seasons", "")
		f.Add(string(data), "remove", "top-off.watch", "")
	}
	f.Add("limits:\n  salinity off: {a: b}\n", "set", "limits.salinity off", "1\n2")
	f.Add("- a\n", "set", "name", "x")
	f.Fuzz(func(t *testing.T, text, do, path, value string) {
		e := tankfile.Edit{Do: tankfile.Action(do), Path: path, Value: value}
		next, err := tankfile.Apply(text, []tankfile.Edit{e})
		if err != nil {
			if next != text {
				t.Errorf("refused, and the text became %q", next)
			}
			return
		}
		again, err := tankfile.Apply(next, []tankfile.Edit{e})
		switch {
		case e.Do == tankfile.Set && (err != nil || again != next):
			t.Errorf("set %q to %q gives %q, and once more %q: %v", path, value, next, again, err)
		case e.Do == tankfile.Remove && err == nil && len(again) >= len(next):
			t.Errorf("removed %q twice: %q, then %q", path, next, again)
		case e.Do == tankfile.Add && err == nil && len(again) <= len(next):
			t.Errorf("added %q twice: %q, then %q", path, next, again)
		}
	})
}
