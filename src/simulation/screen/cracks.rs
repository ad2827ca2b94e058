//! What becomes of cracks that begin at given moments: lost in which cell, called first at which line.
//!
//! Where a crack is at each look follows from the starts that it takes to the loss of its blade, whatever makes it fast or
//! slow: so the integral runs over those. Rates that rows and blades share only set how likely each number of starts is.

use super::grid::{Birth, Grid};
use super::level::Level;
use super::nodes::{self, Node};
use super::sight::{Kept, Sight, ln_depth};
use crate::distribution::Distribution;
use crate::math::{exp, normal_density};
use crate::model::growth::{Course, CrackEnd, GrowthPath, Limit};
use crate::simulation::nature::HotSpotPlan;
use rayon::prelude::*;

/// A stress factor of blades and a growth factor of a row, in logarithms, as a hot spot meets them.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surroundings {
    /// Logarithm of the blade's factor on stress.
    pub stress: f64,
    /// Logarithm of the factor on the rate of growth.
    pub growth: f64,
}

/// Cracks that grow alike, but for how fast.
#[derive(Debug)]
struct Class {
    course: Course,
    /// Advance to the loss.
    advance: f64,
    /// Share of all cracks, for each of the surroundings.
    shares: Vec<f64>,
    /// Whether the growth curve holds for it.
    holds: bool,
}

/// Chances of what becomes of cracks, for each of the surroundings and moments of beginning.
#[derive(Debug)]
pub(super) struct Fates {
    cells: usize,
    births: usize,
    /// Lost in each cell.
    lost: Vec<f64>,
    /// First called at the line behind each cell.
    called: Vec<f64>,
    /// Largest share of cracks for which the growth curve does not hold.
    pub beyond_curve: f64,
}

impl Fates {
    pub fn lost(&self, surroundings: usize, birth: usize) -> &[f64] {
        &self.lost[(surroundings * self.births + birth) * self.cells..][..self.cells]
    }

    pub fn called(&self, surroundings: usize, birth: usize) -> &[f64] {
        &self.called[(surroundings * self.births + birth) * self.cells..][..self.cells]
    }
}

/// Cracks of one hot spot on a growth curve.
pub(super) struct Cracks<'a> {
    pub spot: &'a HotSpotPlan,
    pub curve: &'a GrowthPath,
    pub surroundings: &'a [Surroundings],
    pub grid: &'a Grid,
    pub level: &'a Level,
    /// Which looks see the hot spot, at each line.
    pub looks: &'a [Vec<usize>],
    pub sights: &'a [Sight],
    /// What may persist in a crack, with its weight.
    pub kept: &'a [(Kept, f64)],
}

/// What is used over and over while fates are worked out.
struct Room {
    /// Of the looks of a crack, in order: line, ln size over q50, ln depth, and technique.
    looks: Vec<(usize, f64, f64, usize)>,
    /// Chance that it is missed up to each of these looks.
    missed: Vec<f64>,
    /// Of one beginning: for each cell and line, chances by surroundings.
    lost: Vec<f64>,
    called: Vec<f64>,
    weights: Vec<f64>,
    /// For each technique and state that persists, what hides a crack.
    hidden: Vec<Vec<f64>>,
}

/// Normal numbers beyond this hardly happen, one in 10 million.
const FURTHEST: f64 = 5.5;
/// Weights below this do not matter, for losses of 1e-12 either.
const LIGHTEST: f64 = 1e-23;

impl Cracks<'_> {
    pub fn fates(&self) -> Fates {
        let (cells, births, all) = (self.grid.cells(), self.grid.births.len(), self.surroundings.len());
        let classes = self.classes();
        let mut fates = Fates {
            cells,
            births,
            lost: vec![0.0; cells * births * all],
            called: vec![0.0; cells * births * all],
            beyond_curve: (0..all)
                .map(|at| classes.iter().filter(|class| !class.holds).map(|class| class.shares[at]).sum())
                .fold(0.0, f64::max),
        };
        let hidden = |sight: &Sight| self.kept.iter().map(|(kept, _)| sight.hidden(kept)).collect();
        let room = || Room {
            looks: Vec::new(),
            missed: Vec::new(),
            lost: vec![0.0; cells * all],
            called: vec![0.0; cells * all],
            weights: vec![0.0; all],
            hidden: self.sights.iter().map(hidden).collect(),
        };
        let of_birth = |room: &mut Room, birth: &Birth| {
            room.lost.fill(0.0);
            room.called.fill(0.0);
            classes.iter().for_each(|class| self.live(class, birth, room));
            (room.lost.clone(), room.called.clone())
        };
        // Each beginning is by itself, so that threads change no number.
        let by_birth: Vec<(Vec<f64>, Vec<f64>)> = self.grid.births.par_iter().map_init(room, of_birth).collect();
        for (index, (lost, called)) in by_birth.iter().enumerate() {
            for at in 0..all {
                let place = (at * births + index) * cells;
                for cell in 0..cells {
                    fates.lost[place + cell] = lost[cell * all + at];
                    fates.called[place + cell] = called[cell * all + at];
                }
            }
        }
        fates
    }

    /// All that may become of the cracks of a class that begin at a moment.
    fn live(&self, class: &Class, birth: &Birth, room: &mut Room) {
        let (grid, all) = (self.grid, self.surroundings.len());
        if class.advance <= 0.0 {
            let lost = &mut room.lost[birth.cell * all..][..all];
            lost.iter_mut().zip(&class.shares).for_each(|(lost, share)| *lost += share);
            return;
        }
        let nodes = &self.level.lives;
        for cell in birth.cell..grid.cells() {
            let from = if cell == birth.cell { 0.0 } else { grid.starts[cell] - birth.starts };
            let width = grid.starts[cell + 1] - birth.starts - from;
            if width > 0.0 {
                for (x, weight) in nodes {
                    let starts = from + x * width;
                    // The rate goes with one over the starts.
                    self.follow(class, birth, starts, weight * width / starts, Some(cell), room);
                }
            }
        }
        self.outlast(class, birth, room);
    }

    /// The cracks that are not lost before the end.
    fn outlast(&self, class: &Class, birth: &Birth, room: &mut Room) {
        const PANEL: f64 = 1.5;
        // They matter for what looks find of them.
        if self.looks[birth.cell + 1..].iter().all(Vec::is_empty) {
            return;
        }
        let (median, sigma) = (self.spot.rate.ln(), self.spot.crack_sigma);
        let growths = self.surroundings.iter().map(|surroundings| surroundings.growth);
        let [slowest, fastest] =
            growths.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], growth| [low.min(growth), high.max(growth)]);
        let starts = self.grid.starts[self.grid.cells()] - birth.starts;
        let at_end = if starts > 0.0 { (class.advance / starts).ln() } else { f64::INFINITY };
        let high = at_end.min(median + fastest + FURTHEST * sigma);
        let low = median + slowest - FURTHEST * sigma;
        if high <= low {
            return;
        }
        let panels = ((high - low) / (PANEL * sigma)).ceil();
        let width = (high - low) / panels;
        for panel in 0..panels as u32 {
            for (x, weight) in &self.level.tail {
                let ln_rate = low + (f64::from(panel) + x) * width;
                self.follow(class, birth, class.advance / exp(ln_rate), weight * width, None, room);
            }
        }
    }

    /// The cracks of a class that take so many starts to the loss of their blade, which stand for a stretch of rates;
    /// their blade is lost in a cell, if before the end.
    fn follow(&self, class: &Class, birth: &Birth, starts: f64, stretch: f64, lost_in: Option<usize>, room: &mut Room) {
        let (median, sigma) = (self.spot.rate.ln(), self.spot.crack_sigma);
        let all = self.surroundings.len();
        let ln_rate = (class.advance / starts).ln();
        let mut heaviest: f64 = 0.0;
        for ((weight, share), surroundings) in room.weights.iter_mut().zip(&class.shares).zip(self.surroundings) {
            let z = (ln_rate - median - surroundings.growth) / sigma;
            *weight = share * stretch / sigma * normal_density(z);
            heaviest = heaviest.max(*weight);
        }
        if heaviest < LIGHTEST {
            return;
        }
        let last = lost_in.unwrap_or(self.grid.cells());
        self.see(class, birth, starts, last, LIGHTEST / heaviest, room);
        let mut before = 1.0;
        for (look, missed) in room.looks.iter().zip(&room.missed) {
            let called = &mut room.called[(look.0 - 1) * all..][..all];
            called.iter_mut().zip(&room.weights).for_each(|(called, weight)| *called += weight * (before - missed));
            before = *missed;
        }
        if let Some(cell) = lost_in {
            let lost = &mut room.lost[cell * all..][..all];
            lost.iter_mut().zip(&room.weights).for_each(|(lost, weight)| *lost += weight * before);
        }
    }

    /// The chance that a crack is missed up to each look before or at a line, as long as it matters.
    fn see(&self, class: &Class, birth: &Birth, starts: f64, last: usize, least: f64, room: &mut Room) {
        room.looks.clear();
        for line in birth.cell + 1..=last {
            if self.looks[line].is_empty() {
                continue;
            }
            let passed = (self.grid.starts[line] - birth.starts) / starts;
            let (y, ln_ratio) = self.curve.size_at(class.course, class.advance * passed.min(1.0));
            let ln_depth = ln_depth(y, self.spot.depth_power);
            for &technique in &self.looks[line] {
                let ln_size = self.sights[technique].ln_over_q50(ln_depth, ln_ratio);
                room.looks.push((line, ln_size, ln_depth, technique));
            }
        }
        room.missed.clear();
        room.missed.resize(room.looks.len(), 0.0);
        for (state, (kept, weight)) in self.kept.iter().enumerate() {
            let mut chance = *weight;
            for (missed, (_, ln_size, ln_depth, technique)) in room.missed.iter_mut().zip(&room.looks) {
                let hidden = room.hidden[*technique][state];
                chance *= self.sights[*technique].miss(*ln_size, *ln_depth, hidden, kept.mouth_is_closed);
                *missed += chance;
                if chance < least {
                    break;
                }
            }
        }
    }

    fn classes(&self) -> Vec<Class> {
        let (spot, level) = (self.spot, self.level);
        let depths: Vec<Node> = match spot.initial_depth {
            Distribution::Lognormal { median, sigma_log } => {
                let far = level.depths.iter();
                far.map(|(x, weight)| (median * exp(sigma_log * x), *weight)).collect()
            }
            ref other => nodes::of(other, level.depths.len()),
        };
        let aspects = match self.curve {
            GrowthPath::FixedFactor(_) => vec![(1.0, 1.0)],
            GrowthPath::SurfaceCrack(_) => nodes::of(&spot.initial_aspect, level.aspects),
        };
        let ends = self.ends();
        let mut classes = Vec::new();
        for (depth_mm, of_depth) in &depths {
            for (aspect, of_aspect) in &aspects {
                let course = self.curve.course(*depth_mm, *aspect);
                for (end, shares) in &ends {
                    let advance = self.curve.advance_to(course, *end);
                    classes.push(Class {
                        course,
                        advance,
                        shares: shares.iter().map(|share| share * of_depth * of_aspect).collect(),
                        holds: self.curve.begins(*depth_mm, *aspect) && self.curve.covers(course, advance),
                    });
                }
            }
        }
        classes
    }

    /// Where cracks end, with the share of those that end there in each of the surroundings.
    fn ends(&self) -> Vec<(CrackEnd, Vec<f64>)> {
        let all = vec![1.0; self.surroundings.len()];
        match &self.spot.limit {
            Limit::Depth { depth_mm } => vec![(CrackEnd::Depth(*depth_mm), all)],
            Limit::SectionFraction { fraction } => vec![(CrackEnd::SectionFraction(*fraction), all)],
            Limit::Toughness { toughness_mpa_sqrt_m: toughness } => self.toughness_ends(toughness),
            // Cracks with a diagram are not on a curve.
            Limit::Diagram(_) => Vec::new(),
        }
    }

    /// The blade's stress takes from the toughness. Where that is lognormal, blades of all stresses can go by the same few
    /// ends.
    fn toughness_ends(&self, toughness: &Distribution) -> Vec<(CrackEnd, Vec<f64>)> {
        let stresses = || self.surroundings.iter().map(|surroundings| surroundings.stress);
        if let Distribution::Lognormal { median, sigma_log } = *toughness {
            let [low, high] = stresses().fold([0.0_f64; 2], |[low, high], stress| [low.min(stress), high.max(stress)]);
            let step = self.level.toughness_step * sigma_log;
            let (below, above) = (-high - 6.0 * sigma_log, -low + 6.0 * sigma_log);
            let end = |number: u32| {
                let ln_factor = below + f64::from(number) * step;
                let share = |stress: f64| self.level.toughness_step * normal_density((ln_factor + stress) / sigma_log);
                (CrackEnd::Intensity(median * exp(ln_factor)), stresses().map(share).collect())
            };
            return (0..=((above - below) / step).ceil() as u32).map(end).collect();
        }
        let mut known: Vec<f64> = stresses().collect();
        known.sort_by(f64::total_cmp);
        known.dedup();
        let end = |stress: f64| {
            let shares = stresses().map(|other| if other == stress { 1.0 } else { 0.0 });
            (CrackEnd::Intensity(toughness.at_normal(0.0) * exp(-stress)), shares.collect())
        };
        known.into_iter().map(end).collect()
    }
}
