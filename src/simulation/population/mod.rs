//! The cracks of one life of a row: when they start, how they grow, what would see them.
//!
//! Work goes with the cracks that start: an origin that never cracks before the end costs nothing.
//! Numbers for outages stand in flat arrays, one place for each crack and outage that it lives to
//! see, so that logarithms and exponentials run over the whole row at once.

mod followed;
mod past;
mod place;
mod sight;
mod sow;

pub(super) use place::{Place, Track, Tracks};
pub(super) use sow::{own_toughness, tabled_loss};

use super::plan::RowPlan;
use super::record::BLOCK;
use super::tally::Notes;
use crate::math::exp;
use crate::model::growth::Course;
use crate::random::Key;
use std::cell::Cell;

/// What a draw of a row's life is for.
mod purpose {
    pub const ROW_FACTOR: u64 = 0;
    pub const ROW_GROWTH: u64 = 1;
    pub const FIRST_BLADES: u64 = 2;
    pub const BLADE: u64 = 3;
    pub const INSPECTION: u64 = 4;
    pub const FALSE_CALLS: u64 = 5;
    pub const COVERAGE: u64 = 6;
    pub const LOSS: u64 = 7;
}

/// Draws of a crack, by counter.
mod draw {
    pub const DEPTH: u64 = 0;
    pub const ASPECT: u64 = 1;
    pub const GROWTH: u64 = 2;
    pub const TOUGHNESS: u64 = 3;
    pub const CORROSION: u64 = 4;
    pub const POSITION: u64 = 5;
    /// Of a crack and a technique: first what the crack keeps, then calls and sizes by outage.
    pub const KEPT: u64 = 0;
    pub const CALL: u64 = 1;
    pub const SIZE: u64 = 1 << 32;
    /// Calls at looks before the study starts.
    pub const PAST_CALL: u64 = 2 << 32;
}

/// A slot beyond every event; slots are explained in `life`.
pub(crate) const NEVER: u32 = u32::MAX;

/// One crack.
#[derive(Debug, Clone)]
pub(crate) struct Crack {
    pub key: Key,
    pub blade: u32,
    /// The first outage that is not before its start.
    pub first: u32,
    /// The outage before which the blade is lost; their number if none.
    pub last: u32,
    class: u32,
    /// Which of the origins of its hot spot it began at.
    pub origin: u32,
    /// Its place in the flat arrays, for outage `first`.
    place: usize,
    /// Year of the loss; infinite beyond the end of the study.
    pub lost_year: f64,
    /// Year in which it was lost or became part of another crack; infinite beyond the end of the study.
    end_year: f64,
    born_year: f64,
    born_starts: f64,
    course: Course,
    rate: f64,
    /// Number of sizes worked out one by one, for this crack and those before it.
    sizes: u32,
}

impl Crack {
    /// Its place in the flat arrays at an outage that it lives to see.
    #[inline(always)]
    pub fn place(&self, outage: usize) -> usize {
        self.place + outage - self.first as usize
    }

    /// Its places in the flat arrays, for all outages that it lives to see.
    #[inline(always)]
    fn places(&self) -> std::ops::Range<usize> {
        self.place..self.place + (self.last - self.first) as usize
    }

    /// Slot of the loss it ends in, if nothing is done.
    #[inline(always)]
    pub fn loss_slot(&self) -> u32 {
        if self.lost_year < f64::INFINITY { 2 * self.last } else { NEVER }
    }

    /// Index of its hot spot.
    pub fn class(&self) -> usize {
        self.class as usize
    }

    /// Whether it is in the blade at an outage, unless removed earlier.
    #[inline(always)]
    pub fn is_present(&self, outage: usize) -> bool {
        self.first as usize <= outage && outage < self.last as usize
    }
}

/// Cracks and what all strategies of one life share.
#[derive(Debug)]
pub(crate) struct Population<'p> {
    row: &'p RowPlan,
    /// Key of this row in this trial.
    pub key: Key,
    pub cracks: Vec<Crack>,
    row_factor: f64,
    /// Median advance per start of each class in this row.
    class_rate: Vec<f64>,
    ln_depth: Vec<f64>,
    ln_length: Vec<f64>,
    /// Logarithm of the geometric mean of depth and length, where a technique goes by it.
    ln_mean: Vec<f64>,
    /// Surface lengths in mm, each [`BLOCK`] places further on than the others, and as many to spare.
    pub length_mm: Vec<f64>,
    /// Standard normal numbers that new cracks keep, one for each of the row's sources.
    kept: Vec<f64>,
    /// What each technique in use makes of each crack, cracks outermost.
    views: Vec<View>,
    /// Shift of ln q50 by inspection, for each technique and outage; not-a-number until asked for.
    effects: Vec<Vec<Cell<f64>>>,
    /// (outage, blade) of false calls by each technique, in order, were it used at every outage.
    pub false_calls: Vec<Vec<(u32, u32)>>,
    /// Sizes of cracks that are followed one by one, at past looks and at outages.
    sizes: Vec<followed::Size>,
    /// 1 where a crack's mouth is held closed, else 0; where a technique minds.
    closed: Vec<f64>,
    tracks: Tracks,
    /// What happened to followed cracks, over all lives so far.
    pub notes: Notes,
    bands: Vec<sow::Band>,
    seeds: Vec<Seed>,
    depth_draws: Vec<f64>,
    growth_draws: Vec<f64>,
}

/// A crack about to be worked out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seed {
    pub key: Key,
    pub blade: u32,
    pub class: u32,
    /// Number of the origin among those of its class in the blade.
    pub origin: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    pub born_year: f64,
}

/// What a technique makes of a crack, whatever the outage.
#[derive(Debug, Clone, Copy)]
struct View {
    /// ln q50 with all shifts but the inspection's.
    hidden: f64,
    /// Key of its calls.
    key: Key,
}

impl<'p> Population<'p> {
    pub fn new(row: &'p RowPlan) -> Self {
        Population {
            row,
            key: Key::from_seed(0),
            cracks: Vec::new(),
            row_factor: 1.0,
            class_rate: vec![0.0; row.classes.len()],
            ln_depth: Vec::new(),
            ln_length: Vec::new(),
            ln_mean: Vec::new(),
            length_mm: vec![0.0; 2 * BLOCK],
            kept: Vec::new(),
            views: Vec::new(),
            effects: row
                .techniques
                .iter()
                .map(|technique| if technique.inspection_sigma > 0.0 { row.outages.len() } else { 0 })
                .map(|outages| vec![Cell::new(f64::NAN); outages])
                .collect(),
            false_calls: vec![Vec::new(); row.techniques.len()],
            sizes: Vec::new(),
            closed: Vec::new(),
            tracks: Tracks::default(),
            notes: Notes::default(),
            bands: Vec::new(),
            seeds: Vec::new(),
            depth_draws: Vec::new(),
            growth_draws: Vec::new(),
        }
    }

    /// Draws the row as it stands at the start of the study. Returns whether it came that far
    /// without a loss; if not, it is to be drawn again with another key.
    pub fn begin(&mut self, key: Key) -> bool {
        let row = self.row;
        self.key = key;
        self.truncate(0);
        self.effects.iter().flatten().for_each(|effect| effect.set(f64::NAN));
        self.row_factor = match row.row_factor.fixed() {
            Some(factor) => factor,
            None => row.row_factor.quantile(key.uniform(purpose::ROW_FACTOR)),
        };
        for (rate, class) in self.class_rate.iter_mut().zip(&row.classes) {
            *rate = class.rate;
            if class.row_sigma > 0.0 {
                let scatter = key.child(purpose::ROW_GROWTH).child(class.growth_name).normal(0);
                *rate *= exp(class.row_sigma * scatter);
            }
        }
        for (index, cohort) in row.cohorts.iter().enumerate() {
            self.sow(cohort, key.child(purpose::FIRST_BLADES).child(index as u64), 0);
        }
        self.start_cracks();
        let came_through = self.live_the_past();
        for &technique in &row.used_techniques {
            self.draw_false_calls(technique);
        }
        self.see(0);
        came_through
    }

    /// Draws the row until it has come to the start of the study without a loss. Returns the number of tries
    /// that took; none if it never did.
    pub fn begin_and_come_through(&mut self, key: Key) -> Option<u64> {
        /// A row that loses a blade in so many tries contradicts the fact that it runs.
        const TRIES: u64 = 1000;
        let tries = (0..TRIES).find(|&attempt| self.begin(if attempt == 0 { key } else { key.child(attempt) }))?;
        Some(tries + 1)
    }

    /// Depth and surface length of a crack at an outage that it lives to see, in mm.
    pub fn size_mm(&self, crack: &Crack, outage: usize) -> [f64; 2] {
        [exp(self.ln_depth[crack.place(outage)]), self.length_mm[crack.place(outage) + BLOCK]]
    }

    /// Blades that a technique calls falsely at an outage, if they are clean.
    pub fn false_calls_at(&self, technique: usize, outage: usize) -> impl Iterator<Item = u32> + '_ {
        let calls = self.false_calls[technique].iter();
        calls.filter(move |(at, _)| *at as usize == outage).map(|(_, blade)| *blade)
    }

    /// Forgets the cracks from one index on.
    pub fn truncate(&mut self, count: usize) {
        self.cracks.truncate(count);
        let places = self.cracks.last().map_or(0, |crack| crack.places().end);
        self.ln_depth.truncate(places);
        self.ln_length.truncate(places);
        self.ln_mean.truncate(places);
        self.closed.truncate(places);
        self.sizes.truncate(self.cracks.last().map_or(0, |crack| crack.sizes as usize));
        self.length_mm.truncate(places + 2 * BLOCK);
        self.views.truncate(count * self.row.used_techniques.len());
    }

    fn blade_key(&self, blade: u32, generation: u64) -> Key {
        self.key.child(purpose::BLADE).child(generation << 32 | u64::from(blade))
    }

    /// A draw for what the loss of a position's blade costs, that before a generation.
    pub fn loss_draw(&self, blade: u32, generation: u64) -> f64 {
        self.key.child(purpose::LOSS).child(u64::from(blade)).uniform(generation)
    }

    /// A draw for whether a look that covers part of the blades covers this one.
    pub fn coverage_draw(&self, blade: u32, look: usize, outage: usize) -> f64 {
        self.key.child(purpose::COVERAGE).child(look as u64).child(u64::from(blade)).uniform(outage as u64)
    }
}
