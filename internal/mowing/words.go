package mowing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"thirdcut/internal/civil"
	"thirdcut/internal/growth"
	"thirdcut/internal/unit"
)

// day writes "Tue 2 Jun".
func day(d civil.Date) string {
	return d.Weekday().String()[:3] + " " + strconv.Itoa(d.Day) + " " + d.Month.String()[:3]
}

// inches writes a height without needless zeros: 3, 2.5, 0.75.
func inches(l unit.Length) string {
	return strconv.FormatFloat(math.Round(l.Inches()*100)/100, 'f', -1, 64)
}

func mm(x float64) unit.Length { return unit.Length(x) * unit.Millimetre }

func percent(p float64) string { return strconv.Itoa(int(math.Round(100*p))) + " %" }

// reason says why the window is where it is, in plain words with its numbers.
func (c Curve) reason(a question, d dates) string {
	var b strings.Builder
	name := c.lawn.Area.Species.Words()
	switch {
	case d.best < 0:
		c.noWindow(&b, name, a, d)
	case d.overgrown && !d.tight:
		c.overgrown(&b, name, a, d)
	default:
		c.due(&b, name, a, d)
	}
	c.cautions(&b, a, d)
	return b.String()
}

func (c Curve) cutWords(name string, a question) string {
	return name + " cut to " + inches(mm(a.left)) + " in on " + day(a.cutOn)
}

// rate is the mean growth a day from the cut to the end of a day, in inches.
func (c Curve) rate(a question, d dates, at int, sum float64) float64 {
	return a.k.K() * sum / float64(at-d.from+1) / unit.Inch.Millimetres()
}

func (c Curve) due(b *strings.Builder, name string, a question, d dates) {
	at, s := d.best, d.atBest
	if d.over < len(c.ext) && d.over > d.best {
		at, s = d.over, d.atOver
	}
	verb := "grows"
	if at < c.seen {
		verb = "grew"
	}
	fmt.Fprintf(b, "%s %s about %.2f in a day", c.cutWords(name, a), verb, c.rate(a, d, at, s.sum))
	switch {
	case d.tight:
		fmt.Fprintf(b, "; already on %s, the first day that can be worked, the chance that more than a third must come off is %s: this cadence cannot keep the one-third rule",
			day(c.date(c.firstFree(d.from+max(0, c.lawn.LeastDays-1)))), percent(c.possible(a).chance))
	case d.late && a.tall():
		fmt.Fprintf(b, "; it was left taller than its %s in, and on %s the chance that more than a third must come off is %s",
			inches(mm(a.height)), day(c.date(d.best)), percent(d.atBest.chance))
	case d.late:
		fmt.Fprintf(b, "; its best day has passed: on %s the chance that more than a third must come off is %s, so cut on the first day that can be worked",
			day(c.date(d.best)), percent(d.atBest.chance))
	case d.over < len(c.ext):
		fmt.Fprintf(b, "; on %s the chance that more than a third must come off passes %s", day(c.date(d.over)), percent(BestChance))
	default:
		fmt.Fprintf(b, "; by %s, as far as the weather is computed, a third is not reached", day(c.Last()))
	}
	if d.secondDay && d.best == d.from+1 {
		b.WriteString("; little is known of this lawn yet, so it is cut and measured after two days rather than daily")
	}
	if d.greatest {
		fmt.Fprintf(b, "; the service plan asks for a cut at least every %d days, so not after %s", c.lawn.GreatestDays,
			day(c.date(min(len(c.ext)-1, d.from+c.lawn.GreatestDays-1))))
	}
	if c.lawn.LeastDays > 1 && d.opens == d.earliest && d.earliest >= d.from+c.lawn.LeastDays-1 && c.today() < d.earliest {
		fmt.Fprintf(b, "; the service plan allows no cut within %d days of the last", c.lawn.LeastDays)
	}
	if d.tight {
		c.ways(b, a, d)
	}
	if d.overgrown {
		c.stepDown(b, a, d)
	}
}

func (c Curve) possible(a question) spot {
	return c.spotAt(a, c.firstFree(a.from+max(0, c.lawn.LeastDays-1)))
}

// ways offers what can be done about a cadence that does not hold, in the order
// in which it is to be offered.
func (c Curve) ways(b *strings.Builder, a question, d dates) {
	gap := c.firstFree(d.from+max(0, c.lawn.LeastDays-1)) - d.from + 1
	s := c.possible(a)
	lowest := mm(2 * a.k.K() * s.sum)
	fmt.Fprintf(b, " (a gap of %d days needs at least %s in", gap, inches(lowest))
	if _, most, ok := growth.Of(c.lawn.Area.Species).UsualHeights(); ok && lowest > most {
		b.WriteString(", more than is usual for this grass")
	}
	b.WriteString("; else another cut, Saturday, less nitrogen or a regulator)")
}

func (c Curve) overgrown(b *strings.Builder, name string, a question, d dates) {
	fmt.Fprintf(b, "%s stands at about %s in, over the %s in from which one cut to %s in takes a third: due at once",
		c.cutWords(name, a), inches(mm(d.before)), inches(mm(triggerRatio*a.height)), inches(mm(a.height)))
	c.stepDown(b, a, d)
}

// stepDown offers the series of cuts that brings overgrown grass back.
func (c Curve) stepDown(b *strings.Builder, a question, d dates) {
	if c.ks[d.earliest] < stepDownStress {
		b.WriteString("; the grass is short of water, so lower it only after rain")
		return
	}
	target := mm(a.height)
	wait := StepWait(target)
	end := min(len(c.ext), d.earliest+wait)
	sum := 0.0
	for i := d.earliest; i < end; i++ {
		sum += c.ext[i]
	}
	rate := unit.Growth(a.k.K()*sum/float64(max(1, end-d.earliest))) * unit.MillimetrePerDay
	series, err := StepDown(mm(math.Min(d.atBest.height, HighestReading.Millimetres())), target, rate, wait)
	if err == nil {
		b.WriteString("; " + series.Words())
	}
}

func (c Curve) noWindow(b *strings.Builder, name string, a question, d dates) {
	at := min(max(d.from, c.today()), len(c.bars)-1)
	if w := c.bars[at].words(); w != "" && d.earliest >= len(c.bars) {
		if c.bars[at] == offSeason {
			name = "day"
		}
		fmt.Fprintf(b, "No cut: the %s is %s, and that does not end by %s", name, w, day(c.Last()))
		return
	}
	if d.earliest >= len(c.bars) && d.from+c.lawn.LeastDays-1 >= len(c.bars) {
		fmt.Fprintf(b, "No cut by %s: the service plan allows none within %d days of the last", day(c.Last()), c.lawn.LeastDays)
		return
	}
	if d.earliest >= len(c.bars) {
		fmt.Fprintf(b, "No cut: every day up to %s is closed", day(c.Last()))
		if s := c.struck(at, at); len(s) > 0 {
			fmt.Fprintf(b, " (%s: %s)", day(s[0].Date), s[0].Reason)
		}
		return
	}
	s := c.spotAt(a, len(c.ext)-1)
	fmt.Fprintf(b, "No cut needed by %s: %s would then stand at about %s in, and less than %s of it would come off",
		day(c.Last()), c.cutWords(name, a), inches(mm(s.height)), percent(OpensShare))
}

// cautions adds what was assumed because nobody knew.
func (c Curve) cautions(b *strings.Builder, a question, d dates) {
	switch {
	case a.noCut:
		b.WriteString(". No cut is known here: it is taken as cut to its height the day before " + day(c.First()) + "; measure it at the first visit")
	case a.noHeight:
		b.WriteString(". No height was measured after that cut: its cutting height is taken")
	}
	if a.beforeBegins {
		b.WriteString(". Growth before " + day(c.First()) + " is not counted: the weather read here begins then")
	}
	if a.noK {
		b.WriteString(". What was learned of this lawn could not be read; the usual growth is taken")
	}
	if n := c.unknown[min(len(c.ext), max(a.from, d.closes)+1)] - c.unknown[a.from]; n > 0 {
		fmt.Fprintf(b, ". No weather is known for %d of these days: good growing weather is taken", n)
	}
	if note := growth.Of(c.lawn.Area.Species).Note; note != "" {
		b.WriteString(". " + strings.TrimSuffix(note, "."))
	}
	b.WriteString(".")
}
