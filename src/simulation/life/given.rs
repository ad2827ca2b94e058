//! Lives that go on from records: what was found is known, and what was not found is drawn.
//!
//! Given what the blades of a row share, blades are independent. So each blade that is there when the study starts is drawn
//! from when it was new, and drawn again until no look of its past calls it and it is not lost: what is left has exactly the
//! distribution that the records leave. Hardly any is drawn more than twice.

use super::Lives;
use crate::math::exp;
use crate::model::RowPosterior;
use crate::random::Stream;
use crate::simulation::nature::{Crack, purpose};
use std::collections::BTreeMap;

/// A blade that is called or lost in so many attempts contradicts the records.
const MOST_ATTEMPTS: u64 = 10_000;

/// Blades that would be called falsely while they are clean, each with the first look that does.
type FalselyCalled = BTreeMap<u32, u32>;

impl Lives<'_> {
    /// Draws lives up to the start of the study, given the records of their row; with planted cracks, if there are any.
    ///
    /// Returns their number, or `None` if a blade never came through its looks.
    pub(super) fn draw_given_records(&mut self, given: &RowPosterior) -> Option<u64> {
        let lives: Vec<u32> = (0..self.batch.nature.lives.len() as u32).collect();
        self.came_through.clear();
        self.came_through.resize(lives.len(), true);
        let mut drawn = self.batch.draw(&lives);
        let mut pending: Vec<(u32, Vec<u32>)> = lives.iter().map(|&life| (life, Vec::new())).collect();
        let mut kept: Vec<Crack> = Vec::new();
        for attempt in 0..MOST_ATTEMPTS {
            for (life, blades) in &mut pending {
                let mut falsely = self.falsely_called(given, *life, attempt);
                if attempt > 0 {
                    falsely.retain(|blade, _| blades.contains(blade));
                }
                let cracks = self.first_of(*life, &mut drawn);
                let cracks = self.batch.nature.cracks[cracks.start as usize..cracks.end as usize].to_vec();
                *blades = self.keep_or_draw_again(given, *life, &cracks, falsely, &mut kept);
            }
            pending.retain(|(_, blades)| !blades.is_empty());
            if pending.is_empty() {
                kept.sort_by_key(|crack| (crack.life, crack.blade));
                self.batch.nature.keep(&kept);
                return Some(lives.len() as u64);
            }
            drawn = self.batch.draw_again(&pending, attempt + 1);
        }
        None
    }

    /// Keeps the cracks of blades that came through their looks: returns the blades that did not.
    fn keep_or_draw_again(
        &mut self,
        given: &RowPosterior,
        life: u32,
        cracks: &[Crack],
        mut falsely: FalselyCalled,
        kept: &mut Vec<Crack>,
    ) -> Vec<u32> {
        let mut again = Vec::new();
        for of_blade in cracks.chunk_by(|one, other| one.blade == other.blade) {
            let blade = of_blade[0].blade;
            // While it is clean, a blade is called falsely; what its cracks are called by stands in their calls.
            let falsely = falsely.remove(&blade).is_some_and(|look| is_before_all(look, of_blade));
            if self.batch.nature.is_planted_first_at(life as usize, blade) {
                self.came_through[life as usize] = self.weigh_planted_blade(given, life as usize, of_blade);
                kept.extend_from_slice(of_blade);
            } else if falsely || of_blade.iter().any(|crack| self.is_called_or_lost(given, crack)) {
                again.push(blade);
            } else {
                kept.extend_from_slice(of_blade);
            }
        }
        falsely.remove(&self.batch.nature.planted_first(life as usize).unwrap_or(u32::MAX));
        again.extend(falsely.into_keys());
        again
    }

    /// The blade in which a crack is planted is drawn once: whether its other cracks came through their looks. What the looks
    /// had to miss of the planted one, and how probable it is that such a blade came through, is in the weight.
    fn weigh_planted_blade(&mut self, given: &RowPosterior, life: usize, cracks: &[Crack]) -> bool {
        let batch = &self.batch;
        let start_year = self.row.nature.start_year;
        let blade = cracks[0].blade;
        let kind = given.kind_of_blade[blade as usize] as usize;
        let planted = &batch.nature.planted[life];
        let chance = given.chance(batch.nature.lives[life].posterior_draw, kind);
        let (mut factor, mut hazard) = (1.0 / chance, 0.0);
        for crack in cracks {
            if planted.standing.key != Some(crack.key) {
                if self.is_called_or_lost(given, crack) {
                    return false;
                }
                continue;
            }
            if crack.lost_year < start_year {
                return false;
            }
            for look in given.kinds[kind].iter().map(|&look| look as usize).filter(|&look| crack.is_present(look)) {
                let technique = self.row.past_techniques[look];
                factor *=
                    1.0 - batch.inspections.pod(&batch.nature, crack, technique, look, &planted.numbers.persistent);
            }
        }
        for &look in given.kinds[kind].iter().filter(|look| is_before_all(**look, cracks)) {
            hazard += batch.inspections.plan.techniques[self.row.past_techniques[look as usize]].false_call_hazard;
        }
        self.batch.nature.planted[life].standing.factor *= factor * exp(-hazard);
        true
    }

    /// Whether a look of its past calls a crack, or its blade is lost before the study starts.
    fn is_called_or_lost(&self, given: &RowPosterior, crack: &Crack) -> bool {
        let looks = &given.kinds[given.kind_of_blade[crack.blade as usize] as usize];
        let is_called = |look: usize| {
            let technique = self.row.past_techniques[look];
            crack.is_present(look) && self.batch.inspections.calls(crack, technique, look)
        };
        crack.lost_year < self.row.nature.start_year || looks.iter().any(|&look| is_called(look as usize))
    }

    /// Blades of a life that would be called falsely by a look of their past, were they clean: every look skips an
    /// exponential number of them.
    fn falsely_called(&self, given: &RowPosterior, life: u32, attempt: u64) -> FalselyCalled {
        let key = self.batch.nature.lives[life as usize].key.child(purpose::PAST_FALSE_CALLS).child(attempt);
        let mut called = FalselyCalled::new();
        for (look, &technique) in self.row.past_techniques.iter().enumerate() {
            let hazard = self.batch.inspections.plan.techniques[technique].false_call_hazard;
            if hazard <= 0.0 {
                continue;
            }
            let mut stream = Stream::new(key.child(look as u64));
            let mut blade = (stream.exponential() / hazard).floor();
            while blade < f64::from(self.row.nature.blades) {
                let kind = &given.kinds[given.kind_of_blade[blade as usize] as usize];
                if kind.contains(&(look as u32)) {
                    called.entry(blade as u32).or_insert(look as u32);
                }
                blade += 1.0 + (stream.exponential() / hazard).floor();
            }
        }
        called
    }
}

/// Whether a look took place before any of some cracks began.
fn is_before_all(look: u32, cracks: &[Crack]) -> bool {
    cracks.iter().all(|crack| look < crack.first)
}
