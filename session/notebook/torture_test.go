package notebook

import (
	"bufio"
	"os"
	"os/exec"
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
