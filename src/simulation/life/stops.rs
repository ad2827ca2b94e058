//! Looks between outages, while the unit stands still.

use super::follow::{Life, numbers};
use super::looks::note;
use crate::bits::{WORD, clear};
use crate::simulation::inspection::Stop;
use crate::simulation::nature::Seen;
use crate::simulation::observe::Unscheduled;
use crate::simulation::policy::Act;

impl Life<'_, '_> {
    /// Has the unit stopped some time after an outage at which something was found, unless the next one comes first.
    #[inline(never)]
    pub(super) fn plan_extra_look(&mut self, outage: usize) {
        let calendar = &self.row.nature.calendar;
        if outage < calendar.len() && self.room.findings.any {
            let next_year = calendar.years.get(outage + 1).copied().unwrap_or(self.row.nature.end_year);
            let year = self.strategy.policy.stops.extra_look_year(calendar.years[outage], next_year);
            self.room.policy.extra_look_year = year;
            if year.is_some() {
                self.room.state.stop_before(outage + 1);
            }
        }
    }

    /// The extra look in a year before an outage.
    #[inline(never)]
    pub(super) fn look_extra(&mut self, year: f64, next: usize) {
        if let Some(look) = &self.strategy.policy.stops.after_finds {
            self.stop(&look.techniques, year, next, Some([look.stop_cost, look.stop_days]));
        }
    }

    /// A look after a loss in a year before an outage.
    #[inline(never)]
    pub(super) fn look_after_loss(&mut self, techniques: &[usize], year: f64, next: usize) {
        if !techniques.is_empty() {
            self.stop(techniques, year, next, None);
        }
    }

    /// Some techniques look at the whole row, and what is found is disposed of as at an outage.
    fn stop(&mut self, techniques: &[usize], year: f64, next: usize, stopped: Option<[f64; 2]>) {
        let stop = Stop::new(&self.batch.nature, year, next, self.room.stops_before(next));
        let mut work = Unscheduled::default();
        self.room.findings.blades.clear();
        self.room.clean_called.clear();
        self.room.replaced.clear();
        self.room.called.resize(self.room.state.words().len(), 0);
        clear(&mut self.room.called);
        for &technique in techniques {
            work.look_at_row(&self.strategy.work, technique);
            self.look_at_cracks(technique, stop);
            self.look_at_clean_blades(technique, stop);
        }
        let found: u32 = self.room.called.iter().map(|called| called.count_ones()).sum();
        work.find(found);
        if found > 0 || !self.room.clean_called.is_empty() {
            self.strategy.policy.lose(&mut self.room.policy);
        }
        let super::Room { findings, policy, acts, .. } = &mut *self.room;
        self.strategy.policy.decide_at_stop((next, year), findings, policy, self.stocks, acts);
        for index in 0..self.room.acts.len() {
            self.apply_at_stop(self.room.acts[index], stop, &mut work);
        }
        if self.strategy.policy.may_be_damaged && work.is_at_old_blades_out() {
            self.damage_at_stop(stop, &mut work);
        }
        let short = &self.room.policy.short;
        work.be_short_of_spares(short);
        self.record.stop(&self.strategy.work, year, &work, stopped);
    }

    /// A technique looks at all cracks in the row.
    fn look_at_cracks(&mut self, technique: usize, stop: Stop) {
        let state = &self.room.state;
        let there: Vec<usize> = state.words().flat_map(|word| numbers(word, state.alive[word])).collect();
        for number in there {
            let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
            let Some(seen) = self.batch.nature.seen(crack, stop.year, stop.next) else { continue };
            let is_called = if self.room.planted.is(number) {
                self.weigh_at_stop(number, &seen, technique, stop)
            } else {
                let (inspections, nature) = (&self.batch.inspections, &self.batch.nature);
                let persistent = inspections.persistent(crack);
                let pod = inspections.pod_at(nature, crack, &seen, technique, stop, &persistent);
                inspections.call_draw_at(crack, technique, stop) < pod
            };
            if is_called {
                self.room.called[number / WORD] |= 1 << (number % WORD);
                if self.strategy.policy.asks_for_blades {
                    let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
                    let sizes_mm = self.batch.inspections.measured_at_mm(crack, &seen, technique, stop);
                    let (blade, sizes_mm) = (crack.blade, self.asked_for(sizes_mm));
                    note(&mut self.room.findings.blades, blade, sizes_mm, technique);
                }
            }
        }
    }

    /// Its false calls.
    fn look_at_clean_blades(&mut self, technique: usize, stop: Stop) {
        for blade in 0..self.row.nature.blades {
            let (inspections, nature) = (&self.batch.inspections, &self.batch.nature);
            if !inspections.is_falsely_called_at(nature, self.life, blade, technique, stop)
                || !self.has_none(blade, stop)
            {
                continue;
            }
            let sizes_mm = inspections.false_sizes_at_mm(nature, self.life, blade, technique, stop);
            let sizes_mm = self.asked_for(sizes_mm);
            if !self.room.clean_called.contains(&blade) {
                self.room.clean_called.push(blade);
            }
            if self.strategy.policy.asks_for_blades {
                note(&mut self.room.findings.blades, blade, sizes_mm, technique);
            }
        }
    }

    /// Measured sizes, as far as the policy asks for them.
    fn asked_for(&self, [length_mm, depth_mm]: [f64; 2]) -> [f64; 2] {
        [length_mm, if self.strategy.policy.asks_for_depth { depth_mm } else { f64::INFINITY }]
    }

    /// Whether a blade has no crack at a stop that anybody could see.
    fn has_none(&self, blade: u32, stop: Stop) -> bool {
        let state = &self.room.state;
        let mut here = state.words().flat_map(|word| numbers(word, state.in_blade(word, blade)));
        here.all(|number| {
            let crack = &self.batch.nature.cracks[state.cracks[number] as usize];
            self.batch.nature.seen(crack, stop.year, stop.next).is_none()
        })
    }

    /// Does what the policy decides at a stop.
    fn apply_at_stop(&mut self, act: Act, stop: Stop, work: &mut Unscheduled) {
        match act {
            Act::ReplaceCalled => {
                self.called_groups().into_iter().for_each(|blade| self.replace_at_stop(blade, stop, work));
            }
            Act::ReplaceBlade(blade) => self.replace_at_stop(blade, stop, work),
            Act::ReplaceRow => {
                work.replace_row();
                self.renew_row(stop.year, stop.next);
            }
            Act::WatchUntilNext => self.room.state.visit(stop.next),
            // A study that has blades dressed and looks between outages is refused.
            Act::DressBlade(_) | Act::ReplaceTooDeep | Act::Retire => {}
        }
    }

    fn replace_at_stop(&mut self, blade: u32, stop: Stop, work: &mut Unscheduled) {
        let is_clean = self.room.clean_called.contains(&blade);
        work.replace_blades([u32::from(!is_clean), u32::from(is_clean)]);
        self.renew_at_stop(blade, stop);
    }

    fn renew_at_stop(&mut self, blade: u32, stop: Stop) {
        self.room.replaced.push(blade);
        let generation = self.room.state.next_generation(blade);
        self.renew_blade_in(blade, generation, stop.year, stop.next);
    }

    /// Replaces blades that were damaged on their way out or in: not those that are new.
    fn damage_at_stop(&mut self, stop: Stop, work: &mut Unscheduled) {
        for blade in 0..self.row.nature.blades {
            let is_damaged = self.batch.inspections.is_damaged_at(&self.batch.nature, self.life, blade, stop);
            if !is_damaged || self.room.replaced.contains(&blade) {
                continue;
            }
            work.damage();
            let group = self.group_to_replace(blade);
            self.take_blades(&group, stop.year);
            for own in group {
                work.replace_blades([1, 0]);
                self.renew_at_stop(own, stop);
            }
        }
    }

    /// A technique looks at the planted crack at a stop: the life's weight is multiplied by what its answer is worth.
    /// Returns whether it calls the crack.
    #[inline(never)]
    fn weigh_at_stop(&mut self, number: usize, seen: &Seen, technique: usize, stop: Stop) -> bool {
        let crack = &self.batch.nature.cracks[self.room.state.cracks[number] as usize];
        let (inspections, nature) = (&self.batch.inspections, &self.batch.nature);
        let persistent = &nature.planted[self.life].numbers.persistent;
        let own = 1.0 - inspections.pod_at(nature, crack, seen, technique, stop, persistent);
        let sizes_mm = inspections.measured_at_mm(crack, seen, technique, stop);
        let policy = &self.strategy.policy;
        let runs_on = policy.spares.map_or(0.0, |_| {
            // A stop has no window.
            policy.guessed_chance_to_run_on(self.stocks, crack.blade, stop.year, usize::MAX)
        });
        let stays = policy.stays_if_called_at_stop(self.asked_for(sizes_mm), runs_on);
        // As probable as the crack is to stay: with an answer, and in all.
        let in_all = own + (1.0 - own) * stays;
        let is_call = inspections.call_draw_at(crack, technique, stop) * in_all < (1.0 - own) * stays;
        let factor = if is_call { in_all / stays } else { in_all };
        self.batch.nature.planted[self.life].standing.factor *= factor;
        is_call
    }
}

impl super::Room {
    /// How many stops there were since the outage before one; counts one more.
    fn stops_before(&mut self, next: usize) -> u64 {
        let (of, count) = &mut self.stops;
        if *of != next {
            (*of, *count) = (next, 0);
        }
        *count += 1;
        *count - 1
    }
}
