//! The cracks of one hot spot, grown from a size to the end of their blades: how long that takes, and how
//! long of that time a technique could find them.
//!
//! The time from just detectable to lost is the window into which a look must fall; its distribution, not
//! its mean, sets the interval between inspections.

mod question;
mod specimen;
mod tables;

pub use question::GrowthQuestion;

use super::comparison::Estimate;
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
}

impl GrownCrack {
    /// Years from just detectable to lost; zero where the blade is lost first.
    pub fn window_years(&self) -> f64 {
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
    /// Index of the row.
    row: usize,
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
        let plan = RowPlan::new(self, &self.rows[asked.row])?;
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        let grow_one = |index: u64| {
            if stop.load(Ordering::Relaxed) {
                return None;
            }
            let crack = asked.specimen(self, &plan, question, index).crack();
            done.fetch_add(1, Ordering::Relaxed);
            Some(crack)
        };
        let work = || (0..question.cracks).into_par_iter().map(grow_one).collect::<Option<Vec<_>>>();
        let cracks = ask_while(work, &stop, &done, ask).ok_or_else(|| Error {
            kind: Kind::Interrupted { done: done.load(Ordering::Relaxed), wanted: question.cracks, of: "cracks" },
        })?;
        Ok(GrownCracks { study: self.clone(), question: question.clone(), cracks, row: asked.row })
    }
}

impl Asked {
    fn specimen<'p>(&self, study: &'p Study, plan: &'p RowPlan, question: &GrowthQuestion, index: u64) -> Specimen<'p> {
        let key = Key::from_seed(question.seed).named(&question.hot_spot).child(index);
        Specimen::new(study, plan, self, question, key)
    }
}

impl GrownCracks {
    /// Years for which a crack is followed.
    pub const LONGEST_YEARS: f64 = 1000.0;

    /// Id of the row whose duty and surface the cracks meet.
    pub fn row(&self) -> &str {
        &self.study.rows[self.row].id
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

    /// A quantile of some number of the cracks that have it, with an interval from order statistics that holds for any
    /// distribution (H. A. David, "Order Statistics", section 2.5, from memory).
    pub fn quantile(&self, probability: f64, of: impl Fn(&GrownCrack) -> f64) -> Estimate {
        let mut numbers: Vec<f64> = self.cracks.iter().map(of).filter(|number| !number.is_nan()).collect();
        numbers.sort_by(f64::total_cmp);
        let count = numbers.len();
        let at = |rank: f64| {
            let rank = (rank.max(0.0) as usize).min(count.saturating_sub(1));
            numbers.get(rank).copied().unwrap_or(f64::NAN)
        };
        // The number below the quantile is binomial; its normal quantiles, outwards by one rank.
        let mean = count as f64 * probability;
        let reach = crate::math::normal_quantile(0.5 + 0.5 * LEVEL) * (mean * (1.0 - probability)).sqrt() + 1.0;
        Estimate {
            value: at((mean - 1e-9).ceil() - 1.0),
            standard_error: f64::NAN,
            low: at((mean - reach).floor()),
            high: at((mean + reach).ceil()),
            events: f64::NAN,
        }
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
    /// intervals in years and a crack becomes detectable at any moment between two.
    ///
    /// A window of w years holds floor(w / interval) looks, or one more with a chance of the remainder.
    pub fn p_looks(&self, at_least: u32, interval_years: f64) -> Estimate {
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
        let plan = RowPlan::new(&self.study, &self.study.rows[asked.row])?;
        let specimens = (specimens as u64).min(self.question.cracks);
        let place = |index| asked.specimen(&self.study, &plan, &self.question, index).place(moments);
        Ok((0..specimens).map(place).collect())
    }

    /// The first cracks' ways, at so many moments each; every crack that is lost has its last moment there.
    ///
    /// # Errors
    /// As [`Study::grow`].
    pub fn ways(&self, cracks: usize, moments: usize) -> Result<Vec<GrownWay>> {
        let asked = self.question.look_up(&self.study)?;
        let plan = RowPlan::new(&self.study, &self.study.rows[asked.row])?;
        let cracks = (cracks as u64).min(self.question.cracks);
        Ok((0..cracks).map(|index| asked.specimen(&self.study, &plan, &self.question, index).way(moments)).collect())
    }
}
