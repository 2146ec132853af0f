package notebook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// verify reads a whole index for damage: its pages, and the checksum of each row.
func verify(ctx context.Context, db *sql.DB) error {
	q := ctxQuerier{ctx, db}
	var pages int64
	if err := db.QueryRowContext(ctx, `PRAGMA page_count`).Scan(&pages); err != nil {
		return err
	}
	checks := []string{`PRAGMA integrity_check(3)`}
	if pages > 4096 { // the lines' own indexes are as great as they are, and the journal has the lines too
		checks = []string{`PRAGMA quick_check(3)`, `PRAGMA integrity_check(sheet)`}
	}
	for _, c := range checks {
		found, err := strs(q, c)
		if err != nil {
			return err
		}
		for _, f := range found {
			if f != "ok" {
				return fmt.Errorf("%w: %s", errDamaged, f)
			}
		}
	}
	var id, sit, text sql.RawBytes
	if err := scan(q, []any{&id, &sit, &text}, func() error {
		if !intact(id, sit, text) {
			return fmt.Errorf("%w: line %s", errDamaged, id)
		}
		return nil
	}, `SELECT id, sitting, text FROM line`); err != nil {
		return err
	}
	return eachRow(q, Filter{}, func(*Row) error { return nil })
}

// ctxQuerier is a database whose questions can be called off.
type ctxQuerier struct {
	ctx context.Context
	*sql.DB
}

func (q ctxQuerier) Query(query string, args ...any) (*sql.Rows, error) {
	return q.QueryContext(q.ctx, query, args...)
}

// Check reads the whole notebook for damage, index and journals, beside
// whatever else goes on. If it finds any, the next Flush mends it, and the error
// says what it was.
func (b *Book) Check(ctx context.Context) error {
	b.mu.Lock()
	rd, db := b.rd, b.db
	seen, _ := os.Stat(b.cfg.Path)
	busy := b.making || b.broken || b.inRAM
	b.mu.Unlock()
	if rd == nil || db == nil || busy {
		return nil
	}
	err := verify(ctx, rd)
	if err == nil {
		err = b.checkKept(ctx, rd)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.rd != rd {
		return nil // another one since
	}
	b.damaged(err)
	if fi, serr := os.Stat(b.cfg.Path); err == nil && serr == nil && sameState(fi, seen) {
		b.seen, b.believe = fi, true
		b.vouch()
	}
	return err
}

// errJournal says that a closed journal is not what the index knows.
var errJournal = errors.New("a closed journal was damaged")

func (b *Book) checkKept(ctx context.Context, rd *sql.DB) error {
	var bad []string
	var name string
	var want int64
	if err := scan(ctxQuerier{ctx, rd}, []any{&name, &want}, func() error {
		if data, err := os.ReadFile(filepath.Join(b.keptDir(), name)); err != nil || int64(sum(string(data))) != want {
			bad = append(bad, name)
		}
		return nil
	}, `SELECT name, sum FROM journal WHERE name <> '' AND size >= 0`); err != nil || len(bad) == 0 {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, name := range bad {
		if b.db == nil {
			break
		}
		if _, err := b.db.ExecContext(ctx, `UPDATE journal SET size = -1 WHERE name = ?`, name); err != nil {
			return err
		}
	}
	b.recheck = true
	return fmt.Errorf("%w: %s", errJournal, bad[0])
}
