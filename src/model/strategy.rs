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
    /// What happens to a blade with an indication, by measured length; the last has no upper end.
    pub dispositions: Vec<Disposition>,
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

/// What happens to a blade whose longest indication is below a length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disposition {
    /// Measured length, in mm; infinite for the last.
    pub below_mm: f64,
    /// What is done.
    pub action: Action,
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
