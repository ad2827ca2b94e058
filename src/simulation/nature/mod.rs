//! What cracks, when, how fast, and when it would let its blade go, if nobody looked.
//!
//! Work goes with the cracks that start: an origin that never cracks before the end costs nothing.

mod alone;
mod cohort;
mod cracks;
mod drivers;
mod growth;
mod hot_spot_plan;
mod initiation;
mod integrated;
mod integration_counts;
mod joined;
mod mouth;
mod new_blades;
mod on_curve;
mod plan;
mod planted;
mod sizes;

pub(crate) use cohort::Cohort;
pub(crate) use cracks::Crack;
pub(crate) use drivers::Driver;
pub(crate) use growth::NewCrack;
pub(crate) use hot_spot_plan::{HotSpotGrowth, HotSpotPlan, Integration};
pub(crate) use integration_counts::{IntegrationCounts, thousands, two_figures};
pub(crate) use joined::{IntegratedCrack, IntegratedCracks, Place};
pub(crate) use mouth::{is_closed_for_life, is_held_shut};
pub(crate) use new_blades::Replacement;
pub(crate) use on_curve::{OnCurve, own_toughness};
pub(crate) use plan::NaturePlan;
pub(crate) use planted::{CrackDraws, LOST, Numbers, Planted, Standing};
pub(crate) use sizes::{SPARE, Sizes, whole_blocks};

use crate::math::exp;
use crate::random::Key;
use growth::GrowthBuffers;
use initiation::{Initiation, InitiationBuffers};
use new_blades::DrawnAhead;
use std::ops::Range;

/// What a draw of a row's life is for, by the child of the life's key.
pub(crate) mod purpose {
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
pub(crate) mod draw {
    pub const DEPTH: u64 = 0;
    pub const ASPECT: u64 = 1;
    pub const GROWTH: u64 = 2;
    pub const TOUGHNESS: u64 = 3;
    pub const CORROSION: u64 = 4;
    pub const POSITION: u64 = 5;
    pub const MOUTH: u64 = 6;
    /// How many of them, from the first on, a planted crack has stated.
    pub const STATED: usize = CORROSION as usize + 1;
}

/// The cracks of some lives of a row, as if nobody looked.
#[derive(Debug)]
pub(crate) struct Nature<'p> {
    pub plan: &'p NaturePlan,
    pub lives: Vec<Life>,
    /// The crack that is planted in each life; empty where none are.
    pub planted: Vec<Planted>,
    /// Whether rows have no crack but the planted one.
    pub only_planted: bool,
    pub cracks: Vec<Crack>,
    pub sizes: Sizes,
    /// What happened to cracks, over all lives so far.
    pub counts: IntegrationCounts,
    /// Median advance per start of each hot spot in each life, lives outermost.
    growth_rates: Vec<f64>,
    /// Sizes of cracks whose growth was integrated, at the outages that each lives to see.
    integrated_sizes: Vec<integrated::Size>,
    /// For each life and blade the hazard for row factor 1 that the first new blade survives, where it is known.
    survived: Vec<f64>,
    // Storage that is kept from life to life.
    integrated: IntegratedCracks,
    initiations: Vec<Initiation>,
    /// Which of them are planted.
    planted_initiations: Vec<usize>,
    initiation_buffers: InitiationBuffers,
    growth_buffers: GrowthBuffers,
    new_blade: Cohort,
    replaced: Vec<(u32, u32)>,
    keys: Vec<Key>,
    draws: Vec<f64>,
}

/// One of the lives that are drawn together.
#[derive(Debug)]
pub(crate) struct Life {
    /// Key of the row in this trial.
    trial: Key,
    /// Key of the row in the attempt that came to the start of the study.
    pub key: Key,
    /// Key of its blades.
    blades: Key,
    row_factor: f64,
    /// Cracks of the blades that are there when the study starts, as indices.
    first_cracks: Range<u32>,
    drawn_ahead: Vec<DrawnAhead>,
}

/// How many cracks there are, and what they take up.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Mark {
    cracks: usize,
    places: usize,
    integrated_sizes: usize,
}

impl<'p> Nature<'p> {
    pub fn new(plan: &'p NaturePlan) -> Self {
        Nature {
            plan,
            lives: Vec::new(),
            planted: Vec::new(),
            only_planted: false,
            cracks: Vec::new(),
            sizes: Sizes::default(),
            counts: IntegrationCounts::default(),
            growth_rates: Vec::new(),
            integrated_sizes: Vec::new(),
            survived: Vec::new(),
            integrated: IntegratedCracks::default(),
            initiations: Vec::new(),
            planted_initiations: Vec::new(),
            initiation_buffers: InitiationBuffers::default(),
            growth_buffers: GrowthBuffers::default(),
            new_blade: Cohort::default(),
            replaced: Vec::new(),
            keys: Vec::new(),
            draws: Vec::new(),
        }
    }

    /// Begins lives of the row, each with the key of the row in its trial; nothing is drawn yet.
    pub fn begin(&mut self, keys: impl ExactSizeIterator<Item = Key>) {
        let count = keys.len();
        self.release(Mark::default());
        self.planted.clear();
        self.only_planted = false;
        self.growth_rates.resize(count * self.plan.hot_spots.len(), 0.0);
        self.lives.resize_with(count, || Life {
            trial: Key::from_seed(0),
            key: Key::from_seed(0),
            blades: Key::from_seed(0),
            row_factor: 1.0,
            first_cracks: 0..0,
            drawn_ahead: Vec::new(),
        });
        self.lives.iter_mut().zip(keys).for_each(|(life, key)| (life.trial, life.key) = (key, key));
    }

    /// Has a life drawn with another key, when it is drawn next.
    pub fn try_again(&mut self, life: u32, attempt: u64) {
        let life = &mut self.lives[life as usize];
        life.key = life.trial.child(attempt);
    }

    /// Draws the first blades of some lives, from the row's entry into service on: returns the indices of their cracks,
    /// which stand together life by life, and within a life blade by blade.
    pub fn draw(&mut self, lives: &[u32]) -> Range<u32> {
        let from = self.cracks.len();
        for life in lives.iter().map(|&life| life as usize) {
            self.draw_row(life);
        }
        self.draw_first_initiations(lives);
        self.grow_cracks();
        self.size_up(from)
    }

    /// Keeps only these cracks, life by life: those that are there when the study starts.
    pub fn keep(&mut self, cracks: &[Crack]) {
        self.cracks.clear();
        self.cracks.extend_from_slice(cracks);
    }

    /// Finds each life's own cracks, when those are there that stand at the start of the study.
    pub fn find_first_cracks(&mut self) {
        let mut begin = 0;
        for (index, life) in self.lives.iter_mut().enumerate() {
            let own = self.cracks[begin..].iter().take_while(|crack| crack.life as usize == index).count();
            life.first_cracks = begin as u32..(begin + own) as u32;
            life.drawn_ahead.clear();
            begin += own;
        }
    }

    /// Cracks in a life's row when the study starts, as indices; those of one blade stand together.
    pub fn first_cracks(&self, life: usize) -> Range<usize> {
        let cracks = &self.lives[life].first_cracks;
        cracks.start as usize..cracks.end as usize
    }

    /// Where a blade of a life stands among the blades of all lives.
    #[inline(always)]
    pub fn position(&self, life: u32, blade: u32) -> usize {
        (life * self.plan.blades + blade) as usize
    }

    /// The number of these positions.
    pub fn positions(&self) -> usize {
        self.lives.len() * self.plan.blades as usize
    }

    /// Remembers the cracks that are there.
    pub fn mark(&self) -> Mark {
        Mark { cracks: self.cracks.len(), places: self.sizes.taken, integrated_sizes: self.integrated_sizes.len() }
    }

    /// Forgets the cracks that came after a mark.
    pub fn release(&mut self, mark: Mark) {
        self.cracks.truncate(mark.cracks);
        self.integrated_sizes.truncate(mark.integrated_sizes);
        self.sizes.taken = mark.places;
    }

    /// Draws what the blades of a life's row share.
    fn draw_row(&mut self, life: usize) {
        let plan = self.plan;
        let Life { key, blades, row_factor, .. } = &mut self.lives[life];
        *blades = key.child(purpose::BLADE);
        let planted = self.planted.get(life);
        let law_of = |planted: &Planted| plan.hot_spots[planted.hot_spot as usize].growth_name;
        *row_factor =
            planted.map_or_else(|| plan.row_factor.draw(*key, purpose::ROW_FACTOR), |planted| planted.row_factor);
        for (rate, spot) in self.growth_rates[life * plan.hot_spots.len()..].iter_mut().zip(&plan.hot_spots) {
            *rate = spot.rate;
            if spot.row_sigma > 0.0 {
                let stated = planted.filter(|planted| spot.growth_name == law_of(planted));
                let scatter = stated.map_or_else(
                    || key.child(purpose::ROW_GROWTH).child(spot.growth_name).normal(0),
                    |planted| planted.numbers.row_growth,
                );
                *rate *= exp(spot.row_sigma * scatter);
            }
        }
    }
}
