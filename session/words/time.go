package words

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// grain is what two readings of a clock may differ by and still mean the same
// second.
const grain = time.Millisecond

// up is d in whole seconds, rounded up; 0 for what is over, and for nothing else.
func up(d time.Duration) int64 {
	if d <= 0 {
		return 0
	}
	return int64(max(1, (d-grain+time.Second-1)/time.Second))
}

// Countdown writes what is left on a running clock: "4:30", "1:02:03". It
// rounds up, so that it says 0:00 when the time is over and not before.
func Countdown(d time.Duration) string { return string(clock(nil, time.Duration(up(d))*time.Second)) }

// CountUp writes what a running clock has counted. It is cut to the second.
func CountUp(d time.Duration) string {
	return string(clock(nil, (max(0, d) + grain).Truncate(time.Second)))
}

// Finished writes a time that is over, as a clock: to the tenth of a second
// below a minute, "0:08.3", to the second above, "1:30". What is negative has
// the minus sign of text.
func Finished(d time.Duration) string {
	sign := ""
	if d = nearest(d); d < 0 {
		sign, d = "−", -d
	}
	return sign + string(clock(nil, d))
}

// Difference is Finished with a plus sign for what is more than nothing.
func Difference(d time.Duration) string {
	if nearest(d) > 0 {
		return "+" + Finished(d)
	}
	return Finished(d)
}

// nearest rounds a time that is over: to the tenth of a second below a minute,
// to the second above.
func nearest(d time.Duration) time.Duration {
	if r := d.Round(time.Second / 10); r.Abs() < time.Minute {
		return r
	}
	return d.Round(time.Second)
}

// clock appends 4:30 or 1:02:03, and a tenth where there is one.
func clock(b []byte, d time.Duration) []byte {
	two := func(n time.Duration) { b = append(b, ':', byte('0'+n/10), byte('0'+n%10)) }
	if h := d / time.Hour; h > 0 {
		b = strconv.AppendInt(b, int64(h), 10)
		two(d / time.Minute % 60)
	} else {
		b = strconv.AppendInt(b, int64(d/time.Minute), 10)
	}
	two(d / time.Second % 60)
	if t := d % time.Second / (time.Second / 10); t > 0 {
		b = append(b, '.', byte('0'+t))
	}
	return b
}

// Units writes a time as it is typed, to the last digit: "1m30s", "30m", "8h",
// "0.5s".
func Units(d time.Duration) string {
	if d == 0 {
		return "0s"
	}
	var b strings.Builder
	u := uint64(d)
	if d < 0 {
		b.WriteByte('-')
		u = -u
	}
	const second, minute, hour = uint64(time.Second), uint64(time.Minute), uint64(time.Hour)
	if h := u / hour; h > 0 {
		fmt.Fprintf(&b, "%dh", h)
	}
	if m := u % hour / minute; m > 0 {
		fmt.Fprintf(&b, "%dm", m)
	}
	if s := u % minute; s > 0 {
		// All nine decimals: what was read is what is written.
		b.WriteString(strings.TrimRight(strings.TrimRight(fmt.Sprintf("%d.%09d", s/second, s%second), "0"), ".") + "s")
	}
	return b.String()
}

// Long writes a time of so many seconds for a sentence: "45 s", "4 min 45 s",
// "2 h 10 min"; below ten seconds with two digits, from an hour on to the
// minute, from a hundred hours on in days.
func Long(seconds float64) string {
	switch {
	case math.IsNaN(seconds) || math.IsInf(seconds, 0) || seconds < 0:
		return "an unknown time"
	case seconds < 9.95:
		return Sig(seconds, 2) + " s"
	case seconds >= 100*3600:
		return Sig(seconds/86400, 3) + " days"
	}
	s := int(math.Round(seconds))
	if s >= 3600 {
		s = int(math.Round(seconds/60)) * 60
	}
	h, m := s/3600, s/60%60
	s %= 60
	var parts []string
	if h > 0 {
		parts = append(parts, fmt.Sprintf("%d h", h))
	}
	if m > 0 {
		parts = append(parts, fmt.Sprintf("%d min", m))
	}
	if s > 0 || len(parts) == 0 {
		parts = append(parts, fmt.Sprintf("%d s", s))
	}
	return strings.Join(parts, " ")
}
