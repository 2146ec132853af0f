package notebook

import (
	"bufio"
	"database/sql"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// start runs the child program on a notebook and hands its lines over.
func start(t *testing.T, path, name, count string) (*exec.Cmd, *bufio.Scanner) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), "WETSIDE_NOTEBOOK_CHILD="+path, "WETSIDE_NOTEBOOK_NAME="+name, "WETSIDE_NOTEBOOK_COUNT="+count)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd, bufio.NewScanner(out)
}

func torture(t *testing.T, byDefault int) int {
	if s := os.Getenv("WETSIDE_TORTURE"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal("WETSIDE_TORTURE: ", err)
		}
		return n
	}
	return byDefault
}

// Killed at any instant, the notebook has every event that was confirmed. The
// full version: WETSIDE_TORTURE=300 go test -run Kill ./session/notebook
func TestKilledAtRandomInstantsNothingConfirmedIsLost(t *testing.T) {
	c := config(t)
	r := rnd(uint64(time.Now().UnixNano()))
	var saved []string
	rounds := torture(t, 25)
	for range rounds {
		cmd, out := start(t, c.Path, "k", "")
		opened := false
		var once sync.Once
		kill := func() { once.Do(func() { cmd.Process.Kill() }) }
		var timer *time.Timer
		for out.Scan() {
			what, rest, _ := strings.Cut(out.Text(), " ")
			switch what {
			case "open":
				opened = true
				// A random instant within the next tens of commits.
				timer = time.AfterFunc(time.Duration(r.Int64N(int64(20*time.Millisecond))), kill)
				if n, _ := strconv.Atoi(rest); n < len(saved) {
					t.Errorf("came back with %d events, %d were confirmed", n, len(saved))
				}
			case "saved":
				saved = append(saved, rest)
			case "notice":
				// A kill can divide a line where a page of the file ends.
				if !strings.HasPrefix(rest, string(CutShort)) {
					t.Error(out.Text())
				}
			default:
				t.Error(out.Text())
			}
		}
		if timer != nil {
			timer.Stop()
		}
		kill()
		cmd.Wait()
		if !opened {
			t.Fatal("the program did not come up")
		}
	}
	b := open(t, c)
	_, evs, ok, err := b.Live(false)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	have := map[string]int{}
	for _, ev := range evs {
		have[ev.Note]++
	}
	for _, s := range saved {
		if have[s] != 1 {
			t.Errorf("%q was confirmed and is there %d times", s, have[s])
		}
	}
	if err := b.Check(t.Context()); err != nil {
		t.Error(err)
	}
	t.Logf("%d kills, %d events confirmed, %d in the notebook", rounds, len(saved), len(evs))
}

// Two programs write as fast as they can: neither damages the file, neither is
// refused, and each confirmed event is there once.
func TestTwoProgramsWriteAtOnce(t *testing.T) {
	c := config(t)
	first := open(t, c)
	sitting(t, first, 0, eventAt(0))
	const n = 60
	var mu sync.Mutex
	var saved []string
	var wg sync.WaitGroup
	for _, name := range []string{"field", "trays"} {
		cmd, out := start(t, c.Path, name, strconv.Itoa(n))
		wg.Go(func() {
			closed := false
			for out.Scan() {
				what, rest, _ := strings.Cut(out.Text(), " ")
				switch what {
				case "saved":
					mu.Lock()
					saved = append(saved, rest)
					mu.Unlock()
				case "closed":
					closed = true
				case "open":
				default:
					t.Error(name, out.Text())
				}
			}
			if err := cmd.Wait(); err != nil || !closed {
				t.Error(name, err, closed)
			}
		})
	}
	wg.Wait()
	have := map[string]int{}
	for _, body := range allEvents(t, first) {
		for _, s := range saved {
			if strings.Contains(body, `"`+s+`"`) {
				have[s]++
			}
		}
	}
	if len(saved) != 2*n || len(have) != 2*n {
		t.Errorf("%d confirmed, %d there", len(saved), len(have))
	}
	for s, k := range have {
		if k != 1 {
			t.Error(s, k)
		}
	}
	s, _, _, err := first.Live(false)
	if err != nil {
		t.Fatal(err)
	}
	if evs, err := first.Poll(s.ID); err != nil || len(evs) != 0 {
		t.Error("Live has returned them:", len(evs), err)
	}
	if err := first.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// Two programs write to one sitting, and one or the other is killed at any
// instant and started again. Each confirmed event is there once, and whoever
// looked on saw the events in the order in which the next start has them.
func TestTwoProgramsKilledAtRandomInstants(t *testing.T) {
	c := config(t)
	onlooker := open(t, c)
	s, _ := sitting(t, onlooker, 0, eventAt(0))
	seed := rnd(uint64(time.Now().UnixNano()))
	rounds := torture(t, 12)
	var mu sync.Mutex
	var saved []string
	var wg sync.WaitGroup
	var done atomic.Int32
	for _, name := range []string{"field", "trays"} {
		r := rnd(seed.Uint64())
		wg.Go(func() {
			defer done.Add(1)
			for range rounds {
				cmd, out := start(t, c.Path, name, "")
				var timer *time.Timer
				for out.Scan() {
					what, rest, _ := strings.Cut(out.Text(), " ")
					switch what {
					case "open":
						timer = time.AfterFunc(time.Duration(r.Int64N(int64(40*time.Millisecond))), func() { cmd.Process.Kill() })
					case "saved":
						mu.Lock()
						saved = append(saved, rest)
						mu.Unlock()
					case "notice": // one of the two was quicker to bring the index up to date
					default:
						t.Error(name, out.Text())
					}
				}
				if timer == nil {
					t.Error("the program did not come up")
					cmd.Process.Kill()
				}
				cmd.Wait()
			}
		})
	}
	seen := []string{""} // the Opened
	look := func() {
		evs, err := onlooker.Poll(s.ID)
		if err != nil {
			t.Error(err)
		}
		for _, ev := range evs {
			seen = append(seen, ev.Note)
		}
	}
	for done.Load() < 2 {
		look()
		time.Sleep(time.Millisecond)
	}
	wg.Wait()
	look()
	next := open(t, crash(t, onlooker))
	_, evs, ok, err := next.Live(false)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	var order []string
	have := map[string]int{}
	for _, ev := range evs {
		order = append(order, ev.Note)
		have[ev.Note]++
	}
	if !slices.Equal(order, seen) {
		t.Errorf("the onlooker saw %d events, the next start has %d, or in another order", len(seen), len(order))
	}
	for _, x := range saved {
		if have[x] != 1 {
			t.Errorf("%q was confirmed and is there %d times", x, have[x])
		}
	}
	if n := len(allEvents(t, next)); n != len(evs) {
		t.Errorf("%d events in the index, %d in the journal", n, len(evs))
	}
	t.Logf("%d kills of each, %d events confirmed, %d in the notebook", rounds, len(saved), len(evs))
}

// A platter is a disk on which only that is after a power cut which was synced.
type platter struct {
	sizes map[string]int64
	names map[string]bool
}

func watched(t *testing.T, before func(path string)) *platter {
	t.Helper()
	p := &platter{map[string]int64{}, map[string]bool{}}
	file, dir := fsync, syncDir
	t.Cleanup(func() { fsync, syncDir = file, dir })
	fsync = func(f *os.File) error {
		before(f.Name())
		fi, err := f.Stat()
		if err == nil {
			p.sizes[f.Name()] = fi.Size()
		}
		return err
	}
	syncDir = func(dir string) error {
		es, err := os.ReadDir(dir)
		for _, e := range es {
			p.names[filepath.Join(dir, e.Name())] = true
		}
		return err
	}
	return p
}

// cut copies the folder of a journal as it is after a power cut, under to.
func (p *platter) cut(t *testing.T, from, to string) {
	t.Helper()
	if !p.names[from] {
		return
	}
	for _, name := range journalFiles(from) {
		path := filepath.Join(from, name)
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if p.names[path] {
			if err := errors.Join(os.MkdirAll(to, 0o700), os.WriteFile(filepath.Join(to, name), data[:p.sizes[path]], 0o600)); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// An event is on the disk before the index has it and before it is confirmed,
// in the notebook's folder and in the second place: whenever the power goes,
// all that was confirmed is there, though of the index nothing is.
func TestWhatIsConfirmedOutlastsAPowerCut(t *testing.T) {
	c := config(t)
	c.Spare = []string{filepath.Join(t.TempDir(), "state")}
	if err := os.Mkdir(c.Spare[0], 0o700); err != nil {
		t.Fatal(err)
	}
	var looks *sql.DB
	indexed := func() (n int) {
		if looks != nil {
			if err := looks.QueryRow(`SELECT count(*) FROM line`).Scan(&n); err != nil {
				t.Error(err)
			}
		}
		return n
	}
	confirmed, syncs := 0, 0
	p := watched(t, func(path string) {
		syncs++
		if n := indexed(); n > confirmed {
			t.Errorf("the index has %d lines before event %d is on the disk", n, confirmed+1)
		}
	})
	b := open(t, c)
	spare := b.dirs()[spare]
	var err error
	if looks, err = openReader(c.Path, "mode=rw"); err != nil {
		t.Fatal(err)
	}
	s, err := b.Begin(eventAt(0))
	if err != nil {
		t.Fatal(err)
	}
	confirmed = 1
	data := filepath.Dir(c.Path)
	evs, _ := life(c.NewID(), 1, time.Hour, rnd(1))
	for i, ev := range evs {
		if i == 8 {
			looks.Close()
			looks = nil
			if err := os.Rename(data, data+".away"); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() { os.RemoveAll(data + ".away") })
		}
		was := syncs
		if _, err := b.Append(s.ID, ev); err != nil {
			t.Fatal(err)
		}
		confirmed++
		if syncs == was {
			t.Errorf("event %d was confirmed without a sync", i)
		}
		after := config(t)
		after.Spare = []string{t.TempDir()}
		if i < 8 {
			p.cut(t, c.Path+".journal", after.Path+".journal")
		}
		p.cut(t, spare, (&Book{cfg: after}).dirs()[2])
		next := open(t, after)
		if _, evs, ok, err := next.Live(false); err != nil || !ok || len(evs) != confirmed {
			t.Errorf("event %d: %d of %d are there after a power cut; %v %v", i, len(evs), confirmed, ok, err)
		}
		next.Close()
	}
}
