package postgres_test

import (
	"math"
	"reflect"
	"testing"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/stock"
)

func labelOf(p product.Product, by uuid.UUID) product.LabelVersion {
	return product.LabelVersion{ProductID: p.ID, Revision: "r1", Pattern: "turf, sedge", InForceFrom: civil.MustDate("2026-01-01"), EnteredBy: by,
		Limits: label.Limits{Place: "p. 4", RateMax: ptr(1.5), RateUnit: label.FlOzPerThousand, ReentryText: "until dry", SignalWord: "CAUTION"}}
}

func TestLabelBindsOnceConfirmed(t *testing.T) {
	h := newHouse(t)
	p := h.product("Sedge Example 4L")
	ada, ben, dan := h.person("Ada Marsh", true), h.person("Ben Rowe", true), h.person("Dan Fell", false)
	v, err := h.AddLabelVersion(h.ctx, labelOf(p, ada.ID))
	h.ok(err)
	on := civil.MustDate("2026-06-02")
	read, err := h.Product(h.ctx, p.ID)
	h.ok(err)
	if _, ok := read.LabelOn("turf, sedge", on); ok || len(read.Labels) != 1 {
		t.Errorf("an unconfirmed label binds: %+v", read.Labels)
	}
	_, err = h.ConfirmLabelVersion(h.ctx, v.ID, dan.ID)
	h.refused(err, fault.Rule, "license-needed")
	_, err = h.ConfirmLabelVersion(h.ctx, v.ID, ada.ID)
	h.refused(err, fault.Rule, "second-person")
	_, err = h.ConfirmLabelVersion(h.ctx, v.ID, ben.ID)
	h.ok(err)
	_, err = h.ConfirmLabelVersion(h.ctx, v.ID, ben.ID)
	h.refused(err, fault.Conflict, "label-confirmed")
	read, err = h.Product(h.ctx, p.ID)
	h.ok(err)
	got, ok := read.LabelOn("turf, sedge", on)
	if !ok || got.Solo() || got.ConfirmedBy != ben.ID || *got.Limits.RateMax != 1.5 || got.Limits.Revision != "r1" || got.Limits.Pattern != "turf, sedge" {
		t.Errorf("label in force: %+v, %v", got, ok)
	}
	entries, err := h.AuditEntries(h.ctx, 0, 10)
	h.ok(err)
	if len(entries) != 1 || entries[0].Action != "label.confirm" || entries[0].PersonID != ben.ID || entries[0].Subject != v.ID.String() {
		t.Errorf("audit %+v", entries)
	}

	_, err = h.AddLabelVersion(h.ctx, labelOf(p, ada.ID))
	h.refused(err, fault.Conflict, "label-revision-taken")
	bad := labelOf(p, ada.ID)
	bad.Revision, bad.Limits.RateMax = "r2", ptr(-1.0)
	_, err = h.AddLabelVersion(h.ctx, bad)
	h.refused(err, fault.Invalid, "label-version")
	_, err = h.AddLabelVersion(h.ctx, labelOf(product.Product{ID: uuid.New()}, ada.ID))
	h.refused(err, fault.NotFound, "product")
}

func TestProductEdits(t *testing.T) {
	h := newHouse(t)
	p := h.product("Sedge Example 4L")
	_, err := h.AddProduct(h.ctx, product.Product{Name: p.Name, Kind: "fertiliser", Form: "dry"})
	h.refused(err, fault.Conflict, "product-name-taken")
	saved, err := h.SaveProduct(h.ctx, p.ID, 1, func(p *product.Product) error { p.ConcentrationPercent = ptr(40.25); return nil })
	h.ok(err)
	read, err := h.Product(h.ctx, p.ID)
	h.ok(err)
	if !reflect.DeepEqual(read, saved) || read.Version != 2 {
		t.Errorf("read %+v, saved %+v", read, saved)
	}
	_, err = h.AddLot(h.ctx, stock.Lot{ProductID: p.ID, Number: "L1", ReceivedOn: civil.MustDate("2026-03-01")},
		stock.Move{Amount: 10, Unit: "L", Entered: "10 L", At: h.now})
	h.ok(err)
	_, err = h.SaveProduct(h.ctx, p.ID, 2, func(p *product.Product) error { p.Form = "dry"; return nil })
	h.refused(err, fault.Conflict, "product-in-use")
	_, err = h.SaveProduct(h.ctx, p.ID, 1, func(p *product.Product) error { return nil })
	h.refused(err, fault.Stale, "stale")
	_, err = h.SaveProduct(h.ctx, p.ID, 2, func(p *product.Product) error { p.RetiredOn = civil.MustDate("2026-06-02"); return nil })
	h.ok(err)
	list, err := h.Products(h.ctx)
	h.ok(err)
	if len(list) != 0 {
		t.Errorf("a retired product is listed: %+v", list)
	}
}

func TestLotsAndMoves(t *testing.T) {
	h := newHouse(t)
	p := h.product("Sedge Example 4L")
	ada := h.person("Ada Marsh", true)
	received := stock.Move{Amount: 10, Unit: "L", Entered: "10 L", At: h.now, ByPerson: ada.ID}
	lot, err := h.AddLot(h.ctx, stock.Lot{ProductID: p.ID, Number: "L1", ReceivedOn: civil.MustDate("2026-03-01"), ExpiresOn: civil.MustDate("2028-03-01")}, received)
	h.ok(err)
	_, err = h.AddLot(h.ctx, stock.Lot{ProductID: p.ID, Number: "L1", ReceivedOn: civil.MustDate("2026-03-01")}, received)
	h.refused(err, fault.Conflict, "lot-taken")
	_, err = h.AddLot(h.ctx, stock.Lot{ProductID: p.ID, Number: "L2", ReceivedOn: civil.MustDate("2026-03-01")}, stock.Move{Amount: 10, Unit: "kg", Entered: "10 kg", At: h.now})
	h.refused(err, fault.Invalid, "stock-move")
	if n := h.count(`select count(*) from lot`); n != 1 {
		t.Errorf("a lot without its amount was kept: %d lots", n)
	}
	for _, m := range []struct {
		kind   string
		amount float64
		left   float64
	}{{"used", 2.5, 7.5}, {"counted", 7, 7}, {"disposed", 7, 0}} {
		at, err := h.AddStockMove(h.ctx, stock.Move{LotID: lot.ID, Kind: m.kind, Amount: m.amount, Unit: "L", Entered: "as said", At: h.now})
		h.ok(err)
		if math.Abs(at.Left-m.left) > 1e-9 {
			t.Errorf("after %s of %g: %g left, want %g", m.kind, m.amount, at.Left, m.left)
		}
	}
	_, err = h.AddStockMove(h.ctx, stock.Move{LotID: lot.ID, Kind: "disposed", Amount: 0.1, Unit: "L", Entered: "0.1 L", At: h.now})
	h.refused(err, fault.Rule, "not-that-much")
	_, err = h.AddStockMove(h.ctx, stock.Move{LotID: uuid.New(), Kind: "used", Amount: 0.1, Unit: "L", Entered: "0.1 L", At: h.now})
	h.refused(err, fault.NotFound, "lot")
	lots, err := h.Lots(h.ctx, p.ID)
	h.ok(err)
	moves, err := h.StockMoves(h.ctx, lot.ID)
	h.ok(err)
	if len(lots) != 1 || math.Abs(lots[0].Left) > 1e-9 || lots[0].LeftUnit != "L" || len(moves) != 4 {
		t.Errorf("lots %+v, %d moves", lots, len(moves))
	}
}
