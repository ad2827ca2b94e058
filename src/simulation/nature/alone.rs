//! Cracks that stand alone, each in a row of its own, with all numbers stated: what becomes of each, if nobody looks.

use super::cohort::Cohort;
use super::initiation::Initiation;
use super::planted::{Numbers, Planted, Standing};
use super::{Mark, Nature, purpose};
use crate::math::exp;
use crate::random::Key;

impl Nature<'_> {
    /// Begins as many rows as there are numbers, for one crack of a hot spot each.
    pub fn begin_alone(&mut self, key: Key, hot_spot: usize, numbers: impl ExactSizeIterator<Item = Numbers>) {
        self.begin((0..numbers.len()).map(|life| key.child(life as u64)));
        let number = self.plan.hot_spots[hot_spot].crack_number(0);
        for (life, numbers) in self.lives.iter_mut().zip(numbers) {
            life.blades = life.key.child(purpose::BLADE);
            let own = life.blades.child(0).child(number);
            self.planted.push(Planted {
                blade: 0,
                hot_spot: hot_spot as u32,
                origin: 0,
                generation: 0,
                row_factor: 1.0,
                posterior_draw: None,
                numbers,
                weight: 1.0,
                standing: Standing { births: 1, key: Some(own), factor: 1.0 },
            });
        }
    }

    /// Grows these cracks, from where the hazard of an origin in blades of an age comes to a number, at so many times the
    /// median rate, in logarithms. One that begins after the study is left out.
    pub fn grow_alone(&mut self, age: &Cohort, hazards: &[f64], ln_growths: impl Iterator<Item = f64>) {
        self.release(Mark::default());
        let spots = self.plan.hot_spots.len();
        for (((index, planted), &hazard), ln_growth) in self.planted.iter().enumerate().zip(hazards).zip(ln_growths) {
            let hot_spot = planted.hot_spot as usize;
            let spot = &self.plan.hot_spots[hot_spot];
            self.growth_rates[index * spots + hot_spot] = spot.rate * exp(ln_growth);
            self.planted_initiations.push(index);
            self.initiations.push(Initiation {
                parent: self.lives[index].blades,
                blade_number: 0,
                crack_number: spot.crack_number(0),
                hazard,
                installed: age.installed[hot_spot],
                first_peening: age.first_peening as u32,
                stress: self.plan.blade_stress_sigma * planted.numbers.stress,
                life: index as u32,
                hot_spot: planted.hot_spot,
                origin: 0,
            });
        }
        self.grow_cracks();
        self.size_up(0);
    }
}
