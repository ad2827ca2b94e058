//! Places of a blade where cracks were ground out: their origins begin anew.

use super::growth::NewCrack;
use super::hot_spot_plan::{HotSpotGrowth, HotSpotPlan, Integration};
use super::initiation::{Initiation, ORIGINS, stress_factor};
use super::joined::Place;
use super::planted::CrackDraws;
use super::{Crack, Nature, draw, purpose};
use crate::math::{exp, ln, normal_cdf};
use crate::random::Key;
use std::ops::Range;

/// Child of a crack's key from which it is drawn whether it is gone; other children are those of techniques.
const GONE: u64 = 2;

/// A place where cracks were ground out at an outage.
#[derive(Debug, Clone, Copy)]
pub(crate) struct GroundPlace {
    pub life: usize,
    pub blade: u32,
    pub hot_spot: u32,
    /// Which of the positions of its hot spot.
    pub position: u32,
    /// Logarithm of its blade's factor on stress.
    pub stress: f64,
    pub outage: usize,
    /// Factor on the time to a crack there from now on.
    pub life_factor: f64,
}

impl Nature<'_> {
    /// Position of a crack among those of its hot spot.
    pub fn position_of(&self, crack: &Crack) -> u32 {
        crack.origin / self.plan.hot_spots[crack.hot_spot()].origins_per_place
    }

    /// A uniform number that decides whether a crack that is dressed at an outage is gone.
    pub fn gone_draw(&self, crack: &Crack, outage: usize) -> f64 {
        crack.key.child(GONE).uniform((outage - self.plan.calendar.start) as u64)
    }

    /// The origins of a place begin anew, but for those of cracks that stay there, which are given by index. Where cracks
    /// of the place may join, those that stay go on from what they are: anew, too. Returns all new cracks, as indices.
    pub fn begin_anew(&mut self, place: &GroundPlace, staying: &[u32]) -> Range<u32> {
        let plan = self.plan;
        let from = self.cracks.len();
        let spot = &plan.hot_spots[place.hot_spot as usize];
        self.draw_anew(place, spot, staying);
        match &spot.growth {
            HotSpotGrowth::Integrated(integration) if spot.joins() => {
                let begins = std::mem::take(&mut self.initiations);
                let new = self.new_cracks(&begins);
                self.initiations = begins;
                self.initiations.clear();
                self.planted_initiations.clear();
                self.integrate_again(place, spot, integration, &new, staying);
            }
            _ => self.grow_cracks(),
        }
        self.size_up(from)
    }

    /// When its origins crack, those that do before the end.
    fn draw_anew(&mut self, place: &GroundPlace, spot: &HotSpotPlan, staying: &[u32]) {
        let &GroundPlace { life, blade, hot_spot, position, stress, outage, life_factor } = place;
        let plan = self.plan;
        let to_come = (outage - plan.calendar.start) as u64;
        let parent = self.lives[life].key.child(purpose::DRESSED).child(to_come);
        let key = parent.child(u64::from(blade));
        let installed = spot.clock.at(plan.calendar.years[outage]);
        let rate = self.lives[life].row_factor * stress_factor(spot, stress);
        // What is dressed at an outage is peened there.
        let first_peening = spot.peened.before_dressed(plan.calendar.years[outage]);
        let end = spot.hazard_at_end(installed, first_peening, life_factor);
        let first = position * spot.origins_per_place;
        let is_free = |origin: u32| !staying.iter().any(|&index| self.cracks[index as usize].origin == origin);
        let free: Vec<u32> = (first..first + spot.origins_per_place).filter(|&origin| is_free(origin)).collect();
        let planted = self.planted_anew(life, blade, hot_spot, &free);
        for origin in free {
            let is_planted = planted == Some(origin);
            let hazard = if is_planted {
                self.plant_anew(life, key.child(spot.crack_number(origin)), rate, end)
            } else if self.only_planted {
                f64::INFINITY
            } else {
                -ln(key.child(ORIGINS).child(spot.name).child(u64::from(origin)).uniform(0)) / rate
            };
            if hazard < end {
                if is_planted {
                    self.planted_initiations.push(self.initiations.len());
                }
                self.initiations.push(Initiation {
                    parent,
                    blade_number: u64::from(blade),
                    crack_number: spot.crack_number(origin),
                    hazard: spot.stretched(hazard, life_factor),
                    installed,
                    first_peening: first_peening as u32,
                    stress,
                    life: life as u32,
                    hot_spot,
                    origin,
                });
            }
        }
    }

    /// The hazard at which a planted crack begins, at an origin that cracks by a rate until an end; its weight has the
    /// chance that it does.
    fn plant_anew(&mut self, life: usize, key: Key, rate: f64, end: f64) -> f64 {
        let planted = &mut self.planted[life];
        let chance = -(-rate * end).exp_m1();
        planted.standing.factor *= chance;
        if !(chance > 0.0) {
            return f64::INFINITY;
        }
        planted.standing.key = Some(key);
        -(-normal_cdf(planted.numbers.time) * chance).ln_1p() / rate
    }

    /// Integrates the cracks of a place once more: new ones from their beginning, others from what they are at the outage.
    fn integrate_again(
        &mut self,
        place: &GroundPlace,
        spot: &HotSpotPlan,
        integration: &Integration,
        new: &[(NewCrack, [f64; 2])],
        staying: &[u32],
    ) {
        let plan = self.plan;
        let rate = self.growth_rate(place.life as u32, place.hot_spot);
        let halves = if integration.is_corner { 1.0 } else { 2.0 };
        let mut cracks = std::mem::take(&mut self.integrated);
        cracks.clear();
        let mut counts = std::mem::take(&mut self.counts);
        let mut at = Place { plan, integration, end_year: plan.end_year, cracks: &mut cracks, counts: &mut counts };
        for &index in staying {
            let crack = &self.cracks[index as usize];
            let &Crack { key, life, blade, hot_spot, origin, stress, .. } = crack;
            let born_year = plan.calendar.years[place.outage];
            let now = NewCrack { key, life, blade, hot_spot, origin, stress, born_year };
            let draws = CrackDraws::among(&self.planted, life, key);
            let growth = exp(spot.crack_sigma * draws.normal(draw::GROWTH));
            let [depth_mm, length_mm] = self.size_mm(crack, place.outage);
            let position_mm = self.integrated_position_mm(crack, place.outage);
            at.go_on(spot, now, &draws, rate * growth, [depth_mm, length_mm / halves], position_mm);
        }
        for &(new, [depth_mm, growth]) in new {
            let draws = CrackDraws::among(&self.planted, new.life, new.key);
            at.begin(spot, new, &draws, rate * growth, depth_mm, depth_mm / spot.aspect(&draws));
        }
        at.join();
        self.counts = counts;
        for crack in &cracks.all {
            self.settle(integration, crack);
        }
        self.integrated = cracks;
    }
}
