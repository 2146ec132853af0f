package desk

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"wetside/session"
	"wetside/session/notebook"
)

// A worker is a program that works on a notebook.
type worker struct {
	*Sitting
	at time.Time
}

// come opens the notebook and takes up the session, as a program does that starts.
func come(path string, now time.Time) (*worker, error) {
	book, _, err := notebook.Open(notebook.Config{Path: path, NewID: uuid.NewString, Now: time.Now})
	if err != nil {
		return nil, err
	}
	w := &worker{at: now}
	if w.Sitting, err = Open(book, filepath.Dir(path), false, w.now()); err == nil && !w.Resumed {
		err = w.Begin(w.now(), 1)
	}
	return w, err
}

func (w *worker) now() session.Instant {
	return session.Instant{Wall: w.at, Boot: time.Duration(w.at.UnixNano()), BootID: "b"}
}

// add brings a sheet in, and spoils it at once if it is not to wait.
func (w *worker) add(id string, waits bool) error {
	evs := []session.Event{{Kind: session.SheetAdded, Sheet: id, Spec: &session.SheetSpec{Process: session.Process{Key: "p",
		Steps: []session.Step{{Stage: session.Develop, Bath: "developer", AtLeast: time.Minute, AtMost: time.Minute}}}}}}
	if !waits {
		evs = append(evs, session.Event{Kind: session.Spoiled, Sheet: id, Note: "torn"})
	}
	for _, e := range evs {
		e.At = w.now()
		got, err := w.Append(e)
		if err != nil {
			return err
		}
		for _, e := range got {
			w.M.Replay(e)
		}
	}
	return nil
}

// leave leaves as a program does: the session is closed if no sheet waits and
// nobody else works on it.
func (w *worker) leave() error {
	var err error
	w.WhenAlone(func() {
		evs, perr := w.Poll()
		for _, e := range evs {
			w.M.Replay(e)
		}
		err = perr
		for _, s := range w.M.Sheets() {
			if s.Phase != session.Finished && s.Phase != session.Ruined {
				return
			}
		}
		_, cerr := w.Append(session.Event{Kind: session.Closed, At: w.now()})
		err = errors.Join(err, cerr)
	})
	w.Release()
	return errors.Join(err, w.Book.Close())
}

// Programs start and leave in the same instant, over and over. Whoever is there
// works on the one session that is open, and finds every sheet that waits in it.
// More rounds: WETSIDE_TORTURE=300 go test -run Leaving ./session/desk
func TestLeavingAndStartingInTheSameInstant(t *testing.T) {
	rounds := 16
	if n, err := strconv.Atoi(os.Getenv("WETSIDE_TORTURE")); err == nil {
		rounds = n
	}
	begun := time.Date(2026, 5, 9, 14, 0, 0, 0, time.UTC)
	for round := range rounds {
		path := filepath.Join(t.TempDir(), "notebook.db")
		waits := round%2 == 1 // the one who leaves leaves a sheet in its box
		first, err := come(path, begun)
		if err != nil {
			t.Fatal(err)
		}
		if err := first.add("first", waits); err != nil {
			t.Fatal(err)
		}
		begun = begun.Add(time.Hour)
		var both [2]*worker
		errs := make([]error, 3)
		var all sync.WaitGroup
		all.Go(func() {
			time.Sleep(time.Duration(round%8) * time.Millisecond) // sometimes a little later
			errs[2] = first.leave()
		})
		for i := range both {
			all.Go(func() {
				if both[i], errs[i] = come(path, begun.Add(time.Duration(i)*time.Second)); errs[i] == nil {
					errs[i] = both[i].add(fmt.Sprint("new", i), true)
				}
			})
		}
		all.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Fatal(err)
		}
		for i, w := range both {
			evs, err := w.Poll()
			if err != nil {
				t.Error(err)
			}
			for _, e := range evs {
				w.M.Replay(e)
			}
			if w.M.Closed() {
				t.Errorf("round %d: program %d works on a session that the other has closed", round, i)
			}
		}
		if a, b := both[0].row.ID, both[1].row.ID; a != b {
			t.Errorf("round %d: two sessions are open, %s and %s", round, a, b)
		}
		if waits && both[0].row.ID != first.row.ID {
			t.Errorf("round %d: the session with a sheet in its box was not gone on with", round)
		}
		for _, w := range both {
			if err := w.leave(); err != nil {
				t.Error(err)
			}
		}
		last, err := come(path, begun.Add(time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		for _, id := range []string{"new0", "new1"} {
			if last.M.Sheet(id) == nil {
				t.Errorf("round %d: sheet %s is lost", round, id)
			}
		}
		if waits && last.M.Sheet("first") == nil {
			t.Errorf("round %d: the first one's sheet is lost", round)
		}
		if err := last.leave(); err != nil {
			t.Error(err)
		}
	}
}
