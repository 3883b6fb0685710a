package api

import (
	"context"
	"crypto/sha256"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"
	"github.com/google/uuid"

	"thirdcut/internal/account"
	"thirdcut/internal/export"
	"thirdcut/internal/fault"
	"thirdcut/internal/intake"
	"thirdcut/internal/postgres"
)

func (s *Server) officeOperations() {
	operation(s, http.MethodGet, "/exports", "list-exports", "The latest export files, newest first", account.ExportRecords, s.listExports)
	operation(s, http.MethodPost, "/exports", "ask-export", "Ask for the application records that a rule wants; a job makes the file", account.ExportRecords, s.askExport, answers(http.StatusAccepted))
	operation(s, http.MethodGet, "/exports/{id}", "read-export", "One export with its progress", account.ExportRecords, s.readExport)
	operation(s, http.MethodGet, "/exports/{id}/file", "read-export-file", "The file of an export that is ready", account.ExportRecords, s.readExportFile, func(op *huma.Operation) {
		op.Responses = map[string]*huma.Response{"200": {Description: "the file", Content: map[string]*huma.MediaType{
			"text/csv": {Schema: &huma.Schema{Type: "string"}}, workbookType: {Schema: &huma.Schema{Type: "string", Format: "binary"}}}}}
	})
	upload := func(op *huma.Operation) { op.MaxBodyBytes = uploadLimit }
	operation(s, http.MethodPost, "/imports/lawns", "import-lawns", "Take in a CSV or XLSX sheet, whole or not at all", account.ImportLawns, s.importLawns, upload)
	operation(s, http.MethodPost, "/imports/weather", "import-weather", "Take in a weather file, whole or not at all", account.ImportWeather, s.importWeather, upload)
	operation(s, http.MethodGet, "/jobs/failed", "list-failed-jobs", "Jobs that were given up", account.SeeJobs, s.listFailedJobs)
	operation(s, http.MethodPost, "/jobs/{number}/retry", "retry-job", "Try a failed job again", account.RetryJobs, s.retryJob, answers(http.StatusNoContent))
	operation(s, http.MethodGet, "/field/waiting", "list-waiting-entries", "Reports from the field that need a person", account.SettleQuarantine, s.listWaiting)
	operation(s, http.MethodPost, "/field/waiting/{number}/settle", "settle-waiting-entry", "Say how a report was settled", account.SettleQuarantine, s.settleWaiting, answers(http.StatusNoContent))
}

const workbookType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

type exportJSON struct {
	ID         uuid.UUID  `json:"id"`
	RuleID     string     `json:"rule_id"`
	Format     string     `json:"format" enum:"xlsx,csv"`
	From       string     `json:"from"`
	To         string     `json:"to"`
	State      string     `json:"state" enum:"asked,running,ready,failed"`
	RowsDone   int64      `json:"rows_done"`
	RowsTotal  int64      `json:"rows_total"`
	FileName   string     `json:"file_name"`
	SizeBytes  int64      `json:"size_bytes"`
	Problem    string     `json:"problem"`
	AskedAt    time.Time  `json:"asked_at"`
	FinishedAt *time.Time `json:"finished_at"`
}

func newExportJSON(f export.File) exportJSON {
	return exportJSON{f.ID, f.RuleID, f.Format, f.From.String(), f.To.String(), f.State, f.RowsDone, f.RowsTotal, f.FileName, f.SizeBytes, f.Problem, f.AskedAt.UTC(), momentJSON(f.FinishedAt)}
}

func (s *Server) listExports(ctx context.Context, _ account.Account, _ *struct{}) (*listOf[exportJSON], error) {
	files, err := s.DB.Exports(ctx, 50)
	if err != nil {
		return nil, err
	}
	var items []exportJSON
	for _, f := range files {
		items = append(items, newExportJSON(f))
	}
	return newList(items), nil
}

func (s *Server) askExport(ctx context.Context, who account.Account, in *struct {
	Body struct {
		RuleID string `json:"rule_id" example:"us-md"`
		Format string `json:"format" enum:"xlsx,csv"`
		From   string `json:"from"`
		To     string `json:"to"`
	}
}) (*struct{ Body exportJSON }, error) {
	from, err := parseDate("/from", in.Body.From)
	if err != nil {
		return nil, err
	}
	to, err := parseDate("/to", in.Body.To)
	if err != nil {
		return nil, err
	}
	f, err := s.Exports.Ask(ctx, in.Body.RuleID, in.Body.Format, from, to, who.PersonID)
	if err != nil {
		return nil, err
	}
	return &struct{ Body exportJSON }{newExportJSON(f)}, nil
}

func (s *Server) readExport(ctx context.Context, _ account.Account, in *ByID) (*struct{ Body exportJSON }, error) {
	f, err := s.DB.Export(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &struct{ Body exportJSON }{newExportJSON(f)}, nil
}

func (s *Server) readExportFile(ctx context.Context, _ account.Account, in *ByID) (*huma.StreamResponse, error) {
	f, err := s.readyExport(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(c huma.Context) {
		g := humagin.Unwrap(c)
		s.sendExport(g.Request.Context(), g.Writer, f)
	}}, nil
}

// readyExport is an export whose file can be had.
func (s *Server) readyExport(ctx context.Context, id uuid.UUID) (export.File, error) {
	f, err := s.DB.Export(ctx, id)
	if err != nil {
		return f, err
	}
	if f.State != "ready" {
		return f, fault.New(fault.Conflict, "export-not-ready", "the file is %s; look at the export until it is ready", f.State)
	}
	return f, nil
}

func (s *Server) sendExport(ctx context.Context, w http.ResponseWriter, f export.File) {
	kind := "text/csv; charset=utf-8; header=present"
	if f.Format == "xlsx" {
		kind = workbookType
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Disposition", `attachment; filename="`+f.FileName+`"`)
	w.Header().Set("Content-Length", itoa(int(f.SizeBytes)))
	if err := s.DB.CopyExport(ctx, f.ID, w); err != nil {
		panic(http.ErrAbortHandler) // the length does not fit any more: the receiver must see that it broke
	}
}

// placesFault turns a file's wrong places into one fault that lists them.
func placesFault(p []intake.Problem, more int) error {
	f := fault.New(fault.Invalid, "wrong-places", "nothing was taken in: %d places of the file are wrong; each is named under errors", len(p)+more)
	for _, place := range p {
		f.With(place.Where(), "%s", place.Reason)
	}
	return f
}

type importAnswer struct {
	Body struct {
		DryRun    bool     `json:"dry_run"`
		Added     int      `json:"added"`
		Changed   int      `json:"changed"`
		Unchanged int      `json:"unchanged"`
		NotPlaced []string `json:"not_placed" nullable:"false" doc:"properties without a map point"`
		Notes     []string `json:"notes" nullable:"false"`
	}
}

type lawnsUpload struct {
	Name    string `query:"name" default:"lawns" maxLength:"200" doc:"file name, for messages"`
	DryRun  bool   `query:"dry_run"`
	RawBody []byte `contentType:"application/octet-stream"`
}

func (s *Server) importLawns(ctx context.Context, who account.Account, in *lawnsUpload) (*importAnswer, error) {
	return s.takeLawns(ctx, who, in.RawBody, in.Name, in.DryRun)
}

func (s *Server) takeLawns(ctx context.Context, who account.Account, data []byte, name string, dryRun bool) (*importAnswer, error) {
	sheet, err := intake.ReadLawns(data, name, nil)
	if err != nil {
		return nil, err
	}
	if len(sheet.Problems) > 0 {
		return nil, placesFault(sheet.Problems, sheet.More)
	}
	sum := sha256.Sum256(data)
	res, err := s.DB.ImportLawns(ctx, sheet.Import, postgres.ImportFile{Name: name, SHA256: sum[:], By: who.PersonID, DryRun: dryRun})
	if err != nil {
		return nil, err
	}
	out := &importAnswer{}
	b := &out.Body
	b.DryRun, b.Added, b.Changed, b.Unchanged = dryRun, res.Added, res.Changed, res.Unchanged
	b.NotPlaced, b.Notes = list(sheet.NotPlaced), list(append(sheet.Notes, res.Notes...))
	return out, nil
}

type weatherUpload struct {
	Name     string `query:"name" default:"weather" maxLength:"200" doc:"file name, for messages"`
	Place    string `query:"place" required:"true" doc:"id of the weather place"`
	Location string `query:"location" doc:"which location of a file with several"`
	Morning  bool   `query:"morning" doc:"the .dly station is read in the morning"`
	DryRun   bool   `query:"dry_run"`
	RawBody  []byte `contentType:"application/octet-stream"`
}

func (s *Server) importWeather(ctx context.Context, who account.Account, in *weatherUpload) (*importAnswer, error) {
	w, err := intake.ReadWeather(in.RawBody, in.Name, intake.WeatherOptions{Location: in.Location, Morning: in.Morning})
	if err != nil {
		return nil, err
	}
	if len(w.Problems) > 0 {
		return nil, placesFault(w.Problems, w.More)
	}
	sum := sha256.Sum256(in.RawBody)
	saved, err := s.DB.ImportWeather(ctx, in.Place, w.Days, postgres.ImportFile{Name: in.Name, SHA256: sum[:], By: who.PersonID, DryRun: in.DryRun})
	if err != nil {
		return nil, err
	}
	out := &importAnswer{}
	b := &out.Body
	b.DryRun, b.Added, b.Changed, b.Unchanged, b.NotPlaced, b.Notes = in.DryRun, saved.Added, saved.Changed, saved.Unchanged, []string{}, list(w.Notes)
	return out, nil
}

type failedJobJSON struct {
	Number    int64      `json:"number"`
	Kind      string     `json:"kind"`
	Attempts  int        `json:"attempts"`
	LastError string     `json:"last_error"`
	FailedAt  *time.Time `json:"failed_at"`
}

func (s *Server) listFailedJobs(ctx context.Context, _ account.Account, _ *struct{}) (*listOf[failedJobJSON], error) {
	jobs, err := s.DB.FailedJobs(ctx, 100)
	if err != nil {
		return nil, err
	}
	var items []failedJobJSON
	for _, j := range jobs {
		items = append(items, failedJobJSON{j.ID, j.Kind, j.Attempts, j.LastError, j.FailedAt})
	}
	return newList(items), nil
}

// ByNumber is the input of what names a numbered thing in its address.
type ByNumber struct {
	Number int64 `path:"number" minimum:"1"`
}

func (s *Server) retryJob(ctx context.Context, _ account.Account, in *ByNumber) (*struct{}, error) {
	return nil, s.DB.RetryJob(ctx, in.Number)
}

type waitingJSON struct {
	Number     int64     `json:"number"`
	EntryID    string    `json:"entry_id"`
	Content    string    `json:"content" doc:"the report word for word"`
	Code       string    `json:"code"`
	Reason     string    `json:"reason"`
	SentBy     uuid.UUID `json:"sent_by"`
	ReceivedAt time.Time `json:"received_at"`
}

func (s *Server) listWaiting(ctx context.Context, _ account.Account, _ *struct{}) (*listOf[waitingJSON], error) {
	open, err := s.DB.QuarantineOpen(ctx)
	if err != nil {
		return nil, err
	}
	var items []waitingJSON
	for _, q := range open {
		items = append(items, waitingJSON{q.ID, q.EntryID, q.Content, q.Code, q.Reason, q.SentBy, q.ReceivedAt.UTC()})
	}
	return newList(items), nil
}

func (s *Server) settleWaiting(ctx context.Context, who account.Account, in *struct {
	ByNumber
	Body struct {
		How string `json:"how" minLength:"1" maxLength:"500"`
	}
}) (*struct{}, error) {
	return nil, s.DB.SettleQuarantine(ctx, in.Number, in.Body.How, who.PersonID)
}

// readUpload reads an uploaded file, no more than is taken.
func readUpload(r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, uploadLimit+1))
	if err != nil {
		return nil, fault.New(fault.TooLarge, "too-large", "the file could not be read whole; it may be larger than %d MB", uploadLimit>>20).Because(err)
	}
	return data, nil
}
