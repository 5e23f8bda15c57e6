package server

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"isohaline/internal/server/api"
)

// upload sends a table as a form, as a browser does; a mapping of nil: none.
func (b *browser) upload(status int, path, table string, mapping *api.ImportMapping, into any) {
	b.h.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("file", "june.csv")
	if err == nil {
		_, err = io.WriteString(part, table)
	}
	if err == nil && mapping != nil {
		text, _ := json.Marshal(mapping)
		err = form.WriteField("mapping", string(text))
	}
	if err == nil {
		err = form.Close()
	}
	if err != nil {
		b.h.t.Fatal(err)
	}
	req, err := http.NewRequestWithContext(b.h.t.Context(), "POST", b.h.Address()+path, &body)
	if err != nil {
		b.h.t.Fatal(err)
	}
	req.Header.Set("Content-Type", form.FormDataContentType())
	resp := b.send(req)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.h.t.Fatal(err)
	}
	if resp.StatusCode != status {
		b.h.t.Fatalf("POST %s: got %s, want %d: %s", path, resp.Status, status, text)
	}
	if err := json.Unmarshal(text, into); err != nil {
		b.h.t.Fatalf("POST %s: %v in %s", path, err, text)
	}
}

const (
	previewPath = "/api/tanks/reef/imports/preview"
	importPath  = "/api/tanks/reef/imports"
)

// counter is what /metrics says of a counter.
func (h *house) counter(name string) string {
	h.t.Helper()
	resp := h.nobody().do("GET", "/metrics", nil)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			return strings.TrimSpace(value)
		}
	}
	h.t.Fatalf("no %s", name)
	return ""
}

// TestImport: a preview says how a table would be read, the import reads it, once
// however often it comes, and what is bad in it stops nothing else and is on the
// page of the tank's records.
func TestImport(t *testing.T) {
	h := furnished(t)
	timo := h.as("timo")
	const table = "Time;Water level (mm);temp;pump;note\n" +
		"2026-06-01 10:00;212;25,1;0;calibrated\n" +
		"2026-06-01 10:20;211,5;25,2;0;\n" +
		"2026-06-01 10:40;much;25,3;0;\n" +
		"2026-06-01 10:50;;;1;\n" +
		"2026-06-01 10:51;;;0;\n"
	var p api.ImportPreview
	timo.upload(http.StatusOK, previewPath, table, nil, &p)
	if p.Rows != 5 || p.Readings != 10 || p.ProblemCount != 1 || len(p.FirstRows) != 6 || !p.ZoneMatters ||
		!cmp.Equal(p.TimeFormats, []string{"year-month-day"}) || len(p.Channels) < 10 || len(p.FirstRead) != 10 {
		t.Errorf("the preview is %+v", p)
	}
	want := api.ImportProblem{Row: 4, Column: 2, Header: "Water level (mm)", Value: "much", Reason: "is no number", Fix: "send digits with a point, like 24.8"}
	if len(p.Problems) != 1 || p.Problems[0] != want {
		t.Errorf("the problems are %+v", p.Problems)
	}
	m := p.Mapping
	m.Zone = "Europe/Berlin"
	timo.upload(http.StatusOK, previewPath, table, &m, &p)
	if first := p.FirstRead[0]; !first.At.Equal(time.Date(2026, 6, 1, 8, 0, 0, 0, time.UTC)) || first.Channel != "level" || first.Value != 0.212 || first.Unit != "m" || first.Row != 2 {
		t.Errorf("in Berlin the first is %+v", first)
	}

	var r api.ImportResult
	timo.upload(http.StatusCreated, importPath, table, &m, &r)
	if r.Readings != 10 || r.Repeated != 0 || r.ProblemCount != 1 || len(r.Problems) != 1 || !r.Account || r.From == nil {
		t.Errorf("imported: %+v", r)
	}
	timo.upload(http.StatusCreated, importPath, table, &m, &r)
	if r.Readings != 0 || r.Repeated != 10 || r.Account {
		t.Errorf("imported again: %+v", r)
	}
	for name, want := range map[string]string{"isohaline_import_readings_total": "10", "isohaline_import_repeated_total": "10", "isohaline_import_refused_total": "2"} {
		if got := h.counter(name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	var d api.Device
	timo.want(http.StatusOK, "GET", "/api/devices/"+r.DeviceID, nil, &d)
	if !d.Records || d.Name != "Imported records" || len(d.Refusals) != 1 || d.Refusals[0].Count != 2 || !strings.Contains(d.Refusals[0].Words, "row 4: column 2") || d.Refusals[0].Topic != "june.csv" {
		t.Errorf("the records are listed as %+v", d)
	}
	// They have no password that could be guessed.
	post(t, h, api.Credentials{User: r.DeviceID}, `[{"n":"heartbeat","vb":true}]`, http.StatusUnauthorized)

	// What went in comes out again, and is nothing new.
	text := timo.text("/api/tanks/reef/readings.csv?from=2026-06-01T00:00:00Z&to=2026-06-02T00:00:00Z")
	if !strings.HasPrefix(text, "time,channel,value,unit,device,device name\n2026-06-01T08:00:00Z,level,0.212,m,"+r.DeviceID+",Imported records\n") || strings.Count(text, "\n") != 11 {
		t.Errorf("exported:\n%s", text)
	}
	timo.upload(http.StatusOK, previewPath, text, nil, &p)
	timo.upload(http.StatusCreated, importPath, text, &p.Mapping, &r)
	if p.ProblemCount != 0 || r.Readings != 0 || r.Repeated != 10 {
		t.Errorf("the export imported: %+v, problems %v", r, p.Problems)
	}
	var audit struct{ Lines []api.AuditLine }
	h.as("olga").want(http.StatusOK, "GET", "/api/audit", nil, &audit)
	if text, _ := json.Marshal(audit); strings.Count(string(text), "import readings") != 3 {
		t.Errorf("the audit log: %s", text)
	}
}

// text is the body of an answer.
func (b *browser) text(path string) string {
	b.h.t.Helper()
	resp := b.do("GET", path, nil)
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		b.h.t.Fatalf("GET %s: %s, %v", path, resp.Status, err)
	}
	return string(text)
}

// TestImportAsks: a day that could be a month is asked, and not taken.
func TestImportAsks(t *testing.T) {
	h := furnished(t)
	timo := h.as("timo")
	const table = "time,level (mm)\n04/05/2026 10:00,212\n05/05/2026 10:00,213\n"
	var p api.ImportPreview
	timo.upload(http.StatusOK, previewPath, table, nil, &p)
	if p.Mapping.TimeFormat != "" || p.Readings != 0 || !cmp.Equal(p.TimeFormats, []string{"day-month-year", "month-day-year"}) || p.ProblemCount != 1 {
		t.Errorf("the preview is %+v", p)
	}
	var problem api.Problem
	timo.upload(http.StatusUnprocessableEntity, importPath, table, &p.Mapping, &problem)
	if len(problem.Errors) != 1 || problem.Errors[0].Field != "mapping" || problem.Errors[0].Fix == "" {
		t.Errorf("unasked, it is answered with %+v", problem)
	}
	p.Mapping.TimeFormat = "month-day-year"
	var r api.ImportResult
	timo.upload(http.StatusCreated, importPath, table, &p.Mapping, &r)
	if r.Readings != 2 || !r.From.Equal(time.Date(2026, 4, 5, 10, 0, 0, 0, time.UTC)) {
		t.Errorf("imported: %+v", r)
	}
}

// TestImportRefuses what cannot be read at all, with the reason.
func TestImportRefuses(t *testing.T) {
	h := furnished(t)
	timo := h.as("timo")
	good := api.ImportMapping{Separator: "comma", TimeFormat: "year-month-day", Columns: []api.ImportColumn{{Column: 1, Use: "time"}, {Column: 3, Use: "value", Channel: "level"}}}
	const table = "2026-06-01 10:00,x,0.2\n"
	for _, row := range []struct {
		name   string
		table  string
		change func(*api.ImportMapping)
		status int
		want   string
	}{
		{"no good row", "2026-06-01 10:00,x,much\n", nil, 422, "is no number"},
		{"no text", "PK\x03\x04\x00", nil, 422, "UTF-8"},
		{"no zone", table, func(m *api.ImportMapping) { m.Zone = "Atlantis/Reef" }, 422, "no time zone"},
		{"the server's zone", table, func(m *api.ImportMapping) { m.Zone = "Local" }, 422, "no time zone"},
		{"column 0", table, func(m *api.ImportMapping) { m.Columns = []api.ImportColumn{{Use: "time"}} }, 422, "is no column"},
		{"column 10,000,000", table, func(m *api.ImportMapping) { m.Columns = []api.ImportColumn{{Column: 1e7, Use: "time"}} }, 422, "is no column"},
		{"a channel nobody knows", table, func(m *api.ImportMapping) {
			m.Columns = []api.ImportColumn{{Column: 1, Use: "time"}, {Column: 3, Use: "value", Channel: "mood"}}
		}, 422, "is no channel"},
		{"a separator nobody knows", table, func(m *api.ImportMapping) { m.Separator = "smile" }, 422, "separator"},
		{"a table too large", strings.Repeat("2026-06-01 10:00,x,0.2\n", api.MaxTable/23+1), nil, 413, "10 MB"},
		{"one far too large", strings.Repeat("2026-06-01 10:00,x,0.2\n", 2*api.MaxTable/23), nil, 413, "10 MB"},
	} {
		m := good
		if row.change != nil {
			row.change(&m)
		}
		var problem api.Problem
		timo.upload(row.status, importPath, row.table, &m, &problem)
		if !strings.Contains(problem.Detail, row.want) || problem.Status != row.status {
			t.Errorf("%s: answered with %+v, want %q", row.name, problem, row.want)
		}
	}
}

// TestTooLargeAnywhere: a body above a route's limit is answered with 413 in
// words, however it is sent.
func TestTooLargeAnywhere(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	for _, op := range operations(t) {
		if op.method == "GET" || op.id == "readings" || op.id == "signOut" || op.id == "previewImport" || op.id == "importReadings" {
			continue // devices' bodies and tables have tests of their own
		}
		path := things{"here", "reef", "none", "none"}.in(op.path)
		if strings.Contains(path, "none") {
			continue // refused for naming nothing
		}
		for _, chunked := range []bool{false, true} {
			var body io.Reader = strings.NewReader(`{"text":"` + strings.Repeat("x", 3<<20) + `"}`)
			if chunked {
				body = struct{ io.Reader }{body}
			}
			req, err := http.NewRequestWithContext(t.Context(), op.method, h.Address()+path, body)
			if err != nil {
				t.Fatal(err)
			}
			req.Header.Set("Content-Type", "application/json")
			resp := olga.send(req)
			var problem api.Problem
			if err := json.NewDecoder(resp.Body).Decode(&problem); err != nil || resp.StatusCode != http.StatusRequestEntityTooLarge || !strings.Contains(problem.Detail, "1 MiB") {
				t.Errorf("%s, chunked %v: %s, %+v, %v", op.id, chunked, resp.Status, problem, err)
			}
			resp.Body.Close()
		}
	}
}

// TestLateRecords: an account that is past the time of records works through them
// at their own time: a leak that nobody reported live is found afterwards, once,
// and the alarm of it is raised.
func TestLateRecords(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	var made api.Credentials
	olga.want(http.StatusCreated, "POST", "/api/devices", jsonMap{"tankId": "reef", "name": "Head"}, &made)
	post(t, h, made, `[{"n":"heartbeat","vb":true}]`, http.StatusOK)
	eventually(t, "the device is heard", func() bool { v, _ := h.Monitor.Tank("reef"); return !v.LastHeard.IsZero() })

	begin := h.now().Add(-20 * 24 * time.Hour).Truncate(time.Second)
	table := header + strings.Join(leakRows(begin), "")
	var p api.ImportPreview
	olga.upload(http.StatusOK, previewPath, table, nil, &p)
	if p.ProblemCount != 0 {
		t.Fatalf("problems %v", p.Problems)
	}
	before, _ := h.Monitor.Tank("reef")
	var r api.ImportResult
	olga.upload(http.StatusCreated, importPath, table, &p.Mapping, &r)
	after, _ := h.Monitor.Tank("reef")
	if r.Readings != p.Readings || !r.Account {
		t.Errorf("imported %+v", r)
	}
	if !(after.Estimate.SalinityPSU < before.Estimate.SalinityPSU-1) {
		t.Errorf("the records moved the salinity from %v to %v", before.Estimate.SalinityPSU, after.Estimate.SalinityPSU)
	}
	var found struct{ Findings []api.Finding }
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/findings?from="+begin.Format(time.RFC3339)+"&to="+h.now().Format(time.RFC3339), nil, &found)
	late := 0
	for _, f := range found.Findings {
		if f.Found.After(begin.Add(10*24*time.Hour)) && f.Found.Before(h.now().Add(-24*time.Hour)) {
			late++
		}
	}
	if late == 0 {
		t.Errorf("nothing was found at the time of the records: %+v", found.Findings)
	}
	// Again, the same: nothing new, and the findings stay as they are.
	olga.upload(http.StatusCreated, importPath, table, &p.Mapping, &r)
	var again struct{ Findings []api.Finding }
	olga.want(http.StatusOK, "GET", "/api/tanks/reef/findings?from="+begin.Format(time.RFC3339)+"&to="+h.now().Format(time.RFC3339), nil, &again)
	if r.Readings != 0 || len(again.Findings) != len(found.Findings) {
		t.Errorf("again: %+v, %d findings after %d", r, len(again.Findings), len(found.Findings))
	}
}

const header = "time,channel,value,unit\n"

// leakRows are the rows of twenty days of a tank, all but the last hour: after ten of
// them the pump runs three times as often as the air explains, and the salinity falls
// by a third of a unit a day.
func leakRows(begin time.Time) (rows []string) {
	say := func(at time.Time, channel string, value float64) {
		rows = append(rows, fmt.Sprintf("%s,%s,%g,\n", at.Format(time.RFC3339), channel, value))
	}
	fill := func(at time.Time, ran time.Duration) {
		say(at, "watch", 0)
		say(at, "pump", 1)
		say(at.Add(ran), "watch", 1)
		say(at.Add(ran), "pump", 0)
	}
	for at := begin; at.Before(begin.Add(20*24*time.Hour - time.Hour)); at = at.Add(2 * time.Hour) {
		days := at.Sub(begin).Hours() / 24
		fill(at, time.Minute)
		if days > 10 {
			fill(at.Add(30*time.Minute), 2*time.Minute)
		}
		if at.Hour()%12 < 2 {
			say(at.Add(10*time.Minute), "salinity", 35-0.3*max(0, days-10))
		}
	}
	return rows
}

// TestOrderOfImports: whether records come at once, or in parts and the later ones
// first, the account finds the same at the same times.
func TestOrderOfImports(t *testing.T) {
	h := furnished(t)
	olga := h.as("olga")
	begin := h.now().Add(-20 * 24 * time.Hour).Truncate(time.Second)
	rows := leakRows(begin)
	half := len(rows) / 2
	take := func(tank string, rows []string) {
		t.Helper()
		table := header + strings.Join(rows, "")
		var p api.ImportPreview
		olga.upload(http.StatusOK, "/api/tanks/"+tank+"/imports/preview", table, nil, &p)
		var r api.ImportResult
		olga.upload(http.StatusCreated, "/api/tanks/"+tank+"/imports", table, &p.Mapping, &r)
		if r.Readings == 0 || r.ProblemCount != 0 {
			t.Fatalf("imported %+v", r)
		}
	}
	take("reef", rows)
	take("other", rows[half:])
	take("other", rows[:half])
	type finding struct {
		Code               string
		Since, Found       time.Time
		Ended              *time.Time
		Confidence, Amount float64
	}
	found := map[string][]finding{}
	for _, tank := range []string{"reef", "other"} {
		var list struct{ Findings []api.Finding }
		olga.want(http.StatusOK, "GET", "/api/tanks/"+tank+"/findings?from="+begin.Format(time.RFC3339)+"&to="+h.now().Format(time.RFC3339), nil, &list)
		for _, f := range list.Findings {
			found[tank] = append(found[tank], finding{f.Code, f.Since, f.Found, f.Ended, f.Confidence, f.Amount})
		}
	}
	if len(found["reef"]) == 0 {
		t.Error("nothing was found")
	}
	if d := cmp.Diff(found["reef"], found["other"]); d != "" {
		t.Errorf("at once and in parts (-at once +in parts):\n%s", d)
	}
}
