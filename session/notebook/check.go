package notebook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
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
	if pages > 4096 {
		return verifyGreat(q)
	}
	if err := pagesHold(q, "3"); err != nil {
		return err
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

// verifyGreat is verify where that takes seconds. The list is looked at as
// closely; of the lines, which are nearly all there is, it only sees that none is
// missing: one that does not hold is found when it is read, and the journal has it.
func verifyGreat(q querier) error {
	for _, table := range []string{"sheet", "sitting", "journal"} {
		if err := pagesHold(q, table); err != nil {
			return err
		}
	}
	var n, last int64 // they are numbered from 1, and never deleted
	if err := q.QueryRow(`SELECT count(*), coalesce(max(seq), 0) FROM line NOT INDEXED`).Scan(&n, &last); err != nil {
		return err
	}
	if n != last {
		return fmt.Errorf("%w: of %d lines %d are there", errDamaged, last, n)
	}
	return eachRow(q, Filter{}, func(r *Row) error {
		if r.line > last {
			return fmt.Errorf("%w: sheet %s has no record", errDamaged, r.ID)
		}
		return nil
	})
}

// pagesHold asks SQLite what is wrong with the pages of a table; of all, with a
// number in its place.
func pagesHold(q querier, table string) error {
	found, err := strs(q, `PRAGMA integrity_check(`+table+`)`)
	for _, f := range found {
		if f != "ok" {
			return fmt.Errorf("%w: %s", errDamaged, f)
		}
	}
	return err
}

// ctxQuerier is a database whose questions can be called off.
type ctxQuerier struct {
	ctx context.Context
	*sql.DB
}

func (q ctxQuerier) Query(query string, args ...any) (*sql.Rows, error) {
	return q.QueryContext(q.ctx, query, args...)
}

func (q ctxQuerier) QueryRow(query string, args ...any) *sql.Row {
	return q.QueryRowContext(q.ctx, query, args...)
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
	buf := make([]byte, 1<<17)
	var bad []string
	var name string
	var want int64
	if err := scan(ctxQuerier{ctx, rd}, []any{&name, &want}, func() error {
		if is, err := sumOf(filepath.Join(b.keptDir(), name), buf); err != nil || int64(is) != want {
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

// sumOf is the checksum of a file, read through buf.
func sumOf(path string, buf []byte) (uint32, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	h := crc32.NewIEEE()
	_, err = io.CopyBuffer(h, struct{ io.Reader }{f}, buf)
	return h.Sum32(), err
}
