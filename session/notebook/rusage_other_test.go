//go:build !unix

package notebook

import "time"

func spent() time.Duration { return 0 }
