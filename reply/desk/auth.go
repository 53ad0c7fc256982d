package desk

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"

	"github.com/alexedwards/argon2id"
	"github.com/pelletier/go-toml/v2"
)

// Role says what a person may do.
type Role string

// The roles. Whatever staff may do, an admin may do.
const (
	RoleStaff Role = "staff" // read, edit, approve
	RoleAdmin Role = "admin" // also change reply texts
)

// Auth says how people are known. Exactly one of its ways is used.
type Auth struct {
	Accounts []Account // people sign in with a password
	Named    *Named    // a proxy in front has signed them in and names them
	Demo     string    // everybody is this person; for the demo only
}

// Account is one person who may sign in.
type Account struct {
	SignIn   string `toml:"sign_in"`  // what is typed
	Name     string `toml:"name"`     // what approvals are recorded under
	Role     Role   `toml:"role"`     // "staff" or "admin"
	Password string `toml:"password"` // argon2id hash in PHC form (RFC 9106), as HashPassword gives it
}

// Named is where a proxy in front, which Config.Proxy says how to know, names a
// person it has signed in.
type Named struct {
	Header string   // e.g. "X-Remote-Name"
	Admins []string // names, as the header gives them, of those who are admins
}

func (a *Auth) check() error {
	ways := 0
	for _, on := range []bool{len(a.Accounts) > 0, a.Named != nil, a.Demo != ""} {
		if on {
			ways++
		}
	}
	switch {
	case ways == 0:
		return errors.New("nobody could sign in to the staff page; make an accounts file, or say that a proxy signs people in")
	case ways > 1:
		return errors.New("the staff page can know people by accounts or by a proxy, not both; choose one")
	case a.Named != nil && a.Named.Header == "":
		return errors.New("the proxy's header has no name; say which header holds the person's name")
	case a.Named != nil:
		return nil
	}
	return checkAccounts(a.Accounts)
}

// name is who the proxy says is there; "" when it was not the proxy that asked.
func (n *Named) name(r *http.Request) string {
	values := r.Header.Values(n.Header)
	if !visitorOf(r).proxied || len(values) != 1 { // two values: one of them is not the proxy's
		return ""
	}
	return oneLine(values[0], 80)
}

func (n *Named) role(name string) Role {
	for _, a := range n.Admins {
		if strings.EqualFold(a, name) {
			return RoleAdmin
		}
	}
	return RoleStaff
}

// accountsFile is how accounts lie on disk.
type accountsFile struct {
	Account []Account `toml:"account"`
}

// LoadAccounts reads an accounts file: TOML, one [[account]] with sign_in, name,
// role and password (a hash) for each person.
func LoadAccounts(path string) ([]Account, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the accounts file cannot be read: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("the accounts file cannot be read: %w", err)
	}
	if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("the accounts file %s can be read by others on this machine; close it with: chmod 600 %s", path, path)
	}
	var file accountsFile
	if err := toml.NewDecoder(f).DisallowUnknownFields().Decode(&file); err != nil {
		return nil, fmt.Errorf("the accounts file %s is not understood: %w", path, err)
	}
	if len(file.Account) == 0 {
		return nil, fmt.Errorf("the accounts file %s names nobody; add a person", path)
	}
	return file.Account, checkAccounts(file.Account)
}

func checkAccounts(list []Account) error {
	seen := map[string]bool{}
	for _, a := range list {
		key := strings.ToLower(a.SignIn)
		switch {
		case a.SignIn == "" || strings.TrimSpace(a.Name) == "":
			return fmt.Errorf("an account lacks sign_in or name (it says %q, %q)", a.SignIn, a.Name)
		case a.Role != RoleStaff && a.Role != RoleAdmin:
			return fmt.Errorf("the account %s has the role %q; there are \"staff\" and \"admin\"", a.SignIn, a.Role)
		case seen[key]:
			return fmt.Errorf("there are two accounts %s; each person signs in under a name of their own", a.SignIn)
		}
		if _, _, _, err := argon2id.DecodeHash(a.Password); err != nil {
			return fmt.Errorf("the password of the account %s is not a hash; make one with the accounts command", a.SignIn)
		}
		seen[key] = true
	}
	return nil
}

// minPassword is the least length NIST SP 800-63B-4, 3.1.1.2 allows where a
// password is the only factor (15 characters); it asks for no other rules.
const minPassword = 15

// HashPassword makes the hash that an account holds.
func HashPassword(password string) (string, error) {
	if n := len([]rune(password)); n < minPassword {
		return "", fmt.Errorf("a password needs at least %d characters (this has %d); four or five words make a good one", minPassword, n)
	}
	return argon2id.CreateHash(password, argonParams)
}

// argonParams is the second choice of RFC 9106, 4: 64 MiB, three passes, four lanes.
var argonParams = &argon2id.Params{Memory: 64 * 1024, Iterations: 3, Parallelism: 4, SaltLength: 16, KeyLength: 32}
