package credential

import (
	"fmt"

	"github.com/emersion/go-sasl"
)

// login is the LOGIN mechanism, never standardised but still the only one of
// some servers: a prompt for the name, a prompt for the password. The prompts'
// words differ between servers, so only their order counts.
type login struct {
	user     string
	password secret
	asked    int
}

func (l *login) Start() (string, []byte, error) { return sasl.Login, nil, nil }

func (l *login) Next([]byte) ([]byte, error) {
	l.asked++
	switch l.asked {
	case 1:
		return []byte(l.user), nil
	case 2:
		return []byte(l.password), nil
	}
	return nil, sasl.ErrUnexpectedServerChallenge
}

// xoauth2Name is the mechanism that large hosts had before RFC 7628 and still
// offer beside it, or instead of it.
const xoauth2Name = "XOAUTH2"

// xoauth2 is that mechanism: user and bearer token in one initial response.
// A server that refuses sends its reason as a challenge and waits for an
// empty answer before it fails the exchange.
type xoauth2 struct {
	user  string
	token secret
}

func (x *xoauth2) Start() (string, []byte, error) {
	return xoauth2Name, []byte(fmt.Sprintf("user=%s\x01auth=Bearer %s\x01\x01", x.user, string(x.token))), nil
}

func (x *xoauth2) Next([]byte) ([]byte, error) { return []byte{}, nil }

// bearer is OAUTHBEARER (RFC 7628). 3.2.3: after an error challenge the client
// answers with a single %x01 and the server then fails the exchange, which
// leaves the connection in order.
type bearer struct{ sasl.Client }

func (bearer) Next([]byte) ([]byte, error) { return []byte{1}, nil }
