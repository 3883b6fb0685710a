package postgres

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/civil"
	"thirdcut/internal/label"
	"thirdcut/internal/visit"
)

// reportColumns needs close_out c and visit v.
const reportColumns = `c.id, c.visit_id, v.property_id, v.crew_id, v.date, c.outcome, c.reason, c.reported_by, c.started_at,
	c.finished_at, c.device_id, c.device_at, c.received_at, c.marks, c.findings, c.content`

type reportRow struct {
	ID         uuid.UUID                   `db:"id"`
	VisitID    uuid.UUID                   `db:"visit_id"`
	PropertyID uuid.UUID                   `db:"property_id"`
	CrewID     uuid.UUID                   `db:"crew_id"`
	Date       civil.Date                  `db:"date"`
	Outcome    string                      `db:"outcome"`
	Reason     string                      `db:"reason"`
	ReportedBy uuid.UUID                   `db:"reported_by"`
	StartedAt  sql.NullTime                `db:"started_at"`
	FinishedAt time.Time                   `db:"finished_at"`
	DeviceID   string                      `db:"device_id"`
	DeviceAt   sql.NullTime                `db:"device_at"`
	ReceivedAt time.Time                   `db:"received_at"`
	Marks      pq.StringArray              `db:"marks"`
	Findings   jsonColumn[[]label.Finding] `db:"findings"`
	Content    string                      `db:"content"`
}

func (r reportRow) report() visit.KeptReport {
	return visit.KeptReport{ID: r.ID, VisitID: r.VisitID, PropertyID: r.PropertyID, CrewID: r.CrewID, Date: r.Date, Outcome: r.Outcome,
		Reason: r.Reason, ReportedBy: r.ReportedBy, StartedAt: r.StartedAt.Time, FinishedAt: r.FinishedAt, DeviceID: r.DeviceID,
		DeviceAt: r.DeviceAt.Time, ReceivedAt: r.ReceivedAt, Marks: orNone([]string(r.Marks)), Findings: orNone(r.Findings.V), Content: r.Content}
}

func reportsWhere(ctx context.Context, q sqlx.ExtContext, where string, args ...any) ([]visit.KeptReport, error) {
	var rows []reportRow
	err := sqlx.SelectContext(ctx, q, &rows, `select `+reportColumns+` from close_out c join visit v on v.id = c.visit_id `+where, args...)
	if err != nil {
		return nil, fmt.Errorf("read reports: %w", err)
	}
	list := make([]visit.KeptReport, len(rows))
	for i, r := range rows {
		list[i] = r.report()
	}
	return list, nil
}

// ReportsOfVisit returns every report of the visit in the order in which they
// came in.
func (db *DB) ReportsOfVisit(ctx context.Context, visitID uuid.UUID) ([]visit.KeptReport, error) {
	return reportsWhere(ctx, db.DB, `where c.visit_id = $1 order by c.received_at, c.id`, visitID)
}

// MarkedReports returns the reports that carry a mark, so that a person should
// look at them: those that came in last first. Search is not used.
func (db *DB) MarkedReports(ctx context.Context, p PageQuery) (page Page[visit.KeptReport], err error) {
	after, err := readCursor(p.After)
	if err != nil {
		return page, err
	}
	limit := pageLimit(p.Limit)
	list, err := reportsWhere(ctx, db.DB, `where c.marks <> '{}'
		and ($1 = '' or (c.received_at, c.id) < (nullif($1, '')::timestamptz, $2))
		order by c.received_at desc, c.id desc limit $3`, after.Key, after.ID, limit+1)
	if err != nil {
		return page, err
	}
	if len(list) > limit {
		list = list[:limit]
		last := list[limit-1]
		page.Next = cursor{last.ReceivedAt.UTC().Format(time.RFC3339Nano), last.ID}.text()
	}
	page.Items = list
	return page, nil
}
