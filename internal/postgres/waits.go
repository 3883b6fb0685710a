package postgres

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/visit"
)

// longestWait is how many days back an application can still keep people off:
// the longest re-entry time that a label version may state (label.Limits).
const longestWait = 60

// waitsOf reads for those properties which waits hold at the instant, the
// latest application first.
func waitsOf(ctx context.Context, q sqlx.ExtContext, properties []uuid.UUID, at time.Time, zone *time.Location) (map[uuid.UUID][]visit.Wait, error) {
	by := map[uuid.UUID][]visit.Wait{}
	if len(properties) == 0 {
		return by, nil
	}
	today := civil.DateOf(at, zone)
	err := eachRecord(ctx, q, `where r.property_id = any($1::uuid[]) and r.applied_on >= $2 and `+notSuperseded+`
		order by r.applied_on desc, r.seq desc`, []any{idArray(properties), today.AddDays(-longestWait)},
		func(s application.Sealed) error {
			if w := waitAfter(s.Record); w.Holds(at, zone) {
				by[s.PropertyID] = append(by[s.PropertyID], w)
			}
			return nil
		})
	return by, err
}

func waitAfter(r application.Record) visit.Wait {
	w := visit.Wait{RecordID: r.ID, Product: r.ProductName, Until: r.ReentryAt, Text: r.ReentryText, On: r.AppliedOn}
	for _, l := range r.Lines {
		w.Areas, w.AreaIDs = append(w.Areas, l.Name), append(w.AreaIDs, l.TurfAreaID)
	}
	return w
}

// Waits returns which applications keep people off areas of the property at
// the instant, the latest first.
func (db *DB) Waits(ctx context.Context, propertyID uuid.UUID, at time.Time) (list []visit.Wait, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		zone, err := companyZone(ctx, q)
		if err != nil {
			return err
		}
		by, err := waitsOf(ctx, q, []uuid.UUID{propertyID}, at, zone)
		list = by[propertyID]
		return err
	})
	return list, err
}
