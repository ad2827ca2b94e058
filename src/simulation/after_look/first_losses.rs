//! When a row first loses a blade after a look, if nobody looks again: lives with planted cracks, and plain ones.
//!
//! The first loss of the row comes before any blade is replaced after the look: so it is known from the cracks that the look
//! leaves and those that begin later in the same blades, without living on. In each life the outcome of the look is not drawn
//! but weighed, the planted crack's own miss among it.

use super::blades::{Bundle, Looked, RowNow};
use super::{Asked, Batches, RowAfterLook, TOGETHER, Watch, batches, groups, key_of};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::random::Key;
use crate::simulation::estimate::{Estimate, with_error};
use crate::simulation::given::over_repeats;
use crate::simulation::life::{Lives, UnitLives};
use crate::simulation::parallel::Run;
use crate::simulation::plan::{GroupPlan, RowPlan};
use crate::simulation::policy::Groups;
use crate::simulation::rare::{Company, PlantedLives, tune_all};
use crate::simulation::row_batch::RowBatch;
use crate::statistics::interval;
use crate::statistics::tail_index::{largest_reliable_index, tail_index, tail_length};
use rayon::prelude::*;
use std::ops::Range;

/// First losses of a row.
#[derive(Debug, Clone)]
pub(super) struct FirstLosses {
    /// Chance of the outcome of the look.
    pub p_outcome: Estimate,
    /// By parts of the draws of what records say, if lives go on from these: what they differ by holds the error of the draws.
    parts: Vec<Part>,
    /// Relative error of the draws where they make one part.
    error_of_draws: f64,
    /// Whether planted lives tell; see [`FirstLosses::choose`].
    pub are_planted: bool,
}

/// What the lives of one part tell.
#[derive(Debug, Clone)]
struct Part {
    /// Of the chance of the outcome of the look: number of lives, sum and sum of squares.
    lives: f64,
    chance: f64,
    square: f64,
    /// Plain lives with a first loss: chance of the outcome, and of the outcome with a first loss at some moments.
    plain: Vec<(f64, Vec<(f64, f64)>)>,
    /// Share of the attempts to come to the start of the study that did.
    through: f64,
    /// Planted lives, and those of them that are lost first: the year of it, and the weight.
    planted_lives: f64,
    planted: Vec<(f64, f64)>,
}

/// Of which cracks losses are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cracks {
    /// Those that the look leaves, and those that begin later.
    All,
    /// Those that it leaves.
    Left,
}

/// Where numbers stand in the sums of a batch.
const CHANCE: usize = 0;
const SQUARE: usize = 1;
const LIVES: usize = 2;
const ATTEMPTS: usize = 3;

/// What batches of plain lives come to: their sums, and the lives with a first loss.
type Plain = (Vec<f64>, Vec<(f64, Vec<(f64, f64)>)>);

impl FirstLosses {
    /// Number of equal lives that would be as sure of the outcome.
    pub fn equal_lives(&self) -> f64 {
        let sum = |of: fn(&Part) -> f64| self.parts.iter().map(of).sum::<f64>();
        sum(|part| part.chance).powi(2) / sum(|part| part.square)
    }

    /// Share of the attempts to come to the start of the study that did.
    #[cfg(test)]
    pub fn through(&self) -> f64 {
        self.parts[0].through
    }

    /// Lives so many plain lives and lives with a planted crack: of all cracks, or of those that the look leaves.
    pub fn of(
        study: &Study,
        asked: Asked,
        question: &RowAfterLook,
        planted_lives: u64,
        horizon_years: f64,
        of: Cracks,
        watch: &Watch,
    ) -> Result<Self> {
        let studies = study.in_parts(&study.at_the_look(asked, horizon_years));
        let techniques: Vec<usize> = asked.technique.into_iter().collect();
        let plan = |study: &Study| RowPlan::with_techniques(study, &study.rows[0], &techniques);
        let plans: Vec<RowPlan> = studies.iter().map(plan).collect::<Result<_>>()?;
        let lived = Lived { found: question.found as usize, techniques: &techniques, seed: question.seed, of, watch };
        let numbers = batches(question.lives, studies.len());
        let plain =
            |(part, lives): &(usize, Range<u64>)| lived.plain(&studies[*part], &plans[*part], *part, lives.clone());
        let plain: Vec<Plain> = numbers.par_iter().map(plain).collect::<Result<_>>()?;
        let sums = Batches {
            parts: numbers.iter().map(|(part, _)| *part).collect(),
            sums: plain.iter().map(|(sums, _)| sums.clone()).collect(),
        };
        let p_outcome = sums.chance(CHANCE, LIVES, sums.total(LIVES));
        let mut parts: Vec<Part> = Vec::new();
        for part in 0..studies.len() {
            let own = || numbers.iter().zip(&plain).filter(|((other, _), _)| *other == part).map(|(_, plain)| plain);
            let total = |index: usize| own().map(|(sums, _)| sums[index]).sum::<f64>();
            parts.push(Part {
                lives: total(LIVES),
                chance: total(CHANCE),
                square: total(SQUARE),
                plain: own().flat_map(|(_, lost)| lost.iter().cloned()).collect(),
                through: total(LIVES) / total(ATTEMPTS),
                planted_lives: 0.0,
                planted: Vec::new(),
            });
        }
        let error = study.posterior.as_ref().and_then(|posterior| posterior.relative_error);
        let error_of_draws = if parts.len() == 1 { error.unwrap_or(0.0) } else { 0.0 };
        let mut losses = FirstLosses { p_outcome, parts, error_of_draws, are_planted: false };
        let each = planted_lives.div_ceil(studies.len() as u64);
        if each > 0 && losses.equal_lives() >= super::FEWEST_LIVES {
            for (number, (part, study)) in losses.parts.iter_mut().zip(&studies).enumerate() {
                (part.planted_lives, part.planted) = (each as f64, lived.planted(study, &plans[number], number, each)?);
            }
        }
        Ok(losses)
    }

    /// Takes planted lives where these are surer of a loss up to a year.
    pub fn choose(&mut self, year: f64) {
        let share = |are_planted: bool| {
            let chance = self.told(are_planted, f64::NEG_INFINITY, year);
            if chance.value > 0.0 { chance.standard_error / chance.value } else { f64::INFINITY }
        };
        self.are_planted = share(true) < share(false);
    }

    /// What is to be said where few lives carry the chance of a loss up to a year.
    pub fn warning(&self, year: f64) -> Option<String> {
        /// Events of equal weight below which weights may have a tail that these lives do not show.
        const FEW: f64 = 40.0;
        let chance = self.until(year);
        let is_heavy = self.are_planted && self.parts.iter().any(|part| part.has_heavy_tail(year));
        (chance.value > 0.0 && (chance.events < FEW || is_heavy)).then(|| {
            format!(
                "Few lives carry what is told of a loss until {year:.2}, as many as {:.0} of equal weight: the chance may be \
                 higher than its interval says. More lives with a planted crack would tell.",
                chance.events
            )
        })
    }

    /// Chance that the row first loses a blade after a year and not after another, given the outcome.
    pub fn within(&self, from: f64, to: f64) -> Estimate {
        let chance = self.told(self.are_planted, from, to);
        if chance.value > 0.0 {
            return with_error(chance, self.error_of_draws, super::LEVEL);
        }
        // Planted lives go where losses are; that none is seen is bounded by plain ones.
        let (low, high) = interval::exact_proportion(0.0, self.equal_lives(), super::LEVEL);
        Estimate { value: 0.0, standard_error: 0.0, low, high, events: 0.0 }
    }

    /// The same up to a year.
    pub fn until(&self, year: f64) -> Estimate {
        self.within(f64::NEG_INFINITY, year)
    }

    fn told(&self, are_planted: bool, from: f64, to: f64) -> Estimate {
        let parts: Vec<Estimate> = self.parts.iter().map(|part| part.told(are_planted, from, to)).collect();
        if parts.len() == 1 { parts[0] } else { over_repeats(&parts) }
    }
}

impl Part {
    fn told(&self, are_planted: bool, from: f64, to: f64) -> Estimate {
        let (value, variance, largest) = if are_planted { self.planted(from, to) } else { self.plain(from, to) };
        if !(value > 0.0) {
            let equal_lives = self.chance * self.chance / self.square;
            let (low, high) = interval::exact_proportion(0.0, equal_lives, super::LEVEL);
            return Estimate { value: 0.0, standard_error: 0.0, low, high, events: 0.0 };
        }
        let (low, high) = interval::weighted_count(value, variance, largest, super::LEVEL);
        let [value, low, high] = [value, low, high].map(|number| number.min(1.0));
        Estimate { value, standard_error: variance.sqrt(), low, high, events: value * value / variance }
    }

    /// Whether the weights of planted cracks that are lost up to a year have a tail too heavy for their mean to be relied on.
    fn has_heavy_tail(&self, year: f64) -> bool {
        let own = self.planted.iter().filter(|(lost, _)| *lost <= year).map(|(_, weight)| *weight);
        let mut weights: Vec<f64> = own.collect();
        weights.sort_by(f64::total_cmp);
        let length = tail_length(weights.len()).min(weights.len().saturating_sub(1));
        let (body, tail) = weights.split_at(weights.len() - length);
        let Some(below) = body.last() else { return false };
        let excesses: Vec<f64> = tail.iter().map(|weight| weight - below).collect();
        tail_index(&excesses) > largest_reliable_index(weights.len() as f64)
    }

    /// Value, variance and the most that one life adds, of plain lives.
    fn plain(&self, from: f64, to: f64) -> (f64, f64, f64) {
        let (mut sum, mut square, mut product, mut most) = (0.0, 0.0, 0.0, 0.0_f64);
        for (chance, losses) in &self.plain {
            let own: f64 = losses.iter().filter(|(year, _)| *year > from && *year <= to).map(|(_, part)| part).sum();
            sum += own;
            square += own * own;
            product += own * chance;
            most = most.max(own);
        }
        let value = sum / self.chance;
        let scatter = square - 2.0 * value * product + value * value * self.square;
        (value, scatter.max(0.0) / (self.chance * self.chance), most / self.chance)
    }

    /// The same of planted lives.
    fn planted(&self, from: f64, to: f64) -> (f64, f64, f64) {
        let own = || self.planted.iter().filter(|(year, _)| *year > from && *year <= to).map(|(_, weight)| *weight);
        let (sum, square) = (own().sum::<f64>(), own().map(|weight| weight * weight).sum::<f64>());
        let lives = self.planted_lives;
        let outcome = self.chance / self.lives;
        let scale = 1.0 / (lives * self.through * outcome);
        let value = sum * scale;
        let scatter = (square - sum * sum / lives).max(0.0) * scale * scale;
        // Both chances are known from plain lives.
        let of_outcome = ((self.square / self.lives - outcome * outcome).max(0.0) / self.lives) / (outcome * outcome);
        let of_through = (1.0 - self.through) / self.lives;
        (value, scatter + value * value * (of_outcome + of_through), own().fold(0.0, f64::max) * scale)
    }
}

/// Lives that are held against the outcome of a look.
struct Lived<'a> {
    found: usize,
    techniques: &'a [usize],
    seed: u64,
    of: Cracks,
    watch: &'a Watch<'a>,
}

impl Lived<'_> {
    fn row(&self, batch: &RowBatch, life: usize, groups: Groups) -> RowNow {
        let mut row = RowNow::of(batch, life, groups, self.techniques);
        if self.of == Cracks::Left {
            row.forget_later();
        }
        row
    }

    fn looked(&self, row: &RowNow, plan: &RowPlan) -> Looked {
        match self.techniques.first() {
            Some(&technique) => {
                let false_call = -(-plan.inspection.techniques[technique].false_call_hazard).exp_m1();
                Looked::by(row, 0, false_call, self.found)
            }
            None => Looked::by_nobody(row),
        }
    }

    /// Plain lives of a batch.
    fn plain(&self, study: &Study, plan: &RowPlan, part: usize, lives: Range<u64>) -> Result<Plain> {
        let mut engine = Lives::new(plan, study);
        let (key, groups) = (key_of(self.seed, plan, part), groups(study));
        let (mut sums, mut lost) = (vec![0.0; 4], Vec::new());
        for first in lives.clone().step_by(TOGETHER as usize) {
            let numbers = first..(first + TOGETHER).min(lives.end);
            self.watch.add(numbers.end - numbers.start)?;
            let keys: Vec<Key> = numbers.map(|number| key.child(number)).collect();
            let count = keys.len();
            let attempts = engine.begin(keys.into_iter());
            sums[ATTEMPTS] += attempts.ok_or_else(|| Error::never_comes_through(&study.rows[0].id))? as f64;
            for life in 0..count {
                let row = self.row(engine.batch(), life, groups);
                let looked = self.looked(&row, plan);
                let mut order: Vec<usize> = (0..row.bundles.len()).collect();
                order.sort_by(|&one, &other| row.bundles[one].lost_year().total_cmp(&row.bundles[other].lost_year()));
                let first_go = looked.first_go(&order);
                sums[LIVES] += 1.0;
                sums[CHANCE] += first_go[0];
                sums[SQUARE] += first_go[0] * first_go[0];
                let years = order.iter().map(|&bundle| row.bundles[bundle].lost_year());
                let own: Vec<(f64, f64)> = years
                    .zip(first_go.windows(2))
                    .map(|(year, chances)| (year, chances[0] - chances[1]))
                    .filter(|(year, part)| *year <= plan.nature.end_year && *part > 0.0)
                    .collect();
                if !own.is_empty() {
                    lost.push((first_go[0], own));
                }
            }
        }
        Ok((sums, lost))
    }

    /// Lives with a planted crack in which that is the first to be lost: the year, and the weight.
    fn planted(&self, study: &Study, plan: &RowPlan, part: usize, lives: u64) -> Result<Vec<(f64, f64)>> {
        let rows = std::slice::from_ref(plan);
        let all = GroupPlan::all(study, rows);
        let run = Run { trials: lives, planted_lives: lives, seed: self.seed, ..Run::default() };
        let is_stopped = || self.watch.is_stopped();
        let interrupted = || self.watch.interrupted(0);
        let tuned = tune_all(study, rows, &all, &run, &is_stopped)
            .map_err(|error| if is_stopped() { interrupted() } else { error })?;
        let groups = groups(study);
        let of_batch = |(_, numbers): &(usize, Range<u64>)| {
            let key = |_: usize| key_of(self.seed, plan, part).named("planted cracks");
            let planted = PlantedLives { study, rows, group: &all[0], place: 0, key: &key, company: Company::All };
            let mut lost = Vec::new();
            let mut engine = UnitLives::new(study, rows, &all[0]);
            self.watch.add(numbers.end - numbers.start)?;
            let told = |batch: &RowBatch, life: usize| {
                let row = self.row(batch, life, groups);
                let year = |bundle: &Bundle| {
                    let own = bundle.cracks.iter().filter(|crack| crack.is_planted);
                    own.map(|crack| crack.lost_year).reduce(f64::min)
                };
                let planted = row.bundles.iter().position(|bundle| year(bundle).is_some());
                let Some((bundle, year)) = planted.and_then(|at| Some((at, year(&row.bundles[at])?))) else { return };
                // Another crack of its own blades that is lost before it stays with it.
                if year > plan.nature.end_year || row.bundles[bundle].lost_year() < year {
                    return;
                }
                let looked = self.looked(&row, plan);
                let chance = looked.only_stays(bundle, |other| row.bundles[other].lost_year() < year);
                let weight = batch.nature.planted[life].total_weight() * chance;
                if weight > 0.0 {
                    lost.push((year, weight));
                }
            };
            if planted.stand(&mut engine, &tuned[0], numbers.clone(), &is_stopped, told)? {
                Ok(lost)
            } else {
                Err(interrupted())
            }
        };
        let lost: Vec<Vec<(f64, f64)>> = batches(lives, 1).par_iter().map(of_batch).collect::<Result<_>>()?;
        Ok(lost.concat())
    }
}
