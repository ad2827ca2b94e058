//! Which origins crack, and when.
//!
//! The origins of one hot spot on blades of equal age crack one after another, in the order of their hazard: the
//! arrivals of a Poisson process, of which only the first at each origin counts. Arrivals beyond the end of the study
//! are not drawn, and nothing that is drawn depends on where that end is. Work goes with the origins that crack.

use super::cohort::Cohort;
use super::hot_spot_plan::HotSpotPlan;
use super::{DRAWN_AGAIN, Nature, purpose};
use crate::math::{LANES, exp, exp_each, in_two_steps, ln, ln_of_split, normal_each, split, whole};
use crate::random::{Draw, Key};
use multiversion::multiversion;

/// Hazard per origin up to which origins are drawn as arrivals; each that has not cracked by then draws its own. Without
/// this an origin sure to crack would arrive again and again.
pub(super) const MOST_PER_ORIGIN: f64 = 1.0;

/// Child of a blade's key from which its origins draw when they crack; other children are its cracks'.
pub(super) const ORIGINS: u64 = 1;

/// A blade that is new.
#[derive(Debug, Clone, Copy)]
pub(super) struct NewBlade {
    pub life: usize,
    pub blade: u32,
    pub generation: u64,
}

impl NewBlade {
    /// What keys its draws.
    #[inline(always)]
    pub fn number(&self) -> u64 {
        self.generation << 32 | u64::from(self.blade)
    }
}

/// An origin that cracks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Initiation {
    /// Key of the blades of its life.
    pub parent: Key,
    /// What keys its blade among them; the blade's own number is the lower half.
    pub blade_number: u64,
    /// What keys the crack on the blade.
    pub crack_number: u64,
    /// Cumulative hazard at which it begins.
    pub hazard: f64,
    /// Reading of its clock when the blade was installed.
    pub installed: f64,
    /// Number of the first peening that it gets, if any come.
    pub first_peening: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    pub life: u32,
    pub hot_spot: u32,
    pub origin: u32,
}

impl Initiation {
    #[inline(always)]
    pub fn blade(&self) -> u32 {
        self.blade_number as u32
    }
}

/// An origin that cracks, among blades that are drawn together.
#[derive(Debug, Clone, Copy)]
pub(super) struct Arrival {
    /// Its blade among them, hot spot and origin: in this order cracks are kept.
    pub place: u64,
    /// Cumulative hazard at which it cracks, for row factor and stress factor 1.
    hazard: f64,
}

impl Arrival {
    #[inline(always)]
    pub fn new(blade: usize, hot_spot: usize, origin: u32, hazard: f64) -> Self {
        Arrival { place: (blade as u64) << 48 | (hot_spot as u64) << 32 | u64::from(origin), hazard }
    }

    #[inline(always)]
    fn blade(&self) -> usize {
        (self.place >> 48) as usize
    }

    #[inline(always)]
    pub fn hot_spot(&self) -> usize {
        (self.place >> 32 & 0xffff) as usize
    }

    #[inline(always)]
    pub fn origin(&self) -> u32 {
        self.place as u32
    }
}

/// Storage for drawing initiations; kept from life to life.
#[derive(Debug, Default)]
pub(super) struct InitiationBuffers {
    pub arrivals: Vec<Arrival>,
    /// The first draw of each block of exponential numbers that is drawn ahead, and the numbers.
    blocks: Vec<Draw>,
    exponentials: Vec<f64>,
    /// Of blades drawn together: logarithms of their stress factors, and for the hot spot at hand sums of their factors on
    /// the hazard, up to each.
    stresses: Vec<f64>,
    sums: Vec<f64>,
}

impl Nature<'_> {
    /// The first blades of some lives.
    pub(super) fn draw_first_initiations(&mut self, lives: &[u32]) {
        let plan = self.plan;
        let own = |cohort: usize, key: Key| key.child(purpose::FIRST_BLADES).child(cohort as u64);
        // The first arrivals of all lives are drawn at once.
        let mut buffers = std::mem::take(&mut self.initiation_buffers);
        buffers.blocks.clear();
        for life in lives.iter().map(|&life| life as usize) {
            for (index, cohort) in plan.cohorts.iter().enumerate() {
                let key = own(index, self.lives[life].key);
                for (spot, hazard) in plan.hot_spots.iter().zip(&cohort.hazards) {
                    let first = key.child(spot.name).draw(0);
                    let count = blocks_ahead(spot, cohort, self.lives[life].row_factor * hazard);
                    buffers.blocks.extend((0..count).map(|block| first.ahead(2 * (block * LANES) as u64)));
                }
            }
        }
        buffers.exponentials.resize(buffers.blocks.len() * LANES, 0.0);
        draw_exponentials(&buffers.blocks, &mut buffers.exponentials);
        let exponentials = std::mem::take(&mut buffers.exponentials);
        self.initiation_buffers = buffers;
        let mut drawn_ahead = &exponentials[..];
        for life in lives.iter().map(|&life| life as usize) {
            for (index, cohort) in plan.cohorts.iter().enumerate() {
                let key = own(index, self.lives[life].key);
                self.draw_cohort(life, cohort, key, 0, &mut drawn_ahead);
            }
        }
        self.initiation_buffers.exponentials = exponentials;
    }

    /// New blades of equal age; the first exponential numbers of each hot spot may be drawn already.
    pub(super) fn draw_cohort(
        &mut self,
        life: usize,
        cohort: &Cohort,
        key: Key,
        generation: u64,
        drawn_ahead: &mut &[f64],
    ) {
        let plan = self.plan;
        let row_factor = self.lives[life].row_factor;
        let mut buffers = std::mem::take(&mut self.initiation_buffers);
        buffers.arrivals.clear();
        self.draw_stresses(life, cohort, generation, &mut buffers.stresses);
        // A blade that is drawn once more is no other blade.
        let planted = if generation < DRAWN_AGAIN { self.planted_among(life, &cohort.blades) } else { None };
        if let Some(stress) = planted.and_then(|place| buffers.stresses.get_mut(place)) {
            *stress = self.planted_stress(life);
        }
        let mut sure = false;
        for (index, (spot, &end)) in plan.hot_spots.iter().zip(&cohort.hazards).enumerate() {
            let key = key.child(spot.name);
            let drawn = LANES * blocks_ahead(spot, cohort, row_factor * end).min(drawn_ahead.len() / LANES);
            let (exponentials, rest) = drawn_ahead.split_at(drawn);
            *drawn_ahead = rest;
            let blades = cohort.blades.len() as f64;
            let factors = if buffers.stresses.is_empty() { blades } else { buffers.sum_factors(spot) };
            let most = most_as_arrivals(blades, row_factor * factors);
            sure |= most < end;
            let until = most.min(end);
            let rate = row_factor * spot.origins * factors;
            for_each_arrival(key, rate, until, exponentials, |hazard, u| {
                let (blade, origin) = buffers.place(spot, blades, u);
                buffers.arrivals.push(Arrival::new(blade, index, origin, hazard));
            });
        }
        if buffers.arrivals.len() > 1 {
            // Those of one blade stand together; of an origin the first counts.
            buffers
                .arrivals
                .sort_unstable_by(|one, other| one.place.cmp(&other.place).then(one.hazard.total_cmp(&other.hazard)));
            buffers.arrivals.dedup_by_key(|arrival| arrival.place);
        }
        if sure {
            self.add_sure_cracks(life, cohort, generation, &mut buffers);
        }
        if let Some(place) = planted {
            let stress = buffers.stresses.get(place).copied().unwrap_or(0.0);
            let new = NewBlade { life, blade: cohort.blades[place], generation };
            self.plant_arrival(&new, place, cohort, stress, &mut buffers.arrivals);
        }
        for arrival in &buffers.arrivals {
            let blade = arrival.blade();
            let stress = buffers.stresses.get(blade).copied().unwrap_or(0.0);
            self.add_initiation(&NewBlade { life, blade: cohort.blades[blade], generation }, cohort, stress, arrival);
        }
        self.initiation_buffers = buffers;
    }

    /// Logarithms of the stress factors of blades; none where stress does not scatter.
    fn draw_stresses(&self, life: usize, cohort: &Cohort, generation: u64, stresses: &mut Vec<f64>) {
        let sigma = self.plan.blade_stress_sigma;
        stresses.clear();
        if sigma > 0.0 {
            let key = |&blade: &u32| self.lives[life].blades.child(NewBlade { life, blade, generation }.number());
            stresses.extend(cohort.blades.iter().map(|blade| key(blade).uniform(0)));
            normal_each(stresses);
            stresses.iter_mut().for_each(|stress| *stress *= sigma);
        }
    }

    /// Cracks of origins that have not cracked by [`MOST_PER_ORIGIN`]: each draws the rest of its hazard.
    #[inline(never)]
    fn add_sure_cracks(&mut self, life: usize, cohort: &Cohort, generation: u64, buffers: &mut InitiationBuffers) {
        let plan = self.plan;
        let row_factor = self.lives[life].row_factor;
        let blades = cohort.blades.len() as f64;
        let early = std::mem::take(&mut buffers.arrivals);
        let mut early = early.into_iter().peekable();
        let factors: Vec<f64> = plan
            .hot_spots
            .iter()
            .map(|spot| if buffers.stresses.is_empty() { blades } else { buffers.sum_factors(spot) })
            .collect();
        for (at, &blade) in cohort.blades.iter().enumerate() {
            let key = self.lives[life].blades.child(NewBlade { life, blade, generation }.number()).child(ORIGINS);
            let stress = buffers.stresses.get(at).copied().unwrap_or(0.0);
            for (index, spot) in plan.hot_spots.iter().enumerate() {
                let most = most_as_arrivals(blades, row_factor * factors[index]);
                let per_hazard = 1.0 / (row_factor * stress_factor(spot, stress));
                let key = key.child(spot.name);
                for origin in 0..spot.origins as u32 {
                    let here = Arrival::new(at, index, origin, 0.0).place;
                    if let Some(arrival) = early.next_if(|arrival| arrival.place == here) {
                        buffers.arrivals.push(arrival);
                    } else if most < cohort.hazards[index] {
                        let hazard = most - ln(key.child(u64::from(origin)).uniform(0)) * per_hazard;
                        if hazard < cohort.hazards[index] {
                            buffers.arrivals.push(Arrival { place: here, hazard });
                        }
                    }
                }
            }
        }
    }

    /// A crack begins at an origin.
    #[inline(always)]
    pub(super) fn add_initiation(&mut self, new: &NewBlade, cohort: &Cohort, stress: f64, arrival: &Arrival) {
        let hot_spot = arrival.hot_spot();
        if self.is_planted_now(new, arrival) {
            self.planted_initiations.push(self.initiations.len());
        } else if self.only_planted {
            return;
        }
        self.initiations.push(Initiation {
            parent: self.lives[new.life].blades,
            blade_number: new.number(),
            crack_number: self.plan.hot_spots[hot_spot].crack_number(arrival.origin()),
            hazard: arrival.hazard,
            installed: cohort.installed[hot_spot],
            first_peening: cohort.first_peening as u32,
            stress,
            life: new.life as u32,
            hot_spot: hot_spot as u32,
            origin: arrival.origin(),
        });
    }
}

impl InitiationBuffers {
    /// The sum of the blades' factors on the hazard of a hot spot; notes the sums up to each blade.
    fn sum_factors(&mut self, spot: &HotSpotPlan) -> f64 {
        self.sums.clear();
        self.sums.extend(self.stresses.iter().map(|stress| spot.stress_exponent * stress));
        exp_each(&mut self.sums);
        let mut sum = 0.0;
        for factor in &mut self.sums {
            sum += *factor;
            *factor = sum;
        }
        sum
    }

    /// The blade and the origin that a uniform number picks, each as often as its hazard says.
    #[inline(always)]
    fn place(&self, spot: &HotSpotPlan, blades: f64, u: f64) -> (usize, u32) {
        let (blade, within) = if self.stresses.is_empty() {
            let blade = whole(u * blades).min(blades - 1.0);
            (blade as usize, u * blades - blade)
        } else {
            let wanted = u * self.sums[self.sums.len() - 1];
            let blade = self.sums.partition_point(|sum| *sum <= wanted).min(self.sums.len() - 1);
            let before = if blade == 0 { 0.0 } else { self.sums[blade - 1] };
            (blade, (wanted - before) / (self.sums[blade] - before))
        };
        (blade, whole(within.max(0.0) * spot.origins).min(spot.origins - 1.0) as u32)
    }
}

/// Hazard, for row factor and stress factor 1, up to which origins of some blades are drawn as arrivals; `factors` is the
/// sum of the blades' factors.
#[inline(always)]
fn most_as_arrivals(blades: f64, factors: f64) -> f64 {
    MOST_PER_ORIGIN * blades / factors
}

/// Visits the arrivals of a Poisson process up to a hazard, each with a uniform number of its own. Arrival i takes draws
/// 2 i and 2 i + 1 of the key; the exponential numbers of the first may have been made already.
#[inline(always)]
pub(super) fn for_each_arrival(key: Key, rate: f64, until: f64, made: &[f64], mut visit: impl FnMut(f64, f64)) {
    if !(rate * until > 0.0) {
        return;
    }
    let per_rate = 1.0 / rate;
    let (mut hazard, mut draw) = (0.0, key.draw(0));
    let mut made = made.iter();
    loop {
        hazard += per_rate * made.next().copied().unwrap_or_else(|| -ln(draw.uniform()));
        if hazard >= until {
            return;
        }
        visit(hazard, draw.ahead(1).uniform());
        draw = draw.ahead(2);
    }
}

/// Blocks of arrivals that are drawn ahead: enough for most lives.
fn blocks_ahead(spot: &HotSpotPlan, cohort: &Cohort, hazard: f64) -> usize {
    const MOST: f64 = 8.0;
    let mean = cohort.blades.len() as f64 * spot.origins * hazard.min(MOST_PER_ORIGIN);
    ((mean + mean.sqrt()) / LANES as f64).ceil().min(MOST) as usize
}

/// Blocks of exponential numbers, of every second draw.
#[multiversion(targets = "simd")]
fn draw_exponentials(blocks: &[Draw], numbers: &mut [f64]) {
    for (numbers, first) in numbers.as_chunks_mut::<LANES>().0.iter_mut().zip(blocks) {
        *numbers = std::array::from_fn(|lane| first.ahead(2 * lane as u64).uniform());
    }
    in_two_steps(numbers, split, |u| -ln_of_split(u));
}

#[inline]
pub(super) fn stress_factor(spot: &HotSpotPlan, stress: f64) -> f64 {
    if stress == 0.0 { 1.0 } else { exp(spot.stress_exponent * stress) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::normal_quantile;
    use crate::model::Study;
    use crate::model::initiation::InitiationShape;
    use crate::simulation::nature::Life;
    use crate::simulation::plan::RowPlan;

    const LIVES: u32 = 200;

    /// A row of 24 blades with two hot spots, of four origins and of two; the same with many more cracks; and that with
    /// blades of equal stress.
    fn plans() -> [RowPlan; 3] {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let mut dense = study.clone().into_parts();
        dense.initiation[0].shape = InitiationShape::Exponential { mean: 600.0 };
        dense.scatter.blade_stress_sigma_log = 0.2;
        let mut alike = dense.clone();
        alike.scatter.blade_stress_sigma_log = 0.0;
        [study, Study::of_checked(dense), Study::of_checked(alike)]
            .map(|study| RowPlan::new(&study, &study.rows[0]).expect("a good row"))
    }

    fn begin(plan: &RowPlan) -> Nature<'_> {
        let mut nature = Nature::new(&plan.nature);
        nature.begin((0..LIVES).map(|trial| Key::from_seed(7).child(trial.into())));
        (0..LIVES as usize).for_each(|life| nature.draw_row(life));
        nature
    }

    /// Logarithm of a blade's factor on stress: a draw of the blade's own.
    fn stress(nature: &Nature, life: &Life, number: u64) -> f64 {
        nature.plan.blade_stress_sigma * normal_quantile(life.blades.child(number).uniform(0))
    }

    /// Holds cracks against the law: an origin cracks by a hazard H with a probability of 1 - exp(-f H), f the factor of its
    /// row and its blade. `blades` has all blades that were drawn, by life and number, with the hazards until the end.
    fn hold_against_the_law<'c>(nature: &Nature, blades: impl Iterator<Item = (usize, u64, &'c Cohort)>) {
        let mut cracked = std::collections::BTreeMap::new();
        for new in &nature.initiations {
            let place = (new.life as usize, new.blade_number, new.hot_spot as usize, new.origin);
            assert!(cracked.insert(place, new).is_none(), "origin {place:?} cracks once");
        }
        // By hot spot and origin, and whether the blade's stress is above the median: cracks beyond those expected, and
        // the variance of that. And how far they came of their probability, less its mean, and the same of squares.
        let mut beyond = [[[(0.0, 0.0); 2]; 4]; 2];
        let (mut first, mut second) = (0.0, 0.0);
        for (life, number, cohort) in blades {
            let about = &nature.lives[life];
            let stress = stress(nature, about, number);
            for (index, spot) in nature.plan.hot_spots.iter().enumerate() {
                let factor = about.row_factor * (spot.stress_exponent * stress).exp();
                let probability = -(-factor * cohort.hazards[index]).exp_m1();
                for origin in 0..spot.origins as u32 {
                    let (beyond, variance) = &mut beyond[index][origin as usize][usize::from(stress > 0.0)];
                    *beyond -= probability;
                    *variance += probability * (1.0 - probability);
                    if let Some(new) = cracked.remove(&(life, number, index, origin)) {
                        *beyond += 1.0;
                        assert!((new.stress - stress).abs() < 1e-9 && new.installed == cohort.installed[index]);
                        let share = -(-factor * new.hazard).exp_m1() / probability;
                        first += share - 0.5;
                        second += share * share - 1.0 / 3.0;
                    }
                }
            }
        }
        assert!(cracked.is_empty(), "{cracked:?} are of no blade");
        for (beyond, variance) in beyond.iter().flatten().flatten().filter(|(_, variance)| *variance > 0.0) {
            assert!(beyond.abs() < 4.0 * variance.sqrt(), "{beyond} with a variance of {variance}");
        }
        // The share is uniform: variances of it and of its square.
        let count = nature.initiations.len() as f64;
        assert!(count > 200.0, "{count} cracks");
        assert!(first.abs() < 4.0 * (count / 12.0).sqrt(), "{first} of {count}");
        assert!(second.abs() < 4.0 * (count * 4.0 / 45.0).sqrt(), "{second} of {count}");
    }

    #[test]
    fn origins_of_first_blades_crack_as_often_and_as_early_as_on_paper() {
        for plan in plans() {
            let mut nature = begin(&plan);
            nature.draw_first_initiations(&(0..LIVES).collect::<Vec<u32>>());
            let cohorts = &nature.plan.cohorts;
            let of_life = |life: usize| {
                cohorts.iter().flat_map(move |age| age.blades.iter().map(move |&blade| (life, blade.into(), age)))
            };
            hold_against_the_law(&nature, (0..LIVES as usize).flat_map(of_life));
        }
    }

    #[test]
    fn origins_of_new_blades_crack_as_often_and_as_early_as_on_paper() {
        for plan in plans() {
            let mut nature = begin(&plan);
            let age = &plan.nature.new_blades[0];
            let all = || (0..LIVES as usize).flat_map(|life| (0..24).map(move |blade| (life, blade)));
            for (life, blade) in all() {
                nature.draw_blade(NewBlade { life, blade, generation: 3 }, age);
            }
            hold_against_the_law(&nature, all().map(|(life, blade)| (life, 3 << 32 | u64::from(blade), age)));
        }
    }

    #[test]
    fn numbers_made_ahead_change_no_crack() {
        for plan in plans() {
            let (mut ahead, mut apart) = (begin(&plan), begin(&plan));
            ahead.draw_first_initiations(&(0..LIVES).collect::<Vec<u32>>());
            for life in 0..LIVES as usize {
                for (index, cohort) in plan.nature.cohorts.iter().enumerate() {
                    let key = apart.lives[life].key.child(purpose::FIRST_BLADES).child(index as u64);
                    apart.draw_cohort(life, cohort, key, 0, &mut &[][..]);
                }
            }
            assert_eq!(ahead.initiations.len(), apart.initiations.len());
            for (one, other) in ahead.initiations.iter().zip(&apart.initiations) {
                let place = |new: &Initiation| (new.life, new.blade_number, new.hot_spot, new.origin);
                assert_eq!(place(one), place(other));
                assert!((one.hazard / other.hazard - 1.0).abs() < 1e-12);
            }
        }
    }
}
