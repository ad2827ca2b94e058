//! A planted crack: an origin that is made to crack, with numbers that are stated instead of drawn.
//!
//! Losses are rare because the numbers that lead to them are. Here they are chosen, and the weight of the life makes up
//! for it. Everything else in the row is drawn as ever.

use super::cohort::Cohort;
use super::initiation::{Arrival, NewBlade, stress_factor};
use super::{Nature, draw};
use crate::distribution::Distribution;
use crate::math::normal_cdf;
use crate::random::Key;

/// A crack that is planted in a life, and how far it has come.
#[derive(Debug, Clone)]
pub(crate) struct Planted {
    pub blade: u32,
    pub hot_spot: u32,
    pub origin: u32,
    /// At which beginning of its origin, counted from 0 for the first: with a new blade, or where cracks were ground out.
    pub generation: u32,
    pub row_factor: f64,
    /// Number of the draw of what records say of its row, if there are any.
    pub posterior_draw: Option<usize>,
    pub numbers: Numbers,
    /// How much more probable its place and numbers are than they were drawn.
    pub weight: f64,
    pub standing: Standing,
}

/// Where a planted crack stands in its life.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Standing {
    /// Beginnings of its origin so far: see [`Planted::generation`].
    pub births: u32,
    /// Its key, once it is planted.
    pub key: Option<Key>,
    /// Chance that its origin cracks before the end, times those of all answers of looks so far, each over the chance
    /// with which it was drawn.
    pub factor: f64,
}

/// Standard normal numbers that stand for the draws of a planted crack.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Numbers {
    /// By the counters of [`draw`].
    pub crack: [f64; draw::STATED],
    /// When it begins.
    pub time: f64,
    /// Of its blade.
    pub stress: f64,
    /// Of its row's hazard, among the draws of what records say; nothing is drawn by it.
    pub row_hazard: f64,
    /// What its row's growth law scatters by; where there are records, as the hazard.
    pub row_growth: f64,
    /// What persists in it, by source.
    pub persistent: Vec<f64>,
}

/// The draws of one crack: by its key, or stated.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CrackDraws<'a> {
    pub key: Key,
    stated: Option<&'a Numbers>,
}

impl<'a> CrackDraws<'a> {
    /// Those of a crack of a life, given what is planted in each.
    #[inline(always)]
    pub(super) fn among(planted: &'a [Planted], life: u32, key: Key) -> Self {
        let planted = planted.get(life as usize).filter(|planted| planted.standing.key == Some(key));
        CrackDraws { key, stated: planted.map(|planted| &planted.numbers) }
    }

    /// Draws by a key alone.
    pub fn of(key: Key) -> Self {
        CrackDraws { key, stated: None }
    }

    pub fn normal(&self, counter: u64) -> f64 {
        self.stated.map_or_else(|| self.key.normal(counter), |numbers| numbers.crack[counter as usize])
    }

    #[inline(always)]
    pub fn draw(&self, distribution: &Distribution, counter: u64) -> f64 {
        match self.stated {
            None => distribution.draw(self.key, counter),
            Some(numbers) => distribution.at_normal(numbers.crack[counter as usize]),
        }
    }
}

/// A crack that comes so near to a loss, less as many years as it has until then, is lost.
pub(crate) const LOST: f64 = 1e6;

impl Planted {
    /// A new blade at its position: whether it is to be planted there.
    fn is_due(&mut self) -> bool {
        self.standing.births += 1;
        self.standing.births == self.generation + 1
    }

    /// Weight of the life so far.
    pub fn total_weight(&self) -> f64 {
        self.weight * self.standing.factor
    }
}

impl Nature<'_> {
    /// Plants a crack in each life; they are begun, and nothing is drawn yet.
    pub fn plant(&mut self, planted: impl IntoIterator<Item = Planted>) {
        self.planted.extend(planted);
    }

    /// Draws the planted cracks of all lives alone, as if their rows had no other: how near each comes to a loss if nobody
    /// looks; see [`Nature::planted_progress`]. Nothing is said of those that are planted in a later blade, or may join
    /// others.
    pub fn planted_alone(&mut self) -> Vec<Option<f64>> {
        let plan = self.plan;
        for life in 0..self.planted.len() {
            let Planted { blade, hot_spot, generation, .. } = self.planted[life];
            let age = plan.cohorts.iter().find_map(|age| {
                let place = age.blades.iter().position(|other| *other == blade)?;
                Some((age, place))
            });
            if let Some((age, place)) = age
                && generation == 0
                && !plan.hot_spots[hot_spot as usize].may_join()
            {
                self.draw_row(life);
                let (new, stress) = (NewBlade { life, blade, generation: 0 }, self.planted_stress(life));
                let mut arrivals = Vec::new();
                self.plant_arrival(&new, place, age, stress, &mut arrivals);
                arrivals.iter().for_each(|arrival| self.add_initiation(&new, age, stress, arrival));
            }
        }
        self.grow_cracks();
        self.size_up(0);
        let said = |planted: &Planted| {
            let is_said = planted.generation == 0 && !plan.hot_spots[planted.hot_spot as usize].may_join();
            is_said.then(|| self.planted_progress(planted))
        };
        self.planted.iter().map(said).collect()
    }

    /// Whether a crack is planted.
    #[inline(always)]
    pub fn is_planted(&self, index: u32) -> bool {
        let crack = &self.cracks[index as usize];
        self.planted.get(crack.life as usize).is_some_and(|planted| planted.standing.key == Some(crack.key))
    }

    /// Whether a crack is planted somewhere at a position of a life.
    #[inline(always)]
    pub(super) fn is_planted_at(&self, life: usize, blade: u32) -> bool {
        self.planted.get(life).is_some_and(|planted| planted.blade == blade)
    }

    /// The blade in which a crack is planted from the first on, in a life.
    pub fn planted_first(&self, life: usize) -> Option<u32> {
        self.planted.get(life).filter(|planted| planted.generation == 0).map(|planted| planted.blade)
    }

    /// Whether a crack is planted in the first blade at a position of a life.
    pub fn is_planted_first_at(&self, life: usize, blade: u32) -> bool {
        self.planted_first(life) == Some(blade)
    }

    /// The draws of a crack of a life.
    #[inline(always)]
    pub(super) fn crack_draws(&self, life: u32, key: Key) -> CrackDraws<'_> {
        CrackDraws::among(&self.planted, life, key)
    }

    /// Whether a crack that begins in a new blade is planted.
    #[inline(always)]
    pub(super) fn is_planted_now(&self, new: &NewBlade, arrival: &Arrival) -> bool {
        self.planted.get(new.life).is_some_and(|planted| {
            let spot = &self.plan.hot_spots[arrival.hot_spot()];
            let key = || self.lives[new.life].blades.child(new.number()).child(spot.crack_number(arrival.origin()));
            planted.blade == new.blade && planted.standing.key == Some(key())
        })
    }

    /// How near a planted crack comes to a loss if nobody looks: the sooner it is lost the nearer, or else the deeper it is
    /// at the last outage that it lives to see.
    pub fn planted_progress(&self, planted: &Planted) -> f64 {
        let own = self.cracks.iter().filter(|crack| planted.standing.key == Some(crack.key));
        let progress = own.map(|crack| {
            if crack.ends_in_loss() {
                LOST - (crack.lost_year - self.plan.start_year)
            } else if crack.first < crack.last {
                self.sizes.ln_depth[crack.place(crack.last as usize - 1)]
            } else {
                f64::NEG_INFINITY
            }
        });
        progress.fold(f64::NEG_INFINITY, f64::max)
    }

    /// New blades of a life: the place among them of the one in which a crack is to be planted, if there is one.
    pub(super) fn planted_among(&mut self, life: usize, blades: &[u32]) -> Option<usize> {
        let planted = self.planted.get_mut(life)?;
        let place = blades.iter().position(|blade| *blade == planted.blade)?;
        planted.is_due().then_some(place)
    }

    /// Origins of a hot spot in a blade of a life that begin anew: the one among them at which a crack is to be planted, if
    /// there is one.
    pub(super) fn planted_anew(&mut self, life: usize, blade: u32, hot_spot: u32, origins: &[u32]) -> Option<u32> {
        let planted = self.planted.get_mut(life)?;
        let is_here = planted.blade == blade && planted.hot_spot == hot_spot && origins.contains(&planted.origin);
        (is_here && planted.is_due()).then_some(planted.origin)
    }

    /// Logarithm of the stress factor of the blade in which a crack is planted.
    pub(super) fn planted_stress(&self, life: usize) -> f64 {
        self.plan.blade_stress_sigma * self.planted[life].numbers.stress
    }

    /// Lets the planted crack of a life begin in a new blade, `place` among those of its age: in place of what its origin
    /// drew. `arrivals` are in the order of their places.
    pub(super) fn plant_arrival(
        &mut self,
        new: &NewBlade,
        place: usize,
        age: &Cohort,
        stress: f64,
        arrivals: &mut Vec<Arrival>,
    ) {
        let row_factor = self.lives[new.life].row_factor;
        let blades = self.lives[new.life].blades;
        let planted = &mut self.planted[new.life];
        let hot_spot = planted.hot_spot as usize;
        let spot = &self.plan.hot_spots[hot_spot];
        let rate = row_factor * stress_factor(spot, stress);
        // The chance that it cracks before the end.
        let chance = -(-rate * age.hazards[hot_spot]).exp_m1();
        let hazard = -(-normal_cdf(planted.numbers.time) * chance).ln_1p() / rate;
        let own = Arrival::new(place, hot_spot, planted.origin, hazard);
        arrivals.retain(|arrival| arrival.place != own.place);
        planted.standing.factor *= chance;
        if chance > 0.0 {
            arrivals.insert(arrivals.partition_point(|arrival| arrival.place < own.place), own);
            planted.standing.key = Some(blades.child(new.number()).child(spot.crack_number(planted.origin)));
        }
    }
}
