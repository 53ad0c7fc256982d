package mailtest

import (
	"fmt"
	"path/filepath"
	"strings"
)

// config is the least that Dovecot 2.3 starts with as an ordinary user.
func (s *Server) config() string {
	user, group := runsAs()
	var b strings.Builder
	fmt.Fprintf(&b, `base_dir = %[1]s/run
state_dir = %[1]s/run
log_path = /dev/stderr
protocols = imap
listen = 127.0.0.1
login_greeting = %[9]s is ready
default_internal_user = %[2]s
default_internal_group = %[3]s
default_login_user = %[2]s
mail_uid = %[2]s
mail_gid = %[3]s
first_valid_uid = 0
first_valid_gid = 0
ssl = yes
ssl_cert = <%[1]s/cert.pem
ssl_key = <%[1]s/key.pem
disable_plaintext_auth = no
mail_location = maildir:~/Maildir:LAYOUT=fs
mail_fsync = never
mailbox_list_index = no
auth_failure_delay = 0
mail_max_userip_connections = %[8]d
userdb {
  driver = static
  args = home=%[1]s/home/%%u
}
service imap-login {
  chroot =
  client_limit = 200
  process_min_avail = 0
  # one process for all sign-ins, and below one for many sessions in turn: a process
  # for each costs more than what most tests say to it
  service_count = 0
  inet_listener imap {
    port = %[4]d
  }
  inet_listener imaps {
    port = %[5]d
    ssl = yes
  }
}
service imap {
  service_count = 1000
  process_limit = 200
}
service anvil {
  chroot =
  # no waiting after a wrong password
  unix_listener anvil-auth-penalty {
    mode = 0
  }
}
service stats {
  chroot =
}
namespace inbox {
  inbox = yes
  separator = %[6]s
  prefix = %[7]s
  mailbox "Outgoing archive" {
    auto = create
    special_use = \Sent
  }
}
`, s.dir, user, group, s.Port, s.TLSPort, s.options.separator, s.options.prefix, s.options.connections, filepath.Base(s.dir))
	b.WriteString(s.signIn())
	if len(s.options.hidden) > 0 {
		fmt.Fprintf(&b, "imap_capability = %s\n", s.lessCapabilities())
	}
	if s.options.acl {
		fmt.Fprintf(&b, "mail_plugins = acl\nprotocol imap {\n mail_plugins = acl imap_acl\n}\nplugin {\n acl = vfile:%s\n}\n", filepath.Join(s.dir, "acl"))
	}
	return b.String()
}

func (s *Server) signIn() string {
	if s.options.introspect == "" {
		return fmt.Sprintf("auth_mechanisms = plain login\npassdb {\n driver = static\n args = password=%s\n}\n", s.Password)
	}
	oauth := s.write("oauth.conf", fmt.Sprintf(
		"introspection_mode = post\nintrospection_url = %s\nusername_attribute = username\nactive_attribute = active\nactive_value = true\n", s.options.introspect))
	return fmt.Sprintf("auth_mechanisms = xoauth2 oauthbearer\npassdb {\n driver = oauth2\n mechanisms = xoauth2 oauthbearer\n args = %s\n}\n", oauth)
}

// imapCapabilities is what Dovecot 2.3 says after signing in; a whole list
// replaces it, and that is how some of it is hidden.
const imapCapabilities = "IMAP4rev1 SASL-IR LOGIN-REFERRALS ID ENABLE IDLE UNSELECT CHILDREN NAMESPACE UIDPLUS LIST-EXTENDED ESEARCH SEARCHRES LIST-STATUS MOVE SPECIAL-USE LITERAL+"

func (s *Server) lessCapabilities() string {
	var left []string
	for word := range strings.FieldsSeq(imapCapabilities) {
		keep := true
		for _, h := range s.options.hidden {
			keep = keep && word != h
		}
		if keep {
			left = append(left, word)
		}
	}
	return strings.Join(left, " ")
}
