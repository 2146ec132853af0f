package profiles

import (
	"bytes"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
	"pgregory.net/rapid"

	"github.com/rogpeppe/go-internal/txtar"

	"wetside/session"
)

// reread writes a profile as a file and reads it again: what the units write
// of themselves is what they read.
func reread(profile any) (any, []byte, error) {
	var out bytes.Buffer
	if err := toml.NewEncoder(&out).SetIndentTables(false).Encode(profile); err != nil {
		return nil, nil, err
	}
	b := out.Bytes()
	_, v, problems := check("rendered", b)
	if len(problems) > 0 {
		return nil, b, problems
	}
	return reflect.ValueOf(v).Elem().Interface(), b, nil
}

// TestRenderDefaults: every built-in profile, written out, is read back the same.
func TestRenderDefaults(t *testing.T) {
	s := load(t, nil)
	var all []any
	for _, p := range s.Papers() {
		all = append(all, p)
	}
	for _, p := range s.Processes() {
		all = append(all, p)
	}
	for _, c := range s.Cameras() {
		all = append(all, c)
	}
	if len(all) < 9 {
		t.Fatalf("%d profiles", len(all))
	}
	for _, p := range all {
		if back, text, err := reread(p); err != nil || !reflect.DeepEqual(back, p) {
			t.Errorf("%v\n%s\ngot  %+v\nwant %+v", err, text, back, p)
		}
	}
}

// TestRenderAny: so are profiles of any figures.
func TestRenderAny(t *testing.T) {
	text := rapid.StringMatching(`[ -~éß"'\\]{0,20}`)
	pages := rapid.StringMatching(`[ -~éß"'\\\n\t]{0,40}`)
	minutes := rapid.Custom(func(t *rapid.T) Duration {
		return Duration(rapid.Int64Range(int64(time.Second), int64(20*time.Hour)).Draw(t, "ns"))
	})
	size := rapid.Custom(func(t *rapid.T) Size {
		var z Size
		s := fmt.Sprintf("%dx%d %s", rapid.IntRange(1, 60).Draw(t, "w"), rapid.IntRange(1, 60).Draw(t, "h"), rapid.SampledFrom([]string{"cm", "in", "mm"}).Draw(t, "u"))
		if err := z.UnmarshalText([]byte(s)); err != nil {
			t.Fatal(err)
		}
		return z
	})
	date := toml.LocalDate{Year: 2026, Month: 5, Day: 3}
	rapid.Check(t, func(t *rapid.T) {
		p := Paper{Key: "p", Name: text.Draw(t, "name"), Note: pages.Draw(t, "note"), ISO: rapid.Float64Range(0.01, 100).Draw(t, "iso"),
			Base:     rapid.SampledFrom([]session.Base{session.FB, session.RC}).Draw(t, "base"),
			Response: rapid.SampledFrom([]session.Response{session.Lighter, session.Denser}).Draw(t, "response"),
			Size:     size.Draw(t, "size")}
		switch p.Reciprocity.Model = rapid.SampledFrom([]Model{noFailure, schwarzschild, table}).Draw(t, "model"); p.Reciprocity.Model {
		case schwarzschild:
			p.Reciprocity.P = rapid.Float64Range(0.5, 1).Draw(t, "p")
		case table:
			m := time.Second
			for range rapid.IntRange(2, 6).Draw(t, "rows") {
				m *= 2
				p.Reciprocity.Points = append(p.Reciprocity.Points, Point{Duration(m), Duration(m + m/3)})
			}
		}
		if rapid.Bool().Draw(t, "tested") {
			p.Safelight = Safelight{Exposed: minutes.Draw(t, "exposed"), Tested: date, Source: text.Draw(t, "source")}
			p.Safelight.Unexposed = p.Safelight.Exposed * 2
		}
		if rapid.Bool().Draw(t, "flashed") {
			p.Preflash = &Preflash{Threshold: minutes.Draw(t, "threshold"), Light: text.Draw(t, "light")}
		}
		if back, b, err := reread(p); err != nil || !reflect.DeepEqual(back, p) {
			t.Fatalf("%v\n%s\ngot  %+v\nwant %+v", err, b, back, p)
		}
	})
}

// changed lists the lines that are not in the old file.
func changed(old, new []byte) (added, lost []string) {
	has := func(lines []string, l string) bool {
		for _, x := range lines {
			if x == l {
				return true
			}
		}
		return false
	}
	a, b := strings.Split(string(old), "\n"), strings.Split(string(new), "\n")
	for _, l := range b {
		if !has(a, l) {
			added = append(added, l)
		}
	}
	for _, l := range a {
		if !has(b, l) {
			lost = append(lost, l)
		}
	}
	return added, lost
}

// TestFogTest: the test's result goes into the paper's file, and nothing else
// of it changes, its owner's comments least of all.
func TestFogTest(t *testing.T) {
	src, err := load(t, nil).Source(PaperKind, "direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	on := Date(time.Date(2026, 5, 3, 23, 0, 0, 0, time.UTC))
	before := bytes.Clone(src.Data)
	out, err := withSafelight(src.Data, Safelight{Unexposed: Duration(6 * time.Minute), Exposed: Duration(3*time.Minute + 30*time.Second), Tested: on, Source: "fog test"})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(before, src.Data) {
		t.Error("the bytes given were changed")
	}
	added, lost := changed(src.Data, out)
	if want := []string{`unexposed = "6m"`, `exposed = "3m30s"`, `source = "fog test"`, `tested = 2026-05-03`}; !reflect.DeepEqual(added, want) {
		t.Errorf("added %q", added)
	}
	if len(lost) != 3 {
		t.Errorf("lost %q", lost)
	}
	_, v, problems := check("x", out)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	sp := v.(*Paper).Session()
	if !sp.Tested || sp.TestedOn != "2026-05-03" || sp.Safe != 6*time.Minute || sp.SafeExp != 210*time.Second {
		t.Errorf("%+v", sp)
	}
	again, err := withSafelight(out, Safelight{Unexposed: Duration(6 * time.Minute), Exposed: Duration(3*time.Minute + 30*time.Second), Tested: on, Source: "fog test"})
	if err != nil || !bytes.Equal(again, out) {
		t.Errorf("the same result twice is not the same file: %v\n%s", err, again)
	}
	if _, err := withSafelight(src.Data, Safelight{Unexposed: Duration(time.Minute), Exposed: Duration(2 * time.Minute), Tested: on, Source: "fog test"}); err == nil || !strings.Contains(err.Error(), "exposed paper fogs sooner") {
		t.Error(err)
	}
}

func TestPreflash(t *testing.T) {
	src, err := load(t, nil).Source(PaperKind, "graded-fb")
	if err != nil {
		t.Fatal(err)
	}
	want := Preflash{Threshold: Duration(4 * time.Second), Light: `the "small" lamp \ 2 m up`, Found: toml.LocalDate{Year: 2026, Month: 5, Day: 3}}
	out, err := WithPreflash(src.Data, want)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.HasPrefix(out, bytes.TrimRight(src.Data, "\n")) {
		t.Error("what was there has changed")
	}
	_, v, problems := check("x", out)
	if len(problems) > 0 || *v.(*Paper).Preflash != want {
		t.Errorf("%v, %+v", problems, v)
	}
	want.Threshold = Duration(5 * time.Second)
	out, err = WithPreflash(out, want)
	if err != nil || bytes.Count(out, []byte("[preflash]")) != 1 {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestBathLimits: the data sheet in hand.
func TestBathLimits(t *testing.T) {
	src, err := load(t, nil).Source(ProcessKind, "two-bath-fix")
	if err != nil {
		t.Fatal(err)
	}
	var c Capacity
	if err := c.UnmarshalText([]byte("40 sheets of 8x10 in/l")); err != nil {
		t.Fatal(err)
	}
	out, err := WithBathLimits(src.Data, "fixer 2", c, 30*time.Hour, "data sheet of the fixer")
	if err != nil {
		t.Fatal(err)
	}
	_, v, problems := check("x", out)
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	_, old, _ := check("x", src.Data)
	want := *old.(*Process)
	want.Baths = append([]Bath(nil), want.Baths...)
	for i := range want.Baths {
		if b := &want.Baths[i]; b.Name == "fixer 2" {
			b.Capacity, b.Life, b.Source = 20645.12, Duration(30*time.Hour), "data sheet of the fixer"
		}
	}
	if !reflect.DeepEqual(*v.(*Process), want) {
		t.Errorf("got  %+v\nwant %+v", v, want)
	}
	// A bath that had no figures gets lines of its own, in its own table.
	out, err = WithBathLimits(src.Data, "rinse", c, time.Hour, "x")
	if err != nil {
		t.Fatal(err)
	}
	_, v, _ = check("x", out)
	if b, err := v.(*Process).Bath("rinse"); err != nil || b.Capacity != c || b.Life != Duration(time.Hour) {
		t.Errorf("%+v, %v", b, err)
	}
	if _, err := WithBathLimits(src.Data, "fixer", c, 0, ""); err == nil || !strings.Contains(err.Error(), `did you mean "fixer 1" or "fixer 2"?`) {
		t.Error(err)
	}
	if _, err := WithBathLimits([]byte(tin), "fixer", c, 0, ""); err == nil {
		t.Error("a camera was given a bath")
	}
}

// TestEditsThatCannotBe say so and change nothing.
func TestEditsThatCannotBe(t *testing.T) {
	on := toml.LocalDate{Year: 2026, Month: 5, Day: 3}
	head := "paper = \"p\"\nname = \"P\"\nbase = \"FB\"\nresponse = \"lighter\"\niso = 3\nsize = \"9x12 cm\"\n"
	for _, c := range []struct{ file, want string }{
		{tin, "this file is a camera, and the change is for a paper"},
		{"nonsense", "not TOML"},
		{head + "safelight = {unexposed = \"4m\", exposed = \"2m\"}\nreciprocity = {model = \"none\"}\n", "is written on one line"},
		{head + "safelight.unexposed = \"4m\"\nreciprocity.model = \"none\"\n", "write [safelight] above its lines"},
	} {
		if out, err := withSafelight([]byte(c.file), Safelight{Unexposed: Duration(4 * time.Minute), Exposed: Duration(2 * time.Minute), Tested: on, Source: "fog test"}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s\n%s\n%v", c.file, out, err)
		}
	}
	// No table yet, no newline at the end, and an owner on another system.
	for _, file := range []string{
		head + "[reciprocity]\nmodel = \"none\"",
		strings.ReplaceAll(head+"[reciprocity]\nmodel = \"none\"\n[safelight]\n", "\n", "\r\n"),
		head + "[reciprocity]\nmodel = \"none\"\n[safelight]",
		head + "[safelight] # mine\n# yes\n\n[reciprocity]\nmodel = \"none\"\n",
	} {
		out, err := withSafelight([]byte(file), Safelight{Unexposed: Duration(4 * time.Minute), Exposed: Duration(2 * time.Minute), Tested: on, Source: "fog test"})
		if err != nil {
			t.Errorf("%q: %v", file, err)
			continue
		}
		if _, v, problems := check("x", out); len(problems) > 0 || !v.(*Paper).Session().Tested {
			t.Errorf("%q became %q: %v", file, out, problems)
		}
	}
}

// FuzzCheckFile: no file makes the loader panic; what it complains of has a
// line of that file; and what it takes can be written and read again.
func FuzzCheckFile(f *testing.F) {
	s := load(f, nil)
	for _, m := range s.sources {
		for _, src := range m {
			f.Add(src.Data)
		}
	}
	a, err := txtar.ParseFile("testdata/bad.txtar")
	if err != nil {
		f.Fatal(err)
	}
	for _, x := range a.Files {
		f.Add(x.Data)
	}
	f.Fuzz(func(t *testing.T, data []byte) { sound(t, data) })
}

// TestShuffledFiles does the same with files made of other files' lines, words
// swapped, left out and doubled, which get further into the checks than stray
// bytes do.
func TestShuffledFiles(t *testing.T) {
	var files [][]string
	var values []string
	s := load(t, nil)
	for _, k := range []Kind{PaperKind, ProcessKind, CameraKind} {
		for _, key := range keys(s.sources[k]) {
			files = append(files, strings.Split(string(s.sources[k][key].Data), "\n"))
		}
	}
	a, err := txtar.ParseFile("testdata/bad.txtar")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range a.Files {
		if strings.HasSuffix(x.Name, ".toml") {
			files = append(files, strings.Split(string(x.Data), "\n"))
		}
	}
	for _, f := range files {
		for _, l := range f {
			if _, v, ok := strings.Cut(l, " = "); ok {
				values = append(values, v)
			}
		}
	}
	loaded, checked := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		lines := append([]string(nil), rapid.SampledFrom(files).Draw(t, "file")...)
		for range rapid.IntRange(0, 4).Draw(t, "changes") {
			i := rapid.IntRange(0, len(lines)-1).Draw(t, "at")
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				lines[i] = ""
			case 1:
				other := rapid.SampledFrom(files).Draw(t, "other")
				lines[i] = rapid.SampledFrom(other).Draw(t, "line")
			case 2:
				if k, _, ok := strings.Cut(lines[i], " = "); ok {
					lines[i] = k + " = " + rapid.SampledFrom(values).Draw(t, "value")
				}
			case 3:
				lines[i] += "\n" + rapid.SampledFrom(lines).Draw(t, "double")
			}
		}
		checked++
		if sound(t, []byte(strings.Join(lines, "\n"))) {
			loaded++
		}
	})
	t.Logf("%d of %d files loaded", loaded, checked)
	if loaded == 0 || loaded == checked {
		t.Errorf("%d of %d files loaded: the changes are not worth their name", loaded, checked)
	}
}

// sound checks what must hold of any file, and reports whether it loads.
func sound(t interface{ Fatalf(string, ...any) }, data []byte) bool {
	asDecoded(t, data)
	src, v, problems := check("f", data)
	lines := bytes.Count(data, []byte("\n")) + 1
	for _, p := range problems {
		if p.Text == "" || p.Line < 0 || p.Line > lines {
			t.Fatalf("%+v in a file of %d lines", p, lines)
		}
	}
	if len(problems) > 0 {
		return false
	}
	profile := reflect.ValueOf(v).Elem().Interface()
	back, text, err := reread(profile)
	if err != nil || !reflect.DeepEqual(back, profile) {
		t.Fatalf("%v\n%s\ngot  %+v\nwant %+v", err, text, back, profile)
	}
	if p, ok := profile.(Process); ok {
		for _, base := range []session.Base{session.FB, session.RC} {
			for _, c := range []Celsius{0, p.Temperature.Lowest, p.Temperature.Highest} {
				sp, err := p.At(float64(c), base)
				if err != nil {
					continue
				}
				for _, st := range sp.Steps {
					if err := st.Check(); err != nil {
						t.Fatalf("%s at %s: %v", src.Key, c, err)
					}
				}
			}
		}
	}
	return true
}

// A test whose first step shows is written as nothing; a key without a value is
// taken out with its line, and nothing else.
func TestFogTestOfNothing(t *testing.T) {
	set, err := Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	src, err := set.Source(PaperKind, "direct-positive-fb")
	if err != nil {
		t.Fatal(err)
	}
	on := toml.LocalDate{Year: 2026, Month: 5, Day: 3}
	out, err := withSafelight(src.Data, Safelight{Tested: on, Level: "ember", Source: "fog test"})
	if err != nil || !strings.Contains(string(out), "unexposed = \"0s\"\nexposed = \"0s\"\nsource = \"fog test\"\ntested = 2026-05-03\nlevel = \"ember\"\n") {
		t.Errorf("%v:\n%s", err, out)
	}
	back, err := withSafelight(out, Safelight{Unexposed: Duration(8 * time.Minute), Exposed: Duration(5 * time.Minute), Source: "cautious default, not tested; common practice, no source"})
	if err != nil || string(back) != string(src.Data) {
		t.Errorf("%v:\n%s", err, back)
	}
	if _, err := withSafelight([]byte(strings.Replace(string(src.Data), "8m", "0s", 1)), Safelight{Tested: on, Source: "fog test"}); err == nil {
		t.Error("nothing without a test is taken for a figure")
	}
}
