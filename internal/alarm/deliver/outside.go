package deliver

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"
)

// errInside: an address is not out in the world.
var errInside = errors.New("is this machine or its own network; allow that for it, or use a public address")

// special are the blocks of addresses that are nobody's out in the world, from
// IANA's special-purpose address registries (RFC 6890 and its updates), beyond
// those that package netip knows. Those that carry an IPv4 address within stand
// here as a whole.
var special = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),       // this network, RFC 791
	netip.MustParsePrefix("100.64.0.0/10"),   // shared by a provider's customers, RFC 6598
	netip.MustParsePrefix("192.0.0.0/24"),    // protocol assignments, RFC 6890
	netip.MustParsePrefix("192.0.2.0/24"),    // documentation, RFC 5737
	netip.MustParsePrefix("198.18.0.0/15"),   // benchmarks, RFC 2544
	netip.MustParsePrefix("198.51.100.0/24"), // documentation, RFC 5737
	netip.MustParsePrefix("203.0.113.0/24"),  // documentation, RFC 5737
	netip.MustParsePrefix("240.0.0.0/4"),     // reserved, RFC 1112
	netip.MustParsePrefix("::/96"),           // IPv4-compatible, RFC 4291
	netip.MustParsePrefix("64:ff9b::/96"),    // translated to IPv4, RFC 6052
	netip.MustParsePrefix("64:ff9b:1::/48"),  // the same locally, RFC 8215
	netip.MustParsePrefix("100::/64"),        // discarded, RFC 6666
	netip.MustParsePrefix("2001::/23"),       // protocol assignments, RFC 2928
	netip.MustParsePrefix("2001:db8::/32"),   // documentation, RFC 3849
	netip.MustParsePrefix("2002::/16"),       // IPv4 within, RFC 3056
}

// public says whether an address is out in the world.
func public(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, block := range special {
		if block.Contains(a) {
			return false
		}
	}
	return true
}

// plainlyInside says whether a host as it is written is not out in the world. A
// name that leads inside is found when it is called.
func plainlyInside(host string) bool {
	a, err := netip.ParseAddr(host)
	return loopback(host) || err == nil && !public(a)
}

// toOutside is a transport that reaches public addresses alone. What counts is
// the address that is called in the end, whatever a name said before. Where the
// machine's owner has set a proxy up (HTTPS_PROXY), that decides instead: names
// are resolved there.
func toOutside(request *http.Request) (http.RoundTripper, error) {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.DisableKeepAlives = true // it is for one message
	proxy, err := http.ProxyFromEnvironment(request)
	if err != nil {
		return nil, fmt.Errorf("reading the environment's proxy: %w", err)
	}
	if proxy != nil {
		return transport, nil
	}
	dialer := &net.Dialer{Timeout: 10 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		to, err := netip.ParseAddrPort(address)
		if err != nil || !public(to.Addr()) {
			return errInside
		}
		return nil
	}}
	transport.DialContext = func(ctx context.Context, network, address string) (net.Conn, error) {
		return dialer.DialContext(ctx, network, address)
	}
	return transport, nil
}
