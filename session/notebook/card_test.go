package notebook

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
	"pgregory.net/rapid"

	"wetside/session/words"
)

// everyText gives every text of a value, however deep, what next returns.
func everyText(v reflect.Value, next func() string) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(next())
	case reflect.Pointer:
		if !v.IsNil() {
			everyText(v.Elem(), next)
		}
	case reflect.Slice:
		for i := range v.Len() {
			everyText(v.Index(i), next)
		}
	case reflect.Struct:
		if v.Type().PkgPath() == "time" {
			return
		}
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				everyText(v.Field(i), next)
			}
		}
	}
}

// shape is what markup a card is made of, and its text is what a reader sees.
func shape(t *rapid.T, card []byte) (marks []string, text string) {
	body := &html.Node{Type: html.ElementNode, Data: "body", DataAtom: atom.Body}
	nodes, err := html.ParseFragment(bytes.NewReader(card), body)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	var walk func(n *html.Node)
	walk = func(n *html.Node) {
		switch n.Type {
		case html.TextNode:
			b.WriteString(n.Data)
		case html.ElementNode:
			attrs := ""
			for _, a := range n.Attr {
				attrs += " " + a.Key
				if a.Key == "class" {
					attrs += "=" + a.Val
				}
			}
			marks = append(marks, n.Data+attrs)
		default:
			t.Fatalf("the card holds a node of type %d: %q", n.Type, n.Data)
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	for _, n := range nodes {
		walk(n)
	}
	return marks, b.String()
}

// However a sheet's texts are worded, the card has the markup it would have if
// they were plain words, and a reader sees the texts. The page is read by an
// HTML5 parser that is not ours (golang.org/x/net/html).
func TestACardHoldsTheTextsAsText(t *testing.T) {
	hostile := []string{"<script>x</script>", "</article>", "</svg><svg onload=x>", `"><img src=x>`, "'", "&lt;b&gt;", "&", "<!--", "-->", "]]>",
		"<![CDATA[", "\x00", "\x1b[2J", "\u202e", "=1+1", "word", " ", "\n", "\xff", "é", "紙", "\u2028", "<", ">", "<b", "&#60;b>"}
	whole := fullRecord(t)
	rapid.Check(t, func(t *rapid.T) {
		rec := clone(t, whole)
		rec.Scan, rec.Spoiled, rec.Name = "x", "x", "x"
		rec.Rehearsal, rec.Pace = true, rapid.SampledFrom([]float64{0, .5, 20}).Draw(t, "pace")
		rec.Judgements = append(rec.Judgements, JudgementRecord{Stops: rapid.Float64Range(-3, 3).Draw(t, "stops")})
		rec.Undone = append(rec.Undone, UndoRecord{})
		if rec.Exposure != nil {
			rec.Exposure.Working = "x"
		}
		plain, bad := rec, clone(t, rec)
		everyText(reflect.ValueOf(&plain).Elem(), func() string { return "x" })
		var said []string
		everyText(reflect.ValueOf(&bad).Elem(), func() string {
			// A letter at either end, so that none is empty or blank.
			s := fmt.Sprintf("a%da", len(said)) + strings.Join(rapid.SliceOfN(rapid.SampledFrom(hostile), 0, 4).Draw(t, "text"), "") + "z"
			said = append(said, s)
			return s
		})
		want, _ := shape(t, card(t, &plain))
		got, text := shape(t, card(t, &bad))
		if !slices.Equal(got, want) {
			t.Fatalf("the texts changed the markup:\n%v\n%v", got, want)
		}
		for _, s := range []string{bad.Name, bad.Maker, bad.Paper.Name, bad.Camera, bad.ProcessIs, bad.Light, bad.Spoiled, bad.Scan, bad.ID,
			bad.Notes[0].Text, bad.Judgements[len(bad.Judgements)-1].Seen, bad.Stages[0].Label, bad.Undone[0].Stage} {
			if !strings.Contains(text, words.Clean(s)) {
				t.Fatalf("%q is not on the card:\n%s", s, text)
			}
		}
	})
}

func card(t *rapid.T, r *Record) []byte {
	var b bytes.Buffer
	if err := page.ExecuteTemplate(&b, "card", r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// clone is a record that shares nothing with r.
func clone(t *rapid.T, r Record) Record {
	s, err := r.encode()
	if err != nil {
		t.Fatal(err)
	}
	out, err := decodeRecord(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}
