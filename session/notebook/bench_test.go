package notebook

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"wetside/session"
)

// The figures of the notebook:
//
//	go test -run '^$' -bench . ./session/notebook
//
// for a notebook of 1,000 sheets, and for 100,000 (1.5 million events) with
// WETSIDE_SHEETS=100000. Files are made on the disk of TMPDIR, not in memory.
// WETSIDE_BENCH_DIR keeps the generated notebook there for the next run.

// newID is as the program makes them: see newID in cmd/wetside.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

var generated = map[int]string{}

func sheetsWanted(b *testing.B) int {
	n := 1000
	if s := os.Getenv("WETSIDE_SHEETS"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			b.Fatal("WETSIDE_SHEETS: ", err)
		}
	}
	return n
}

var benchDir = sync.OnceValue(func() string {
	if d := os.Getenv("WETSIDE_BENCH_DIR"); d != "" {
		return d
	}
	d, err := os.MkdirTemp("", "wetside-bench-")
	if err != nil {
		panic(err)
	}
	return d
})

// bookOf returns the path of a notebook of n sheets, ten a sitting, one sitting a day.
func bookOf(b *testing.B, n int) Config {
	b.Helper()
	c := Config{Path: filepath.Join(benchDir(), fmt.Sprintf("book-%d.db", n)), NewID: newID, Now: time.Now}
	if generated[n] != "" {
		return c
	}
	generated[n] = c.Path
	if _, err := os.Stat(c.Path); err == nil {
		return c
	}
	start := time.Now()
	bk, _, err := Open(c)
	if err != nil {
		b.Fatal(err)
	}
	r := rnd(uint64(n))
	for done := 0; done < n; {
		sit := newID()
		day := time.Duration(done/10) * 24 * time.Hour
		m := bk.mem(sit)
		m.learn(newRow(b, bk, m, session.Event{Kind: session.Opened, At: at(day)}))
		end := day
		for i := range 10 {
			if done >= n {
				break
			}
			var evs []session.Event
			evs, end = life(uuid.NewString(), done, day+time.Duration(i)*45*time.Minute, r)
			for _, ev := range evs {
				m.learn(newRow(b, bk, m, ev))
			}
			done++
		}
		m.learn(newRow(b, bk, m, session.Event{Kind: session.Closed, At: at(end)}))
		if err := bk.put(m, bk.records(m)...); err != nil {
			b.Fatal(err)
		}
		if done%10000 == 0 || done >= n {
			bk.archive()
			clear(bk.sits)
		}
	}
	if err := bk.Close(); err != nil {
		b.Fatal(err)
	}
	fi, _ := os.Stat(c.Path)
	b.Logf("made a notebook of %d sheets, %d MB, in %v", n, fi.Size()>>20, time.Since(start).Round(time.Second))
	return c
}

func newRow(b *testing.B, bk *Book, m *memory, ev session.Event) *row {
	r := bk.newRow(m, marshal(b, ev), false)
	r.read()
	return r
}

func sizes(b *testing.B, run func(b *testing.B, c Config)) {
	for _, n := range []int{10, sheetsWanted(b)} {
		c := bookOf(b, n)
		b.Run(fmt.Sprintf("sheets=%d", n), func(b *testing.B) { run(b, c) })
	}
}

// BenchmarkFsync is what one synced append of the size of an event costs here:
// the unit for BenchmarkAppend.
func BenchmarkFsync(b *testing.B) {
	f, err := os.Create(filepath.Join(b.TempDir(), "f"))
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	buf := make([]byte, 4096)
	for b.Loop() {
		if _, err := f.Write(buf); err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkAppend saves events, and between them syncs a file as
// BenchmarkFsync does, so that both meet the same disk: fsyncs/save is the one
// by the other.
func BenchmarkAppend(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		bk, _, err := Open(c)
		if err != nil {
			b.Fatal(err)
		}
		defer bk.Close()
		s, err := bk.Begin(session.Event{Kind: session.Opened, At: at(0), Rehearsal: true})
		if err != nil {
			b.Fatal(err)
		}
		f, err := os.Create(filepath.Join(filepath.Dir(c.Path), "fsync"))
		if err != nil {
			b.Fatal(err)
		}
		defer os.Remove(f.Name())
		defer f.Close()
		buf := make([]byte, 4096)
		var save, sync []time.Duration
		ev := session.Event{Kind: session.Noted, At: at(0), Note: "a note of middling length"}
		cpu := spent()
		for b.Loop() {
			t0 := time.Now()
			if _, err := bk.Append(s.ID, ev); err != nil {
				b.Fatal(err)
			}
			t1 := time.Now()
			if _, err := f.Write(buf); err != nil {
				b.Fatal(err)
			}
			if err := f.Sync(); err != nil {
				b.Fatal(err)
			}
			save, sync = append(save, t1.Sub(t0)), append(sync, time.Since(t1))
		}
		b.ReportMetric(float64((spent()-cpu).Microseconds())/float64(b.N), "cpu-µs/op")
		mean := func(d []time.Duration) (sum time.Duration) {
			for _, x := range d {
				sum += x
			}
			return sum / time.Duration(len(d))
		}
		median := func(d []time.Duration) time.Duration {
			slices.Sort(d)
			return d[len(d)/2]
		}
		b.ReportMetric(float64(mean(save))/float64(mean(sync)), "fsyncs/save-mean")
		b.ReportMetric(float64(median(save))/float64(median(sync)), "fsyncs/save-median")
		b.ReportMetric(float64(median(save).Microseconds()), "µs/save-median")
		b.ReportMetric(float64(median(sync).Microseconds()), "µs/fsync-median")
		if _, err := bk.Append(s.ID, session.Event{Kind: session.Closed, At: at(time.Hour)}); err != nil {
			b.Fatal(err)
		}
	})
}

func BenchmarkStart(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		for b.Loop() {
			bk, _, err := Open(c)
			if err != nil {
				b.Fatal(err)
			}
			if _, _, _, err := bk.Live(false); err != nil {
				b.Fatal(err)
			}
			b.StopTimer()
			bk.Close()
			b.StartTimer()
		}
	})
}

func opened(b *testing.B, c Config) *Book {
	bk, _, err := Open(c)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { bk.Close() })
	return bk
}

// BenchmarkList opens the list as a screen does: its first ten rows.
func BenchmarkList(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		bk := opened(b, c)
		for b.Loop() {
			rows, err := bk.Sheets(Filter{Limit: 10})
			if err != nil || len(rows) != 10 {
				b.Fatal(len(rows), err)
			}
		}
	})
}

// BenchmarkListScreen reads forty rows, a full screen of a great notebook.
func BenchmarkListScreen(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		bk := opened(b, c)
		for b.Loop() {
			if _, err := bk.Sheets(Filter{Limit: 40}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkSheet(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		bk := opened(b, c)
		rows, err := bk.Sheets(Filter{Limit: 10})
		if err != nil {
			b.Fatal(err)
		}
		for i := 0; b.Loop(); i++ {
			if _, err := bk.Sheet(rows[i%len(rows)].ID); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkExport(b *testing.B) {
	n := sheetsWanted(b)
	c := bookOf(b, n)
	for _, f := range Formats {
		b.Run(f.Name, func(b *testing.B) {
			bk := opened(b, c)
			cpu := spent()
			for b.Loop() {
				if err := bk.Export(io.Discard, f, Filter{}, Options{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "sheets/s")
			// On a busy machine this is what tells.
			b.ReportMetric(float64(n)*float64(b.N)/(spent()-cpu).Seconds(), "sheets/cpu-s")
		})
	}
}

func BenchmarkCheck(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		bk := opened(b, c)
		for b.Loop() {
			if err := bk.Check(b.Context()); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkUpgrade opens a notebook of the schema before this one, whose
// database alone has all there is, until its journal has it too. Events are
// saved meanwhile; longest is how long one of them took.
func BenchmarkUpgrade(b *testing.B) {
	sizes(b, func(b *testing.B, c Config) {
		from := olderCopy(b, c)
		var opened, longest time.Duration
		for b.Loop() {
			b.StopTimer()
			u := Config{Path: filepath.Join(b.TempDir(), "notebook.db"), NewID: newID, Now: time.Now, Served: true}
			data, err := os.ReadFile(from)
			if err != nil {
				b.Fatal(err)
			}
			if err := os.WriteFile(u.Path, data, 0o600); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			begin := time.Now()
			bk, _, err := Open(u)
			if err != nil {
				b.Fatal(err)
			}
			opened = time.Since(begin)
			s, err := bk.Begin(session.Event{Kind: session.Opened, At: at(0)})
			if err != nil {
				b.Fatal(err)
			}
			done := make(chan error)
			go func() { done <- bk.Flush() }()
			for going := true; going; {
				select {
				case err := <-done:
					if err != nil {
						b.Fatal(err)
					}
					going = false
				case <-time.After(100 * time.Millisecond):
					t := time.Now()
					if _, err := bk.Append(s.ID, session.Event{Kind: session.Noted, At: at(0), Note: "on"}); err != nil {
						b.Fatal(err)
					}
					longest = max(longest, time.Since(t))
				}
			}
			b.StopTimer()
			if n, err := bk.Count(Filter{}); err != nil || n == 0 {
				b.Fatal(n, err)
			}
			bk.Close()
			b.StartTimer()
		}
		b.ReportMetric(opened.Seconds(), "s/open")
		b.ReportMetric(longest.Seconds(), "s/longest")
	})
}

// olderCopy makes a notebook of the schema before this one, with what is in c.
func olderCopy(b *testing.B, c Config) string {
	path := c.Path + ".older"
	if _, err := os.Stat(path); err == nil {
		return path
	}
	rd, err := openReader(c.Path, "mode=rw")
	if err != nil {
		b.Fatal(err)
	}
	defer rd.Close()
	o := oldNotebook(b, path, 2)
	o.db.SetMaxOpenConns(1)
	o.exec(`BEGIN`)
	if _, _, err := salvage(rd, "", func(r *row) error {
		if r.rec {
			rec, err := decodeRecord(r.body)
			o.record(&rec)
			return err
		}
		o.put(r.Sitting, r.ev, false)
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	o.exec(`COMMIT`)
	o.exec(`PRAGMA wal_checkpoint(TRUNCATE)`)
	o.db.Close()
	return path
}

func BenchmarkSaveSheet(b *testing.B) {
	s, m, sh := fullSheet(b)
	dir := b.TempDir()
	bk := opened(b, Config{Path: filepath.Join(dir, "n.db"), LogDir: filepath.Join(dir, "log"), NewID: newID, Now: time.Now})
	for b.Loop() {
		if err := bk.SaveSheet(s, sh, m.Now(), nil); err != nil {
			b.Fatal(err)
		}
	}
}
