package voice

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// Wait is how long the system's voice may take over one name.
const Wait = 3 * time.Second

// A Host is what SystemVoice needs of the machine.
type Host struct {
	// Find is where a program is, as exec.LookPath.
	Find func(name string) (path string, err error)
	// Temp is a folder for the moment's WAV file, for voices that cannot
	// write to a pipe. With "" those voices are not used.
	Temp string
}

// A speaker is one program that reads text on its standard input and writes a
// WAV: to standard output, or to a file of that name.
type speaker struct {
	name string
	args func(file string) []string
	file bool
}

var speakers = []speaker{
	{name: "espeak-ng", args: func(string) []string { return []string{"--stdin", "--stdout"} }},
	{name: "espeak", args: func(string) []string { return []string{"--stdin", "--stdout"} }},
	{name: "say", file: true, args: func(f string) []string { // macOS
		return []string{"-f", "-", "-o", f, "--file-format=WAVE", "--data-format=LEI16@22050"}
	}},
	{name: "powershell.exe", file: true, args: func(f string) []string { // Windows
		return []string{"-NoProfile", "-NonInteractive", "-Command",
			"Add-Type -AssemblyName System.Speech; " +
				"$v = New-Object System.Speech.Synthesis.SpeechSynthesizer; " +
				"$v.SetOutputToWaveFile('" + strings.ReplaceAll(f, "'", "''") + "'); " +
				"$v.Speak([Console]::In.ReadToEnd()); $v.Dispose()"}
	}},
}

// SystemVoice is the machine's own voice for names that are no clips: espeak-ng
// or espeak, else what macOS and Windows bring. Nil when there is none. The
// text goes to the program's standard input and is never part of a command.
func SystemVoice(h Host) func(text string) ([]float32, error) {
	if h.Find == nil {
		return nil
	}
	for _, sp := range speakers {
		if sp.file && h.Temp == "" {
			continue
		}
		if path, err := h.Find(sp.name); err == nil {
			return func(text string) ([]float32, error) { return sp.speak(path, h.Temp, text) }
		}
	}
	return nil
}

func (sp speaker) speak(path, temp, text string) ([]float32, error) {
	if !speakable(text) {
		return nil, fmt.Errorf("nothing to speak in %q", text)
	}
	ctx, stop := context.WithTimeout(context.Background(), Wait)
	defer stop()
	var file string
	if sp.file {
		dir, err := os.MkdirTemp(temp, "voice")
		if err != nil {
			return nil, err
		}
		defer os.RemoveAll(dir)
		file = filepath.Join(dir, "name.wav")
	}
	var out bytes.Buffer
	cmd := exec.CommandContext(ctx, path, sp.args(file)...)
	cmd.Stdin = strings.NewReader(text + "\n")
	cmd.Stdout = &out
	cmd.WaitDelay = time.Second // a child of its own that keeps the pipe open does not keep us
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return nil, fmt.Errorf("%s took longer than %v over %q", sp.name, Wait, text)
		}
		return nil, fmt.Errorf("%s: %w", sp.name, err)
	}
	wav := out.Bytes()
	if sp.file {
		var err error
		if wav, err = os.ReadFile(file); err != nil {
			return nil, fmt.Errorf("%s wrote nothing: %w", sp.name, err)
		}
	}
	s, rate, err := decodeWAV(wav)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", sp.name, err)
	}
	if len(s) > longestWAV*rate {
		return nil, errors.New(sp.name + ": too long for a name")
	}
	return resample(s, rate, Rate), nil
}
