//! Cracks ground out of blades that stay in the row.

use super::follow::{Life, numbers};
use crate::bits::WORD;
use crate::model::strategy::Dressing;
use crate::simulation::nature::GroundPlace;
use crate::simulation::policy::DressedPlace;

/// A called crack of a blade that is dressed.
#[derive(Debug, Clone, Copy)]
struct CalledCrack {
    /// In the row.
    number: usize,
    place: DressedPlace,
    depth_mm: f64,
}

impl Life<'_, '_> {
    /// What looks that stand called on a blade is ground out; one that is too deeply cracked for that is put aside.
    #[inline(never)]
    pub fn dress_blade(&mut self, blade: u32, outage: usize) {
        let Some(dressing) = self.strategy.policy.dressing else { return };
        self.record.work.dress_blade(outage, dressing.blades_out);
        let called = self.called_on(blade, outage);
        let ground = &mut self.room.policy.ground;
        if called.iter().any(|crack| ground.is_too_deep(&dressing, crack.place, crack.depth_mm)) {
            self.room.too_deep.push(blade);
            return;
        }
        let mut places: Vec<DressedPlace> = Vec::new();
        for place in called.iter().map(|crack| crack.place) {
            if !places.contains(&place) {
                places.push(place);
            }
        }
        for place in places {
            let here: Vec<CalledCrack> = called.iter().filter(|crack| crack.place == place).copied().collect();
            let deepest_mm = here.iter().map(|crack| crack.depth_mm).fold(0.0, f64::max);
            self.room.policy.ground.grind(place, deepest_mm);
            let gone: Vec<usize> = here
                .iter()
                .map(|crack| crack.number)
                .filter(|&number| self.is_gone(&dressing, number, outage))
                .collect();
            if !gone.is_empty() {
                self.begin_anew(&dressing, place, &gone, outage);
            }
        }
    }

    /// Replaces the blades that were put aside, each with its group.
    #[inline(never)]
    pub fn replace_too_deep(&mut self, outage: usize) {
        let mut too_deep = std::mem::take(&mut self.room.too_deep);
        if self.strategy.policy.spares.is_some() {
            let called = self.room.findings.blades.iter().filter(|called| too_deep.contains(&called.blade));
            let (called, moment) = (called.copied().collect(), (outage + 1, self.year_of(outage)));
            // A study that has blades dressed and windows close is refused.
            let state = &mut self.room.policy;
            too_deep = self.strategy.policy.ask_for_blades(called, moment, usize::MAX, state, self.stocks);
            if !self.room.policy.watched.is_empty() {
                self.room.state.visit(outage + 1);
            }
        }
        let mut blades: Vec<u32> = too_deep.drain(..).flat_map(|blade| self.strategy.policy.groups.of(blade)).collect();
        blades.sort_unstable();
        blades.dedup();
        for blade in blades {
            self.strategy.policy.groups.of(blade).for_each(|blade| self.room.policy.renew_blade(blade));
            self.replace_and_count(blade, outage);
        }
        self.room.too_deep = too_deep;
    }

    /// Cracks of a blade that looks that stand called.
    fn called_on(&self, blade: u32, outage: usize) -> Vec<CalledCrack> {
        let (state, nature) = (&self.room.state, &self.batch.nature);
        // Cracks that entered since, in words of their own, were called by nobody.
        let words = self.room.called.iter().enumerate();
        let called = words.flat_map(|(word, called)| numbers(word, state.in_blade(word, blade) & called));
        let about = |number: usize| {
            let crack = &nature.cracks[state.cracks[number] as usize];
            let (hot_spot, position) = (crack.hot_spot() as u32, nature.position_of(crack));
            let [depth_mm, _] = nature.size_mm(crack, outage);
            CalledCrack { number, place: DressedPlace { blade, hot_spot, position }, depth_mm }
        };
        called.map(about).collect()
    }

    /// Whether a crack is gone. Of a planted one it is not drawn: what counts is that it stays.
    fn is_gone(&mut self, dressing: &Dressing, number: usize, outage: usize) -> bool {
        if self.room.planted.is(number) {
            self.batch.nature.planted[self.life].standing.factor *= 1.0 - dressing.gone_probability;
            return false;
        }
        let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
        self.batch.nature.gone_draw(crack, outage) < dressing.gone_probability
    }

    /// A place at which some cracks are gone, by their numbers in the row, begins anew.
    fn begin_anew(&mut self, dressing: &Dressing, place: DressedPlace, gone: &[usize], outage: usize) {
        let (state, nature) = (&mut self.room.state, &self.batch.nature);
        let joins = nature.plan.hot_spots[place.hot_spot as usize].joins();
        let (mut staying, mut stress) = (Vec::new(), 0.0);
        for word in state.words() {
            let mut leave = 0;
            for number in numbers(word, state.in_blade(word, place.blade)) {
                let crack = &nature.cracks[state.cracks[number] as usize];
                if crack.hot_spot() as u32 != place.hot_spot || nature.position_of(crack) != place.position {
                    continue;
                }
                let is_gone = gone.contains(&number);
                if is_gone {
                    stress = crack.stress;
                }
                let stays = crack.is_present(outage) && !is_gone;
                if stays {
                    staying.push(state.cracks[number]);
                }
                if joins || !stays {
                    leave |= 1 << (number % WORD);
                    self.record.cracks_left.leave(number, outage);
                }
            }
            state.take_out_each(word, leave);
        }
        let DressedPlace { blade, hot_spot, position } = place;
        let life_factor = dressing.life_factor;
        let ground = GroundPlace { life: self.life, blade, hot_spot, position, stress, outage, life_factor };
        let new = self.batch.begin_anew(&ground, &staying);
        self.enter(new);
    }
}
