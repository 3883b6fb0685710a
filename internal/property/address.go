package property

import (
	"strings"
	"unicode"
)

// suffixes maps words of street addresses to the short form of USPS
// Publication 28 (appendix C1 street suffixes, C2 unit designators, B
// directionals), so that "12 North Oak Street" and "12 N. Oak St" are one address.
var suffixes = map[string]string{
	"alley": "aly", "avenue": "ave", "av": "ave", "boulevard": "blvd", "branch": "br", "bridge": "brg", "brook": "brk",
	"circle": "cir", "court": "ct", "cove": "cv", "creek": "crk", "crescent": "cres", "crossing": "xing", "drive": "dr",
	"estates": "ests", "expressway": "expy", "extension": "ext", "field": "fld", "fields": "flds", "forest": "frst",
	"freeway": "fwy", "garden": "gdn", "gardens": "gdns", "glen": "gln", "green": "grn", "grove": "grv", "harbor": "hbr",
	"heights": "hts", "highway": "hwy", "hill": "hl", "hills": "hls", "hollow": "holw", "junction": "jct", "knoll": "knl",
	"lake": "lk", "landing": "lndg", "lane": "ln", "manor": "mnr", "meadow": "mdw", "meadows": "mdws", "mill": "ml",
	"mount": "mt", "mountain": "mtn", "orchard": "orch", "parkway": "pkwy", "pike": "pike", "place": "pl", "plaza": "plz",
	"point": "pt", "ridge": "rdg", "river": "riv", "road": "rd", "route": "rte", "shore": "shr", "spring": "spg",
	"springs": "spgs", "square": "sq", "station": "sta", "street": "st", "summit": "smt", "terrace": "ter", "trace": "trce",
	"track": "trak", "trail": "trl", "turnpike": "tpke", "valley": "vly", "view": "vw", "village": "vlg", "vista": "vis",
	"apartment": "unit", "apt": "unit", "suite": "unit", "ste": "unit", "no": "unit",
	"north": "n", "south": "s", "east": "e", "west": "w", "northeast": "ne", "northwest": "nw", "southeast": "se", "southwest": "sw",
}

// StreetKey normalises a street address: lower case, no punctuation, one space
// between words, usual words in their short form.
func StreetKey(address string) string {
	spaced := strings.Map(func(r rune) rune {
		switch {
		case r == '#':
			return r
		case r == '\'' || r == '.' || r == '’':
			return -1 // O'Dell, N.W.
		case unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '/':
			return unicode.ToLower(r)
		}
		return ' '
	}, address)
	words := strings.Fields(strings.ReplaceAll(spaced, "#", " unit "))
	out := words[:0]
	for _, w := range words {
		if short, ok := suffixes[w]; ok {
			w = short
		}
		if w == "unit" && len(out) > 0 && out[len(out)-1] == "unit" {
			continue // "Apt #3"
		}
		out = append(out, w)
	}
	return strings.Join(out, " ")
}

// MakeAddressKey is the key by which a property is recognised again: the
// normalised street, the state, and the five-digit ZIP code or, without one, the
// municipality.
func MakeAddressKey(address, municipality, state, zip string) string {
	town := strings.ToLower(strings.Join(strings.Fields(municipality), " "))
	if len(zip) >= 5 {
		town = zip[:5]
	}
	return StreetKey(address) + "|" + strings.ToLower(state) + "|" + town
}

// Key is MakeAddressKey of the property as it stands.
func (p Property) Key() string {
	return MakeAddressKey(p.Address, p.Municipality, p.State, p.ZIPCode)
}
