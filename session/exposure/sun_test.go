package exposure_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"wetside/session/exposure"
)

func TestSunAgainstTheSolarPositionAlgorithm(t *testing.T) {
	for _, c := range []struct {
		at            string
		lat, lon      float64
		zenith, azim  float64
		source        string
		refractionTol float64
	}{
		// I. Reda and A. Andreas, Solar Position Algorithm for Solar Radiation
		// Applications, NREL/TP-560-34302, worked example of the appendix
		// (at 1830 m, 820 mbar, 11 C: a little less refraction than here).
		{"2003-10-17T12:30:30-07:00", 39.742476, -105.1786, 50.11162, 194.34024, "NREL worked example", 0.004},
		// The same algorithm's published test values for a place in the far
		// south-east, sea level, 1000 mbar, 10 C; azimuth and zenith.
		{"1910-03-15T00:30:00Z", -36.840556, 174.74, 34.269919, 0.188643, "SPA reference values", 0.004},
		{"1910-03-15T03:30:00Z", -36.840556, 174.74, 53.637925, 298.894756, "SPA reference values", 0.004},
		{"1910-03-15T06:30:00Z", -36.840556, 174.74, 88.143823, 268.082350, "SPA reference values", 0.004},
		{"1910-03-15T09:30:00Z", -36.840556, 174.74, 122.642657, 237.156205, "SPA reference values", 0.004},
	} {
		s := must(exposure.SunAt(exposure.Place{Latitude: c.lat, Longitude: c.lon}, must(time.Parse(time.RFC3339, c.at))))
		near(t, c.source+" "+c.at+" zenith", 90-s, c.zenith, c.refractionTol)
	}
}

func TestSunriseAgainstTheAlmanac(t *testing.T) {
	// Sunrise and sunset in UTC by the US Naval Observatory's tables for 2020,
	// given to the minute; each is the one within that UTC day. From a minute
	// and a half before to as much after, the sun must have come up or gone down.
	for _, c := range []struct {
		name      string
		lat, lon  float64
		day       string
		rise, set string
	}{
		{"61 N", 61.216667, -149.866667, "2020-01-05", "19:11", "00:57"},
		{"61 N", 61.216667, -149.866667, "2020-04-15", "14:37", "05:21"},
		{"61 N", 61.216667, -149.866667, "2020-06-15", "12:21", "07:40"},
		{"61 N", 61.216667, -149.866667, "2020-09-25", "15:53", "03:51"},
		{"37 S", -36.833333, 174.8, "2020-01-15", "17:18", "07:42"},
		{"37 S", -36.833333, 174.8, "2020-06-25", "19:34", "05:13"},
		{"16 S", -15.8, -47.85, "2020-03-25", "09:16", "21:18"},
		{"16 S", -15.8, -47.85, "2020-12-15", "08:35", "21:39"},
		{"1 N", 1.283333, 103.833333, "2020-07-15", "23:05", "11:16"},
	} {
		up := func(at time.Time) bool {
			_, says, err := exposure.SunHolds(exposure.Place{Latitude: c.lat, Longitude: c.lon}, at)
			if err != nil {
				t.Fatal(err)
			}
			return !strings.Contains(says, "down")
		}
		for _, x := range []struct {
			what, at string
			rises    bool
		}{{"rise", c.rise, true}, {"set", c.set, false}} {
			at := must(time.Parse("2006-01-02 15:04", c.day+" "+x.at))
			const about = 90 * time.Second
			if before, after := up(at.Add(-about)), up(at.Add(about)); before == x.rises || after != x.rises {
				t.Errorf("%s %s: the almanac has the sun %s at %s; here it is up before: %v, after: %v", c.name, c.day, x.what, x.at, before, after)
			}
		}
	}
}

func TestWhenTheDaylightTableHolds(t *testing.T) {
	// ANSI PH2.7: from two hours after sunrise to two hours before sunset. At
	// 51 N 0 E on 25 September sunrise is near 5:52 UTC, sunset near 17:53.
	here := exposure.Place{Latitude: 51, Longitude: 0}
	for clock, want := range map[string]struct {
		holds bool
		says  string
	}{
		"03:00": {false, "down"}, "06:30": {false, "rose at 05:5"}, "07:45": {false, "until 07:5"},
		"08:00": {true, "holds"}, "12:00": {true, "38 degrees"}, "15:45": {true, "holds"},
		"16:00": {false, "sets at 17:5"}, "20:00": {false, "down"},
	} {
		at := must(time.Parse("2006-01-02 15:04", "2026-09-25 "+clock))
		holds, says, err := exposure.SunHolds(here, at)
		if err != nil || holds != want.holds || !strings.Contains(says, want.says) {
			t.Errorf("%s: %v %q %v, want %v and %q", clock, holds, says, err, want.holds, want.says)
		}
	}
}

func TestWhenTheDaylightTableHoldsInTheNorth(t *testing.T) {
	for _, c := range []struct {
		lat   float64
		at    string
		holds bool
		says  string
	}{
		// The sun sets after midnight: the evening belongs to the next day's set.
		{64, "2026-06-21 23:30 +0200", false, "sets at 00:3"},
		{64, "2026-06-22 00:34 +0200", false, "down"},
		// And where it does not set, it is too low at night.
		{67, "2026-06-22 01:00 +0200", false, "higher sun"},
		{78, "2026-06-21 12:00 +0000", true, "35 degrees"},
		{78, "2026-12-21 12:00 +0000", false, "down"},
		// Noon in a northern winter: two hours from rise and set, and still low.
		{61, "2026-12-21 12:00 +0000", false, "higher sun"},
	} {
		at := must(time.Parse("2006-01-02 15:04 -0700", c.at))
		holds, says, err := exposure.SunHolds(exposure.Place{Latitude: c.lat}, at)
		if err != nil || holds != c.holds || !strings.Contains(says, c.says) {
			t.Errorf("%g N %s: %v %q %v, want %v and %q", c.lat, c.at, holds, says, err, c.holds, c.says)
		}
	}
}

func TestLowSunAllowance(t *testing.T) {
	last := math.Inf(1)
	for alt := -10.0; alt <= 90; alt += 0.25 {
		a := exposure.LowSunAllowance(alt)
		if a < 0 || a > last || a > 2 {
			t.Fatalf("%g degrees: %g stops after %g", alt, a, last)
		}
		last = a
	}
	near(t, "high sun", exposure.LowSunAllowance(40), 0, 0)
	near(t, "12 degrees", exposure.LowSunAllowance(12), 1./3, 1e-12)
	near(t, "no number", exposure.LowSunAllowance(math.NaN()), 0, 0)
}

func TestSunOddPlaces(t *testing.T) {
	now := time.Date(2026, 9, 25, 12, 0, 0, 0, time.UTC)
	for _, p := range []exposure.Place{{91, 0}, {0, 181}, {math.NaN(), 0}, {0, math.Inf(-1)}} {
		_, err := exposure.SunAt(p, now)
		sentence(t, fmt.Sprint(p), err)
		_, _, err = exposure.SunHolds(p, now)
		sentence(t, fmt.Sprint(p), err)
	}
	_, err := exposure.SunAt(exposure.Place{}, time.Time{})
	sentence(t, "year 1", err)
	for lat := -90.0; lat <= 90; lat += 10 {
		for h := range 24 {
			s := must(exposure.SunAt(exposure.Place{Latitude: lat, Longitude: 0}, now.Add(time.Duration(h)*time.Hour)))
			if !(math.Abs(s) <= 90.1) {
				t.Errorf("%g N, %d h: %g", lat, h, s)
			}
		}
	}
}
