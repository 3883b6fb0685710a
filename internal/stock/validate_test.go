package stock

import (
	"math"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
)

func TestSettle(t *testing.T) {
	lot := Lot{Number: "L1", Left: 20, LeftUnit: "kg"}
	cases := []struct {
		name string
		m    Move
		want float64
		code string
	}{
		{"received", Move{Kind: "received", Amount: 5, Unit: "kg", Entered: "5 kg"}, 5, ""},
		{"used", Move{Kind: "used", Amount: 5, Unit: "kg", Entered: "5 kg"}, -5, ""},
		{"used more than the books hold", Move{Kind: "used", Amount: 25, Unit: "kg", Entered: "25 kg"}, -25, ""},
		{"counted less", Move{Kind: "counted", Amount: 18, Unit: "kg", Entered: "18 kg"}, -2, ""},
		{"counted none", Move{Kind: "counted", Amount: 0, Unit: "kg", Entered: "0 kg"}, -20, ""},
		{"disposed of all", Move{Kind: "disposed", Amount: 20, Unit: "kg", Entered: "20 kg"}, -20, ""},
		{"disposed of more", Move{Kind: "disposed", Amount: 20.1, Unit: "kg", Entered: "20.1 kg"}, 0, "not-that-much"},
		{"wrong unit", Move{Kind: "received", Amount: 5, Unit: "L", Entered: "5 L"}, 0, "stock-move"},
		{"negative", Move{Kind: "received", Amount: -5, Unit: "kg", Entered: "-5 kg"}, 0, "stock-move"},
		{"no number", Move{Kind: "received", Amount: math.NaN(), Unit: "kg", Entered: "?"}, 0, "stock-move"},
		{"not as entered", Move{Kind: "received", Amount: 5, Unit: "kg"}, 0, "stock-move"},
		{"odd kind", Move{Kind: "lost", Amount: 5, Unit: "kg", Entered: "5 kg"}, 0, "stock-move"},
	}
	for _, c := range cases {
		m, err := Settle(lot, c.m)
		if c.code != "" {
			if !fault.HasCode(err, c.code) {
				t.Errorf("%s: %v, want code %s", c.name, err, c.code)
			}
			continue
		}
		if err != nil || m.Amount != c.want {
			t.Errorf("%s: %g, %v; want %g", c.name, m.Amount, err, c.want)
		}
	}
}

func TestValidateLot(t *testing.T) {
	good := Lot{ProductID: uuid.New(), Number: "L1", ReceivedOn: civil.MustDate("2026-03-01"), ExpiresOn: civil.MustDate("2026-03-01")}
	if err := ValidateLot(good); err != nil {
		t.Error(err)
	}
	good.ExpiresOn = civil.MustDate("2026-02-28")
	if err := ValidateLot(good); !fault.HasCode(err, "lot") {
		t.Errorf("expires before it came: %v", err)
	}
	if f := fault.As(ValidateLot(Lot{})); f == nil || len(f.Fields) != 3 {
		t.Errorf("an empty lot: %v", f)
	}
}
