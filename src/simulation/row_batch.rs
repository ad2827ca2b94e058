//! Some lives of a row: its cracks, and the answers of all techniques, which all strategies share.

use super::inspection::{InspectionPlan, Inspections};
use super::nature::{GroundPlace, LifeKey, Mark, Nature, NaturePlan, Replacement, purpose};
use crate::random::Key;
use std::ops::Range;

/// See above.
#[derive(Debug)]
pub(crate) struct RowBatch<'p> {
    pub nature: Nature<'p>,
    pub inspections: Inspections<'p>,
}

impl<'p> RowBatch<'p> {
    pub fn new(nature: &'p NaturePlan, inspection: &'p InspectionPlan) -> Self {
        RowBatch { nature: Nature::new(nature), inspections: Inspections::new(inspection, nature) }
    }

    /// Begins lives of the row, each with the key of the row in its trial; nothing is drawn yet.
    pub fn begin<K: Into<LifeKey>>(&mut self, keys: impl ExactSizeIterator<Item = K>) {
        self.nature.begin(keys);
    }

    /// Draws some lives from the row's entry into service on: returns the indices of their cracks.
    pub fn draw(&mut self, lives: &[u32]) -> Range<u32> {
        let new = self.nature.draw(lives);
        self.inspections.draw_effects(&self.nature, lives);
        self.inspected(new)
    }

    /// Draws some blades once more; see [`Nature::draw_again`].
    pub fn draw_again(&mut self, blades: &[(u32, Vec<u32>)], attempt: u64) -> Range<u32> {
        let new = self.nature.draw_again(blades, attempt);
        self.inspected(new)
    }

    /// Draws what all strategies share, when the cracks are there that stand at the start of the study.
    pub fn draw_shared(&mut self) {
        self.nature.find_first_cracks();
        self.inspections.draw_false_calls(&self.nature);
        self.nature.draw_survived_hazards(self.inspections.falsely_called());
    }

    /// Draws the first new blades that are expected at outages.
    pub fn draw_ahead(&mut self, expected: &[Replacement]) {
        let new = self.nature.draw_ahead(expected);
        self.inspected(new);
    }

    /// A new blade at an outage: its cracks, as indices.
    #[inline]
    pub fn new_blade_at(&mut self, life: usize, blade: u32, generation: u64, outage: usize) -> Range<u32> {
        if generation == 1 {
            if self.nature.stays_sound(life, blade, outage) {
                return 0..0;
            }
            if let Some(cracks) = self.nature.drawn_ahead(life, blade, outage) {
                return cracks;
            }
        }
        let new = self.nature.new_blade_at(life, blade, generation, outage);
        self.inspected(new)
    }

    /// A new blade at any moment: its cracks, as indices.
    pub fn new_blade_in(&mut self, life: usize, blade: u32, generation: u64, year: f64) -> Range<u32> {
        let new = self.nature.new_blade_in(life, blade, generation, year);
        self.inspected(new)
    }

    /// A used blade at any moment, with the draws of the new one that would have been there: its cracks, as indices.
    #[inline(never)]
    pub fn used_blade_in(
        &mut self,
        life: usize,
        blade: u32,
        generation: u64,
        year: f64,
        life_factor: f64,
    ) -> Range<u32> {
        let new = self.nature.blade_in(life, blade, generation, year, life_factor);
        self.inspected(new)
    }

    /// A place of a blade begins anew; see [`Nature::begin_anew`].
    pub fn begin_anew(&mut self, place: &GroundPlace, staying: &[u32]) -> Range<u32> {
        let new = self.nature.begin_anew(place, staying);
        self.inspected(new)
    }

    /// New blades in the whole row: their cracks, as indices.
    pub fn new_row(&mut self, life: usize, generation: u64, year: f64) -> Range<u32> {
        let new = self.nature.new_row(life, generation, year);
        self.inspected(new)
    }

    /// Remembers the cracks that are there.
    pub fn mark(&self) -> Mark {
        self.nature.mark()
    }

    /// Forgets the cracks that came after a mark.
    pub fn release(&mut self, mark: Mark) {
        self.nature.release(mark);
    }

    /// The key of what the losses of a position's blades cost; draws go by the generation that comes next.
    pub fn loss_key(&self, life: usize, blade: u32) -> Key {
        self.nature.lives[life].key.child(purpose::LOSS).child(u64::from(blade))
    }

    /// A draw for what a loss does to others, by the generation that comes next at its position.
    pub fn consequence_draw(&self, life: usize, blade: u32, generation: u64) -> f64 {
        let key = self.nature.lives[life].key.child(purpose::CONSEQUENCES);
        key.child(u64::from(blade)).uniform(generation)
    }

    /// A draw for whether a look that covers part of the blades covers this one.
    pub fn coverage_draw(&self, life: usize, blade: u32, look: usize, outage: usize) -> f64 {
        let to_come = (outage - self.nature.plan.calendar.start) as u64;
        let key = self.nature.lives[life].key.child(purpose::COVERAGE).child(look as u64);
        key.child(u64::from(blade)).uniform(to_come)
    }

    /// Works out the calls of new cracks.
    #[inline(always)]
    fn inspected(&mut self, new: Range<u32>) -> Range<u32> {
        self.inspections.inspect(&self.nature, new.clone());
        new
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::LANES;
    use crate::model::Study;
    use crate::random::Stream;
    use crate::simulation::life::Lives;
    use crate::simulation::nature::Crack;
    use crate::simulation::plan::RowPlan;

    /// Draws lives of a row without a past.
    fn draw_all(batch: &mut RowBatch, keys: impl ExactSizeIterator<Item = Key>) {
        batch.begin(keys);
        batch.draw(&(0..batch.nature.lives.len() as u32).collect::<Vec<u32>>());
        batch.draw_shared();
    }

    #[test]
    fn lives_together_are_those_apart() {
        let studies = [
            include_str!("../../tests/engine/data/y2.toml"),
            include_str!("../../demo-data/demo-study.toml"),
            include_str!("../../demo-data/reference-study.toml"),
        ];
        for text in studies {
            let study = Study::parse(text, "study").expect("a good study");
            for row in &study.rows {
                let plan = RowPlan::new(&study, row).expect("a good row");
                let keys: Vec<Key> = (0..37).map(|trial| Key::from_seed(5).child(trial)).collect();
                let (mut together, mut apart) = (Lives::new(&plan, &study), Lives::new(&plan, &study));
                let tries = together.begin(keys.iter().copied());
                let mut tries_apart = 0;
                for (life, key) in keys.into_iter().enumerate() {
                    tries_apart += apart.begin(std::iter::once(key)).expect("a life that comes through");
                    let (together, apart) = (together.batch(), apart.batch());
                    // Those that stand at the start, without new blades made ready.
                    let cracks = &apart.nature.cracks[apart.nature.first_cracks(0)];
                    let own = &together.nature.cracks[together.nature.first_cracks(life)];
                    assert_eq!(own.len(), cracks.len(), "{} life {life}", row.id);
                    for (one, other) in own.iter().zip(cracks) {
                        let about = |crack: &Crack| (crack.key, crack.blade, crack.first, crack.last, crack.hot_spot());
                        assert_eq!(about(one), about(other), "{} life {life}", row.id);
                        assert_eq!(one.lost_year, other.lost_year, "{} life {life}", row.id);
                        for outage in one.first as usize..one.last as usize {
                            assert_eq!(together.nature.size_mm(one, outage), apart.nature.size_mm(other, outage));
                            for &technique in &plan.inspection.in_use {
                                let calls = together.inspections.calls(one, technique, outage);
                                assert_eq!(calls, apart.inspections.calls(other, technique, outage));
                            }
                        }
                    }
                    for &technique in &plan.inspection.in_use {
                        let of = |batch: &RowBatch, life: usize| {
                            let calls = batch.inspections.false_calls(technique).of(life).iter();
                            calls.map(|call| (call.outage, call.blade)).collect::<Vec<_>>()
                        };
                        assert_eq!(of(together, life), of(apart, 0));
                    }
                }
                assert_eq!(tries, Some(tries_apart), "{}", row.id);
            }
        }
    }

    /// Skipping with one exponential number after another, as the first drawing of all lives does in blocks.
    #[test]
    fn false_calls_are_exponential_skips() {
        let text = include_str!("../../tests/engine/data/y2.toml");
        let study = Study::parse(text, "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let keys: Vec<Key> = (0..200).map(|trial| Key::from_seed(8).child(trial)).collect();
        let mut batch = RowBatch::new(&plan.nature, &plan.inspection);
        draw_all(&mut batch, keys.iter().copied());
        let (mut total, mut most) = (0, 0);
        for ((life, key), technique) in keys.iter().enumerate().flat_map(|life| [(life, 0), (life, 1)]) {
            let about = &plan.inspection.techniques[technique];
            let mut stream = Stream::new(key.child(purpose::FALSE_CALLS).child(about.name));
            let (mut looked_at, mut expected) = (0, Vec::new());
            loop {
                looked_at += (stream.exponential() / about.false_call_hazard) as u32;
                if looked_at >= 80 * 29 {
                    break;
                }
                expected.push((looked_at / 80, looked_at % 80));
                looked_at += 1;
            }
            let calls = batch.inspections.false_calls(technique).of(life);
            let drawn: Vec<(u32, u32)> = calls.iter().map(|call| (call.outage, call.blade)).collect();
            assert_eq!(drawn, expected, "life {life}");
            for outage in 0..29 {
                let is_here = expected.iter().any(|call| call.0 == outage);
                assert_eq!(batch.inspections.false_calls(technique).may_fall_on(life, outage as usize), is_here);
            }
            total += expected.len();
            most = most.max(expected.len());
        }
        assert!(total > 1000 && most > LANES, "{total} in all, {most} in one life");
    }

    #[test]
    fn blades_made_ready_are_those_made_when_asked_for() {
        let study = Study::parse(include_str!("../../tests/engine/data/y2.toml"), "study").expect("a good study");
        let plan = RowPlan::new(&study, &study.rows[0]).expect("a good row");
        let keys = || (0..8_u32).map(|trial| Key::from_seed(6).child(u64::from(trial)));
        let (mut ready, mut asked) =
            (RowBatch::new(&plan.nature, &plan.inspection), RowBatch::new(&plan.nature, &plan.inspection));
        [&mut ready, &mut asked].into_iter().for_each(|batch| draw_all(batch, keys()));
        // Each blade at two outages: what is ready for one is not the other's.
        let mut expected = Vec::new();
        for (life, blade) in (0..8).flat_map(|life| (0..80).map(move |blade| (life, blade))) {
            let outages = [(life + blade) % 29, (life + blade + 11) % 29];
            expected.extend(outages.map(|outage| Replacement { life, blade, outage }));
        }
        ready.draw_ahead(&expected);
        let made = ready.nature.cracks.len();
        let mut cracked = 0;
        for Replacement { life, blade, outage } in expected {
            let (life, outage) = (life as usize, outage as usize);
            let one = ready.new_blade_at(life, blade, 1, outage);
            let other = asked.new_blade_at(life, blade, 1, outage);
            assert_eq!(one.len(), other.len(), "blade {blade}");
            for (one, other) in one.zip(other) {
                let [one, other] = [&ready.nature.cracks[one as usize], &asked.nature.cracks[other as usize]];
                let about = |crack: &Crack| (crack.key, crack.blade, crack.life, crack.first, crack.last);
                assert_eq!(about(one), about(other));
                assert!(one.first as usize > outage);
                for outage in one.first as usize..one.last as usize {
                    assert_eq!(ready.nature.size_mm(one, outage), asked.nature.size_mm(other, outage));
                    assert!((0..2).all(
                        |at| ready.inspections.calls(one, at, outage) == asked.inspections.calls(other, at, outage)
                    ));
                }
                cracked += 1;
            }
        }
        assert!(cracked > 20 && ready.nature.cracks.len() == made, "{cracked} cracks, all of them ready");
    }
}
