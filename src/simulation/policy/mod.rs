//! What is done next, given what was found: one file for each rule of a strategy.
//!
//! A policy knows nothing of cracks that nobody called, and nothing of money.

mod consequences;
mod disposition;
mod dressing;
mod escalation;
mod groups;
mod interval;
mod peening;
mod row_end;
mod sampling;
mod schedule;
mod sisters;
mod spares;
mod stops;
mod watch;

pub(crate) use consequences::{Harm, neighbours};
pub(crate) use dressing::{DressedPlace, GroundAway};
pub(crate) use escalation::{FirstCall, Further, FurtherLook};
pub(crate) use groups::Groups;
pub(crate) use peening::ScheduledPeening;
pub(crate) use row_end::RowEnd;
pub(crate) use schedule::ScheduledLook;
pub(crate) use sisters::Sisters;
pub(crate) use spares::{ShortOfSpares, Stocks};
pub(crate) use stops::Stops;
pub(crate) use watch::Watched;

use crate::model::Study;
use crate::model::fleet::{Consequences, Row};
use crate::model::strategy::{
    Action, AfterLoss, Dressing, RowEndAction, StartsLimit, Strategy, Watch, WhenWindowCloses,
};
use crate::simulation::calendar::Calendar;
use disposition::Dispositions;
use escalation::ByBlade;
use interval::{Interval, IntervalState};
use sampling::{Sampler, Samples};
use spares::{AtHand, Spares};

/// The rules of a strategy on one row.
#[derive(Debug)]
pub(crate) struct Policy {
    /// Number of the techniques of the study: first come these, on surfaces as they are, then all of them for each cleaning.
    techniques: usize,
    /// One for each look and each of its techniques.
    pub scheduled: Vec<ScheduledLook>,
    /// Those of them that react to finds, by number.
    pub reacting: Vec<usize>,
    /// Policies with the same number have the same scheduled looks and the same end of the row.
    pub schedule: usize,
    further_looks: Vec<FurtherLook>,
    /// What each look of the strategy makes of its calls, where it asks which blades they are on.
    by_blade: Vec<Option<ByBlade>>,
    /// Samples of blades, and the scheduled looks whose samples hang on those before them, by number.
    samplers: Vec<Sampler>,
    pub remembering: Vec<usize>,
    dispositions: Dispositions,
    /// Whether it has to know which blades are called, and how long their indications are; and how deep.
    pub asks_for_blades: bool,
    pub asks_for_depth: bool,
    /// When the row is peened anew.
    pub peenings: Vec<ScheduledPeening>,
    /// How blades are dressed, where any are.
    pub dressing: Option<Dressing>,
    /// Which blades are replaced together.
    pub groups: Groups,
    /// Whether watched blades are looked at again by whatever called them; how, where that is stated.
    watches_by_call: bool,
    pub watch: Option<Watch>,
    /// How finds on one row send people to others.
    pub sisters: Option<Sisters>,
    pub starts_limit: Option<StartsLimit>,
    /// Looks between outages.
    pub stops: Stops,
    /// The stock that new blades come from, where they are not at hand whenever they are needed.
    pub spares: Option<Spares>,
    /// Whether called blades run on for which the window of the outage leaves no time.
    pub window_closes: bool,
    /// What a lost blade does to others.
    pub consequences: Consequences,
    /// Whether blades may be damaged when they come out.
    pub may_be_damaged: bool,
    /// Whether the row is lived together with others: what happens on one may concern them.
    pub lives_with_others: bool,
    /// Whether what is found on a blade, or its loss, never changes what is done to another one, or to it later.
    pub keeps_blades_apart: bool,
    /// The row is replaced when so many blades have indications at one outage.
    replace_row_from: usize,
    pub after_loss: AfterLoss,
    pub row_end: Option<RowEnd>,
    /// Number of outages before the row leaves service.
    runs_until: usize,
}

/// What the looks of one outage called, as far as it counts.
#[derive(Debug, Default)]
pub(crate) struct Findings {
    /// The strategy's looks that called anything, whether that stands or not, as bits; and of them those that called enough
    /// to have others looked at.
    pub calling: u64,
    pub leading: u64,
    /// Whether any indication stands.
    pub any: bool,
    /// Blades with indications that stand; known only to policies that ask for them.
    pub blades: Vec<CalledBlade>,
}

/// A blade with an indication that stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct CalledBlade {
    pub blade: u32,
    pub longest_mm: f64,
    /// The technique that reported that length.
    pub technique: usize,
    /// Infinite where a technique that measures no depth called it, or nobody asks.
    pub deepest_mm: f64,
}

/// What a policy remembers from outage to outage.
#[derive(Debug, Default)]
pub(crate) struct PolicyState {
    pub watched: Vec<Watched>,
    /// What was ground away in blades that were dressed.
    pub ground: GroundAway,
    /// What spares did to it at the outage at hand.
    pub short: ShortOfSpares,
    /// Blades that run on, for which spares were ordered.
    awaiting: Vec<u32>,
    /// For each look that reacts.
    intervals: Vec<IntervalState>,
    /// For each sampler.
    samples: Vec<Samples>,
    /// The moment at which the unit is stopped for an extra look, where that is due.
    pub extra_look_year: Option<f64>,
}

/// Something done to a row at an outage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Act {
    /// Every blade with an indication that stands is replaced.
    ReplaceCalled,
    /// A blade with an indication that stands, or one that is replaced together with such a blade.
    ReplaceBlade(u32),
    /// What was called on a blade is ground out.
    DressBlade(u32),
    /// Blades that lie too deep to be dressed are replaced.
    ReplaceTooDeep,
    ReplaceRow,
    /// Blades stay, to be looked at again at the next outage.
    WatchUntilNext,
    /// The row leaves service.
    Retire,
}

impl PolicyState {
    /// A blade is new at a position: what was done to the one before it is forgotten.
    pub fn renew_blade(&mut self, blade: u32) {
        self.watched.retain(|watched| watched.blade != blade);
        self.awaiting.retain(|other| *other != blade);
        self.ground.forget(|other| other == blade);
        self.samples.iter_mut().for_each(|samples| samples.renew(blade));
    }

    /// So are all blades of the row.
    pub fn renew_row(&mut self) {
        self.watched.clear();
        self.awaiting.clear();
        self.ground.clear();
        self.samples.iter_mut().for_each(Samples::renew_all);
    }

    /// Whether the sample of an outage covers a blade.
    #[inline]
    pub fn covers(&self, sampler: usize, blade: u32, outage: usize) -> bool {
        self.samples[sampler].covers(blade, outage)
    }
}

impl Policy {
    pub fn new(study: &Study, row: &Row, strategy: &Strategy, calendar: &Calendar) -> Self {
        let row_end = RowEnd::new(strategy, calendar);
        let retired = row_end.filter(|end| end.then == RowEndAction::Retired);
        let root = &study.roots[row.root];
        let row_index = study.rows.iter().position(|other| other.id == row.id).unwrap_or(0);
        let of_row = schedule::OfRow { row_index, blades: row.blades, spots: &root.hot_spots, row_end };
        let mut scheduled = schedule::scheduled_looks(study, strategy, &of_row, calendar);
        let samplers = schedule::samplers(strategy, row.blades, &mut scheduled);
        let reacts = |number: &usize| scheduled[*number].interval.is_some();
        let remembers =
            |number: &usize| scheduled[*number].sampler.is_some_and(|sampler: usize| samplers[sampler].remembers());
        let dispositions = Dispositions::new(strategy);
        let spares =
            Spares::new(row, strategy, |stock| study.rows.iter().filter(|other| stock.is_of(other.root)).count());
        let window_closes = strategy.when_window_closes == WhenWindowCloses::RunOnWatched;
        let policy = Policy {
            techniques: study.techniques.len(),
            peenings: peening::scheduled_peenings(strategy, row_index, row_end, calendar),
            reacting: (0..scheduled.len()).filter(reacts).collect(),
            remembering: (0..scheduled.len()).filter(remembers).collect(),
            scheduled,
            schedule: 0,
            further_looks: escalation::further_looks(study, strategy),
            by_blade: escalation::by_blade(strategy),
            samplers,
            asks_for_blades: !dispositions.always_replace()
                || strategy.replace_row_from_blades.is_some()
                || spares.is_some()
                || window_closes,
            asks_for_depth: dispositions.ask_for_depth(),
            dispositions,
            dressing: strategy.dressing,
            groups: Groups::new(root.replaced_together, row.blades),
            watches_by_call: strategy.watch.is_none()
                && (strategy.dispositions.iter().any(|rule| rule.action == Action::Watch) || strategy.may_run_on()),
            watch: strategy.watch,
            sisters: Sisters::new(strategy),
            starts_limit: strategy.starts_limit.clone(),
            stops: Stops::new(strategy),
            spares,
            window_closes,
            consequences: root.consequences,
            may_be_damaged: root.handling_damage_probability > 0.0,
            lives_with_others: study.lives_with_others(row, strategy),
            keeps_blades_apart: false,
            replace_row_from: strategy.replace_row_from_blades.map_or(usize::MAX, |blades| blades as usize),
            after_loss: strategy.after_loss,
            row_end,
            runs_until: retired.map_or(calendar.len(), |end| end.outage),
        };
        Policy { keeps_blades_apart: policy.has_no_rule_across_blades(), ..policy }
    }

    /// What was done before the study: one look at the whole row at each past outage, and every blade that it called was
    /// replaced.
    pub fn of_past_looks(techniques: impl Iterator<Item = usize>, groups: Groups, calendar: &Calendar) -> Self {
        let policy = Policy {
            techniques: usize::MAX,
            peenings: Vec::new(),
            scheduled: techniques
                .enumerate()
                .map(|(outage, technique)| ScheduledLook::once(technique, outage, calendar))
                .collect(),
            reacting: Vec::new(),
            remembering: Vec::new(),
            schedule: 0,
            further_looks: Vec::new(),
            by_blade: vec![None; calendar.len()],
            samplers: Vec::new(),
            dispositions: Dispositions::replace_all(),
            asks_for_blades: false,
            asks_for_depth: false,
            dressing: None,
            groups,
            watches_by_call: false,
            watch: None,
            sisters: None,
            starts_limit: None,
            stops: Stops::default(),
            spares: None,
            window_closes: false,
            consequences: Consequences::default(),
            may_be_damaged: false,
            lives_with_others: false,
            keeps_blades_apart: false,
            replace_row_from: usize::MAX,
            after_loss: AfterLoss::ReplaceBlade,
            row_end: None,
            runs_until: calendar.len(),
        };
        Policy { keeps_blades_apart: policy.has_no_rule_across_blades(), ..policy }
    }

    /// Whether every blade with an indication is replaced, whatever its length.
    pub fn replaces_every_called_blade(&self) -> bool {
        self.dispositions.always_replace()
    }

    fn has_no_rule_across_blades(&self) -> bool {
        !self.asks_for_blades
            && self.further_looks.is_empty()
            && self.by_blade.iter().all(Option::is_none)
            && self.samplers.is_empty()
            && self.reacting.is_empty()
            && self.stops == Stops::default()
            && !self.lives_with_others
            && self.consequences == Consequences::default()
            && !self.may_be_damaged
            && self.groups.are_single()
            && self.after_loss == AfterLoss::ReplaceBlade
    }

    /// Chance, at a guess, that a blade stays in the row with a crack that a technique calls at an outage; 0 only where it
    /// surely goes. Given are the chance that each technique misses the crack, the length and the depth that this one
    /// reports, and the chance that it runs on for want of a spare or of time.
    pub fn stays_if_called(
        &self,
        technique: usize,
        outage: usize,
        miss: impl Fn(usize) -> f64,
        measured_mm: impl FnOnce() -> [f64; 2],
        runs_on: f64,
    ) -> f64 {
        if self.asks_for_blades {
            let [length_mm, depth_mm] = measured_mm();
            let kept = self.dispositions.keeps(length_mm, depth_mm);
            if kept > 0.0 {
                return kept;
            }
            if runs_on > 0.0 {
                return runs_on;
            }
        }
        let own = || self.scheduled.iter().filter(|look| look.technique == technique && look.is_due(outage));
        let is_decisive = |look: &ScheduledLook| {
            look.is_fixed(outage) && look.covers_all && look.stands && self.by_blade[look.look].is_none()
        };
        if own().any(is_decisive) {
            return 0.0;
        }
        own().map(|look| self.stays_if_called_by(look, &miss)).fold(0.0, f64::max)
    }

    /// Takes blades for some that cannot run on, at a moment, group after group in the order of their numbers.
    pub fn take_blades(&self, blades: &[u32], year: f64, state: &mut PolicyState, stocks: &mut Stocks) {
        let Some(spares) = &self.spares else { return };
        for group in blades.chunk_by(|one, other| self.groups.of(*one) == self.groups.of(*other)) {
            take_group(spares, group, year, state, stocks);
        }
    }

    /// Whether used blades may take the place of new ones.
    pub fn takes_used_blades(&self) -> bool {
        self.spares.as_ref().is_some_and(|spares| spares.used_blades.is_some())
    }

    /// Factor on the time to each crack in the blade that takes the place of one, if it is a used one.
    #[inline(always)]
    pub fn used_life_factor(&self, blade: u32, state: &PolicyState) -> Option<f64> {
        let used = self.spares.as_ref()?.used_blades?;
        state.short.used.contains(&blade).then_some(used.life_factor)
    }

    /// The same at a stop, where the dispositions decide, and whether the blade runs on for want of a spare, by a guess.
    pub fn stays_if_called_at_stop(&self, [length_mm, depth_mm]: [f64; 2], runs_on: f64) -> f64 {
        let kept = if self.asks_for_blades { self.dispositions.keeps(length_mm, depth_mm) } else { 0.0 };
        if kept > 0.0 { kept } else { runs_on }
    }

    /// The same for a scheduled look of the technique.
    fn stays_if_called_by(&self, look: &ScheduledLook, miss: impl Fn(usize) -> f64) -> f64 {
        let Some(by_blade) = self.by_blade[look.look].filter(ByBlade::needs_others) else {
            // Where its call does not stand, those of further looks decide.
            return if look.stands { 0.0 } else { self.all_miss_after(look, miss).max(f64::MIN_POSITIVE) };
        };
        // Others of the look must call as well, or other blades be called.
        let others = self.scheduled.iter().filter(|other| other.look == look.look && other.technique != look.technique);
        let all_call: f64 = others.map(|other| 1.0 - miss(other.technique)).product();
        let enough = if by_blade.leads_on(1) { 1.0 } else { 0.5 };
        let stands = if look.stands { 1.0 } else { enough * (1.0 - self.all_miss_after(look, miss)) };
        // Other cracks of the blade may be called.
        (1.0 - all_call * stands).max(if by_blade.leads_on(1) { 0.05 } else { 0.5 })
    }

    /// Chance that all looks that a scheduled look leads to miss a crack.
    fn all_miss_after(&self, look: &ScheduledLook, miss: impl Fn(usize) -> f64) -> f64 {
        let further = self.further_looks.iter().filter(|further| further.follows(look.look));
        further.filter_map(|further| further.on_surface_after(look.look)).map(miss).product()
    }

    /// Whether the indications of a look of the strategy count without a further look.
    pub fn stands(&self, look: usize) -> bool {
        self.scheduled.iter().any(|own| own.look == look && own.stands)
    }

    /// What a look of the strategy makes of its calls, where it asks which blades they are on.
    #[inline(always)]
    pub fn by_blade(&self, look: usize) -> Option<ByBlade> {
        self.by_blade[look]
    }

    /// Whether any rule of it uses a technique.
    pub fn uses(&self, technique: usize) -> bool {
        self.scheduled.iter().any(|look| look.technique == technique) || self.uses_beyond_schedule(technique)
    }

    /// Whether a technique may look at a hot spot at an outage.
    pub fn may_look(&self, technique: usize, outage: usize, hot_spot: usize) -> bool {
        let covers = |look: &ScheduledLook| look.hot_spots.is_empty() || look.hot_spots[hot_spot];
        let mut own = self.scheduled.iter().filter(|look| look.technique == technique);
        own.any(|look| look.is_due(outage) && covers(look)) || self.uses_beyond_schedule(technique)
    }

    fn uses_beyond_schedule(&self, technique: usize) -> bool {
        self.further_looks.iter().any(|look| look.uses(technique))
            || (self.watches_by_call && self.scheduled.iter().any(|look| self.own(look.technique) == technique))
            || (self.watches_by_call && self.further_looks.iter().any(|look| look.technique == technique))
            || self.watch.is_some_and(|watch| watch.technique == technique)
            || self.sisters.as_ref().is_some_and(|sisters| sisters.techniques.contains(&technique))
            || self.stops.use_technique(technique)
    }

    /// The number in the study of a technique, on whatever surface.
    #[inline(always)]
    pub fn own(&self, technique: usize) -> usize {
        technique % self.techniques
    }

    /// The fraction of the row's blades that are cleaned in some way, where some looks are due, by number; none if nobody cleans.
    pub fn cleaned_fraction(&self, cleaning: usize, is_due: impl Fn(usize) -> bool) -> Option<f64> {
        let looks = self.scheduled.iter().enumerate();
        // Techniques of one look stand together.
        let due = looks.filter(|(number, look)| look.cleaning == Some(cleaning) && is_due(*number));
        let mut looks: Vec<(usize, f64)> = due.map(|(_, look)| (look.look, look.blade_fraction)).collect();
        looks.dedup();
        let unseen = looks.into_iter().map(|(_, fraction)| 1.0 - fraction).reduce(|all, unseen| all * unseen)?;
        Some(1.0 - unseen)
    }

    /// The fraction of the row's blades that a technique, on any surface, looks at by schedule, where some looks are due, by number; none
    /// if it does not look. Several looks by one technique are one: each blade is looked at once.
    pub fn scheduled_fraction(&self, technique: usize, is_due: impl Fn(usize) -> bool) -> Option<f64> {
        let due = self.due_by(technique, is_due);
        let unseen = due.map(|look| 1.0 - look.blade_fraction).reduce(|all, unseen| all * unseen)?;
        Some(1.0 - unseen)
    }

    /// The fraction of the row's blades of which a technique looks at all hot spots by schedule.
    pub fn wholly_seen_fraction(&self, technique: usize, is_due: impl Fn(usize) -> bool) -> f64 {
        let whole = self.due_by(technique, is_due).filter(|look| look.hot_spots.is_empty());
        1.0 - whole.map(|look| 1.0 - look.blade_fraction).product::<f64>()
    }

    fn due_by(&self, technique: usize, is_due: impl Fn(usize) -> bool) -> impl Iterator<Item = &ScheduledLook> {
        let looks = self.scheduled.iter().enumerate();
        looks
            .filter(move |(number, look)| self.own(look.technique) == technique && is_due(*number))
            .map(|(_, look)| look)
    }

    /// Number of blades that a scheduled look covers, and how they are chosen, in words; none where it is no sample of so many.
    pub fn sample_of(&self, look: &ScheduledLook) -> Option<(u32, &'static str)> {
        look.sampler.map(|sampler| self.samplers[sampler].words())
    }

    /// Begins a life.
    pub fn begin(&self, state: &mut PolicyState) {
        state.watched.clear();
        state.ground.clear();
        state.extra_look_year = None;
        state.awaiting.clear();
        state.intervals.clear();
        state.intervals.extend(self.intervals().map(Interval::begin));
        state.samples.resize_with(self.samplers.len(), Samples::default);
        for (sampler, samples) in self.samplers.iter().zip(&mut state.samples) {
            sampler.begin(samples);
        }
    }

    /// Chooses the samples of an outage, where some scheduled looks are due, by number, by a draw for each look of the
    /// strategy and blade.
    #[inline(always)]
    pub fn choose_samples(
        &self,
        state: &mut PolicyState,
        outage: usize,
        is_due: impl Fn(usize) -> bool,
        draw: impl Fn(usize, u32) -> f64,
    ) {
        for (index, (sampler, samples)) in self.samplers.iter().zip(&mut state.samples).enumerate() {
            let mut own = self.scheduled.iter().enumerate().filter(|(_, look)| look.sampler == Some(index));
            if own.any(|(number, _)| is_due(number)) {
                sampler.choose(samples, outage, |blade| draw(sampler.look, blade));
            }
        }
    }

    /// Whether blades that are new have to be told to it.
    #[inline(always)]
    pub fn asks_for_new_blades(&self) -> bool {
        !self.remembering.is_empty() || self.may_be_damaged
    }

    /// A blade was lost, or something found between outages: that counts as a find of the next look.
    pub fn lose(&self, state: &mut PolicyState) {
        state.intervals.iter_mut().for_each(IntervalState::lose);
    }

    /// The looks that react, by number, with the outages at which they are due next, if they are.
    pub fn due_next(&self, state: &PolicyState) -> impl Iterator<Item = (usize, Option<usize>)> {
        let is_due = |outage: &usize| *outage < self.runs_until;
        let next = state.intervals.iter().map(move |interval| Some(interval.next).filter(is_due));
        self.reacting.iter().copied().zip(next)
    }

    fn intervals(&self) -> impl Iterator<Item = &Interval> {
        self.reacting.iter().filter_map(|&number| self.scheduled[number].interval.as_ref())
    }

    /// The outage at which something is done whether anything is found or not.
    pub fn alarm(&self) -> Option<usize> {
        self.row_end.map(|end| end.outage)
    }

    /// Looks that some of the strategy's looks lead to, and at whom they are.
    pub fn further_looks(&self, leading: u64) -> impl Iterator<Item = (&FurtherLook, Further)> {
        self.further_looks.iter().filter_map(move |look| Some((look, look.of(leading)?)))
    }

    /// Whether a technique looks at the whole row again there.
    pub fn looks_at_row_again(&self, technique: usize, leading: u64) -> bool {
        self.further_looks(leading).any(|(look, of)| look.technique == technique && of == Further::Row)
    }

    /// Decides what is done at an outage, which has time for so many new blades.
    #[inline]
    pub fn decide(
        &self,
        (outage, year): (usize, f64),
        findings: &Findings,
        time_for: usize,
        state: &mut PolicyState,
        stocks: &mut Stocks,
        acts: &mut Vec<Act>,
    ) {
        acts.clear();
        state.short.clear();
        // Blades are watched until the next outage, which this is.
        state.watched.clear();
        if let Some(end) = self.row_end.filter(|end| end.outage == outage) {
            for (interval, own) in self.intervals().zip(&mut state.intervals) {
                if own.next == outage {
                    own.skip(interval, outage);
                }
            }
            acts.push(if end.then == RowEndAction::Retired { Act::Retire } else { Act::ReplaceRow });
            return;
        }
        for (interval, own) in self.intervals().zip(&mut state.intervals) {
            if own.next == outage {
                own.look(interval, outage, findings.any);
            }
        }
        self.dispose(findings, (outage + 1, year), time_for, state, stocks, acts);
    }

    /// Decides what is done at a stop in a year, before an outage.
    pub fn decide_at_stop(
        &self,
        moment: (usize, f64),
        findings: &Findings,
        state: &mut PolicyState,
        stocks: &mut Stocks,
        acts: &mut Vec<Act>,
    ) {
        acts.clear();
        state.short.clear();
        self.dispose(findings, moment, usize::MAX, state, stocks, acts);
    }

    /// What is done about called blades in a year, before an outage.
    #[inline]
    fn dispose(
        &self,
        findings: &Findings,
        moment: (usize, f64),
        time_for: usize,
        state: &mut PolicyState,
        stocks: &mut Stocks,
        acts: &mut Vec<Act>,
    ) {
        if !self.asks_for_blades {
            acts.push(Act::ReplaceCalled);
            return;
        }
        let blades = findings.blades.iter();
        let action = |called: &CalledBlade| self.dispositions.action(called.longest_mm, called.deepest_mm);
        if findings.blades.len() >= self.replace_row_from
            || blades.clone().any(|called| action(called) == Action::ReplaceRow)
        {
            acts.push(Act::ReplaceRow);
            return;
        }
        let called = blades.clone().filter(|called| action(called) == Action::Replace);
        if self.spares.is_some() || self.window_closes {
            let replaced = self.ask_for_blades(called.copied().collect(), moment, time_for, state, stocks);
            acts.extend(replaced.into_iter().map(Act::ReplaceBlade));
        } else {
            for blade in called.flat_map(|called| self.groups.of(called.blade)) {
                if self.groups.are_single() || !acts.contains(&Act::ReplaceBlade(blade)) {
                    acts.push(Act::ReplaceBlade(blade));
                }
            }
        }
        for called in blades {
            if !self.groups.are_single() && acts.contains(&Act::ReplaceBlade(called.blade)) {
                continue;
            }
            match action(called) {
                Action::Dress => acts.push(Act::DressBlade(called.blade)),
                Action::Watch => self.watch_until_next(moment.0, called, state),
                Action::RunOn | Action::Replace | Action::ReplaceRow => {}
            }
        }
        if acts.iter().any(|act| matches!(act, Act::DressBlade(_))) {
            acts.push(Act::ReplaceTooDeep);
        }
        if !state.watched.is_empty() {
            acts.push(Act::WatchUntilNext);
        }
    }

    /// A blade stays with an indication, to be looked at again at the next outage, if the row runs until then.
    fn watch_until_next(&self, next: usize, called: &CalledBlade, state: &mut PolicyState) {
        let technique = self.watch.map_or_else(|| self.own(called.technique), |watch| watch.technique);
        let watched = Watched { outage: next, blade: called.blade, technique };
        // It may be watched since before a stop.
        if next < self.runs_until && !state.watched.contains(&watched) {
            state.watched.push(watched);
        }
    }

    /// Called blades are to be replaced, from stock where there is one, as long as there is time for so many: returns those that
    /// are, with their groups, in the order in which they asked, the longest measured first. The others run on.
    pub fn ask_for_blades(
        &self,
        mut called: Vec<CalledBlade>,
        (next, year): (usize, f64),
        time_for: usize,
        state: &mut PolicyState,
        stocks: &mut Stocks,
    ) -> Vec<u32> {
        called.sort_by(|one, other| {
            other.longest_mm.total_cmp(&one.longest_mm).then_with(|| one.blade.cmp(&other.blade))
        });
        let mut replaced = Vec::new();
        for called in called {
            if replaced.contains(&called.blade) {
                continue;
            }
            let group = self.groups.of(called.blade);
            if replaced.len() + group.len() <= time_for && self.take_spares(&called, year, state, stocks) {
                replaced.extend(group);
            } else {
                state.short.run_on += 1;
                self.watch_until_next(next, &called, state);
            }
        }
        replaced
    }

    /// Takes blades for a called one and its group, unless it runs on for want of them: then they are ordered.
    fn take_spares(&self, called: &CalledBlade, year: f64, state: &mut PolicyState, stocks: &mut Stocks) -> bool {
        let Some(spares) = &self.spares else { return true };
        let group: Vec<u32> = self.groups.of(called.blade).collect();
        // What is ordered comes later, so the others of a group that runs on find no more at hand than the first.
        if !spares.may_run_on || spares.at_hand(stocks, group.len(), year).is_some() {
            take_group(spares, &group, year, state, stocks);
            return true;
        }
        if !state.awaiting.contains(&called.blade) {
            spares.order(stocks, group.len(), year);
            state.awaiting.extend(group);
        }
        false
    }

    /// Whether called blades may run on that should be replaced.
    pub fn may_run_on(&self) -> bool {
        self.window_closes || self.spares.is_some_and(|spares| spares.may_run_on)
    }

    /// Chance, at a guess, that a blade runs on that is called at a moment, as the stock stands before it, and with time for so
    /// many new blades. Where it is too low, lives in which blades run on have weights far apart; where it is too high, so have
    /// those in which they are missed.
    pub fn guessed_chance_to_run_on(&self, stocks: &Stocks, blade: u32, year: f64, time_for: usize) -> f64 {
        const IF_MET: f64 = 0.05;
        const IF_NOT: f64 = 0.95;
        let blades = self.groups.of(blade).len();
        let is_short = |spares: &Spares| spares.may_run_on && spares.at_hand(stocks, blades, year).is_none();
        match self.may_run_on() {
            true if blades > time_for || self.spares.as_ref().is_some_and(is_short) => IF_NOT,
            true => IF_MET,
            false => 0.0,
        }
    }
}

/// Takes blades for some that are replaced together, at a moment: new ones, but for used ones where these alone are at hand.
/// Where none are, new ones are waited for.
///
/// What was ordered for blades that ran on takes their place, and no other is ordered. They never take used ones: when they ran
/// on too few were left, and none come again.
fn take_group(spares: &Spares, group: &[u32], year: f64, state: &mut PolicyState, stocks: &mut Stocks) {
    if spares.at_hand(stocks, group.len(), year) == Some(AtHand::Used) {
        spares.take_used(stocks, group.len());
        state.short.used.extend(group);
    } else {
        let orders = group.iter().filter(|blade| !state.awaiting.contains(blade)).count();
        state.short.wait(spares.take(stocks, group.len(), orders, year));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A study file, with these looks and rules of its first strategy.
    fn text(looks: &str, rules: &str) -> String {
        let text = include_str!("../../../tests/engine/data/small.toml");
        let begin = text.find("looks = [{ techniques = [\"ultrasonic\"]").expect("looks");
        let end = text.find("after_loss = \"replace-blade\"").expect("what follows");
        format!("{}looks = [{looks}]\ndispositions = [{rules}\n{}", &text[..begin], &text[end..])
    }

    /// Its policy on the row, of which the first outage to come has number 1.
    fn of(text: &str) -> Policy {
        let study = Study::parse(text, "a study").unwrap_or_else(|error| panic!("{error}"));
        let calendar = Calendar::new([2015.0].into_iter(), &[2021.0, 2024.0, 2027.0], 2005.0, 2030.0);
        Policy::new(&study, &study.rows[0], &study.strategies[0], &calendar)
    }

    fn policy(looks: &str, rules: &str) -> Policy {
        of(&text(looks, rules))
    }

    const LOOK: &str = "{ techniques = [\"ultrasonic\"], first_outage = 1, every_outages = 1 }";
    const REPLACE: &str = "{ action = \"replace\" }]";

    #[track_caller]
    fn assert_near(ours: f64, by_hand: f64) {
        assert!((ours - by_hand).abs() < 1e-12, "{ours} for {by_hand}");
    }

    /// Of techniques that miss a crack with 0.2, 0.3 and 0.4, the first calls it.
    #[test] // by hand
    fn a_crack_that_was_called_surely_goes_only_where_that_call_decides() {
        let stays_by = |technique: usize, looks: &str| {
            let miss = |technique: usize| [0.2, 0.3, 0.4][technique];
            policy(looks, REPLACE).stays_if_called(technique, 1, miss, || [1.0, 1.0], 0.0)
        };
        let stays = |looks: &str| stays_by(0, looks);
        let look =
            |rest: &str| format!("{{ techniques = [\"ultrasonic\"], first_outage = 1, every_outages = 1{rest} }}");
        let second = |techniques: &str, rest: &str| {
            format!(", escalation = {{ techniques = [{techniques}], first_call_stands = false{rest} }}")
        };
        let overruled = look(&second("\"eddy-current\"", ""));
        assert_eq!(stays(&look("")), 0.0);
        assert_near(stays(&overruled), 0.3);
        assert_near(stays(&look(&second("\"eddy-current\", \"penetrant\"", ""))), 0.3 * 0.4);
        // One that never misses may overrule it by a chance that nobody thought of.
        let never = policy(&overruled, REPLACE).stays_if_called(0, 1, |_| 0.0, || [1.0, 1.0], 0.0);
        assert!(never > 0.0 && never < 1e-300);
        // The call of the second technique decides, and so does one by another look that sees every blade at every outage.
        assert_eq!(stays_by(1, &overruled), 0.0);
        assert_eq!(stays(&format!("{overruled}, {}", look(""))), 0.0);
        for decides_seldom in [
            look(", coverage = { blade_fraction = 0.5 }"),
            look(", skip_after_clean = 1"),
            look("").replace("first_outage = 1", "first_outage = 2"),
            look("").replace("ultrasonic", "penetrant"),
        ] {
            assert_near(stays(&format!("{overruled}, {decides_seldom}")), 0.3);
        }
        // Others must call it as well: techniques of the same look, and what it leads to.
        let all = look(", agreement = \"all\"").replace("[\"ultrasonic\"]", "[\"ultrasonic\", \"eddy-current\"]");
        let other = look("").replace("ultrasonic", "penetrant");
        assert_near(stays(&format!("{all}, {other}")), 0.3);
        let all_overruled = all.replace(" }", &format!("{} }}", second("\"penetrant\"", "")));
        assert_near(stays(&all_overruled), 1.0 - 0.7 * 0.6);
        // Or other blades be called: by a guess in a half of the cases.
        let of_two = look(&second("\"eddy-current\"", ", from_blades = 2"));
        assert_near(stays(&of_two), 1.0 - 0.5 * 0.7);
        assert_near(stays(&of_two.replace("false", "true")), 0.5);
    }

    #[test] // by hand
    fn a_crack_stays_where_its_blade_does() {
        let watched = policy(LOOK, "{ below_mm = 2, action = \"watch\" }, { action = \"replace\" }]");
        let stays = |policy: &Policy, length_mm: f64, runs_on: f64| {
            let at_outage = policy.stays_if_called(0, 1, |_| 0.5, || [length_mm, 1.0], runs_on);
            assert_eq!(policy.stays_if_called_at_stop([length_mm, 1.0], runs_on), at_outage);
            at_outage
        };
        assert_eq!([1.0, 3.0].map(|length_mm| stays(&watched, length_mm, 0.0)), [1.0, 0.0]);
        // Where the call does not stand, a blade that would be replaced stays as well.
        let second = ", escalation = { techniques = [\"eddy-current\"], first_call_stands = false } }";
        let overruled =
            policy(&LOOK.replace(" }", second), "{ below_mm = 2, action = \"watch\" }, { action = \"replace\" }]");
        assert_eq!(overruled.stays_if_called(0, 1, |_| 0.5, || [3.0, 1.0], 0.0), 0.5);
        let rules = "{ action = \"replace\" }]\nspares = [{ blades = 1, lead_days = 9, without = \"run-on-watched\" }]";
        let short = policy(LOOK, rules);
        assert_eq!([0.0, 0.25].map(|runs_on| stays(&short, 1.0, runs_on)), [0.0, 0.25]);
    }

    #[test] // by hand
    fn any_rule_that_ties_blades_together_is_enough() {
        let plain = text(LOOK, REPLACE);
        assert!(of(&plain).keeps_blades_apart);
        let of_look = |rest: &str| text(&LOOK.replace(" }", &format!(", {rest} }}")), REPLACE);
        let both_agree = LOOK
            .replace("[\"ultrasonic\"]", "[\"ultrasonic\", \"eddy-current\"]")
            .replace(" }", ", agreement = \"all\" }");
        let rule = |rule: &str| text(LOOK, &format!("{REPLACE}\n{rule}"));
        let of_root = |rule: &str| {
            plain.replace("[roots.fork.hot_spots.pin]", &format!("[roots.fork]\n{rule}\n[roots.fork.hot_spots.pin]"))
        };
        for text in [
            text(LOOK, "{ action = \"watch\" }]"),
            of_look("escalation = { techniques = [\"eddy-current\"], first_call_stands = true }"),
            text(&both_agree, REPLACE),
            text(&format!("{LOOK}, {both_agree}"), REPLACE),
            of_look("coverage = { blades = 3, chosen = \"drawn\" }"),
            of_look("skip_after_clean = 1"),
            rule("extra_look = { after_years = 1, techniques = [\"eddy-current\"], stop_cost = 0, stop_days = 0 }"),
            rule("sister_rows = { of = \"unit\", techniques = [\"ultrasonic\"] }"),
            of_root("consequences = { row_wrecked_probability = 0.1 }"),
            of_root("handling_damage_probability = 0.1"),
            of_root("replaced_together = 4"),
            plain.replace("after_loss = \"replace-blade\"", "after_loss = \"replace-row\""),
        ] {
            assert!(!of(&text).keeps_blades_apart, "{text}");
        }
    }

    /// Of three techniques, on a cleaned surface three more.
    #[test] // by hand
    fn a_technique_is_used_by_any_rule_that_leads_to_it() {
        let used = |text: &str| {
            let policy = of(text);
            (0..6).filter(|&technique| policy.uses(technique)).collect::<Vec<_>>()
        };
        let cleaned = |looks: &str, rules: &str| {
            let looks = looks.replace("first_outage", "cleaning = \"brush\", first_outage");
            format!("{}\n[cleaning.brush]\nq50_factor = 0.9\n", text(&looks, rules))
        };
        let both = LOOK.replace("[\"ultrasonic\"]", "[\"ultrasonic\", \"eddy-current\"]");
        let further = "escalation = { techniques = [\"eddy-current\", \"penetrant\"], first_call_stands = true } }";
        let further = LOOK.replace(" }", &format!(", {further}"));
        assert_eq!(used(&text(&both, REPLACE)), [0, 1]);
        assert_eq!(used(&cleaned(&both, REPLACE)), [3, 4]);
        assert_eq!(used(&text(&further, REPLACE)), [0, 1, 2]);
        assert_eq!(used(&cleaned(&further, REPLACE)), [3, 4, 5]);
        // Watched blades are looked at as they are, by what called them.
        let watch = "{ below_mm = 2, action = \"watch\" }, { action = \"replace\" }]";
        assert_eq!(used(&cleaned(&both, watch)), [0, 1, 3, 4]);
        assert_eq!(used(&cleaned(&further, watch)), [0, 1, 2, 3, 4, 5]);
        let one_further = further.replace(", \"penetrant\"", "");
        assert_eq!(used(&cleaned(&one_further, watch)), [0, 1, 3, 4]);
    }

    #[test] // by hand
    fn called_blades_surely_go_and_used_ones_come_where_the_strategy_says_so() {
        let rules =
            |spares: &str| format!("{REPLACE}\nspares = [{{ blades = 1, lead_days = 9, without = \"wait\"{spares} }}]");
        let used = ", used_blades = { blades = 2, life_factor = 0.5, cost_per_blade = 1 }";
        let watch = "{ below_mm = 2, action = \"watch\" }, { action = \"replace\" }]".to_string();
        let answers = [REPLACE.to_string(), watch, rules(""), rules(used)].map(|rules| {
            let policy = policy(LOOK, &rules);
            (policy.replaces_every_called_blade(), policy.takes_used_blades())
        });
        assert_eq!(answers, [(true, false), (false, false), (true, false), (true, true)]);
    }

    #[test] // by hand
    fn a_sample_is_told_with_its_size_and_new_blades_matter_where_it_hangs_on_those_before() {
        let sampled = |chosen: &str| format!("coverage = {{ blades = 3, chosen = \"{chosen}\" }}");
        let told = |rest: &str| {
            let policy = policy(&LOOK.replace(" }", &format!(", {rest} }}")), REPLACE);
            (policy.sample_of(&policy.scheduled[0]), policy.asks_for_new_blades())
        };
        assert_eq!(told(&sampled("drawn")), (Some((3, "drawn by chance")), false));
        assert_eq!(told(&sampled("rotating")), (Some((3, "in turn")), true));
        assert_eq!(told("coverage = { blade_fraction = 0.5 }"), (None, false));
        let root = "[roots.fork.hot_spots.pin]";
        let damaged =
            text(LOOK, REPLACE).replace(root, &format!("[roots.fork]\nhandling_damage_probability = 0.1\n{root}"));
        assert!(of(&damaged).asks_for_new_blades());
    }

    /// Looks at all blades at every outage, and by the same technique and another one at the second and later ones.
    #[test] // by hand
    fn a_technique_may_look_where_any_of_its_looks_does() {
        let may_look =
            |policy: &Policy, technique| (0..4).filter(|&at| policy.may_look(technique, at, 0)).collect::<Vec<_>>();
        let later = LOOK.replace("first_outage = 1", "first_outage = 2");
        let overruled = ", escalation = { techniques = [\"eddy-current\"], first_call_stands = false } }";
        let all = policy(&format!("{LOOK}, {later}, {}", later.replace(" }", overruled)), REPLACE);
        assert_eq!([0, 1, 2].map(|technique| may_look(&all, technique)), [vec![1, 2, 3], vec![0, 1, 2, 3], vec![]]);
        assert_eq!([0, 1, 2].map(|look| all.stands(look)), [true, true, false]);
        // One that reacts to finds may be brought forward, but not before its first outage.
        let reacting = policy(&later.replace(" }", ", skip_after_clean = 1 }"), REPLACE);
        assert_eq!(may_look(&reacting, 0), [2, 3]);
        // Of what follows on finds only looks at the whole row see it again.
        let further = |technique: &str, rest: &str| {
            let further = format!("{{ techniques = [\"{technique}\"], first_call_stands = true{rest} }}");
            LOOK.replace(" }", &format!(", escalation = {further} }}"))
        };
        let called = further("eddy-current", ", of = \"called-blades\"");
        let both = policy(&format!("{called}, {}", further("penetrant", "")), REPLACE);
        let again = |leading| [0, 1, 2].map(|technique| both.looks_at_row_again(technique, leading));
        assert_eq!([again(0b01), again(0b10), again(0b11)], [[false; 3], [false, false, true], [false, false, true]]);
    }

    /// A look at every outage, every other one after it found nothing; the row is new at the second outage to come.
    #[test] // by hand
    fn a_look_is_due_next_by_what_it_found_or_from_where_the_row_was_new() {
        let looks = LOOK.replace(" }", ", skip_after_clean = 1 }");
        let policy = policy(&looks, &format!("{REPLACE}\nrow_end = {{ year = 2024, then = \"new-row\" }}"));
        let (mut state, mut stocks, mut acts) = Default::default();
        policy.begin(&mut state);
        let mut decide = |outage: usize, any: bool, state: &mut PolicyState| {
            let moment = (outage, [2021.0, 2024.0, 2027.0][outage - 1]);
            policy.decide(moment, &Findings { any, ..Default::default() }, 9, state, &mut stocks, &mut acts);
            (acts.clone(), policy.due_next(state).collect::<Vec<_>>())
        };
        assert_eq!(decide(1, true, &mut state), (vec![Act::ReplaceCalled], vec![(0, Some(2))]));
        assert_eq!(decide(2, false, &mut state), (vec![Act::ReplaceRow], vec![(0, Some(3))]));
        policy.begin(&mut state);
        assert_eq!(decide(1, false, &mut state), (vec![Act::ReplaceCalled], vec![(0, Some(3))]));
        assert_eq!(decide(2, false, &mut state), (vec![Act::ReplaceRow], vec![(0, Some(3))]));
        assert_eq!(decide(3, false, &mut state), (vec![Act::ReplaceCalled], vec![(0, None)]));
    }

    #[test] // by hand
    fn a_blade_is_watched_until_the_next_outage_only() {
        let policy = policy(LOOK, "{ below_mm = 2, action = \"watch\" }, { action = \"replace\" }]");
        let (mut state, mut stocks, mut acts) = Default::default();
        policy.begin(&mut state);
        let called = CalledBlade { blade: 7, longest_mm: 1.0, technique: 0, deepest_mm: 1.0 };
        let mut decide = |moment: (usize, f64), blades: Vec<CalledBlade>, state: &mut PolicyState| {
            let findings = Findings { any: !blades.is_empty(), blades, ..Default::default() };
            policy.decide(moment, &findings, 9, state, &mut stocks, &mut acts);
            (acts.clone(), state.watched.clone())
        };
        let watched = |outage| (vec![Act::WatchUntilNext], vec![Watched { outage, blade: 7, technique: 0 }]);
        assert_eq!(decide((1, 2021.0), vec![called], &mut state), watched(2));
        assert_eq!(decide((2, 2024.0), vec![], &mut state), (vec![], vec![]));
        assert_eq!(decide((1, 2021.0), vec![called], &mut state), watched(2));
        assert_eq!(decide((2, 2024.0), vec![called], &mut state), watched(3));
    }

    #[test] // by hand
    fn what_was_done_to_a_blade_is_forgotten_with_it_and_with_its_row_and_life() {
        let policy = policy(&LOOK.replace(" }", ", skip_after_clean = 1 }"), REPLACE);
        let place = DressedPlace { blade: 3, hot_spot: 0, position: 0 };
        let dressing = Dressing { gone_probability: 1.0, life_factor: 0.5, at_most_depth_mm: 2.0, blades_out: false };
        let mut state = PolicyState::default();
        let left = |state: &PolicyState| {
            (state.watched.len(), state.awaiting.len(), state.ground.is_too_deep(&dressing, place, 2.0))
        };
        let begin = |state: &mut PolicyState| policy.begin(state);
        let new_blade = |state: &mut PolicyState| state.renew_blade(3);
        for forget in [&begin as &dyn Fn(&mut PolicyState), &new_blade, &PolicyState::renew_row] {
            state.watched.push(Watched { outage: 2, blade: 3, technique: 0 });
            state.awaiting.push(3);
            state.ground.grind(place, 2.0);
            assert_eq!(left(&state), (1, 1, true));
            forget(&mut state);
            assert_eq!(left(&state), (0, 0, false));
        }
        state.extra_look_year = Some(2022.0);
        state.intervals[0].next = 3;
        policy.begin(&mut state);
        assert_eq!(state.extra_look_year, None);
        assert_eq!(policy.due_next(&state).collect::<Vec<_>>(), [(0, Some(1))]);
    }

    /// One spare, for a strategy that has called blades run on, or wait; and time for one new blade, where the window closes.
    #[test]
    fn a_blade_may_run_on_by_any_guess_where_nobody_waits() {
        let of_rules = |rules: &str| of(&text(LOOK, &format!("{REPLACE}\n{rules}")));
        let mut stocks = Stocks::default();
        stocks.begin(&[[1, 0]]);
        let mut none = Stocks::default();
        none.begin(&[[0, 0]]);
        let stocked =
            |without: &str| of_rules(&format!("spares = [{{ blades = 1, lead_days = 90, without = \"{without}\" }}]"));
        let guess =
            |policy: &Policy, stocks: &Stocks, time_for| policy.guessed_chance_to_run_on(stocks, 3, 2021.0, time_for);
        let runs_on = stocked("run-on-watched");
        let [there, not_there] = [&stocks, &none].map(|stocks| guess(&runs_on, stocks, usize::MAX));
        assert!(0.0 < there && there < not_there && not_there < 1.0);
        assert_eq!([&stocks, &none].map(|stocks| guess(&stocked("wait"), stocks, usize::MAX)), [0.0; 2]);
        let closes = of_rules("when_window_closes = \"run-on-watched\"");
        assert_eq!([1, 0].map(|time_for| guess(&closes, &none, time_for)), [there, not_there]);
        assert_eq!(guess(&of_rules(""), &none, 0), 0.0);
    }
}
