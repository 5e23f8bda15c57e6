package deliver

// Public is what decides whether a webhook may be called at an address.
var Public = public
