package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"
)

// Groups of routes, as the document shows them.
const (
	tagSession = "Session"
	tagRounds  = "Rounds"
	tagTank    = "Tank"
	tagDevice  = "Devices"
	tagRemote  = "Remote"
	tagAlarm   = "Alarms"
	tagDesign  = "Design"
	tagPeople  = "People"
	tagNotice  = "Notices"
	tagRecord  = "Records"
	tagUpkeep  = "Upkeep"
)

// register declares every route.
func (a *API) register() {
	add(a, open, route("GET", "/api/first-run", "firstRun", tagSession, "Whether the first account has still to be made"), a.firstRun)
	add(a, open, route("POST", "/api/first-run", "setUp", tagSession, "Make the first account, an operator's, and sign in"), a.setUp)
	add(a, open, route("POST", "/api/session", "signIn", tagSession, "Sign in"), a.signIn)
	add(a, viewers, route("GET", "/api/session", "me", tagSession, "Who is signed in"), a.me)
	add(a, viewers, nothing(route("DELETE", "/api/session", "signOut", tagSession, "Sign out")), a.signOut)
	add(a, viewers, nothing(route("PUT", "/api/session/password", "setPassword", tagSession, "Change one's own password; every other session ends")), a.setPassword)
	add(a, viewers, route("PUT", "/api/session/units", "setUnits", tagSession, "Remember metric or US units for this person"), a.setUnits)

	add(a, viewers, route("GET", "/api/rounds", "rounds", tagRounds, "The tanks that need a person, worst first, and the quiet ones"), a.rounds)
	a.stream()
	add(a, viewers, route("GET", "/api/hub", "hub", tagRounds, "How the service itself stands: whether it still catches up, and what is wrong with it"), a.hub)

	add(a, viewers, route("GET", "/api/sites", "sites", tagTank, "Sites and their tanks"), a.sites)
	add(a, staff, created(route("POST", "/api/tanks", "newTank", tagDesign, "Add a tank, from its tank file")), a.newTank)
	add(a, viewers, route("GET", "/api/tanks/{tank}", "tank", tagTank, "Everything about a tank now"), a.tank)
	add(a, staff, nothing(route("PUT", "/api/tanks/{tank}", "keepTank", tagTank, "Rename a tank, archive it, or bring it back")), a.keepTank)
	add(a, staff, nothing(route("PUT", "/api/sites/{site}", "keepSite", tagTank, "Rename a site, archive it with its tanks, or bring it back")), a.keepSite)
	add(a, staff, route("GET", "/api/archive", "archive", tagTank, "Sites and tanks that are archived"), a.archive)
	add(a, viewers, svg(route("GET", "/api/tanks/{tank}/section.svg", "tankSection", tagTank, "The section drawing with the live level")), a.tankSection)
	add(a, viewers, route("GET", "/api/tanks/{tank}/channels", "channels", tagTank, "What is measured at a tank"), a.channels)
	add(a, viewers, route("GET", "/api/tanks/{tank}/series", "series", tagTank, "One channel against time, at the resolution asked for"), a.series)
	add(a, viewers, route("GET", "/api/tanks/{tank}/beliefs", "beliefs", tagTank, "What the account believed over time: salinity, pump flow, the expected top-off"), a.beliefs)
	add(a, viewers, route("GET", "/api/tanks/{tank}/ledger", "ledger", tagTank, "Litres in per day against litres expected"), a.ledger)
	add(a, viewers, route("GET", "/api/tanks/{tank}/events", "events", tagTank, "What happened"), a.events)
	add(a, viewers, route("GET", "/api/tanks/{tank}/findings", "findings", tagTank, "What the account found in a range of time"), a.findings)
	add(a, viewers, route("GET", "/api/measures", "measures", tagTank, "What people may measure, in which units and with what"), a.measures)
	add(a, viewers, route("GET", "/api/tanks/{tank}/hand-readings", "handReadings", tagTank, "What people measured"), a.handReadings)
	add(a, staff, created(route("POST", "/api/tanks/{tank}/hand-readings", "addHandReading", tagTank, "Write down a measurement")), a.addHandReading)
	add(a, staff, nothing(route("POST", "/api/tanks/{tank}/refills", "addRefill", tagTank, "Write down that the reservoir was filled")), a.addRefill)
	add(a, staff, nothing(route("POST", "/api/tanks/{tank}/water-changes", "addWaterChange", tagTank, "Write down a water change")), a.addWaterChange)

	add(a, viewers, route("GET", "/api/tanks/{tank}/file", "tankFile", tagDesign, "The tank file as last saved"), a.tankFile)
	add(a, staff, route("PUT", "/api/tanks/{tank}/file", "saveTankFile", tagDesign, "Save a new version of the tank file"), a.saveTankFile)
	add(a, viewers, route("GET", "/api/tanks/{tank}/versions", "versions", tagDesign, "Saved versions, with who and when"), a.versions)
	add(a, viewers, route("GET", "/api/tanks/{tank}/versions/{version}", "version", tagDesign, "One saved version"), a.version)
	add(a, staff, route("POST", "/api/drafts/check", "checkDraft", tagDesign, "Try every single fault on a tank file that is not saved"), a.checkDraft)
	add(a, staff, route("POST", "/api/drafts/odds", "draftOdds", tagDesign, "How likely the harm is that a tank file that is not saved can do: tries pairs of faults, too, and takes seconds"), a.draftOdds)
	add(a, staff, svg(route("POST", "/api/drafts/section.svg", "draftSection", tagDesign, "The section of a tank file that is not saved")), a.draftSection)

	add(a, viewers, route("GET", "/api/tanks/{tank}/form", "designForm", tagDesign, "The tank file as last saved, as a form"), a.designForm)
	add(a, staff, route("POST", "/api/drafts/form", "editDraft", tagDesign, "Edit a draft by field, and see what it makes"), a.editDraft)

	add(a, staff, table(route("POST", "/api/tanks/{tank}/imports/preview", "previewImport", tagRecord, "How a table of readings (CSV) would be imported")), a.previewImport)
	add(a, staff, table(created(route("POST", "/api/tanks/{tank}/imports", "importReadings", tagRecord, "Import a table of readings (CSV)"))), a.importReadings)
	add(a, viewers, csv(route("GET", "/api/tanks/{tank}/readings.csv", "exportReadings", tagRecord, "Every reading of a tank in a range of time, as a table that can be imported and replayed")), a.exportReadings)

	add(a, staff, route("GET", "/api/devices", "devices", tagDevice, "Devices and what was refused of them"), a.listDevices)
	add(a, staff, created(route("POST", "/api/devices", "newDevice", tagDevice, "Make a device with its own credentials")), a.newDevice)
	add(a, staff, route("GET", "/api/devices/{device}", "device", tagDevice, "One device"), a.device)
	add(a, staff, nothing(route("DELETE", "/api/devices/{device}", "revokeDevice", tagDevice, "Take a device's credentials away")), a.revokeDevice)
	add(a, staff, created(route("POST", "/api/edges", "newEdge", tagDevice, "Make an edge, the computer that runs a tank's guard, and the file it joins by")), a.newEdge)
	add(a, staff, route("POST", "/api/devices/{device}/key", "renewKey", tagDevice, "Give an edge another key; the old one is good no longer"), a.renewKey)
	add(a, byDevice, large(route("POST", "/api/readings", "readings", tagDevice, "Hand in readings (SenML, RFC 8428); the answer comes when the log has them")), a.readings)

	add(a, viewers, route("GET", "/api/tanks/{tank}/edge", "edge", tagRemote, "How a tank's edge stands, and what was asked of it"), a.edge)
	add(a, staff, created(route("POST", "/api/tanks/{tank}/requests", "askEdge", tagRemote, "Ask a tank's edge for something; its guard decides")), a.askEdge)

	add(a, viewers, route("GET", "/api/alarms", "alarms", tagAlarm, "Alarms that are not normal"), a.alarms)
	add(a, staff, route("POST", "/api/alarms/{alarm}/acknowledge", "acknowledge", tagAlarm, "Say that you know"), a.acknowledge)
	add(a, staff, route("POST", "/api/alarms/{alarm}/reset", "reset", tagAlarm, "Take a latched alarm back"), a.reset)
	add(a, staff, route("POST", "/api/alarms/{alarm}/shelve", "shelve", tagAlarm, "Put an alarm aside for a time"), a.shelve)
	add(a, staff, route("POST", "/api/alarms/{alarm}/unshelve", "unshelve", tagAlarm, "Take an alarm off the shelf earlier"), a.unshelve)

	add(a, staff, route("GET", "/api/alarms/{alarm}/notices", "alarmNotices", tagNotice, "Who was told of an alarm: what, when, and what became of it"), a.alarmNotices)
	add(a, staff, route("GET", "/api/notices", "notices", tagNotice, "Who was told of any alarm"), a.notices)
	add(a, staff, route("GET", "/api/sites/{site}/plan", "plan", tagNotice, "Who is told of a site's alarms, and when"), a.plan)
	add(a, staff, route("PUT", "/api/sites/{site}/plan", "savePlan", tagNotice, "Save who is told of a site's alarms"), a.savePlan)
	add(a, operators, route("GET", "/api/delivery", "delivery", tagNotice, "The mail server and the webhooks, without their secrets"), a.delivery)
	add(a, operators, route("PUT", "/api/delivery", "saveDelivery", tagNotice, "Set the mail server and the webhooks up"), a.saveDelivery)
	add(a, staff, route("POST", "/api/delivery/test", "tryDelivery", tagNotice, "Send a test message as set up, and say what happened"), a.tryDelivery)

	add(a, operators, route("GET", "/api/sign-of-life", "signOfLife", tagNotice, "Where the service says that it works, without the address"), a.signOfLife)
	add(a, operators, route("PUT", "/api/sign-of-life", "saveSignOfLife", tagNotice, "Set up where and how often the service says that it works"), a.saveSignOfLife)
	add(a, operators, route("POST", "/api/sign-of-life/test", "trySignOfLife", tagNotice, "Call the address now, whether or not the service works"), a.trySignOfLife)

	a.registerBench()

	add(a, operators, route("GET", "/api/people", "people", tagPeople, "Accounts"), a.people)
	add(a, operators, created(route("POST", "/api/people", "newPerson", tagPeople, "Make an account")), a.newPerson)
	add(a, operators, route("PUT", "/api/people/{person}", "editPerson", tagPeople, "Change an account's mail address, role and sites, or disable it"), a.editPerson)
	add(a, operators, nothing(route("PUT", "/api/people/{person}/password", "setPersonPassword", tagPeople, "Give somebody a new password; their sessions end")), a.setPersonPassword)
	add(a, operators, route("GET", "/api/retention", "retention", tagUpkeep, "How long readings are kept"), a.retention)
	add(a, operators, route("PUT", "/api/retention", "saveRetention", tagUpkeep, "Save how long readings are kept; older ones are dropped within a day"), a.saveRetention)
	add(a, operators, route("GET", "/api/audit", "audit", tagPeople, "Who changed what, and when"), a.audit)
}

func route(method, path, id, tag, summary string) huma.Operation {
	return huma.Operation{Method: method, Path: path, OperationID: id, Tags: []string{tag}, Summary: summary}
}

func created(op huma.Operation) huma.Operation {
	op.DefaultStatus = http.StatusCreated
	return op
}

func nothing(op huma.Operation) huma.Operation {
	op.DefaultStatus = http.StatusNoContent
	return op
}

func csv(op huma.Operation) huma.Operation {
	op.Responses = map[string]*huma.Response{"200": {
		Description: "CSV: time, channel, value, unit, device", Content: map[string]*huma.MediaType{"text/csv": {Schema: &huma.Schema{Type: huma.TypeString}}},
	}}
	return op
}

func svg(op huma.Operation) huma.Operation {
	op.Responses = map[string]*huma.Response{"200": {
		Description: "SVG", Content: map[string]*huma.MediaType{"image/svg+xml": {Schema: &huma.Schema{Type: huma.TypeString}}},
	}}
	return op
}

// reply is an answer that is all body.
type reply[T any] struct{ Body T }

// listed shows every one of a list. It is empty, never null, as the document
// promises clients.
func listed[T, S any](list []T, show func(*T) S) []S {
	out := make([]S, len(list))
	for i := range list {
		out[i] = show(&list[i])
	}
	return out
}

// add declares one route. The access it needs travels with the operation to
// guard; the errors it ends with pass through problem.
func add[I, O any](a *API, who access, op huma.Operation, handle func(context.Context, *I) (*O, error)) {
	op = a.guarded(op, who)
	huma.Register(a.huma, op, func(ctx context.Context, in *I) (*O, error) {
		out, err := handle(ctx, in)
		if err != nil {
			return nil, a.problem(ctx, err)
		}
		return out, nil
	})
}

// stream declares the live updates.
func (a *API) stream() {
	op := a.guarded(route("GET", "/api/live", "live", tagRounds, "Live updates of what a browser looks at, as server-sent events"), viewers)
	sse.Register(a.huma, op, map[string]any{
		"reading": ReadingEvent{}, "finding": FindingEvent{}, "alarm": AlarmEvent{}, "rounds": RoundsEvent{}, "edge": EdgeEvent{}, "beat": BeatEvent{},
	}, a.live)
}
