package notebook

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
	"wetside/session"
	"wetside/session/sessiontest"
)

// A sheet with everything in it: baths, light that changed, a covered pinhole,
// a move taken back, notes, marks, a judgement, a scan.
func fullSheet(t testing.TB) (Sitting, *session.Machine, *session.Sheet) {
	m := session.New()
	do := func(at session.Instant, ev session.Event) {
		t.Helper()
		ev.At = at
		if err := m.Apply(ev); err != nil {
			t.Fatal(ev.Kind, err)
		}
	}
	const id = "0b7f1f9a-0000-4000-8000-000000000001"
	do(at(0), session.Event{Kind: session.Opened})
	do(at(0), session.Event{Kind: session.BathMixed, Mix: &session.Mix{ID: "m1", Name: "fixer 1", What: "rapid fixer", Dilution: "1+4", ML: 1000, PerLitre: 20000}})
	do(at(time.Minute), session.Event{Kind: session.SheetAdded, Sheet: id, Spec: spec(0)})
	do(at(61*time.Second), session.Event{Kind: session.SheetOut, Sheet: id})
	do(at(91*time.Second), session.Event{Kind: session.SheetAway, Sheet: id})
	do(at(2*time.Minute), session.Event{Kind: session.ExposureBegun, Sheet: id, Planned: 4 * time.Minute, Note: "f/150, EV 12.5"})
	do(at(3*time.Minute), session.Event{Kind: session.PinholeCovered, Sheet: id})
	do(at(3*time.Minute+30*time.Second), session.Event{Kind: session.PinholeUncovered, Sheet: id})
	do(at(4*time.Minute+30*time.Second), session.Event{Kind: session.LightChanged, Sheet: id, Stops: -1, Planned: 8 * time.Minute})
	do(at(8*time.Minute+30*time.Second), session.Event{Kind: session.ExposureEnded, Sheet: id})
	do(at(10*time.Minute), session.Event{Kind: session.Moved, Sheet: id})
	do(at(10*time.Minute+15*time.Second), session.Event{Kind: session.ImageSeen, Sheet: id})
	do(at(11*time.Minute+20*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 1})
	do(at(11*time.Minute+25*time.Second), session.Event{Kind: session.Undone, Sheet: id})
	do(at(12*time.Minute), session.Event{Kind: session.Marked, Sheet: id})
	do(at(13*time.Minute+12*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 1})
	do(at(13*time.Minute+22*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 3})
	do(at(14*time.Minute+2*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 4})
	do(at(16*time.Minute+2*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 5})
	do(at(17*time.Minute), session.Event{Kind: session.Noted, Sheet: id, Note: "the lamp hut, \"from below\""})
	do(at(36*time.Minute+2*time.Second), session.Event{Kind: session.Moved, Sheet: id, From: 6})
	do(at(37*time.Minute), session.Event{Kind: session.MarkNamed, Sheet: id, N: 1, Note: "dropped a corner"})
	do(at(38*time.Minute), session.Event{Kind: session.Judged, Sheet: id, Stops: -0.5, Note: "window burnt out"})
	do(at(39*time.Minute), session.Event{Kind: session.Scanned, Sheet: id, Note: "scans/caddy 01.png"})
	return Sitting{ID: "5e55-1", Opened: t0, Pace: 1}, m, m.Sheet(id)
}

func fullRecord(t testing.TB) Record {
	s, m, sh := fullSheet(t)
	uses := Uses(m, sh)
	for i := range uses {
		uses[i].Share = .25
	}
	return RecordOf(sh, Context{Sitting: s, Baths: uses, Now: m.Now()})
}

func TestARecordHoldsTheSheetsWholeLife(t *testing.T) {
	r := fullRecord(t)
	for _, c := range []struct {
		what      string
		got, want any
	}{
		{"exposure planned", r.Exposure.Planned.D(), 4 * time.Minute},
		// 2:00 to 3:00, 3:30 to 8:30
		{"pinhole open", r.Exposure.Actual.D(), 6 * time.Minute},
		// 2 of 4 minutes in the first light, 4 of 8 in the second
		{"share", r.Exposure.Share, 1.0},
		{"exposure over", r.Exposure.over().D(), time.Duration(0)},
		{"covered", r.Exposure.Covered, []SpanRecord{{Secs(time.Minute), Secs(30 * time.Second)}}},
		{"readings", len(r.Exposure.Readings), 1},
		{"stages", len(r.Stages), 5},
		{"develop", r.Stages[0].Actual.D(), 192 * time.Second},
		{"develop over", r.Stages[0].Over.D(), 12 * time.Second},
		{"stop over", r.Stages[1].Over.D(), time.Duration(0)},
		{"fix short", r.Stages[2].Over.D(), -20 * time.Second},
		{"fix bath age", r.Stages[2].Use.Age.D(), 13*time.Minute + 22*time.Second},
		{"fix bath", r.Stages[2].Use.What + " " + r.Stages[2].Use.Dilution, "rapid fixer 1+4"},
		{"fix bath share", r.Stages[2].Use.Share, .25},
		{"taken back", r.Undone[0].After.D(), 5 * time.Second},
		{"emerged", r.Emerged.D(), 15 * time.Second},
		// out for 30 s before the exposure; then from the developer to the end of the fixer
		{"safelight", r.Safelight.D(), 30*time.Second + 4*time.Minute + 2*time.Second},
		{"mark", r.Marks[0].Text + " in " + r.Marks[0].Stage, "dropped a corner in develop"},
		{"judged", r.Judgements[0].Stops, -0.5},
		{"scan", r.Scan, "scans/caddy 01.png"},
		{"day", r.Day(), "2026-05-09"},
		{"washed", r.Washed, true},
	} {
		if !equal(c.got, c.want) {
			t.Errorf("%s: got %v, want %v", c.what, c.got, c.want)
		}
	}
}

func equal(a, b any) bool {
	x, _ := json.Marshal(a)
	y, _ := json.Marshal(b)
	return bytes.Equal(x, y)
}

// The JSON of a sheet is a promise: names are only ever added.
func TestTheJSONOfASheetIsStable(t *testing.T) {
	r := fullRecord(t)
	b, err := json.MarshalIndent(r, "", "\t")
	if err != nil {
		t.Fatal(err)
	}
	sessiontest.Golden(t, "testdata/sheet.json", append(b, '\n'))
	back, err := decodeRecord(string(b))
	if err != nil {
		t.Fatal(err)
	}
	if !equal(back, r) {
		t.Errorf("read again it is %+v", back)
	}
}

// Records that are stored and those that still wait for the disk are handed over
// as they are.
func TestEachRecordIsHandedOver(t *testing.T) {
	b := open(t, config(t))
	sitting(t, b, 3, eventAt(0))
	waiting := []*Record{}
	r := fullRecord(t)
	r.Name, r.Light = "quotes \" \\ \u2028 <&> 光 \x7f", ""
	waiting = append(waiting, &r, &Record{ID: "x", Begun: t0})
	var names []string
	if err := eachRecord(b.rd, Filter{}, waiting, func(got *Record) error {
		names = append(names, got.Name)
		if got.ID == r.ID && !equal(*got, r) {
			t.Errorf("%+v\n%+v", *got, r)
		}
		return nil
	}); err != nil || len(names) != 5 || !slices.Contains(names, r.Name) {
		t.Fatal(names, err)
	}
}

// What the screen was told, the database and the CSV say the same of a sheet.
func TestDatabaseAndLogAgree(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, m := sitting(t, b, 2, session.Event{})
	sh := m.Sheets()[1]
	recs := readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv"))
	var rows []map[string]string
	for _, r := range recs {
		if r["sheet_id"] == sh.ID {
			rows = append(rows, r)
		}
	}
	if len(rows) != 6 {
		t.Fatalf("%d rows for exposure and 5 baths", len(rows))
	}
	rec, err := b.Sheet(sh.ID)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i, st := range rec.Stages {
		n++
		v, row := sh.Visits[i], rows[i+1]
		if st.Stage != string(v.Stage) || st.Actual.D() != v.Out-v.In || !st.In.Equal(v.InAt.Wall) {
			t.Errorf("database: %s %v; machine: %s %v", st.Stage, st.Actual.D(), v.Stage, v.Out-v.In)
		}
		near(t, row["actual_s"], v.Out-v.In)
		near(t, row["planned_least_s"], st.AtLeast.D())
		near(t, row["planned_most_s"], st.AtMost.D())
		near(t, row["over_s"], st.Over.D())
		// Local date and time, as a spreadsheet reads them.
		if at, err := time.ParseInLocation("2006-01-02 15:04:05", row["begun"], v.InAt.Wall.Location()); err != nil || at.Sub(v.InAt.Wall).Abs() > time.Second {
			t.Errorf("begun %q, want %v (%v)", row["begun"], v.InAt.Wall, err)
		}
	}
	if n != 5 {
		t.Errorf("%d stages in the database", n)
	}
	if r, err := b.Sheet(sh.ID[:8]); err != nil || r.Sitting != s.ID || r.ID != sh.ID {
		t.Error(r.ID, err)
	}
	if es, _ := os.ReadDir(c.LogDir); len(es) != 1 {
		t.Error("something else than the log was left in its folder:", es)
	}
}

func near(t *testing.T, cell string, want time.Duration) {
	t.Helper()
	f, err := strconv.ParseFloat(cell, 64)
	if err != nil || math.Abs(f-want.Seconds()) > .0051 {
		t.Errorf("cell %q, want %v", cell, want.Seconds())
	}
}

func readCSV(t *testing.T, path string) []map[string]string {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Count(raw, []byte("\n")) != bytes.Count(raw, []byte("\r\n")) {
		t.Error("RFC 4180, 2.1: lines end in CRLF")
	}
	rows, err := csv.NewReader(bytes.NewReader(raw)).ReadAll() // refuses rows of different lengths
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(rows[0], Columns) {
		t.Fatal(rows[0])
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range r {
			m[Columns[i]] = c
		}
		out = append(out, m)
	}
	return out
}

// A spreadsheet whose decimal sign is the comma takes 285.000 for 285000, one
// whose sign is the point 285,000: no number has three digits behind a separator,
// and with --comma none has a point.
func TestNoFieldIsAnotherNumberElsewhere(t *testing.T) {
	b := open(t, config(t))
	_, m := sitting(t, b, 3, session.Event{})
	if err := b.Judge(m.Sheets()[0].ID, m.Last(), 1.0/3, "sky"); err != nil {
		t.Fatal(err)
	}
	date := regexp.MustCompile(`^\d{4}-\d\d-\d\d \d\d:\d\d:\d\d$`)
	for _, comma := range []bool{false, true} {
		var out bytes.Buffer
		if err := b.Export(&out, CSV, Filter{}, Options{Comma: comma}); err != nil {
			t.Fatal(err)
		}
		r, number := csv.NewReader(&out), regexp.MustCompile(`^-?\d+(\.\d{1,2})?$`)
		if comma {
			r.Comma, number = ';', regexp.MustCompile(`^-?\d+(,\d{1,2})?$`)
		}
		rows, err := r.ReadAll()
		if err != nil || len(rows) < 15 {
			t.Fatal(len(rows), err)
		}
		for _, row := range rows[1:] {
			for i, cell := range row {
				name := Columns[i]
				switch {
				case cell == "":
				case name == "begun" || name == "ended":
					if !date.MatchString(cell) {
						t.Errorf("%s: %q", name, cell)
					}
				case strings.HasSuffix(name, "_s") || name == "bath_used" || name == "temperature_c" || name == "judged_stops" || name == "sheet" || name == "stage_no":
					if !number.MatchString(cell) {
						t.Errorf("%s: %q", name, cell)
					}
				case number.MatchString(cell) && strings.ContainsAny(cell, ".,") || regexp.MustCompile(`^-?\d+[.,]\d{3}$`).MatchString(cell):
					t.Errorf("%s: %q is a number to a spreadsheet", name, cell)
				}
			}
		}
	}
}

// The figures of a stage are means over its sheets, beside what the trays saw.
func TestStatsAreMeans(t *testing.T) {
	b := open(t, config(t))
	_, m := sitting(t, b, 3, session.Event{})
	st, err := b.Stats(Filter{})
	if err != nil || len(st.Stages) != len(process.Steps) {
		t.Fatalf("%+v, %v", st, err)
	}
	for k, x := range st.Stages {
		var sum, off time.Duration
		late := 0
		for _, s := range m.Sheets() {
			v, step := s.Visits[k], process.Steps[k]
			d := v.Out - v.In
			sum += d
			if k == 0 {
				continue // its end follows from the image that was seen
			}
			if off += d - step.AtMost; d > step.AtMost {
				late++
			}
		}
		if x.N != 3 || (x.Mean-sum/3).Abs() > time.Millisecond {
			t.Errorf("%+v, want a mean of %v", x, sum/3)
		}
		if k > 0 && (x.Over != late || (x.MeanOff-off/3).Abs() > time.Millisecond) {
			t.Errorf("%+v, want %d late, by %v", x, late, off/3)
		}
	}
}

func TestRehearsalsAreMarkedAndNotCounted(t *testing.T) {
	c := config(t)
	b := open(t, c)
	sitting(t, b, 1, session.Event{})
	sitting(t, b, 2, session.Event{Rehearsal: true, Pace: 20})
	st, err := b.Stats(Filter{})
	if err != nil || st.Sheets != 1 || st.Rehearsals != 2 || st.Stages[0].N != 1 || st.Stages[0].Stage != "develop" {
		t.Errorf("%+v %v", st, err)
	}
	marked := 0
	for _, r := range readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv")) {
		if r["rehearsal"] == "rehearsal" {
			marked++
		}
	}
	if marked != 12 {
		t.Error(marked, "rows are marked")
	}
	for w, want := range map[Which]int{Both: 3, Only: 2, None: 1} {
		if got, err := b.Sheets(Filter{Rehearsals: w}); err != nil || len(got) != want {
			t.Error(w, len(got), err)
		}
	}
}

func TestTheListPagesAndFilters(t *testing.T) {
	b := open(t, config(t))
	_, m := sitting(t, b, 7, session.Event{})
	var ids []string
	f := Filter{Limit: 3}
	for {
		rows, err := b.Sheets(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range rows {
			ids = append(ids, r.ID)
		}
		if len(rows) < 3 {
			break
		}
		f.After = rows[2].Cursor()
	}
	if len(ids) != 7 || ids[0] != m.Sheets()[6].ID || ids[6] != m.Sheets()[0].ID {
		t.Error(ids)
	}
	for _, c := range []struct {
		f    Filter
		want int
	}{
		{Filter{Camera: "tea-caddy"}, 3}, {Filter{Paper: "negative-rc"}, 3}, {Filter{Camera: "tea-caddy", Paper: "negative-rc"}, 1},
		{Filter{Day: "2026-05-09"}, 7}, {Filter{Day: "2026-05-10"}, 0}, {Filter{Maker: "Bo"}, 2}, {Filter{Judged: None}, 0},
	} {
		rows, err := b.Sheets(c.f)
		n, cerr := b.Count(c.f)
		if err != nil || cerr != nil || len(rows) != c.want || n != c.want {
			t.Errorf("%+v: %d, %d, %v %v", c.f, len(rows), n, err, cerr)
		}
	}
}

func TestAJudgementChangesTheRecordAndKeepsTheOldOne(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, m := sitting(t, b, 1, session.Event{})
	id := m.Sheets()[0].ID
	if err := b.Judge(id, at(48*time.Hour), 1.5, "=too dark"); err != nil {
		t.Fatal(err)
	}
	r, err := b.Sheet(id)
	if err != nil || len(r.Judgements) != 2 {
		t.Fatal(r.Judgements, err)
	}
	if j, _ := r.Judged(); j.Stops != 1.5 {
		t.Error(j)
	}
	if rows := readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv")); rows[0]["judged_stops"] != "1.5" || rows[0]["judged_seen"] != "'=too dark" {
		t.Error(rows[0])
	}
	// The sitting is at hand, so the judgement reaches its machine by Poll.
	evs, err := b.Poll(s.ID)
	if err != nil || len(evs) != 1 || evs[0].Kind != session.Judged {
		t.Error(evs, err)
	}
	if err := b.Judge(id, at(49*time.Hour), 400, ""); err == nil {
		t.Error("400 stops were taken")
	}
	b.Close()
	b = open(t, c)
	if err := b.Judge(id, at(50*time.Hour), 1, "a little too dark"); err != nil {
		t.Fatal(err)
	}
	if r, err = b.Sheet(id); err != nil || len(r.Judgements) != 3 || r.Judgements[2].Stops != 1 {
		t.Error(r.Judgements, err)
	}
}

func TestTwoSheetsSideBySide(t *testing.T) {
	a := fullRecord(t)
	b := fullRecord(t)
	if d := Compare(&a, &b); len(d) != 0 {
		t.Error("the same sheet differs from itself:", d)
	}
	b.Camera = "hat-box"
	x := *b.Exposure
	x.Planned *= 2
	b.Exposure = &x
	b.Stages[2].Actual += Secs(20 * time.Second)
	want := []Difference{
		{"camera", "tea-caddy", "hat-box", ""},
		{"exposure planned", "4:00", "8:00", "+1 stop"},
		{"fix", "0:40", "1:00", "+0:20"},
	}
	if d := Compare(&a, &b); !slices.Equal(d, want) {
		t.Error(d)
	}
}

func TestSecondsAreExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Secs(rapid.Int64Range(-9e18, 9e18).Draw(t, "ns"))
		b, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var got Secs
		if err := json.Unmarshal(b, &got); err != nil || got != s {
			t.Fatalf("%d -> %s -> %d, %v", s, b, got, err)
		}
	})
	for in, want := range map[string]Secs{"90": Secs(90e9), "-0.5": Secs(-5e8), "1.5e2": Secs(150e9), "93.25": Secs(93.25e9)} {
		var got Secs
		if err := json.Unmarshal([]byte(in), &got); err != nil || got != want {
			t.Error(in, got, err)
		}
	}
}

// A sheet whose end was taken back is not done: neither the list nor the log of
// its day has it, until it is done again.
func TestASheetWhoseEndIsTakenBackIsNotListed(t *testing.T) {
	c := config(t)
	b := open(t, c)
	s, m := sitting(t, b, 2, session.Event{})
	sh := m.Sheets()[1]
	late := at(24 * time.Hour)
	do := func(e session.Event) {
		t.Helper()
		e.At, e.Sheet = late, sh.ID
		if err := m.Apply(e); err != nil {
			t.Fatal(err)
		}
		if err := b.SaveSheet(s, sh, m.Now(), Uses(m, sh)); err != nil {
			t.Fatal(err)
		}
	}
	listed := func() int {
		t.Helper()
		rows, err := b.Sheets(Filter{})
		if err != nil {
			t.Fatal(err)
		}
		logged := map[string]bool{}
		for _, r := range readCSV(t, filepath.Join(c.LogDir, "2026-05-09.csv")) {
			logged[r["sheet_id"]] = true
		}
		if len(logged) != len(rows) {
			t.Errorf("%d sheets in the list, %d in the log", len(rows), len(logged))
		}
		return len(rows)
	}
	do(session.Event{Kind: session.Undone})
	if n := listed(); n != 1 {
		t.Errorf("the last move of one of two sheets is taken back: %d are listed", n)
	}
	do(session.Event{Kind: session.Spoiled, Note: "a slip"})
	if n := listed(); n != 2 {
		t.Errorf("it is spoiled: %d are listed", n)
	}
	do(session.Event{Kind: session.Undone})
	if n := listed(); n != 1 {
		t.Errorf("that is taken back: %d are listed", n)
	}
	v := sh.Visit()
	if v == nil {
		t.Fatal("the sheet is in no bath")
	}
	do(session.Event{Kind: session.Moved, From: v.Serial})
	if n := listed(); n != 2 {
		t.Errorf("it is done: %d are listed", n)
	}
}
