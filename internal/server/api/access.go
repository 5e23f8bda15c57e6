package api

// access is who may use a route.
type access uint8

const (
	// open routes need nobody to be signed in.
	open access = iota
	// byDevice routes are for devices, which name themselves with each request.
	byDevice
	// viewers are all who are signed in; a client only for own sites.
	viewers
	// staff are technicians and operators.
	staff
	// operators alone.
	operators
)
