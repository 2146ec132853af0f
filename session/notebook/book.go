// Package notebook is the durable record of what was done in the darkroom.
//
// # The record is the journal
//
// Each sitting has a file of lines, one for each event and one for each record
// of a sheet. A line carries its identity, its place in the sitting, the
// notebook it came in from if it was not written here, and a checksum of all of
// that. It is appended under the sitting's lock and synced before anything
// else happens, so the order of the lines is the order of events for every
// program that works on the sitting.
//
// The database holds the same lines once more, and the list of sheets made from
// them. It is an index: it can be thrown away. The record is the union, by
// identity, of all lines in journal and database whose checksum holds, and what
// one of the two has lost it gets back from the other. Every line and every row
// of the list is checked each time it is read. A database that is missing,
// cannot be read, has another schema, or fails a check is set aside and made
// again; nobody is asked, and a notice says what was done. So an older notebook,
// whose database alone holds some things, becomes a new one by being opened.
//
//	notebook.db                 the index: WAL, not synced at each commit
//	notebook.db.seen            size and time of the index when it was last whole
//	notebook.db.lock            held while it is opened, made or put away
//	notebook.db.journal/        the journals of sittings that are not closed
//	notebook.db.journal/kept/   and of those that are
//	*.damaged-*, *.schema-*     what was set aside; never deleted
//	LogDir/2026-11-25.csv       the log of a day
//
// What runs is told by the files in journal/ alone, so that no damage of the
// index can hide it. A start reads those, and of kept/ no more than the time
// of the folder, as long as that is the one the index knows. A closed journal
// may then be damaged unseen; but what is shown comes from the index, whose
// every row is checked, and a row that fails has the index made again from all
// journals and all its own rows that hold. The journals themselves are read
// through by [Book.Check], and mended from the index. An index that somebody
// else has written to, by its size and time, is read whole before it is
// believed: a row that vanished has no checksum to fail.
//
// # When the disk refuses
//
// What the notebook's folder refuses goes to the next of Config.Spare at once,
// as lines of the same form, and is joined to the journal as soon as that takes
// it, by this program or the next one. If no place takes it, it is kept in
// memory, and Append says so with an [Unsaved]; but it is always accepted. A
// folder that is gone is noticed by Poll, which then writes all it knows of the
// sitting to the second place. An index that cannot be written is behind, one
// that cannot even be read is made in memory.
//
// # What is newer than this program
//
// Lines of sorts that this program does not know are kept as they are. A
// sitting that holds them can be gone on with, by what is understood; its
// finished sheets are not changed.
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
//	err = b.Check(ctx)                      // once, beside the rest: journals and list
//	notices = b.Notices()                   // now and then
//
// No path, clock or identity is made here: Config hands them in.
package notebook

import (
	"cmp"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"wetside/session"
	"wetside/session/words"
)

// Config is what a Book is handed. Path and NewID are needed.
type Config struct {
	Path   string              // the database file; its folder must exist or be creatable
	LogDir string              // folder of the day's CSV logs; empty: none are written
	Spare  []string            // folders that take events when Path's refuses, in this order
	Served bool                // Flush is called beside the rest, and what takes long is left to it
	NewID  func() string       // a new UUID
	Now    func() time.Time    // the wall clock; nil: instants of events are used
	Sleep  func(time.Duration) // for what the disk's clock has to step by; nil: time.Sleep
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
	Memory    NoticeKind = "memory only" // nothing can be written anywhere at present
	Elsewhere NoticeKind = "elsewhere"   // what is done is written to a second place
	Recovered NoticeKind = "recovered"   // something damaged was set aside
	CutShort  NoticeKind = "cut short"   // an entry that was being written and never confirmed
	Restored  NoticeKind = "restored"    // journal or index got back what it lacked
	Back      NoticeKind = "disk back"   // what was kept elsewhere is in its place
	LogFile   NoticeKind = "log file"    // the day's CSV could not be written
	Newer     NoticeKind = "newer"       // there is something that this program does not know
)

// A Sitting is one darkroom session in the notebook.
type Sitting struct {
	ID        string
	Opened    time.Time
	Closed    time.Time // zero: not closed
	Rehearsal bool
	Pace      float64
	From      string // the notebook it came in from; empty: it was done here
	Newer     bool   // it holds what this program does not know
}

// open reports whether it can be gone on with here.
func (s Sitting) open() bool { return !s.Opened.IsZero() && s.Closed.IsZero() && s.From == "" }

// Unsaved reports that an event was accepted and is kept in memory because no
// disk takes it.
type Unsaved struct {
	N   int // events that wait
	Err error
}

func (u *Unsaved) Error() string {
	return fmt.Sprintf("%s kept in memory: %s. Go on; they are written when the disk returns", words.Count(u.N, "event"), plain(u.Err))
}

func (u *Unsaved) Unwrap() error { return u.Err }

// busyWait is how long a writer waits for another program.
const busyWait = 400 * time.Millisecond

// A Book is an open notebook. It is safe for use by several goroutines.
type Book struct {
	cfg Config

	mu        sync.Mutex
	sits      map[string]*memory
	place     int         // where events go: an index of dirs; past its end: memory
	folder    fs.FileInfo // of the notebook
	mayMake   bool        // the folder may be made: nothing of it lies elsewhere, so it is not one that is gone
	retryAt   time.Time
	blind     error // why not all of the journal can be read
	toldNew   map[string]bool
	days      map[string]bool // days whose CSV has to be rewritten
	notices   []Notice
	closed    bool
	looks     bool // it only reads; see Look
	logFailed bool
	restored  int // rows this opening gave back to journal or index
	mended    int // closed journals that were damaged

	db         *sql.DB // the index, one connection, for writing; nil: none could be had
	rd         *sql.DB // for reading
	inRAM      bool    // db is in memory, because no file could be had
	files      identity
	dbErr      error       // why db is nil, or the last refusal
	broken     bool        // the file is damaged and not made again yet
	believe    bool        // the file is whole, or was when this Book last looked
	seen       fs.FileInfo // of the file then
	commits    int         // since the last checkpoint
	recheck    bool        // kept/ has to be gone through
	connecting bool
	ending     atomic.Bool // Close waits for what takes long
	making     bool        // a great index is being made; the handles are not ours
	made       *sync.Cond
	inline     int64 // makeInline, but in tests
}

// Open opens the notebook at cfg.Path and makes it if there is none. Neither a
// disk that refuses nor damage is an error: the notices say what became of it.
// The error is for a Config that lacks something.
func Open(cfg Config) (*Book, []Notice, error) {
	b, err := newBook(cfg)
	if err != nil {
		return nil, nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.mayMake = !slices.ContainsFunc(b.dirs()[spare:], func(d string) bool { return len(journalFiles(d)) > 0 })
	if err := b.probe(); err != nil {
		if b.mayMake {
			err = cmp.Or(os.MkdirAll(filepath.Dir(cfg.Path), 0o700), err)
		}
		at := spare
		for at < len(b.dirs()) && os.MkdirAll(b.dirs()[at], 0o700) != nil {
			at++
		}
		b.wrote(at, err)
	}
	if err := b.connect(false); err != nil {
		b.dbErr = err
		b.cfg.Logf("notebook: index: %v", err)
	}
	return b, b.takeNotices(), nil
}

// newBook makes a Book with nothing open.
func newBook(cfg Config) (*Book, error) {
	if cfg.Path == "" || cfg.NewID == nil {
		return nil, errors.New("notebook: Config needs Path and NewID")
	}
	if cfg.Sleep == nil {
		cfg.Sleep = time.Sleep
	}
	if cfg.Logf == nil {
		cfg.Logf = func(string, ...any) {}
	}
	b := &Book{cfg: cfg, sits: map[string]*memory{}, days: map[string]bool{}, toldNew: map[string]bool{}, inline: makeInline}
	b.made = sync.NewCond(&b.mu)
	return b, nil
}

// Close writes what it can and closes the files. It returns an [Unsaved] if
// events are lost by it.
func (b *Book) Close() error {
	if b == nil {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return nil
	}
	b.ending.Store(true)
	for b.making || b.connecting {
		b.made.Wait()
	}
	var err error
	if !b.looks {
		err = b.flush()
		b.archive()
	}
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

// Pending returns how many events are kept in memory because no disk takes them.
func (b *Book) Pending() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.pending()
}

func (b *Book) pending() int {
	n := 0
	for _, m := range b.sits {
		n += len(m.unheld(len(m.files)))
	}
	return n
}

// Flush writes what waits for the disk or lies in a second place, and brings the
// index up to date. It costs little when there is nothing. The host calls it
// every few seconds, beside its other work: to make a great index takes a while,
// during which Append still returns at once.
func (b *Book) Flush() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.flush()
}

func (b *Book) flush() error {
	b.retryAt = time.Time{}
	var why error
	for _, m := range b.sits {
		m.pull()
		if b.place > home || len(m.unheld(spare)) > 0 {
			if err := b.write(m); err != nil {
				why = err
			}
		}
	}
	if why != nil {
		return &Unsaved{N: b.pending(), Err: why}
	}
	if b.place > home {
		return nil
	}
	b.catchUp()
	return b.logDays()
}

// mem returns what is known of a sitting, reading it if it is not at hand.
func (b *Book) mem(sit string) *memory {
	m := b.sits[sit]
	if m != nil {
		return m
	}
	m = b.fresh(sit)
	b.sits[sit] = m
	m.pull()
	for _, f := range m.files {
		if f.err != nil && b.blind == nil {
			b.blind = f.err
		}
	}
	indexed := map[string]bool{}
	if b.indexed() {
		rows, err := linesOf(b.rd, sit)
		b.damaged(err)
		for _, r := range rows {
			indexed[r.ID] = true
		}
		m.learn(rows...)
		m.pull() // the index may have been quicker
	}
	slices.SortStableFunc(m.rows, byPlace)
	slices.SortStableFunc(m.inbox, byPlace)
	for m.done < len(m.rows) && indexed[m.rows[m.done].ID] {
		m.done++
	}
	return m
}

// visit is mem for a sitting that may not be the host's: left forgets it then,
// if all of it is written.
func (b *Book) visit(sit string) (m *memory, left func()) {
	_, had := b.sits[sit]
	m = b.mem(sit)
	if had {
		return m, func() {}
	}
	m.inbox = nil
	return m, func() {
		if len(m.unheld(spare)) == 0 && m.done == len(m.rows) {
			delete(b.sits, sit)
		}
	}
}

// events are those of a sitting, in order.
func (m *memory) events() []*row {
	var out []*row
	for _, r := range m.rows {
		if r.isEvent() {
			out = append(out, r)
		}
	}
	return out
}

func (b *Book) newRow(m *memory, body string, rec bool) *row {
	r := &row{head: head{ID: b.cfg.NewID(), Sitting: m.sit, N: m.last + 1}, body: body, rec: rec}
	r.seal()
	return r
}

// put writes rows to the journal, and then to the index.
func (b *Book) put(m *memory, rows ...*row) error {
	m.learn(rows...)
	err := b.write(m)
	b.index(m)
	if err != nil {
		return &Unsaved{N: b.pending(), Err: err}
	}
	return nil
}

// Begin starts a sitting with its Opened event. A disk that refuses gives a
// Sitting all the same, together with an [Unsaved].
func (b *Book) Begin(ev session.Event) (Sitting, error) {
	if ev.Kind != session.Opened {
		return Sitting{}, fmt.Errorf("a sitting begins with %q, not %q", session.Opened, ev.Kind)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	id := b.cfg.NewID()
	_, err := b.append(id, ev)
	if err != nil && !IsUnsaved(err) {
		return Sitting{}, err
	}
	return b.sits[id].sitting(), err
}

// IsUnsaved reports whether err says no more than that an event is kept in memory.
func IsUnsaved(err error) bool {
	var u *Unsaved
	return errors.As(err, &u)
}

// Append writes ev down and returns every event of the sitting that this Book
// has not returned yet, in the order of the journal, ending with ev. With an
// [Unsaved] error the events are good all the same.
func (b *Book) Append(sit string, ev session.Event) ([]session.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.append(sit, ev)
}

func (b *Book) append(sit string, ev session.Event) ([]session.Event, error) {
	if b.closed {
		return nil, errors.New("the notebook is closed")
	}
	body, err := json.Marshal(ev)
	if err != nil {
		return nil, fmt.Errorf("this event cannot be written down: %w", err)
	}
	m := b.mem(sit)
	r := b.newRow(m, string(body), false)
	// What is returned is what a replay will read.
	if !r.read() {
		return nil, errors.New("this event cannot be read again")
	}
	err = b.put(m, r)
	// It comes last: what another program wrote meanwhile was before it.
	m.inbox = append(slices.DeleteFunc(m.inbox, func(x *row) bool { return x == r }), r)
	return m.returned(), err
}

// Poll returns what other programs added to the sitting since the last call of
// Append, Poll or Live. It also looks whether the journal is still there, and
// writes it again where it is not. When nothing is new it costs a few stats.
func (b *Book) Poll(sit string) ([]session.Event, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	m := b.mem(sit)
	there := b.there()
	if !there && b.place <= home || m.pull() && len(m.unheld(len(m.files))) > 0 {
		_ = b.write(m) // a notice tells where it went
	}
	b.index(m)
	return m.returned(), nil
}

// Live returns the latest sitting that was not closed, of the kind asked for,
// and its events in order. One that came in from another notebook is not gone
// on with here. An error says that it cannot be known whether there is one.
func (b *Book) Live(rehearsal bool) (Sitting, []session.Event, bool, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gather()
	var best Sitting
	for _, m := range b.sits {
		if s := m.sitting(); s.open() && s.Rehearsal == rehearsal &&
			(best.ID == "" || s.Opened.After(best.Opened) || s.Opened.Equal(best.Opened) && s.ID > best.ID) {
			best = s
		}
	}
	if best.ID == "" {
		if b.blind != nil {
			return Sitting{}, nil, false, fmt.Errorf("whether a session is open is not known: %s", plain(b.blind))
		}
		return Sitting{}, nil, false, nil
	}
	m := b.sits[best.ID]
	b.newer(best)
	m.inbox = nil
	var out []session.Event
	for _, r := range m.events() {
		out = append(out, r.ev)
	}
	return best, out, true, nil
}

// newer tells once that a sitting holds what this program does not know.
func (b *Book) newer(s Sitting) {
	if s.Newer && !b.toldNew[s.ID] {
		b.toldNew[s.ID] = true
		b.note(Newer, "The open session was written by a newer wetside too. What is known here goes on; what is not is left as it is. Its finished sheets cannot be changed here.")
	}
}

// sitting reads a sitting's own line from its events. It is closed when a
// replay says so, for a Closed that the machine refuses closes nothing.
func (m *memory) sitting() Sitting {
	s := Sitting{ID: m.sit, Pace: 1}
	events := m.events()
	for _, r := range events {
		if r.ev.Kind == session.Opened {
			s.Opened, s.Rehearsal, s.From = r.ev.At.Wall, r.ev.Rehearsal, r.From
			if r.ev.Pace > 0 {
				s.Pace = r.ev.Pace
			}
			break
		}
	}
	mach, at, unknown := replay(events)
	if mach.Closed() {
		s.Closed = at
	}
	s.Newer = unknown || slices.ContainsFunc(m.rows, func(r *row) bool { return r.body == "" })
	return s
}

// replay applies rows to a new machine, as every program does. It returns the
// wall time it was closed at, and whether there was anything it does not know.
func replay(rows []*row) (m *session.Machine, closed time.Time, unknown bool) {
	m = session.New()
	for _, r := range rows {
		was := m.Closed()
		// A refused event was refused when it happened too.
		if err := m.Replay(r.ev); errors.Is(err, session.ErrUnknown) {
			unknown = true
		}
		if m.Closed() && !was {
			closed = r.ev.At.Wall
		}
	}
	return m, closed, unknown
}
