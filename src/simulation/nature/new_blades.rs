//! Blades that are new after the row's entry into service.
//!
//! Most new blades never crack, and most of these are told by one number: the hazard that the first new blade at a
//! position is known to survive, whenever it is new.

use super::Nature;
use super::cohort::Cohort;
use super::initiation::{Arrival, Initiation, MOST_PER_ORIGIN, NewBlade, ORIGINS, for_each_arrival, stress_factor};
use super::purpose;
use crate::math::{ln, normal_quantile, whole};
use crate::random::Key;
use multiversion::multiversion;
use std::ops::Range;

/// A blade replaced at an outage, the first time at its position.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Replacement {
    pub life: u32,
    pub blade: u32,
    pub outage: u32,
}

/// A blade that was drawn before it was asked for: the first new one at its position, new from an outage on.
#[derive(Debug)]
pub(super) struct DrawnAhead {
    blade: u32,
    outage: u32,
    cracks: Range<u32>,
}

impl DrawnAhead {
    #[inline(always)]
    fn is(&self, blade: u32, outage: u32) -> bool {
        (self.blade, self.outage) == (blade, outage)
    }
}

impl Nature<'_> {
    /// The cracks of one new blade, if it has any: returns whether.
    pub(super) fn draw_blade(&mut self, new: NewBlade, age: &Cohort) -> bool {
        let plan = self.plan;
        let before = self.initiations.len();
        let key = self.lives[new.life].blades.child(new.number());
        let row_factor = self.lives[new.life].row_factor;
        let planted = self.planted_among(new.life, &[new.blade]);
        let sigma = plan.blade_stress_sigma;
        let stress = match planted {
            Some(_) => self.planted_stress(new.life),
            None if sigma > 0.0 => sigma * normal_quantile(key.uniform(0)),
            None => 0.0,
        };
        for (index, (spot, &end)) in plan.hot_spots.iter().zip(&age.hazards).enumerate() {
            let factor = row_factor * stress_factor(spot, stress);
            let (rate, most) = (factor * spot.origins, MOST_PER_ORIGIN / factor);
            let key = key.child(ORIGINS).child(spot.name);
            // Most do not crack, which is seen without a logarithm: exp(-x) >= 1 - x.
            if rate * end <= 1.0 - key.uniform(0) {
                continue;
            }
            self.draw_origins(&new, age, stress, index, key, rate, [most, end]);
        }
        if let Some(place) = planted {
            self.plant_in(&new, place, age, stress, before);
        }
        if age.life_factor != 1.0 {
            self.stretch(before, age.life_factor);
        }
        self.initiations.len() > before
    }

    /// Cracks from a number on begin as a factor on the time to each has it.
    #[inline(never)]
    fn stretch(&mut self, from: usize, life_factor: f64) {
        for crack in &mut self.initiations[from..] {
            crack.hazard = self.plan.hot_spots[crack.hot_spot as usize].stretched(crack.hazard, life_factor);
        }
    }

    /// The cracks of one hot spot in one new blade: arrivals until `most`, then each origin by itself until `end`.
    #[inline(never)]
    #[allow(clippy::too_many_arguments)]
    fn draw_origins(
        &mut self,
        new: &NewBlade,
        age: &Cohort,
        stress: f64,
        index: usize,
        key: Key,
        rate: f64,
        [most, end]: [f64; 2],
    ) {
        let spot = &self.plan.hot_spots[index];
        let mut arrivals = std::mem::take(&mut self.initiation_buffers.arrivals);
        arrivals.clear();
        for_each_arrival(key, rate, most.min(end), &[], |hazard, u| {
            let origin = whole(u * spot.origins).min(spot.origins - 1.0) as u32;
            if !arrivals.iter().any(|arrival: &Arrival| arrival.origin() == origin) {
                arrivals.push(Arrival::new(0, index, origin, hazard));
            }
        });
        if most < end {
            let early = arrivals.len();
            for origin in 0..spot.origins as u32 {
                if !arrivals[..early].iter().any(|arrival| arrival.origin() == origin) {
                    let hazard = most - ln(key.child(u64::from(origin)).uniform(0)) * spot.origins / rate;
                    if hazard < end {
                        arrivals.push(Arrival::new(0, index, origin, hazard));
                    }
                }
            }
        }
        arrivals.sort_unstable_by_key(|arrival| arrival.place);
        for arrival in &arrivals {
            self.add_initiation(new, age, stress, arrival);
        }
        self.initiation_buffers.arrivals = arrivals;
    }

    /// Plants a crack among those of a new blade, which stand from one number on.
    #[inline(never)]
    fn plant_in(&mut self, new: &NewBlade, place: usize, age: &Cohort, stress: f64, from: usize) {
        let own = self.initiations.drain(from..);
        let arrival = |crack: Initiation| Arrival::new(place, crack.hot_spot as usize, crack.origin, crack.hazard);
        let mut arrivals: Vec<Arrival> = own.map(arrival).collect();
        self.plant_arrival(new, place, age, stress, &mut arrivals);
        arrivals.iter().for_each(|arrival| self.add_initiation(new, age, stress, arrival));
    }

    /// Whether the first new blade at a position is known not to crack, if it is new from an outage on: most are.
    #[inline(always)]
    pub fn stays_sound(&self, life: usize, blade: u32, outage: usize) -> bool {
        self.survives(self.survived(life as u32, blade), outage as u32)
    }

    /// The same for a hazard that a blade is known to survive; never beyond the last outage.
    #[inline(always)]
    pub fn survives(&self, survived: f64, outage: u32) -> bool {
        let hazards = &self.plan.new_blade_hazards;
        // Branch-free: which outages come up is unpredictable.
        hazards[(outage as usize).min(hazards.len() - 1)] <= survived
    }

    /// The hazard that the first new blade at a position survives, for row factor 1, where it is known.
    #[inline(always)]
    pub fn survived(&self, life: u32, blade: u32) -> f64 {
        self.survived[self.position(life, blade)]
    }

    /// Works out what hazard the first new blades survive, where they may be needed soon: in place of blades that crack,
    /// and of others, given by life and blade.
    pub fn draw_survived_hazards(&mut self, others: impl Iterator<Item = (u32, u32)>) {
        let blades = self.plan.blades;
        self.survived.clear();
        self.survived.resize(self.positions(), f64::NAN);
        if self.plan.blade_stress_sigma > 0.0 {
            return;
        }
        self.replaced.clear();
        self.replaced.extend(self.cracks.iter().map(|crack| (crack.life, crack.blade)));
        self.replaced.extend(others);
        self.keys.clear();
        self.keys.extend(self.replaced.iter().map(|&(life, _)| self.lives[life as usize].blades));
        first_blade_each(&mut self.keys, &self.replaced);
        self.draws.resize(self.replaced.len(), 0.0);
        for (spot, share) in self.plan.hot_spots.iter().zip(&self.plan.new_blade_shares) {
            first_draw_each(&self.keys, spot.name, &mut self.draws);
            for (&(life, blade), u) in self.replaced.iter().zip(&self.draws) {
                // Without a logarithm: exp(-x) >= 1 - x.
                let survived = (1.0 - u) / (self.lives[life as usize].row_factor * share);
                let known = &mut self.survived[(life * blades + blade) as usize];
                // Not `min`, which minds not-a-numbers.
                *known = if *known <= survived { *known } else { survived };
            }
        }
        // Where a crack is planted, every new blade counts.
        for (life, planted) in self.planted.iter().enumerate() {
            self.survived[life * blades as usize + planted.blade as usize] = f64::NAN;
        }
    }

    /// A new blade at any moment: its cracks, as indices.
    pub fn new_blade_in(&mut self, life: usize, blade: u32, generation: u64, year: f64) -> Range<u32> {
        // A blade that is new later has less time to crack in.
        if let Some(before) = self.plan.calendar.count_before(year).checked_sub(1)
            && generation == 1
            && self.stays_sound(life, blade, before)
        {
            return 0..0;
        }
        self.blade_in(life, blade, generation, year, 1.0)
    }

    /// The same of a blade with a factor on the time to each crack, of which nothing is known beforehand: a used one may crack
    /// where the new one that would have been there is known not to.
    pub fn blade_in(&mut self, life: usize, blade: u32, generation: u64, year: f64, life_factor: f64) -> Range<u32> {
        let from = self.cracks.len();
        let mut age = std::mem::take(&mut self.new_blade);
        age.install(&self.plan.hot_spots, year, life_factor);
        if self.draw_blade(NewBlade { life, blade, generation }, &age) {
            self.grow_cracks();
        }
        self.new_blade = age;
        self.size_up(from)
    }

    /// New blades in the whole row: their cracks, as indices.
    #[inline(never)]
    pub fn new_row(&mut self, life: usize, generation: u64, year: f64) -> Range<u32> {
        let from = self.cracks.len();
        let cohort = Cohort::new(&self.plan.hot_spots, year, (0..self.plan.blades).collect());
        let key = self.lives[life].key.child(purpose::FIRST_BLADES).child(1 << 32 | generation);
        self.draw_cohort(life, &cohort, key, generation, &mut &[][..]);
        self.grow_cracks();
        self.size_up(from)
    }

    /// Draws the first new blades that are expected at outages, all together: one by one, as they are asked for, they
    /// would cost three times as much. Changes no number: a blade is the same whenever it is drawn. Returns all cracks,
    /// as indices.
    pub fn draw_ahead(&mut self, expected: &[Replacement]) -> Range<u32> {
        let from = self.cracks.len() as u32;
        self.lives.iter_mut().for_each(|life| life.drawn_ahead.clear());
        for &Replacement { life, blade, outage } in expected {
            let at = life as usize;
            let is_drawn = || self.lives[at].drawn_ahead.iter().any(|drawn| drawn.is(blade, outage));
            if self.stays_sound(at, blade, outage as usize) || self.is_planted_at(at, blade) || is_drawn() {
                continue;
            }
            let begin = self.initiations.len() as u32;
            self.draw_blade(NewBlade { life: at, blade, generation: 1 }, &self.plan.new_blades[outage as usize]);
            let cracks = from + begin..from + self.initiations.len() as u32;
            self.lives[at].drawn_ahead.push(DrawnAhead { blade, outage, cracks });
        }
        self.grow_cracks();
        self.size_up(from as usize)
    }

    /// The cracks of the first new blade at a position, if it was drawn ahead for an outage.
    pub fn drawn_ahead(&self, life: usize, blade: u32, outage: usize) -> Option<Range<u32>> {
        let drawn = self.lives[life].drawn_ahead.iter().find(|drawn| drawn.is(blade, outage as u32));
        drawn.map(|drawn| drawn.cracks.clone())
    }

    /// A new blade at an outage: its cracks, as indices.
    pub fn new_blade_at(&mut self, life: usize, blade: u32, generation: u64, outage: usize) -> Range<u32> {
        let from = self.cracks.len();
        if self.draw_blade(NewBlade { life, blade, generation }, &self.plan.new_blades[outage]) {
            self.grow_cracks();
        }
        self.size_up(from)
    }
}

/// Keys of the origins of the first new blades at some positions, from those of their lives' blades.
#[multiversion(targets = "simd")]
fn first_blade_each(keys: &mut [Key], replaced: &[(u32, u32)]) {
    for (key, &(_, blade)) in keys.iter_mut().zip(replaced) {
        *key = key.child(1 << 32 | u64::from(blade)).child(ORIGINS);
    }
}

/// The draws that say whether a hot spot on some new blades cracks.
#[multiversion(targets = "simd")]
fn first_draw_each(keys: &[Key], name: u64, draws: &mut [f64]) {
    for (draw, key) in draws.iter_mut().zip(keys) {
        *draw = key.child(name).uniform(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::simulation::nature::NaturePlan;
    use crate::simulation::plan::RowPlan;
    use crate::simulation::row_batch::RowBatch;

    /// What is known beforehand is a bound: a blade that is known to stay sound has no crack, whenever it is new.
    #[test]
    fn blades_that_are_known_to_stay_sound_never_crack() {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let mut study = Study::parse(text, "study").expect("a good study").into_parts();
        for sigma in [0.0, 0.2] {
            study.scatter.blade_stress_sigma_log = sigma;
            let study = Study::of_checked(study.clone());
            let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
            let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
            batch.begin((0..100_u32).map(|trial| Key::from_seed(2).child(trial.into())));
            batch.draw(&(0..100).collect::<Vec<u32>>());
            batch.draw_shared();
            let nature = &mut batch.nature;
            let (mut sound, mut cracked) = (0, 0);
            for (life, blade) in (0..100_usize).flat_map(|life| (0..24).map(move |blade| (life, blade))) {
                for (outage, age) in plan.nature.new_blades.iter().enumerate() {
                    let cracks = nature.draw_blade(NewBlade { life, blade, generation: 1 }, age);
                    let is_sound = nature.stays_sound(life, blade, outage);
                    assert!(!(is_sound && cracks), "life {life}, blade {blade}, outage {outage}");
                    sound += u32::from(is_sound);
                    cracked += u32::from(cracks);
                    nature.initiations.clear();
                }
            }
            // Nothing is known where stresses scatter.
            assert!(
                (sound > 1000) == (sigma == 0.0) && cracked > 100,
                "{sound} known to stay sound, {cracked} cracked"
            );
        }
    }

    /// In a used blade the cracks begin that would have begun in the new one, each in so many times the time, and further ones;
    /// that the new one is known to stay sound says nothing of it.
    #[test]
    fn cracks_of_used_blades_begin_sooner_by_their_factor() {
        const FACTOR: f64 = 0.2;
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let mut study = Study::parse(text, "study").expect("a good study").into_parts();
        let mut of_sound = 0;
        for sigma in [0.0, 0.2] {
            study.scatter.blade_stress_sigma_log = sigma;
            let study = Study::of_checked(study.clone());
            let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
            let peened = [(plan.nature.calendar.years[1], 3.0)];
            let plan = RowPlan { nature: NaturePlan::peened(&study, &study.rows[0], &peened).expect("a row"), ..plan };
            let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
            batch.begin((0..100_u32).map(|trial| Key::from_seed(2).child(trial.into())));
            batch.draw(&(0..100).collect::<Vec<u32>>());
            batch.draw_shared();
            let (mut of_new, mut of_used) = (0, 0);
            for (life, blade) in (0..100_usize).flat_map(|life| (0..24).map(move |blade| (life, blade))) {
                let (new, year) = (NewBlade { life, blade, generation: 1 }, plan.nature.calendar.years[0] + 0.1);
                let mut age = Cohort::new(&plan.nature.hot_spots, year, Vec::new());
                let hazards = age.hazards.clone();
                batch.nature.draw_blade(new, &age);
                let in_new = std::mem::take(&mut batch.nature.initiations);
                age.install(&plan.nature.hot_spots, year, FACTOR);
                batch.nature.draw_blade(new, &age);
                let in_used = std::mem::take(&mut batch.nature.initiations);
                for crack in &in_new {
                    let place = |other: &&Initiation| (other.hot_spot, other.origin) == (crack.hot_spot, crack.origin);
                    let other = in_used.iter().find(place).expect("the same crack");
                    let [one, other] = [crack, other]
                        .map(|crack| plan.nature.hot_spots[crack.hot_spot as usize].shape.reading_at(crack.hazard));
                    assert!((other / one / FACTOR - 1.0).abs() < 1e-6, "{one} and {other}");
                }
                assert!(in_used.iter().all(|crack| crack.hazard <= hazards[crack.hot_spot as usize] * (1.0 + 1e-6)));
                let cracks = batch.used_blade_in(life, blade, 1, year, FACTOR).len();
                assert_eq!(cracks, in_used.len());
                of_sound += if batch.nature.stays_sound(life, blade, 0) { cracks } else { 0 };
                (of_new, of_used) = (of_new + in_new.len(), of_used + in_used.len());
            }
            assert!(of_new > 100 && 2 * of_used > 3 * of_new, "{of_new} cracks in new blades, {of_used} in used ones");
        }
        assert!(of_sound > 20, "{of_sound} cracks in used blades where new ones are known to stay sound");
    }

    #[test]
    fn each_new_row_is_drawn_apart_from_the_first_and_from_others() {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        let mut study = Study::parse(text, "study").expect("a good study").into_parts();
        (study.scatter.blade_stress_sigma_log, study.rows[0].renewed) = (0.0, Vec::new());
        let study = Study::of_checked(study);
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let mut nature = Nature::new(&plan.nature);
        nature.begin(std::iter::once(Key::from_seed(2)));
        nature.draw(&[0]);
        // As old as the first one.
        for row in 1..3 {
            nature.new_row(0, row << 16, study.rows[0].in_service_year);
        }
        let mut starts: Vec<f64> = nature.cracks.iter().map(|crack| crack.born_starts).collect();
        let count = starts.len();
        starts.sort_by(f64::total_cmp);
        starts.dedup();
        assert!(starts.len() == count && count > 20, "{count} cracks, which begin at {} times", starts.len());
    }
}
