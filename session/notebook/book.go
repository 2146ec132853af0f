// Package notebook is the durable record of what was done in the darkroom.
//
// A [Book] is one SQLite file. It stores events, each committed before Append
// returns, so that the host may store first, then apply, then sound the cue.
// Everything else in the file (sittings, the records of sheets) can be made
// again from the events.
//
// # What is on the disk
//
//	notebook.db               the database: WAL, synchronous=FULL
//	notebook.db.lock          held while the file is opened, migrated or mended
//	notebook.db.journal/      the same events once more, as JSON lines, one file
//	                          for each sitting that is not safely checkpointed
//	notebook.db.journal/kept/ the files of sittings that are
//	notebook.db.damaged-*     a file that was found broken; never deleted
//	LogDir/2026-11-25.csv     the log of a day
//
// The journal is why a truncated database, an overwritten page or a deleted WAL
// loses nothing: a commit costs one sync of the WAL and one of the journal.
//
// # When the disk refuses
//
// A full, read-only or broken disk stops neither the clock nor the sound:
// Append keeps the event in memory, returns it as accepted together with an
// [Unsaved], and writes it, in order and once, when the disk returns. Flush
// tries that without waiting for the next event.
//
// # Two programs
//
// Any number of programs may have one notebook open. Append and Poll return
// what the others added, in the order of the file, so that every program
// applies the same events in the same order. A writer waits for another at most
// [BusyWait]; after that its event is in memory (and in the journal) and it goes on.
//
// # What the host does
//
//	b, notices, err := Open(cfg)            // say the notices
//	s, events, ok, err := b.Live(false)     // apply the events, offer to go on
//	s, err = b.Begin(opened)                // or begin
//	events, err := b.Append(s.ID, ev)       // apply them all; show an Unsaved
//	events, err = b.Poll(s.ID)              // some times a second: the other program's
//	err = b.SaveSheet(s, sheet, now, baths) // when a sheet is finished or spoiled
//	err = b.Flush()                         // every few seconds, beside the rest
//	err = b.Check(ctx)                      // once, beside the rest: a great file is not read whole by Open
//	notices = b.Notices()                   // now and then
//
// No path, clock or identity is made here: Config hands them in.
package notebook

import (
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"sync"
	"time"

	"wetside/session"
)

// Config is what a Book is handed. Path and NewID are needed.
type Config struct {
	Path   string           // the database file; its folder must exist or be creatable
	LogDir string           // folder of the day's CSV logs; empty: none are written
	NewID  func() string    // a new UUID
	Now    func() time.Time // the wall clock; nil: instants of events are used
	Logf   func(format string, args ...any)
}

// A Notice is something the user should be told once, in plain words.
type Notice struct {
	Kind NoticeKind
	Text string
}

// NoticeKind says what a Notice is about.
type NoticeKind string

// The kinds of notice.
const (
	Memory    NoticeKind = "memory only" // nothing can be written at present
	Recovered NoticeKind = "recovered"   // a damaged file was set aside
	Restored  NoticeKind = "restored"    // events that the database lacked came from the journal
	Back      NoticeKind = "disk back"   // what was kept in memory is written
	LogFile   NoticeKind = "log file"    // the day's CSV could not be written
)

// A Sitting is one darkroom session in the notebook.
type Sitting struct {
	ID        string
	Opened    time.Time
	Closed    time.Time // zero: not closed
	Rehearsal bool
	Pace      float64
}

// Unsaved reports that an event was accepted and is kept in memory because the
// disk refused it.
type Unsaved struct {
	N         int  // events that wait
	Journaled bool // this one is at least in the journal file
	Err       error
}

func (u *Unsaved) Error() string {
	s := ""
	if u.N != 1 {
		s = "s"
	}
	return fmt.Sprintf("%d event%s kept in memory: %s. Go on; they are written when the disk returns", u.N, s, plain(u.Err))
}

func (u *Unsaved) Unwrap() error { return u.Err }

// BusyWait is how long a writer waits for another program's transaction.
const BusyWait = 400 * time.Millisecond

// A row is one event as it is stored.
type row struct {
	seq  int64 // 0: not in the database yet
	id   string
	sit  string
	ev   session.Event
	body string
	// journaled: in the journal file, before it had a place in the database.
	journaled bool
}

func (r *row) sum() uint32 { return rowSum(r.id, r.sit, r.body) }

func rowSum(id, sit, body string) uint32 {
	h := crc32.NewIEEE()
	fmt.Fprintf(h, "%s\n%s\n%s", id, sit, body)
	return h.Sum32()
}

// memory is what this Book knows of one sitting: every event it has returned
// or holds, in the order it returned them.
type memory struct {
	rows  []*row
	known map[string]bool // ids
	last  int64           // greatest seq seen
	inbox []*row          // others' events read but not yet returned
}

// A Book is an open notebook. It is safe for use by several goroutines.
type Book struct {
	cfg Config

	mu        sync.Mutex
	db        *sql.DB // one connection, for writing; nil: none could be had
	rd        *sql.DB // for reading
	files     identity
	why       error // why db is nil, or the last refusal
	sits      map[string]*memory
	pending   []*row
	saves     []*Record       // records that wait for the disk
	days      map[string]bool // days whose CSV has to be rewritten
	version   int64           // PRAGMA data_version at the last look
	retryAt   time.Time
	notices   []Notice
	logFailed bool
	mended    *sync.Cond // mending has ended
	inline    int64      // mendInline, but in tests
	failed    bool       // something was refused since the last success
	broken    bool       // the file is damaged and not mended yet
	mending   bool       // a great file is being mended; the handles are not ours
	closed    bool
}

// Open opens the notebook at cfg.Path and makes it if there is none. A disk
// that refuses, or a file past mending, is no error: the Book then works in
// memory and the notices say so. The error is for what the user has to change:
// a notebook of a newer program, a Config that lacks something.
func Open(cfg Config) (*Book, []Notice, error) {
	b, err := newBook(cfg)
	if err != nil {
		return nil, nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.connect(false); err != nil {
		var newer *NewerError
		if errors.As(err, &newer) {
			return nil, nil, err
		}
		b.why = err
		b.note(Memory, "The notebook cannot be written: %s. What is done now is kept in memory and written when the disk returns.", plain(err))
	}
	return b, b.takeNotices(), nil
}

// Loose returns how many events no file has: they end with the program.
func (b *Book) Loose() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.loose()
}

func (b *Book) loose() (n int) {
	for _, r := range b.pending {
		if !r.journaled {
			n++
		}
	}
	return n
}

// catch tries once more to have in the journal at least what the database does
// not take, and returns how many events are loose all the same.
func (b *Book) catch() int {
	for _, r := range b.pending {
		r.journaled = r.journaled || b.journal(r.sit, r) == nil
	}
	return b.loose()
}

// newBook makes a Book with nothing open.
func newBook(cfg Config) (*Book, error) {
	if cfg.Path == "" || cfg.NewID == nil {
		return nil, errors.New("notebook: Config needs Path and NewID")
	}
	if cfg.Logf == nil {
		cfg.Logf = func(string, ...any) {}
	}
	b := &Book{cfg: cfg, sits: map[string]*memory{}, days: map[string]bool{}, inline: mendInline}
	b.mended = sync.NewCond(&b.mu)
	return b, nil
}

// Close flushes what it can and closes the files. It returns an [Unsaved] if
// events are lost by it: those that not even the journal takes, from which the
// next Open would have them.
func (b *Book) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return nil
	}
	for b.mending {
		b.mended.Wait()
	}
	err := b.write(true)
	if err == nil {
		err = b.logDays()
	} else {
		if n := b.catch(); n > 0 {
			err = &Unsaved{N: n, Err: err}
		} else {
			err = nil
		}
	}
	b.archive()
	b.disconnect()
	b.closed = true
	return err
}

func (b *Book) note(k NoticeKind, format string, a ...any) {
	n := Notice{k, fmt.Sprintf(format, a...)}
	b.cfg.Logf("notebook: %s: %s", n.Kind, n.Text)
	b.notices = append(b.notices, n)
}

func (b *Book) takeNotices() []Notice {
	n := b.notices
	b.notices = nil
	return n
}

// Notices returns what there is to tell since the last call.
func (b *Book) Notices() []Notice {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.takeNotices()
}

// Pending returns how many events are kept in memory because the disk refused them.
func (b *Book) Pending() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return len(b.pending)
}

// Flush tries to write what is kept in memory. It costs nothing when there is
// nothing. The host calls it every few seconds, beside its other work: mending a
// great file takes a while, during which Append still returns at once.
func (b *Book) Flush() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.write(true); err != nil {
		b.catch()
		return &Unsaved{N: len(b.pending), Err: err}
	}
	return b.logDays()
}

func (b *Book) mem(sit string) *memory {
	m := b.sits[sit]
	if m == nil {
		m = &memory{known: map[string]bool{}}
		b.sits[sit] = m
	}
	return m
}

// Begin starts a sitting with its Opened event. A disk that refuses gives a
// Sitting all the same, together with an [Unsaved].
func (b *Book) Begin(ev session.Event) (Sitting, error) {
	if ev.Kind != session.Opened {
		return Sitting{}, fmt.Errorf("notebook: a sitting begins with %q, not %q", session.Opened, ev.Kind)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	id := b.cfg.NewID()
	_, err := b.append(id, ev)
	if err != nil && !IsUnsaved(err) {
		return Sitting{}, err
	}
	return sittingOf(id, b.mem(id).rows), err
}

// IsUnsaved reports whether err says no more than that an event is kept in memory.
func IsUnsaved(err error) bool {
	var u *Unsaved
	return errors.As(err, &u)
}

// Append commits ev and returns every event of the sitting that this Book has
// not returned yet, in the order of the file, ending with ev. With an [Unsaved]
// error the events are good all the same.
func (b *Book) Append(sit string, ev session.Event) ([]session.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.append(sit, ev)
}

func (b *Book) append(sit string, ev session.Event) ([]session.Event, error) {
	if b.closed {
		return nil, errors.New("notebook: it is closed")
	}
	body, err := json.Marshal(ev)
	if err != nil {
		return nil, fmt.Errorf("notebook: this event cannot be written down: %w", err)
	}
	r := &row{id: b.cfg.NewID(), sit: sit, body: string(body)}
	// What is returned is what a replay will read.
	if err := json.Unmarshal(body, &r.ev); err != nil {
		return nil, fmt.Errorf("notebook: this event cannot be read again: %w", err)
	}
	m := b.mem(sit)
	m.known[r.id] = true
	b.pending = append(b.pending, r)
	werr := b.write(false)
	jerr := b.journal(sit, r)
	r.journaled = jerr == nil && r.seq == 0
	out := make([]session.Event, 0, len(m.inbox)+1)
	for _, o := range m.inbox {
		m.rows = append(m.rows, o)
		out = append(out, o.ev)
	}
	m.inbox = nil
	m.rows = append(m.rows, r)
	out = append(out, r.ev)
	if werr != nil {
		return out, &Unsaved{N: len(b.pending), Journaled: jerr == nil, Err: werr}
	}
	if jerr != nil {
		b.cfg.Logf("notebook: journal: %v", jerr)
	}
	return out, nil
}

// Poll returns what other programs added to the sitting since the last call of
// Append, Poll or Live. When nothing was added it costs one pragma.
func (b *Book) Poll(sit string) ([]session.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	m := b.mem(sit)
	if b.db != nil && !b.mending && !b.changed() {
		var v int64
		if err := b.db.QueryRow(`PRAGMA data_version`).Scan(&v); err != nil {
			return nil, err
		}
		if v != b.version {
			if err := b.fetchAll(); err != nil {
				b.broken = b.broken || isDamage(err) // the next Flush mends it
				return nil, err
			}
			b.version = v
		}
	}
	var out []session.Event
	for _, o := range m.inbox {
		m.rows = append(m.rows, o)
		out = append(out, o.ev)
	}
	m.inbox = nil
	return out, nil
}

// fetchAll puts what others added to the sittings at hand into their inboxes.
func (b *Book) fetchAll() error {
	for sit, m := range b.sits {
		rows, err := fetch(b.db, sit, m.last)
		if err != nil {
			return err
		}
		m.take(rows)
	}
	return nil
}

// take puts rows read from the file into the inbox, but for those that are known.
func (m *memory) take(rows []*row) {
	for _, r := range rows {
		m.last = max(m.last, r.seq)
		if !m.known[r.id] {
			m.known[r.id] = true
			m.inbox = append(m.inbox, r)
		}
	}
}

// Live returns the latest sitting that was not closed, of the kind asked for,
// and its events in order. One of this notebook's own comes before any that was
// imported.
func (b *Book) Live(rehearsal bool) (Sitting, []session.Event, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	sit, evs, ok, err := b.live(rehearsal)
	if isDamage(err) && !b.mending {
		b.broken, b.why = true, err
		if cerr := b.connect(true); cerr != nil {
			return sit, evs, ok, err
		}
		return b.live(rehearsal)
	}
	return sit, evs, ok, err
}

func (b *Book) live(rehearsal bool) (Sitting, []session.Event, bool, error) {
	if b.rd == nil {
		return b.liveInMemory(rehearsal)
	}
	ids, err := strs(b.rd, `SELECT id FROM sitting WHERE closed IS NULL AND rehearsal = ? ORDER BY opened DESC, rowid DESC`, rehearsal)
	if err != nil {
		return Sitting{}, nil, false, err
	}
	if len(ids) == 0 {
		return b.liveInMemory(rehearsal)
	}
	id := ids[0]
	// One that came in from another notebook has no journal here, and may run
	// there still.
	for _, own := range ids {
		if _, err := os.Stat(filepath.Join(b.journalDir(), journalName(own))); err == nil {
			id = own
			break
		}
	}
	m := b.mem(id)
	rows, err := fetch(b.rd, id, m.last)
	if err != nil {
		return Sitting{}, nil, false, err
	}
	m.take(rows)
	m.rows = append(m.rows, m.inbox...)
	m.inbox = nil
	s, evs := sittingOf(id, m.rows), events(m.rows)
	return s, evs, true, nil
}

func (b *Book) liveInMemory(rehearsal bool) (Sitting, []session.Event, bool, error) {
	var best Sitting
	for id, m := range b.sits {
		if s := sittingOf(id, m.rows); !s.Opened.IsZero() && s.Closed.IsZero() && s.Rehearsal == rehearsal && !s.Opened.Before(best.Opened) {
			best = s
		}
	}
	if best.ID == "" {
		return Sitting{}, nil, false, nil
	}
	return best, events(b.sits[best.ID].rows), true, nil
}

func events(rows []*row) []session.Event {
	out := make([]session.Event, len(rows))
	for i, r := range rows {
		out[i] = r.ev
	}
	return out
}

// sittingOf reads a sitting's own line from its events. It is closed when a
// replay says so, for a Closed that the machine refuses closes nothing.
func sittingOf(id string, rows []*row) Sitting {
	s := Sitting{ID: id, Pace: 1}
	closes := false
	for _, r := range rows {
		switch r.ev.Kind {
		case session.Opened:
			if s.Opened.IsZero() {
				s.Opened, s.Rehearsal = r.ev.At.Wall, r.ev.Rehearsal
				if r.ev.Pace > 0 {
					s.Pace = r.ev.Pace
				}
			}
		case session.Closed:
			closes = true
		}
	}
	if closes {
		if m, at := replay(rows); m.Closed() {
			s.Closed = at
		}
	}
	return s
}

// replay applies rows to a new machine, as every program does, and returns it
// with the wall time it was closed at.
func replay(rows []*row) (*session.Machine, time.Time) {
	m := session.New()
	var at time.Time
	for _, r := range rows {
		was := m.Closed()
		_ = m.Apply(r.ev) // a refused event was refused when it happened too
		if m.Closed() && !was {
			at = r.ev.At.Wall
		}
	}
	return m, at
}
