package migrations

// UpFrom is Up with files of the test's own.
var UpFrom = up
