package ledger

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"
)

//go:embed migrations/*.sql
var migrations embed.FS

// migration is one numbered step of the schema, e.g. 0001_ledger.sql.
type migration struct {
	number int
	name   string
	sql    string
}

func loadMigrations(files fs.FS) ([]migration, error) {
	names, err := fs.Glob(files, "migrations/*.sql") // sorted by name
	if err != nil {
		return nil, err
	}
	var out []migration
	for i, name := range names {
		digits, _, _ := strings.Cut(path.Base(name), "_")
		n, err := strconv.Atoi(digits)
		if err != nil || n != i+1 {
			return nil, fmt.Errorf("migration %s should have number %04d", name, i+1)
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return nil, err
		}
		out = append(out, migration{n, path.Base(name), string(text)})
	}
	return out, nil
}

// migrate brings the schema up to date, all in one transaction.
func (l *Ledger) migrate(ctx context.Context) error {
	all, err := loadMigrations(migrations)
	if err != nil {
		return err
	}
	tx, err := l.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	_, err = tx.ExecContext(ctx, `CREATE TABLE IF NOT EXISTS migrations (number BIGINT PRIMARY KEY, name TEXT NOT NULL, at TEXT NOT NULL)`)
	if err != nil {
		return err
	}
	var have int
	if err := tx.QueryRowContext(ctx, `SELECT COALESCE(MAX(number), 0) FROM migrations`).Scan(&have); err != nil {
		return err
	}
	if have > len(all) {
		return newer(l.dir, have, len(all))
	}
	for _, m := range all[have:] {
		if _, err := tx.ExecContext(ctx, m.sql); err != nil {
			return fmt.Errorf("the ledger cannot be brought up to date (%s): %w", m.name, err)
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO migrations (number, name, at) VALUES (?, ?, ?)`, m.number, m.name, stamp(l.clock())); err != nil {
			return err
		}
		l.log.InfoContext(ctx, "ledger brought up to date", "schema", m.name)
	}
	return tx.Commit()
}

func newer(dir string, have, know int) error {
	return fmt.Errorf("the ledger in %s was written by a newer version of this program (schema %d, this one knows %d); use the newer program, or restore a backup made before the upgrade", dir, have, know)
}

// sameSchema refuses to look at a copy that another version wrote.
func (l *Ledger) sameSchema(ctx context.Context) error {
	all, err := loadMigrations(migrations)
	if err != nil {
		return err
	}
	var have int
	if err := l.read.QueryRowContext(ctx, `SELECT COALESCE(MAX(number), 0) FROM migrations`).Scan(&have); err != nil {
		return err
	}
	if have > len(all) {
		return newer(l.dir, have, len(all))
	}
	if have < len(all) {
		return fmt.Errorf("the copy in %s was written by an older version of this program (schema %d, this one has %d); use that version to look at it", l.dir, have, len(all))
	}
	return nil
}
