package api

import "time"

// Device is something that reports readings of one tank.
type Device struct {
	ID        string     `json:"id" example:"k3f9-level"`
	Name      string     `json:"name" example:"Level head under the lobby"`
	TankID    string     `json:"tankId"`
	SiteID    string     `json:"siteId"`
	Created   time.Time  `json:"created"`
	Revoked   *time.Time `json:"revoked,omitempty"`
	LastHeard *time.Time `json:"lastHeard,omitempty"`
	Refusals  []Refusal  `json:"refusals" doc:"newest first, the last few"`
}

// Refusal is something that a device sent and that was not taken, with why.
type Refusal struct {
	At     time.Time `json:"at"`
	Topic  string    `json:"topic"`
	Reason string    `json:"reason"`
	Count  int       `json:"count" doc:"how often the same was refused in a row"`
}

// Credentials are said once, when a device is made.
type Credentials struct {
	Device   Device `json:"device"`
	ClientID string `json:"clientId"`
	User     string `json:"user"`
	Password string `json:"password" doc:"not kept, only its hash is: it is shown this once"`
	Topic    string `json:"topic" doc:"the topic to publish below"`
	// Try is a line for a shell that publishes one reading.
	Try     string `json:"try" doc:"a mosquitto_pub line that publishes one reading"`
	TryHTTP string `json:"tryHttp" doc:"a curl line that does the same over HTTP"`
}

type newDeviceIn struct {
	Body struct {
		TankID string `json:"tankId" maxLength:"64"`
		Name   string `json:"name" minLength:"1" maxLength:"120"`
	}
}

type credentialsOut struct{ Body Credentials }

type devicesOut struct {
	Body struct {
		Devices []Device `json:"devices"`
	}
}

type deviceIn struct {
	Device string `path:"device" maxLength:"128"`
}

type deviceOut struct{ Body Device }

// TakenOut says how many readings are safely in the log.
type TakenOut struct {
	Taken int `json:"taken"`
}

type readingsIn struct {
	Authorization string `header:"Authorization" required:"true" doc:"Basic, with the device's user and password"`
	ContentType   string `header:"Content-Type"`
	RawBody       []byte `contentType:"application/senml+json"`
}

type takenOut struct{ Body TakenOut }
