//! A row under one strategy: the places of its blades renew themselves, each by itself given what the row shares.

use super::Obstacles;
use super::blade::{Events, Fitted, Origins};
use super::cracks::{Cracks, Fates, Surroundings};
use super::grid::Grid;
use super::level::Level;
use super::nodes::{self, Node};
use super::sight::{Kept, Sight};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::model::fleet::Row;
use crate::model::growth::{CrackEnd, Limit};
use crate::simulation::nature::{HotSpotGrowth, HotSpotPlan, NaturePlan};

/// What is worked out of a row under a strategy.
#[derive(Debug, Clone)]
pub(super) struct RowAnswer {
    pub losses_by_year: Vec<f64>,
    pub p_any_loss: f64,
    pub replaced: f64,
    pub falsely_replaced: f64,
}

/// A row, ready to be screened.
pub(super) struct RowScreen<'a> {
    study: &'a Study,
    row: &'a Row,
    row_index: usize,
    nature: &'a NaturePlan,
    level: &'a Level,
    grid: Grid,
    /// Line at which the study starts.
    start: usize,
    /// Blades by the line at which they were fitted.
    cohorts: Vec<(usize, f64)>,
    /// Factors of the row on growth, for each hot spot in logarithms, with their weight.
    growths: Vec<(Vec<f64>, f64)>,
    /// Logarithms of the factors of blades on stress.
    stresses: Vec<Node>,
    row_factors: Vec<Node>,
}

/// Chances over the life of one place, given what the row shares.
struct Place {
    /// That no blade is lost there before the study.
    comes_through: f64,
    /// Losses in each cell of the study, were it so.
    losses: Vec<f64>,
    any_loss: f64,
    replaced: f64,
    falsely: f64,
}

/// Largest share of cracks that a growth curve may not hold for.
const MOST_BEYOND: f64 = 1e-4;

impl<'a> RowScreen<'a> {
    pub fn new(study: &'a Study, row_index: usize, nature: &'a NaturePlan, level: &'a Level) -> Self {
        let row = &study.rows[row_index];
        let unit = &study.units[row.unit];
        let begin = row.in_service_year;
        let study_begin = nature.start_year.max(begin);
        let end = nature.end_year;
        let mut fitted: Vec<(f64, f64)> = Vec::new();
        let mut years = vec![begin; row.blades as usize];
        for renewal in &row.renewed {
            for blade in &renewal.blades {
                let year = &mut years[*blade as usize - 1];
                *year = year.max(renewal.year);
            }
        }
        for year in years {
            match fitted.iter_mut().find(|known| known.0 == year) {
                Some(known) => known.1 += 1.0,
                None => fitted.push((year, 1.0)),
            }
        }
        let mut marks = vec![begin, study_begin, end];
        marks.extend(fitted.iter().map(|known| known.0));
        marks.extend(&nature.calendar.years);
        marks.extend(unit.duty.iter().map(|duty| duty.from_year));
        marks.extend((1..).map(|year| nature.start_year + f64::from(year)).take_while(|year| *year < end));
        marks.retain(|year| (begin..=end).contains(year));
        let widest = nature.hot_spots.iter().map(|spot| widest_cell(spot, nature)).fold(1.0, f64::min);
        let grid = Grid::new(marks, widest, &nature.starts, &level.births);
        let cohorts = fitted.into_iter().map(|(year, blades)| (grid.line(year), blades)).collect();
        RowScreen {
            start: grid.line(study_begin),
            cohorts,
            growths: row_growths(nature, level),
            stresses: nodes::scattered(nature.blade_stress_sigma, level.blade_stress),
            row_factors: nodes::of(&nature.row_factor, level.row_factor),
            study,
            row,
            row_index,
            nature,
            level,
            grid,
        }
    }

    /// What comes of a strategy.
    pub fn answer(&self, strategy: usize) -> Result<RowAnswer> {
        let looks = self.looks(strategy);
        let sights: Vec<Sight> =
            (0..self.study.techniques.len()).map(|technique| Sight::new(self.study, self.row, technique)).collect();
        let kept = self.kept(&looks, &sights);
        let surroundings: Vec<Vec<Surroundings>> =
            (0..self.nature.hot_spots.len()).map(|spot| self.surroundings(spot)).collect();
        let fates: Vec<Fates> = (self.nature.hot_spots.iter().enumerate())
            .filter_map(|(index, spot)| match &spot.growth {
                HotSpotGrowth::Curve { curve, .. } => Some(Cracks {
                    spot,
                    curve,
                    surroundings: &surroundings[index],
                    grid: &self.grid,
                    level: self.level,
                    looks: &looks.of_spots[index],
                    sights: &sights,
                    kept: &kept,
                }),
                HotSpotGrowth::Integrated(_) => None,
            })
            .map(|cracks| cracks.fates())
            .collect();
        self.refuse_beyond(&fates)?;
        let origins = self.nature.hot_spots.iter().zip(&fates);
        let origins: Vec<Origins> = origins.map(|(spot, fates)| Origins { spot, fates }).collect();
        self.over_what_rows_share(&origins, &looks.false_calls)
    }

    /// Refuses growth curves that end too soon.
    fn refuse_beyond(&self, fates: &[Fates]) -> Result<()> {
        let root = &self.study.roots[self.row.root];
        let mut obstacles = Obstacles::default();
        for (spot, fates) in root.hot_spots.iter().zip(fates) {
            if fates.beyond_curve > MOST_BEYOND {
                obstacles.add(
                    format!("roots.{}.hot_spots.{}", root.id, spot.id),
                    format!("{:.1} % of its cracks leave the growth curve that all share", 100.0 * fates.beyond_curve),
                    "give it a wider section, smaller initial cracks, or a limit that is met sooner; or simulate",
                );
            }
        }
        obstacles.refuse()
    }

    /// The mean over what rows share, of those that came to the start of the study without a loss.
    fn over_what_rows_share(&self, origins: &[Origins], false_calls: &[f64]) -> Result<RowAnswer> {
        let cells = self.grid.cells();
        let fitted: Vec<Option<Fitted>> =
            (0..cells).map(|line| self.may_be_fitted(line).then(|| Fitted::new(&self.grid, origins, line))).collect();
        let mut sums = RowAnswer {
            losses_by_year: vec![0.0; self.study.horizon_years.ceil() as usize],
            p_any_loss: 0.0,
            replaced: 0.0,
            falsely_replaced: 0.0,
        };
        let mut came_through = 0.0;
        for (growth, (_, of_growth)) in self.growths.iter().enumerate() {
            for (row_factor, of_factor) in &self.row_factors {
                let events = |fitted: &Fitted| self.mean_events(fitted, *row_factor, growth, false_calls);
                let events: Vec<Option<Events>> = fitted.iter().map(|fitted| fitted.as_ref().map(events)).collect();
                let places: Vec<(Place, f64)> =
                    self.cohorts.iter().map(|(line, blades)| (self.place(*line, &events), *blades)).collect();
                let through: f64 = places.iter().map(|(place, blades)| place.comes_through.powf(*blades)).product();
                let weight = of_growth * of_factor * through;
                if !(weight > 0.0) {
                    continue;
                }
                came_through += weight;
                let mut ln_no_loss = 0.0;
                for (place, blades) in &places {
                    for cell in self.start..cells {
                        let middle = 0.5 * (self.grid.years[cell] + self.grid.years[cell + 1]);
                        let year = (middle - self.nature.start_year) as usize;
                        sums.losses_by_year[year] += weight * blades * place.losses[cell];
                    }
                    sums.replaced += weight * blades * place.replaced;
                    sums.falsely_replaced += weight * blades * place.falsely;
                    ln_no_loss += blades * (-place.any_loss.min(1.0)).ln_1p();
                }
                sums.p_any_loss += weight * -ln_no_loss.exp_m1();
            }
        }
        if !(came_through > 1e-9) {
            return Err(Error::never_comes_through(&self.row.id));
        }
        let numbers = [&mut sums.p_any_loss, &mut sums.replaced, &mut sums.falsely_replaced];
        numbers.into_iter().chain(&mut sums.losses_by_year).for_each(|number| *number /= came_through);
        Ok(sums)
    }

    /// Whether a blade may be fitted at a line.
    fn may_be_fitted(&self, line: usize) -> bool {
        let at_look = || self.nature.calendar.years.iter().any(|year| self.grid.line(*year) == line);
        line >= self.start || self.cohorts.iter().any(|cohort| cohort.0 == line) || at_look()
    }

    /// The mean over blades of all stresses.
    fn mean_events(&self, fitted: &Fitted, row_factor: f64, growth: usize, false_calls: &[f64]) -> Events {
        let cells = self.grid.cells();
        let mut sums = Events { lost: vec![0.0; cells], replaced: vec![0.0; cells], falsely: vec![0.0; cells] };
        for (index, (stress, weight)) in self.stresses.iter().enumerate() {
            let own = fitted.events(row_factor, growth * self.stresses.len() + index, *stress, false_calls);
            let pairs =
                [(&mut sums.lost, own.lost), (&mut sums.replaced, own.replaced), (&mut sums.falsely, own.falsely)];
            for (sums, own) in pairs {
                sums.iter_mut().zip(own).for_each(|(sum, own)| *sum += weight * own);
            }
        }
        sums
    }

    /// A place whose first blade is fitted at a line.
    fn place(&self, first: usize, events: &[Option<Events>]) -> Place {
        let cells = self.grid.cells();
        // Blades fitted at each line: if nothing was lost before, and anyway from the start of the study.
        let mut without_loss = vec![0.0; cells + 1];
        let mut all = vec![0.0; cells + 1];
        (without_loss[first], all[first]) = (1.0, 1.0);
        let (mut lost_before, mut any_loss, mut replaced, mut falsely) = (0.0, 0.0, 0.0, 0.0);
        let mut losses = vec![0.0; cells];
        let sum = |fitted: &[f64], cell: usize, of: fn(&Events) -> &Vec<f64>| -> f64 {
            let own = fitted[..=cell].iter().zip(events).filter(|(fitted, _)| **fitted > 0.0);
            own.filter_map(|(fitted, events)| events.as_ref().map(|events| fitted * of(events)[cell])).sum()
        };
        for cell in first..cells {
            let first_loss = sum(&without_loss, cell, |events| &events.lost);
            if cell < self.start {
                lost_before += first_loss;
            } else {
                any_loss += first_loss;
                // A blade lost within a cell is renewed at the one or the other end of it.
                let before = cell.saturating_sub(self.level.renewal_reach).max(self.start);
                let after = (cell + 1 + self.level.renewal_reach).min(cells);
                let again = events[before].as_ref().map_or(0.0, |events| events.lost[cell]);
                losses[cell] = sum(&all, cell, |events| &events.lost) / (1.0 - 0.5 * again);
                all[before] += 0.5 * losses[cell];
                all[after] += 0.5 * losses[cell];
            }
            without_loss[cell + 1] += sum(&without_loss, cell, |events| &events.replaced);
            let renewed = sum(&all, cell, |events| &events.replaced);
            all[cell + 1] += renewed;
            if cell >= self.start {
                replaced += renewed;
                falsely += sum(&all, cell, |events| &events.falsely);
            }
        }
        let comes_through: f64 = 1.0 - lost_before;
        let of_those = |number: f64| number / comes_through;
        Place {
            comes_through,
            losses: losses.into_iter().map(of_those).collect(),
            any_loss: of_those(any_loss),
            replaced: of_those(replaced),
            falsely: of_those(falsely),
        }
    }

    /// What a hot spot meets, in the order of the row's growths and in each of them of blades' stresses.
    fn surroundings(&self, spot: usize) -> Vec<Surroundings> {
        let exponent = self.nature.hot_spots[spot].growth_exponent;
        let of_blades = |growth: f64| {
            let stresses = self.stresses.iter();
            stresses.map(move |(stress, _)| Surroundings { stress: *stress, growth: growth + exponent * stress })
        };
        self.growths.iter().flat_map(|(growths, _)| of_blades(growths[spot])).collect()
    }

    /// All that may persist in a crack, as far as the techniques in use go by it.
    fn kept(&self, looks: &Looks, sights: &[Sight]) -> Vec<(Kept, f64)> {
        let sources = looks.persistent_sources(sights);
        let nodes = match sources.len() {
            0 | 1 => &self.level.one_persists,
            _ => &self.level.several_persist,
        };
        let mut kept = vec![(Kept { numbers: vec![0.0; sights.len()], mouth_is_closed: false }, 1.0)];
        for source in sources {
            let with = |(kept, share): &(Kept, f64), (number, weight): &Node| {
                let mut kept = kept.clone();
                kept.numbers[source] = *number;
                (kept, share * weight)
            };
            kept = kept.iter().flat_map(|known| nodes.iter().map(move |node| with(known, node))).collect();
        }
        let closed = self.nature.closed_mouth_probability.unwrap_or(0.0);
        let with_mouth = |(kept, share): (Kept, f64)| {
            let mouths = [(false, 1.0 - closed), (true, closed)];
            mouths.map(|(mouth_is_closed, weight)| (Kept { mouth_is_closed, ..kept.clone() }, share * weight))
        };
        kept.into_iter().flat_map(with_mouth).filter(|(_, weight)| *weight > 0.0).collect()
    }

    /// The looks of a strategy, and those before the study.
    fn looks(&self, strategy: usize) -> Looks {
        let lines = self.grid.cells() + 1;
        let spots = &self.study.roots[self.row.root].hot_spots;
        let mut looks = Looks { of_spots: vec![vec![Vec::new(); lines]; spots.len()], false_calls: vec![0.0; lines] };
        for past in &self.row.past_looks {
            let line = self.grid.line(past.year);
            looks.of_spots.iter_mut().for_each(|of_spot| of_spot[line].push(past.technique));
        }
        let to_come = &self.nature.calendar.years[self.nature.calendar.start..];
        let mut clean = vec![Vec::new(); lines];
        for look in &self.study.strategies[strategy].looks {
            if look.coverage.rows.as_ref().is_some_and(|rows| !rows.contains(&self.row_index)) {
                continue;
            }
            let due = look.when.outages(to_come).into_iter();
            for line in due.map(|outage| self.grid.line(to_come[outage])) {
                for &technique in &look.techniques {
                    for (spot, of_spot) in spots.iter().zip(&mut looks.of_spots) {
                        let names = look.coverage.hot_spots.as_ref();
                        // Looks by one technique at one outage are one.
                        if names.is_none_or(|names| names.contains(&spot.id)) && !of_spot[line].contains(&technique) {
                            of_spot[line].push(technique);
                        }
                    }
                    if !clean[line].contains(&technique) {
                        clean[line].push(technique);
                    }
                }
            }
        }
        for (chance, techniques) in looks.false_calls.iter_mut().zip(&clean) {
            let uncalled = techniques.iter().map(|&own| 1.0 - self.study.techniques[own].false_call_probability);
            *chance = 1.0 - uncalled.product::<f64>();
        }
        looks
    }
}

/// Which techniques look at each hot spot, at each line.
struct Looks {
    of_spots: Vec<Vec<Vec<usize>>>,
    /// Chance at each line that a clean blade is called.
    false_calls: Vec<f64>,
}

impl Looks {
    fn persistent_sources(&self, sights: &[Sight]) -> Vec<usize> {
        let used = self.of_spots.iter().flatten().flatten();
        let mut sources: Vec<usize> =
            used.flat_map(|technique| sights[*technique].persistent.iter().map(|(source, _)| *source)).collect();
        sources.sort_unstable();
        sources.dedup();
        sources
    }
}

/// Factors of a row on the growth of each hot spot, in logarithms: a normal number for each growth law that scatters.
fn row_growths(nature: &NaturePlan, level: &Level) -> Vec<(Vec<f64>, f64)> {
    let mut growths = vec![(vec![0.0; nature.hot_spots.len()], 1.0)];
    let mut known: Vec<u64> = Vec::new();
    for spot in &nature.hot_spots {
        if spot.row_sigma <= 0.0 || known.contains(&spot.growth_name) {
            continue;
        }
        known.push(spot.growth_name);
        let with = |(own, share): &(Vec<f64>, f64), (growth, weight): Node| {
            let pairs = own.iter().zip(&nature.hot_spots);
            let of_spot = |(own, other): (&f64, &HotSpotPlan)| {
                if other.growth_name == spot.growth_name { growth } else { *own }
            };
            (pairs.map(of_spot).collect(), share * weight)
        };
        let nodes = nodes::scattered(spot.row_sigma, level.row_growth);
        growths = growths.iter().flat_map(|own| nodes.iter().map(move |node| with(own, *node))).collect();
    }
    growths
}

/// Years in which the chance of a loss hardly bends: some part of how far lives of cracks scatter.
fn widest_cell(spot: &HotSpotPlan, nature: &NaturePlan) -> f64 {
    let HotSpotGrowth::Curve { curve, .. } = &spot.growth else { return 1.0 };
    let aspect = spot.initial_aspect.at_normal(0.0);
    let course = curve.course(spot.initial_depth.at_normal(0.0), aspect);
    let end = match &spot.limit {
        Limit::Depth { depth_mm } => CrackEnd::Depth(*depth_mm),
        Limit::SectionFraction { fraction } => CrackEnd::SectionFraction(*fraction),
        Limit::Toughness { toughness_mpa_sqrt_m } => CrackEnd::Intensity(toughness_mpa_sqrt_m.at_normal(0.0)),
        Limit::Diagram(_) => return 1.0,
    };
    let starts = curve.advance_to(course, end) / spot.rate;
    let per_year = (nature.starts_at_end - nature.starts.at(nature.end_year - 1.0)).max(f64::MIN_POSITIVE);
    let scatter_years = 1.5 * spot.crack_sigma * starts / per_year;
    if scatter_years > 0.0 { scatter_years } else { 1.0 }
}
