//go:build race

package soundtest_test

const racing = true
