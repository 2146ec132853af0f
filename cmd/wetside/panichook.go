//go:build wetside_panic

package main

import (
	"os"

	"wetside/tui"
)

// A build with this tag can be made to break off by a key, as a fault in the
// program would: in the loop that handles keys, or in a goroutine, where no
// recover reaches. The text is the test's, as ill-mannered as a text can be.
func init() {
	text := os.Getenv("WETSIDE_PANIC")
	tui.Hook = func(key string) {
		switch key {
		case "ctrl+p":
			panic(text)
		case "ctrl+o":
			go panic(text)
		}
	}
}
