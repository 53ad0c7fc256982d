package credential

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"meshclerk/intake/job"
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
	return oneLine(string(raw), job.Say("servers.secret.in-file", job.Args{"file": path}))
}

func unreadable(path string, err error) *Error {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &Error{Fault: job.Fault{Message: job.Say("servers.secret.missing", job.Args{"file": path}), Err: err}}
	case errors.Is(err, fs.ErrPermission):
		return &Error{Fault: job.Fault{Message: job.Say("servers.secret.forbidden", job.Args{"file": path}), Err: err}}
	}
	return passing(job.Say("servers.secret.unread", job.Args{"file": path}), err)
}

// oneLine takes off the line end that editors add. A second line is refused:
// it is more often a wrong file than part of a secret.
func oneLine(raw string, where job.Message) (secret, error) {
	s := strings.TrimRight(strings.TrimPrefix(raw, "\ufeff"), "\r\n")
	switch {
	case len(raw) > secretBytes:
		return "", wrong(job.Say("servers.secret.too-large", job.Args{"where": where}))
	case strings.TrimSpace(s) == "":
		return "", wrong(job.Say("servers.secret.empty", job.Args{"where": where}))
	case strings.ContainsAny(s, "\x00\x01\r\n"):
		return "", wrong(job.Say("servers.secret.lines", job.Args{"where": where}))
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
func Warnings(c Config, getenv func(string) string) []job.Message {
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
func FileWarnings(paths ...string) []job.Message {
	var out []job.Message
	for _, path := range paths {
		if info, err := os.Stat(path); err == nil && info.Mode().Perm()&0o077 != 0 {
			out = append(out, job.Say("servers.secret.open", job.Args{"file": path, "mode": fmt.Sprintf("%04o", info.Mode().Perm())}))
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
