//go:build race

package ear_test

const racing = true
