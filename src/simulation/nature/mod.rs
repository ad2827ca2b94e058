//! What cracks, when, how fast, and when it would let its blade go, if nobody looked.
//!
//! Work goes with the cracks that start: an origin that never cracks before the end costs nothing.

mod alone;
mod cohort;
mod cracks;
mod dressed;
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
mod peened_clock;
mod plan;
mod planted;
mod seen;
mod sizes;

pub(crate) use cohort::Cohort;
pub(crate) use cracks::Crack;
pub(crate) use dressed::GroundPlace;
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
pub(crate) use seen::Seen;
pub(crate) use sizes::{SPARE, Sizes, whole_blocks};

use crate::math::{exp, ln};
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
    pub const POSTERIOR: u64 = 8;
    pub const PAST_FALSE_CALLS: u64 = 9;
    pub const DRESSED: u64 = 10;
    pub const CONSEQUENCES: u64 = 11;
    pub const HANDLING: u64 = 12;

    #[test]
    fn each_purpose_has_a_number_of_its_own() {
        let mut all = vec![ROW_FACTOR, ROW_GROWTH, FIRST_BLADES, BLADE, INSPECTION, FALSE_CALLS, COVERAGE, LOSS];
        all.extend([POSTERIOR, PAST_FALSE_CALLS, DRESSED, CONSEQUENCES, HANDLING]);
        assert!(all.iter().enumerate().all(|(place, number)| place as u64 == *number), "{all:?}");
    }
}

/// Generations of blades that are drawn once more, apart from all others.
const DRAWN_AGAIN: u64 = 3 << 30;

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
    /// Key of what all rows share in this trial, and the values of what is uncertain.
    fleet: Key,
    shared_draw: Option<usize>,
    pub uncertain: Vec<f64>,
    /// Number of the draw of what records say of the row.
    pub posterior_draw: usize,
    row_factor: f64,
    /// Cracks of the blades that are there when the study starts, as indices.
    first_cracks: Range<u32>,
    drawn_ahead: Vec<DrawnAhead>,
}

/// What keys a life: its row in a trial, and what all rows share in that.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LifeKey {
    pub row: Key,
    pub fleet: Key,
    /// Number of the draw of what records say of all rows, where it is stated.
    pub shared_draw: Option<usize>,
}

impl From<Key> for LifeKey {
    /// A row that has no sister in its trial.
    fn from(row: Key) -> Self {
        LifeKey { row, fleet: row, shared_draw: None }
    }
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
    pub fn begin<K: Into<LifeKey>>(&mut self, keys: impl ExactSizeIterator<Item = K>) {
        let count = keys.len();
        self.release(Mark::default());
        self.planted.clear();
        self.only_planted = false;
        self.growth_rates.resize(count * self.plan.hot_spots.len(), 0.0);
        self.lives.resize_with(count, || Life {
            trial: Key::from_seed(0),
            key: Key::from_seed(0),
            blades: Key::from_seed(0),
            fleet: Key::from_seed(0),
            shared_draw: None,
            uncertain: Vec::new(),
            posterior_draw: 0,
            row_factor: 1.0,
            first_cracks: 0..0,
            drawn_ahead: Vec::new(),
        });
        for (life, key) in self.lives.iter_mut().zip(keys) {
            let key: LifeKey = key.into();
            (life.trial, life.key, life.fleet, life.shared_draw) = (key.row, key.row, key.fleet, key.shared_draw);
        }
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

    /// Draws some of the first blades of lives once more, from when they were new on: returns the indices of their cracks, which
    /// stand as those of [`Nature::draw`] do.
    pub fn draw_again(&mut self, blades: &[(u32, Vec<u32>)], attempt: u64) -> Range<u32> {
        let plan = self.plan;
        let from = self.cracks.len();
        for (life, blades) in blades {
            let life = *life as usize;
            for (index, cohort) in plan.cohorts.iter().enumerate() {
                let own: Vec<u32> = cohort.blades.iter().copied().filter(|blade| blades.contains(blade)).collect();
                if own.is_empty() {
                    continue;
                }
                let key = self.lives[life].key.child(purpose::FIRST_BLADES).child(index as u64).child(attempt);
                let again = cohort.with_blades(own);
                self.draw_cohort(life, &again, key, DRAWN_AGAIN + attempt, &mut &[][..]);
            }
        }
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
        self.draw_uncertain(life);
        let given = self.plan.given_records();
        let Life { key, blades, row_factor, uncertain, posterior_draw, .. } = &mut self.lives[life];
        *blades = key.child(purpose::BLADE);
        let planted = self.planted.get(life);
        let law_of = |planted: &Planted| plan.hot_spots[planted.hot_spot as usize].growth_name;
        *row_factor = match given {
            Some(given) => given.hazards[*posterior_draw],
            None => {
                planted.map_or_else(|| plan.row_factor.draw(*key, purpose::ROW_FACTOR), |planted| planted.row_factor)
            }
        };
        if given.is_none() && !uncertain.is_empty() {
            *row_factor *= exp(plan.uncertain.of_hazard(uncertain));
        }
        let rates = self.growth_rates[life * plan.hot_spots.len()..].iter_mut().zip(&plan.hot_spots);
        for (index, (rate, spot)) in rates.enumerate() {
            *rate = spot.rate;
            if let Some(given) = given {
                *rate *= exp(given.shared(*posterior_draw).ln_growth[index]);
                continue;
            }
            if spot.row_sigma > 0.0 {
                let stated = planted.filter(|planted| spot.growth_name == law_of(planted));
                let scatter = stated.map_or_else(
                    || key.child(purpose::ROW_GROWTH).child(spot.growth_name).normal(0),
                    |planted| planted.numbers.row_growth,
                );
                *rate *= exp(spot.row_sigma * scatter);
            }
            if !uncertain.is_empty() {
                *rate *= exp(plan.uncertain.of_growth(index, uncertain));
            }
        }
    }

    /// Draws what is uncertain, for a life; and of what records say of its row, which draw it has.
    fn draw_uncertain(&mut self, life: usize) {
        let plan = self.plan;
        let stated = self.planted.get(life).and_then(|planted| planted.posterior_draw);
        let Life { trial, fleet, shared_draw, uncertain, posterior_draw, .. } = &mut self.lives[life];
        uncertain.clear();
        match &plan.posterior {
            Some((posterior, row)) => {
                let number = shared_draw.unwrap_or_else(|| below(fleet.uniform(0), posterior.uncertain.len()));
                uncertain.extend_from_slice(&posterior.uncertain[number]);
                if let Some(row) = &posterior.rows[*row] {
                    let each = row.hazards.len() / posterior.uncertain.len();
                    let draw = || number * each + below(trial.child(purpose::POSTERIOR).uniform(0), each);
                    *posterior_draw = stated.unwrap_or_else(draw);
                }
            }
            None => uncertain.extend((0..plan.uncertain.hazard.len() as u64).map(|number| fleet.normal(number))),
        }
    }

    /// What is uncertain of a technique, in a life.
    pub fn uncertain_shift(&self, life: usize, technique: usize) -> f64 {
        self.plan.uncertain.of_technique(technique, &self.lives[life].uncertain)
    }

    /// Row factor of a life, and the logarithm of its row's factor on growth by hot spot, beside what is uncertain.
    pub fn row_alone(&self, life: usize) -> (f64, Vec<f64>) {
        let (plan, own) = (self.plan, &self.lives[life]);
        let of_spot = |(index, spot): (usize, &HotSpotPlan)| {
            ln(self.growth_rates[life * plan.hot_spots.len() + index] / spot.rate)
                - plan.uncertain.of_growth(index, &own.uncertain)
        };
        let growth = plan.hot_spots.iter().enumerate().map(of_spot).collect();
        (own.row_factor * exp(-plan.uncertain.of_hazard(&own.uncertain)), growth)
    }

    /// Adds to the shifts that the inspections of a technique draw in a life, by outage, what is uncertain of it. Where there
    /// are records, these say what the shifts of looks before the study were.
    pub fn add_what_is_not_known(&self, life: usize, technique: usize, shifts: &mut [f64]) {
        let uncertain = self.uncertain_shift(life, technique);
        if uncertain != 0.0 {
            shifts.iter_mut().for_each(|shift| *shift += uncertain);
        }
        if let Some(given) = self.plan.given_records() {
            let past = &given.shared(self.lives[life].posterior_draw).shifts;
            shifts[..past.len()].copy_from_slice(past);
        }
    }
}

/// The whole number below a count where a uniform number lies.
fn below(u: f64, count: usize) -> usize {
    ((u * count as f64) as usize).min(count - 1)
}
