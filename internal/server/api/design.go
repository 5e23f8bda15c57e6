package api

import "time"

// SiteRef is a place with one or more tanks.
type SiteRef struct {
	ID    string    `json:"id"`
	Name  string    `json:"name"`
	Tanks []TankRef `json:"tanks"`
}

type sitesOut struct {
	Body struct {
		Sites []SiteRef `json:"sites"`
	}
}

type newTankIn struct {
	Body struct {
		SiteID   string `json:"siteId" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9-]*$" patternDescription:"small letters, digits, -"`
		SiteName string `json:"siteName,omitempty" maxLength:"120" doc:"for a site that is new"`
		TankID   string `json:"tankId" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9-]*$" patternDescription:"small letters, digits, -"`
		File     string `json:"file" maxLength:"262144" doc:"the site file"`
	}
}

// SiteFile is one saved version of a tank's description.
type SiteFile struct {
	Version int       `json:"version"`
	At      time.Time `json:"at"`
	By      string    `json:"by"`
	Text    string    `json:"text" doc:"the site file, byte for byte as it was saved"`
}

type siteFileOut struct{ Body SiteFile }

// Version is a saved version without its text.
type Version struct {
	Version int       `json:"version"`
	At      time.Time `json:"at"`
	By      string    `json:"by"`
}

type versionsOut struct {
	Body struct {
		Versions []Version `json:"versions" doc:"newest first"`
	}
}

type versionIn struct {
	tankIn
	Version int `path:"version" minimum:"1"`
}

type saveFileIn struct {
	tankIn
	Body struct {
		Text string `json:"text" maxLength:"262144"`
		Base int    `json:"base" minimum:"0" doc:"the version that was edited; another one saved meanwhile is a conflict"`
	}
}

type draftIn struct {
	Body struct {
		Text string `json:"text" maxLength:"262144"`
	}
}

type draftSectionIn struct {
	Format string `query:"format" enum:"wide,narrow" default:"wide"`
	draftIn
}

// Fault is one line of a check: a fault, what it does and what stops it.
type Fault struct {
	ID         string `json:"id"`
	Sentence   string `json:"sentence"`
	Class      int    `json:"class"`
	Unattended int    `json:"unattended" doc:"the class reached if nobody came"`
	StoppedBy  string `json:"stoppedBy"`
	Season     string `json:"season"`
}

// Change is one thing to do, and what it buys.
type Change struct {
	Words    string   `json:"words"`
	Buys     []string `json:"buys"`
	Optional bool     `json:"optional"`
}

// Setting is one line of the commissioning sheet.
type Setting struct {
	Name   string `json:"name"`
	Value  string `json:"value"`
	Given  bool   `json:"given" doc:"the site file sets it"`
	Reason string `json:"reason"`
}

// Check is the design check's answer, the same as the command line gives.
type Check struct {
	Accepted        bool      `json:"accepted"`
	Because         string    `json:"because"`
	Failing         int       `json:"failing" doc:"single faults at class 3 or worse"`
	Faults          []Fault   `json:"faults" doc:"every single fault, worst first"`
	Changes         []Change  `json:"changes"`
	Settings        []Setting `json:"settings"`
	Problems        []string  `json:"problems" doc:"about the geometry"`
	MarginLitres    float64   `json:"marginLitres" doc:"from the highest level after drain-down to the rim; negative: it spills"`
	DrainDownLitres float64   `json:"drainDownLitres"`
	DumpSafeLitres  float64   `json:"dumpSafeLitres" doc:"the most fresh water that may run in at once"`
	TankYears       float64   `json:"tankYears" doc:"simulated time behind the answer"`
}

type checkOut struct{ Body Check }
