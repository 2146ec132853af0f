package words

import (
	"strconv"
	"strings"
	"time"
)

var ones = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve " +
	"thirteen fourteen fifteen sixteen seventeen eighteen nineteen")

var tens = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")

// Spelled is n in words, from 0 ("no") to 99; figures beyond.
func Spelled(n int) string {
	switch {
	case n == 0:
		return "no"
	case n < 0 || n > 99:
		return strconv.Itoa(n)
	}
	return strings.Join(Cardinal(n), "-")
}

// The puts the article before the name of a bath, where it is no number's name: the
// developer, fixer 1.
func The(name string) string {
	if n := len(name); n > 0 && name[n-1] >= '0' && name[n-1] <= '9' {
		return name
	}
	return "the " + name
}

// CountSpelled is Count in words: "one sheet", "no sheets".
func CountSpelled(n int, one string) string {
	if n == 1 {
		return "one " + one
	}
	return Spelled(n) + " " + one + "s"
}

// Cardinal is n as it is said, word by word: "one hundred five"; beyond 9999,
// and below zero, figure by figure.
func Cardinal(n int) []string {
	switch {
	case n < 0 || n > 9999:
		var out []string
		for _, r := range strings.TrimPrefix(strconv.Itoa(n), "-") {
			out = append(out, ones[r-'0'])
		}
		return out
	case n >= 1000:
		return rest(Cardinal(n/1000), "thousand", n%1000)
	case n >= 100:
		return rest(Cardinal(n/100), "hundred", n%100)
	case n < 20:
		return []string{ones[n]}
	case n%10 == 0:
		return []string{tens[n/10]}
	}
	return []string{tens[n/10], ones[n%10]}
}

func rest(head []string, unit string, n int) []string {
	out := append(append([]string{}, head...), unit)
	if n > 0 {
		out = append(out, Cardinal(n)...)
	}
	return out
}

// HMS is what is left on a running clock in hours, minutes and seconds, as it
// is spoken: rounded up to the second, from an hour on to the minute.
func HMS(d time.Duration) (h, m, s int) {
	n := int(up(d))
	if n >= 3600 {
		n = (n + 59) / 60 * 60
	}
	return n / 3600, n / 60 % 60, n % 60
}

// Spoken is HMS in words: "one minute thirty-five seconds".
func Spoken(d time.Duration) string {
	h, m, s := HMS(d)
	var p []string
	for _, x := range []struct {
		n   int
		one string
	}{{h, "hour"}, {m, "minute"}, {s, "second"}} {
		if x.n > 0 || x.one == "second" && len(p) == 0 {
			p = append(p, CountSpelled(x.n, x.one))
		}
	}
	return strings.Join(p, " ")
}
