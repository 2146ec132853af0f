package exposure_test

import (
	"strings"
	"testing"

	"wetside/session/exposure"
)

// A comma before three figures is a meter's thousands to some and a decimal to
// others, ten stops apart: it is asked about and not guessed.
func TestALuxReadingWithAThousandsCommaIsNotGuessed(t *testing.T) {
	for _, s := range []string{"2,500 lux", "12,500 lx"} {
		if l, err := exposure.ParseLight(s); err == nil {
			t.Errorf("%q was read as %s, from %s", s, l, l.From)
		} else if !strings.Contains(err.Error(), "thousands") {
			t.Error(err)
		}
	}
	for s, want := range map[string]string{"2,5 klux": "2500 lux", "2500 lux": "2500 lux", "0,25 lux": "0.25 lux"} {
		if l, err := exposure.ParseLight(s); err != nil || l.From != want {
			t.Errorf("%q: %+v, %v", s, l, err)
		}
	}
}

// A meter writes 125 and means 1/125, fourteen stops away.
func TestAMetersTimeWithoutAFractionIsNotGuessed(t *testing.T) {
	for _, s := range []string{"f/16 125", "f/2 at 30", "1000 f/8"} {
		if l, err := exposure.ParseLight(s); err == nil {
			t.Errorf("%q was read as %s, from %s", s, l, l.From)
		}
	}
	for _, s := range []string{"f/16 1/125", "f/16 125s", "f/16 30 s", "f/16 15", "f/16, 0.5"} {
		if _, err := exposure.ParseLight(s); err != nil {
			t.Errorf("%q: %v", s, err)
		}
	}
}
