// Package testkit holds what the tests of other packages share, and the test
// that holds every package to its layer.
package testkit
