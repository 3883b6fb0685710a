package jobs

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/postgres"
	"thirdcut/internal/schedule"
	"thirdcut/internal/testkit/build"
)

// A plan whose job is given up must not look as if it were still being made,
// and trying the job again must make it.
func TestPlanThatWasGivenUpSaysSoAndCanBeTriedAgain(t *testing.T) {
	h := newHouse(t)
	build.Company(t, h.DB)
	ctx := context.Background()
	today := civil.DateOf(time.Now(), time.UTC)
	p := schedule.Proposal{ID: uuid.Must(uuid.NewV7()), From: today.AddDays(1), To: today.AddDays(3), AskedAt: time.Now()}
	if err := h.AskPlan(ctx, p); err != nil {
		t.Fatal(err)
	}
	if again, err := h.StartPlan(ctx, p.ID); err != nil || !again {
		t.Fatalf("the plan was not begun: %v, %v", again, err)
	}
	id := int64(h.number(`select id from job_outbox where kind = $1`, postgres.JobComputePlan))
	w := h.worker(wait(0))
	if err := h.JobFailed(ctx, id, "the weather could not be read", true); err != nil {
		t.Fatal(err)
	}
	if err := w.tell(ctx, postgres.JobComputePlan, body(t, postgres.ComputePlan{ProposalID: p.ID}), "the weather could not be read"); err != nil {
		t.Fatal(err)
	}
	got, err := h.Proposal(ctx, p.ID)
	if err != nil || got.State != schedule.Failed || !strings.Contains(got.Problem, "the weather could not be read") {
		t.Fatalf("the plan is %s, %q, %v", got.State, got.Problem, err)
	}
	h.start(w)
	if err := h.RetryJob(ctx, id); err != nil {
		t.Fatal(err)
	}
	h.eventually("the plan is made", 20*time.Second, func() bool {
		got, err = h.Proposal(ctx, p.ID)
		return err == nil && got.State == schedule.Proposed
	})
	if got.Problem != "" {
		t.Errorf("a plan that was made in the end says %q", got.Problem)
	}
}

func TestJobsDoneLongAgoAreDropped(t *testing.T) {
	h := newHouse(t)
	build.Company(t, h.DB)
	h.do(`delete from job_outbox`)
	h.do(`insert into job_outbox (kind, done_at, failed_at) values
		('old', now() - interval '31 days', null), ('fresh', now() - interval '29 days', null), ('failed', null, now() - interval '90 days')`)
	h.do(`insert into job_outbox (kind) values ($1)`, postgres.JobTidy)
	h.start(h.worker(wait(0)))
	h.eventually("the old job is gone", 10*time.Second, func() bool { return h.number(`select count(*) from job_outbox where kind = 'old'`) == 0 })
	h.eventually("tidying is done", 10*time.Second, func() bool {
		return h.number(`select count(*) from job_outbox where kind = $1 and done_at is null`, postgres.JobTidy) == 0
	})
	if n := h.number(`select count(*) from job_outbox where kind in ('fresh', 'failed')`); n != 2 {
		t.Errorf("of a fresh and a failed job %d are left", n)
	}
}
