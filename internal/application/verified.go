package application

// Verified is the result of checking the chain of records.
type Verified struct {
	Records  int64    `json:"records"` // read
	Head     Head     `json:"head"`    // of the last one read
	Problems []string `json:"problems,omitempty"`
}

// OK says whether every record is as it was written.
func (v Verified) OK() bool { return len(v.Problems) == 0 }

// MarshalText writes the hash in hexadecimal.
func (h Hash) MarshalText() ([]byte, error) { return []byte(h.String()), nil }
