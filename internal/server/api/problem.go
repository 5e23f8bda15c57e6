package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"isohaline/internal/problem"
	"isohaline/internal/server/monitor"
	"isohaline/internal/store"
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

// Error is the complaint on one line; the place in a file stands beside it.
func (w Wrong) Error() string {
	return problem.Problem{Field: w.Field, Value: w.Value, Why: w.Reason, Fix: w.Fix}.Error()
}

// showWrong is a complaint as the client is told it. A record of a pack has no
// number of its own there, so it is named with the field.
func showWrong(p *problem.Problem) Wrong {
	w := Wrong{Field: p.Field, Value: problem.Shown(p.Value), Reason: p.Why, Fix: p.Fix, Line: cmp.Or(p.Line, p.Row), Column: p.Column}
	if p.Record > 0 {
		w.Field = fmt.Sprintf("record %d: %s", p.Record, p.Field)
	}
	return w
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
		return &Problem{Title: http.StatusText(status), Status: status, Detail: detail, Errors: listed(errs, func(err *error) Wrong { return wrong(*err) })}
	}
}

// wrong is one complaint about a request, the library's or ours.
func wrong(err error) Wrong {
	switch e := err.(type) {
	case Wrong:
		return e
	case huma.ErrorDetailer:
		d := e.ErrorDetail()
		w := Wrong{Field: d.Location, Reason: d.Message}
		if d.Value != nil {
			w.Value = problem.Shown(fmt.Sprint(d.Value))
		}
		return w
	}
	return Wrong{Reason: err.Error()}
}

// fault is an error of ours that a client can do something about.
type fault struct {
	status int
	problem.Problem
}

func refused(status int, field, value, why, fix string) error {
	return &fault{status, problem.Problem{Field: field, Value: value, Why: why, Fix: fix}}
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
	var inReading *wire.Problem
	var all problem.List
	var one *problem.Problem
	switch {
	case errors.Is(err, monitor.ErrBusy), errors.Is(err, monitor.ErrArchived):
		return http.StatusConflict, []Wrong{{Reason: err.Error()}}
	case errors.As(err, &f):
		return f.status, []Wrong{showWrong(&f.Problem)}
	case errors.Is(err, store.ErrNotFound):
		return http.StatusNotFound, []Wrong{{Reason: err.Error(), Fix: "check the name"}}
	case errors.Is(err, store.ErrExists):
		return http.StatusConflict, []Wrong{{Reason: err.Error(), Fix: "choose another name"}}
	case errors.Is(err, store.ErrStale):
		return http.StatusConflict, []Wrong{{Reason: err.Error(), Fix: "look at the newest one first"}}
	case errors.Is(err, store.ErrLastOperator):
		return http.StatusConflict, []Wrong{{Field: "person", Reason: "is the last operator", Fix: "make somebody else one first"}}
	case errors.As(err, &inReading):
		return statusOf(inReading.Reason), []Wrong{showWrong(&inReading.Problem)}
	case errors.As(err, &all):
		return http.StatusUnprocessableEntity, listed(all, showWrong)
	case errors.As(err, &one):
		return http.StatusUnprocessableEntity, []Wrong{showWrong(one)}
	}
	return http.StatusInternalServerError, nil
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
