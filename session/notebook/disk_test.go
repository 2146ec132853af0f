package notebook

import (
	"path/filepath"
	"sync"
	"testing"
)

// Programs that start at the same instant look at the same folder: none takes
// another's look for its own, and none leaves a file.
func TestManyProbesAtOnce(t *testing.T) {
	c := config(t)
	var wg sync.WaitGroup
	for range 4 {
		b, _, err := Open(c)
		if err != nil {
			t.Fatal(err)
		}
		defer b.Close()
		wg.Go(func() {
			for range 200 {
				if err := b.probe(); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	if left, err := filepath.Glob(c.Path + ".probe*"); err != nil || len(left) > 0 {
		t.Error(left, err)
	}
}
