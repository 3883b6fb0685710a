package scenario

import (
	"time"

	"thirdcut/internal/civil"
	"thirdcut/internal/feed"
	"thirdcut/internal/label"
	"thirdcut/internal/product"
	"thirdcut/internal/schedule"
	"thirdcut/internal/stock"
	"thirdcut/internal/turf"
)

// Short names of the demo's products.
const (
	Sedge     = "sedge"     // nutsedge herbicide, granule that is dissolved
	Broadleaf = "broadleaf" // three-way herbicide
	Grub      = "grub"      // preventive insecticide on a granule
	Surface   = "surface"   // restricted-use insecticide
	Feed      = "feed"      // half slow-release fertiliser
	Iron      = "iron"
)

func to[T any](v T) *T { return &v }

// productLine is one invented product. The names and registration numbers are
// made up; the rates have the size of such products' (published by extension
// services, the waits from memory).
type productLine struct {
	key     string
	product product.Product
	limits  label.Limits
	lot     string
	stock   float64 // kg or L
	unit    string
	entered string
}

var productLines = []productLine{
	{Sedge, product.Product{Name: "Sedgefall 75 WG", Kind: "pesticide", Form: "dry", EPARegNo: "00000-101", ActiveIngredient: "halosulfuron-methyl", ConcentrationPercent: to(75.0), Formulation: "wettable granule"},
		label.Limits{Place: "p. 4, Turf", RateMin: to(0.44), RateMax: to(0.87), RateUnit: label.GPerThousand, YearMax: to(3.47), IntervalDays: to(42),
			MowWaitBeforeDays: to(2), MowWaitAfterDays: to(2), RainFreeHours: to(4.0), ReentryText: "until dry", AirTempAdvisedMaxF: to(88.0),
			ProtectiveEquipment: "long sleeves, long trousers, gloves", SignalWord: "CAUTION"}, "SF-2601", 1.5, "kg", "1.5 kg"},
	{Broadleaf, product.Product{Name: "Trefoil Three", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-102", ActiveIngredient: "2,4-D, mecoprop-p, dicamba", ConcentrationPercent: to(38.0), Formulation: "liquid amine"},
		label.Limits{Place: "p. 6, Ornamental turf", RateMin: to(0.7), RateMax: to(1.1), RateUnit: label.FlOzPerThousand, ApplicationsPerYear: to(2), IntervalDays: to(30),
			RainFreeHours: to(24.0), MowWaitAfterDays: to(4), ReentryText: "until dry", AirTempMinF: to(50.0), AirTempMaxF: to(90.0), AirTempAdvisedMaxF: to(85.0),
			WindMaxMPH: to(10.0), WindAdvisedMaxMPH: to(5.0), SeedWaitDays: to(28), ProtectiveEquipment: "long sleeves, gloves, eye protection", SignalWord: "DANGER"}, "TT-118", 38, "L", "38 L"},
	{Grub, product.Product{Name: "Grubward 0.5 G", Kind: "pesticide", Form: "dry", EPARegNo: "00000-103", ActiveIngredient: "imidacloprid", ConcentrationPercent: to(0.5), Formulation: "granule"},
		label.Limits{Place: "p. 2, Turfgrass", RateMin: to(1.4), RateMax: to(1.8), RateUnit: label.LbPerThousand, YearMax: to(1.8), ApplicationsPerYear: to(1),
			WaterInIn: to(0.5), WaterInDays: to(1), ReentryText: "until watered in and dry", ProtectiveEquipment: "gloves", SignalWord: "CAUTION"}, "GW-77", 1800, "kg", "1,800 kg"},
	{Surface, product.Product{Name: "Hollowgate RU 7.9", Kind: "pesticide", Form: "liquid", EPARegNo: "00000-104", ActiveIngredient: "bifenthrin", ConcentrationPercent: to(7.9), Formulation: "flowable", RestrictedUse: true},
		label.Limits{Place: "p. 9, Lawns", RateMin: to(0.22), RateMax: to(0.88), RateUnit: label.FlOzPerThousand, YearMax: to(1.76), IntervalDays: to(7),
			ReentryText: "until dry", WaterDistanceFt: to(25.0), WindMaxMPH: to(10.0), ProtectiveEquipment: "long sleeves, gloves, eye protection", SignalWord: "WARNING"}, "RR-5", 12, "L", "12 L"},
	{Feed, product.Product{Name: "Fernwick Steady 24-0-8", Kind: "fertiliser", Form: "dry", NPercent: to(24.0), P2O5Percent: to(0.0), K2OPercent: to(8.0), NSlowPercent: to(50.0)},
		label.Limits{Place: "back of the bag", RateMax: to(3.75), RateUnit: label.LbPerThousand}, "ST-26B", 2400, "kg", "2,400 kg"},
	{Iron, product.Product{Name: "Verdigris Iron 6", Kind: "fertiliser", Form: "liquid", FePercent: to(6.0)},
		label.Limits{Place: "p. 1", RateMin: to(2.0), RateMax: to(4.0), RateUnit: label.FlOzPerThousand, ReentryText: "until dry"}, "VI-9", 76, "L", "76 L"},
}

// products puts the products in, each label read by the owner and compared by
// another licensed person.
func (b *builder) products() error {
	for _, line := range productLines {
		p, err := b.DB.AddProduct(b.ctx, line.product)
		if err != nil {
			return err
		}
		v, err := b.DB.AddLabelVersion(b.ctx, product.LabelVersion{ProductID: p.ID, Revision: "A", Pattern: "turf",
			InForceFrom: civil.On(b.Date.Year-1, time.January, 1), Limits: line.limits, EnteredBy: b.made.Owner.ID})
		if err != nil {
			return err
		}
		if v, err = b.DB.ConfirmLabelVersion(b.ctx, v.ID, b.supervisor.ID); err != nil {
			return err
		}
		p.Labels = []product.LabelVersion{v}
		received := civil.On(b.Date.Year, time.March, 2)
		lot, err := b.DB.AddLot(b.ctx, stock.Lot{ProductID: p.ID, Number: line.lot, ReceivedOn: received, ExpiresOn: civil.On(b.Date.Year+2, time.December, 31)},
			stock.Move{Amount: line.stock, Unit: line.unit, Entered: line.entered, At: received.At(9*60, b.zone).UTC(), ByPerson: b.made.Office.ID})
		if err != nil {
			return err
		}
		b.made.Products[line.key], b.made.Lots[line.key] = p, lot
	}
	return b.choices()
}

// choices are the treatments that the company makes.
func (b *builder) choices() error {
	for _, c := range []schedule.Choice{
		{Target: schedule.Feeding, Season: "warm", Work: turf.Spread, ProductID: b.made.Products[Feed].ID, RateUnit: label.LbPerThousand, Purpose: "nitrogen", Method: "broadcast"},
		{Target: schedule.Feeding, Season: "cool", Work: turf.Spread, ProductID: b.made.Products[Feed].ID, RateUnit: label.LbPerThousand, Purpose: "nitrogen", Method: "broadcast"},
		{Target: string(feed.Grubs), Season: "any", Work: turf.Spread, ProductID: b.made.Products[Grub].ID, Rate: 1.6, RateUnit: label.LbPerThousand, Purpose: "white grubs", Method: "broadcast"},
		{Target: string(feed.Nutsedge), Season: "any", Work: turf.Spray, ProductID: b.made.Products[Sedge].ID, Rate: 0.6, RateUnit: label.GPerThousand, Purpose: "yellow nutsedge", Method: "broadcast spray"},
		{Target: string(feed.BroadleafAutumn), Season: "any", Work: turf.Spray, ProductID: b.made.Products[Broadleaf].ID, Rate: 1, RateUnit: label.FlOzPerThousand, Purpose: "broadleaf weeds", Method: "broadcast spray"},
	} {
		if c.Work.Treats() && c.Target != schedule.Feeding {
			c.Pattern = "turf"
		}
		if err := b.DB.AddChoice(b.ctx, c); err != nil {
			return err
		}
	}
	return nil
}
