//! What is known of the moment at which a crack began.

use crate::error::{Error, Fault, Kind, Result};
use crate::statistics::records::Faults;

/// A stretch of time, and the chance of what was seen had the crack begun within it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cell {
    /// Beginning, not in it.
    pub from: f64,
    /// End, in it; the beginning again for a crack whose moment is known.
    pub to: f64,
    /// Chance of what was seen, or anything in proportion to it.
    pub coefficient: f64,
}

/// One blade, or several that are alike: a step function of the moment at which its crack begins.
///
/// Its likelihood is the sum of `coefficient * (S(from) - S(to))` over cells, and `never * S(last)` on top, where S is
/// the chance that no crack has begun; in a cell of no width the density takes the place of the difference. Where looks
/// find every crack one cell has coefficient 1 and all others have none; where looks miss some, earlier cells count with
/// the chance of having been missed since.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Cells in the order of time, none overlapping; between them the chance is nothing.
    pub cells: Vec<Cell>,
    /// Chance of what was seen had no crack begun by `last`.
    pub never: f64,
    /// Where the last cell ends, or the last look.
    pub last: f64,
    /// Number of such blades.
    pub count: f64,
    /// Which row of blades it is of, for the row factor.
    pub row: usize,
    /// Covariates, in the order of their names.
    pub covariates: Vec<f64>,
    /// What was seen of a blade with several places where a crack begins, or whose hazard may have several sizes: its
    /// likelihood is the sum over these, and the cells above only tell which moments explain it. None: the cells are all.
    pub ways: Vec<Way>,
    /// Whether all looks were clean, so that it is no find whatever explains it best.
    pub is_clean: bool,
}

/// One of several ways in which what was seen may have come about: a product over origins.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Its chance, or anything in proportion to it.
    pub weight: f64,
    /// Factor on the hazard of the law.
    pub hazard_factor: f64,
    /// Origins, each with what was seen of it.
    pub origins: Vec<Origins>,
}

/// Origins that are alike, of one blade.
#[derive(Debug, Clone, PartialEq)]
pub struct Origins {
    /// Their number.
    pub number: f64,
    /// As those of an [`Observation`].
    pub cells: Vec<Cell>,
    /// Chance of what was seen had no crack begun by the observation's `last`.
    pub never: f64,
}

/// A look at a time, with the chance that it finds a crack that is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedLook {
    /// When.
    pub time: f64,
    /// Chance of a find; 1 where no crack is missed.
    pub pod: f64,
}

impl Observation {
    /// A crack that began after one moment and by another, both on the clock.
    pub fn interval(from: f64, to: f64) -> Self {
        Observation::of(vec![Cell { from, to, coefficient: 1.0 }], 0.0, to)
    }

    /// No crack by a moment.
    pub fn clean(until: f64) -> Self {
        Observation::of(Vec::new(), 1.0, until)
    }

    /// A crack that began at a known moment.
    pub fn exact(at: f64) -> Self {
        Observation::interval(at, at)
    }

    /// Looks in the order of time, each independent of the others given the crack: all clean, or the last one a find.
    ///
    /// ```
    /// use serrata::statistics::initiation::{Observation, PlannedLook};
    ///
    /// // Clean at 100 and found at 200, by looks that find 7 of 10 cracks.
    /// let looks = [100.0, 200.0].map(|time| PlannedLook { time, pod: 0.7 });
    /// let seen = Observation::of_looks(&looks, true);
    /// // A crack older than the first look was missed by it, and found by the second.
    /// assert!((seen.cells[0].coefficient - 0.3 * 0.7).abs() < 1e-12);
    /// assert_eq!(seen.cells[1].coefficient, 0.7);
    /// assert_eq!(seen.never, 0.0);
    /// ```
    pub fn of_looks(looks: &[PlannedLook], found: bool) -> Self {
        let (last, mut chance) = (looks.last().map_or(0.0, |look| look.time), 1.0);
        let mut cells = Vec::with_capacity(looks.len());
        for (place, look) in looks.iter().enumerate().rev() {
            chance *= if found && place + 1 == looks.len() { look.pod } else { 1.0 - look.pod };
            let from = if place > 0 { looks[place - 1].time } else { 0.0 };
            if chance > 0.0 && look.time > from {
                cells.push(Cell { from, to: look.time, coefficient: chance });
            }
        }
        cells.reverse();
        Observation::of(cells, if found { 0.0 } else { 1.0 }, last)
    }

    fn of(cells: Vec<Cell>, never: f64, last: f64) -> Self {
        let (covariates, ways) = (Vec::new(), Vec::new());
        Observation { cells, never, last, count: 1.0, row: 0, covariates, ways, is_clean: false }
    }

    /// Of ways in which it may have come about, of which the cells of the first origins of each tell the moment. Without
    /// another origin or size of the hazard it is that of these cells alone.
    pub fn of_ways(mut ways: Vec<Way>, last: f64) -> Self {
        if let [Way { weight: 1.0, hazard_factor: 1.0, origins }] = &mut ways[..]
            && let [Origins { number: 1.0, cells, never }] = &mut origins[..]
        {
            return Observation::of(std::mem::take(cells), *never, last);
        }
        let mut edges: Vec<f64> = Vec::new();
        let told = |way: &Way| way.origins.first().map_or(Vec::new(), |one| one.cells.clone());
        ways.iter().for_each(|way| edges.extend(told(way).iter().flat_map(|cell| [cell.from, cell.to])));
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        let whole: f64 = ways.iter().map(|way| way.weight * way.hazard_factor).sum();
        let mean = |pair: &[f64]| {
            let within = |cell: &&Cell| cell.from <= pair[0] && pair[1] <= cell.to;
            let of = |way: &Way| told(way).iter().find(within).map_or(0.0, |cell| cell.coefficient);
            let sum: f64 = ways.iter().map(|way| way.weight * way.hazard_factor * of(way)).sum();
            Cell { from: pair[0], to: pair[1], coefficient: sum / whole }
        };
        let cells = edges.windows(2).map(mean).collect();
        let never = |way: &Way| way.origins.iter().map(|one| one.never.powf(one.number)).product::<f64>();
        let never = ways.iter().map(|way| way.weight * never(way)).sum();
        Observation { ways, ..Observation::of(cells, never, last) }
    }

    /// Whether the moment is known.
    pub(super) fn is_exact(&self) -> bool {
        self.cells.iter().any(|cell| cell.from == cell.to)
    }

    /// The step function: where each step begins, and its height; the last goes on for ever.
    pub(super) fn steps(&self) -> Vec<(f64, f64)> {
        let (mut steps, mut end) = (Vec::new(), 0.0);
        for cell in &self.cells {
            if cell.from > end {
                steps.push((end, 0.0));
            }
            steps.push((cell.from, cell.coefficient));
            end = cell.to;
        }
        if self.last > end {
            steps.push((end, 0.0));
        }
        steps.push((self.last, self.never));
        steps
    }

    /// Whether a later crack would have explained it no worse, as no find does.
    pub(super) fn favours_late(&self) -> bool {
        self.is_clean || (!self.is_exact() && self.steps().is_sorted_by(|a, b| a.1 <= b.1))
    }

    /// Whether an earlier crack would have explained it no worse, as a find at the first look does.
    pub(super) fn favours_early(&self) -> bool {
        !self.is_exact() && self.steps().is_sorted_by(|a, b| a.1 >= b.1)
    }

    /// The stretch of moments that explain it best.
    pub(super) fn best_explained(&self) -> (f64, f64) {
        let steps = self.steps();
        let highest = steps.iter().map(|step| step.1).fold(0.0, f64::max);
        if let Some(cell) = self.cells.iter().find(|cell| cell.from == cell.to) {
            return (cell.from, cell.to);
        }
        let first = steps.iter().position(|step| step.1 == highest).unwrap_or(0);
        let last = steps.iter().rposition(|step| step.1 == highest).unwrap_or(0);
        (steps[first].0, steps.get(last + 1).map_or(f64::INFINITY, |step| step.0))
    }

    /// Every time it names.
    pub(super) fn times(&self) -> impl Iterator<Item = f64> + '_ {
        self.cells.iter().flat_map(|cell| [cell.from, cell.to]).chain([self.last])
    }
}

/// A blade, or several alike, as records have them: last clean, found cracked.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Reading of the clock at the last look without a find; 0 where the first look was a find.
    pub clean_until: f64,
    /// Reading at the find; infinite or not a number where none was found.
    pub cracked_by: f64,
    /// Whether the moment itself is known: both readings are it then.
    pub exact: bool,
    /// Whether a crack was found, where the records say so beside the readings.
    pub cracked: Option<bool>,
    /// Number of such blades.
    pub count: f64,
    /// Chance that a look finds a crack.
    pub pod: f64,
    /// Row of blades.
    pub row: usize,
    /// Covariates.
    pub covariates: Vec<f64>,
}

impl Record {
    /// One blade, by looks that find every crack.
    pub fn new(clean_until: f64, cracked_by: f64) -> Self {
        Record {
            clean_until,
            cracked_by,
            exact: false,
            cracked: None,
            count: 1.0,
            pod: 1.0,
            row: 0,
            covariates: Vec::new(),
        }
    }
}

/// Observations that are all valid.
#[derive(Debug, Clone, PartialEq)]
pub struct Observations {
    pub(super) list: Vec<Observation>,
    /// Names of covariates.
    pub(super) covariates: Vec<String>,
    /// Unit of times, for reports.
    pub(super) unit: String,
    /// Where they are from.
    pub(super) source: String,
    /// What a study adds to them, if they were made with one.
    pub(super) by_study: Option<ByStudy>,
}

/// What is to be said of observations that were made of records by a study.
#[derive(Debug, Clone, PartialEq)]
pub struct ByStudy {
    /// Its name.
    pub study: String,
    /// Blades, those that were called, and those of them that were called at their first look.
    pub counts: (f64, f64, f64),
    /// What the numbers mean, in sentences.
    pub notes: Vec<String>,
    /// What limits them, in sentences.
    pub warnings: Vec<String>,
}

impl Observations {
    /// Takes observations as they are.
    ///
    /// # Errors
    /// Refuses, in one message, every observation whose cells overlap or go backwards, whose numbers are not finite or are
    /// negative, that is impossible (all chances nothing), or that has another number of covariates than there are names.
    pub fn new(list: Vec<Observation>, covariates: &[String]) -> Result<Self> {
        let mut faults = Faults::default();
        for (index, one) in list.iter().enumerate() {
            check(&mut faults, index + 1, one, covariates.len());
        }
        refused(faults)?;
        // Blades that are alike in all count together.
        let mut merged: Vec<Observation> = Vec::new();
        let mut sorted: Vec<Observation> = list.into_iter().filter(|one| one.count > 0.0).collect();
        sorted.sort_by(|a, b| key(a).partial_cmp(&key(b)).unwrap_or(std::cmp::Ordering::Equal));
        for one in sorted {
            match merged.last_mut() {
                Some(last) if alike(last, &one) => last.count += one.count,
                _ => merged.push(one),
            }
        }
        if merged.is_empty() {
            return Err(Error::data("no-records", "no blade", "a fit needs some", "add records of looks"));
        }
        Ok(Observations {
            list: merged,
            covariates: covariates.to_vec(),
            unit: String::new(),
            source: String::new(),
            by_study: None,
        })
    }

    /// Takes records: last clean, found cracked.
    ///
    /// A look with a chance of a find below one may have missed a crack: then the crack may also have begun before the last
    /// clean look, which missed it. Clean looks before that one are not counted: they are not among the numbers.
    ///
    /// # Errors
    /// Refuses every record that breaks a rule, in one message: a reading that is negative or not a number, an interval that
    /// goes backwards or has no width without being marked as exact, a crack without an end, a clean blade with one, a
    /// count that is no whole number from 0, a chance of a find that is not above 0 and at most 1.
    pub fn from_records(records: &[Record], covariates: &[String]) -> Result<Self> {
        let mut faults = Faults::default();
        let mut list = Vec::with_capacity(records.len());
        for (index, record) in records.iter().enumerate() {
            check_record(&mut faults, index + 1, record, covariates);
            list.push(observed(record));
        }
        refused(faults)?;
        Observations::new(list, covariates)
    }

    /// The same with the unit of times and their source, for reports.
    #[must_use]
    pub fn described(self, unit: &str, source: &str) -> Self {
        Observations { unit: unit.to_owned(), source: source.to_owned(), ..self }
    }

    /// Names of covariates.
    pub fn covariates(&self) -> &[String] {
        &self.covariates
    }

    /// Unit of times.
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// Where they are from.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Name of the study that made them of records, if one did.
    pub fn study(&self) -> Option<&str> {
        self.by_study.as_ref().map(|by_study| by_study.study.as_str())
    }

    /// The same with what a study adds to them.
    #[must_use]
    pub fn by_study(self, by_study: ByStudy) -> Self {
        Observations { by_study: Some(by_study), ..self }
    }

    /// Number of blades, of those with a find, and of those found at their first look.
    pub fn counts(&self) -> (f64, f64, f64) {
        if let Some(by_study) = &self.by_study {
            return by_study.counts;
        }
        let sum = |which: &dyn Fn(&Observation) -> bool| {
            self.list.iter().filter(|one| which(one)).map(|one| one.count).sum::<f64>()
        };
        let found = |one: &Observation| !one.favours_late();
        (sum(&|_| true), sum(&found), sum(&|one| found(one) && one.favours_early()))
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        let mut rows: Vec<usize> = self.list.iter().map(|one| one.row).collect();
        rows.sort_unstable();
        rows.dedup();
        rows.len()
    }

    /// The latest time that any observation names.
    pub fn latest(&self) -> f64 {
        self.list.iter().flat_map(Observation::times).fold(0.0, f64::max)
    }
}

fn key(one: &Observation) -> (usize, &[f64], f64, f64, Vec<[f64; 3]>) {
    let cells = one.cells.iter().map(|cell| [cell.from, cell.to, cell.coefficient]).collect();
    (one.row, &one.covariates, one.last, one.never, cells)
}

fn alike(a: &Observation, b: &Observation) -> bool {
    a.row == b.row
        && a.covariates == b.covariates
        && a.last == b.last
        && a.never == b.never
        && a.cells == b.cells
        && a.ways == b.ways
        && a.is_clean == b.is_clean
}

fn observed(record: &Record) -> Observation {
    let Record { clean_until, cracked_by, exact, count, pod, row, .. } = *record;
    let found = cracked_by.is_finite();
    let seen = if exact {
        Observation::exact(clean_until)
    } else {
        let times = [Some(clean_until).filter(|time| *time > 0.0), Some(cracked_by).filter(|_| found)];
        let looks: Vec<PlannedLook> = times.into_iter().flatten().map(|time| PlannedLook { time, pod }).collect();
        Observation::of_looks(&looks, found)
    };
    Observation { count, row, covariates: record.covariates.clone(), ..seen }
}

fn check_record(faults: &mut Faults, number: usize, record: &Record, covariates: &[String]) {
    const MARK: &str = "mark it as exact if the moment is known, else give both looks";
    let mut fault = |column: &str, value: f64, rule: &str, remedy: &str| {
        let path = format!("record {number}, {column}");
        faults.add(None, &path, &value.to_string(), rule, remedy);
    };
    let Record { clean_until, cracked_by, exact, cracked, count, pod, .. } = *record;
    let found = cracked_by.is_finite();
    if !(clean_until >= 0.0 && clean_until.is_finite()) {
        let remedy = "0 is right where the first look was a find, and where there was no look";
        fault("clean_until", clean_until, "must be a finite time, at least 0", remedy);
    } else if cracked_by == f64::NEG_INFINITY || cracked_by < 0.0 {
        fault("cracked_by", cracked_by, "must not be negative", "leave it empty where no crack was found");
    } else if exact && !(found && cracked_by == clean_until && clean_until > 0.0) {
        let remedy = "give the moment above 0 as both, or take the mark away";
        fault("cracked_by", cracked_by, "an exact moment has clean_until and cracked_by the same", remedy);
    } else if found && cracked_by < clean_until {
        let rule = format!("lies before clean_until ({clean_until})");
        fault("cracked_by", cracked_by, &rule, "exchange the two if they are mixed up");
    } else if found && cracked_by == clean_until && !exact {
        fault("cracked_by", cracked_by, "is the same as clean_until: an interval of no width", MARK);
    }
    if cracked == Some(true) && !found {
        let remedy = "give the reading at which the crack was found";
        fault("cracked_by", cracked_by, "is missing, yet the blade is said to be cracked", remedy);
    }
    if cracked == Some(false) && found {
        let remedy = "leave it empty for a clean blade, or correct the status";
        fault("cracked_by", cracked_by, "is given, yet the blade is said to be clean", remedy);
    }
    if !(count >= 0.0 && count.is_finite() && count.fract() == 0.0) {
        fault("counts", count, "must be a whole number from 0", "count blades");
    }
    if !(pod > 0.0 && pod <= 1.0) {
        fault("pod", pod, "must be above 0 and at most 1", "0.7 is a look that finds 7 of 10 cracks");
    }
    for (name, value) in covariates.iter().zip(&record.covariates) {
        if !value.is_finite() {
            fault(name, *value, "must be a finite number", "complete it, or leave the record out");
        }
    }
}

fn check(faults: &mut Faults, number: usize, one: &Observation, covariates: usize) {
    let in_order = |cells: &[Cell]| {
        let (mut end, mut ordered) = (0.0, true);
        for cell in cells {
            ordered &= cell.from >= end && cell.to >= cell.from && cell.to.is_finite() && cell.to > 0.0;
            end = cell.to;
        }
        ordered && one.last >= end && one.last.is_finite()
    };
    let origins = || one.ways.iter().flat_map(|way| &way.origins);
    let ordered = in_order(&one.cells) && origins().all(|own| in_order(&own.cells));
    let sizes = one.ways.iter().flat_map(|way| [way.weight, way.hazard_factor]).chain(origins().map(|own| own.number));
    let are_sizes = sizes.into_iter().all(|size| size > 0.0 && size.is_finite());
    let of_origins = origins().flat_map(|own| own.cells.iter().map(|cell| cell.coefficient).chain([own.never]));
    let of_origins: Vec<f64> = of_origins.collect();
    let chances = || one.cells.iter().map(|cell| cell.coefficient).chain([one.never]).chain(of_origins.iter().copied());
    let possible = chances().all(|chance| chance >= 0.0 && chance.is_finite()) && chances().any(|chance| chance > 0.0);
    // A density and a chance do not add up.
    let mixed = one.is_exact() && chances().filter(|chance| *chance > 0.0).count() > 1;
    let rules = [
        (ordered, "cells must follow each other in time, from 0 on"),
        (possible, "chances must be finite, none negative, and one above 0"),
        (!mixed, "a known moment cannot stand beside other cells"),
        (are_sizes, "weights, factors and numbers of origins must be finite and above 0"),
        (one.count >= 0.0 && one.count.is_finite(), "its count must be finite and not negative"),
        (
            one.covariates.len() == covariates && one.covariates.iter().all(|x| x.is_finite()),
            "it needs one finite number for each covariate",
        ),
    ];
    for (_, rule) in rules.iter().filter(|(kept, _)| !kept) {
        faults.add(None, &format!("record {number}"), "", rule, "correct it, or leave it out");
    }
}

fn refused(faults: Faults) -> Result<()> {
    if faults.count == 0 {
        return Ok(());
    }
    let (shown, count): (Vec<Fault>, usize) = (faults.shown, faults.count);
    Err(Error { kind: Kind::Records { source: "records".into(), faults: shown, count } })
}
