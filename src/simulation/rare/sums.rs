//! Sums over lives with a planted crack.

use crate::simulation::life::PlantedFate;
use serde::{Deserialize, Serialize};

/// Largest contributions that are kept, for the weight of the tail.
pub(crate) const LARGEST: usize = 100;

/// A number that planted lives say, and whose mean over lives is an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// Blades lost in the row.
    Losses,
    /// Probability of any loss in the row.
    AnyLoss,
    /// Its part of the probability of any loss in the rows that are lived together.
    AnyInGroup,
    /// Cost of losses.
    Cost,
    /// The same as the first four, by study year; the last counts losses that are the first of their row.
    YearLosses(usize),
    YearAnyLoss(usize),
    YearAnyInGroup(usize),
    YearFirstLoss(usize),
    /// Losses by hot spot.
    HotSpot(usize),
}

/// Sums for one row and one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct PlantedSums {
    years: usize,
    /// By [`Place`]: sums and squares of weighted values.
    pub sum: Vec<f64>,
    pub square: Vec<f64>,
    /// Lives in which the planted crack was lost.
    pub events: u64,
    /// Largest weighted losses, the largest first.
    pub largest: Vec<f64>,
    /// Weighted losses of even and of odd batches.
    pub halves: [f64; 2],
}

impl PlantedSums {
    pub fn new(years: usize, hot_spots: usize) -> Self {
        let zero = vec![0.0; 4 + 4 * years + hot_spots];
        PlantedSums { years, sum: zero.clone(), square: zero, events: 0, largest: Vec::new(), halves: [0.0; 2] }
    }

    pub fn index(&self, place: Place) -> usize {
        match place {
            Place::Losses => 0,
            Place::AnyLoss => 1,
            Place::AnyInGroup => 2,
            Place::Cost => 3,
            Place::YearLosses(year) => 4 + year,
            Place::YearAnyLoss(year) => 4 + self.years + year,
            Place::YearAnyInGroup(year) => 4 + 2 * self.years + year,
            Place::YearFirstLoss(year) => 4 + 3 * self.years + year,
            Place::HotSpot(spot) => 4 + 4 * self.years + spot,
        }
    }

    /// Adds a loss of the planted crack.
    pub fn add(&mut self, fate: &PlantedFate, hot_spot: usize, batch: u64) {
        let year = (fate.loss.year as usize).min(self.years - 1);
        let share = |count: u32| fate.weight / f64::from(count);
        let ([losses, of_year], [in_group, in_group_of_year]) = (fate.of_row, fate.of_group);
        for (place, value) in [
            (Place::Losses, fate.weight),
            (Place::AnyLoss, share(losses)),
            (Place::AnyInGroup, share(in_group)),
            (Place::Cost, fate.weight * fate.loss.cost),
            (Place::YearLosses(year), fate.weight),
            (Place::YearAnyLoss(year), share(of_year)),
            (Place::YearAnyInGroup(year), share(in_group_of_year)),
            (Place::YearFirstLoss(year), if fate.loss.is_first { fate.weight } else { 0.0 }),
            (Place::HotSpot(hot_spot), fate.weight),
        ] {
            let index = self.index(place);
            self.sum[index] += value;
            self.square[index] += value * value;
        }
        self.events += 1;
        self.halves[(batch % 2) as usize] += fate.weight;
        self.keep(fate.weight);
    }

    fn keep(&mut self, weight: f64) {
        let place = self.largest.partition_point(|other| *other >= weight);
        if place < LARGEST {
            self.largest.insert(place, weight);
            self.largest.truncate(LARGEST);
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.sum.iter_mut().zip(&other.sum).for_each(|(to, from)| *to += from);
        self.square.iter_mut().zip(&other.square).for_each(|(to, from)| *to += from);
        self.events += other.events;
        self.halves.iter_mut().zip(other.halves).for_each(|(to, from)| *to += from);
        other.largest.iter().for_each(|weight| self.keep(*weight));
    }
}

#[cfg(test)]
mod tests {
    use super::super::{PlantedLives, purpose, tune};
    use super::*;
    use crate::model::Study;
    use crate::random::Key;
    use crate::simulation::life::UnitLives;
    use crate::simulation::plan::{RowPlan, UnitPlan};

    #[test]
    fn scratch() {
        for name in ["y3", "y1a", "y1b", "y1c", "y2"] {
            let path = format!("{}/tests/engine/data/{name}.toml", env!("CARGO_MANIFEST_DIR"));
            let study = Study::load(path).expect("a study");
            let expected: serde_json::Value =
                serde_json::from_str(include_str!("../../../tests/engine/data/yardstick_expected.json")).expect("JSON");
            let rare: serde_json::Value =
                serde_json::from_str(include_str!("../../../tests/engine/data/yardstick_expected_rare.json")).expect("JSON");
            let rows = RowPlan::all(&study).expect("rows");
            let units = UnitPlan::all(&study, &rows);
            let key = |row: usize| Key::from_seed(3).child(rows[row].nature.name);
            let lives = PlantedLives { study: &study, rows: &rows, unit: &units[0], place: 0, key: &key };
            let mut engine = UnitLives::new(&study, &rows, &units[0]);
            let begun = std::time::Instant::now();
            let proposal = tune(&lives, &mut engine).expect("a proposal");
            let tuned = begun.elapsed();
            println!("{name}: generations {:?} components {}", &proposal.generations[..4], proposal.spots[0].components.len());
            let key = |row: usize| Key::from_seed(3).child(rows[row].nature.name).child(purpose::planted());
            let lives = PlantedLives { key: &key, ..lives };
            let count = 64_000_u64;
            let mut sums = vec![PlantedSums::new(30, 1); study.strategies.len()];
            for first in (0..count).step_by(32) {
                lives
                    .live(&mut engine, &proposal, first..first + 32, |_, strategy, fate| {
                        sums[strategy].add(fate, 0, first / 512)
                    })
                    .expect("lives");
            }
            println!("  {tuned:?} to tune, {:?} for {count} lives", begun.elapsed() - tuned);
            for (sums, strategy) in sums.iter().zip(&study.strategies) {
                let n = count as f64;
                for (place, key) in [(Place::Losses, "failures"), (Place::AnyLoss, "p_any_failure")] {
                    let [sum, square] = [sums.sum[sums.index(place)], sums.square[sums.index(place)]];
                    let mean = sum / n;
                    let se = ((square / n - mean * mean) / n).sqrt();
                    let mut of = &rare["problems"][name][&strategy.id];
                    if of.is_null() {
                        of = &expected["problems"][name][&strategy.id];
                    }
                    let value = of[key].as_f64().unwrap_or(f64::NAN);
                    let other = of[format!("{key}_se")].as_f64().unwrap_or(0.0);
                    println!(
                        "  {:20} {key:14} {mean:.4e} +- {:.2} %, expected {value:.4e}: {:.2} se; events {} largest {:.3}",
                        strategy.id,
                        100.0 * se / mean,
                        (mean - value) / se.hypot(other),
                        sums.events,
                        sums.largest[0] / sums.sum[0],
                    );
                }
            }
        }
    }
}
