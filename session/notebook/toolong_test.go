package notebook

import (
	"testing"
	"time"
)

// By how much an exposure was too long, by hand: against its plan in one light; where the
// light changed, against what the share says that the whole takes.
func TestAnExposureThatWasTooLong(t *testing.T) {
	const s = Secs(time.Second)
	read := []ReadingRecord{{}}
	for _, c := range []struct {
		e    ExposureRecord
		want Secs
	}{
		{ExposureRecord{Planned: 60 * s, Actual: 75 * s, Share: 1.25}, 15 * s},
		{ExposureRecord{Planned: 60 * s, Actual: 45 * s, Share: 0.75}, -15 * s},
		{ExposureRecord{Planned: 60 * s, Actual: 75 * s}, 15 * s}, // of a share nobody asked
		{ExposureRecord{Planned: 60 * s, Actual: 100 * s, Share: 1.25, Readings: read}, 20 * s},
		{ExposureRecord{Planned: 60 * s, Actual: 60 * s, Share: 0.5, Readings: read}, -60 * s},
		{ExposureRecord{Planned: 60 * s, Actual: 90 * s, Share: 1.0005, Readings: read}, 0},
		{ExposureRecord{Planned: 60 * s, Actual: 90 * s, Readings: read}, 0}, // no share is known
	} {
		if got := c.e.over(); got != c.want {
			t.Errorf("%+v is too long by %v, want %v", c.e, got.D(), c.want.D())
		}
	}
}
