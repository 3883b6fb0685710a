package postgres

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"

	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/company"
	"thirdcut/internal/recordrule"
)

// GapQuery narrows the list of what records lack. Zero values leave open.
type GapQuery struct {
	From, To   civil.Date // days of application, both included
	RuleID     string
	PropertyID uuid.UUID
	RecordID   uuid.UUID
	Limit      int // 1 to 500, 0 for 50
}

// GapList is what records lack under the rules that bind them, the first due
// first, then those without a time. Total counts them all, also those past the
// limit. Unjudged are rules that bind some record, but whose list of elements
// is incomplete: nothing can be said of them.
type GapList struct {
	Gaps     []application.Gap
	Total    int
	Unjudged []string
}

// Gaps lists what records that still stand lack under the rules given, of
// which those of the place count (application.RulesAt): a record's state, what
// the company names, and what its property names.
func (db *DB) Gaps(ctx context.Context, rules []recordrule.Rule, g GapQuery) (list GapList, err error) {
	err = db.inSnapshot(ctx, func(q sqlx.ExtContext) error {
		j, err := newJudge(ctx, q, rules, g, db.Real)
		if err != nil {
			return err
		}
		where := `where ` + recordDays + ` and ($3::uuid is null or r.property_id = $3) and ($4::uuid is null or r.id = $4) and ` + notSuperseded
		if err := eachRecord(ctx, q, where, []any{g.From, g.To, orNull(g.PropertyID), orNull(g.RecordID)}, j.look); err != nil {
			return err
		}
		list = j.list(pageLimit(g.Limit))
		return nil
	})
	return list, err
}

// judge holds what every record is compared with.
type judge struct {
	query    GapQuery
	rules    []recordrule.Rule
	settings company.Settings
	now      time.Time
	named    map[uuid.UUID][]string // rules that single properties name
	spots    map[spotDay]float64    // acres
	places   map[string][]recordrule.Rule
	gaps     []application.Gap
	unjudged map[string]bool
}

type spotDay struct {
	person uuid.UUID
	date   civil.Date
}

func newJudge(ctx context.Context, q sqlx.ExtContext, rules []recordrule.Rule, g GapQuery, real func() time.Time) (*judge, error) {
	j := &judge{query: g, rules: rules, places: map[string][]recordrule.Rule{}, unjudged: map[string]bool{}}
	var err error
	if j.settings, err = companySettings(ctx, q); err != nil {
		return nil, err
	}
	j.now = j.settings.Clock(real).Now()
	if j.named, err = namedRules(ctx, q); err != nil {
		return nil, err
	}
	j.spots, err = spotAcres(ctx, q, g.From, g.To)
	return j, err
}

// namedRules reads the properties that name rules of their own: few.
func namedRules(ctx context.Context, q sqlx.ExtContext) (map[uuid.UUID][]string, error) {
	var rows []struct {
		ID            uuid.UUID      `db:"id"`
		Jurisdictions pq.StringArray `db:"jurisdictions"`
	}
	if err := sqlx.SelectContext(ctx, q, &rows, `select id, jurisdictions from property where jurisdictions <> '{}'`); err != nil {
		return nil, fmt.Errorf("read rules of properties: %w", err)
	}
	by := make(map[uuid.UUID][]string, len(rows))
	for _, r := range rows {
		by[r.ID] = r.Jurisdictions
	}
	return by, nil
}

// spotAcres adds up the spot work of each applicator's days, acres. The pattern
// can only be the key of canonical JSON: a quote within a text is escaped.
func spotAcres(ctx context.Context, q sqlx.ExtContext, from, to civil.Date) (map[spotDay]float64, error) {
	var rows []struct {
		Person uuid.UUID  `db:"applicator_id"`
		Date   civil.Date `db:"applied_on"`
		Acres  float64    `db:"acres"`
	}
	err := sqlx.SelectContext(ctx, q, &rows, `select r.applicator_id, r.applied_on, sum(l.area_treated_sqft) / 43560 as acres
		from application_record r join application_line l on l.record_id = r.id
		where `+recordDays+` and `+notSuperseded+` and r.sealed_text like '%"spot":true%'
		group by r.applicator_id, r.applied_on`, from, to)
	if err != nil {
		return nil, fmt.Errorf("add up spot work: %w", err)
	}
	by := make(map[spotDay]float64, len(rows))
	for _, r := range rows {
		by[spotDay{r.Person, r.Date}] = r.Acres
	}
	return by, nil
}

func (j *judge) look(s application.Sealed) error {
	r := s.Record
	if acres, ok := j.spots[spotDay{r.Applicator.PersonID, r.AppliedOn}]; ok && r.Spot {
		r.SpotAcresOfDay = &acres
	}
	calendar := recordrule.Calendar{Zone: j.settings.Zone, WorkWeek: j.settings.WorkWeek, Holidays: j.settings.Holidays}
	gaps, err := application.GapsOf(r, j.rulesOf(r), calendar, j.now)
	j.gaps = append(j.gaps, gaps...)
	return err
}

// rulesOf are the rules that bind a record, put together once for each place.
func (j *judge) rulesOf(r application.Record) []recordrule.Rule {
	named := slices.Concat(j.settings.Jurisdictions, j.named[r.PropertyID])
	key := r.State + " " + strings.Join(named, " ")
	rules, ok := j.places[key]
	if !ok {
		for _, rule := range application.RulesAt(j.rules, r.State, named) {
			if j.query.RuleID != "" && rule.ID != j.query.RuleID {
				continue
			}
			if rule.Judges() != nil {
				j.unjudged[rule.ID] = true
				continue
			}
			rules = append(rules, rule)
		}
		j.places[key] = rules
	}
	return rules
}

func (j *judge) list(limit int) GapList {
	slices.SortStableFunc(j.gaps, func(a, b application.Gap) int {
		if a.Due.IsZero() != b.Due.IsZero() {
			if a.Due.IsZero() {
				return 1
			}
			return -1
		}
		return cmp.Or(a.Due.By.Compare(b.Due.By), cmp.Compare(a.Seq, b.Seq), strings.Compare(a.Rule, b.Rule), strings.Compare(a.Element, b.Element))
	})
	list := GapList{Gaps: orNone(j.gaps[:min(limit, len(j.gaps))]), Total: len(j.gaps)}
	for id := range j.unjudged {
		list.Unjudged = append(list.Unjudged, id)
	}
	slices.Sort(list.Unjudged)
	return list
}
