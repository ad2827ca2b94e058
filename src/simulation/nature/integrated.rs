//! Cracks of a row whose growth is integrated one by one, as the outages see them.

use super::Nature;
use super::cracks::Crack;
use super::growth::NewCrack;
use super::hot_spot_plan::Integration;
use super::joined::{IntegratedCrack, Place};
use super::mouth::{is_closed_for_life, is_held_shut};
use super::plan::NaturePlan;
use super::planted::CrackDraws;
use crate::math::{exp, ln};
use crate::model::growth::Course;

/// Size of such a crack at a moment.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    /// As growth curves have it: `ln depth_mm = -ln(y) * depth_power`, with the power of its hot spot.
    pub y: f64,
    /// Logarithm of surface length over depth.
    pub ln_ratio: f64,
    /// Whether its mouth is closed.
    pub closed: bool,
    /// Its middle along the serration, in mm.
    pub position_mm: f64,
}

impl Nature<'_> {
    /// Integrates the cracks of one place in a blade: `scatter` has the initial depth in mm and the growth factor of each.
    pub(super) fn integrate(&mut self, integration: &Integration, new_cracks: &[NewCrack], scatter: &[[f64; 2]]) {
        let plan = self.plan;
        let Some(&NewCrack { life, hot_spot, .. }) = new_cracks.first() else { return };
        let rate = self.growth_rate(life, hot_spot);
        let mut cracks = std::mem::take(&mut self.integrated);
        cracks.clear();
        let mut place =
            Place { plan, integration, end_year: plan.end_year, cracks: &mut cracks, counts: &mut self.counts };
        let spot = &plan.hot_spots[hot_spot as usize];
        for (new, &[depth_mm, growth]) in new_cracks.iter().zip(scatter) {
            let draws = CrackDraws::among(&self.planted, life, new.key);
            place.begin(spot, *new, &draws, rate * growth, depth_mm, depth_mm / spot.aspect(&draws));
        }
        place.join();
        for crack in &cracks.all {
            self.settle(integration, crack);
        }
        self.integrated = cracks;
    }

    /// Adds an integrated crack, with its sizes at outages.
    pub(super) fn settle(&mut self, integration: &Integration, crack: &IntegratedCrack) {
        let plan = self.plan;
        let NewCrack { key, life, blade, hot_spot, origin, stress, born_year } = crack.new;
        let first = plan.calendar.count_before(born_year);
        let last = if crack.end_year < f64::INFINITY {
            plan.calendar.count_before(crack.end_year).max(first)
        } else {
            plan.calendar.len()
        };
        let depth_power = plan.hot_spots[hot_spot as usize].depth_power;
        for &year in &plan.calendar.years[first..last] {
            self.integrated_sizes.push(size_at(plan, integration, crack, year, depth_power));
        }
        self.cracks.push(Crack {
            key,
            life,
            blade,
            first: first as u32,
            last: last as u32,
            hot_spot,
            origin,
            place: 0,
            lost_year: if crack.joined { f64::INFINITY } else { crack.end_year },
            born_starts: f64::NAN,
            course: NOWHERE,
            rate: f64::NAN,
            stress,
            sizes: self.integrated_sizes.len() as u32,
        });
    }
}

impl Nature<'_> {
    /// Where along its serration a crack whose growth was integrated has its middle, at an outage that it lives to see.
    pub(super) fn integrated_position_mm(&self, crack: &Crack, outage: usize) -> f64 {
        self.integrated_sizes[crack.sizes as usize - (crack.last as usize - outage)].position_mm
    }
}

/// Stands for the position on a growth curve of a crack that is on none.
const NOWHERE: Course = Course { start: f64::NAN, line: f64::NAN };

fn size_at(plan: &NaturePlan, integration: &Integration, crack: &IntegratedCrack, year: f64, depth_power: f64) -> Size {
    let [depth_mm, half_length_mm] = crack.trajectory.size_at_mm(year);
    let halves = if integration.is_corner { 1.0 } else { 2.0 };
    Size {
        y: if depth_power == 1.0 { 1.0 / depth_mm } else { exp(-ln(depth_mm) / depth_power) },
        ln_ratio: ln(halves * half_length_mm / depth_mm),
        closed: is_closed_for_life(plan, crack.new.key)
            || is_held_shut(plan, &integration.site, depth_mm, half_length_mm),
        position_mm: crack.position_mm,
    }
}
