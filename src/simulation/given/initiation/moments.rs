//! What the looks at each blade say of the moment at which an origin of it cracked.
//!
//! Whether looks miss a crack or call it, and what length they report, hangs on when it began, and not on the law of that. So
//! possible cracks are spread evenly over the life of the row, by starts and hours alike, and what they say is a step function
//! of the year in which a crack begins: one for all laws and clocks.
//!
//! The origins of a blade share its stress, which is summed over. What is left out hangs on two cracks in one blade: that
//! false calls before a find need a blade free of both, that all lengths reported of a blade are taken to be of one crack, and
//! that of calls without a length each crack counts by itself.

use super::super::find::FindModel;
use super::super::history::{BladeEnd, BladeKind};
use super::super::likelihood::{Fineness, Place, RowModel};
use super::super::past::RowPast;
use super::super::pool::point;
use super::super::shared::Shared;
use crate::math::{exp, normal_quantile};
use crate::model::initiation::InitiationShape;
use crate::model::usage::Readings;
use crate::statistics::initiation::{Cell, Observation, Origins, Way};

/// Blades that are alike: the chance of what was seen, by the years in which their origins cracked.
#[derive(Debug, Clone)]
pub(super) struct Seen {
    /// Number of the row.
    pub row: usize,
    pub installed_year: f64,
    /// Until when it was watched.
    last_year: f64,
    /// So many blades.
    count: f64,
    is_clean: bool,
    /// Years between which chances are taken as the same.
    years: Vec<f64>,
    ways: Vec<SeenWay>,
}

/// One way in which it may have come about, as a [`Way`].
#[derive(Debug, Clone)]
struct SeenWay {
    weight: f64,
    hazard_factor: f64,
    origins: Vec<SeenOrigins>,
}

/// Origins that are alike: chances by cell, and had none cracked.
#[derive(Debug, Clone)]
struct SeenOrigins {
    spot: usize,
    /// Factor of the blade's stress on their hazard.
    hazard_factor: f64,
    number: f64,
    chances: Vec<f64>,
    never: f64,
}

/// A law that is not fitted but stands as the study has it.
#[derive(Debug)]
pub(super) struct HeldLaw {
    pub shape: InitiationShape,
    pub clock: Readings,
    pub life_factor: f64,
}

impl HeldLaw {
    /// The chance of what was seen of an origin in a blade that was new in a year.
    fn chance(&self, seen: &SeenOrigins, installed_year: f64, last_year: f64, years: &[f64]) -> f64 {
        let uncracked = |year: f64| {
            let reading = (self.clock.at(year.min(last_year)) - self.clock.at(installed_year)) / self.life_factor;
            exp(-seen.hazard_factor * self.shape.cumulative_hazard(reading.max(0.0)))
        };
        let cells = years.windows(2).zip(&seen.chances).filter(|(_, chance)| **chance > 0.0);
        let cracked: f64 = cells.map(|(years, chance)| chance * (uncracked(years[0]) - uncracked(years[1]))).sum();
        cracked + seen.never * uncracked(last_year)
    }
}

/// How finely it is worked out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Work {
    pub fineness: Fineness,
    /// Draws of what the blades of a row share.
    pub draws: usize,
}

impl Seen {
    /// Ends of the stretches of time within which a crack may have begun.
    pub fn moments(&self) -> impl Iterator<Item = f64> {
        self.years.iter().copied().filter(|year| *year > self.installed_year && *year <= self.last_year)
    }

    /// Whether it can come about at all.
    pub fn is_possible(&self) -> bool {
        let of = |own: &SeenOrigins| own.never > 0.0 || own.chances.iter().any(|chance| *chance > 0.0);
        self.ways.iter().any(|way| way.weight > 0.0 && way.origins.iter().all(of))
    }

    /// Takes the origins of hot spots whose laws are held into the weights.
    pub fn hold(&mut self, held: &[Option<HeldLaw>]) {
        for way in &mut self.ways {
            for own in &way.origins {
                if let Some(law) = &held[own.spot] {
                    way.weight *= law.chance(own, self.installed_year, self.last_year, &self.years).powf(own.number);
                }
            }
            way.origins.retain(|own| held[own.spot].is_none());
            way.hazard_factor = way.origins.first().map_or(1.0, |own| own.hazard_factor);
        }
        self.ways.retain(|way| way.weight > 0.0);
    }

    /// The same by a clock, whose readings are divided by a factor; none if it has not moved.
    pub fn observation(&self, clock: &Readings, life_factor: f64) -> Option<Observation> {
        let installed = clock.at(self.installed_year);
        let reading = |year: f64| (clock.at(year) - installed) / life_factor;
        let last = reading(self.last_year);
        if !(last > 0.0) {
            return None;
        }
        let readings: Vec<f64> = self.years.iter().map(|&year| reading(year).min(last)).collect();
        let way = |way: &SeenWay| {
            let origins = way.origins.iter().map(|own| Origins {
                number: own.number,
                cells: cells(&readings, &own.chances),
                never: own.never,
            });
            Way { weight: way.weight, hazard_factor: way.hazard_factor, origins: origins.collect() }
        };
        let seen = Observation::of_ways(self.ways.iter().map(way).collect(), last);
        Some(Observation { count: self.count, row: self.row, is_clean: self.is_clean, ..seen })
    }
}

/// Stretches of readings with a chance, none where the clock stands still; those that follow each other with the same are one.
fn cells(readings: &[f64], chances: &[f64]) -> Vec<Cell> {
    let mut cells: Vec<Cell> = Vec::new();
    for (pair, &coefficient) in readings.windows(2).zip(chances) {
        let (from, to) = (pair[0], pair[1]);
        if from < to && coefficient > 0.0 {
            match cells.last_mut().filter(|last| last.to == from && last.coefficient == coefficient) {
                Some(last) => last.to = to,
                None => cells.push(Cell { from, to, coefficient }),
            }
        }
    }
    cells
}

/// All blades of a row.
pub(super) fn seen(past: &RowPast, work: Work) -> Vec<Seen> {
    let parts = (&past.nature, &past.inspection);
    let mut model = RowModel::new(parts, &past.history, past.in_service_year, 0.0, &[], work.fineness);
    let mut finds = std::mem::take(&mut model.finds);
    let size = past.numbers.len();
    let draws = if size == 0 { 1 } else { work.draws };
    let mut sums: Vec<KindSums> = past.history.kinds.iter().map(|_| KindSums::default()).collect();
    for draw in 0..draws {
        let values: Vec<f64> =
            (0..size).map(|number| normal_quantile(point(draw, number, work.fineness.seed))).collect();
        let shared = Shared::of(&past.numbers, &values, past.nature.hot_spots.len(), past.history.looks.len());
        model.live(&shared);
        for (kind, sums) in past.history.kinds.iter().zip(&mut sums) {
            if let BladeEnd::Clean { until_year } = kind.end {
                let clean = |place: &Place| place.means(|crack| place.pool.missed(crack, &kind.clean, until_year));
                sums.add(draws, model.places.iter().map(clean), std::iter::empty());
            }
        }
        for find in finds.iter_mut().filter(|find| find.cracked != Some(false)) {
            let kind = &past.history.kinds[find.kind];
            let others: Vec<Vec<f64>> = model.places.iter().map(|place| others(find, &model, kind, place)).collect();
            let called: Vec<Vec<f64>> =
                (0..model.places.len()).map(|at| called(find, &model, kind, at, &shared)).collect();
            sums[find.kind].add(draws, others.into_iter(), called.into_iter());
        }
    }
    let mut seen = Vec::new();
    for (number, (kind, sums)) in past.history.kinds.iter().zip(&sums).enumerate() {
        let of = KindSeen { past, model: &model, kind, sums };
        match finds.iter().find(|find| find.kind == number) {
            Some(find) => of.called(find, &mut seen),
            None => of.clean(&mut seen),
        }
    }
    seen
}

/// Means of a kind of blades over the draws, by place and cell.
#[derive(Debug, Default)]
struct KindSums {
    /// Of an origin of which nothing was said, or nothing that counts.
    missed: Vec<Vec<f64>>,
    /// Of one that was called as the blade was.
    called: Vec<Vec<f64>>,
}

impl KindSums {
    fn add(&mut self, draws: usize, missed: impl Iterator<Item = Vec<f64>>, called: impl Iterator<Item = Vec<f64>>) {
        let add = |sums: &mut Vec<Vec<f64>>, place: usize, means: Vec<f64>| {
            if sums.len() == place {
                sums.push(vec![0.0; means.len()]);
            }
            sums[place].iter_mut().zip(&means).for_each(|(sum, mean)| *sum += mean / draws as f64);
        };
        missed.enumerate().for_each(|(place, means)| add(&mut self.missed, place, means));
        called.enumerate().for_each(|(place, means)| add(&mut self.called, place, means));
    }
}

/// By cell the chance that a crack of a called blade is not what it was called for.
fn others(find: &FindModel, model: &RowModel, kind: &BladeKind, place: &Place) -> Vec<f64> {
    place.means(|crack| {
        let missed = place.pool.missed(crack, &kind.clean, find.year);
        if missed > 0.0 { missed * find.answer(model, &place.pool, crack, 0, 0) } else { 0.0 }
    })
}

/// By cell the chance, and density of the lengths, that a crack was missed before and called as the blade was.
fn called<'p>(
    find: &mut FindModel<'p>,
    model: &RowModel<'p>,
    kind: &BladeKind,
    at: usize,
    shared: &Shared,
) -> Vec<f64> {
    let place = &model.places[at];
    let set = (1_usize << find.measured.len()) - 1;
    let mut traced = std::mem::take(&mut find.traced);
    let chances = if set == 0 {
        place.means(|crack| {
            let missed = place.pool.missed(crack, &kind.clean, find.year);
            let calls = |look: &usize| 1.0 - place.pool.misses_of(crack)[*look];
            let answer = find.answer(model, &place.pool, crack, 0, 0);
            missed * answer * find.unmeasured.iter().map(calls).product::<f64>()
        })
    } else {
        let own = &mut traced[set - 1][at];
        own.live(model, (kind, find.year), place, shared);
        let hazards = &place.grid.hazards_since[place.grid.age(kind.installed_year)];
        let mut sums = vec![0.0; place.grid.past_cells];
        for crack in (0..own.pool.len()).filter(|&crack| own.weights[crack] > 0.0) {
            let missed = own.pool.missed(crack, &kind.clean, find.year);
            let calls = |look: &usize| 1.0 - own.pool.misses_of(crack)[*look];
            let answer = find.answer(model, &own.pool, crack, set, 0);
            let chance = missed * answer * find.unmeasured.iter().map(calls).product::<f64>();
            let line = hazards.partition_point(|hazard| *hazard <= own.own_hazards[crack]);
            sums[line.clamp(1, hazards.len() - 1) - 1] += own.weights[crack] * chance;
        }
        for (cell, sum) in sums.iter_mut().enumerate() {
            let mass = hazards[cell + 1] - hazards[cell];
            *sum = if mass > 0.0 { *sum / mass } else { 0.0 };
        }
        sums
    };
    find.traced = traced;
    chances
}

/// A kind of blades with what its cracks would have shown.
struct KindSeen<'a, 'p> {
    past: &'a RowPast,
    model: &'a RowModel<'p>,
    kind: &'a BladeKind,
    sums: &'a KindSums,
}

impl KindSeen<'_, '_> {
    fn spots(&self) -> usize {
        self.model.nature.hot_spots.len()
    }

    /// Blades that no look called.
    fn clean(&self, seen: &mut Vec<Seen>) {
        let BladeEnd::Clean { until_year } = self.kind.end else { return };
        let chances = |place: usize| self.quietly(place, until_year, &self.sums.missed[place]);
        let ways = self.over_stresses(|first, way| way.origins = self.all(first, chances));
        seen.push(self.blades(until_year, true, ways));
    }

    /// Blades that were called: for a crack at any of their origins, or falsely.
    fn called(&self, find: &FindModel, seen: &mut Vec<Seen>) {
        let none = |place: usize| vec![0.0; self.cells(place)];
        let uncracked = || self.over_stresses(|first, way| way.origins = self.all(first, none));
        if find.cracked == Some(false) {
            seen.push(self.blades(find.year, true, uncracked()));
            return;
        }
        let falsely = if find.cracked == Some(true) { 0.0 } else { find.called_falsely(self.model) };
        let origins: f64 = (0..self.spots()).map(|spot| self.origins(spot)).sum();
        let mut ways = Vec::new();
        for called in 0..self.spots() {
            ways.extend(self.over_stresses(|first, way| {
                let own = self.quietly(first + called, find.year, &self.sums.called[first + called]);
                // Without other origins a false call is what explains it if this one has no crack.
                let never = if origins > 1.0 { 0.0 } else { falsely };
                way.weight *= self.origins(called);
                let hazard_factor = self.model.places[first + called].factor;
                way.origins = vec![SeenOrigins { spot: called, hazard_factor, number: 1.0, chances: own, never }];
                let others = self.all(first, |place| self.within(place, find.year, &self.sums.missed[place]));
                way.origins.extend(others.into_iter().enumerate().filter_map(|(spot, others)| {
                    let number = if spot == called { others.number - 1.0 } else { others.number };
                    (number > 0.0).then_some(SeenOrigins { number, ..others })
                }));
            }));
        }
        if origins > 1.0 && falsely > 0.0 {
            ways.extend(uncracked().into_iter().map(|way| SeenWay { weight: way.weight * falsely, ..way }));
        }
        seen.push(self.blades(find.year, false, ways));
    }

    /// A way for each stress, whose first place is given.
    fn over_stresses(&self, fill: impl Fn(usize, &mut SeenWay)) -> Vec<SeenWay> {
        let way = |(stress, &(_, weight)): (usize, &(f64, f64))| {
            let first = stress * self.spots();
            let mut way = SeenWay { weight, hazard_factor: self.model.places[first].factor, origins: Vec::new() };
            fill(first, &mut way);
            way
        };
        self.model.stresses.iter().enumerate().map(way).collect()
    }

    /// All origins of a blade, which may have no crack.
    fn all(&self, first: usize, chances: impl Fn(usize) -> Vec<f64>) -> Vec<SeenOrigins> {
        let origins = |spot: usize| SeenOrigins {
            spot,
            hazard_factor: self.model.places[first + spot].factor,
            number: self.origins(spot),
            chances: chances(first + spot),
            never: 1.0,
        };
        (0..self.spots()).map(origins).collect()
    }

    fn origins(&self, spot: usize) -> f64 {
        self.model.nature.hot_spots[spot].origins
    }

    fn cells(&self, place: usize) -> usize {
        self.model.places[place].grid.past_cells
    }

    /// Chances by cell within the blade's life.
    fn within(&self, place: usize, last_year: f64, chances: &[f64]) -> Vec<f64> {
        let lines = &self.model.places[place].grid.years;
        let is_within = |cell: usize| lines[cell] >= self.kind.installed_year && lines[cell + 1] <= last_year;
        chances.iter().enumerate().map(|(cell, chance)| if is_within(cell) { *chance } else { 0.0 }).collect()
    }

    /// The same, over the chance that clean looks later than a cell called nothing falsely: with a crack there they could
    /// not have.
    fn quietly(&self, place: usize, last_year: f64, chances: &[f64]) -> Vec<f64> {
        let lines = &self.model.places[place].grid.years;
        let (looks, techniques) = (&self.model.history.looks, &self.model.inspection.techniques);
        let quiet = |cell: usize| -> f64 {
            let later = self.kind.clean.iter().filter(|&&look| looks[look].year >= lines[cell + 1]);
            exp(later.map(|&look| techniques[looks[look].technique].false_call_hazard).sum())
        };
        let within = self.within(place, last_year, chances);
        within.into_iter().enumerate().map(|(cell, chance)| chance * quiet(cell)).collect()
    }

    fn blades(&self, last_year: f64, is_clean: bool, ways: Vec<SeenWay>) -> Seen {
        let grid = &self.model.places[0].grid;
        Seen {
            row: self.past.row,
            installed_year: self.kind.installed_year,
            last_year,
            count: f64::from(self.kind.count),
            is_clean,
            years: grid.years[..=grid.past_cells].to_vec(),
            ways,
        }
    }
}
