//! Looks between outages.

use super::{Fired, Indication, LIFE, PlainLife, PlainRow, Shelves, Work, cost_of_days};
use crate::model::Study;
use crate::model::detection::{Access, SizeMeasure, Technique};
use crate::model::strategy::Action;
use crate::random::Key;
use crate::simulation::inspection::draw;
use crate::simulation::nature::{Crack, purpose};
use crate::simulation::observe::{Crews, Job, Quantity};
use std::collections::BTreeSet;

/// Work on a row while its unit stood still between outages; whether it was stopped for that, at what cost and for how
/// many days.
#[derive(Debug)]
pub(super) struct StopDone {
    year: f64,
    job: Job,
    stopped: Option<(f64, f64)>,
}

/// A stop at a moment before an outage.
#[derive(Clone, Copy)]
struct At {
    year: f64,
    next: usize,
    /// What its draws are counted by.
    number: u64,
}

impl PlainRow<'_, '_> {
    /// Whether an extra look comes of an outage at which something was found, and when.
    pub(super) fn plan_extra_look(&mut self, outage: usize, has_finds: bool) {
        let end = self.study.start_year + self.study.horizon_years;
        let next = self.outages().get(outage + 1).copied().unwrap_or(end);
        let year = self.strategy.extra_look.as_ref().map(|look| self.outages()[outage] + look.after_years);
        self.extra_look = year.filter(|year| has_finds && *year < next);
    }

    /// The extra look before an outage.
    pub(super) fn look_extra(&mut self, next: usize, shelves: &mut Shelves) {
        let (Some(year), Some(look)) = (self.extra_look.take(), &self.strategy.extra_look) else { return };
        self.fire(Fired::LookedExtra);
        self.stop(&look.techniques, year, next, Some((look.stop_cost, look.stop_days)), shelves);
    }

    /// A look after a loss, on this row or on another one.
    pub(super) fn look_after_loss(&mut self, year: f64, next: usize, shelves: &mut Shelves) {
        let Some(look) = &self.strategy.look_after_loss else { return };
        self.fire(Fired::LookedAfterLoss);
        self.stop(&look.techniques, year, next, None, shelves);
    }

    fn stop(
        &mut self,
        techniques: &[usize],
        year: f64,
        next: usize,
        stopped: Option<(f64, f64)>,
        shelves: &mut Shelves,
    ) {
        if self.stops_before.0 != next {
            self.stops_before = (next, 0);
        }
        let at = At { year, next, number: (next as u64) * 4096 + self.stops_before.1 };
        self.stops_before.1 += 1;
        let (mut calls, mut look_cost, mut look_days, mut is_out) = (Vec::new(), 0.0, 0.0, false);
        for &index in techniques {
            let technique = &self.study.techniques[index];
            look_cost += technique.cost_per_row + technique.cost_per_blade * f64::from(self.row().blades);
            look_days += technique.days_per_row;
            is_out |= technique.access == Access::BladesOut;
            calls.extend(self.calls_at(index, technique, at));
        }
        let value = self.value_at(year);
        let mut found: Vec<usize> = calls.iter().filter_map(|call| call.crack).collect();
        found.sort_unstable();
        found.dedup();
        self.add(Quantity::CracksFound, found.len() as f64);
        if !calls.is_empty() {
            self.fire(Fired::FoundAtStop);
            self.pace.iter_mut().flatten().for_each(|pace| pace.lost = true);
        }
        let mut work = Work::default();
        let new_blades = self.dispose_at(&calls, at, is_out, &mut work, shelves);
        let costs = &self.study.costs;
        let (new_cost, new_days) = match new_blades {
            Some(count) => (
                f64::from(count - work.used_blades) * self.price_of(false)
                    + f64::from(work.used_blades) * self.price_of(true),
                f64::from(count) * costs.new_blade_days,
            ),
            None => (costs.new_row_cost, costs.new_row_days),
        };
        let out = if is_out || new_blades.is_none() { 1.0 } else { 0.0 };
        let blades = f64::from(self.row().blades);
        let out_cost = out * (costs.blades_out_cost + blades * costs.blades_out_cost_per_blade);
        let out_days = out * (costs.blades_out_days + blades * costs.blades_out_days_per_blade);
        self.add(Quantity::TimesOut, out);
        self.add(Quantity::LookCost, value * look_cost);
        self.add(Quantity::LookDays, look_days);
        self.add(Quantity::BladesOutCost, value * out_cost);
        self.add(Quantity::BladesOutDays, out_days);
        self.add(Quantity::ReplacementCost, value * new_cost);
        self.add(Quantity::ReplacementDays, new_days);
        self.add(Quantity::WaitDays, work.wait_days);
        let job = Job { days: look_days + out_days + new_days + work.wait_days, blades_out: out > 0.0 };
        self.result.stops.push(StopDone { year, job, stopped });
    }

    fn calls_at(&self, index: usize, technique: &Technique, at: At) -> Vec<Indication> {
        let mut calls = Vec::new();
        let in_life = self.batch.nature.lives[LIFE].key;
        let sizes = |key: Key, length_mm: f64, depth_mm: f64| {
            let scatter = |sigma: f64, counter: u64| (sigma * key.normal(counter + at.number)).exp();
            let length_mm =
                length_mm * technique.sizing.length_bias * scatter(technique.sizing.length_sigma_log, draw::STOP_SIZE);
            let depth_mm = technique
                .depth_sizing
                .as_ref()
                .map_or(f64::INFINITY, |sizing| depth_mm * sizing.bias * scatter(sizing.sigma_log, draw::STOP_DEPTH));
            (length_mm, depth_mm)
        };
        for &crack_index in &self.cracks {
            let crack = self.crack(crack_index);
            let Some(seen) = self.batch.nature.seen(crack, at.year, self.start + at.next) else { continue };
            let (depth_mm, length_mm) = (seen.ln_depth.exp(), seen.ln_length.exp());
            let key = crack.key.named(&technique.id);
            if key.uniform(draw::STOP_CALL + at.number)
                < self.pod_at(crack, index, depth_mm, length_mm, seen.mouth_is_closed, at)
            {
                let (length_mm, depth_mm) = sizes(key, length_mm, depth_mm);
                let (blade, crack) = (crack.blade, Some(crack_index));
                calls.push(Indication { blade, crack, length_mm, depth_mm, technique: index });
            }
        }
        for blade in 0..self.row().blades {
            let key = in_life.child(purpose::FALSE_CALLS).named(&technique.id).child(u64::from(blade));
            let has_crack = self.cracks.iter().any(|&index| {
                let crack = self.crack(index);
                crack.blade == blade && self.batch.nature.seen(crack, at.year, self.start + at.next).is_some()
            });
            if !has_crack && key.uniform(draw::STOP_CALL + at.number) < technique.false_call_probability {
                let length_mm = technique.false_call_length_mm.draw(key, draw::STOP_SIZE + at.number);
                let sizing = technique.depth_sizing.as_ref();
                let depth_mm =
                    sizing.map_or(f64::INFINITY, |sizing| sizing.false_call_mm.draw(key, draw::STOP_DEPTH + at.number));
                calls.push(Indication { blade, crack: None, length_mm, depth_mm, technique: index });
            }
        }
        calls
    }

    fn pod_at(&self, crack: &Crack, index: usize, depth_mm: f64, length_mm: f64, is_closed: bool, at: At) -> f64 {
        let technique = &self.study.techniques[index];
        let size_mm = match technique.pod.size {
            SizeMeasure::Length => length_mm,
            SizeMeasure::Depth => depth_mm,
            SizeMeasure::GeometricMean => (depth_mm * length_mm).sqrt(),
        };
        let inspection = self.batch.nature.lives[LIFE].key.child(purpose::INSPECTION).named(&technique.id);
        let effect = technique.inspection_sigma * inspection.normal(draw::STOP_CALL + at.number);
        let shift = self.lasting_shift(crack, index) + effect;
        let mut pod = technique.pod.at(((size_mm / technique.pod.q50_mm).ln() - shift) / technique.pod.spread);
        if let Some(gate) = technique.depth_gate {
            pod *= technique.pod.shape.at((depth_mm / gate.q50_mm).ln() / gate.spread);
        }
        if is_closed { pod * technique.closed_mouth_factor } else { pod }
    }

    /// What happens to the blades with indications: the number of new blades, or none where the row is new.
    fn dispose_at(
        &mut self,
        calls: &[Indication],
        at: At,
        is_out: bool,
        work: &mut Work,
        shelves: &mut Shelves,
    ) -> Option<u32> {
        let mut blades: Vec<u32> = calls.iter().map(|call| call.blade).collect();
        blades.sort_unstable();
        blades.dedup();
        let of_blade = |blade: u32| calls.iter().filter(move |call| call.blade == blade);
        let longest = |blade: u32| {
            let first = of_blade(blade).reduce(|one, other| if other.length_mm > one.length_mm { other } else { one });
            first.expect("a blade with an indication")
        };
        let action = |blade: u32| {
            let depth_mm = of_blade(blade).map(|call| call.depth_mm).fold(0.0, f64::max);
            let holds = |below_depth_mm: f64| below_depth_mm == f64::INFINITY || depth_mm < below_depth_mm;
            let mut rules = self.strategy.dispositions.iter();
            let rule = rules.find(|rule| longest(blade).length_mm < rule.below_mm && holds(rule.below_depth_mm));
            rule.map_or(Action::Replace, |rule| rule.action)
        };
        let actions: Vec<Action> = blades.iter().map(|&blade| action(blade)).collect();
        let most = self.strategy.replace_row_from_blades.unwrap_or(u32::MAX) as usize;
        if actions.contains(&Action::ReplaceRow) || blades.len() >= most {
            self.add(Quantity::RowsReplaced, 1.0);
            self.replace_row(at.year);
            return None;
        }
        let of_action = |wanted: Action| {
            let own = blades.iter().zip(&actions).filter(move |(_, action)| **action == wanted);
            own.map(|(&blade, _)| blade).collect::<Vec<u32>>()
        };
        let asking = |&blade: &u32| (blade, longest(blade).length_mm, longest(blade).technique);
        let asking = of_action(Action::Replace).iter().map(asking).collect();
        let mut replaced = self.ask((at.year, at.next), asking, work, shelves);
        for blade in of_action(Action::Watch).into_iter().filter(|blade| !replaced.contains(blade)) {
            self.watch(blade, longest(blade).technique, at.next);
        }
        for &blade in &replaced {
            let is_falsely_called = of_blade(blade).count() > 0 && of_blade(blade).all(|call| call.crack.is_none());
            self.add(Quantity::FalselyReplaced, f64::from(u8::from(is_falsely_called)));
            self.renew_at(blade, at.year, work);
        }
        let chance = self.study.roots[self.row().root].handling_damage_probability;
        for blade in 0..self.row().blades {
            let key = self.batch.nature.lives[LIFE].key.child(purpose::HANDLING).child(u64::from(blade));
            if is_out && !replaced.contains(&blade) && key.uniform(draw::STOP_CALL + at.number) < chance {
                self.add(Quantity::BladesDamaged, 1.0);
                let group: BTreeSet<u32> = self.with_neighbours(vec![blade]).difference(&replaced).copied().collect();
                work.wait_days = work.wait_days.max(self.take(&group, at.year, shelves));
                for own in group {
                    replaced.insert(own);
                    self.renew_at(own, at.year, work);
                }
            }
        }
        Some(replaced.len() as u32)
    }

    fn renew_at(&mut self, blade: u32, year: f64, work: &mut Work) {
        self.add(Quantity::BladesReplaced, 1.0);
        self.watched.retain(|watched| watched.0 != blade);
        self.ground_mm.retain(|place, _| place.0 != blade);
        self.remove(blade);
        let generation = self.next_generation(blade);
        if self.fit(blade, generation, year) {
            work.used_blades += 1;
            self.fire(Fired::TookUsedAtStop);
        }
    }
}

/// What the rows of a unit share of their stops.
pub(super) fn share_stops(study: &Study, crews: &Crews, lives: &mut [PlainLife]) {
    let costs = &study.costs;
    let crews = Crews { window_days: 0.0, ..crews.clone() };
    let mut years: Vec<f64> = lives.iter().flat_map(|life| &life.stops).map(|stop| stop.year).collect();
    years.sort_by(f64::total_cmp);
    years.dedup();
    for year in years {
        let value = study.money.present_value(year - study.start_year);
        let of_life = |life: &PlainLife| {
            let own = life.stops.iter().filter(|stop| stop.year == year);
            own.fold(Job::default(), |all, stop| Job {
                days: all.days + stop.job.days,
                blades_out: all.blades_out || stop.job.blades_out,
            })
        };
        let jobs: Vec<Job> = lives.iter().map(of_life).collect();
        let stopped: Vec<Option<(f64, f64)>> = lives
            .iter()
            .map(|life| life.stops.iter().find(|stop| stop.year == year && stop.stopped.is_some())?.stopped)
            .collect();
        let sharing = stopped.iter().flatten().count() as f64;
        let (stop_cost, stop_days) = stopped.iter().flatten().next().copied().unwrap_or((0.0, 0.0));
        let mut beyond = vec![0.0; jobs.len()];
        crews.split_days_beyond(&jobs, &mut beyond);
        let all_beyond: f64 = beyond.iter().sum();
        let cost_beyond = cost_of_days(&costs.outage_day_cost, year + stop_days / 365.25, all_beyond);
        let cost_standing = cost_of_days(&costs.outage_day_cost, year, stop_days);
        for (place, life) in lives.iter_mut().enumerate() {
            let is_alike = |other: usize| jobs[other].blades_out && crews.rotors[other] == crews.rotors[place];
            let alike = (0..jobs.len()).filter(|&other| is_alike(other)).count();
            let lift = if jobs[place].blades_out { 1.0 / alike as f64 } else { 0.0 };
            let mut add = |quantity: Quantity, amount: f64| life.values[quantity as usize] += amount;
            add(Quantity::DaysBeyondWindow, beyond[place]);
            if all_beyond > 0.0 {
                add(Quantity::ExtraDayCost, value * cost_beyond * beyond[place] / all_beyond);
            }
            add(Quantity::BladesOutCost, value * lift * costs.rotor_lift_cost);
            add(Quantity::BladesOutDays, lift * costs.rotor_lift_days);
            if stopped[place].is_some() {
                add(Quantity::ExtraStops, 1.0 / sharing);
                add(Quantity::StopCost, value * stop_cost / sharing);
                add(Quantity::StopDays, stop_days / sharing);
                add(Quantity::DaysBeyondWindow, stop_days / sharing);
                add(Quantity::ExtraDayCost, value * cost_standing / sharing);
            }
        }
    }
}
