package export

import (
	"context"

	"github.com/google/uuid"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/unit"
)

// readDays reads records as Store.ReadRecords does, with SpotAcresOfDay filled:
// it holds the records of one day back until the day is whole.
func readDays(ctx context.Context, store Store, from, to civil.Date, begin func(head application.Head, total int64) error, each func(Row) error) error {
	var day []Row
	pass := func() error {
		fillSpotAcres(day)
		for _, r := range day {
			if err := each(r); err != nil {
				return err
			}
		}
		day = day[:0]
		return nil
	}
	err := store.ReadRecords(ctx, from, to, begin, func(r Row) error {
		if len(day) > 0 && day[0].AppliedOn != r.AppliedOn {
			if err := pass(); err != nil {
				return err
			}
		}
		day = append(day, r)
		return nil
	})
	if err != nil {
		return err
	}
	return pass()
}

// fillSpotAcres adds up the spot work of each applicator on one day. Corrected
// records do not count. An area that got two products counts twice: the careful
// reading of 7 CFR 110.3(b), since it rather asks for the full list.
func fillSpotAcres(day []Row) {
	areas := map[uuid.UUID]unit.Area{}
	for _, r := range day {
		if r.Spot && r.CorrectedBySeq == 0 {
			for _, l := range r.Lines {
				areas[r.Applicator.PersonID] += unit.Area(l.AreaTreated.Value) * unit.SquareFoot
			}
		}
	}
	for i, r := range day {
		if r.Spot {
			// 4,356 sq ft are a tenth of an acre to the last bit, not a bit under it.
			acres := round(areas[r.Applicator.PersonID].Acres(), 9)
			day[i].SpotAcresOfDay = &acres
		}
	}
}
