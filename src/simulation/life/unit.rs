//! Lives of all rows of a unit, which share its outages; and of units that share spare blades.

use super::Lives;
use super::follow::Life;
use super::planted::{LossCounts, PlantedFate};
use super::row_state::WINDOW;
use crate::model::Study;
use crate::model::strategy::LookScope;
use crate::simulation::nature::{IntegrationCounts, LifeKey, Mark, Planted};
use crate::simulation::observe::{LifeRecord, UnitBuffers};
use crate::simulation::plan::{GroupPlan, RowPlan, UnitPlan};
use crate::simulation::policy::{Harm, Stocks};
use std::ops::{ControlFlow, Range};

/// Lives of the rows of one unit, or of several that share spare blades; keeps its storage from life to life.
#[derive(Debug)]
pub(crate) struct UnitLives<'p> {
    group: &'p GroupPlan,
    rows: Vec<Lives<'p>>,
    records: Vec<LifeRecord>,
    buffers: UnitBuffers,
    // Of rows that are lived together.
    stocks: Stocks,
    marks: Vec<Mark>,
    are_over: Vec<bool>,
    visited: Vec<bool>,
    finds: Vec<bool>,
    // Of their units: the outages that they look ahead to, and what comes to them next.
    windows: Vec<usize>,
    next: Vec<Option<Event>>,
}

/// A loss in a unit, or an outage of it.
#[derive(Debug, Clone, Copy)]
struct Event {
    year: f64,
    /// The outage, of those to come; a loss comes before it.
    outage: usize,
    /// Place of the row that loses a blade.
    loses: Option<usize>,
}

impl<'p> UnitLives<'p> {
    pub fn new(study: &'p Study, plans: &'p [RowPlan], group: &'p GroupPlan) -> Self {
        let plans = || group.rows.iter().map(|&row| &plans[row]);
        let count = group.rows.len();
        UnitLives {
            group,
            rows: plans().map(|plan| Lives::new(plan, study)).collect(),
            records: plans().map(|plan| LifeRecord::new(study, &plan.nature.calendar)).collect(),
            buffers: UnitBuffers::default(),
            stocks: Stocks::default(),
            marks: Vec::new(),
            are_over: vec![false; count],
            visited: vec![false; count],
            finds: vec![false; count],
            windows: vec![0; group.units.len()],
            next: vec![None; group.units.len()],
        }
    }

    /// Draws lives of one of its rows, by place; see [`Lives::begin`].
    pub fn begin<K: Into<LifeKey>>(&mut self, place: usize, keys: impl ExactSizeIterator<Item = K>) -> Option<u64> {
        self.rows[place].begin(keys)
    }

    /// Draws lives of one of its rows, by place, with a crack planted in each, and no other if they are alone; and plain
    /// ones of the other rows, where a strategy lives them together.
    pub fn begin_planted(
        &mut self,
        place: usize,
        keys: impl Fn(usize) -> Vec<LifeKey>,
        planted: Vec<Planted>,
        are_alone: bool,
    ) -> std::result::Result<(), usize> {
        let strategies = 0..self.group.runs.len();
        let together: Vec<Range<usize>> =
            strategies.filter_map(|strategy| self.lived_together_with(place, strategy)).collect();
        for other in (0..self.rows.len()).filter(|other| *other != place) {
            if together.iter().any(|places| places.contains(&other)) {
                self.rows[other].begin(keys(other).into_iter()).ok_or(other)?;
            }
        }
        self.rows[place].begin_planted(keys(place).into_iter(), planted, are_alone);
        Ok(())
    }

    /// One of these lives goes on under one strategy: what became of the planted crack, if it was lost.
    pub fn follow_planted(&mut self, place: usize, life: usize, strategy: usize) -> Option<PlantedFate> {
        if !self.rows[place].came_through(life, strategy) {
            return None;
        }
        let standing = *self.rows[place].standing(life, strategy);
        let together = self.lived_together_with(place, strategy);
        if together.is_some() {
            self.follow_together(life, strategy, self.run_of(place, strategy));
        } else {
            self.rows[place].follow(life, strategy, &mut self.records[place]);
        }
        let lost = self.rows[place].planted_loss(life, strategy);
        *self.rows[place].standing(life, strategy) = standing;
        let (loss, weight) = lost?;
        let counts = |row: usize| LossCounts::of(&self.records[row].loss_years, loss.year);
        let of_row = counts(place);
        let with_others =
            |places: Range<usize>| places.filter(|other| *other != place).map(counts).fold(of_row, LossCounts::and);
        let of_unit = if together.is_some() { with_others(self.unit_of(place)) } else { of_row };
        let of_group = together.map_or(of_row, with_others);
        let levels_passed = self.records[place].levels_passed();
        Some(PlantedFate { loss, weight, of_row, of_unit, of_group, levels_passed })
    }

    /// One of its rows, by place.
    pub fn row(&mut self, place: usize) -> &mut Lives<'p> {
        &mut self.rows[place]
    }

    /// One of the lives goes on under one strategy: what each row comes to.
    pub fn follow(&mut self, life: usize, strategy: usize) -> &mut [LifeRecord] {
        let group = self.group;
        for units in &group.runs[strategy] {
            let places = group.places(units.clone());
            if self.are_lived_together(places.clone(), strategy) {
                self.follow_together(life, strategy, units.clone());
            } else {
                for (row, record) in self.rows[places.clone()].iter_mut().zip(&mut self.records[places]) {
                    row.follow(life, strategy, record);
                }
            }
        }
        for unit in &group.units {
            unit.work[strategy].settle(&mut self.records[unit.places()], &mut self.buffers);
        }
        &mut self.records
    }

    /// Whether what happens on any of some rows may concern others.
    fn are_lived_together(&self, places: Range<usize>, strategy: usize) -> bool {
        self.rows[places].iter().any(|row| row.policy(strategy).lives_with_others)
    }

    /// Units among which a row may share spare blades under a strategy.
    fn run_of(&self, place: usize, strategy: usize) -> Range<usize> {
        let of_row = |units: &&Range<usize>| self.group.places((*units).clone()).contains(&place);
        self.group.runs[strategy].iter().find(of_row).cloned().unwrap_or(0..0)
    }

    /// Places of the rows that one is lived together with under a strategy, its own among them; none where it is lived by
    /// itself.
    fn lived_together_with(&self, place: usize, strategy: usize) -> Option<Range<usize>> {
        let places = self.group.places(self.run_of(place, strategy));
        self.are_lived_together(places.clone(), strategy).then_some(places)
    }

    /// Places of the rows of a row's unit.
    fn unit_of(&self, place: usize) -> Range<usize> {
        let mut units = self.group.units.iter().map(UnitPlan::places);
        units.find(|places| places.contains(&place)).unwrap_or(0..0)
    }

    /// One of the lives of a row under one strategy.
    fn own(&mut self, life: usize, strategy: usize, place: usize) -> Life<'_, 'p> {
        let UnitLives { rows, records, stocks, .. } = self;
        rows[place].under(strategy).life(life, strategy, &mut records[place], stocks)
    }

    /// All rows of some units, in the order of time.
    fn follow_together(&mut self, life: usize, strategy: usize, units: Range<usize>) {
        let group = self.group;
        let places = group.places(units.clone());
        self.stocks.begin(&group.stocks[strategy]);
        let mut marks = std::mem::take(&mut self.marks);
        marks.clear();
        for place in places.clone() {
            let own = self.rows[place].under(strategy);
            marks.push(own.begin_life(life, strategy, &mut self.records[place]));
            self.own(life, strategy, place).begin();
            self.are_over[place] = false;
        }
        for unit in units.clone() {
            self.open_window(life, strategy, unit, 0);
            self.next[unit] = self.next_event(life, strategy, unit);
        }
        while let Some((unit, event)) = self.earliest(units.clone()) {
            match event.loses {
                Some(place) => self.lose(life, strategy, unit, place, event),
                None => self.live_outage(life, strategy, unit, event.outage),
            }
            self.next[unit] = self.next_event(life, strategy, unit);
        }
        for (place, mark) in places.zip(&marks) {
            self.rows[place].under(strategy).end_life(life, strategy, &mut self.records[place], *mark);
        }
        self.marks = marks;
    }

    /// Looks ahead to the outages of a unit from one on.
    fn open_window(&mut self, life: usize, strategy: usize, unit: usize, window: usize) {
        self.windows[unit] = window;
        for place in self.group.units[unit].places() {
            let start = self.rows[place].calendar().start;
            self.own(life, strategy, place).open_window(start + window);
        }
    }

    /// Of some units the one to which anything comes first: at the same moment losses come before outages, then units in
    /// their order.
    fn earliest(&self, units: Range<usize>) -> Option<(usize, Event)> {
        let order = |event: &Event| (event.year, event.loses.is_none());
        let mut first: Option<(usize, Event)> = None;
        for unit in units {
            let Some(event) = self.next[unit] else { continue };
            if first.is_none_or(|(_, before)| order(&event) < order(&before)) {
                first = Some((unit, event));
            }
        }
        first
    }

    /// What comes next to a unit.
    fn next_event(&mut self, life: usize, strategy: usize, unit: usize) -> Option<Event> {
        let places = self.group.units[unit].places();
        let first = &self.rows[places.start];
        let to_come = first.calendar().to_come();
        loop {
            if let Some(outage) = self.next_outage(strategy, places.clone(), to_come) {
                if let Some((year, place)) = self.next_loss(life, strategy, places.clone(), outage) {
                    return Some(Event { year, outage, loses: Some(place) });
                }
                let at = self.rows[places.start].calendar().start + outage;
                return Some(Event { year: self.own(life, strategy, places.start).year_of(at), outage, loses: None });
            }
            let window = self.windows[unit] + WINDOW;
            if window > to_come {
                return None;
            }
            self.open_window(life, strategy, unit, window);
        }
    }

    /// The next outage to come of which anything is known at which anything is due on any row that runs; one more, for losses
    /// behind the last outage.
    fn next_outage(&mut self, strategy: usize, places: Range<usize>, to_come: usize) -> Option<usize> {
        let rows = self.rows[places.clone()].iter_mut().zip(&self.are_over[places]).filter(|(_, is_over)| !**is_over);
        let next =
            rows.filter_map(|(row, _)| Some(row.under(strategy).room.state.next_outage()? - row.calendar().start));
        next.min().filter(|outage| *outage <= to_come)
    }

    /// The next loss or stop before an outage, where one may concern other rows: the year, and the place of the row.
    fn next_loss(&mut self, life: usize, strategy: usize, places: Range<usize>, outage: usize) -> Option<(f64, usize)> {
        let concerns_others = |row: &Lives| {
            let policy = row.policy(strategy);
            policy.consequences.rotor_wrecked_probability > 0.0
                || policy.spares.is_some()
                || policy.stops.after_loss.as_ref().is_some_and(|look| look.of != LookScope::Row)
        };
        if !self.rows[places.clone()].iter().any(concerns_others) {
            return None;
        }
        let mut earliest: Option<(f64, usize)> = None;
        for place in places {
            if self.are_over[place] {
                continue;
            }
            let at = self.rows[place].calendar().start + outage;
            if let Some(next) = self.own(life, strategy, place).next_event(at)
                && earliest.is_none_or(|(before, _)| next.year < before)
            {
                earliest = Some((next.year, place));
            }
        }
        earliest
    }

    /// A blade is lost, which may wreck other rows of its rotor or have some of its unit looked at; or the unit is stopped.
    fn lose(&mut self, life: usize, strategy: usize, unit: usize, place: usize, event: Event) {
        let at = self.rows[place].calendar().start + event.outage;
        let mut own = self.own(life, strategy, place);
        let Some(harm) = own.next_event(at).and_then(|next| own.live_event(next, at)) else { return };
        let unit = &self.group.units[unit];
        let (places, rotors) = (unit.places(), &unit.rotors);
        let rotor = |place: usize| rotors[place - places.start];
        for other in places.clone().filter(|&other| other != place) {
            if self.are_over[other] {
                continue;
            }
            let is_on_rotor = rotor(other) == rotor(place);
            let at = self.rows[other].calendar().start + event.outage;
            let mut own = self.own(life, strategy, other);
            if harm == Harm::Rotor && is_on_rotor {
                own.wreck(event.year, at);
            } else {
                let techniques = own.strategy.policy.stops.after_loss_on_other(is_on_rotor);
                own.look_after_loss(techniques, event.year, at);
            }
        }
    }

    /// An outage of a unit, and the time before it: first all rows' own looks, then those at their sisters, then what follows.
    fn live_outage(&mut self, life: usize, strategy: usize, unit: usize, outage: usize) {
        let unit = &self.group.units[unit];
        let (places, rotors) = (unit.places(), &unit.rotors);
        let rotor = |place: usize| rotors[place - places.start];
        for place in places.clone() {
            let at = self.rows[place].calendar().start + outage;
            // No life ends by a loss in the study.
            self.visited[place] =
                !self.are_over[place] && self.own(life, strategy, place).meet(at) == ControlFlow::Continue(true);
            self.finds[place] = self.visited[place] && self.rows[place].under(strategy).room.findings.any;
        }
        for place in places.clone() {
            let Some(sisters) = &self.rows[place].row.strategies[strategy].policy.sisters else { continue };
            let is_sister = |other: &usize| *other != place && sisters.are(rotor(*other), rotor(place));
            if self.are_over[place] || !places.clone().filter(is_sister).any(|other| self.finds[other]) {
                continue;
            }
            let at = self.rows[place].calendar().start + outage;
            for &technique in &sisters.techniques {
                let is_visited = std::mem::replace(&mut self.visited[place], true);
                self.own(life, strategy, place).look_as_sister(technique, at, is_visited);
            }
        }
        for place in places {
            if self.visited[place] {
                let at = self.rows[place].calendar().start + outage;
                self.are_over[place] = self.own(life, strategy, place).act(at).is_break();
            }
        }
    }

    /// What happened to the cracks of each row since this was last asked.
    pub fn take_counts(&mut self) -> impl Iterator<Item = IntegrationCounts> + '_ {
        self.rows.iter_mut().map(Lives::take_counts)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Key;

    /// As many outages as a life looks ahead to at once, and no look at any. Rows of a stock are lived together, which changes
    /// nothing where new blades are always there.
    #[test]
    fn losses_behind_the_last_outage_come_to_rows_that_are_lived_together_too() {
        const LIVES: u64 = 20;
        let text = include_str!("../../../tests/engine/data/small.toml");
        let strategies =
            &text[text.find("[strategies.look]").expect("strategies")..text.find("[costs]").expect("costs")];
        let alone = "description = \"Nothing.\"\nafter_loss = \"replace-blade\"\n";
        let stock = "spares = [{ blades = 1000, lead_days = 1, without = \"wait\" }]\n";
        let years: Vec<String> = (0..WINDOW).map(|outage| (2021 + outage).to_string()).collect();
        let text = text
            .replace(strategies, &format!("[strategies.alone]\n{alone}[strategies.stocked]\n{alone}{stock}"))
            .replace("baseline = \"look\"", "baseline = \"alone\"")
            .replace("horizon_years = 10", "horizon_years = 70")
            .replace("coefficient_m_per_start = 1e-11", "coefficient_m_per_start = 3e-10")
            .replace("years = [2021, 2024, 2027]", &format!("years = [{}]", years.join(", ")));
        let study = Study::parse(&text, "a study").unwrap_or_else(|error| panic!("{error}"));
        let plans = RowPlan::all(&study).expect("good rows");
        let groups = GroupPlan::all(&study, &plans);
        let mut lives = UnitLives::new(&study, &plans, &groups[0]);
        let keys: Vec<Key> = (0..LIVES).map(|life| Key::from_seed(1).child(life)).collect();
        lives.begin(0, keys.into_iter()).expect("lives that come through their past");
        let mut behind = 0;
        for life in 0..LIVES as usize {
            let [alone, stocked] = [0, 1].map(|strategy| lives.follow(life, strategy)[0].loss_years.clone());
            assert_eq!(alone, stocked);
            behind += alone.iter().filter(|year| **year as usize > WINDOW).count();
        }
        assert!(behind > 0);
    }
}
