package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"isohaline/internal/bench"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
	"isohaline/internal/tankfile"
	"isohaline/internal/units"
	"isohaline/internal/wire"
)

// Problem is every error's body: problem+json, RFC 9457, with what is wrong
// field by field.
type Problem struct {
	Title  string  `json:"title" example:"Unprocessable Entity"`
	Status int     `json:"status" example:"422"`
	Detail string  `json:"detail" doc:"in a sentence, with the fix"`
	Errors []Wrong `json:"errors" doc:"field by field, if fields are to blame"`
}

// Wrong is one thing that has to be mended.
type Wrong struct {
	Field  string `json:"field" example:"body.value"`
	Value  string `json:"value,omitempty" doc:"what stands there"`
	Reason string `json:"reason" example:"is below 5 PSU"`
	Fix    string `json:"fix,omitempty" example:"give 5 to 42 PSU"`
	Line   int    `json:"line,omitempty" doc:"in a tank file, from 1"`
	Column int    `json:"column,omitempty"`
}

// Error is the complaint on one line: field: value reason; fix.
func (w Wrong) Error() string {
	var b strings.Builder
	if w.Field != "" {
		b.WriteString(w.Field + ": ")
	}
	if w.Value != "" {
		fmt.Fprintf(&b, "%q ", w.Value)
	}
	b.WriteString(w.Reason)
	if w.Fix != "" {
		b.WriteString("; " + w.Fix)
	}
	return b.String()
}

func (p *Problem) Error() string { return p.Detail }

// GetStatus is the HTTP status.
func (p *Problem) GetStatus() int { return p.Status }

// ContentType is that of RFC 9457.
func (p *Problem) ContentType(string) string { return "application/problem+json" }

// The library takes its error type and whether lists may be null from package
// variables; they are set once, before any API is made.
func init() {
	huma.DefaultArrayNullable = false
	huma.NewError = func(status int, detail string, errs ...error) huma.StatusError {
		p := &Problem{Title: http.StatusText(status), Status: status, Detail: detail, Errors: []Wrong{}}
		for _, err := range errs {
			p.Errors = append(p.Errors, wrong(err))
		}
		return p
	}
}

// wrong is one complaint about a request, the library's or ours.
func wrong(err error) Wrong {
	switch e := err.(type) {
	case Wrong:
		return e
	case huma.ErrorDetailer:
		d := e.ErrorDetail()
		return Wrong{Field: d.Location, Value: shown(d.Value), Reason: d.Message}
	}
	return Wrong{Reason: err.Error()}
}

// fault is an error of ours that a client can do something about.
type fault struct {
	status int
	Wrong
}

func refused(status int, field, value, reason, fix string) error {
	return &fault{status, Wrong{Field: field, Value: shown(value), Reason: reason, Fix: fix}}
}

func notFound(what, id string) error {
	return refused(http.StatusNotFound, what, id, "is not there", "check the name")
}

// problem turns any error into what the client is told: the one place where our
// errors become responses. What nobody outside can mend is logged in full and
// told in general.
func (a *API) problem(ctx context.Context, err error) *Problem {
	status, list := explain(err)
	if status == http.StatusInternalServerError {
		a.log.ErrorContext(ctx, "request failed", "error", err)
		list = []Wrong{{Reason: "something went wrong here", Fix: "try again; the program's log says more"}}
	}
	p := &Problem{Title: http.StatusText(status), Status: status, Detail: list[0].Error(), Errors: list}
	if list[0].Field == "" {
		p.Errors = []Wrong{}
	}
	return p
}

// explain finds out whose fault an error is.
func explain(err error) (status int, list []Wrong) {
	var f *fault
	var inSite tankfile.Problems
	var inQuantity *units.Error
	var inReading *wire.Problem
	var inTable unread
	var onBench *bench.Refusal
	switch {
	case errors.As(err, &inTable):
		return http.StatusUnprocessableEntity, inTable.wrong()
	case errors.Is(err, monitor.ErrBusy), errors.Is(err, monitor.ErrArchived):
		return http.StatusConflict, []Wrong{{Reason: err.Error()}}
	case errors.As(err, &f):
		return f.status, []Wrong{f.Wrong}
	case errors.As(err, &inSite):
		return http.StatusUnprocessableEntity, showWrongs(inSite)
	case errors.As(err, &inQuantity):
		return http.StatusUnprocessableEntity, []Wrong{{Field: "value", Value: inQuantity.Value, Reason: inQuantity.Reason, Fix: inQuantity.Fix}}
	case errors.As(err, &onBench):
		return http.StatusUnprocessableEntity, []Wrong{{Field: strings.TrimSuffix("body."+onBench.Field, "."), Value: shown(onBench.Value), Reason: onBench.Reason, Fix: onBench.Fix}}
	case errors.Is(err, store.ErrNotFound):
		return http.StatusNotFound, []Wrong{{Reason: err.Error(), Fix: "check the name"}}
	case errors.Is(err, store.ErrExists):
		return http.StatusConflict, []Wrong{{Reason: err.Error(), Fix: "choose another name"}}
	case errors.Is(err, store.ErrStale):
		return http.StatusConflict, []Wrong{{Reason: err.Error(), Fix: "look at the newest one first"}}
	case errors.Is(err, store.ErrLastOperator):
		return http.StatusConflict, []Wrong{{Field: "person", Reason: "is the last operator", Fix: "make somebody else one first"}}
	case errors.As(err, &inReading):
		w := Wrong{Field: inReading.Field, Value: shown(inReading.Value), Reason: inReading.Why, Fix: inReading.Fix}
		if inReading.Where != "" {
			w.Field = inReading.Where + ": " + w.Field
		}
		return statusOf(inReading.Reason), []Wrong{w}
	}
	return http.StatusInternalServerError, nil
}

// showWrongs is what is to be mended in a tank file, or looked at.
func showWrongs(all []tankfile.Problem) []Wrong {
	list := []Wrong{}
	for _, p := range all {
		list = append(list, Wrong{Field: p.Field, Value: shown(p.Value), Reason: p.Reason, Fix: p.Fix, Line: p.Line, Column: p.Column})
	}
	return list
}

func statusOf(r wire.Reason) int {
	switch r {
	case wire.BadCredentials:
		return http.StatusUnauthorized
	case wire.NotYours:
		return http.StatusForbidden
	case wire.TooLarge:
		return http.StatusRequestEntityTooLarge
	case wire.LogUnavailable:
		return http.StatusServiceUnavailable
	}
	return http.StatusUnprocessableEntity
}

func asErrors(list []Wrong) []error {
	out := make([]error, len(list))
	for i, w := range list {
		out[i] = w
	}
	return out
}

// maxShownLen cuts a value that a problem quotes.
const maxShownLen = 40

func shown(value any) string {
	if value == nil {
		return ""
	}
	text := []rune(fmt.Sprint(value))
	if len(text) > maxShownLen {
		return string(text[:maxShownLen]) + "…"
	}
	return string(text)
}
