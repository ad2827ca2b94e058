//! What is done at each outage: look, escalate, dispose, retire. A strategy is data, not code.

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
    /// What follows a loss.
    pub after_loss: AfterLoss,
    /// What happens to every row in a stated year.
    pub row_end: Option<RowEnd>,
    /// Why this strategy is worth comparing.
    pub basis: Option<String>,
}

/// One or several techniques at every n-th outage.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// Indices of the techniques, all used at the same outage.
    pub techniques: Vec<usize>,
    /// The first outage looked at, counted from 1.
    pub first_outage: u32,
    /// Then every so many outages.
    pub every_outages: u32,
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
    /// Techniques whose calls may stand.
    pub fn techniques_that_may_stand(&self) -> impl Iterator<Item = usize> + '_ {
        let stands = |look: &&Look| look.escalation.as_ref().is_none_or(|escalation| escalation.first_call_stands);
        let by_schedule = self.looks.iter().filter(stands).flat_map(|look| &look.techniques);
        let second = self.looks.iter().flat_map(|look| &look.escalation).flat_map(|second| &second.techniques);
        let sisters = self.sister_rows.iter().flat_map(|sisters| &sisters.techniques);
        let watch = self.watch.iter().map(|watch| &watch.technique);
        by_schedule.chain(second).chain(sisters).chain(watch).copied()
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
    /// Fraction of the blades, drawn anew at each outage.
    pub blade_fraction: f64,
    /// Names of the hot spots; all where `None`.
    pub hot_spots: Option<Vec<String>>,
    /// Indices of the rows; all where `None`.
    pub rows: Option<Vec<usize>>,
}

/// An indication has the whole row looked at again, by other techniques.
#[derive(Debug, Clone, PartialEq)]
pub struct Escalation {
    /// Indices of the techniques.
    pub techniques: Vec<usize>,
    /// Whether the first indication counts even where the second look does not confirm it.
    pub first_call_stands: bool,
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

/// The end of a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowEndAction {
    /// New blades take the place of all.
    NewRow,
    /// The row leaves service.
    Retired,
}
