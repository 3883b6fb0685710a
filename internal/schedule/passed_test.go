package schedule_test

import (
	"testing"

	"thirdcut/internal/fault"
)

// A plan that nobody said yes to in time must not put visits on days that are over.
func TestPlanIsStaleWhenItsDaysHavePassed(t *testing.T) {
	h := newHouse(t)
	p := h.plan(7)
	if len(p.Plan.Visits) == 0 {
		t.Fatal("the plan has no visits, so the test shows nothing")
	}
	h.now = h.now.AddDate(0, 0, 7)
	h.refused(h.service.AcceptPlan(h.Ctx, p.ID, p.Version, h.Owner.ID), fault.Stale, "plan-stale")
	if list, err := h.VisitsBetween(h.Ctx, p.From, p.To); err != nil || len(list) != 0 {
		t.Errorf("%d visits stand on days that are over, %v", len(list), err)
	}
}
