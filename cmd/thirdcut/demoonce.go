package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"thirdcut/internal/civil"
	"thirdcut/internal/crew"
	"thirdcut/internal/intake"
	"thirdcut/internal/postgres"
	"thirdcut/internal/scenario"
	"thirdcut/internal/schedule"
	"thirdcut/internal/visit"
	"thirdcut/internal/weather"
)

const sheetFolder = "route-sheets"

func (c demoCommand) readWeather() ([]weather.Day, error) {
	data, err := readFile(c.Weather)
	if err != nil {
		return nil, err
	}
	w, err := intake.ReadWeather(data, filepath.Base(c.Weather), intake.WeatherOptions{Location: c.Location})
	if err != nil {
		return nil, err
	}
	if len(w.Problems) > 0 {
		return nil, refuseFile(false, w.Problems, w.More)
	}
	return w.Days, nil
}

// onceRun is the demo without a browser.
type onceRun struct {
	ctx   context.Context
	house *house
	made  scenario.Made
	date  civil.Date
	out   string

	areas   map[uuid.UUID]string
	address map[uuid.UUID]string
	crews   map[uuid.UUID]crew.Crew
	sum     onceSummary
}

// onceSummary is summary.json.
type onceSummary struct {
	Properties     int            `json:"properties"`
	Areas          int            `json:"areas"`
	Windows        int            `json:"windows"`
	VisitsPlanned  int            `json:"visits_planned"`
	VisitsUnplaced map[string]int `json:"visits_unplaced"`
	DrivingMinutes float64        `json:"driving_minutes"`
	WorkingMinutes float64        `json:"working_minutes"`
	VisitsClosed   int            `json:"visits_closed"`
	VisitsReturned int            `json:"visits_returned"`
	Records        int64          `json:"records"`
	Gaps           int64          `json:"gaps"`
	CrewsBusy      float64        `json:"crews_busy"` // share of the shifts of the plan's days that is driven or worked
	Notes          []string       `json:"notes,omitempty"`
}

func (o *onceRun) run() error {
	o.areas, o.address, o.crews = map[uuid.UUID]string{}, map[uuid.UUID]string{}, map[uuid.UUID]crew.Crew{}
	for _, p := range o.made.Properties {
		o.address[p.ID] = p.Address
		for _, a := range p.Areas {
			o.areas[a.ID] = a.Name
		}
	}
	for _, k := range o.made.Crews {
		o.crews[k.ID] = k
	}
	o.sum = onceSummary{Properties: len(o.address), Areas: len(o.areas), VisitsUnplaced: map[string]int{}, Notes: o.made.Notes,
		VisitsClosed: o.made.Closed, VisitsReturned: o.made.Returned}
	for _, step := range []struct {
		say string
		do  func() error
	}{{"Writing the due windows.", o.windows}, {"Planning the fortnight.", o.plan}, {"Writing route sheets.", o.sheets},
		{"Closing the first day.", o.closeDay}, {"Writing the records.", o.records}} {
		fmt.Fprintln(os.Stderr, step.say)
		if err := step.do(); err != nil {
			return err
		}
	}
	return o.json("summary.json", o.sum)
}

func (o *onceRun) json(name string, v any) error {
	return o.file(name, func(w io.Writer) error {
		enc := json.NewEncoder(w)
		enc.SetIndent("", "  ")
		return enc.Encode(v)
	})
}

func (o *onceRun) file(name string, write func(io.Writer) error) error {
	_, err := writeWhole(filepath.Join(o.out, name), func(w io.Writer) (int64, error) { return 0, write(w) })
	return err
}

func (o *onceRun) windows() error {
	return o.file("windows.csv", func(w io.Writer) error {
		out := csv.NewWriter(w)
		if err := out.Write([]string{"property", "area", "work", "opens", "best", "closes", "reason"}); err != nil {
			return err
		}
		err := o.house.db.AllWindows(o.ctx, func(l postgres.WindowLine) error {
			o.sum.Windows++
			return out.Write([]string{l.Address, l.AreaName, string(l.Work), dayOrNone(l.Opens), dayOrNone(l.Best), dayOrNone(l.Closes), l.Reason})
		})
		if err != nil {
			return err
		}
		out.Flush()
		return out.Error()
	})
}

func dayOrNone(d civil.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.String()
}

// The plan as it is written: by names, since ids are made anew at each run.
type planFile struct {
	From           civil.Date     `json:"from"`
	To             civil.Date     `json:"to"`
	DrivingMinutes float64        `json:"driving_minutes"`
	WorkingMinutes float64        `json:"working_minutes"`
	Visits         []planVisit    `json:"visits"`
	Unplaced       []planUnplaced `json:"unplaced"`
}

type planVisit struct {
	Date           civil.Date      `json:"date"`
	Crew           string          `json:"crew"`
	Position       int             `json:"position"`
	Property       string          `json:"property"`
	Arrive         civil.TimeOfDay `json:"arrive"`
	Leave          civil.TimeOfDay `json:"leave"`
	DrivingMinutes float64         `json:"driving_minutes"`
	Tasks          []planTask      `json:"tasks"`
}

type planTask struct {
	Area     string  `json:"area"`
	Work     string  `json:"work"`
	Minutes  float64 `json:"minutes"`
	Opens    string  `json:"opens"`
	Best     string  `json:"best"`
	Closes   string  `json:"closes"`
	Product  string  `json:"product,omitempty"`
	Rate     float64 `json:"rate,omitempty"`
	RateUnit string  `json:"rate_unit,omitempty"`
}

type planUnplaced struct {
	Property string `json:"property"`
	Area     string `json:"area"`
	Work     string `json:"work"`
	Code     string `json:"code"`
	Why      string `json:"why"`
}

func (o *onceRun) plan() error {
	p, err := acceptedPlan(o.ctx, o.house, o.date, o.made.Owner.ID)
	if err != nil {
		return err
	}
	f := planFile{From: p.From, To: p.To, DrivingMinutes: p.Plan.DrivingMinutes, WorkingMinutes: p.Plan.WorkingMinutes, Visits: []planVisit{}, Unplaced: []planUnplaced{}}
	for _, v := range p.Plan.Visits {
		out := planVisit{Date: v.Date, Crew: o.crews[v.CrewID].Name, Position: v.Position, Property: o.address[v.PropertyID],
			Arrive: v.Arrive, Leave: v.Leave, DrivingMinutes: v.DrivingMinutes}
		for _, t := range v.Tasks {
			w := t.Window
			task := planTask{Area: o.areas[t.AreaID], Work: string(t.Work), Minutes: t.Minutes, Opens: dayOrNone(w.Opens), Best: dayOrNone(w.Best), Closes: dayOrNone(w.Closes)}
			if pt, ok := p.Plan.Treatments[t.ItemID]; ok {
				task.Product, task.Rate, task.RateUnit = pt.ProductName, pt.Rate, string(pt.RateUnit)
			}
			out.Tasks = append(out.Tasks, task)
		}
		f.Visits = append(f.Visits, out)
	}
	for _, u := range p.Plan.Unplaced {
		area, _, _ := strings.Cut(u.ItemID, "/")
		id, _ := uuid.Parse(area) // an item is named by its area; a strange one keeps an empty name
		f.Unplaced = append(f.Unplaced, planUnplaced{o.address[u.PropertyID], o.areas[id], string(u.Work), u.Code, u.Why})
		o.sum.VisitsUnplaced[u.Code]++
	}
	o.sum.VisitsPlanned, o.sum.DrivingMinutes, o.sum.WorkingMinutes = len(f.Visits), f.DrivingMinutes, f.WorkingMinutes
	o.sum.CrewsBusy = o.busy(p)
	return o.json("plan.json", f)
}

// busy is the share of the crews' shifts that the plan fills.
func (o *onceRun) busy(p schedule.Proposal) float64 {
	shifts := 0
	for d := p.From; !d.After(p.To); d = d.AddDays(1) {
		for _, k := range o.crews {
			if o.made.Company.WorksOn(d) && slices.Contains(k.WorkDays, isoWeekday(d)) {
				shifts += int(k.ShiftTo - k.ShiftFrom)
			}
		}
	}
	if shifts == 0 {
		return 0
	}
	return float64(int(1000*(p.Plan.DrivingMinutes+p.Plan.WorkingMinutes)/float64(shifts))) / 1000
}

func isoWeekday(d civil.Date) int { return (int(d.Weekday())+6)%7 + 1 }

// sheets sends the first day and writes each crew's days.
func (o *onceRun) sheets() error {
	if _, err := sendDay(o.ctx, o.house, o.date); err != nil {
		return err
	}
	list, err := o.house.db.Sheets(o.ctx, o.date, o.date.AddDays(demoDays-1))
	if err != nil {
		return err
	}
	at := o.made.Company.Clock(time.Now).Now()
	for _, r := range list {
		s, err := o.house.db.SheetFor(o.ctx, r.CrewID, r.Date)
		if err != nil {
			return err
		}
		base := filepath.Join(sheetFolder, fmt.Sprintf("%s-%s", r.Date, strings.ToLower(s.Crew.Name)))
		zone := o.made.Company.Zone
		for ext, write := range map[string]func(io.Writer) error{
			".html":    func(w io.Writer) error { return sheetPage.Execute(w, s) },
			".ics":     func(w io.Writer) error { return schedule.Calendar(w, s, zone, at) },
			".geojson": func(w io.Writer) error { return schedule.GeoJSON(w, s) },
		} {
			if err := o.file(base+ext, write); err != nil {
				return err
			}
		}
	}
	return nil
}

var sheetPage = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"areaName": func(s visit.Stop, id uuid.UUID) string {
		for _, a := range s.Property.Areas {
			if a.ID == id {
				return a.Name
			}
		}
		return ""
	},
	"productName": func(s visit.Sheet, id uuid.UUID) string { return s.Products[id].Name },
}).Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Crew.Name}}, {{.Date.Words}}</title>
<style>body{font:16px/1.4 system-ui,sans-serif;max-width:48rem;margin:1rem auto;padding:0 1rem}li{margin:0 0 1rem;break-inside:avoid}.warn{font-weight:600}small{color:#444}</style>
</head><body>
<h1>{{.Crew.Name}}, {{.Date.Words}}</h1>
<p>{{.Start}} from {{.Crew.Depot.Name}}, back at {{.End}}. {{printf "%.0f" .DrivingMinutes}} min driving, {{printf "%.0f" .WorkingMinutes}} min working. Version {{.Version}}.</p>
{{$sheet := .}}<ol>
{{range .Stops}}{{$stop := .}}<li><strong>{{.Visit.Arrive}} to {{.Visit.Leave}}, {{.Property.Address}}, {{.Property.Municipality}}</strong>
{{with .Property.AccessNote}}<br>{{.}}{{end}}
<ul>{{range .Visit.Tasks}}<li>{{areaName $stop .TurfAreaID}}: {{.Work.Words}}{{if .Work.Treats}}, {{productName $sheet .ProductID}} at {{printf "%.3g" .Rate}} {{.RateUnit}} for {{.Target}}{{end}}{{with .Why}}<br><small>{{.}}</small>{{end}}
{{range .Findings}}<br><span class="warn">{{.Text}}</span>{{end}}</li>{{end}}</ul>
{{range .Hazards}}<p class="warn">{{.}}</p>{{end}}{{range .Waits}}<p class="warn">Keep off after {{.Product}} of {{.On.Words}}: {{.Text}}</p>{{end}}</li>
{{end}}</ol>
<p>The label in hand is the law and beats this sheet. Gate codes are on the crew's tablet only.</p>
</body></html>
`))

// closeDay reports the first day from the field.
func (o *onceRun) closeDay() error {
	done, err := scenario.CloseDay(o.ctx, o.house.scenarioHouse(o.date), o.made, o.date)
	if err != nil {
		return err
	}
	o.sum.VisitsClosed += done.Closed
	o.sum.VisitsReturned += done.Returned
	return nil
}

func (h *house) scenarioHouse(date civil.Date) scenario.House {
	return scenario.House{DB: h.db, Schedule: h.schedule, Visits: h.visits, Seed: scenario.Seed, Date: date}
}

// records writes the workbooks and what is missing in them.
func (o *onceRun) records() error {
	from, to := civil.On(o.date.Year, time.January, 1), o.date
	name := "application-records.xlsx"
	for i, rule := range scenario.Jurisdictions {
		if i > 0 {
			name = "application-records-federal.xlsx"
		}
		err := o.file(name, func(w io.Writer) error {
			s, err := o.house.exports.WriteRule(o.ctx, rule, from, to, w)
			if i == 0 {
				o.sum.Records = s.Read
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	return o.file("record-gaps.csv", func(w io.Writer) error {
		n, err := o.house.exports.WriteGaps(o.ctx, w, scenario.Jurisdictions, from, to)
		o.sum.Gaps = n
		return err
	})
}
