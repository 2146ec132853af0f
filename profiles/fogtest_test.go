package profiles_test

import (
	"cmp"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"wetside/profiles"
	"wetside/session"
)

// keeping writes into a folder, as the program does.
func keeping(dir string) func(string, []byte) (fs.FS, error) {
	return func(name string, data []byte) (fs.FS, error) {
		to := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return nil, err
		}
		return os.DirFS(dir), os.WriteFile(to, data, 0o600)
	}
}

// A fault in some other profile does not keep a fog test from being kept.
func TestAFogTestIsKeptBesideAFaultyProfile(t *testing.T) {
	dir := t.TempDir()
	root := filepath.Join(dir, "cameras")
	if err := os.MkdirAll(root, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(root, "hat-box-two.toml"), []byte("camera = 3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	set, err := profiles.Load(os.DirFS(dir))
	if err == nil {
		t.Fatal("the faulty profile loads")
	}
	plan := &profiles.Planner{Set: set, Write: keeping(dir)}
	if err := plan.KeepFogTest(session.FogTest{Paper: "direct-positive-fb", PreExposed: true, Safe: 4 * time.Minute, Level: "ember",
		At: time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)}); err != nil {
		t.Errorf("told as not kept: %v", err)
	}
	if p, err := plan.Set.Paper("direct-positive-fb"); err != nil || !p.Safelight.IsTested() {
		t.Errorf("the planner does not know of it: %+v, %v", p.Safelight, err)
	}
}

// What a fog test gives is in force from then on: a first step that shows leaves
// no time safe, and the half with the light before the exposure alone makes no tested
// paper. Of both halves the shorter counts, for all of a sheet's life.
func TestWhatAFogTestPutsInForce(t *testing.T) {
	min := func(n int) time.Duration { return time.Duration(n) * time.Minute }
	type answer struct {
		exposed bool
		safe    time.Duration
		level   session.Level // "": ember
	}
	for name, c := range map[string]struct {
		answers         []answer
		safe, exposed   time.Duration
		tested          bool
		used, usedAfter string // of half a minute in the open, before the exposure and after
	}{
		"pre-exposed, 4 minutes":                   {[]answer{{true, min(4), ""}}, min(4), min(4), true, "light 12%", "light 12%"},
		"pre-exposed, the first step shows":        {[]answer{{true, 0, ""}}, 0, 0, true, "no safe light", "no safe light"},
		"unexposed, the first step shows":          {[]answer{{false, 0, ""}}, 0, 0, true, "no safe light", "no safe light"},
		"unexposed, 16 minutes":                    {[]answer{{false, min(16), ""}}, min(16), min(5), false, "light 3%", "light 10%"},
		"unexposed, 1 minute":                      {[]answer{{false, min(1), ""}}, min(1), min(1), false, "light 50%", "light 50%"},
		"unexposed 16, then pre-exposed 4":         {[]answer{{false, min(16), ""}, {true, min(4), ""}}, min(4), min(4), true, "light 12%", "light 12%"},
		"unexposed 16, then the exposed one shows": {[]answer{{false, min(16), ""}, {true, 0, ""}}, 0, 0, true, "no safe light", "no safe light"},
		"pre-exposed 4, then unexposed 16":         {[]answer{{true, min(4), ""}, {false, min(16), ""}}, min(4), min(4), true, "light 12%", "light 12%"},
		"unexposed 16 in the dark, pre-exposed 4":  {[]answer{{false, min(16), "dark"}, {true, min(4), ""}}, min(4), min(4), true, "light 12%", "light 12%"},
		"pre-exposed 4, unexposed 16 in the dark":  {[]answer{{true, min(4), ""}, {false, min(16), "dark"}}, min(16), min(4), false, "light 3%", "light 12%"},
		"pre-exposed 4, then unexposed 1":          {[]answer{{true, min(4), ""}, {false, min(1), ""}}, min(1), min(1), true, "light 50%", "light 50%"},
	} {
		dir := t.TempDir()
		set, err := profiles.Load(nil)
		if err != nil {
			t.Fatal(err)
		}
		plan := &profiles.Planner{Set: set, Write: keeping(dir)}
		for _, a := range c.answers {
			if err := plan.KeepFogTest(session.FogTest{Paper: "direct-positive-fb", PreExposed: a.exposed, Safe: a.safe, Level: cmp.Or(a.level, "ember"),
				At: time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)}); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
		}
		got, err := plan.Plan(profiles.Form{Paper: "direct-positive-fb", Process: "three-trays"})
		if err != nil {
			t.Fatal(err)
		}
		if in, _ := plan.Set.Paper("direct-positive-fb"); in.Safelight.Level != cmp.Or(c.answers[len(c.answers)-1].level, "ember") {
			t.Errorf("%s: said to hold at %q", name, in.Safelight.Level)
		}
		p := got.Spec.Paper
		if p.Safe != c.safe || p.SafeExp != c.exposed || p.Tested != c.tested {
			t.Errorf("%s: %v and %v exposed, tested: %v", name, p.Safe, p.SafeExp, p.Tested)
		}
		for phase, want := range map[bool]string{false: c.used, true: c.usedAfter} {
			d, known := p.SafeFor(phase)
			is := "no figure"
			switch {
			case known && d == 0:
				is = "no safe light"
			case known:
				is = fmt.Sprintf("light %d%%", 30*time.Second*100/d)
			}
			if is != want {
				t.Errorf("%s: exposed %v: %s, not %s", name, phase, is, want)
			}
		}
	}
}

// Both halves of a fog test are kept, whichever comes first and whatever each gave;
// the shorter counts, for all of a sheet's life. A test in another backlight stands
// for itself.
func TestBothHalvesOfAFogTest(t *testing.T) {
	dim, bright := 0.02, 0.5
	day := time.Date(2026, 5, 9, 14, 16, 0, 0, time.UTC)
	steps := []time.Duration{0, time.Minute, 2 * time.Minute, 4 * time.Minute, 8 * time.Minute, 16 * time.Minute}
	begin := func() *profiles.Planner {
		set, err := profiles.Load(nil)
		if err != nil {
			t.Fatal(err)
		}
		return &profiles.Planner{Set: set, Write: keeping(t.TempDir())}
	}
	keep := func(p *profiles.Planner, after bool, safe time.Duration, lit *float64) profiles.Paper {
		t.Helper()
		if err := p.KeepFogTest(session.FogTest{Paper: "paper-negative-rc", PreExposed: after, Safe: safe, Level: "ember", Backlight: lit, At: day}); err != nil {
			t.Fatal(err)
		}
		is, err := p.Set.Paper("paper-negative-rc")
		if err != nil {
			t.Fatal(err)
		}
		return is
	}
	for _, before := range steps {
		for _, after := range steps {
			for _, afterFirst := range []bool{false, true} {
				p := begin()
				first, second := before, after
				if afterFirst {
					first, second = after, before
				}
				keep(p, afterFirst, first, &dim)
				is := keep(p, !afterFirst, second, &dim)
				l, s := is.Safelight, is.Session()
				if l.Before != (profiles.Half{profiles.Duration(before), true}) || l.After != (profiles.Half{profiles.Duration(after), true}) || l.Backlight.String() != "2 %" {
					t.Errorf("%v before, %v after: kept as %+v", before, after, l)
				}
				for _, exposed := range []bool{false, true} {
					if safe, known := s.SafeFor(exposed); safe != min(before, after) || !known || !s.Tested {
						t.Errorf("%v before, %v after: safe for %v, known: %v, tested: %v", before, after, safe, known, s.Tested)
					}
				}
			}
		}
	}
	p := begin()
	keep(p, true, 8*time.Minute, &dim)
	if got := p.FogStrip("paper-negative-rc"); got.Missing != "light before the exposure" {
		t.Errorf("missing is %q", got.Missing)
	}
	is, _ := p.Set.Paper("paper-negative-rc")
	if got := is.Safelight.Outshone(bright); got != "the backlight was at 2 % in the fog test and is at 50 % now: test again" {
		t.Errorf("in a lighter room: %q", got)
	}
	if got := is.Safelight.Outshone(dim); got != "" {
		t.Errorf("in the same: %q", got)
	}
	if is := keep(p, false, 16*time.Minute, &bright); is.Safelight.After.Done || is.Safelight.IsTested() {
		t.Errorf("a half in another light makes it whole: %+v", is.Safelight)
	}
}
