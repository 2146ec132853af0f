// Pack puts a folder into an archive whose bytes depend on nothing but the names,
// the contents and the time given: go run .ci/pack.go OUT FOLDER UNIXTIME. OUT ends
// in .tar.gz or .zip.
package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"io"
	"io/fs"
	"log"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 4 {
		log.Fatal("pack: OUT FOLDER UNIXTIME")
	}
	out, folder := os.Args[1], filepath.Clean(os.Args[2])
	sec, err := strconv.ParseInt(os.Args[3], 10, 64)
	if err != nil {
		log.Fatal(err)
	}
	if err := pack(out, folder, time.Unix(sec, 0).UTC()); err != nil {
		log.Fatal(err)
	}
}

func pack(out, folder string, at time.Time) error {
	f, err := os.Create(out)
	if err != nil {
		return err
	}
	defer f.Close()
	var add func(name string, mode int64, size int64) (io.Writer, error)
	var ends []io.Closer
	if strings.HasSuffix(out, ".zip") {
		z := zip.NewWriter(f)
		ends = append(ends, z)
		add = func(name string, mode, _ int64) (io.Writer, error) {
			h := &zip.FileHeader{Name: name, Method: zip.Deflate, Modified: at}
			h.SetMode(fs.FileMode(mode))
			return z.CreateHeader(h)
		}
	} else {
		g, err := gzip.NewWriterLevel(f, gzip.BestCompression)
		if err != nil {
			return err
		}
		t := tar.NewWriter(g)
		ends = append(ends, t, g)
		add = func(name string, mode, size int64) (io.Writer, error) {
			return t, t.WriteHeader(&tar.Header{Name: name, Mode: mode, Size: size, ModTime: at, Format: tar.FormatUSTAR})
		}
	}
	// In the order of the names, as WalkDir goes.
	err = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(filepath.Dir(folder), path)
		if err != nil {
			return err
		}
		mode := int64(0o644)
		if name := d.Name(); name == "wetside" || name == "wetside.exe" {
			mode = 0o755
		}
		w, err := add(filepath.ToSlash(rel), mode, int64(len(data)))
		if err != nil {
			return err
		}
		_, err = w.Write(data)
		return err
	})
	if err != nil {
		return err
	}
	for _, c := range ends {
		if err := c.Close(); err != nil {
			return err
		}
	}
	return f.Close()
}
