// Package voice says the program's announcements: it turns a cue into lines of
// the closed language of package say (Lines), and those into samples joined from
// recorded phrases (Voice).
//
// The clips are in the binary. They were made with flite by the program in gen
// (go generate), one for every phrase of package say; clips.txt has those that
// are not spoken as they are written, and LICENSE-clips names source, voice and
// licence. A name of the user's own, such as a camera's, is spoken by a WAV file
// of theirs, else by the system's voice if there is one; where neither can, a
// number or the bath stands for it.
//
// A token is the name of a clip ("lift and drain", "four"), a pause (";", ","),
// or a user's name behind a quotation mark. All samples are mono, 48 kHz, no
// larger than Peak, and every clip has the same A-weighted loudness, Level.
package voice

import (
	_ "embed"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"sync"

	"wetside/session"
	"wetside/session/say"
	"wetside/sound/voice/pack"
)

//go:generate go run ./gen

//go:embed clips.pack
var clipsPack []byte

// Talk is how much is spoken. The motifs are the same at each level.
type Talk int

const (
	// Few: only what calls for the hands, or went wrong.
	Few Talk = iota
	// Normal: each stage with its time, the time left, the field's exposure.
	Normal
	// Full: everything, with the sheet's number each time.
	Full
)

// String is the level's name in the settings.
func (t Talk) String() string {
	switch t {
	case Few:
		return "few"
	case Normal:
		return "normal"
	case Full:
		return "full"
	}
	return fmt.Sprintf("Talk(%d)", int(t))
}

const (
	Rate  = 48000 // samples a second of all that is returned
	Level = -18.0 // dBFS, A-weighted, of the spoken part of each clip
	Peak  = 0.85  // no sample is larger
)

// A Config says what to speak with beside the clips. The zero value is enough.
type Config struct {
	// User holds the user's own recordings, one WAV for each name: "tea
	// caddy.wav". A file with a clip's name ("develop.wav") takes its place.
	User fs.FS
	// Say speaks words that are neither clip nor recording, at Rate. It may
	// take its time: what it gave is kept. See SystemVoice.
	Say func(text string) ([]float32, error)
}

// A Voice holds the clips, decoded as they are first needed. It may be used
// from several goroutines.
type Voice struct {
	pack *pack.Pack
	say  func(string) ([]float32, error)
	user map[string][]float32

	mu     sync.Mutex
	clips  map[string][]float32
	spoken map[string][]float32 // by say; nil: it could not
}

var openPack = sync.OnceValues(func() (*pack.Pack, error) { return pack.Decode(clipsPack) })

// New makes a voice. When one of the user's recordings cannot be read, the
// error says which and what to do, and the Voice that comes with it speaks
// without that recording. The Voice is nil only when the binary's own clips are
// damaged.
func New(cfg Config) (*Voice, error) {
	p, err := openPack()
	if err != nil {
		return nil, err
	}
	for _, c := range say.Clips() {
		if !p.Has(c) {
			return nil, fmt.Errorf("voice clips: %q is not recorded; run go generate in sound/voice", c)
		}
	}
	v := &Voice{pack: p, say: cfg.Say, user: map[string][]float32{},
		clips: map[string][]float32{}, spoken: map[string][]float32{}}
	return v, v.load(cfg.User)
}

func (v *Voice) load(user fs.FS) error {
	if user == nil {
		return nil
	}
	list, err := fs.ReadDir(user, ".")
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	faults := []error{err}
	for _, e := range list {
		ext := path.Ext(e.Name())
		if e.IsDir() || !strings.EqualFold(ext, ".wav") {
			continue
		}
		s, err := readUser(user, e.Name())
		if err != nil {
			faults = append(faults, fmt.Errorf("voices/%s: %w", e.Name(), err))
			continue
		}
		name := plain(strings.TrimSuffix(e.Name(), ext))
		v.user[name] = s
	}
	return errors.Join(faults...)
}

// plain is the form in which names are compared.
func plain(name string) string {
	return strings.ToLower(strings.Join(strings.FieldsFunc(name, func(r rune) bool {
		return r == '_' || r == ' ' || r == '\t'
	}), " "))
}

// Phrase is what is said for a cue: 48 kHz mono, nil when nothing is to be said.
//
// A name that only Config.Say can speak makes Phrase wait for it the first
// time: render ahead, and not on the goroutine that feeds the loudspeaker.
func (v *Voice) Phrase(c session.Cue, talk Talk) []float32 {
	return v.Say(script(c, talk, v.can))
}

// Say joins tokens to one announcement: 48 kHz mono, nil when none of them can
// be spoken.
func (v *Voice) Say(tokens []string) []float32 {
	type part struct {
		pause int
		clip  []float32
	}
	var parts []part
	pause, length := 0, 0
	for _, t := range tokens {
		if p, ok := pauses[t]; ok {
			pause = max(pause, p)
			continue
		}
		s := v.clip(t)
		if len(s) == 0 {
			continue
		}
		if len(parts) > 0 {
			pause = max(pause, joint)
		} else {
			pause = 0
		}
		parts = append(parts, part{pause, s})
		length += pause + len(s)
		pause = 0
	}
	if len(parts) == 0 {
		return nil
	}
	out := make([]float32, 0, length)
	for _, p := range parts {
		out = append(out[:len(out)+p.pause], p.clip...)
	}
	return out
}

// Samples of silence at a pause, and between any two clips. Clips begin and end
// at nothing (they are faded in and out where they are made), so that no join
// can click.
const joint = Rate * 15 / 1000

var pauses = map[string]int{
	",": Rate * 110 / 1000,
	":": Rate * 150 / 1000,
	";": Rate * 220 / 1000,
}

// can reports whether a name can be spoken.
func (v *Voice) can(name string) bool { return len(v.clip(name)) > 0 }

// clip is one token's samples: the user's recording, the clip, the system's
// voice.
func (v *Voice) clip(token string) []float32 {
	token = strings.TrimPrefix(token, `"`) // a name of the user's
	if s, ok := v.user[plain(token)]; ok {
		return s
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.pack.Has(token) {
		s, ok := v.clips[token]
		if !ok {
			s = resample(v.pack.Samples(token), v.pack.Rate, Rate)
			hold(s)
			v.clips[token] = s
		}
		return s
	}
	if v.say == nil || !speakable(token) {
		return nil
	}
	s, ok := v.spoken[token]
	if !ok {
		// The mutex stays held: two announcements never need the same
		// name spoken twice, and a voice that hangs has its own timeout.
		if got, err := v.say(token); err == nil {
			s = fit(got)
		}
		v.spoken[token] = s
	}
	return s
}

// hold keeps resampling overshoot and coding noise under Peak.
func hold(s []float32) {
	for i, x := range s {
		s[i] = min(max(x, -Peak), Peak)
	}
}
