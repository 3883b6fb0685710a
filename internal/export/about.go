package export

import (
	"fmt"
	"slices"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/recordrule"
)

// keeping is until when the records of a file must be kept.
type keeping struct {
	first, last civil.Date
	years       []int
	citation    string
}

func (k *keeping) add(r recordrule.RetainUntil) {
	if r.Through.IsZero() {
		return
	}
	if k.first.IsZero() || r.Through.Before(k.first) {
		k.first = r.Through
	}
	if r.Through.After(k.last) {
		k.last = r.Through
	}
	if !slices.Contains(k.years, r.Years) {
		k.years = append(k.years, r.Years)
	}
	k.citation = r.Citation
}

func (k *keeping) words() string {
	if k.first.IsZero() {
		return "the rule sets no time for these records"
	}
	slices.Sort(k.years)
	years := make([]string, len(k.years))
	for i, y := range k.years {
		years[i] = count(int64(y), "year")
	}
	span := "through " + k.last.Words()
	if k.first != k.last {
		span = fmt.Sprintf("the first through %s, the last through %s", k.first.Words(), k.last.Words())
	}
	return fmt.Sprintf("%s from the application: %s (%s)", strings.Join(years, " or "), span, k.citation)
}

func count(n int64, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// about writes the sheet that says what the file is, from which sources its
// rule was read, how sure each part is, and how the records can be checked.
func (w *writer) about(b Book) error {
	row, err := open(b, "About", []string{w.company.Name + ": about this file"}, columns{{"What", 24}, {"Says", 90}})
	if err != nil {
		return err
	}
	for _, line := range w.aboutLines() {
		if line[1] == "" {
			continue
		}
		if err := row(line[0], line[1]); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) aboutLines() [][2]string {
	lines := [][2]string{
		{"Company", joined(w.company.Name, w.company.Address)},
		{"Company licence", w.company.BusinessLicense},
		{"Days", fmt.Sprintf("%s to %s, both included", w.from, w.to)},
		{"Records listed", fmt.Sprintf("%d of the %s of these days; corrected later: %d", w.Listed, count(w.Read, "record"), w.Superseded)},
		{"Missing", count(w.Gaps, "element") + ", see the sheet Missing"},
		{"Recorded too late", w.lateWords()},
		{"Keep these records", w.keep.words()},
		{"Printed on", w.printed.In(w.company.Zone).Format("2006-01-02 15:04 MST")},
		{"Head of the chain", fmt.Sprintf("record %d, SHA-256 %s", w.Head.Seq, w.Head.Hash)},
		{"How to check", fmt.Sprintf("Each record is sealed with the SHA-256 of its text and of the record before it, so that none can be changed or left out without a trace. To see that the records up to number %d are still those of this file, run: thirdcut verify --seq %d --hash %s",
			w.Head.Seq, w.Head.Seq, w.Head.Hash)},
		{"Records that fail", w.brokenWords()},
	}
	for _, r := range w.rules {
		lines = append(lines, aboutRule(r)...)
	}
	return append(lines, [2]string{"Not legal advice", "The rule was read with care from the sources named here; the authority's own text decides."})
}

func (w *writer) lateWords() string {
	if w.latest().TimeToRecord == nil {
		return ""
	}
	return count(w.Late, "record") + " made after the time that the rule sets"
}

func (w *writer) brokenWords() string {
	if w.Broken == 0 {
		return ""
	}
	return count(w.Broken, "record") + " no longer as sealed, marked under Findings. Run thirdcut verify and keep the newest backup"
}

func aboutRule(r recordrule.Rule) [][2]string {
	lines := [][2]string{
		{"Rule", fmt.Sprintf("%s: %s, %s", r.ID, r.Jurisdiction, r.Title)},
		{"In force", inForce(r)},
		{"Citation", r.Citation},
		{"Asks for records of", strings.ReplaceAll(r.AppliesTo.Value, "_", " ") + "; " + r.AppliesTo.Who + marked(r.AppliesTo.Status)},
	}
	if t := r.TimeToRecord; t != nil {
		lines = append(lines, [2]string{"Record by", joined(t.Text, "") + fmt.Sprintf(" (%d %s, %s)", t.Value, strings.ReplaceAll(t.Unit, "_", " "), t.Citation) + marked(t.Status)})
	}
	if k := r.Retention; k != nil {
		lines = append(lines, [2]string{"Keep for", fmt.Sprintf("%s (%s)", count(int64(k.Years), "year"), k.Citation) + also(k.Note) + marked(k.Status)})
	}
	if a := r.Access; a != nil {
		lines = append(lines, [2]string{"Access", a.Value + " (" + a.Citation + ")" + marked(a.Status)})
	}
	if p := r.Reporting; p != nil {
		lines = append(lines, [2]string{"Report to the authority", strings.TrimSpace(p.Frequency+" "+p.Due+" "+p.To) + " (" + p.Citation + ")" + marked(p.Status)})
	}
	for _, c := range recordrule.Columns(r) {
		lines = append(lines, [2]string{"Asks for: " + header(c), c.Requirement + " (" + c.Citation + "; " + statusWords(c.Status) + ")" + onlyWhere(c.ConditionalOn)})
	}
	for _, n := range append([]string{r.UnitsNote}, r.Notes...) {
		lines = append(lines, [2]string{"Note", n})
	}
	for _, s := range r.Sources {
		lines = append(lines, [2]string{"Source", joined(joined(s.Designation, s.Version), joined(prefixed("seen: ", s.Seen), s.URL))})
	}
	return lines
}

func inForce(r recordrule.Rule) string {
	switch {
	case r.EffectiveFrom.IsZero() && r.EffectiveTo.IsZero():
		return "no dates are given; taken as always in force"
	case r.EffectiveTo.IsZero():
		return "from " + r.EffectiveFrom.String()
	case r.EffectiveFrom.IsZero():
		return "through " + r.EffectiveTo.String()
	}
	return "from " + r.EffectiveFrom.String() + " through " + r.EffectiveTo.String()
}

// marked warns of a fact that nobody has seen in the rule's own text.
func marked(status string) string {
	if status == "" || status == "published" {
		return ""
	}
	return " [" + statusWords(status) + "]"
}

func also(note string) string { return prefixed("; ", note) }

func prefixed(prefix, text string) string {
	if text == "" {
		return ""
	}
	return prefix + text
}

func onlyWhere(conditions []string) string {
	var words []string
	for _, c := range conditions {
		if meaning := recordrule.Words().Conditions[c]; meaning != "" {
			words = append(words, meaning)
		}
	}
	return prefixed("; only where: ", strings.Join(words, ", and "))
}
