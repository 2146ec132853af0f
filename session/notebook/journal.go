package notebook

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/gofrs/flock"
	"wetside/session"
)

// A row is one line of the journal: an event, or the record of a sheet.
type row struct {
	head
	rec  bool
	body string        // the event or record as JSON; empty: of a sort this program does not know
	ev   session.Event // of an event
	text string        // the whole line
	runs bool          // an Opened of an old database, that was not closed there
}

// head is what every line begins with.
type head struct {
	ID      string `json:"id"`
	Sitting string `json:"sitting"`
	N       int64  `json:"n"`              // its place in the sitting
	From    string `json:"from,omitempty"` // the notebook it came in from; empty: it was written here
}

func sum(s string) uint32 { return crc32.ChecksumIEEE([]byte(s)) }

// seal writes the line: {"id":…,"sitting":…,"n":…,"event":{…},"crc":"8 hex digits"}.
// The checksum is that of all that stands before it, so that a line is copied
// and checked as text, whatever a newer program put into it.
func (r *row) seal() {
	if r.body == "" && r.text != "" {
		return // it stays as it came
	}
	h, err := json.Marshal(r.head)
	if err != nil {
		panic(err) // strings and numbers
	}
	kind := `,"event":`
	if r.rec {
		kind = `,"record":`
	}
	s := string(h[:len(h)-1]) + kind + r.body
	r.text = s + end(s)
}

// end is how a line goes on after s.
func end(s string) string { return fmt.Sprintf(`,"crc":"%08x"}`, sum(s)) }

// parse reads a line; ok is false when it is damaged. Lines of the first
// journals had a "sum" of id, sitting and event.
func parse(text string) (r *row, ok bool) {
	r = &row{text: text}
	i := len(text) - len(end(""))
	if i < 0 || !strings.HasPrefix(text[i:], `,"crc":"`) || !strings.HasSuffix(text, `"}`) {
		var old struct {
			head
			Event json.RawMessage `json:"event"`
			Sum   uint32          `json:"sum"`
		}
		if json.Unmarshal([]byte(text), &old) != nil || rowSum(old.ID, old.Sitting, string(old.Event)) != old.Sum {
			return nil, false
		}
		r.head, r.body = old.head, string(old.Event)
		r.seal()
		return r, r.read()
	}
	if text[i:] != end(text[:i]) {
		return nil, false
	}
	// Within the head the quotes of a string are escaped, so it ends here.
	h := text[:i]
	for _, kind := range []string{`,"event":`, `,"record":`} {
		if j := strings.Index(h, kind); j >= 0 {
			r.rec, r.body, h = kind != `,"event":`, text[j+len(kind):i], h[:j]
		}
	}
	if json.Unmarshal([]byte(h+"}"), &r.head) != nil {
		return nil, false
	}
	return r, r.read()
}

// read takes the body in, and reports whether the row makes sense.
func (r *row) read() bool {
	if r.ID == "" || r.Sitting == "" || strings.ContainsAny(r.text, "\r\n") {
		return false
	}
	return r.rec || r.body == "" || json.Unmarshal([]byte(r.body), &r.ev) == nil
}

// intact reports whether a line of the index holds, by its checksum and by the
// columns beside it, without reading what is in it.
func intact(id, sit, text []byte) bool {
	i := len(text) - len(end(""))
	if i < 0 {
		return false
	}
	crc := binary.BigEndian.AppendUint32(nil, crc32.ChecksumIEEE(text[:i]))
	if string(text[i:]) != `,"crc":"`+hex.EncodeToString(crc)+`"}` {
		return false
	}
	plain := `{"id":"` + string(id) + `","sitting":"` + string(sit) + `","n":`
	if bytes.HasPrefix(text, []byte(plain)) {
		return true
	}
	h, err := json.Marshal(head{ID: string(id), Sitting: string(sit)}) // with what JSON writes otherwise
	return err == nil && bytes.HasPrefix(text, h[:len(h)-2])
}

func (r *row) isEvent() bool { return !r.rec && r.body != "" }

func rowSum(id, sit, body string) uint32 { return sum(id + "\n" + sit + "\n" + body) }

var fileSafe = regexp.MustCompile(`^[0-9A-Za-z][0-9A-Za-z-]{0,63}$`)

// journalName is the file name of a sitting's journal. Identities come from
// other people's notebooks too, so anything that is no plain word is hashed.
func journalName(sit string) string {
	if !fileSafe.MatchString(sit) {
		h := sha256.Sum256([]byte(sit))
		sit = "x-" + hex.EncodeToString(h[:16])
	}
	return sit + ".jsonl"
}

func (b *Book) journalDir() string { return b.cfg.Path + ".journal" }
func (b *Book) keptDir() string    { return filepath.Join(b.journalDir(), "kept") }

// dirs are the folders that hold a sitting's journal: put away, in its place,
// and where it goes when that place refuses.
func (b *Book) dirs() []string {
	out := []string{b.keptDir(), b.journalDir()}
	h := sha256.Sum256([]byte(b.cfg.Path))
	for _, s := range b.cfg.Spare {
		if s != "" {
			out = append(out, filepath.Join(s, "notebook-"+hex.EncodeToString(h[:6])))
		}
	}
	return out
}

// The places in dirs.
const (
	kept = iota
	home
	spare
)

// A file is one file of a sitting's journal, as far as it was read.
type file struct {
	path string
	info fs.FileInfo     // nil: it is not there
	off  int64           // up to the end of the last whole line
	has  map[string]bool // the lines in it
	bad  int             // lines that are damaged
	err  error           // it cannot be read
}

// memory is what this Book knows of one sitting.
type memory struct {
	sit   string
	rows  []*row // every line, in order
	known map[string]*row
	recs  map[string]*row // the newest record of each sheet
	inbox []*row          // events not yet returned
	last  int64           // the greatest N
	files []file
	done  int // how many of rows the index has
}

func (b *Book) fresh(sit string) *memory {
	m := &memory{sit: sit, known: map[string]*row{}, recs: map[string]*row{}}
	for _, d := range b.dirs() {
		m.files = append(m.files, file{path: filepath.Join(d, journalName(sit))})
	}
	return m
}

// learn takes rows in that are not known yet.
func (m *memory) learn(rows ...*row) {
	for _, r := range rows {
		if m.known[r.ID] != nil || r.Sitting != m.sit {
			continue
		}
		m.known[r.ID] = r
		m.rows = append(m.rows, r)
		m.last = max(m.last, r.N)
		if r.rec {
			var who struct{ ID string }
			if json.Unmarshal([]byte(r.body), &who) == nil && (m.recs[who.ID] == nil || m.recs[who.ID].N <= r.N) {
				m.recs[who.ID] = r
			}
		} else if r.body != "" {
			m.inbox = append(m.inbox, r)
		}
	}
}

func byPlace(a, b *row) int { return cmp.Compare(a.N, b.N) }

// returned empties the inbox.
func (m *memory) returned() []session.Event {
	out := make([]session.Event, len(m.inbox))
	for i, r := range m.inbox {
		out[i] = r.ev
	}
	m.inbox = nil
	return out
}

// held reports whether the row is in one of the first n files.
func (m *memory) held(r *row, n int) bool {
	return slices.ContainsFunc(m.files[:n], func(f file) bool { return f.has[r.ID] })
}

// unheld returns the rows that are in none of the first n files.
func (m *memory) unheld(n int) []*row {
	var out []*row
	for _, r := range m.rows {
		if !m.held(r, n) {
			out = append(out, r)
		}
	}
	return out
}

// pull reads what was added to the files of m, and reports whether there was
// anything new about them. Another program may be moving lines from a second
// place home, or a journal to where it is kept: they are read in this order, so
// that none is missed on its way.
func (m *memory) pull() (news bool) {
	var rows []*row
	for i := len(m.files) - 1; i >= 0; i-- {
		more, is := m.files[i].pull()
		rows = append(rows, more...)
		news = news || is
	}
	slices.SortStableFunc(rows, byPlace)
	m.learn(rows...)
	return news
}

func (f *file) pull() (rows []*row, news bool) {
	fi, err := os.Stat(f.path)
	if err != nil {
		news = f.info != nil
		*f = file{path: f.path}
		if !gone(err) {
			f.err = err
		}
		return nil, news
	}
	if f.info != nil && os.SameFile(fi, f.info) && fi.Size() == f.info.Size() && fi.ModTime().Equal(f.info.ModTime()) {
		return nil, false
	}
	if f.info == nil || !os.SameFile(fi, f.info) || fi.Size() <= f.info.Size() {
		*f = file{path: f.path, has: map[string]bool{}}
	}
	data, err := readFrom(f.path, f.off)
	if f.err = err; err != nil {
		*f = file{path: f.path, err: err}
		return nil, true
	}
	f.info = fi
	rows, n, bad := lines(data)
	for _, r := range rows {
		f.has[r.ID] = true
	}
	f.off += n
	f.bad += bad
	return rows, true
}

func gone(err error) bool { return errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) }

func readFrom(path string, off int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.NewSectionReader(f, off, 1<<62))
}

// lines reads the lines in data, and says how many bytes are read for good and
// how many lines are damaged. What follows the last line end may still be
// being written, unless it is whole.
func lines(data []byte) (rows []*row, n int64, bad int) {
	var last int64
	for len(data) > 0 {
		l, rest, ended := bytes.Cut(data, []byte("\n"))
		if len(l) > 0 {
			r, ok := parse(string(l))
			switch {
			case ok:
				if r.N == 0 { // an old line that had no place in the database yet
					r.N = last
				}
				last = r.N
				rows = append(rows, r)
			case !ended:
				return rows, n, bad
			default:
				bad++
			}
		}
		n += int64(len(data) - len(rest))
		data = rest
	}
	return rows, n, bad
}

// torn reports whether the file ends in something that is no whole line.
func (f *file) torn() bool { return f.info != nil && f.off < f.info.Size() }

var (
	errLocked = errors.New("another program holds the notebook")
	errGone   = errors.New("the notebook's folder is gone")
)

// lockFile takes the lock of one sitting, or of the notebook. A file that is
// removed by whoever holds it is no lock any more.
func lockFile(name string) (func(), error) {
	for i := 0; ; i++ {
		l := flock.New(name, flock.SetPermissions(0o600))
		ok, err := l.TryLock()
		if err != nil {
			if errors.Is(err, syscall.ENOLCK) || errors.Is(err, syscall.ENOSYS) || errors.Is(err, syscall.EOPNOTSUPP) {
				return func() {}, nil // the disk knows no locks; a line is one write all the same
			}
			return nil, err
		}
		if ok {
			mine, err := l.Stat()
			is, err2 := os.Stat(name)
			if err == nil && err2 == nil && os.SameFile(mine, is) {
				return func() { l.Close() }, nil
			}
		}
		l.Close()
		if i == 20 {
			return nil, errLocked
		}
		time.Sleep(busyWait / 20)
	}
}

func lockOf(path string) string { return strings.TrimSuffix(path, ".jsonl") + ".lock" }

// there reports whether the notebook's folder is the one that was opened, or
// has come back.
func (b *Book) there() bool {
	dir := filepath.Dir(b.cfg.Path)
	if b.folder == nil && b.mayMake {
		_ = os.MkdirAll(dir, 0o700) // it was never there
	}
	fi, err := os.Stat(dir)
	if err != nil {
		return false
	}
	if b.folder == nil || os.SameFile(fi, b.folder) {
		b.folder = fi
		return true
	}
	for _, p := range []string{b.cfg.Path, b.journalDir()} {
		if _, err := os.Lstat(p); err == nil {
			b.folder = fi
			return true
		}
	}
	return false // the empty place where a disk was
}

// write puts what no journal has into the first place that takes it.
func (b *Book) write(m *memory) error {
	var why error
	for i := home; i < len(m.files); i++ {
		err := b.writeTo(m, i)
		if err == nil {
			b.wrote(i, why)
			return nil
		}
		if why == nil {
			why = err
		}
	}
	b.wrote(len(m.files), why)
	return why
}

// wrote tells once where events go now.
func (b *Book) wrote(i int, why error) {
	was := b.place
	b.place = i
	if i != home && b.cfg.Now != nil && errors.Is(why, errLocked) {
		// Whoever holds it may hold it for long; the next event must not wait for them
		// again.
		b.retryAt = b.cfg.Now().Add(2 * time.Second)
	}
	dirs := b.dirs()
	switch {
	case i == was || i == home && was == 0:
	case i == home:
		b.note(Back, "The notebook can be written again. Everything that was kept elsewhere is in it.")
	case i < len(dirs):
		b.note(Elsewhere, "The notebook cannot be written: %s. What is done now is written to %s, and joined to the notebook when it can be.", plain(why), dirs[i])
	default:
		b.note(Memory, "The notebook cannot be written: %s. What is done now is kept in memory alone, and lost if the program ends before the disk returns.", plain(why))
	}
}

func (b *Book) writeTo(m *memory, i int) error {
	if i == home && !b.there() {
		m.pull() // what was in it is nowhere now
		return errGone
	}
	if i == home && b.cfg.Now != nil && b.cfg.Now().Before(b.retryAt) {
		return errLocked
	}
	f := &m.files[i]
	if i > home && len(m.unheld(i+1)) == 0 {
		return nil
	}
	if err := b.makeDir(i); err != nil {
		return err
	}
	unlock, err := lockFile(lockOf(f.path))
	if err != nil {
		return err
	}
	defer unlock()
	knew := len(m.rows)
	m.pull()
	if f.err != nil { // it is there and cannot be read
		if err := b.aside(f.path, true); err != nil {
			return err
		}
		m.pull()
	}
	lack := m.unheld(i + 1)
	if len(lack) == 0 && i == home && b.place > home {
		if err := b.probe(); err != nil { // nothing to write does not mean that it could be
			return err
		}
	}
	if len(lack) > 0 {
		if len(m.rows) > knew { // another program was before us
			m.putLast(lack)
		}
		if err := f.add(lack); err != nil {
			return err
		}
	}
	if i == home {
		b.joinSpares(m)
	}
	return nil
}

// makeDir makes the folder of a place. A file that stands there is set aside.
func (b *Book) makeDir(i int) error {
	dir := b.dirs()[i]
	if fi, err := os.Stat(dir); err == nil && !fi.IsDir() {
		if err := b.aside(dir, true); err != nil {
			return err
		}
	}
	make := os.MkdirAll
	if i == home {
		make = os.Mkdir // the notebook's own folder may be gone
	}
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := make(dir, 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	_ = syncDir(filepath.Dir(dir))
	return nil
}

// add appends rows to the file and syncs it. What a full disk cuts short is
// taken away again.
func (f *file) add(rows []*row) (err error) {
	_, serr := os.Stat(f.path)
	w, err := os.OpenFile(f.path, os.O_WRONLY|os.O_APPEND|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.Close()) }()
	was, err := w.Stat()
	if err != nil {
		return err
	}
	var buf bytes.Buffer
	if was.Size() > f.off {
		buf.WriteByte('\n') // what was cut short before stays a line of its own
	}
	for _, r := range rows {
		buf.WriteString(r.text)
		buf.WriteByte('\n')
	}
	if _, err = w.Write(buf.Bytes()); err == nil {
		err = fsync(w)
	}
	if err != nil {
		_ = w.Truncate(was.Size())
		return err
	}
	if serr != nil {
		_ = syncDir(filepath.Dir(f.path))
	}
	if f.info, err = w.Stat(); err != nil {
		return err
	}
	f.off = f.info.Size()
	if f.has == nil {
		f.has = map[string]bool{}
	}
	for _, r := range rows {
		f.has[r.ID] = true
	}
	return nil
}

// joinSpares takes away the second places of a sitting whose lines are all home.
func (b *Book) joinSpares(m *memory) {
	for i := spare; i < len(m.files); i++ {
		f := &m.files[i]
		if f.info == nil || slices.ContainsFunc(slices.Collect(maps.Keys(f.has)), func(id string) bool {
			return !m.files[kept].has[id] && !m.files[home].has[id]
		}) {
			continue
		}
		unlock, err := lockFile(lockOf(f.path))
		if err != nil {
			continue
		}
		if rows, _ := f.pull(); len(rows) > 0 {
			m.learn(rows...) // another program was quicker; next time
		} else if f.bad > 0 || f.torn() {
			_ = b.aside(f.path, true)
		} else {
			_ = os.Remove(f.path)
		}
		_ = os.Remove(lockOf(f.path))
		unlock()
		_ = os.Remove(filepath.Dir(f.path)) // if it is empty
		f.pull()
	}
}

// aside puts a damaged file away, under a name that says when; or, if it is to
// stay where it is, a copy of it.
func (b *Book) aside(path string, move bool) error {
	to := b.asideName(path, "damaged")
	if move {
		return os.Rename(path, to)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	return writeSynced(to, data)
}

func (b *Book) asideName(path, what string) string {
	stamp := "unknown-date"
	if b.cfg.Now != nil {
		stamp = b.cfg.Now().Format("20060102-150405")
	} else if fi, err := os.Stat(path); err == nil {
		stamp = fi.ModTime().Format("20060102-150405")
	}
	name := path + "." + what + "-" + stamp
	for i := 2; ; i++ {
		if _, err := os.Lstat(name); err != nil {
			if _, err := os.Lstat(name + "-wal"); err != nil {
				return name
			}
		}
		name = fmt.Sprintf("%s.%s-%s-%d", path, what, stamp, i)
	}
}

// fsync and syncDir make a file, and the names in a folder, outlast a power cut.
// They can be watched in a test.
var (
	fsync   = (*os.File).Sync
	syncDir = syncFolder
)

func writeSynced(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = fsync(f)
	}
	return errors.Join(err, f.Close())
}

// rewrite makes the file i of a sitting anew, from all that is known of it but
// what a file before holds; what stood there is set aside if it was damaged.
// The caller holds the sitting's lock.
func (b *Book) rewrite(m *memory, i int) error {
	f := &m.files[i]
	if f.info != nil && (f.bad > 0 || f.torn()) {
		if err := b.aside(f.path, false); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(filepath.Dir(f.path), 0o700); err != nil {
		return err
	}
	rows := slices.Clone(m.rows)
	if i == home {
		rows = m.unheld(home)
	}
	slices.SortStableFunc(rows, byPlace)
	var buf bytes.Buffer
	for _, r := range rows {
		buf.WriteString(r.text)
		buf.WriteByte('\n')
	}
	tmp := f.path + ".part"
	if err := writeSynced(tmp, buf.Bytes()); err != nil {
		os.Remove(tmp)
		return err
	}
	if err := os.Rename(tmp, f.path); err != nil {
		return err
	}
	_ = syncDir(filepath.Dir(f.path))
	*f = file{path: f.path}
	f.pull()
	return nil
}

// putLast gives lines that are nowhere yet the places after all others.
func (m *memory) putLast(rows []*row) {
	for _, r := range rows {
		if !m.held(r, len(m.files)) {
			m.last++
			r.N = m.last
			r.seal()
		}
	}
	slices.SortStableFunc(m.rows[m.done:], byPlace)
}
