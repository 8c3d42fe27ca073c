package web

import (
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// thisMachine are the addresses of the machine the server runs on.
var thisMachine = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}

// elsewhere is the address of a request that came through a proxy nobody named:
// it is not this machine's, whatever the connection is.
const elsewhere = "forwarded"

// address is where a request comes from, for limits and for who may read
// metrics. Behind a proxy that was named at the start it is the last address of
// X-Forwarded-For that is not a proxy's; what stands before it, a client may
// have made up.
func (x *exchange) address() string { return clientAddress(x.r, x.s.Proxies) }

func clientAddress(r *http.Request, proxies []netip.Prefix) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	forwarded := strings.Join(r.Header.Values("X-Forwarded-For"), ",")
	if !within(proxies, host) {
		if within(thisMachine, host) && (forwarded != "" || r.Header.Get("Forwarded") != "") {
			return elsewhere
		}
		return host
	}
	for _, part := range slices.Backward(strings.Split(forwarded, ",")) {
		a, err := netip.ParseAddr(strings.TrimSpace(part))
		if err != nil {
			break
		}
		if host = a.Unmap().String(); !within(proxies, host) {
			break
		}
	}
	return host
}

func within(list []netip.Prefix, address string) bool {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return false
	}
	return slices.ContainsFunc(list, func(p netip.Prefix) bool { return p.Contains(a.Unmap()) })
}

// network is the part of an address one customer has to himself: of IPv6 the
// first 64 bits.
func network(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil || a.Is4() {
		return address
	}
	p, err := a.Prefix(64)
	if err != nil {
		return address
	}
	return p.String()
}
