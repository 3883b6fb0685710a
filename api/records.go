package api

import (
	"context"
	"net/http"
	"net/url"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/application"
	"thirdcut/internal/civil"
	"thirdcut/internal/fault"
	"thirdcut/internal/postgres"
	"thirdcut/internal/recordrule"
)

func (s *Server) recordOperations() {
	operation(s, http.MethodGet, "/records", "list-records", "Application records by day and number", account.SeeRecords, s.listRecords)
	operation(s, http.MethodGet, "/records/gaps", "list-record-gaps", "What record rules still want, with the day by which", account.SeeRecords, s.listGaps)
	operation(s, http.MethodGet, "/records/verify", "verify-records", "Check that every record is as it was written", account.SeeRecords, s.verifyRecords)
	operation(s, http.MethodGet, "/records/{id}", "read-record", "One record with its seal", account.SeeOwnRecords, s.readRecord)
	operation(s, http.MethodPost, "/records/{id}/corrections", "correct-record", "Correct a record: a new one supersedes it and says why", account.CorrectRecords, s.correctRecord, answers(http.StatusCreated))
}

type sealedJSON struct {
	Record       application.Record `json:"record"`
	Hash         string             `json:"hash" doc:"SHA-256 of the hash before and the sealed text"`
	PrevHash     string             `json:"prev_hash"`
	SupersededBy *uuid.UUID         `json:"superseded_by" nullable:"true"`
}

func newSealedJSON(r application.Sealed) sealedJSON {
	j := sealedJSON{Record: r.Record, Hash: r.Hash.String(), PrevHash: r.PrevHash.String()}
	if r.SupersededBy != uuid.Nil {
		j.SupersededBy = &r.SupersededBy
	}
	return j
}

type recordRange struct {
	Paged
	From string `query:"from" doc:"first day of application; without it a month before today"`
	To   string `query:"to" doc:"last day of application; without it today"`
}

// days reads a range of days; open ends are a month back and today.
func (s *Server) days(ctx context.Context, from, to string) (first, last civil.Date, err error) {
	_, clock, err := s.now(ctx)
	if err != nil {
		return first, last, err
	}
	first, last = clock.Today().AddDays(-30), clock.Today()
	if from != "" {
		if first, err = parseDate("query from", from); err != nil {
			return first, last, err
		}
	}
	if to != "" {
		if last, err = parseDate("query to", to); err != nil {
			return first, last, err
		}
	}
	if last.Before(first) {
		return first, last, fault.New(fault.Invalid, "bad-range", "the last day lies before the first").With("query to", "%s is before %s", last, first)
	}
	return first, last, nil
}

func (s *Server) listRecords(ctx context.Context, _ account.Account, in *recordRange) (*page[sealedJSON], error) {
	from, to, err := s.days(ctx, in.From, in.To)
	if err != nil {
		return nil, err
	}
	p, err := s.DB.RecordsPage(ctx, postgres.RecordQuery{PageQuery: postgres.PageQuery{After: in.After, Limit: in.Limit}, From: from, To: to})
	if err != nil {
		return nil, err
	}
	return newPage("/records", url.Values{"from": {from.String()}, "to": {to.String()}}, in.Paged, p, newSealedJSON), nil
}

// recordFor is the record, if the asker may see it: the office any, a
// technician those of their crews' visits.
func (s *Server) recordFor(ctx context.Context, who account.Account, id uuid.UUID) (application.Sealed, error) {
	r, err := s.DB.Record(ctx, id)
	if err != nil || account.May(who, account.SeeRecords) {
		return r, err
	}
	if r.VisitID != uuid.Nil {
		if v, err := s.DB.Visit(ctx, r.VisitID); err == nil && account.MaySeeSheet(who, v.CrewID) {
			return r, nil
		}
	}
	return application.Sealed{}, fault.New(fault.Forbidden, "forbidden", "this record is another crew's; ask the office")
}

func (s *Server) readRecord(ctx context.Context, who account.Account, in *ByID) (*struct{ Body sealedJSON }, error) {
	r, err := s.recordFor(ctx, who, in.ID)
	if err != nil {
		return nil, err
	}
	return &struct{ Body sealedJSON }{newSealedJSON(r)}, nil
}

type gapJSON struct {
	RecordID  uuid.UUID  `json:"record_id"`
	Seq       int64      `json:"seq"`
	AppliedOn string     `json:"applied_on"`
	Rule      string     `json:"rule"`
	Element   string     `json:"element"`
	Wanted    string     `json:"wanted"`
	Citation  string     `json:"citation"`
	DueBy     *time.Time `json:"due_by" doc:"null: the rule sets no time"`
	Late      bool       `json:"late"`
}

func (s *Server) listGaps(ctx context.Context, _ account.Account, in *struct {
	From string `query:"from"`
	To   string `query:"to"`
}) (*listOf[gapJSON], error) {
	from, to, err := s.days(ctx, in.From, in.To)
	if err != nil {
		return nil, err
	}
	gaps, err := s.DB.Gaps(ctx, recordrule.All(), postgres.GapQuery{From: from, To: to, Limit: 500})
	if err != nil {
		return nil, err
	}
	var items []gapJSON
	for _, g := range gaps.Gaps {
		items = append(items, gapJSON{g.RecordID, g.Seq, g.AppliedOn.String(), g.Rule, g.Element, g.Requirement, g.Citation, momentJSON(g.Due.By), g.Late})
	}
	return newList(items), nil
}

func (s *Server) verifyRecords(ctx context.Context, _ account.Account, _ *struct{}) (*struct {
	Body struct {
		OK       bool     `json:"ok"`
		Records  int64    `json:"records"`
		HeadSeq  int64    `json:"head_seq"`
		HeadHash string   `json:"head_hash"`
		Problems []string `json:"problems" nullable:"false"`
	}
}, error) {
	v, err := s.DB.VerifyRecords(ctx, nil)
	if err != nil {
		return nil, err
	}
	out := &struct {
		Body struct {
			OK       bool     `json:"ok"`
			Records  int64    `json:"records"`
			HeadSeq  int64    `json:"head_seq"`
			HeadHash string   `json:"head_hash"`
			Problems []string `json:"problems" nullable:"false"`
		}
	}{}
	out.Body.OK, out.Body.Records, out.Body.HeadSeq, out.Body.HeadHash, out.Body.Problems = v.OK(), v.Records, v.Head.Seq, v.Head.Hash.String(), list(v.Problems)
	return out, nil
}

// correction holds what a correction may set; what is absent stays as it was.
type correction struct {
	Reason        string     `json:"reason" minLength:"3" maxLength:"1000" doc:"why the record is corrected"`
	StartedAt     *time.Time `json:"started_at,omitempty"`
	FinishedAt    *time.Time `json:"finished_at,omitempty"`
	Target        *string    `json:"target,omitempty" maxLength:"300"`
	Method        *string    `json:"method,omitempty" maxLength:"300"`
	Equipment     *string    `json:"equipment,omitempty" maxLength:"300"`
	AirTempF      *float64   `json:"air_temp_f,omitempty" minimum:"-60" maximum:"140"`
	WindMPH       *float64   `json:"wind_mph,omitempty" minimum:"0" maximum:"150"`
	WindDirection *string    `json:"wind_direction,omitempty" maxLength:"20"`
	SignPosted    *bool      `json:"sign_posted,omitempty"`
	NoticeGiven   *bool      `json:"notice_given,omitempty"`
	Note          *string    `json:"note,omitempty" maxLength:"2000"`
}

func (c correction) change(r *application.Record) error {
	set(&r.StartedAt, c.StartedAt)
	set(&r.FinishedAt, c.FinishedAt)
	set(&r.Target, c.Target)
	set(&r.Method, c.Method)
	set(&r.Equipment, c.Equipment)
	if c.AirTempF != nil {
		r.WeatherStart.AirTempF, r.WeatherStart.Origin = c.AirTempF, application.Measured
	}
	if c.WindMPH != nil {
		r.WeatherStart.WindMPH, r.WeatherStart.WindOrigin = c.WindMPH, application.Measured
	}
	set(&r.WeatherStart.WindDirection, c.WindDirection)
	set(&r.SignPosted, c.SignPosted)
	set(&r.NoticeGiven, c.NoticeGiven)
	set(&r.Note, c.Note)
	return nil
}

func (s *Server) correctRecord(ctx context.Context, who account.Account, in *struct {
	ByID
	Body correction
}) (*struct{ Body sealedJSON }, error) {
	made, err := s.DB.CorrectRecord(ctx, in.ID, in.Body.change, in.Body.Reason, who.PersonID)
	if err != nil {
		return nil, err
	}
	return &struct{ Body sealedJSON }{newSealedJSON(made)}, nil
}
