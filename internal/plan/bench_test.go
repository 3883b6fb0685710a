package plan

import (
	"context"
	"testing"
)

// BenchmarkPlan240 plans a fortnight of 240 properties with six crews and
// reports what the plan is worth beside how long it took.
func BenchmarkPlan240(b *testing.B) {
	in := town(1, 240, 6, 12)
	for b.Loop() {
		p, err := Make(context.Background(), in, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if v := Check(in, p); len(v) > 0 {
			b.Fatalf("the plan breaks %d limits, first: %s", len(v), v[0].Why)
		}
		b.ReportMetric(p.DrivingMinutes, "driving-min")
		b.ReportMetric(p.WorkingMinutes, "working-min")
		b.ReportMetric(float64(len(p.Visits)), "visits")
		b.ReportMetric(float64(len(p.Unplaced)), "unplaced")
	}
}
