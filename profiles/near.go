package profiles

import (
	"slices"
	"sort"
	"strings"

	"wetside/session/words"
)

// suggest names what was probably meant, or else all there is.
func suggest(got string, known []string, all string) string {
	if near := Near(got, known); len(near) > 0 {
		return ": did you mean " + words.Or(quoteAll(near)) + "?"
	}
	if len(known) == 0 {
		return ""
	}
	return ": " + all + strings.Join(known, ", ")
}

// Near picks from the known words those a slip of the hand away from got,
// nearest first, at most three.
func Near(got string, known []string) []string {
	type scored struct {
		word string
		d    int
	}
	var hits []scored
	g := strings.ToLower(got)
	for _, k := range known {
		l := strings.ToLower(k)
		d := distance(g, l)
		switch {
		case d <= max(1, min(len(g), len(l))/3):
			hits = append(hits, scored{k, d})
		case len(g) >= 3 && (strings.Contains(l, g) || strings.Contains(g, l)):
			hits = append(hits, scored{k, 100 + d})
		case shareWords(g, l):
			hits = append(hits, scored{k, 200 + d})
		}
	}
	sort.SliceStable(hits, func(i, j int) bool { return hits[i].d < hits[j].d })
	return words.Each(hits[:min(3, len(hits))], func(h scored) string { return h.word })
}

// shareWords reports whether every dash-separated word of a is also in b.
func shareWords(a, b string) bool {
	in := strings.FieldsFunc(b, notLetter)
	some := false
	for _, w := range strings.FieldsFunc(a, notLetter) {
		if !slices.Contains(in, w) {
			return false
		}
		some = true
	}
	return some
}

func notLetter(r rune) bool { return r == '-' || r == '_' || r == ' ' }

// distance is the number of single-letter edits between two words, a swap of
// neighbours being one.
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return 64
	}
	var before []int
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		next := make([]int, len(b)+1)
		next[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			next[j+1] = min(row[j]+cost, row[j+1]+1, next[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				next[j+1] = min(next[j+1], before[j-1]+1)
			}
		}
		before, row = row, next
	}
	return row[len(b)]
}
