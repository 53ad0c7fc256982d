package credential

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// secretBytes bounds a secret; tokens of large hosts reach some kilobytes.
const secretBytes = 64 << 10

// secret is a word that must not be printed. The fmt and slog packages get a mask.
type secret string

func (secret) String() string               { return "***" }
func (secret) GoString() string             { return "***" }
func (secret) MarshalText() ([]byte, error) { return []byte("***"), nil }

// folder turns the name of a secret file into a path.
type folder struct {
	credentials string // systemd's $CREDENTIALS_DIRECTORY, or empty
	dir         string
}

// path puts a bare name into the service manager's folder when there is one.
func (f folder) path(name string) string {
	if filepath.IsAbs(name) {
		return name
	}
	if f.credentials != "" && filepath.Base(name) == name {
		return filepath.Join(f.credentials, name)
	}
	return filepath.Join(f.dir, name)
}

// read returns the one line that the file holds.
func (f folder) read(name string) (secret, error) {
	path := f.path(name)
	file, err := os.Open(path)
	if err != nil {
		return "", unreadable(path, err)
	}
	defer file.Close()
	raw, err := io.ReadAll(io.LimitReader(file, secretBytes+1))
	if err != nil {
		return "", unreadable(path, err)
	}
	return oneLine(string(raw), "the file "+path)
}

func unreadable(path string, err error) *Error {
	e := &Error{Text: fmt.Sprintf("the secret file %s cannot be read", path), Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Mend = "make it, with the secret on one line, or mend its name in the configuration"
	case errors.Is(err, fs.ErrPermission):
		e.Mend = "let the service's own user read it, and nobody else"
	default:
		e.Mend = "check the disk it lies on"
		e.Temporary = true
	}
	return e
}

// oneLine takes off the line end that editors add. A second line is refused:
// it is more often a wrong file than part of a secret.
func oneLine(raw, where string) (secret, error) {
	s := strings.TrimRight(strings.TrimPrefix(raw, "\ufeff"), "\r\n")
	switch {
	case len(raw) > secretBytes:
		return "", wrong(where+" is too large to hold a secret", "check that it is the right file")
	case strings.TrimSpace(s) == "":
		return "", wrong(where+" is empty", "put the secret into it, on one line")
	case strings.ContainsAny(s, "\x00\x01\r\n"):
		return "", wrong(where+" holds more than one line", "leave only the secret in it")
	}
	return secret(s), nil
}

// Read returns the one line of a secret file that is no mail server's: from the
// folder that the service manager hands over, or below dir.
func Read(name, dir string, getenv func(string) string) (string, error) {
	s, err := folder{credentials: getenv("CREDENTIALS_DIRECTORY"), dir: dir}.read(name)
	return string(s), err
}

// Warnings says which secret files others may read, one sentence each, for
// the start of the service and for its doctor. Files that the service manager
// hands over are its own business.
func Warnings(c Config, getenv func(string) string) []string {
	f := folder{credentials: getenv("CREDENTIALS_DIRECTORY"), dir: c.Dir}
	var ours []string
	for _, name := range []string{c.File, c.ClientSecretFile, c.RefreshTokenFile} {
		if name == "" {
			continue
		}
		if path := f.path(name); f.credentials == "" || filepath.Dir(path) != filepath.Clean(f.credentials) {
			ours = append(ours, path)
		}
	}
	return FileWarnings(ours...)
}

// FileWarnings is Warnings for secret files by their paths; "" is none.
func FileWarnings(paths ...string) []string {
	var out []string
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o077 != 0 {
			out = append(out, fmt.Sprintf("the secret file %s may be read by others (mode %04o); chmod 600 it", path, info.Mode().Perm()))
		}
	}
	return out
}

// replaceFile puts a new secret in the place of an old one so that after a
// power cut there is either the one or the other.
func replaceFile(path string, s secret) error {
	dir := filepath.Dir(path)
	tmp, err := os.CreateTemp(dir, ".secret-*") // made with mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // a no-op once renamed
	_, err = tmp.WriteString(string(s) + "\n")
	if err == nil {
		err = tmp.Sync()
	}
	if cerr := tmp.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	return syncDir(dir)
}

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
