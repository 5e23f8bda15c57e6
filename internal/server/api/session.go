package api

// Person is who is signed in.
type Person struct {
	Name    string   `json:"name" example:"ada"`
	Role    string   `json:"role" enum:"operator,technician,client"`
	Units   string   `json:"units" enum:"metric,us"`
	SiteIDs []string `json:"siteIds" doc:"the sites a client may see; empty for the other roles, who see all"`
}

type personOut struct{ Body Person }

type signInIn struct {
	Body struct {
		Name     string `json:"name" minLength:"1" maxLength:"64"`
		Password string `json:"password" minLength:"1" maxLength:"256"`
	}
}

type unitsIn struct {
	Body struct {
		Units string `json:"units" enum:"metric,us"`
	}
}

// FirstRun says whether the first account has still to be made.
type FirstRun struct {
	Needed bool `json:"needed"`
}

type firstRunOut struct{ Body FirstRun }

type setUpIn struct {
	Body struct {
		Token    string `json:"token" doc:"the one-time token that the program printed when it started" maxLength:"128"`
		Name     string `json:"name" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9._-]*$" patternDescription:"small letters, digits, . _ -"`
		Password string `json:"password" minLength:"12" maxLength:"256"`
	}
}

type newPersonIn struct {
	Body struct {
		Name     string   `json:"name" minLength:"1" maxLength:"64" pattern:"^[a-z0-9][a-z0-9._-]*$" patternDescription:"small letters, digits, . _ -"`
		Password string   `json:"password" minLength:"12" maxLength:"256"`
		Role     string   `json:"role" enum:"operator,technician,client"`
		SiteIDs  []string `json:"siteIds,omitempty" doc:"for a client: the sites to see"`
	}
}

type peopleOut struct {
	Body struct {
		People []Person `json:"people"`
	}
}
