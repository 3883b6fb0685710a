package growth

// Rest says why grass is not growing, or is not to be cut.
type Rest uint8

// The kinds of rest.
const (
	Awake         Rest = iota
	ColdRest           // warm-season grass under a cold week
	DroughtRest        // cool-season grass that nobody waters, after ten dry days
	Recovering         // the soil is wet again, the grass is coming back
	RecoveredSoon      // still coming back, but may be cut
)

// Words says it to a person.
func (r Rest) Words() string {
	switch r {
	case ColdRest:
		return "dormant: the mean of the last seven days is under 50 F"
	case DroughtRest:
		return "dormant from drought: the soil has given almost no water for ten days or more"
	case Recovering:
		return "coming back from drought: left alone for the first ten days after the soil was wet again"
	case RecoveredSoon:
		return "coming back from drought"
	}
	return "growing"
}

// NoMow says whether grass at rest like that is not to be cut.
func (r Rest) NoMow() bool { return r == ColdRest || r == DroughtRest || r == Recovering }

// Drought follows the drought rest of cool-season grass day by day. The zero
// value is grass that has not been dry.
type Drought struct {
	dry       int // days in a row under DroughtStress
	resting   bool
	recovered int // days since the soil was wet again, 0 while resting
}

// Next takes the day's Ks and returns the rest it brings and the factor of
// recovery, 0 to 1. measured says that somebody measured a height that day,
// which ends rest and recovery at once. Source: ours.
func (d *Drought) Next(ks float64, measured bool) (Rest, float64) {
	ks = WaterFactor(ks)
	if measured {
		*d = Drought{}
		return Awake, 1
	}
	if ks < DroughtStress {
		d.dry++
	} else {
		d.dry = 0
	}
	switch {
	case d.dry >= DroughtDays:
		d.resting, d.recovered = true, 0
	case d.resting && (d.recovered > 0 || ks >= 1-1e-9):
		d.recovered++
	}
	if !d.resting {
		return Awake, 1
	}
	return d.state()
}

func (d *Drought) state() (Rest, float64) {
	since := d.recovered - 1 // days after the one that wetted the soil
	switch {
	case since < 0:
		return DroughtRest, 0
	case since >= RecoveryDays:
		*d = Drought{dry: d.dry}
		return Awake, 1
	case since < EarliestCutInRecovery:
		return Recovering, float64(since) / RecoveryDays
	}
	return RecoveredSoon, float64(since) / RecoveryDays
}
