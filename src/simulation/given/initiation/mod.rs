//! The law of initiation, fitted to records in which every look is imperfect.

mod clocks;
mod moments;

pub use clocks::{ClockFit, InitiationClocks};

use super::history::{History, histories};
use super::learning::Learning;
use super::likelihood::Fineness;
use super::past::RowPast;
use crate::distribution::Distribution;
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::initiation::InitiationShape;
use crate::model::usage::{Clock, Readings};
use crate::statistics::initiation::{ByStudy, InitiationFit, Law, Model, Observation, Observations, fit};
use crate::statistics::records::Records;
use moments::{HeldLaw, Seen, Work, seen};

/// How a law of initiation is fitted on a study.
#[derive(Debug, Clone, PartialEq)]
pub struct InitiationOnStudy {
    /// Name of the initiation law of the study that is fitted, where rows with records have several; the others stand as the
    /// study has them.
    pub initiation: Option<String>,
    /// The law; that of the study if left out.
    pub law: Option<Law>,
    /// The clock it runs on; that of the study if left out.
    pub clock: Option<Clock>,
    /// Its shape (Weibull) or spread of the logarithm (log-normal) where that is assumed, and not estimated.
    pub shape: Option<f64>,
    /// Whether blades of a row share a factor on their hazard, gamma of mean 1, whose variance is estimated.
    pub row_factor: bool,
    /// Possible cracks of each hot spot; a power of two from 64 to 32,768.
    pub cracks: u32,
    /// Scrambles the points at which these are lived.
    pub seed: u64,
}

impl Default for InitiationOnStudy {
    fn default() -> Self {
        InitiationOnStudy {
            initiation: None,
            law: None,
            clock: None,
            shape: None,
            row_factor: false,
            cracks: 2048,
            seed: 1,
        }
    }
}

/// Records with what a study says of them, whatever the law of initiation.
struct Looked<'s> {
    study: &'s Study,
    source: String,
    /// The law that is fitted, by number.
    law: usize,
    seen: Vec<Seen>,
    /// Blades, those that were called, and those called at the first look at them.
    counts: (f64, f64, f64),
    /// Whether any row had looks that differ from one inspection to another, or growth of its own.
    shares: bool,
    /// Whether any row has hot spots of other laws, which are held.
    holds: bool,
}

impl Study {
    /// Fits the law of initiation to records of looks, each of which misses and miscalls as the study says.
    ///
    /// From the study come growth and its scatter, detection, false calls, sizing, origins, duty and ages of blades; what is
    /// fitted are scale and shape of the law by which an origin cracks. Where the study states the law, that serves only to
    /// say which law and clock are meant. The likelihood of a blade is that of all its looks, calls and measured lengths.
    ///
    /// What the blades of a row share, its growth and how well each inspection saw, is averaged over blade by blade: blades
    /// are taken as independent, which makes bounds too narrow where these scatter much. [`Study::given`] takes them together.
    /// Of 300 invented fleets of four rows of 40 blades with some 35 finds, the bounds of 95 % held scale and shape so often
    /// (285 expected, spread 3.8), by what the logarithms of growth and of q50 scatter from row to row and look to look:
    ///
    /// | scatter | row factor, not fitted | scale held | shape held | mean ln(scale / truth) |
    /// |---|---|---|---|---|
    /// | 0 | 1 | 284 | 285 | 0.022 ± 0.011 |
    /// | 0, twelve rows | 1 | 284 | 280 | 0.006 ± 0.006 |
    /// | 0.25 | 1 | 271 | 272 | 0.039 ± 0.012 |
    /// | 0.5 | 1 | 243 | 257 | 0.056 ± 0.014 |
    /// | 0.5 | gamma, coefficient of variation 0.5 | 233 | 260 | 0.108 ± 0.018 |
    ///
    /// The origins of a blade share its stress; of two cracks in one blade it is left out that false calls need a blade free of
    /// both, and that each of two reported lengths may be of another. What is `uncertain` stands at its median. Where cracks
    /// can join, each is weighed as if it stood alone.
    ///
    /// Without a find there is a bound and no estimate, and the shape must be stated.
    ///
    /// # Errors
    /// Lists all lines that do not fit the study; refuses a study that was given records, rows whose hot spots have more than
    /// one law of initiation of which none is named, records that are impossible under the study, and what [`fit`] refuses.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::InitiationOnStudy;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("tests/engine/data/given/a.toml")?;
    /// let records = Records::load("tests/engine/data/given/b.csv", &Format::default())?;
    /// let options = InitiationOnStudy { shape: Some(2.0), cracks: 256, ..InitiationOnStudy::default() };
    /// let fit = study.fit_initiation(&records, &options)?;
    /// assert_eq!(fit.observations().counts().1, 3.0);
    /// // The study had 4000 starts; three of twenty blades called says fewer.
    /// assert!(fit.parameters()[0].value.unwrap() < 4000.0);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn fit_initiation(&self, records: &Records, options: &InitiationOnStudy) -> Result<InitiationFit> {
        let looked = Looked::new(self, records, options)?;
        let law = options.law.unwrap_or_else(|| looked.own_law());
        let observations =
            looked.observations(options.clock.unwrap_or_else(|| looked.own_clock()), options.row_factor)?;
        fit(&observations, &Model { law, shape: options.shape, row_factor: options.row_factor })
    }

    /// What the records say of the moments at which origins crack, as [`Study::fit_initiation`] has it: for other models, and
    /// for likelihoods of laws that are not the best.
    ///
    /// # Errors
    /// As there, but for those of the fit itself.
    pub fn initiation_observations(&self, records: &Records, options: &InitiationOnStudy) -> Result<Observations> {
        let looked = Looked::new(self, records, options)?;
        looked.observations(options.clock.unwrap_or_else(|| looked.own_clock()), options.row_factor)
    }
}

impl<'s> Looked<'s> {
    fn new(study: &'s Study, records: &Records, options: &InitiationOnStudy) -> Result<Self> {
        /// Draws of what the blades of a row share, and so many times fewer possible cracks for each.
        const DRAWS: u32 = 32;
        const FEWER: u32 = 8;
        /// Cells from a row's entry into service to the start of the study, beside those that its looks make.
        const CELLS: usize = 96;
        Learning { cracks: options.cracks, ..Learning::default() }.check()?;
        let records = &*study.with_found(records)?;
        let known: Vec<(usize, History)> = histories(study, records)?
            .into_iter()
            .enumerate()
            .filter_map(|(row, history)| Some((row, history?)))
            .collect();
        let looked_at = known.iter().filter(|(_, history)| !history.looks.is_empty()).map(|(row, _)| *row);
        let law = the_law(study, looked_at, options.initiation.as_deref())?;
        let mut looked = Looked {
            study,
            source: records.source().to_owned(),
            law,
            seen: Vec::new(),
            counts: (0.0, 0.0, 0.0),
            shares: false,
            holds: false,
        };
        for (row, history) in known {
            if laws(study, row).all(|other| other != law) {
                continue;
            }
            let spread = spread_evenly(study, row)?;
            looked.count(&history);
            let past = RowPast::new(&spread, row, history)?;
            looked.shares |= !past.numbers.is_empty();
            let cracks = if past.numbers.is_empty() { options.cracks } else { (options.cracks / FEWER).max(64) };
            let fineness = Fineness {
                cracks: cracks as usize,
                cracks_of_find: (cracks as usize / 4).max(32),
                cells: (cracks as usize / 8).clamp(8, CELLS),
                seed: Learning { seed: options.seed, ..Learning::default() }.seed_of(row, 0),
            };
            let held: Vec<Option<HeldLaw>> = laws(study, row)
                .map(|other| {
                    looked.holds |= other != law;
                    (other != law).then(|| {
                        let (clock, life_factor) = looked.clock_of(row, study.initiation[other].clock);
                        HeldLaw { shape: study.initiation[other].shape, clock, life_factor }
                    })
                })
                .collect();
            for mut seen in seen(&past, Work { fineness, draws: DRAWS as usize }) {
                seen.hold(&held);
                if !seen.is_possible() {
                    return Err(past.impossible(study));
                }
                looked.seen.push(seen);
            }
        }
        Ok(looked)
    }

    fn count(&mut self, history: &History) {
        use super::history::BladeEnd;
        for kind in &history.kinds {
            let count = f64::from(kind.count);
            self.counts.0 += count;
            if matches!(kind.end, BladeEnd::Called(_)) {
                self.counts.1 += count;
                self.counts.2 += if kind.clean.is_empty() { count } else { 0.0 };
            }
        }
    }

    /// Readings of a clock on a row's unit, and by what its surface lengthens lives.
    fn clock_of(&self, row: usize, clock: Clock) -> (Readings, f64) {
        let row = &self.study.rows[row];
        let life_factor = self.study.surfaces[row.surface].initiation_life_factor;
        (Readings::new(&self.study.units[row.unit].duty, clock), life_factor)
    }

    /// What was seen, by a clock.
    fn observations(&self, clock: Clock, has_factor: bool) -> Result<Observations> {
        let list: Vec<Observation> = self
            .seen
            .iter()
            .filter_map(|seen| {
                let (readings, life_factor) = self.clock_of(seen.row, clock);
                seen.observation(&readings, life_factor)
            })
            .collect();
        let by_study = ByStudy {
            study: self.study.name.clone(),
            counts: self.counts,
            notes: self.notes(clock),
            warnings: self.warnings(has_factor),
        };
        Ok(Observations::new(list, &[])?.described(&unit(clock), &self.source).by_study(by_study))
    }

    fn own_clock(&self) -> Clock {
        self.study.initiation[self.law].clock
    }

    fn own_law(&self) -> Law {
        match self.study.initiation[self.law].shape {
            InitiationShape::Weibull { .. } => Law::Weibull,
            InitiationShape::Lognormal { .. } => Law::Lognormal,
            InitiationShape::Exponential { .. } => Law::Exponential,
        }
    }

    fn notes(&self, clock: Clock) -> Vec<String> {
        let law = &self.study.initiation[self.law].id;
        let mut notes = vec![
            format!(
                "the law is that by which one origin cracks, as initiation.{law} of the study has it, in {}, for blades of \
                 average stress; a blade with several origins cracks sooner",
                unit(clock)
            ),
            "looks miss cracks and call falsely, and cracks grow and are measured, as the study says: where it is wrong, so is \
             the law"
                .to_owned(),
        ];
        if self.holds {
            notes.push(
                "rows have hot spots of other laws too: these are held as the study has them, with a row factor of 1"
                    .to_owned(),
            );
        }
        if self.shares {
            notes.push(
                "growth of a row and how well an inspection saw are averaged over blade by blade; blades of a row share them, \
                 so that bounds are somewhat too narrow"
                    .to_owned(),
            );
        }
        notes
    }

    fn warnings(&self, has_factor: bool) -> Vec<String> {
        let mut warnings = Vec::new();
        if self.study.scatter.row_factor.fixed().is_none() && !has_factor {
            warnings.push(
                "rows differ in the study, and were fitted without a row factor: bounds are too narrow, and the law is that of \
                 these rows"
                    .to_owned(),
            );
        }
        if !self.study.uncertain.is_empty() {
            warnings.push(
                "what is uncertain in the study stands at its median: bounds say nothing of it; study.given does"
                    .to_owned(),
            );
        }
        warnings
    }
}

/// Laws of the hot spots of a row, by number.
fn laws(study: &Study, row: usize) -> impl Iterator<Item = usize> {
    study.roots[study.rows[row].root].hot_spots.iter().map(|spot| spot.initiation)
}

/// The law of some rows that is meant, by number.
fn the_law(study: &Study, rows: impl Iterator<Item = usize>, named: Option<&str>) -> Result<usize> {
    let mut all: Vec<usize> = rows.flat_map(|row| laws(study, row)).collect();
    all.sort_unstable();
    all.dedup();
    let names: Vec<&str> = all.iter().map(|&law| study.initiation[law].id.as_str()).collect();
    if let Some(named) = named {
        let rule = format!("must be an initiation law of rows with records: {}", names.join(", "));
        let place = names.iter().position(|name| *name == named);
        let place = place.ok_or_else(|| Error::argument("initiation", named, &rule, "give one of these"));
        return place.map(|place| all[place]);
    }
    match all[..] {
        [law] => Ok(law),
        [] => Err(Error::data("no-records", "no look at any row", "a fit needs some", "add records of looks")),
        _ => Err(Error::data(
            "several-laws",
            format!("hot spots of the rows with records have the initiation laws {}", names.join(", ")),
            "one law is fitted, and the others stand as the study has them",
            "name the law that is meant: initiation",
        )),
    }
}

/// The study with cracks that begin evenly over the life of a row, by starts and by hours alike.
fn spread_evenly(study: &Study, row: usize) -> Result<Study> {
    let own = &study.rows[row];
    let life = |clock: Clock| {
        let readings = Readings::new(&study.units[own.unit].duty, clock);
        readings.at(study.start_year) - readings.at(own.in_service_year)
    };
    let share = |life: f64| if life > 0.0 { 0.5 / life } else { 0.0 };
    let clock = Clock { per_start: share(life(Clock::STARTS)), per_hour: share(life(Clock::HOURS)) };
    if clock == (Clock { per_start: 0.0, per_hour: 0.0 }) {
        return Err(Error::data(
            "no-duty",
            format!("unit {:?} neither started nor ran before the study", study.units[own.unit].id),
            "the moment of a crack is told by starts or hours",
            "state its duty since the row entered service",
        ));
    }
    let mut parts = study.clone().into_parts();
    for law in laws(study, row) {
        (parts.initiation[law].clock, parts.initiation[law].shape) =
            (clock, InitiationShape::Exponential { mean: 1.0 });
    }
    parts.scatter.row_factor = Distribution::Fixed(1.0);
    Ok(Study::of_checked(parts).sharing_paths(study))
}

/// Name of a clock's unit.
fn unit(clock: Clock) -> String {
    match (clock.per_start > 0.0, clock.per_hour > 0.0) {
        (true, false) if clock.per_start == 1.0 => "starts".to_owned(),
        (false, true) if clock.per_hour == 1.0 => "hours".to_owned(),
        _ => format!("{} a start and {} an hour", clock.per_start, clock.per_hour),
    }
}
