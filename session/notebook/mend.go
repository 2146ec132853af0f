package notebook

import (
	"database/sql"
	"fmt"
	"os"
)

// checkWhole is the greatest file that is checked whole before the first frame;
// a greater one is looked at where it is most used, and whole by [Book.Check].
const checkWhole = 1 << 20

// check looks for damage.
func check(db *sql.DB, path string) error {
	fi, err := os.Stat(path)
	if err != nil {
		return nil
	}
	if fi.Size() > checkWhole {
		return nil
	}
	return quickCheck(db)
}

func quickCheck(db *sql.DB) error {
	rs, err := db.Query(`PRAGMA quick_check(3)`)
	if err != nil {
		return err
	}
	defer rs.Close()
	for rs.Next() {
		var s string
		if err := rs.Scan(&s); err != nil {
			return err
		}
		if s != "ok" {
			return fmt.Errorf("%w: %s", errDamaged, s)
		}
	}
	return rs.Err()
}

// settle sets right whether a sitting is closed, by replaying it.
func settle(tx *sql.Tx, sit string) error {
	rows, err := fetch(tx, sit, 0)
	if err != nil {
		return err
	}
	s := sittingOf(sit, rows)
	if s.Closed.IsZero() {
		return nil
	}
	_, err = tx.Exec(`UPDATE sitting SET closed = ? WHERE id = ?`, s.Closed.UnixNano(), sit)
	return err
}

func (b *Book) mend(why error) error { return why }
