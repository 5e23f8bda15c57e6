package api

import (
	"context"
	"errors"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"
)

type API struct{ huma huma.API }

var errU = errors.New("unfinished")

type none struct{}

func (a *API) guarded(op huma.Operation, who access) huma.Operation             { return op }
func (a *API) problem(ctx context.Context, err error) error                     { return err }
func (a *API) live(ctx context.Context, in *none, send sse.Sender)              {}
func (a *API) firstRun(context.Context, *none) (*firstRunOut, error)            { return nil, errU }
func (a *API) setUp(context.Context, *setUpIn) (*personOut, error)              { return nil, errU }
func (a *API) signIn(context.Context, *signInIn) (*personOut, error)            { return nil, errU }
func (a *API) me(context.Context, *none) (*personOut, error)                    { return nil, errU }
func (a *API) signOut(context.Context, *none) (*none, error)                    { return nil, errU }
func (a *API) setUnits(context.Context, *unitsIn) (*personOut, error)           { return nil, errU }
func (a *API) rounds(context.Context, *none) (*roundsOut, error)                { return nil, errU }
func (a *API) sites(context.Context, *none) (*sitesOut, error)                  { return nil, errU }
func (a *API) newTank(context.Context, *newTankIn) (*tankOut, error)            { return nil, errU }
func (a *API) tank(context.Context, *tankIn) (*tankOut, error)                  { return nil, errU }
func (a *API) tankSection(context.Context, *sectionIn) (*svgOut, error)         { return nil, errU }
func (a *API) channels(context.Context, *tankIn) (*channelsOut, error)          { return nil, errU }
func (a *API) series(context.Context, *seriesIn) (*seriesOut, error)            { return nil, errU }
func (a *API) ledger(context.Context, *rangeIn) (*ledgerOut, error)             { return nil, errU }
func (a *API) events(context.Context, *rangeIn) (*eventsOut, error)             { return nil, errU }
func (a *API) findings(context.Context, *rangeIn) (*findingsOut, error)         { return nil, errU }
func (a *API) handReadings(context.Context, *rangeIn) (*handReadingsOut, error) { return nil, errU }
func (a *API) addHandReading(context.Context, *handReadingIn) (*handReadingOut, error) {
	return nil, errU
}
func (a *API) siteFile(context.Context, *tankIn) (*siteFileOut, error)          { return nil, errU }
func (a *API) saveSiteFile(context.Context, *saveFileIn) (*siteFileOut, error)  { return nil, errU }
func (a *API) versions(context.Context, *tankIn) (*versionsOut, error)          { return nil, errU }
func (a *API) version(context.Context, *versionIn) (*siteFileOut, error)        { return nil, errU }
func (a *API) checkDraft(context.Context, *draftIn) (*checkOut, error)          { return nil, errU }
func (a *API) draftSection(context.Context, *draftSectionIn) (*svgOut, error)   { return nil, errU }
func (a *API) devices(context.Context, *none) (*devicesOut, error)              { return nil, errU }
func (a *API) newDevice(context.Context, *newDeviceIn) (*credentialsOut, error) { return nil, errU }
func (a *API) device(context.Context, *deviceIn) (*deviceOut, error)            { return nil, errU }
func (a *API) revokeDevice(context.Context, *deviceIn) (*none, error)           { return nil, errU }
func (a *API) readings(context.Context, *readingsIn) (*takenOut, error)         { return nil, errU }
func (a *API) alarms(context.Context, *none) (*alarmsOut, error)                { return nil, errU }
func (a *API) acknowledge(context.Context, *alarmIn) (*alarmOut, error)         { return nil, errU }
func (a *API) reset(context.Context, *alarmIn) (*alarmOut, error)               { return nil, errU }
func (a *API) shelve(context.Context, *shelveIn) (*alarmOut, error)             { return nil, errU }
func (a *API) unshelve(context.Context, *alarmIn) (*alarmOut, error)            { return nil, errU }
func (a *API) people(context.Context, *none) (*peopleOut, error)                { return nil, errU }
func (a *API) newPerson(context.Context, *newPersonIn) (*personOut, error)      { return nil, errU }
func (a *API) audit(context.Context, *auditIn) (*auditOut, error)               { return nil, errU }
