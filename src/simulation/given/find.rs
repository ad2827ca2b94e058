//! What a called blade says.
//!
//! It had a crack that was called, or it was free of cracks and called falsely. Of several called cracks the longest
//! measured length is reported: the chance that no called crack is measured longer is a product over origins, and its
//! slope in that length is the density. Where two techniques report lengths, the slope is taken in both. Products are of
//! polynomials whose powers of one variable stop at the first: one variable for each length.
//!
//! Few possible cracks have about the length that was measured. So cracks behind a length are sought backwards: a true
//! length is chosen around the measured one, then how far a crack must have grown, and so when it began.

use super::history::{BladeKind, Find};
use super::likelihood::{Chances, Fineness, Place, RowModel, size};
use super::pool::{Pool, PoolOf, point};
use super::shared::Shared;
use crate::math::{exp, normal_cdf, normal_density, normal_quantile};
use crate::simulation::nature::{HotSpotPlan, NaturePlan};

/// A length that was reported.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    /// The look; none for what was confirmed.
    look: Option<usize>,
    /// Logarithm of the length, without the bias of the technique.
    ln_mm: f64,
    sigma: f64,
    /// What turns the density of the logarithm into that of the length.
    per_mm: f64,
    /// Chance and density of a false call that is reported so.
    pub falsely: f64,
}

/// One kind of called blades, ready to be asked.
pub(super) struct FindModel<'p> {
    /// Number of the kind.
    pub kind: usize,
    pub year: f64,
    pub measured: Vec<Measured>,
    /// Looks that called it and reported no length, and those that did not call it.
    pub unmeasured: Vec<usize>,
    pub not_called: Vec<usize>,
    pub cracked: Option<bool>,
    /// Cracks behind each set of lengths, from the first set that has any, by place.
    pub traced: Vec<Vec<Traced<'p>>>,
}

/// Cracks that explain a set of lengths, of one hot spot in blades of one stress.
pub(super) struct Traced<'p> {
    pub pool: Pool<'p>,
    origin: Origin,
    /// Of each: hazard that it stands for, and that at which it began in its own blade.
    pub weights: Vec<f64>,
    pub own_hazards: Vec<f64>,
}

/// Where such cracks may have begun.
enum Origin {
    /// Starts that each needs at the median rate, and by how much these change with its normal number over the density of
    /// that.
    Backwards { starts: Vec<f64>, per_density: Vec<f64> },
    /// Anywhere in the blade's life: where no starts, or too few, tell.
    Anywhere,
}

/// Error of lengths that are confirmed, and of techniques that have none: what the eye reads off a section.
const FINEST: f64 = 0.02;
/// Reported lengths that are told apart.
pub(super) const MOST_LENGTHS: usize = 2;

impl<'p> FindModel<'p> {
    pub fn new(model: &RowModel<'p>, number: usize, kind: &BladeKind, find: &Find, fineness: Fineness) -> Self {
        let technique = |look: usize| &model.inspection.techniques[model.history.looks[look].technique];
        let of_look = |look: usize, length_mm: f64| {
            let about = technique(look);
            let falsely = -(-about.false_call_hazard).exp_m1() * about.false_call_length.density(length_mm);
            let ln_mm = (length_mm / about.sizing_bias).ln();
            Measured {
                look: Some(look),
                ln_mm,
                sigma: about.sizing_sigma.max(FINEST),
                per_mm: 1.0 / length_mm,
                falsely,
            }
        };
        let called = || find.answers.iter().filter(|answer| answer.called);
        let mut measured: Vec<Measured> =
            called().filter_map(|answer| answer.measured_mm.map(|length| of_look(answer.look, length))).collect();
        measured.sort_by(|one, other| one.sigma.total_cmp(&other.sigma));
        // Of more lengths the finest count; the other calls are calls without one.
        measured.truncate(MOST_LENGTHS);
        if let Some(length_mm) = find.confirmed_length_mm {
            measured.truncate(MOST_LENGTHS - 1);
            let (ln_mm, per_mm) = (length_mm.ln(), 1.0 / length_mm);
            measured.push(Measured { look: None, ln_mm, sigma: FINEST, per_mm, falsely: 0.0 });
        }
        let is_measured = |look: usize| measured.iter().any(|measured| measured.look == Some(look));
        let unmeasured = called().map(|answer| answer.look).filter(|&look| !is_measured(look)).collect();
        let cracked = if find.confirmed_length_mm.is_some() { Some(true) } else { find.cracked };
        let mut made = FindModel {
            kind: number,
            year: find.year,
            unmeasured,
            not_called: find.answers.iter().filter(|answer| !answer.called).map(|answer| answer.look).collect(),
            cracked,
            traced: Vec::new(),
            measured,
        };
        if cracked != Some(false) {
            let sets = 1..1_usize << made.measured.len();
            let traced = |set: usize| {
                let place = |(at, place): (usize, &Place<'p>)| made.trace(model, kind, set, at, place, fineness);
                model.places.iter().enumerate().map(place).collect()
            };
            let traced = sets.map(traced).collect();
            made.traced = traced;
        }
        made
    }

    fn is_in(&self, set: usize) -> impl Iterator<Item = (bool, &Measured)> {
        self.measured.iter().enumerate().map(move |(number, measured)| (set >> number & 1 == 1, measured))
    }

    /// Cracks of a place that explain a set of lengths.
    fn trace(
        &self,
        model: &RowModel<'p>,
        kind: &BladeKind,
        set: usize,
        at: usize,
        place: &Place<'p>,
        fineness: Fineness,
    ) -> Traced<'p> {
        /// How much wider than the lengths say cracks are spread.
        const WIDER: f64 = 1.15;
        let seed =
            fineness.seed.wrapping_add(104_729 * (1 + self.kind as u32)).wrapping_add((at * 4 + set) as u32 * 31);
        let stress = model.stresses[place.stress];
        let in_service_year = place.grid.years[0];
        let of = PoolOf {
            nature: model.nature,
            inspection: model.inspection,
            hot_spot: place.hot_spot,
            stress: stress.0,
            in_service_year,
            seed,
        };
        let drivers = of.drivers();
        let count = size(fineness.cracks_of_find, stress.1.sqrt());
        let weights = || self.is_in(set).filter(|(is_in, _)| *is_in).map(|(_, one)| (one.sigma.powi(-2), one.ln_mm));
        let weight: f64 = weights().map(|(weight, _)| weight).sum();
        let mean = weights().map(|(weight, ln_mm)| weight * ln_mm).sum::<f64>() / weight;
        let sigma = WIDER / weight.sqrt();
        let normals: Vec<f64> = (0..count).map(|index| normal_quantile(point(index, 0, seed))).collect();
        let installed = place.grid.hazards[place.grid.line(kind.installed_year)];
        let cracks = (0..count).map(|index| (installed, of.numbers(&drivers, index, 1))).collect();
        let mut pool = Pool::of(of, cracks);
        let targets: Vec<f64> = normals.iter().map(|z| mean + sigma * z).collect();
        let starts = &model.nature.starts;
        let available = starts.at(self.year) - starts.at(kind.installed_year);
        let outage = model.nature.calendar.count_before(self.year);
        let backwards = (available > 0.0 && never_stands_still(model.nature, kind.installed_year, self.year))
            .then(|| growth_to(&mut pool, outage, &targets))
            .filter(|found| found.iter().filter(|one| one.is_some()).count() * 4 > count);
        let origin = match backwards {
            Some(found) => {
                let starts = found.iter().map(|one| one.map_or(f64::NAN, |(ln_growth, _)| available * exp(ln_growth)));
                let starts: Vec<f64> = starts.collect();
                let per_density = found.iter().zip(&starts).zip(&normals);
                let per_density = per_density.map(|((one, starts), z)| {
                    one.map_or(f64::NAN, |(_, slope)| starts * sigma / slope) / normal_density(*z)
                });
                Origin::Backwards { per_density: per_density.collect(), starts }
            }
            None => Origin::Anywhere,
        };
        Traced { pool, origin, weights: vec![0.0; count], own_hazards: vec![0.0; count] }
    }

    /// The chance of the blade's history, for each row factor.
    pub fn chances(&mut self, model: &RowModel<'p>, shared: &Shared) -> Vec<f64> {
        let width = model.lattice.len();
        let kind = &model.history.kinds[self.kind];
        let mut sum = if self.cracked == Some(true) { vec![0.0; width] } else { self.falsely(model, kind) };
        if self.cracked == Some(false) {
            return sum;
        }
        let mut traced = std::mem::take(&mut self.traced);
        for set in &mut traced {
            for (traced, place) in set.iter_mut().zip(&model.places) {
                traced.live(model, (kind, self.year), place, shared);
            }
        }
        // A call without a length: all that may be, less what has no call.
        for silent in 0..1_usize << self.unmeasured.len() {
            let sign = if silent.count_ones() % 2 == 0 { 1.0 } else { -1.0 };
            let crack_chances = self.cracked_blades(model, kind, &traced, silent);
            sum.iter_mut().zip(crack_chances).for_each(|(sum, chance)| *sum += sign * chance);
        }
        self.traced = traced;
        sum
    }

    /// The chance that it was free of cracks, and called as it was.
    fn falsely(&self, model: &RowModel<'p>, kind: &BladeKind) -> Vec<f64> {
        let before = model.uncalled(kind);
        let factor = before[before.len() - 1] * self.called_falsely(model);
        let width = model.lattice.len();
        let uncracked = |place: usize, at: usize| {
            let place = &model.places[place];
            place.uncracked[place.grid.age(kind.installed_year)][place.grid.line(self.year) * width + at]
        };
        (0..width).map(|at| factor * model.over_stresses(|place| uncracked(place, at))).collect()
    }

    /// The chance that a blade free of cracks was called as it was at that inspection.
    pub fn called_falsely(&self, model: &RowModel<'p>) -> f64 {
        let technique = |look: &usize| &model.inspection.techniques[model.history.looks[*look].technique];
        let chance_of = |look: &usize| -(-technique(look).false_call_hazard).exp_m1();
        let quiet: f64 = self.not_called.iter().map(|look| 1.0 - chance_of(look)).product();
        let called: f64 = self.unmeasured.iter().map(chance_of).product();
        let measured: f64 = self.measured.iter().map(|measured| measured.falsely).product();
        quiet * called * measured
    }

    /// The chance of its calls and lengths from cracks; of looks that called without a length some are taken as silent.
    fn cracked_blades(
        &self,
        model: &RowModel<'p>,
        kind: &BladeKind,
        traced: &[Vec<Traced<'p>>],
        silent: usize,
    ) -> Vec<f64> {
        let (width, sets) = (model.lattice.len(), 1_usize << self.measured.len());
        // By place and set: chances of one origin.
        let chances: Vec<Vec<Vec<f64>>> = model
            .places
            .iter()
            .enumerate()
            .map(|(at, place)| {
                let until = place.grid.line(self.year);
                let others = place.means(|crack| {
                    let missed = place.pool.missed(crack, &kind.clean, self.year);
                    if missed > 0.0 { missed * self.answer(model, &place.pool, crack, 0, silent) } else { 0.0 }
                });
                let none = place.chances(&model.lattice, &model.lines(place, kind), until, &others);
                let with =
                    |set: &Vec<Traced<'p>>, number: usize| set[at].chances(self, model, kind, place, (number, silent));
                let sets = traced.iter().enumerate().map(|(index, set)| with(set, index + 1));
                std::iter::once(none).chain(sets).collect()
            })
            .collect();
        let uncalled = model.uncalled(kind);
        let spots = model.nature.hot_spots.len();
        let mut sum = vec![0.0; width];
        for (at, sum) in sum.iter_mut().enumerate() {
            let mut later = 0.0;
            for (look, uncalled) in uncalled.iter().enumerate().rev() {
                let of_stress = |stress: usize| {
                    let mut blade = [1.0, 0.0, 0.0, 0.0];
                    let own = stress * spots..(stress + 1) * spots;
                    for (place, chances) in model.places[own.clone()].iter().zip(&chances[own]) {
                        let of_set = |set: usize| if set < sets { chances[set][look * width + at] } else { 0.0 };
                        let origin: [f64; 4] = std::array::from_fn(of_set);
                        for _ in 0..place.origins {
                            blade = product(blade, origin);
                        }
                    }
                    blade[sets - 1]
                };
                let stresses = model.stresses.iter().enumerate();
                let none_before: f64 = stresses.map(|(stress, (_, weight))| weight * of_stress(stress)).sum();
                *sum += uncalled * (none_before - later);
                later = none_before;
            }
            // Blades whose first crack began after the look say nothing of it; they are in every sum alike, and a false call
            // is counted by itself.
            if sets == 1 {
                let line = |place: usize| {
                    let place = &model.places[place];
                    place.uncracked[place.grid.age(kind.installed_year)][place.grid.line(self.year) * width + at]
                };
                *sum -= uncalled[uncalled.len() - 1] * model.over_stresses(line);
            }
        }
        sum
    }

    /// The chance and density of what the looks at the find's inspection said of a crack: the lengths of a set are its own,
    /// the others are of longer ones.
    pub fn answer(&self, model: &RowModel<'p>, pool: &Pool<'p>, crack: usize, set: usize, silent: usize) -> f64 {
        let Some(length_mm) = pool.length_mm(crack, model.nature.calendar.count_before(self.year)) else { return 0.0 };
        let misses = pool.misses_of(crack);
        let mut chance = 1.0;
        for (is_own, measured) in self.is_in(set) {
            let miss = measured.look.map_or(0.0, |look| misses[look]);
            let z = (measured.ln_mm - length_mm.ln()) / measured.sigma;
            chance *= if is_own {
                (1.0 - miss) * normal_density(z) / measured.sigma * measured.per_mm
            } else {
                miss + (1.0 - miss) * normal_cdf(z)
            };
        }
        chance *= self.not_called.iter().map(|&look| misses[look]).product::<f64>();
        for (number, &look) in self.unmeasured.iter().enumerate() {
            if silent >> number & 1 == 1 {
                chance *= misses[look];
            }
        }
        chance
    }
}

/// The product of two polynomials in two variables, each of them to the first power at most.
fn product(one: [f64; 4], other: [f64; 4]) -> [f64; 4] {
    [
        one[0] * other[0],
        one[0] * other[1] + one[1] * other[0],
        one[0] * other[2] + one[2] * other[0],
        one[0] * other[3] + one[3] * other[0] + one[1] * other[2] + one[2] * other[1],
    ]
}

impl<'p> Traced<'p> {
    /// Puts the cracks where they must have begun, grows them and looks at them.
    pub fn live(&mut self, model: &RowModel<'p>, (kind, year): (&BladeKind, f64), place: &Place<'p>, shared: &Shared) {
        let nature = model.nature;
        let spot = &nature.hot_spots[place.hot_spot];
        let ln_growth = shared.ln_growth[place.hot_spot];
        let in_service = place.grid.years[0];
        let count = self.pool.len();
        let whole = hazard_since(spot, kind.installed_year, year);
        for crack in 0..count {
            let (born, weight) = match &self.origin {
                Origin::Backwards { starts, per_density } => {
                    let born = nature.starts.year_of(nature.starts.at(year) - starts[crack] * exp(-ln_growth));
                    if born > kind.installed_year {
                        let slope = hazard_per_start(nature, spot, kind.installed_year, born);
                        (born, slope * per_density[crack] * exp(-ln_growth) / count as f64)
                    } else {
                        // It would have had to begin before its blade was there, or never comes to that length.
                        (year, 0.0)
                    }
                }
                Origin::Anywhere => {
                    let hazard = whole * (crack as f64 + 0.5) / count as f64;
                    let reading = spot.clock.at(kind.installed_year) + spot.shape.reading_at(hazard);
                    (spot.clock.year_of(reading), whole / count as f64)
                }
            };
            self.weights[crack] = weight;
            self.own_hazards[crack] = hazard_since(spot, kind.installed_year, born);
            self.pool.hazards_mut()[crack] = hazard_since(spot, in_service, born);
        }
        self.pool.grow(std::iter::repeat_n(ln_growth, count));
        self.pool.look(model.inspection, &model.history.looks, &shared.shifts);
    }

    /// The chance and density that one origin has a crack that has the lengths of a set: for each look before which none
    /// may have begun, and each row factor.
    fn chances(
        &self,
        find: &FindModel<'p>,
        model: &RowModel<'p>,
        kind: &BladeKind,
        place: &Place<'p>,
        (set, silent): (usize, usize),
    ) -> Chances {
        let width = model.lattice.len();
        let (age, lines) = model.lines(place, kind);
        let hazards = &place.grid.hazards_since[age];
        // What is between two lines is shared out to both, as a straight line would.
        let mut at_lines = vec![[0.0; 2]; place.grid.years.len()];
        for crack in 0..self.pool.len() {
            if self.weights[crack] > 0.0 {
                let missed = self.pool.missed(crack, &kind.clean, find.year);
                let chance = self.weights[crack] * missed * find.answer(model, &self.pool, crack, set, silent);
                let own = self.own_hazards[crack];
                let line = hazards.partition_point(|hazard| *hazard <= own).clamp(1, hazards.len() - 1) - 1;
                let part = (own - hazards[line]) / (hazards[line + 1] - hazards[line]);
                at_lines[line][0] += chance * (1.0 - part);
                at_lines[line][1] += chance * part;
            }
        }
        let mut chances = vec![0.0; lines.len() * width];
        let mut sum = vec![0.0; width];
        let mut cell = place.grid.line(find.year);
        for (number, &line) in lines.iter().enumerate().rev() {
            while cell > line {
                cell -= 1;
                let uncracked = &place.uncracked[age][cell * width..][..2 * width];
                let (begin, end) = uncracked.split_at(width);
                for ((sum, begin), end) in sum.iter_mut().zip(begin).zip(end) {
                    *sum += at_lines[cell][0] * begin + at_lines[cell][1] * end;
                }
            }
            let own = &mut chances[number * width..][..width];
            for ((own, sum), zeta) in own.iter_mut().zip(&sum).zip(&model.lattice.factors) {
                *own = zeta * place.factor * sum;
            }
        }
        chances
    }
}

/// How fast the hazard of an origin rises with starts.
fn hazard_per_start(nature: &NaturePlan, spot: &HotSpotPlan, installed_year: f64, year: f64) -> f64 {
    /// Years to either side.
    const NEAR: f64 = 1e-5;
    let [before, after] = [(year - NEAR).max(installed_year), year + NEAR];
    let rise = hazard_since(spot, installed_year, after) - hazard_since(spot, installed_year, before);
    rise / (nature.starts.at(after) - nature.starts.at(before))
}

/// Cumulative hazard of an origin in blades that were new in a year, by another.
fn hazard_since(spot: &HotSpotPlan, installed_year: f64, year: f64) -> f64 {
    spot.shape.cumulative_hazard((spot.clock.at(year) - spot.clock.at(installed_year)).max(0.0))
}

/// Whether starts go on in all of a stretch of time.
fn never_stands_still(nature: &NaturePlan, from: f64, to: f64) -> bool {
    const STEPS: i32 = 200;
    let year = |step: i32| from + (to - from) * f64::from(step) / f64::from(STEPS);
    (0..STEPS).all(|step| nature.starts.at(year(step + 1)) > nature.starts.at(year(step)))
}

/// For each crack of a pool the logarithm of the factor on its growth with which it has a length at an outage, whose
/// logarithm is given, and by how much that changes with the factor; none where it would be lost before, or was longer
/// when it began.
fn growth_to(pool: &mut Pool, outage: usize, ln_lengths: &[f64]) -> Vec<Option<(f64, f64)>> {
    /// Factors on growth, in logarithms, and how closely they are found.
    const REACH: f64 = 16.0;
    const HALVINGS: usize = 44;
    const CLOSE: f64 = 1e-4;
    const STEP: f64 = 1e-3;
    let count = ln_lengths.len();
    let (mut low, mut high) = (vec![-REACH; count], vec![REACH; count]);
    for _ in 0..HALVINGS {
        let middle: Vec<f64> = low.iter().zip(&high).map(|(low, high)| 0.5 * (low + high)).collect();
        pool.grow(middle.iter().copied());
        for crack in 0..count {
            let is_short = pool.length_mm(crack, outage).is_some_and(|length| length.ln() < ln_lengths[crack]);
            if is_short { low[crack] = middle[crack] } else { high[crack] = middle[crack] }
        }
    }
    let lengths_at = |pool: &mut Pool, back: f64| -> Vec<Option<f64>> {
        pool.grow(low.iter().map(|ln_growth| ln_growth - back));
        (0..count).map(|crack| pool.length_mm(crack, outage).map(f64::ln)).collect()
    };
    let (there, before) = (lengths_at(pool, 0.0), lengths_at(pool, STEP));
    let found = |crack: usize| {
        let (there, before) = (there[crack]?, before[crack]?);
        let slope = (there - before) / STEP;
        ((there - ln_lengths[crack]).abs() < CLOSE && slope > 0.0).then_some((low[crack], slope))
    };
    (0..count).map(found).collect()
}
