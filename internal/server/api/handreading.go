package api

import "time"

// HandReading is what a person measured.
type HandReading struct {
	At         time.Time `json:"at"`
	Kind       string    `json:"kind" enum:"salinity,temperature,alkalinity"`
	Value      float64   `json:"value"`
	Unit       string    `json:"unit" enum:"PSU,°C,dKH"`
	Instrument string    `json:"instrument" example:"refractometer"`
	By         string    `json:"by"`
}

type handReadingIn struct {
	tankIn
	Body struct {
		Kind       string     `json:"kind" enum:"salinity,temperature,alkalinity"`
		Value      string     `json:"value" minLength:"1" maxLength:"64" example:"1.0255 SG" doc:"a number with its unit, as a site file writes it; a bare number is in PSU, °C or dKH"`
		Instrument string     `json:"instrument" enum:"refractometer,conductivity meter,hydrometer,thermometer,titration,colorimeter,other"`
		At         *time.Time `json:"at,omitempty" doc:"now if absent"`
	}
}

type handReadingOut struct{ Body HandReading }

type handReadingsOut struct {
	Body struct {
		Readings []HandReading `json:"readings" doc:"newest first"`
	}
}
