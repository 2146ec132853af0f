package exposure

import (
	"fmt"
	"math"
	"time"

	"wetside/session/words"
)

// A Place is a point of the earth: degrees, north and east positive.
type Place struct {
	Latitude, Longitude float64
}

// Check says what is wrong with the place, or nil.
func (p Place) Check() error {
	if err := check("a latitude", p.Latitude, -90, 90, "degrees"); err != nil {
		return err
	}
	return check("a longitude", p.Longitude, -180, 180, "degrees")
}

// SunAt reckons how high the sun stands, in degrees above the horizon as seen, with the low-accuracy series of J. Meeus,
// Astronomical Algorithms, chapter 25, good to about 0.01 degree in this
// century; refraction by G. G. Bennett's formula (Meeus, chapter 16).
func SunAt(p Place, at time.Time) (float64, error) {
	if err := p.Check(); err != nil {
		return 0, err
	}
	if y := at.UTC().Year(); y < 1900 || y > 2100 {
		return 0, fmt.Errorf("the year %d is out of range: the sun's position is reckoned from 1900 to 2100", y)
	}
	return refracted(altitude(p, julianDay(at))), nil
}

// deltaT, in days, is what dynamical time is ahead of universal time. 69 s
// serves for decades: the sun moves a degree in a day.
const deltaT = 69.0 / 86400

func julianDay(t time.Time) float64 {
	const unixEpoch = 2440587.5
	return unixEpoch + float64(t.Unix())/86400 + float64(t.Nanosecond())/86400e9
}

// sunEquatorial is the sun's apparent right ascension and declination in
// radians, and its apparent longitude in degrees, for a Julian day in dynamical
// time. Meeus, chapter 25.
func sunEquatorial(jde float64) (ra, dec, lambda float64) {
	t := (jde - 2451545) / 36525
	l0 := 280.46646 + t*(36000.76983+t*0.0003032)
	m := rad(357.52911 + t*(35999.05029-t*0.0001537))
	c := (1.914602-t*(0.004817+t*0.000014))*math.Sin(m) +
		(0.019993-0.000101*t)*math.Sin(2*m) +
		0.000289*math.Sin(3*m)
	omega := rad(125.04 - 1934.136*t)
	lambda = turn(l0 + c - 0.00569 - 0.00478*math.Sin(omega))
	eps := rad(23.43929111 - t*(0.013004167+t*(1.64e-7-t*5.036e-7)) + 0.00256*math.Cos(omega))
	l := rad(lambda)
	ra = math.Atan2(math.Cos(eps)*math.Sin(l), math.Cos(l))
	dec = math.Asin(math.Sin(eps) * math.Sin(l))
	return ra, dec, lambda
}

// altitude is the sun's true one (no refraction), in degrees.
func altitude(p Place, jd float64) float64 {
	ra, dec, _ := sunEquatorial(jd + deltaT)
	t := (jd - 2451545) / 36525
	sidereal := 280.46061837 + 360.98564736629*(jd-2451545) + t*t*(0.000387933-t/38710000)
	h := rad(turn(sidereal+p.Longitude)) - ra
	phi := rad(p.Latitude)
	alt := deg(math.Asin(math.Sin(phi)*math.Sin(dec) + math.Cos(phi)*math.Cos(dec)*math.Cos(h)))
	return alt - 8.794/3600*math.Cos(rad(alt)) // the sun's parallax
}

// refracted lifts a true altitude to the one seen, at sea level and 10 C
// (Saemundsson's inverse of Bennett's formula; Meeus, chapter 16).
func refracted(alt float64) float64 {
	if alt < -1.5 {
		return alt
	}
	return alt + 1.02/60/math.Tan(rad(alt+10.3/(alt+5.11)))
}

func rad(d float64) float64 { return d * math.Pi / 180 }
func deg(r float64) float64 { return r * 180 / math.Pi }

func turn(d float64) float64 {
	if d = math.Mod(d, 360); d < 0 {
		d += 360
	}
	return d
}

// horizon is the altitude, in degrees, of the sun's centre as it rises or sets:
// 34' of refraction and 16' of half the disc, as almanacs have it.
const horizon = -50.0 / 60

// SunHolds says whether the daylight table's values for direct sun hold at a
// place and time: from two hours after sunrise to two hours before sunset (ANSI
// PH2.7), and, a judgement, not with the sun below ten degrees whatever the
// hour, as in a northern winter. The sentence says so with the sun's height, and
// what to do if not; its times are in at's time zone.
func SunHolds(p Place, at time.Time) (bool, string, error) {
	high, err := SunAt(p, at)
	if err != nil {
		return false, "", err
	}
	const margin, step = 2 * time.Hour, time.Minute
	up := func(t time.Time) bool { return altitude(p, julianDay(t)) > horizon }
	if !up(at) {
		return false, "the sun is down: meter the light, the daylight table does not hold", nil
	}
	height := fmt.Sprintf("the sun is %s degrees high", words.Decimals(max(0, high), 0))
	clock := func(t time.Time) string { return t.Format("15:04") }
	for d := step; d <= margin; d += step {
		if rose := at.Add(-d); !up(rose) {
			return false, fmt.Sprintf("%s and rose at %s: until %s meter the light, the daylight table does not hold yet", height, clock(rose), clock(rose.Add(margin))), nil
		}
		if sets := at.Add(d); !up(sets) {
			return false, fmt.Sprintf("%s and sets at %s: meter the light, the daylight table held until %s", height, clock(sets), clock(sets.Add(-margin))), nil
		}
	}
	if high < 10 {
		return false, height + ": meter the light, the daylight table is for a higher sun", nil
	}
	return true, height + ": the daylight table holds", nil
}

// lowSun is the altitude, in degrees, from which light begins to turn warm.
const lowSun = 20.0

// LowSunAllowance is how many stops to add for warm light when the sun is
// altitude degrees high, because a meter sees the red that blue-sensitive paper
// does not: nothing from 20 degrees up, 1/3 at 12, 2/3 at 7, 1 at 4, 1 2/3 at
// the horizon, straight lines between. Judgement, common practice, no source:
// haze changes it from day to day.
func LowSunAllowance(altitude float64) float64 {
	points := []struct{ alt, stops float64 }{{0, 5. / 3}, {4, 1}, {7, 2. / 3}, {12, 1. / 3}, {lowSun, 0}}
	if altitude <= 0 {
		return points[0].stops
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if altitude <= b.alt {
			return a.stops + (b.stops-a.stops)*(altitude-a.alt)/(b.alt-a.alt)
		}
	}
	return 0
}
