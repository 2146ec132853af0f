package main

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"wetside/profiles"
	"wetside/session/notebook"
	"wetside/session/words"
)

// A bundle is all that a second laptop needs, as a ZIP file: the notebook as the
// JSON export has it, and the folder of settings, profiles and voices.
const (
	bundleHead     = "wetside-bundle.json"
	bundleName     = "wetside bundle"
	bundleVersion  = 1
	bundleNotebook = "notebook.json"
	bundleFile     = 64 << 20 // the largest file that is taken of the settings' folder
)

// bundled reports whether a file of the settings' folder belongs into a bundle.
func bundled(name string) bool {
	clean := path.Clean(name) == name && fs.ValidPath(name) && !strings.Contains(name, "/.") && !strings.Contains(name, `\`)
	top, rest, deep := strings.Cut(name, "/")
	switch {
	case !clean:
		return false
	case !deep:
		return name == settingsFile
	case top == "profiles":
		return path.Ext(rest) == ".toml"
	}
	return top == "voices" && !strings.Contains(rest, "/") && strings.EqualFold(path.Ext(rest), ".wav")
}

// bundle writes one.
func (h *host) bundle(b *notebook.Book, w io.Writer) error {
	z := zip.NewWriter(w)
	put := func(name string, write func(io.Writer) error) error {
		f, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: h.now()})
		if err == nil {
			err = write(f)
		}
		return err
	}
	err := put(bundleHead, func(w io.Writer) error {
		return json.NewEncoder(w).Encode(map[string]any{"format": bundleName, "version": bundleVersion})
	})
	if err == nil {
		err = put(bundleNotebook, func(w io.Writer) error {
			return b.Export(w, notebook.JSON, notebook.Filter{Rehearsals: notebook.Both}, notebook.Options{})
		})
	}
	if err != nil {
		return err
	}
	files := filesIn(h.config)
	err = fs.WalkDir(files, ".", func(name string, e fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case e.IsDir() || !bundled(name):
			return nil
		}
		data, err := fs.ReadFile(files, name)
		if err != nil {
			h.warn("left out: %s", oneLine(err))
			return nil
		}
		return put(name, func(w io.Writer) error { _, err := w.Write(data); return err })
	})
	if err != nil {
		return err
	}
	return z.Close()
}

// unbundle takes a bundle in. What is here already under the same key or name stays as
// it is; what differs is kept beside it, and told.
func (h *host) unbundle(b *notebook.Book, file, name string) (rep notebook.ImportReport, err error) {
	z, err := zip.OpenReader(file)
	if err != nil {
		return rep, fmt.Errorf("%s is damaged: %w", name, err)
	}
	defer z.Close()
	if err := readable(&z.Reader, name); err != nil {
		return rep, err
	}
	dir, err := os.MkdirTemp("", "wetside-*")
	if err != nil {
		return rep, err
	}
	defer os.RemoveAll(dir)
	all := filepath.Join(dir, bundleNotebook)
	err = notebook.WriteFile(all, func(w io.Writer) error {
		f, err := z.Open(bundleNotebook)
		if err != nil {
			return err
		}
		defer f.Close()
		_, err = io.Copy(w, f)
		return err
	})
	if err != nil {
		return rep, fmt.Errorf("the notebook in %s cannot be read: %w", name, err)
	}
	rep, err = b.Import(all, name)
	for _, f := range z.File {
		if ferr := h.takeOne(f, name); ferr != nil {
			err = errors.Join(err, fmt.Errorf("%s of %s is left out: %w", f.Name, name, ferr))
		}
	}
	return rep, err
}

// readable refuses what is no bundle, or a newer program's.
func readable(z *zip.Reader, name string) error {
	var head struct {
		Format  string
		Version int
	}
	if data, err := fs.ReadFile(z, bundleHead); err != nil || json.Unmarshal(data, &head) != nil || head.Format != bundleName {
		return usage("%s is no bundle: name one that wetside export --bundle has written", name)
	}
	if head.Version > bundleVersion {
		return fmt.Errorf("%s was written by a newer wetside: use that one", name)
	}
	return nil
}

// takeOne takes in one file of a bundle beside its notebook.
func (h *host) takeOne(f *zip.File, name string) error {
	if f.FileInfo().IsDir() || f.Name == bundleHead || f.Name == bundleNotebook {
		return nil
	}
	if !bundled(f.Name) {
		h.warn("%s: %s does not belong in a bundle, and is left out", name, f.Name)
		return nil
	}
	data, err := readBundled(f)
	if err != nil {
		return err
	}
	return h.takeIn(f.Name, data)
}

func readBundled(f *zip.File) ([]byte, error) {
	r, err := f.Open()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, bundleFile+1))
	if len(data) > bundleFile {
		err = errors.New("it is too large")
	}
	return data, err
}

// takeIn puts one file of a bundle where it belongs, or beside what is there.
func (h *host) takeIn(name string, data []byte) error {
	to := filepath.Join(h.config, filepath.FromSlash(name))
	what := name
	if strings.HasPrefix(name, "profiles/") {
		kind, key, wrong := profiles.KeyOf(name, data)
		if len(wrong) > 0 {
			h.warn("%s has a fault, and is kept beside: %s", name, oneLine(wrong[0]))
			return h.keepBeside(to, data)
		}
		what = fmt.Sprintf("%s %s", kind, key)
		set, _ := h.profiles()
		if src, err := set.Source(kind, key); err == nil && !src.Builtin {
			to = filepath.Join(h.profileFolder(), filepath.FromSlash(src.File))
		}
	}
	if old, err := os.ReadFile(to); err == nil {
		if bytes.Equal(old, data) {
			return nil
		}
		h.warn("%s is here already, and stays as it is; the other is kept beside it", what)
		return h.keepBeside(to, data)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := notebook.Replace(to, data); err != nil {
		return err
	}
	h.say("%s: %s", what, to)
	return nil
}

// keepBeside writes a file beside the one that it does not replace.
func (h *host) keepBeside(to string, data []byte) error {
	for n := 1; ; n++ {
		beside := to + ".imported"
		if n > 1 {
			beside = fmt.Sprintf("%s-%d", beside, n)
		}
		old, err := os.ReadFile(beside)
		switch {
		case err == nil && bytes.Equal(old, data):
			return nil
		case err == nil && n < 1000:
			continue
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return err
		}
		if err := notebook.Replace(beside, data); err != nil {
			return err
		}
		h.warn("kept as %s", beside)
		return nil
	}
}

// isBundle reports whether a file begins as a ZIP file does (PKWARE's APPNOTE.TXT,
// 4.3.7: the signature of a local file header).
func isBundle(f io.Reader) bool {
	head := make([]byte, 4)
	_, err := io.ReadFull(f, head)
	return err == nil && string(head) == "PK\x03\x04"
}

// exportBundle writes a bundle to a file or to standard output.
func (c *ExportCmd) exportBundle(h *host, b *notebook.Book) error {
	if c.Filter != (Filter{}) || c.Format != "" || c.Title != "" || c.Comma {
		return usage("a bundle has all there is: leave out the other flags")
	}
	if c.Output == "" || c.Output == stdio {
		if err := h.textOnly(); err != nil {
			return err
		}
		return h.bundle(b, h.out)
	}
	if err := notebook.WriteFile(c.Output, func(w io.Writer) error { return h.bundle(b, w) }); err != nil {
		return noOutput(c.Output, err)
	}
	n, err := b.Count(notebook.Filter{})
	if err == nil {
		h.say("%s, settings, profiles and voices written to %s", words.Count(n, "sheet"), c.Output)
	}
	return err
}
