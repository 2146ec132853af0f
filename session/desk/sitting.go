package desk

import (
	"context"
	"errors"
	"path/filepath"
	"sync"
	"time"

	"github.com/gofrs/flock"

	"wetside/session"
	"wetside/session/bench"
	"wetside/session/notebook"
)

// A Sitting is one stretch of work on the notebook, from open to close: the
// machine as its events made it, the [Record] of what happens next, and the
// locks that say who else works on it. One program makes the sound, and only the
// last to leave closes the session.
type Sitting struct {
	Book *notebook.Book
	M    *session.Machine
	// Resumed: the session was open already, here or before a program ended.
	Resumed bool
	// First: no other program makes the sound.
	First bool
	// Saved is called after a sheet's record was written; may be nil.
	Saved func()

	row       notebook.Sitting
	rehearsal bool
	loud      *flock.Flock // of the one that makes the sound
	here      *flock.Flock // shared by all that work on the notebook
	door      *flock.Flock // of the one that just comes or goes
	inDoor    sync.Mutex   // the same within this program
}

// doorWait is how long a program waits for another to come or go. One that was
// stopped in the midst of it keeps nobody from starting.
const doorWait = 2 * time.Second

// pass waits until nobody else comes or goes. ok is false if one does not end;
// where there is no folder for locks, nobody can be waited for.
func (s *Sitting) pass() (ok bool) {
	s.inDoor.Lock()
	ctx, cancel := context.WithTimeout(context.Background(), doorWait)
	defer cancel()
	_, err := s.door.TryLockContext(ctx, 5*time.Millisecond)
	return !errors.Is(err, context.DeadlineExceeded)
}

func (s *Sitting) passed() {
	s.door.Unlock()
	s.inDoor.Unlock()
}

// Open takes up the session of this kind that is open, if there is one; else
// Begin must follow at once, for others wait for it. state is the folder of the
// locks. A rehearsal that an earlier program left is closed at now.
func Open(book *notebook.Book, state string, rehearsal bool, now session.Instant) (s *Sitting, err error) {
	s = enter(book, state, rehearsal)
	defer func() {
		if err != nil || s.Resumed {
			s.passed()
		}
		if err != nil {
			s.Release()
			s = nil
		}
	}()
	if s.First, err = s.loud.TryLock(); err != nil {
		s.First = true // no folder for locks: better twice heard than not at all
	}
	s.here.TryRLock()
	row, events, live, err := book.Live(rehearsal)
	if err != nil {
		return s, err
	}
	s.row = row
	if live && rehearsal && s.First {
		book.Append(row.ID, session.Event{Kind: session.Closed, At: now})
		live = false
	}
	if live {
		s.takeUp(events)
	}
	return s, nil
}

// enter makes a sitting in which nothing is taken up yet, and holds the door.
func enter(book *notebook.Book, state string, rehearsal bool) *Sitting {
	lock := func(name string) *flock.Flock { return flock.New(filepath.Join(state, name)) }
	s := &Sitting{Book: book, M: session.New(), rehearsal: rehearsal, loud: lock("sound.lock"), here: lock("here.lock"), door: lock("door.lock")}
	s.pass()
	return s
}

// takeUp goes on with a session, unless it was closed.
func (s *Sitting) takeUp(events []session.Event) {
	if m := replay(events); !m.Closed() {
		s.M, s.Resumed = m, true
	}
}

// Join takes up the session that is open, or begins one, for who writes something
// down and leaves again: it makes no sound and asks nothing.
func Join(book *notebook.Book, state string, now session.Instant) (*Sitting, error) {
	s := enter(book, state, false)
	s.here.TryRLock()
	row, events, live, err := book.Live(false)
	if err != nil {
		s.passed()
		s.Release()
		return nil, err
	}
	if s.row = row; live {
		s.takeUp(events)
	}
	if s.Resumed {
		s.passed()
		return s, nil
	}
	return s, s.Begin(now, 1)
}

// Write stores and applies an event, of which no sound is made.
func (s *Sitting) Write(e session.Event) error {
	if err := s.M.Would(e); err != nil {
		return err
	}
	evs, err := s.Append(e)
	for _, e := range evs {
		_ = s.M.Replay(e) // refused then as it is now
	}
	if sh := s.M.Sheet(e.Sheet); sh != nil && sh.Phase.Over() {
		err = errors.Join(err, s.Save(s.M, sh))
	}
	return err
}

// Over reports whether every sheet there is has come to its end.
func (s *Sitting) Over() bool { return over(s.M) }

// replay makes a machine of events: what was refused then is refused now.
func replay(events []session.Event) *session.Machine {
	m := session.New()
	for _, e := range events {
		_ = m.Replay(e)
	}
	return m
}

// Begin opens a new session.
func (s *Sitting) Begin(now session.Instant, pace float64) error {
	defer s.passed()
	open := session.Event{Kind: session.Opened, At: now, Rehearsal: s.rehearsal, Pace: pace}
	var err error
	if s.row, err = s.Book.Begin(open); err != nil && !notebook.IsUnsaved(err) {
		return err
	}
	return s.M.Apply(open)
}

// Append implements [Record].
func (s *Sitting) Append(e session.Event) ([]session.Event, error) {
	return s.Book.Append(s.row.ID, e)
}

// Poll implements [Record].
func (s *Sitting) Poll() ([]session.Event, error) { return s.Book.Poll(s.row.ID) }

// Save implements [Record].
func (s *Sitting) Save(m *session.Machine, sh *session.Sheet) error {
	err := s.Book.SaveSheet(s.row, sh, m.Now(), Uses(m, sh))
	if s.Saved != nil {
		s.Saved()
	}
	return err
}

// Unsaved implements [Record]. The disk is tried again beside the rest.
func (s *Sitting) Unsaved() int { return s.Book.Pending() }

// Loose implements [Record].
func (s *Sitting) Loose() int { return s.Book.Pending() }

// Uses is the state of every bath the sheet went into, at that moment.
func Uses(m *session.Machine, s *session.Sheet) []notebook.BathUse {
	us := notebook.Uses(m, s)
	for i := range us {
		for _, v := range s.Visits {
			if v.Serial != us[i].Serial {
				continue
			}
			// Just before, so that its own paper is not in it yet.
			for _, b := range bench.Account(m.Trays(), m.Sheets(), v.In-1) {
				if b.Mix.ID == us[i].Mix {
					us[i].Share = b.Share
				}
			}
		}
	}
	return us
}

// TakeLoudspeaker reports whether the other program's sound has become ours.
func (s *Sitting) TakeLoudspeaker() bool {
	ok, err := s.loud.TryLock()
	return err == nil && ok
}

// WhenAlone calls do if no other program works here, and none begins to before
// do returns. It is asked at the end: the others are no longer told of this one.
func (s *Sitting) WhenAlone(do func()) { s.whenAlone(do, false) }

func (s *Sitting) whenAlone(do func(), stays bool) {
	defer s.passed()
	if !s.pass() {
		return
	}
	s.here.Unlock()
	if ok, err := s.here.TryLock(); err != nil || ok {
		do()
	}
	s.here.Unlock()
	if stays {
		s.here.TryRLock()
	}
}

// MayShine reports whether a rehearsal, whose own sheet is blank, leaves no real
// one in the light.
func (s *Sitting) MayShine() bool {
	if !s.rehearsal {
		return true
	}
	alone := false
	s.whenAlone(func() { alone = true }, true)
	_, events, live, err := s.Book.Live(false)
	if !alone || err != nil {
		return false
	}
	return !live || !replay(events).PaperOut()
}

// Release gives the locks back.
func (s *Sitting) Release() {
	s.loud.Unlock()
	s.here.Unlock()
}
