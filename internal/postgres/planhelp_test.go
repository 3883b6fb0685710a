package postgres_test

import (
	"encoding/json"

	"thirdcut/internal/testkit/build"
	"thirdcut/internal/visit"
)

// report sends a report as the crew's lead.
func (p *planned) report(e visit.Entry) visit.Result {
	p.t.Helper()
	raw, err := json.Marshal(e)
	p.ok(err)
	return visit.Service{Store: p.DB}.Batch(p.Ctx, build.Who(p.Lead, p.Crew), []json.RawMessage{raw})[0]
}
