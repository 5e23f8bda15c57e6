package api

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"isohaline/internal/wire"
)

// How large bodies may be, and how long one may take to come.
const (
	maxBody = 1 << 20
	// MaxTable is how large a table of readings may be, and tableSlack what a
	// form puts around it.
	MaxTable   = 10_000_000
	tableSlack = 256 << 10
	bodyWithin = 30 * time.Second
	// tableWithin is enough for a table from a phone in a cellar.
	tableWithin = 5 * time.Minute
	// drained is how much of a body that is too large is still read and thrown
	// away: a client that is not done sending would not see the answer.
	drained = 32 << 20
)

// large is for what devices send: as large as a message may be.
func large(op huma.Operation) huma.Operation {
	op.MaxBodyBytes = wire.MaxMessage
	return op
}

func table(op huma.Operation) huma.Operation {
	op.MaxBodyBytes = MaxTable + tableSlack
	return op
}

type tooLargeKey struct{}

// bounded reads the body of a request before anything else looks at it, and
// refuses one above its route's limit as what it is. A device's is let through
// with a mark, to be refused in the device's own name.
func (a *API) bounded(op huma.Operation, who access) huma.Operation {
	if op.Method == http.MethodGet {
		return op
	}
	limit, within := op.MaxBodyBytes, bodyWithin
	if limit == 0 {
		limit = maxBody
	}
	if limit > MaxTable {
		within = tableWithin
	}
	const none = -1 // the library's own limits, which answer otherwise
	op.MaxBodyBytes, op.BodyReadTimeout = none, none
	op.Middlewares = append(op.Middlewares, func(ctx huma.Context, next func(huma.Context)) {
		r, w := humago.Unwrap(ctx)
		// A connection that cannot have a deadline is none to the network.
		_ = http.NewResponseController(w).SetReadDeadline(time.Now().Add(within))
		body, err := io.ReadAll(io.LimitReader(r.Body, limit+1))
		if err != nil {
			a.refuse(ctx, refused(http.StatusBadRequest, "", "", "the body of the request broke off", "send it again"))
			return
		}
		if int64(len(body)) > limit {
			_, _ = io.CopyN(io.Discard, r.Body, drained)
			if who != byDevice {
				a.refuse(ctx, tooLarge(limit))
				return
			}
			ctx = huma.WithValue(ctx, tooLargeKey{}, true)
		}
		r.Body = io.NopCloser(bytes.NewReader(body))
		next(ctx)
	})
	return op
}

// isTooLarge says whether a device's body was above the limit.
func isTooLarge(ctx context.Context) bool { return ctx.Value(tooLargeKey{}) != nil }

func tooLarge(limit int64) error {
	if limit > MaxTable {
		return refused(http.StatusRequestEntityTooLarge, "file", "", "is more than the 10 MB that a table may have", "split it into several")
	}
	return refused(http.StatusRequestEntityTooLarge, "body", "", "is more than the 1 MiB that a request may have", "send less at once")
}
