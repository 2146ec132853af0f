package profiles

import (
	"math"

	"wetside/session/words"
)

// Shape is how the paper lies in a camera.
type Shape string

// The shapes of camera.
const (
	flat     Shape = "flat"     // paper flat, parallel to the pinhole plate
	Cylinder Shape = "cylinder" // pinhole in the wall of a tin, paper round the opposite inside
)

// A Camera is a pinhole camera.
type Camera struct {
	Key      string `toml:"camera"`
	Name     string `toml:"name"`
	Note     string `toml:"note,omitempty,multiline"`
	Shape    Shape  `toml:"shape"`
	Focal    Length `toml:"focal,omitempty"`    // flat: pinhole to paper
	Diameter Length `toml:"diameter,omitempty"` // cylinder: inside, across
	Pinhole  Length `toml:"pinhole"`            // diameter of the hole
	Plate    Length `toml:"plate,omitempty"`    // thickness of what the hole is in; 0: not stated
	Sheet    Size   `toml:"sheet"`              // paper it takes, width along the arc
	// Hole counts the holes this camera has had: what was judged behind another
	// says little of this one. The first, 1, when not stated.
	Hole int `toml:"hole,omitempty"`
	// Earlier are the f-numbers this same hole was taken for, before it was
	// measured better.
	Earlier []string `toml:"earlier,omitempty"`
}

// HoleNo is which hole it is, from 1.
func (c Camera) HoleNo() int { return max(1, c.Hole) }

// FocalMM is the distance from pinhole to the middle of the paper in mm.
func (c Camera) FocalMM() float64 {
	if c.Shape == Cylinder {
		return c.Diameter.MM()
	}
	return c.Focal.MM()
}

// FNumber is the focal distance over the pinhole's diameter: 75 mm and 0.5 mm
// give 150.
func (c Camera) FNumber() float64 { return tidy(c.FocalMM() / c.Pinhole.MM()) }

func (c *Camera) validate(d *document) {
	d.require(`"9x12 cm"`, "sheet")
	d.refuse(c.Plate <= 0 || c.Pinhole > 0 && c.Plate > 20*c.Pinhole, []string{"plate"}, `plate = %q: how thick the metal with the hole is, like "0.1 mm"`, c.Plate)
	d.refuse(c.Hole < 0 || c.Hole > 1000 || c.Hole == 0 && d.has("hole"), []string{"hole"}, "hole = %d: holes are counted from 1", c.Hole)
	shaped := d.require(`"flat" or "cylinder"`, "shape")
	d.require(`"0.5 mm"`, "pinhole")
	d.refuse(c.Pinhole <= 0, []string{"pinhole"}, `a pinhole of nothing lets no light in: write one like "0.5 mm"`)
	if !shaped {
		return
	}
	want, other, value := "focal", "diameter", c.Focal
	if c.Shape == Cylinder {
		want, other, value = "diameter", "focal", c.Diameter
	}
	if d.has(other) {
		d.fault([]string{other}, "a %s camera has no %s: say its %s", c.Shape, other, want)
	}
	if !d.require(`"75 mm"`, want) {
		return
	}
	if value <= 0 {
		d.fault([]string{want}, `%s of nothing: write one like "75 mm"`, want)
		return
	}
	d.refuse(c.Pinhole*10 > value || c.Pinhole*5000 < value, []string{"pinhole"}, "a hole of %s at %s is no pinhole (f/%s; they lie between f/10 and f/5000): look at the units", c.Pinhole, value, words.Sig(float64(value/c.Pinhole), 3))
	round := math.Pi * float64(c.Diameter)
	d.refuse(c.Shape == Cylinder && d.ok("pinhole") && float64(c.Sheet.W) >= round-float64(c.Pinhole), []string{"sheet"},
		"a sheet %s wide goes all the way round the tin (%.0f mm inside) and would cover its own pinhole: use a smaller one, or turn it", c.Sheet.W, round)
}
