package postgres

import (
	"maps"
	"slices"
)

// AnsweredConstraints lists the constraints that translate knows.
func AnsweredConstraints() []string { return slices.Sorted(maps.Keys(constraintFaults)) }
