//! What is in a row at the start of the study, and what comes of it if nobody looks, given its history.
//!
//! Exact sums over possible cracks, as the likelihood is: given what a row shares, each chance is a product over its blades.

use super::history::{BladeEnd, BladeKind};
use super::likelihood::{Chances, Place, RowModel, means};
use super::pool::Pool;
use super::shared::Shared;
use crate::math::exp;
use crate::simulation::nature::NaturePlan;

/// What is asked of a row.
#[derive(Debug, Clone)]
pub(super) struct Question {
    /// Surface lengths in mm.
    pub lengths_mm: Vec<f64>,
    /// Moments after the start of the study.
    pub years: Vec<f64>,
    /// The next outage, if there is one, and the techniques that look there.
    pub next_outage: Option<usize>,
    pub techniques: Vec<usize>,
    /// The largest number of called blades of which the chance is asked for.
    pub most_called: Option<usize>,
}

/// Answers given what a row shares, for each row factor.
#[derive(Debug, Clone)]
pub(super) struct Answers {
    /// Expected cracks, and expected sum of their lengths in mm.
    pub cracks: Vec<f64>,
    pub lengths_mm: Vec<f64>,
    /// Chance that there is no crack.
    pub none: Vec<f64>,
    /// Chance that none is longer than each length.
    pub none_longer: Vec<Vec<f64>>,
    /// Chance that no blade is lost up to each moment.
    pub none_lost: Vec<Vec<f64>>,
    /// Expected blades that each of the techniques would call at the next outage.
    pub called_next: Vec<Vec<f64>>,
    /// Chance that each calls so many, from none on; the last is of all that are more.
    pub counts_next: Vec<Vec<Vec<f64>>>,
}

impl RowModel<'_> {
    /// What is to be expected of the row. Of each technique the shifts of its next look are given, with their weights.
    pub fn answers(&mut self, shared: &Shared, shifts: &[Vec<(f64, f64)>], question: &Question) -> Answers {
        self.live(shared);
        self.live_later(shared);
        let width = self.lattice.len();
        let mut answers = Answers {
            cracks: vec![0.0; width],
            lengths_mm: vec![0.0; width],
            none: vec![1.0; width],
            none_longer: vec![vec![1.0; width]; question.lengths_mm.len()],
            none_lost: vec![vec![1.0; width]; question.years.len()],
            called_next: Vec::new(),
            counts_next: Vec::new(),
        };
        let look = |&technique: &usize| NextLook::new(technique, &shifts[technique], width, question.most_called);
        let mut looks: Vec<NextLook> =
            question.next_outage.map_or(Vec::new(), |_| question.techniques.iter().map(look).collect());
        for kind in &self.history.kinds {
            if kind.end == (BladeEnd::Clean { until_year: self.nature.start_year }) {
                self.add_blades(kind, question, &mut answers, &mut looks);
            }
        }
        answers.counts_next = looks.iter().map(NextLook::counts).collect();
        answers.called_next = looks.into_iter().map(|look| look.called).collect();
        answers
    }

    /// Lives the possible cracks that begin later.
    fn live_later(&mut self, shared: &Shared) {
        for place in &mut self.places {
            let ln_growth = shared.ln_growth[place.hot_spot];
            if let Some((pool, _)) = &mut place.later {
                pool.grow(std::iter::repeat_n(ln_growth, pool.len()));
            }
        }
    }

    fn add_blades(&self, kind: &BladeKind, question: &Question, answers: &mut Answers, looks: &mut [NextLook]) {
        let start_year = self.nature.start_year;
        let now = now(self.nature);
        let uncalled = self.uncalled(kind);
        let count = kind.count as i32;
        let lines: Vec<(usize, Vec<usize>)> = self.places.iter().map(|place| self.lines(place, kind)).collect();
        let kept = |place: &Place, crack: usize| place.pool.missed(crack, &kind.clean, start_year);
        // By place: chances of an origin, whatever is in it; and expectations of what is.
        let mut of_places: Vec<Chances> = Vec::new();
        let (mut present, mut lengths): (Vec<Chances>, Vec<Chances>) = (Vec::new(), Vec::new());
        for (place, lines) in self.places.iter().zip(&lines) {
            let until = place.grid.line(start_year);
            let chances = |of: &dyn Fn(usize) -> f64| place.chances(&self.lattice, lines, until, &place.means(of));
            let uncracked = chances(&|_| 0.0);
            let less = |chances: Chances| -> Chances {
                chances.iter().zip(&uncracked).map(|(chance, uncracked)| chance - uncracked).collect()
            };
            let all = chances(&|crack| kept(place, crack));
            lengths.push(less(chances(&|crack| kept(place, crack) * place.pool.length_mm(crack, now).unwrap_or(0.0))));
            present.push(less(all.clone()));
            of_places.push(all);
        }
        let whole = self.blades(&uncalled, &of_places);
        let add = |sums: &mut [f64], parts: &[f64]| {
            let ratios = parts.iter().zip(&whole);
            sums.iter_mut().zip(ratios).for_each(|(sum, (part, whole))| *sum += f64::from(count) * part / whole);
        };
        let multiply = |products: &mut [f64], parts: &[f64]| {
            let ratios = parts.iter().zip(&whole);
            products.iter_mut().zip(ratios).for_each(|(product, (part, whole))| *product *= (part / whole).powi(count));
        };
        add(&mut answers.cracks, &self.expected(&uncalled, &of_places, &present));
        add(&mut answers.lengths_mm, &self.expected(&uncalled, &of_places, &lengths));
        let last = uncalled[uncalled.len() - 1];
        let uncracked = |place: usize, at: usize| {
            let place = &self.places[place];
            place.uncracked[place.grid.age(kind.installed_year)][place.grid.line(start_year) * self.lattice.len() + at]
        };
        let none: Vec<f64> =
            (0..self.lattice.len()).map(|at| last * self.over_stresses(|place| uncracked(place, at))).collect();
        multiply(&mut answers.none, &none);
        let classes = question.lengths_mm.len();
        let class = |place: &Place, crack: usize| {
            let length = place.pool.length_mm(crack, now).unwrap_or(f64::INFINITY);
            (kept(place, crack), question.lengths_mm.partition_point(|most| *most < length))
        };
        let by_length = self.by_class(&lines, classes, class);
        for (longer, of_places) in answers.none_longer.iter_mut().zip(by_length) {
            multiply(longer, &self.blades(&uncalled, &of_places));
        }
        for (number, &year) in question.years.iter().enumerate() {
            let of_places = self.places.iter().zip(&lines).map(|(place, lines)| {
                let is_kept = |pool: &Pool, crack: usize| if pool.lost_years[crack] > year { 1.0 } else { 0.0 };
                let early = |crack: usize| is_kept(&place.pool, crack) * kept(place, crack);
                self.chances_ahead(place, lines, year, early, is_kept)
            });
            multiply(&mut answers.none_lost[number], &self.blades(&uncalled, &of_places.collect::<Vec<Chances>>()));
        }
        if let Some(outage) = question.next_outage {
            for look in looks {
                let mut chances = self.called_next(kind, &uncalled, &lines, (outage, look.technique, &look.shifts));
                for chances in &mut chances {
                    chances.iter_mut().zip(&whole).for_each(|(chance, whole)| *chance = (*chance / whole).max(0.0));
                }
                look.add(kind.count, &chances);
            }
        }
    }

    /// The expected sum over the cracks of a blade of what `of_cracks` has of one origin.
    fn expected(&self, uncalled: &[f64], of_places: &[Chances], of_cracks: &[Chances]) -> Vec<f64> {
        let (width, spots) = (self.lattice.len(), self.nature.hot_spots.len());
        let mut sum = vec![0.0; width];
        for (at, sum) in sum.iter_mut().enumerate() {
            let mut later = 0.0;
            for (look, uncalled) in uncalled.iter().enumerate().rev() {
                let here = look * width + at;
                let of_stress = |stress: usize| -> f64 {
                    let own = stress * spots..(stress + 1) * spots;
                    let product: f64 =
                        own.clone().map(|place| of_places[place][here].powi(self.places[place].origins)).product();
                    let ratio = |place: usize| {
                        f64::from(self.places[place].origins) * of_cracks[place][here] / of_places[place][here]
                    };
                    product * own.map(ratio).sum::<f64>()
                };
                let stresses = self.stresses.iter().enumerate();
                let here: f64 = stresses.map(|(stress, (_, weight))| weight * of_stress(stress)).sum();
                *sum += uncalled * (here - later);
                later = here;
            }
        }
        sum
    }

    /// For each class, the chances of origins that have cracks of that class and lower ones alone.
    fn by_class(
        &self,
        lines: &[(usize, Vec<usize>)],
        classes: usize,
        class: impl Fn(&Place, usize) -> (f64, usize),
    ) -> Vec<Vec<Chances>> {
        let mut by_class = vec![Vec::new(); classes];
        for (place, lines) in self.places.iter().zip(lines) {
            let mut means: Vec<Vec<f64>> = vec![Vec::new(); classes];
            for cracks in place.cells() {
                let count = cracks.len().max(1) as f64;
                let mut sums = vec![0.0; classes + 1];
                for crack in cracks {
                    let (weight, class) = class(place, crack);
                    sums[class] += weight / count;
                }
                let mut sum = 0.0;
                for (means, own) in means.iter_mut().zip(sums) {
                    sum += own;
                    means.push(sum);
                }
            }
            let until = place.grid.line(self.nature.start_year);
            for (chances, means) in by_class.iter_mut().zip(means) {
                chances.push(place.chances(&self.lattice, lines, until, &means));
            }
        }
        by_class
    }

    /// Chances of an origin up to a moment after the start, from numbers of cracks that are there by then and of later ones.
    fn chances_ahead(
        &self,
        place: &Place,
        lines: &(usize, Vec<usize>),
        year: f64,
        of_past: impl Fn(usize) -> f64,
        of_later: impl Fn(&Pool, usize) -> f64,
    ) -> Chances {
        let mut by_cell = place.means(of_past);
        if let Some((pool, bounds)) = &place.later {
            by_cell.extend(means(bounds, |crack| of_later(pool, crack)));
        }
        place.chances(&self.lattice, lines, place.grid.line(year), &by_cell)
    }

    /// The chance that a blade of a kind is called at the next outage, by a crack or falsely, and was not lost before: for each
    /// shift of the look.
    fn called_next(
        &self,
        kind: &BladeKind,
        uncalled: &[f64],
        lines: &[(usize, Vec<usize>)],
        (outage, technique, shifts): (usize, usize, &[(f64, f64)]),
    ) -> Vec<Vec<f64>> {
        let year = self.nature.calendar.years[outage];
        let start_year = self.nature.start_year;
        let about = &self.inspection.techniques[technique];
        let mut with_look: Vec<f64> = uncalled.to_vec();
        with_look.push(uncalled[uncalled.len() - 1] * exp(-about.false_call_hazard));
        let lines: Vec<(usize, Vec<usize>)> = lines
            .iter()
            .zip(&self.places)
            .map(|((age, lines), place)| (*age, lines.iter().copied().chain([place.grid.line(year)]).collect()))
            .collect();
        let there = |chance: &dyn Fn(&Pool, usize) -> f64, uncalled: &[f64]| {
            let of_places = self.places.iter().zip(&lines).map(|(place, lines)| {
                let past = |crack: usize| {
                    if place.pool.lost_years[crack] <= year {
                        return 0.0;
                    }
                    place.pool.missed(crack, &kind.clean, start_year) * chance(&place.pool, crack)
                };
                let later = |pool: &Pool, crack: usize| {
                    if pool.lost_years[crack] <= year { 0.0 } else { chance(pool, crack) }
                };
                self.chances_ahead(place, lines, year, past, later)
            });
            self.blades(uncalled, &of_places.collect::<Vec<Chances>>())
        };
        let mut as_before: Vec<f64> = uncalled.to_vec();
        as_before.push(uncalled[uncalled.len() - 1]);
        let whole = there(&|_, _| 1.0, &as_before);
        let called = |&(shift, _): &(f64, f64)| {
            let missed = |pool: &Pool, crack: usize| {
                1.0 - pool.pod(self.inspection, technique, crack, outage, shift).unwrap_or(0.0)
            };
            let missed = there(&missed, &with_look);
            whole.iter().zip(missed).map(|(whole, missed)| whole - missed).collect()
        };
        shifts.iter().map(called).collect()
    }
}

/// What a technique finds at the next outage, on its way.
struct NextLook {
    technique: usize,
    /// Shifts of the look with their weights.
    shifts: Vec<(f64, f64)>,
    /// Expected blades called, for each row factor.
    called: Vec<f64>,
    /// For each shift and row factor the chances of numbers of called blades.
    counts: Vec<Vec<Vec<f64>>>,
}

impl NextLook {
    fn new(technique: usize, shifts: &[(f64, f64)], width: usize, most: Option<usize>) -> Self {
        /// Weights that do not matter.
        const LIGHT: f64 = 1e-6;
        let shifts: Vec<(f64, f64)> = shifts.iter().copied().filter(|(_, weight)| *weight > LIGHT).collect();
        let none = |most: usize| {
            let mut none = vec![0.0; most + 2];
            none[0] = 1.0;
            none
        };
        let counts = most.map_or(Vec::new(), |most| vec![vec![none(most); width]; shifts.len()]);
        NextLook { technique, called: vec![0.0; width], counts, shifts }
    }

    /// Adds blades of one kind, each called with a chance for each shift and row factor.
    fn add(&mut self, blades: u32, chances: &[Vec<f64>]) {
        for (number, (chances, (_, weight))) in chances.iter().zip(&self.shifts).enumerate() {
            for (at, &chance) in chances.iter().enumerate() {
                self.called[at] += f64::from(blades) * weight * chance;
                if let Some(counts) = self.counts.get_mut(number) {
                    (0..blades).for_each(|_| add_blade(&mut counts[at], chance));
                }
            }
        }
    }

    /// Chances of numbers of called blades, from none on, for each row factor.
    fn counts(&self) -> Vec<Vec<f64>> {
        let Some(first) = self.counts.first() else { return Vec::new() };
        let chance = |count: usize, at: usize| {
            self.counts.iter().zip(&self.shifts).map(|(counts, (_, weight))| weight * counts[at][count]).sum::<f64>()
        };
        (0..first[0].len()).map(|count| (0..first.len()).map(|at| chance(count, at)).collect()).collect()
    }
}

/// One blade more, which is called with a chance; the last number stands for all that are more.
fn add_blade(counts: &mut [f64], chance: f64) {
    let last = counts.len() - 1;
    let over = counts[last];
    for count in (1..=last).rev() {
        counts[count] = counts[count] * (1.0 - chance) + counts[count - 1] * chance;
    }
    counts[0] *= 1.0 - chance;
    counts[last] += over * chance;
}

/// The outage that stands for the start of the study.
fn now(nature: &NaturePlan) -> usize {
    nature.calendar.start
}
