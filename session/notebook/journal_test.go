package notebook

import (
	"strings"
	"testing"

	"wetside/session"
)

// A line comes back as it was written, and no change of it passes for a line.
func FuzzLine(f *testing.F) {
	f.Add("s1", "", `a "note", with ,"event": in it`, 3, byte(1))
	f.Add(`,"event":`, "other.db", "é\u2028\n", 40, byte(0x80))
	f.Fuzz(func(t *testing.T, sit, from, note string, place int, flip byte) {
		if sit == "" {
			return
		}
		sit, from = strings.ToValidUTF8(sit, "?"), strings.ToValidUTF8(from, "?")
		r := &row{head: head{ID: "id", Sitting: sit, N: 7, From: from}, body: marshal(t, session.Event{Kind: session.Noted, At: at(0), Note: note})}
		r.seal()
		got, ok := parse(r.text)
		if !ok || got.head != r.head || got.body != r.body || got.rec || got.ev.Kind != session.Noted {
			t.Fatalf("%s: %+v", r.text, got)
		}
		if !intact([]byte("id"), []byte(sit), []byte(r.text)) {
			t.Errorf("not taken for whole: %s", r.text)
		}
		if flip == 0 {
			return
		}
		bad := []byte(r.text)
		bad[uint(place)%uint(len(bad))] ^= flip
		if _, ok := parse(string(bad)); ok {
			t.Errorf("taken for a line: %s", bad)
		}
		if intact([]byte("id"), []byte(sit), bad) {
			t.Errorf("taken for whole: %s", bad)
		}
		_, _ = parse(note)
	})
}

// Lines of the first journals are read, those without a place in theirs.
func TestALineOfTheFirstJournals(t *testing.T) {
	body := `{"kind":"noted","at":{"wall":"2026-05-09T14:03:22+02:00","boot":3600000000000,"boot_id":"b1"},"note":"a"}`
	old := `{"n":12,"id":"x-1","sitting":"s1","event":` + body + `,"sum":1831215920}`
	r, ok := parse(old)
	if !ok || r.N != 12 || r.body != body || r.Sitting != "s1" {
		t.Fatalf("%v: its sum is %d", ok, rowSum("x-1", "s1", body))
	}
	if _, ok := parse(strings.Replace(old, `"a"`, `"b"`, 1)); ok {
		t.Error("a changed one too")
	}
	rows, n, bad := lines([]byte("\n" + old + "\n" + strings.NewReplacer(`"n":12`, `"n":0`).Replace(old) + "\n{\"id\":\n" + old[:40]))
	if len(rows) != 2 || rows[1].N != 12 || bad != 1 || n == 0 {
		t.Error(len(rows), n, bad)
	}
}
