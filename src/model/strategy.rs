//! What is done at each outage: look, escalate, dispose, retire. A strategy is data, not code.

use super::surface_treatment::Peening;

/// What is done, outage after outage.
#[derive(Debug, Clone, PartialEq)]
pub struct Strategy {
    /// Name.
    pub id: String,
    /// One line for people.
    pub description: String,
    /// Looks by schedule.
    pub looks: Vec<Look>,
    /// What happens to a blade with an indication, by what was measured; the last holds for all that is left.
    pub dispositions: Vec<Disposition>,
    /// How blades are dressed, where any disposition says so.
    pub dressing: Option<Dressing>,
    /// How watched blades are looked at again; by the technique that called them, at its own price, where `None`.
    pub watch: Option<Watch>,
    /// How the other rows of a rotor or unit are looked at when one has finds.
    pub sister_rows: Option<SisterRows>,
    /// The whole row is replaced when at least so many blades have indications at one outage.
    pub replace_row_from_blades: Option<u32>,
    /// Finds have the unit stopped once more before the next outage, to look at the row.
    pub extra_look: Option<ExtraLook>,
    /// What follows a loss.
    pub after_loss: AfterLoss,
    /// After a loss rows are looked at before the unit runs again.
    pub look_after_loss: Option<LookAfterLoss>,
    /// What happens to every row in a stated year.
    pub row_end: Option<RowEnd>,
    /// Blades that are peened anew, by schedule.
    pub peening: Vec<Peening>,
    /// Outages that are put off.
    pub deferrals: Vec<Deferral>,
    /// Fewer starts than the units' duty has.
    pub starts_limit: Option<StartsLimit>,
    /// Stocks of spare blades, no root in two of them; a row of none has new blades at hand whenever it needs them.
    pub spares: Vec<Spares>,
    /// What is done about called blades that should be replaced when the window of an outage leaves no time for it.
    pub when_window_closes: WhenWindowCloses,
    /// Why this strategy is worth comparing.
    pub basis: Option<String>,
}

/// One or several techniques at some outages.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Indices of the techniques, all used at the same outage.
    pub techniques: Vec<usize>,
    /// How the blades that it covers are cleaned before it, by index; as they are where `None`. Its techniques, and those that
    /// it leads to, see the cleaned surface.
    pub cleaning: Option<usize>,
    /// At which outages.
    pub when: When,
    /// Whether it takes the place of the strategy's other looks at the row, at outages at which it is due.
    pub instead_of_others: bool,
    /// Whose calls make an indication.
    pub agreement: Agreement,
    /// What is looked at.
    pub coverage: Coverage,
    /// What an indication leads to at the same outage.
    pub escalation: Option<Escalation>,
    /// How finds bring the next looks at a row forward.
    pub after_finds: Option<AfterFinds>,
    /// How looks without finds put the next ones off.
    pub after_clean: Option<AfterClean>,
    /// After so many looks in a row without finds the next one is skipped.
    pub skip_after_clean: Option<u32>,
}

/// At which outages a look is due.
#[derive(Debug, Clone, PartialEq)]
pub enum When {
    /// By period.
    Every {
        /// The first outage looked at, counted from 1.
        first_outage: u32,
        /// Then every so many outages.
        every_outages: u32,
    },
    /// At these outages, counted from 1.
    Outages(Vec<u32>),
    /// At the first outage in or after each of these years.
    Years(Vec<f64>),
}

impl When {
    /// By period: the first outage, counted from 1, then every so many.
    pub const fn every(first_outage: u32, every_outages: u32) -> Self {
        When::Every { first_outage, every_outages }
    }

    /// Outages at which it is due as long as it does not react, counted from 0, of outages in some years.
    pub fn outages(&self, years: &[f64]) -> Vec<usize> {
        let mut due: Vec<usize> = match self {
            When::Every { first_outage, every_outages } => {
                (*first_outage as usize - 1..years.len()).step_by(*every_outages as usize).collect()
            }
            When::Outages(numbers) => numbers.iter().map(|number| *number as usize - 1).collect(),
            When::Years(stated) => {
                stated.iter().filter_map(|year| years.iter().position(|other| other >= year)).collect()
            }
        };
        due.retain(|outage| *outage < years.len());
        due.dedup();
        due
    }
}

/// Whose calls make an indication, of a look by several techniques.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    /// Those of any of them.
    Any,
    /// A blade has an indication where all of them call it.
    All,
}

/// After finds, or a loss since the look before, the row is looked at more often for some outages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AfterFinds {
    /// Outages from one look to the next.
    pub every_outages: u32,
    /// For so many outages.
    pub for_outages: u32,
}

/// After looks without finds in a row, the row is looked at less often, until something is found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AfterClean {
    /// So many looks without finds.
    pub looks: u32,
    /// Outages by which the interval grows each time.
    pub longer_by: u32,
    /// Outages that it grows to at most.
    pub at_most: u32,
}

impl Strategy {
    /// Whether what happens on one row may have others of its unit looked at.
    pub(crate) fn ties_rows_of_a_unit(&self) -> bool {
        self.sister_rows.is_some() || self.look_after_loss.as_ref().is_some_and(|look| look.of != LookScope::Row)
    }

    /// Whether blades that should be replaced may run on, for want of a spare or of time.
    pub(crate) fn may_run_on(&self) -> bool {
        self.when_window_closes == WhenWindowCloses::RunOnWatched
            || self.spares.iter().any(|stock| stock.without == WithoutSpare::RunOnWatched)
    }

    /// Techniques of looks between outages.
    pub(crate) fn techniques_at_stops(&self) -> impl Iterator<Item = &usize> {
        let extra = self.extra_look.iter().flat_map(|look| &look.techniques);
        extra.chain(self.look_after_loss.iter().flat_map(|look| &look.techniques))
    }

    /// Techniques whose calls may stand.
    pub fn techniques_that_may_stand(&self) -> impl Iterator<Item = usize> + '_ {
        let stands = |look: &&Look| look.escalation.as_ref().is_none_or(|escalation| escalation.first_call_stands);
        let by_schedule = self.looks.iter().filter(stands).flat_map(|look| &look.techniques);
        let second = self.looks.iter().flat_map(|look| &look.escalation).flat_map(|second| &second.techniques);
        let sisters = self.sister_rows.iter().flat_map(|sisters| &sisters.techniques);
        let watch = self.watch.iter().map(|watch| &watch.technique);
        let stops = self.techniques_at_stops();
        by_schedule.chain(second).chain(sisters).chain(watch).chain(stops).copied()
    }
}

impl Look {
    /// Whether finds change when it is due next.
    pub fn reacts(&self) -> bool {
        self.after_finds.is_some() || self.after_clean.is_some() || self.skip_after_clean.is_some()
    }
}

/// What a look covers.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    /// Which blades.
    pub blades: Sample,
    /// Names of the hot spots; all where `None`.
    pub hot_spots: Option<Vec<String>>,
    /// Indices of the rows; all where `None`.
    pub rows: Option<Vec<usize>>,
}

/// Which blades of a row a look covers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sample {
    /// Each with this chance, drawn anew at each outage; all where it is 1.
    ByChance(f64),
    /// So many of them.
    Number(SampleSize, Choice),
}

/// Size of a sample of the blades of a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SampleSize {
    /// So many; all where the row has fewer.
    Blades(u32),
    /// This share of the row, rounded up.
    Fraction(f64),
}

/// How the blades of a sample are chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// By chance, anew at each outage; each sample of that size is as likely as another.
    Drawn,
    /// In turn, by their numbers in the row: each look goes on where the one before ended.
    Rotating,
    /// Those that this look covered least often since they were new; by chance among equals.
    LeastLookedAt,
}

impl Sample {
    /// All blades.
    pub const ALL: Sample = Sample::ByChance(1.0);

    /// Fraction of a row of so many blades that it covers, in the mean.
    pub fn fraction(&self, blades: u32) -> f64 {
        match self {
            Sample::ByChance(chance) => *chance,
            Sample::Number(size, _) => f64::from(size.of(blades)) / f64::from(blades),
        }
    }

    /// Whether it covers every blade of a row of so many.
    pub fn is_all(&self, blades: u32) -> bool {
        self.fraction(blades) >= 1.0
    }
}

impl SampleSize {
    /// Number of blades, of a row of so many.
    pub fn of(&self, blades: u32) -> u32 {
        match self {
            SampleSize::Blades(number) => (*number).min(blades),
            // A fraction that was meant to give a whole number does, whatever its last digit.
            SampleSize::Fraction(fraction) => ((fraction * f64::from(blades) - 1e-9).ceil() as u32).clamp(1, blades),
        }
    }
}

/// Indications have blades looked at again at the same outage, by other techniques or by the same.
#[derive(Debug, Clone, PartialEq)]
pub struct Escalation {
    /// Indices of the techniques.
    pub techniques: Vec<usize>,
    /// Which blades.
    pub of: EscalationScope,
    /// From how many blades with an indication by the look on.
    pub from_blades: u32,
    /// Whether the first indication counts even where the second look does not confirm it.
    pub first_call_stands: bool,
}

/// Which blades are looked at again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EscalationScope {
    /// The whole row.
    Row,
    /// Those with an indication.
    CalledBlades,
}

/// What happens to a blade whose indications are below a length and a depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disposition {
    /// Measured length, in mm; infinite where it holds for every length.
    pub below_mm: f64,
    /// Measured depth, in mm; infinite where it holds for every depth.
    pub below_depth_mm: f64,
    /// What is done.
    pub action: Action,
}

impl Disposition {
    /// For all that those before it leave.
    pub fn last(action: Action) -> Self {
        Disposition { below_mm: f64::INFINITY, below_depth_mm: f64::INFINITY, action }
    }

    /// Below a length, whatever the depth.
    pub fn below_mm(length_mm: f64, action: Action) -> Self {
        Disposition { below_mm: length_mm, ..Disposition::last(action) }
    }

    /// Below a depth, whatever the length.
    pub fn below_depth_mm(depth_mm: f64, action: Action) -> Self {
        Disposition { below_depth_mm: depth_mm, ..Disposition::last(action) }
    }

    /// Whether it holds for indications of some length and depth, which is infinite where nobody measured it.
    pub fn holds(&self, length_mm: f64, depth_mm: f64) -> bool {
        length_mm < self.below_mm && (!self.asks_for_depth() || depth_mm < self.below_depth_mm)
    }

    /// Whether it hangs on the depth.
    pub fn asks_for_depth(&self) -> bool {
        self.below_depth_mm < f64::INFINITY
    }

    /// Whether it holds wherever another one does.
    pub fn covers(&self, other: &Disposition) -> bool {
        self.below_mm >= other.below_mm && self.below_depth_mm >= other.below_depth_mm
    }
}

/// What is done with a blade that has an indication.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// A new blade takes its place.
    Replace,
    /// It stays, and is looked at again at the next outage.
    Watch,
    /// The whole row is replaced.
    ReplaceRow,
    /// It stays, and nothing follows.
    RunOn,
    /// What was called is ground out, and it stays.
    Dress,
}

/// How cracks are ground out of a blade. Where one is gone, its origins begin anew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dressing {
    /// Chance that a called crack is gone; else it stays as it was, and nobody knows.
    pub gone_probability: f64,
    /// Factor on the time to a crack where one was ground out.
    pub life_factor: f64,
    /// Depth that may be ground away at a place, in mm, in sum over all its dressings.
    pub at_most_depth_mm: f64,
    /// Whether the blades of the row come out for it.
    pub blades_out: bool,
}

/// How blades that stay with an indication are looked at again.
///
/// At an outage at which the technique looks at the row by schedule, that look is this one, and costs no more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    /// Index of the technique.
    pub technique: usize,
    /// Cost once an outage, however many blades of the row are watched; the technique's own where `None`.
    pub cost_per_row: Option<f64>,
    /// Cost of each watched blade; likewise.
    pub cost_per_blade: Option<f64>,
    /// Days once an outage; likewise.
    pub days_per_row: Option<f64>,
}

/// When indications stand on a row, others are looked at, at the same outage.
#[derive(Debug, Clone, PartialEq)]
pub struct SisterRows {
    /// Which others.
    pub of: SisterScope,
    /// Indices of the techniques.
    pub techniques: Vec<usize>,
}

/// Which rows are sisters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SisterScope {
    /// Those on the same rotor.
    Rotor,
    /// Those of the same unit.
    Unit,
}

/// When indications stand on a row at an outage, its unit is stopped once more some time later, and the row looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct ExtraLook {
    /// So long after the outage; it does not take place if the next outage comes first.
    pub after_years: f64,
    /// Indices of the techniques; each looks at the whole row.
    pub techniques: Vec<usize>,
    /// What stopping the unit costs, beside looks and days.
    pub stop_cost: f64,
    /// Days that the unit stands still beside the days of the work.
    pub stop_days: f64,
}

/// After a loss rows are looked at while the unit stands still.
#[derive(Debug, Clone, PartialEq)]
pub struct LookAfterLoss {
    /// Which rows.
    pub of: LookScope,
    /// Indices of the techniques; each looks at whole rows.
    pub techniques: Vec<usize>,
}

/// Which rows are looked at after a loss on one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LookScope {
    /// The row itself.
    Row,
    /// All on its rotor.
    Rotor,
    /// All of its unit.
    Unit,
}

/// What follows a loss.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AfterLoss {
    /// A new blade takes the place of the lost one.
    ReplaceBlade,
    /// The whole row is replaced.
    ReplaceRow,
}

/// What happens to every row at its first outage in or after a year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowEnd {
    /// The year.
    pub year: f64,
    /// What happens.
    pub then: RowEndAction,
}

/// An outage that is put off; those after it come when they would.
#[derive(Debug, Clone, PartialEq)]
pub struct Deferral {
    /// Which one, counted from 1.
    pub outage: u32,
    /// By how long.
    pub by_years: f64,
    /// Indices of the units; all where `None`.
    pub units: Option<Vec<usize>>,
}

/// A limit on the starts of units, from a year on.
#[derive(Debug, Clone, PartialEq)]
pub struct StartsLimit {
    /// Most starts per year.
    pub starts_per_year: f64,
    /// Year from which it holds.
    pub from_year: f64,
    /// Indices of the units; all where `None`.
    pub units: Option<Vec<usize>>,
    /// What running one unit under it costs each year, beside all else.
    pub cost_per_year: f64,
}

/// The end of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowEndAction {
    /// New blades take the place of all.
    NewRow,
    /// The row leaves service.
    Retired,
}

/// What is done about called blades that should be replaced when the window of an outage leaves no time for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenWindowCloses {
    /// The outage lasts longer.
    Overrun,
    /// They stay, and are looked at again at the next outage: of the blades that are called those are replaced that still fit
    /// into the window, the longest indications first.
    RunOnWatched,
}

/// A stock of spare blades that rows share, ordered up to its number: each blade that is taken is ordered anew at once.
///
/// Whole rows come as sets of their own, and take nothing from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spares {
    /// Indices of the roots whose rows share it; all where `None`.
    pub roots: Option<Vec<usize>>,
    /// Blades in stock at the start of the study.
    pub blades: u32,
    /// Days from the order of a blade to its arrival.
    pub lead_days: f64,
    /// What is done about a called blade that should be replaced when no spare is there.
    pub without: WithoutSpare,
    /// What holding the stock costs each year.
    pub cost_per_year: f64,
    /// Used blades that take the place of new ones where these are not there.
    pub used_blades: Option<UsedBlades>,
}

/// Used blades, of a row that is out of service.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsedBlades {
    /// How many there are; none come again.
    pub blades: u32,
    /// Factor on the time to a crack of a new blade, at most 1.
    pub life_factor: f64,
    /// Cost of one, in place of that of a new blade.
    pub cost_per_blade: f64,
}

impl Spares {
    /// Whether it is meant for rows with a root.
    pub fn is_of(&self, root: usize) -> bool {
        self.roots.as_ref().is_none_or(|roots| roots.contains(&root))
    }
}

/// What is done about a called blade that should be replaced when no spare is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WithoutSpare {
    /// The row waits for the blade.
    Wait,
    /// The blade stays, is looked at again at the next outage, and one is ordered for it.
    RunOnWatched,
}
