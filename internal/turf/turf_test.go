package turf

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"thirdcut/internal/civil"
)

// The ids are a contract with files and commands: these lists are written out
// here once more, so that a change of an id fails.
func TestClosedListsAreTheContract(t *testing.T) {
	species := "bermudagrass_common bermudagrass_hybrid zoysiagrass st_augustinegrass centipedegrass buffalograss bahiagrass seashore_paspalum " +
		"carpetgrass kikuyugrass tall_fescue fine_fescue kentucky_bluegrass perennial_ryegrass creeping_bentgrass mixed_cool mixed_warm unknown"
	soils := "sand loamy_sand sandy_loam loam silt_loam sandy_clay_loam clay_loam silty_clay_loam sandy_clay silty_clay clay unknown"
	if got := joined(AllSpecies); got != species {
		t.Errorf("species are %s", got)
	}
	if got := joined(AllSoils); got != soils {
		t.Errorf("soils are %s", got)
	}
	if got := joined(AllExposures); got != "sun part_shade shade" {
		t.Errorf("exposures are %s", got)
	}
	if got := joined([]Mower{Reel, Rotary}); got != "reel rotary" {
		t.Errorf("mowers are %s", got)
	}
	if got := joined(AllWork); got != "mow edge spread spray water_check look first_cut" {
		t.Errorf("work is %s", got)
	}
}

func joined[T ~string](list []T) string {
	words := make([]string, len(list))
	for i, v := range list {
		words[i] = string(v)
	}
	return strings.Join(words, " ")
}

func TestMembersAreKnownAndOthersAreNot(t *testing.T) {
	for _, s := range AllSpecies {
		if !s.Known() || s.Words() == "" || strings.Contains(s.Words(), "_") {
			t.Errorf("species %s: known %v, words %q", s, s.Known(), s.Words())
		}
	}
	for _, w := range AllWork {
		if !w.Known() || w.Words() == "" {
			t.Errorf("work %s: known %v, words %q", w, w.Known(), w.Words())
		}
		if w.Treats() != (w == Spread || w == Spray) {
			t.Errorf("work %s treats: %v", w, w.Treats())
		}
	}
	words := map[string]Species{}
	for _, s := range AllSpecies {
		if other, twice := words[s.Words()]; twice {
			t.Errorf("%s and %s are both called %q", s, other, s.Words())
		}
		words[s.Words()] = s
	}
	if Species("Tall_Fescue").Known() || Species("").Known() || Soil("clay loam").Known() || Soil("").Known() || Exposure("full sun").Known() ||
		Mower("").Known() || Mower("cylinder").Known() || Work("").Known() || Work("Mow").Known() {
		t.Error("something outside the lists is known")
	}
	if Species("moss").Words() != "moss" || Work("dig").Words() != "dig" {
		t.Error("a word outside the lists is not shown as it is")
	}
}

func TestWindowHoldsItsDaysButNotTheStruckOnes(t *testing.T) {
	day := civil.MustDate
	w := Window{Work: Mow, Opens: day("2026-06-02"), Best: day("2026-06-04"), Closes: day("2026-06-05"),
		Struck: []StruckDay{{day("2026-06-03"), "heavy rain is forecast"}}}
	var held []string
	for d := day("2026-05-31"); d.Before(day("2026-06-08")); d = d.AddDays(1) {
		if w.Holds(d) {
			held = append(held, d.String())
		}
	}
	if want := []string{"2026-06-02", "2026-06-04", "2026-06-05"}; !slices.Equal(held, want) {
		t.Errorf("holds %v, want %v", held, want)
	}
	none := Window{Work: Mow, Reason: "the grass is dormant"}
	if none.Open() || none.Holds(civil.Date{}) || none.Holds(day("2026-06-03")) || !w.Open() {
		t.Error("a window that is none holds a day")
	}
}

func TestWindowIsReadAgain(t *testing.T) {
	want := Window{Work: Spray, Opens: civil.MustDate("2026-06-02"), Best: civil.MustDate("2026-06-04"), Closes: civil.MustDate("2026-06-05"), Tight: true, Reason: "5-leaf stage",
		Struck: []StruckDay{{civil.MustDate("2026-06-03"), "wind"}}, Chances: []DayChance{{civil.MustDate("2026-06-02"), 0.25, 4.1}}}
	b, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{`"work":"spray"`, `"opens":"2026-06-02"`, `"best":"2026-06-04"`, `"closes":"2026-06-05"`, `"tight":true`, `"chance_over_third":0.25`, `"standing_height_in":4.1`} {
		if !strings.Contains(string(b), key) {
			t.Errorf("%s has no %s", b, key)
		}
	}
	var got Window
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	again, err := json.Marshal(got)
	if err != nil || string(again) != string(b) {
		t.Errorf("read again as %s, %v", again, err)
	}
}
