//go:build wetside_panic

package main

import "wetside/tui"

// A build with this tag can be made to break off by a key, as a fault in the
// program would: in the loop that handles keys, or in a goroutine, where no
// recover reaches. The text is as ill-mannered as a text can be.
func init() {
	tui.Hook = func(key string) {
		switch key {
		case "ctrl+p":
			panic("\x1b[42;1;97mtray on the floor\x1b]11;#ffffff\a")
		case "ctrl+o":
			go panic("\x1b[42;1;97mtray on the floor\x1b[?1049l\x1bc")
		}
	}
}
