package mailtest

import (
	"fmt"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
)

// Login leaves the sending server only the LOGIN mechanism.
func Login() SMTPOption {
	return func(_ *smtp.Server, k *Sink) {
		k.mechs = map[string]func(*session) sasl.Server{sasl.Login: func(s *session) sasl.Server { return &loginServer{session: s} }}
	}
}

// loginServer asks for the name, then for the password.
type loginServer struct {
	session *session
	user    string
	step    int
}

func (l *loginServer) Next(response []byte) ([]byte, bool, error) {
	l.step++
	switch l.step {
	case 1:
		return []byte("User Name\x00"), false, nil
	case 2:
		l.user = string(response)
		return []byte("Password\x00"), false, nil
	}
	return nil, true, l.session.check(l.user, string(response))
}

// Tokens leaves the sending server only OAUTHBEARER or XOAUTH2, and one token
// that it takes.
func Tokens(mechanism string, good func() string) SMTPOption {
	return func(_ *smtp.Server, k *Sink) {
		k.mechs = map[string]func(*session) sasl.Server{mechanism: func(s *session) sasl.Server {
			if mechanism == sasl.OAuthBearer {
				return sasl.NewOAuthBearerServer(func(o sasl.OAuthBearerOptions) *sasl.OAuthBearerError {
					if o.Token != good() || o.Username != k.User {
						return &sasl.OAuthBearerError{Status: "invalid_token", Schemes: "bearer"}
					}
					s.now.User = o.Username
					return nil
				})
			}
			return &xoauth2Server{session: s, good: good}
		}}
	}
}

// xoauth2Server tells its reason for a refusal as a challenge, and fails when
// that is answered.
type xoauth2Server struct {
	session *session
	good    func() string
	refused bool
}

func (x *xoauth2Server) Next(response []byte) ([]byte, bool, error) {
	if x.refused {
		return nil, true, smtp.ErrAuthFailed
	}
	want := fmt.Sprintf("user=%s\x01auth=Bearer %s\x01\x01", x.session.sink.User, x.good())
	if string(response) != want {
		x.refused = true
		return []byte(`{"status":"401","schemes":"bearer"}`), false, nil
	}
	x.session.now.User = x.session.sink.User
	return nil, true, nil
}
