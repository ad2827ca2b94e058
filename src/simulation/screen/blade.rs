//! What becomes of a blade that is fitted at some moment, by its first event: a loss, or a call that has it replaced.
//!
//! Given what row and blade share, its origins are independent: it has no event as long as none of them has. A clean
//! blade may be called falsely as well, until its first crack.

use super::cracks::Fates;
use super::grid::Grid;
use crate::math::{exp, normal_density};
use crate::model::initiation::InitiationShape;
use crate::simulation::nature::HotSpotPlan;

/// Chances of the first event of a blade.
#[derive(Debug, Clone)]
pub(super) struct Events {
    /// A loss in each cell.
    pub lost: Vec<f64>,
    /// A replacement at the line behind each cell.
    pub replaced: Vec<f64>,
    /// Of these, on a false call.
    pub falsely: Vec<f64>,
}

/// The origins of one hot spot of a blade.
pub(super) struct Origins<'a> {
    pub spot: &'a HotSpotPlan,
    pub fates: &'a Fates,
}

/// Hazard of one origin from the line at which its blade was fitted, for factors 1.
struct Hazard {
    /// Cumulative, at each line.
    at_lines: Vec<f64>,
    /// Cumulative, at each birth, and what each birth adds to it.
    at_births: Vec<[f64; 2]>,
}

/// What becomes of an origin that has not cracked by a line.
#[derive(Debug, Clone)]
struct Fate {
    /// Chance that it has not.
    uncracked: f64,
    lost: Vec<f64>,
    called: Vec<f64>,
}

/// A blade fitted at a line.
pub(super) struct Fitted<'a> {
    grid: &'a Grid,
    origins: &'a [Origins<'a>],
    line: usize,
    hazards: Vec<Hazard>,
}

impl<'a> Fitted<'a> {
    pub fn new(grid: &'a Grid, origins: &'a [Origins<'a>], line: usize) -> Self {
        let hazards = origins.iter().map(|origins| Hazard::new(grid, origins.spot, line)).collect();
        Fitted { grid, origins, line, hazards }
    }

    /// Its first event, given the row's factor on hazard, the number of what surrounds it, and the logarithm of its factor
    /// on stress; `false_calls` are the chances that a clean blade is called at each line.
    pub fn events(&self, row_factor: f64, surroundings: usize, stress: f64, false_calls: &[f64]) -> Events {
        let cells = self.grid.cells();
        // A blade whose first crack begins behind a line has to come clean through the looks up to there.
        let looks = (self.line + 1..cells).filter(|line| false_calls[*line] > 0.0);
        let lines: Vec<usize> = std::iter::once(self.line).chain(looks).collect();
        let fates: Vec<Vec<Fate>> = (self.origins.iter().zip(&self.hazards))
            .map(|(origins, hazard)| {
                let factor = row_factor * exp(origins.spot.stress_exponent * stress);
                self.fates_from(origins, hazard, factor, surroundings, &lines)
            })
            .collect();
        let mut events = Events { lost: vec![0.0; cells], replaced: vec![0.0; cells], falsely: vec![0.0; cells] };
        let mut uncalled = 1.0;
        for (index, &line) in lines.iter().enumerate() {
            let mut share = 1.0;
            if index > 0 {
                share = -false_calls[line] * uncalled;
                uncalled += share;
                let spots = self.origins.iter().zip(&fates);
                let clean: f64 =
                    spots.map(|(origins, fates)| fates[index].uncracked.powf(origins.spot.origins)).product();
                events.falsely[line - 1] -= share * clean;
                events.replaced[line - 1] -= share * clean;
            }
            self.add_first_events(&fates, index, share, &mut events);
        }
        events
    }

    /// Fates of an origin that cracks behind each of some lines.
    fn fates_from(
        &self,
        origins: &Origins,
        hazard: &Hazard,
        factor: f64,
        surroundings: usize,
        lines: &[usize],
    ) -> Vec<Fate> {
        let cells = self.grid.cells();
        let uncracked = |line: usize| exp(-factor * hazard.at_lines[line]);
        let mut sums = Fate { uncracked: 1.0, lost: vec![0.0; cells], called: vec![0.0; cells] };
        let mut fates = vec![sums.clone(); lines.len()];
        let mut open = lines.len();
        let mut end = self.grid.births.len();
        for cell in (self.line..cells).rev() {
            let begin = self.grid.births[..end].partition_point(|birth| birth.cell < cell);
            self.crack(hazard, factor, cell, begin..end, |birth, chance| {
                let own = sums.lost[cell..].iter_mut().zip(&origins.fates.lost(surroundings, birth)[cell..]);
                own.for_each(|(sum, lost)| *sum += chance * lost);
                let own = sums.called[cell..].iter_mut().zip(&origins.fates.called(surroundings, birth)[cell..]);
                own.for_each(|(sum, called)| *sum += chance * called);
            });
            end = begin;
            if open > 0 && lines[open - 1] == cell {
                open -= 1;
                sums.uncracked = uncracked(cell);
                fates[open].clone_from(&sums);
            }
        }
        fates
    }

    /// The chance that an origin cracks at each birth of a cell: what the births stand for is put right by the chance for
    /// the cell, which is exact.
    fn crack(
        &self,
        hazard: &Hazard,
        factor: f64,
        cell: usize,
        births: std::ops::Range<usize>,
        mut crack: impl FnMut(usize, f64),
    ) {
        let cracked = |from: f64, to: f64| exp(-factor * from) * -(-factor * (to - from)).exp_m1();
        let (from, to) = (hazard.at_lines[cell], hazard.at_lines[cell + 1]);
        let exact = cracked(from, to);
        if exact <= 0.0 {
            return;
        }
        let chance = |birth: usize| {
            let [at, adds] = hazard.at_births[birth];
            factor * adds * exp(-factor * at)
        };
        let sum: f64 = births.clone().map(chance).sum();
        if (sum / exact - 1.0).abs() < 0.02 {
            births.for_each(|birth| crack(birth, chance(birth) * exact / sum));
            return;
        }
        // The hazard of the cell is steeper than its births can tell: each stands for its own stretch of it.
        let at = |fraction: f64| from + fraction * (to - from);
        for birth in births {
            let [begin, end] = self.grid.births[birth].stretch.map(at);
            crack(birth, cracked(begin, end));
        }
    }

    /// Adds the first events of a blade whose origins have the given fates, times a share.
    fn add_first_events(&self, fates: &[Vec<Fate>], index: usize, share: f64, events: &mut Events) {
        let mut standing: f64 = share;
        let mut without: Vec<f64> = Vec::with_capacity(fates.len());
        for (origins, fates) in self.origins.iter().zip(fates) {
            without.push(fates[index].uncracked);
            standing *= fates[index].uncracked.powf(origins.spot.origins);
        }
        for cell in self.line..self.grid.cells() {
            let mut take = |of: fn(&Fate, usize) -> f64| {
                let mut exponent = 0.0;
                for ((origins, fates), without) in self.origins.iter().zip(fates).zip(&mut without) {
                    let event = of(&fates[index], cell).min(*without);
                    if event > 0.0 {
                        exponent += origins.spot.origins * ln_one_minus(event / *without);
                        *without -= event;
                    }
                }
                let any = standing * one_minus_exp(exponent);
                standing -= any;
                any
            };
            events.lost[cell] += take(|fate, cell| fate.lost[cell]);
            events.replaced[cell] += take(|fate, cell| fate.called[cell]);
        }
    }
}

impl Hazard {
    fn new(grid: &Grid, spot: &HotSpotPlan, line: usize) -> Self {
        let fitted = spot.clock.at(grid.years[line]);
        let reading = |year: f64| spot.clock.at(year) - fitted;
        let at_line = |&year: &f64| spot.shape.cumulative_hazard(reading(year));
        let births = grid.births.iter().map(|birth| {
            let own = reading(birth.year);
            if birth.cell < line || own <= 0.0 {
                return [0.0, 0.0];
            }
            // A clock goes evenly within a cell.
            let cell_years = grid.years[birth.cell + 1] - grid.years[birth.cell];
            let per_year =
                (spot.clock.at(grid.years[birth.cell + 1]) - spot.clock.at(grid.years[birth.cell])) / cell_years;
            [spot.shape.cumulative_hazard(own), rate(&spot.shape, own) * per_year * birth.years]
        });
        Hazard { at_lines: grid.years.iter().map(at_line).collect(), at_births: births.collect() }
    }
}

/// Hazard for each unit of the clock.
fn rate(shape: &InitiationShape, reading: f64) -> f64 {
    match *shape {
        InitiationShape::Weibull { shape, scale } => shape / scale * (reading / scale).powf(shape - 1.0),
        InitiationShape::Lognormal { median, sigma_log } => {
            let z = (reading / median).ln() / sigma_log;
            let survival = crate::math::normal_cdf(-z).max(f64::MIN_POSITIVE);
            normal_density(z) / (sigma_log * reading * survival)
        }
        InitiationShape::Exponential { mean } => 1.0 / mean,
    }
}

/// ln(1 - x); quick for the small chances that there are most of.
fn ln_one_minus(x: f64) -> f64 {
    if x < 1e-3 { -x * (1.0 + x * (0.5 + x * (1.0 / 3.0 + x * (0.25 + 0.2 * x)))) } else { (-x).ln_1p() }
}

/// 1 - exp(x), for x up to 0; likewise.
fn one_minus_exp(x: f64) -> f64 {
    if x > -1e-3 { -x * (1.0 + x * (0.5 + x * (1.0 / 6.0 + x * (1.0 / 24.0 + x / 120.0)))) } else { -x.exp_m1() }
}
