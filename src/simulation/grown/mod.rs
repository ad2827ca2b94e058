//! The cracks of one hot spot, grown from a size to the end of their blades: how long that takes, and how
//! long of that time a technique could find them.
//!
//! The time from just detectable to lost is the window into which a look must fall; its distribution, not
//! its mean, sets the interval between inspections.

mod question;
mod risk;
mod specimen;
mod tables;

pub use question::GrowthQuestion;
pub(super) use question::find_hot_spot;
pub use risk::{GrownRow, LostBefore};

use super::estimate::Estimate;
use super::nature::IntegrationCounts;
use super::parallel::ask_while;
use super::plan::RowPlan;
use crate::error::{Error, Kind, Result};
use crate::model::Study;
use crate::random::Key;
use crate::statistics::interval;
use question::Asked;
use rayon::prelude::*;
use specimen::Specimen;
use std::ops::ControlFlow;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// Confidence of every interval.
const LEVEL: f64 = 0.95;

/// One crack from its beginning to the loss of its blade.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrownCrack {
    /// Factor of its blade on the stress.
    pub stress_factor: f64,
    /// Depth at the beginning, in mm.
    pub initial_depth_mm: f64,
    /// Surface length at the beginning, in mm.
    pub initial_length_mm: f64,
    /// Toughness of its blade, in MPa sqrt(m); not-a-number where the limit has none.
    pub toughness_mpa_sqrt_m: f64,
    /// Years from the beginning to the loss; infinite where it is not lost within [`GrownCracks::LONGEST_YEARS`].
    pub years_to_loss: f64,
    /// Starts in that time.
    pub starts_to_loss: f64,
    /// Depth at the loss, in mm; not-a-number where it is not lost.
    pub critical_depth_mm: f64,
    /// Surface length likewise, in mm.
    pub critical_length_mm: f64,
    /// Years until it is detectable; zero where it is from the beginning, infinite where it never is, and
    /// not-a-number where no technique is asked about.
    pub years_to_detectable: f64,
    /// Depth then, in mm: that at the beginning where it is detectable from then on, infinite where it never is, and
    /// not-a-number where no technique is asked about.
    pub detectable_depth_mm: f64,
    /// Surface length likewise, in mm.
    pub detectable_length_mm: f64,
}

impl GrownCrack {
    /// Years from just detectable to lost; zero where the blade is lost first, not-a-number where no technique is asked
    /// about.
    pub fn window_years(&self) -> f64 {
        if self.years_to_detectable.is_nan() {
            return f64::NAN;
        }
        if self.years_to_loss == f64::INFINITY && self.years_to_detectable == f64::INFINITY {
            return f64::INFINITY;
        }
        (self.years_to_loss - self.years_to_detectable.min(self.years_to_loss)).max(0.0)
    }
}

/// The way of one crack, at moments from its beginning to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct GrownWay {
    /// Years since the beginning.
    pub years: Vec<f64>,
    /// Starts since then.
    pub starts: Vec<f64>,
    /// Depth, in mm.
    pub depth_mm: Vec<f64>,
    /// Surface length, in mm.
    pub length_mm: Vec<f64>,
    /// Highest stress intensity of a start at the deepest point, in MPa sqrt(m).
    pub deepest_mpa_sqrt_m: Vec<f64>,
    /// The same at the surface.
    pub surface_mpa_sqrt_m: Vec<f64>,
}

/// One crack of a place where cracks join, at moments from its beginning to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaceCrack {
    /// Its middle along the serration, in mm.
    pub position_mm: f64,
    /// Years since the first crack of the place began.
    pub years: Vec<f64>,
    /// Depth, in mm.
    pub depth_mm: Vec<f64>,
    /// Surface length, in mm.
    pub length_mm: Vec<f64>,
    /// Whether it ends as a part of another.
    pub joins: bool,
    /// Whether it ends in the loss of its blade.
    pub is_lost: bool,
}

/// Many cracks of one hot spot, each grown by itself; where they join, the cracks of a place together.
#[derive(Debug, Clone, PartialEq)]
pub struct GrownCracks {
    /// The study.
    pub study: Study,
    /// What was asked.
    pub question: GrowthQuestion,
    /// The cracks.
    pub cracks: Vec<GrownCrack>,
    /// The row and, where none was asked for, the others with its root: what such cracks do there.
    pub rows: Vec<GrownRow>,
    /// Index of the row.
    row: usize,
    /// What happened to the cracks, in all of these rows.
    counts: IntegrationCounts,
}

impl Study {
    /// Grows cracks of one hot spot from the start of the study on, each to the loss of its blade.
    ///
    /// Each crack has its own start, growth, toughness and row; its blade's stress factor is drawn as it is
    /// among blades that crack, where the highly stressed are more frequent: for a lognormal factor of
    /// spread s and an initiation that hastens by its b-th power, the logarithm has mean b s**2, which is
    /// exact while few blades crack.
    ///
    /// Where the hot spot's cracks join, a specimen is a place with all its origins: time runs from its first
    /// crack, the others follow as the law of initiation has it in a row of factor 1, the place is detectable
    /// as soon as any of its cracks is, and its size is that of the deepest.
    ///
    /// # Errors
    /// Refuses names that are not in the study, numbers out of range, and a probability of detection that
    /// the technique does not reach at any size.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::GrowthQuestion;
    ///
    /// let study = Study::load("demo-data/reference-study.toml")?;
    /// let question = GrowthQuestion {
    ///     technique: Some("in-place-ut".to_owned()),
    ///     cracks: 200,
    ///     ..GrowthQuestion::new("curved-tree.tang")
    /// };
    /// let grown = study.grow(&question)?;
    /// let median = grown.quantile(0.5, |crack| crack.years_to_loss);
    /// assert!(median.low <= median.value && median.value <= median.high);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn grow(&self, question: &GrowthQuestion) -> Result<GrownCracks> {
        self.grow_with(question, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::grow`]; from time to time `ask` is told how many cracks are done and may stop the work.
    ///
    /// # Errors
    /// As [`Study::grow`], and when the work was stopped.
    pub fn grow_with(
        &self,
        question: &GrowthQuestion,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<GrownCracks> {
        let asked = question.look_up(self)?;
        let rows: Vec<usize> = std::iter::once(asked.row).chain(asked.others.iter().copied()).collect();
        let plans = RowPlan::several(self, rows.iter().map(|&row| &self.rows[row]))?;
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        let grow_in = |plan: &RowPlan, row: usize| {
            let grow_one = |index: u64| {
                if stop.load(Ordering::Relaxed) {
                    return None;
                }
                let specimen = asked.specimen(self, plan, row, question, index);
                done.fetch_add(1, Ordering::Relaxed);
                Some((specimen.crack(), specimen.counts))
            };
            (0..question.cracks).into_par_iter().map(grow_one).collect::<Option<Vec<_>>>()
        };
        let work = || {
            let (mut first, mut about, mut counts) = (None, Vec::new(), IntegrationCounts::default());
            for (plan, &row) in plans.iter().zip(&rows) {
                let grown = grow_in(plan, row)?;
                let cracks: Vec<GrownCrack> = grown.iter().map(|(crack, _)| *crack).collect();
                grown.iter().for_each(|(_, of)| counts.merge(of));
                about.push(GrownRow::new(self, row, &cracks));
                first.get_or_insert(cracks);
            }
            Some((first?, about, counts))
        };
        let (cracks, rows, counts) = ask_while(work, &stop, &done, ask).ok_or_else(|| Error {
            kind: Kind::Interrupted {
                done: done.load(Ordering::Relaxed),
                wanted: question.cracks * rows.len() as u64,
                of: "cracks",
            },
        })?;
        Ok(GrownCracks { study: self.clone(), question: question.clone(), cracks, rows, row: asked.row, counts })
    }
}

impl Asked {
    fn specimen<'p>(
        &self,
        study: &'p Study,
        plan: &'p RowPlan,
        row: usize,
        question: &GrowthQuestion,
        index: u64,
    ) -> Specimen<'p> {
        let key = Key::from_seed(question.seed).named(&question.hot_spot).child(index);
        Specimen::new(study, plan, row, self, question, key)
    }
}

impl GrownCracks {
    /// Years for which a crack is followed.
    pub const LONGEST_YEARS: f64 = 1000.0;

    /// Id of the row whose duty and surface the cracks meet.
    pub fn row(&self) -> &str {
        &self.study.rows[self.row].id
    }

    /// Outages of the row's unit, in years from the start of the study on.
    pub fn outage_years(&self) -> Vec<f64> {
        let outages = &self.study.units[self.study.rows[self.row].unit].outages.years;
        outages.iter().map(|year| year - self.study.start_year).filter(|years| *years >= 0.0).collect()
    }

    /// Years between the outages of the row's unit, on average; not-a-number where there are fewer than two.
    pub fn mean_years_between_outages(&self) -> f64 {
        match self.study.units[self.study.rows[self.row].unit].outages.years.as_slice() {
            [first, .., last] => {
                let years = &self.study.units[self.study.rows[self.row].unit].outages.years;
                (last - first) / (years.len() - 1) as f64
            }
            _ => f64::NAN,
        }
    }

    /// What to beware of: where cracks left what a published solution or rule covers, and to which side that errs.
    ///
    /// Empty when there is nothing to say.
    pub fn warnings(&self) -> Vec<String> {
        self.counts.sentences()
    }

    /// With what the cracks begin where it was asked for, in words.
    pub fn beginning(&self) -> Option<String> {
        let question = &self.question;
        let half = |of: fn(&GrownCrack) -> f64| self.quantile(0.5, of).value;
        let by_shape = "as each one's own initial aspect has it";
        match (question.from_depth_mm, question.from_length_mm) {
            (None, None) => None,
            (Some(depth_mm), None) => Some(format!(
                "All begin {depth_mm} mm deep; their length is {by_shape} (median {:.3} mm).",
                half(|crack| crack.initial_length_mm)
            )),
            (None, Some(length_mm)) => Some(format!(
                "All begin {length_mm} mm long at the surface; their depth is {by_shape} (median {:.3} mm).",
                half(|crack| crack.initial_depth_mm)
            )),
            (Some(depth_mm), Some(length_mm)) => {
                Some(format!("All begin {depth_mm} mm deep and {length_mm} mm long at the surface."))
            }
        }
    }

    /// A quantile of some number of the cracks that have it, with an interval from order statistics that holds for any
    /// distribution (H. A. David, "Order Statistics", section 2.5, from memory).
    pub fn quantile(&self, probability: f64, of: impl Fn(&GrownCrack) -> f64) -> Estimate {
        risk::quantile(&self.cracks, probability, of)
    }

    /// Chance that a crack is not lost within [`GrownCracks::LONGEST_YEARS`].
    pub fn p_remains(&self) -> Estimate {
        let remain = self.cracks.iter().filter(|crack| crack.years_to_loss == f64::INFINITY).count() as f64;
        let count = self.cracks.len() as f64;
        let (low, high) = interval::exact_proportion(remain, count, LEVEL);
        let value = remain / count;
        Estimate { value, standard_error: (value * (1.0 - value) / count).sqrt(), low, high, events: remain }
    }

    /// Chance that at least so many looks fall into the window of a crack, where looks come at equal
    /// intervals in years and a crack becomes detectable at any moment between two; not-a-number where no technique is
    /// asked about.
    ///
    /// A window of w years holds floor(w / interval) looks, or one more with a chance of the remainder.
    pub fn p_looks(&self, at_least: u32, interval_years: f64) -> Estimate {
        if self.question.technique.is_none() {
            let none = f64::NAN;
            return Estimate { value: none, standard_error: none, low: none, high: none, events: none };
        }
        let chance = |crack: &GrownCrack| {
            let looks = crack.window_years() / interval_years;
            (looks - f64::from(at_least) + 1.0).clamp(0.0, 1.0)
        };
        let count = self.cracks.len() as f64;
        let (sum, squares) =
            self.cracks.iter().map(chance).fold((0.0, 0.0), |(sum, squares), p| (sum + p, squares + p * p));
        let value = sum / count;
        let standard_error = ((squares / count - value * value).max(0.0) / count).sqrt();
        // Of all numbers between 0 and 1 with one mean a proportion scatters the most: its exact bounds hold.
        let (low, high) = interval::exact_proportion(sum, count, LEVEL);
        Estimate { value, standard_error, low, high, events: f64::NAN }
    }

    /// Whether a specimen is a place whose cracks join.
    pub fn joins(&self) -> bool {
        let root = &self.study.roots[self.study.rows[self.row].root];
        let asked = self.question.look_up(&self.study);
        asked.is_ok_and(|asked| {
            let spot = &root.hot_spots[asked.class];
            spot.joining.is_some() && spot.origins > 1
        })
    }

    /// The first specimens, crack by crack, at so many moments each; empty where cracks do not join.
    ///
    /// # Errors
    /// As [`Study::grow`].
    pub fn places(&self, specimens: usize, moments: usize) -> Result<Vec<Vec<PlaceCrack>>> {
        if !self.joins() {
            return Ok(Vec::new());
        }
        let asked = self.question.look_up(&self.study)?;
        let plan = RowPlan::with_techniques(&self.study, &self.study.rows[asked.row], &[])?;
        let specimens = (specimens as u64).min(self.question.cracks);
        let place = |index| asked.specimen(&self.study, &plan, self.row, &self.question, index).place(moments);
        Ok((0..specimens).map(place).collect())
    }

    /// The first cracks' ways, at so many moments each; every crack that is lost has its last moment there.
    ///
    /// # Errors
    /// As [`Study::grow`].
    pub fn ways(&self, cracks: usize, moments: usize) -> Result<Vec<GrownWay>> {
        let asked = self.question.look_up(&self.study)?;
        let plan = RowPlan::with_techniques(&self.study, &self.study.rows[asked.row], &[])?;
        let cracks = (cracks as u64).min(self.question.cracks);
        let way = |index| asked.specimen(&self.study, &plan, self.row, &self.question, index).way(moments);
        Ok((0..cracks).map(way).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cracks with these years to the loss and until they are detectable, of a row with outages in 2021, 2024 and 2027.
    fn made(years: impl IntoIterator<Item = (f64, f64)>) -> GrownCracks {
        let crack = |(years_to_loss, years_to_detectable)| GrownCrack {
            stress_factor: 1.0,
            initial_depth_mm: 1.0,
            initial_length_mm: 2.0,
            toughness_mpa_sqrt_m: f64::NAN,
            years_to_loss,
            starts_to_loss: 100.0 * years_to_loss,
            critical_depth_mm: 8.0,
            critical_length_mm: 16.0,
            years_to_detectable,
            detectable_depth_mm: 3.0,
            detectable_length_mm: 6.0,
        };
        GrownCracks {
            study: Study::parse(include_str!("../../../tests/engine/data/small.toml"), "small").expect("a good study"),
            question: GrowthQuestion { technique: Some("ultrasonic".to_owned()), ..GrowthQuestion::new("fork.pin") },
            cracks: years.into_iter().map(crack).collect(),
            rows: Vec::new(),
            row: 0,
            counts: IntegrationCounts::default(),
        }
    }

    const NEVER: f64 = f64::INFINITY;

    #[test] // by hand
    fn looks_fall_into_windows_as_their_lengths_say() {
        let grown = made([(10.0, 4.0), (NEVER, 7.0), (5.0, NEVER), (NEVER, NEVER)]);
        let windows: Vec<f64> = grown.cracks.iter().map(GrownCrack::window_years).collect();
        assert_eq!(windows, [6.0, NEVER, 0.0, NEVER]);
        // Looks every four years: one and a half in the first window, none in the third, as many as wanted in the others.
        let two = grown.p_looks(2, 4.0);
        assert_eq!(two.value, (0.5 + 1.0 + 0.0 + 1.0) / 4.0);
        assert!((two.standard_error - ((0.25_f64 + 1.0 + 1.0) / 16.0 - 0.625 * 0.625 / 4.0).sqrt()).abs() < 1e-12);
        assert_eq!((two.low, two.high), interval::exact_proportion(2.5, 4.0, 0.95));
        assert_eq!(grown.p_looks(1, 4.0).value, 0.75);
        let remain = grown.p_remains();
        assert_eq!((remain.value, remain.standard_error, remain.events), (0.5, 0.25, 2.0));
        assert_eq!((remain.low, remain.high), interval::exact_proportion(2.0, 4.0, 0.95));
        let one = made([(NEVER, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 1.0)]).p_remains();
        assert_eq!((one.value, one.standard_error), (0.25, (0.25_f64 * 0.75 / 4.0).sqrt()));
    }

    #[test] // ranks by hand: 1.96 deviations of a binomial number about its mean, and one rank more
    fn a_quantile_has_the_interval_of_its_rank() {
        let grown = made((1..=100).map(|rank| (f64::from(rank), 0.0)));
        for (probability, expected) in
            [(0.5, [50.0, 40.0, 62.0]), (0.05, [5.0, 1.0, 12.0]), (0.99, [99.0, 97.0, 100.0])]
        {
            let ours = grown.quantile(probability, |crack| crack.years_to_loss);
            assert_eq!([ours.value, ours.low, ours.high], expected, "{probability}");
        }
        // One that has no such number does not count.
        let three = made([(f64::NAN, 0.0), (2.0, 0.0), (1.0, 0.0), (3.0, 0.0)]);
        assert_eq!(three.quantile(0.5, |crack| crack.years_to_loss).value, 2.0);
    }

    #[test]
    fn years_between_outages_are_those_between_the_first_and_the_last_over_their_number() {
        let mut grown = made([(1.0, 0.0)]);
        assert_eq!(grown.mean_years_between_outages(), 3.0);
        let mut study = grown.study.into_parts();
        study.units[0].outages.years.truncate(1);
        grown.study = Study::of_checked(study);
        assert!(grown.mean_years_between_outages().is_nan());
    }

    #[test]
    fn every_table_is_there_and_that_of_looks_has_every_interval() {
        let grown = made([(10.0, 4.0), (NEVER, 7.0), (5.0, NEVER)]);
        for name in GrownCracks::TABLES {
            assert_eq!(grown.table(name).expect("a known name").name, name);
        }
        let table = grown.table("looks").expect("it");
        let numbers = |name: &str| match table.column(name) {
            Some(super::super::Column::Number(numbers)) => numbers.clone(),
            other => panic!("{name}: {other:?}"),
        };
        let (outages, years, at_least) =
            (numbers("every_outages"), numbers("interval_years"), numbers("looks_at_least"));
        assert!(table.len() > 4 && outages[..4] == [1.0, 1.0, 2.0, 2.0] && at_least[..4] == [1.0, 2.0, 1.0, 2.0]);
        for line in 0..table.len() {
            // Three years from one outage to the next.
            assert_eq!(years[line], 3.0 * outages[line]);
            assert_eq!(numbers("value")[line], grown.p_looks(at_least[line] as u32, years[line]).value);
        }
        let mut unasked = grown;
        unasked.question.technique = None;
        assert!(unasked.table("looks").expect("it").is_empty());
    }
}
