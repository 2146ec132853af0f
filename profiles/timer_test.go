package profiles

import (
	"strings"
	"testing"
	"time"

	"wetside/session"
)

// Times alone make a sheet, and so does a process; its paper is not known.
func TestTimer(t *testing.T) {
	set, err := Load(nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &Planner{Set: set}
	spec, err := p.Timer("Develop 2m, stop: 10s, second fix 4:30, wash 30m")
	if err != nil {
		t.Fatal(err)
	}
	want := []struct {
		stage session.Stage
		d     time.Duration
	}{{session.Develop, 2 * time.Minute}, {session.Stop, 10 * time.Second}, {session.Fix2, 270 * time.Second}, {session.Wash, 30 * time.Minute}}
	if len(spec.Process.Steps) != len(want) {
		t.Fatalf("%+v", spec.Process.Steps)
	}
	for i, st := range spec.Process.Steps {
		if st.Stage != want[i].stage || st.AtMost != want[i].d || st.AtLeast != want[i].d {
			t.Errorf("step %d is %+v, want %+v", i+1, st, want[i])
		}
	}
	if spec.Paper.Key != UnknownPaper || spec.Camera != "" || spec.Exposure != 0 {
		t.Errorf("%+v", spec)
	}
	if spec, err = p.Timer("three-trays"); err != nil || len(spec.Process.Steps) < 4 || spec.Paper.Key != UnknownPaper {
		t.Errorf("three-trays: %+v, %v", spec, err)
	}
	for text, want := range map[string]string{"": "say what is to be timed", "four-trays": "four-trays", "develop 2, stop 10s": "has no unit",
		"boil 2m, stop 10s": `"boil 2m" is no step`, "develop 2m, ": "is no step", "develop 0s, wash 1m": "more than nothing", "developer 2m, wash 1m": "is no step"} {
		if _, err := p.Timer(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
