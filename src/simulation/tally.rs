//! Sums over lives. Each life adds its weight times its values; the weight of a plain life is 1.

use super::length_bins::{LengthBins, length_bin};
use super::nature::IntegrationCounts;
use super::observe::{COST_LEVELS, GROUP, LifeRecord, NOTHING, Quantity, Values, Whole};
use super::parallel::Run;
use super::plan::RowPlan;
use super::rare::{PlantedLoss, PlantedSums, Proposal, Told};
use super::value_bins::ValueBins;
use crate::math::LANES;
use multiversion::multiversion;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Quantities whose products between strategies are kept, for paired differences.
pub(crate) const PAIRED: [Quantity; 4] = [Quantity::AnyLoss, Quantity::Losses, Quantity::Cost, Quantity::Days];

/// Numbers whose products between strategies are kept of lives with planted cracks.
pub(crate) const PLANTED_PRODUCTS: usize = 3;

/// Sums over the lives of a row, or of the fleet, under one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct LifeSums {
    pub weights: Weights,
    /// Of weighted values, and of their squares.
    #[serde(with = "as_list")]
    pub sum: Values,
    #[serde(with = "as_list")]
    pub square: Values,
    /// Losses by study year: lives with any, number, square of number; all weighted.
    pub years_with_loss: Vec<f64>,
    pub losses: Vec<f64>,
    pub losses_square: Vec<f64>,
    /// Lives whose first loss is in each year, and those in which the losses of a row cost more than each level.
    pub first_losses: Vec<f64>,
    pub cost_above: [f64; COST_LEVELS],
    pub spread: Spread,
}

/// Values in the form of a list: arrays as long as they are have none.
mod as_list {
    use super::Values;
    use serde::de::{Deserialize, Deserializer, Error};
    use serde::ser::{Serialize, Serializer};

    pub fn serialize<S: Serializer>(values: &Values, serializer: S) -> Result<S::Ok, S::Error> {
        values.as_slice().serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Values, D::Error> {
        let list = Vec::<f64>::deserialize(deserializer)?;
        let count = list.len();
        list.try_into().map_err(|_| D::Error::invalid_length(count, &"one number for each quantity"))
    }
}

/// Lives by their whole cost and by their whole days.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Spread {
    pub cost: ValueBins,
    pub days: ValueBins,
}

impl Spread {
    fn add(&mut self, weight: f64, [cost, days]: Whole) {
        self.cost.add(cost, weight);
        self.days.add(days, weight);
    }

    fn merge(&mut self, other: &Self) {
        self.cost.merge(&other.cost);
        self.days.merge(&other.days);
    }

    fn clear(&mut self) {
        self.cost.clear();
        self.days.clear();
    }
}

/// Sums over the lives of a unit under one strategy, of what those of its rows do not tell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct UnitSums {
    pub weights: Weights,
    /// Lives with any loss, by study year.
    pub years_with_loss: Vec<f64>,
    pub spread: Spread,
}

impl UnitSums {
    fn new(years: usize) -> Self {
        UnitSums { weights: Weights::default(), years_with_loss: vec![0.0; years], spread: Spread::default() }
    }

    /// Adds a life of all its rows, which are independent.
    fn add(&mut self, rows: &[LifeRecord]) {
        let weight = rows.iter().map(|row| row.weight).product();
        self.weights.add(weight);
        let whole = rows.iter().fold([0.0; 2], |[cost, days], row| [cost + row.whole[0], days + row.whole[1]]);
        self.spread.add(weight, whole);
        let last = self.years_with_loss.len() - 1;
        let lost = || rows.iter().flat_map(|row| &row.loss_years).map(|year| (*year as usize).min(last));
        for (number, year) in lost().enumerate() {
            if !lost().take(number).any(|earlier| earlier == year) {
                self.years_with_loss[year] += weight;
            }
        }
    }

    fn merge(&mut self, other: &Self) {
        self.weights.merge(&other.weights);
        add_each(&mut self.years_with_loss, &other.years_with_loss);
        self.spread.merge(&other.spread);
    }
}

/// Sums over the weights of lives.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Weights {
    pub sum: f64,
    pub square: f64,
    pub largest: f64,
}

impl Weights {
    fn add(&mut self, weight: f64) {
        self.sum += weight;
        self.square += weight * weight;
        self.largest = self.largest.max(weight);
    }

    fn merge(&mut self, other: &Self) {
        self.sum += other.sum;
        self.square += other.square;
        self.largest = self.largest.max(other.largest);
    }
}

/// Sums over the lives of a row under one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct RowSums {
    pub lives: LifeSums,
    /// Losses by hot spot: number, square of number; weighted.
    pub spots: Vec<[f64; 2]>,
    pub after_outage: AfterOutage,
    /// Lives by length of the longest crack after each outage.
    pub longest: Vec<LengthBins>,
}

/// Weighted sums over lives of what is in the row just after each outage, and of squares and products.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct AfterOutage {
    pub cracks: Vec<f64>,
    pub cracks_square: Vec<f64>,
    pub total_mm: Vec<f64>,
    pub total_mm_square: Vec<f64>,
    pub cracks_total_mm: Vec<f64>,
}

impl AfterOutage {
    fn new(outages: usize) -> Self {
        // In whole blocks, for long loops.
        let zero = vec![0.0; outages.next_multiple_of(LANES)];
        AfterOutage {
            cracks: zero.clone(),
            cracks_square: zero.clone(),
            total_mm: zero.clone(),
            total_mm_square: zero.clone(),
            cracks_total_mm: zero,
        }
    }

    fn merge(&mut self, other: &Self) {
        add_each(&mut self.cracks, &other.cracks);
        add_each(&mut self.cracks_square, &other.cracks_square);
        add_each(&mut self.total_mm, &other.total_mm);
        add_each(&mut self.total_mm_square, &other.total_mm_square);
        add_each(&mut self.cracks_total_mm, &other.cracks_total_mm);
    }
}

/// Everything that is kept of a number of trials.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct Tally {
    pub trials: u64,
    /// For each row and each strategy, rows outermost.
    pub rows: Vec<RowSums>,
    /// For each unit and each strategy, units outermost.
    pub units: Vec<UnitSums>,
    /// For each strategy.
    pub fleet: Vec<LifeSums>,
    /// Sums of products of fleet values of strategies i and j (j <= i), for each paired quantity.
    pub products: Vec<[f64; PAIRED.len()]>,
    /// Lives with a planted crack of each row, and for each row and strategy what they came to; empty where there are none.
    pub planted_lives: u64,
    pub planted: Vec<PlantedSums>,
    /// For each row, sums of products of strategies i and j (j <= i): losses, chance of any, cost of losses.
    pub planted_products: Vec<[f64; PLANTED_PRODUCTS]>,
    /// For each row, tries that its lives took to reach the start of the study without a loss.
    pub tries: Vec<u64>,
    /// For each row, what happened to its cracks, over all lives and strategies.
    pub counts: Vec<IntegrationCounts>,
}

impl LifeSums {
    fn new(years: usize) -> Self {
        let zero = NOTHING;
        LifeSums {
            weights: Weights::default(),
            sum: zero,
            square: zero,
            years_with_loss: vec![0.0; years],
            losses: vec![0.0; years],
            losses_square: vec![0.0; years],
            first_losses: vec![0.0; years],
            cost_above: [0.0; COST_LEVELS],
            spread: Spread::default(),
        }
    }

    /// Adds a life; the losses of a row cost more than so many levels, the most of any row.
    fn add(&mut self, weight: f64, values: &Values, loss_years: &mut [u32], levels_passed: usize) {
        self.weights.add(weight);
        for ((sum, square), value) in self.sum.iter_mut().zip(&mut self.square).zip(values) {
            let weighted = weight * value;
            *sum += weighted;
            *square += weighted * weighted;
        }
        if loss_years.len() > 1 {
            loss_years.sort_unstable();
        }
        if let Some(&first) = loss_years.first() {
            self.first_losses[(first as usize).min(self.losses.len() - 1)] += weight;
            self.cost_above[..levels_passed].iter_mut().for_each(|lives| *lives += weight);
        }
        for same_year in loss_years.chunk_by(|a, b| a == b) {
            let year = (same_year[0] as usize).min(self.losses.len() - 1);
            let count = weight * same_year.len() as f64;
            self.years_with_loss[year] += weight;
            self.losses[year] += count;
            self.losses_square[year] += count * count;
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.weights.merge(&other.weights);
        add_each(&mut self.sum, &other.sum);
        add_each(&mut self.square, &other.square);
        add_each(&mut self.years_with_loss, &other.years_with_loss);
        add_each(&mut self.losses, &other.losses);
        add_each(&mut self.losses_square, &other.losses_square);
        add_each(&mut self.first_losses, &other.first_losses);
        add_each(&mut self.cost_above, &other.cost_above);
        self.spread.merge(&other.spread);
    }
}

fn add_each(to: &mut [f64], from: &[f64]) {
    to.iter_mut().zip(from).for_each(|(to, from)| *to += from);
}

impl RowSums {
    fn add(&mut self, record: &mut LifeRecord) {
        let weight = record.weight;
        let levels_passed = record.levels_passed();
        self.lives.add(weight, &record.values, &mut record.loss_years, levels_passed);
        self.lives.spread.add(weight, record.whole);
        record.loss_spots.sort_unstable();
        for same_spot in record.loss_spots.chunk_by(|a, b| a == b) {
            let count = weight * same_spot.len() as f64;
            let [number, square] = &mut self.spots[same_spot[0] as usize];
            (*number, *square) = (*number + count, *square + count * count);
        }
        add_moments(
            weight,
            record.cracks_left.cracks.as_flattened(),
            record.cracks_left.total_mm.as_flattened(),
            &mut self.after_outage,
        );
        for (bins, longest) in self.longest.chunks_mut(GROUP).zip(&record.cracks_left.longest_mm) {
            let numbers = length_bins(longest);
            bins.iter_mut().zip(&numbers).for_each(|(bins, number)| bins.add(usize::from(*number), weight));
        }
    }

    fn merge(&mut self, other: &Self) {
        self.lives.merge(&other.lives);
        self.spots.iter_mut().zip(&other.spots).for_each(|(to, from)| add_each(to, from));
        self.after_outage.merge(&other.after_outage);
        self.longest.iter_mut().zip(&other.longest).for_each(|(to, from)| to.merge(from));
    }
}

/// Adds the numbers of one life.
#[multiversion(targets = "simd")]
fn add_moments(weight: f64, cracks: &[f64], total_mm: &[f64], sums: &mut AfterOutage) {
    let AfterOutage { cracks: a, cracks_square: b, total_mm: c, total_mm_square: d, cracks_total_mm: e } = sums;
    let [a, b, c, d, e] = [a, b, c, d, e].map(|sums| sums.as_chunks_mut::<LANES>().0);
    let sums = a.iter_mut().zip(b).zip(c).zip(d).zip(e);
    let numbers = cracks.as_chunks::<LANES>().0.iter().zip(total_mm.as_chunks::<LANES>().0);
    for ((count, total), ((((a, b), c), d), e)) in numbers.zip(sums) {
        let [count, total] = [count.map(|count| weight * count), total.map(|total| weight * total)];
        *a = std::array::from_fn(|lane| a[lane] + count[lane]);
        *b = std::array::from_fn(|lane| b[lane] + count[lane] * count[lane]);
        *c = std::array::from_fn(|lane| c[lane] + total[lane]);
        *d = std::array::from_fn(|lane| d[lane] + total[lane] * total[lane]);
        *e = std::array::from_fn(|lane| e[lane] + count[lane] * total[lane]);
    }
}

/// Numbers of the bins of some lengths.
#[multiversion(targets = "simd")]
fn length_bins(lengths_mm: &[f64; GROUP]) -> [u8; GROUP] {
    lengths_mm.map(|length_mm| length_bin(length_mm) as u8)
}

impl Tally {
    pub fn new(rows: &[RowPlan], units: usize, strategies: usize, years: usize) -> Self {
        let row_sums = |row: &RowPlan| RowSums {
            lives: LifeSums::new(years),
            spots: vec![[0.0; 2]; row.nature.hot_spots.len()],
            after_outage: AfterOutage::new(row.nature.calendar.to_come()),
            longest: vec![LengthBins::default(); row.nature.calendar.to_come()],
        };
        Tally {
            trials: 0,
            rows: rows.iter().flat_map(|row| std::iter::repeat_n(row_sums(row), strategies)).collect(),
            units: vec![UnitSums::new(years); units * strategies],
            fleet: vec![LifeSums::new(years); strategies],
            products: vec![[0.0; PAIRED.len()]; strategies * (strategies + 1) / 2],
            planted_lives: 0,
            planted: Vec::new(),
            planted_products: Vec::new(),
            tries: vec![0; rows.len()],
            counts: vec![IntegrationCounts::default(); rows.len()],
        }
    }

    /// Makes room for lives with planted cracks, if there are any in a run.
    pub fn expect_planted(&mut self, rows: &[RowPlan], proposals: &[Arc<Proposal>], run: &Run) {
        let strategies = self.fleet.len();
        let [plain, planted] = [run.trials, run.planted_lives].map(|lives| lives as f64);
        for (row, proposal) in rows.iter().zip(proposals) {
            let hot_spots = row.nature.hot_spots.len();
            for (outlook, strategy) in proposal.outlook.iter().zip(&row.strategies) {
                let mut sums = PlantedSums::expecting(outlook, proposal.outlook_lives, hot_spots, plain, planted);
                if strategy.policy.lives_with_others {
                    // Plain lives of its rows hang together.
                    sums.leave_plain_out();
                }
                self.planted.push(sums);
            }
        }
        let pairs = proposals.len() * strategies * (strategies + 1) / 2;
        self.planted_products = vec![[0.0; PLANTED_PRODUCTS]; pairs];
    }

    /// Makes room for lives with planted cracks, of which nothing is expected.
    pub fn make_room_for_planted(&mut self, rows: &[RowPlan]) {
        let (strategies, years) = (self.fleet.len(), self.fleet.first().map_or(0, |sums| sums.losses.len()));
        for row in rows {
            let sums = PlantedSums::new(years, row.nature.hot_spots.len());
            self.planted.extend(std::iter::repeat_n(sums, strategies));
        }
        let pairs = rows.len() * strategies * (strategies + 1) / 2;
        self.planted_products = vec![[0.0; PLANTED_PRODUCTS]; pairs];
    }

    /// The same without lists whose lengths hang on what was seen.
    pub fn without_seen(&self) -> Self {
        let mut tally = self.clone();
        tally.planted.iter_mut().for_each(|sums| sums.largest.clear());
        tally.rows.iter_mut().flat_map(|row| &mut row.longest).for_each(LengthBins::clear);
        let of_lives =
            tally.rows.iter_mut().map(|row| &mut row.lives).chain(&mut tally.fleet).map(|lives| &mut lives.spread);
        of_lives.chain(tally.units.iter_mut().map(|unit| &mut unit.spread)).for_each(Spread::clear);
        tally
    }

    /// Adds a life of a row with a planted crack: its loss under each strategy, if it was lost.
    pub fn add_planted(&mut self, row: usize, losses: &[Option<PlantedLoss>], life: u64) {
        let strategies = losses.len();
        for (sums, loss) in self.planted[row * strategies..].iter_mut().zip(losses) {
            loss.iter().for_each(|loss| sums.add(loss, life));
        }
        let products = &mut self.planted_products[row * strategies * (strategies + 1) / 2..];
        let values = |loss: &Option<PlantedLoss>| {
            loss.map_or([0.0; PLANTED_PRODUCTS], |PlantedLoss { fate, .. }| {
                [fate.weight, fate.weight / f64::from(fate.of_row.all), fate.weight * fate.loss.cost]
            })
        };
        let mut index = 0;
        for (i, one) in losses.iter().enumerate() {
            for other in &losses[..=i] {
                for ((product, one), other) in products[index].iter_mut().zip(values(one)).zip(values(other)) {
                    *product += one * other;
                }
                index += 1;
            }
        }
    }

    /// Leaves to a plain life the share that it has in what losses come to.
    pub fn share_losses(&self, row: usize, strategy: usize, record: &mut LifeRecord) {
        if let Some(sums) = self.planted.get(row * self.fleet.len() + strategy) {
            record.share_losses(sums.plain_share(Told::Losses));
        }
    }

    /// Adds one life of a row under one strategy.
    pub fn add_life(&mut self, row: usize, strategy: usize, record: &mut LifeRecord) {
        let strategies = self.fleet.len();
        self.rows[row * strategies + strategy].add(record);
    }

    /// Adds one life of all rows of a unit under one strategy.
    pub fn add_unit(&mut self, unit: usize, strategy: usize, rows: &[LifeRecord]) {
        let strategies = self.fleet.len();
        self.units[unit * strategies + strategy].add(rows);
    }

    /// Adds what happened to a row's followed cracks.
    pub fn add_counts(&mut self, row: usize, counts: &IntegrationCounts) {
        self.counts[row].merge(counts);
    }

    /// Adds one trial of the fleet.
    pub fn add_trial(&mut self, fleet: &mut FleetRecord) {
        self.trials += 1;
        let strategies = fleet.values.iter_mut().zip(&mut fleet.loss_years).zip(&fleet.weights);
        let strategies = strategies.zip(&fleet.levels_passed).zip(&fleet.whole);
        for (sums, ((((values, loss_years), weight), levels_passed), whole)) in self.fleet.iter_mut().zip(strategies) {
            for quantity in [Quantity::AnyLoss, Quantity::Escalated] {
                values[quantity as usize] = values[quantity as usize].min(1.0);
            }
            sums.add(*weight, values, loss_years, *levels_passed);
            sums.spread.add(*weight, *whole);
            values.iter_mut().for_each(|value| *value *= weight);
        }
        let mut index = 0;
        for (i, values) in fleet.values.iter().enumerate() {
            for others in &fleet.values[..=i] {
                for (product, quantity) in self.products[index].iter_mut().zip(PAIRED) {
                    *product += values[quantity as usize] * others[quantity as usize];
                }
                index += 1;
            }
        }
    }

    /// Leaves the sums of some strategies alone, by number, in their order.
    pub fn keep(&mut self, strategies: &[usize]) {
        let count = self.fleet.len();
        let pair = |one: usize, other: usize| one * (one + 1) / 2 + other;
        let pairs: Vec<usize> = strategies
            .iter()
            .enumerate()
            .flat_map(|(place, &one)| strategies[..=place].iter().map(move |&other| pair(one, other)))
            .collect();
        let all_pairs = pair(count, 0);
        keep_each(&mut self.rows, count, strategies);
        keep_each(&mut self.units, count, strategies);
        keep_each(&mut self.fleet, count, strategies);
        keep_each(&mut self.products, all_pairs, &pairs);
        keep_each(&mut self.planted, count, strategies);
        keep_each(&mut self.planted_products, all_pairs, &pairs);
    }

    /// Adds the sums of other trials.
    pub fn merge(&mut self, other: &Self) {
        self.trials += other.trials;
        self.planted_lives += other.planted_lives;
        self.planted.iter_mut().zip(&other.planted).for_each(|(to, from)| to.merge(from));
        for (to, from) in self.planted_products.iter_mut().zip(&other.planted_products) {
            add_each(to, from);
        }
        self.rows.iter_mut().zip(&other.rows).for_each(|(to, from)| to.merge(from));
        self.units.iter_mut().zip(&other.units).for_each(|(to, from)| to.merge(from));
        self.fleet.iter_mut().zip(&other.fleet).for_each(|(to, from)| to.merge(from));
        for (to, from) in self.products.iter_mut().zip(&other.products) {
            add_each(to, from);
        }
        self.tries.iter_mut().zip(&other.tries).for_each(|(to, from)| *to += from);
        self.counts.iter_mut().zip(&other.counts).for_each(|(to, from)| to.merge(from));
    }
}

/// Of a list that has so many for each row, unit or fleet, those at some places.
fn keep_each<T: Clone>(list: &mut Vec<T>, each: usize, places: &[usize]) {
    *list = list.chunks(each).flat_map(|all| places.iter().map(|place| all[*place].clone())).collect();
}

/// One trial of the fleet under every strategy.
#[derive(Debug, Clone)]
pub(crate) struct FleetRecord {
    values: Vec<Values>,
    whole: Vec<Whole>,
    loss_years: Vec<Vec<u32>>,
    /// The most of any row.
    levels_passed: Vec<usize>,
    /// Product of the weights of all rows' lives, which are independent.
    weights: Vec<f64>,
}

impl FleetRecord {
    pub fn new(strategies: usize) -> Self {
        FleetRecord {
            values: vec![NOTHING; strategies],
            whole: vec![[0.0; 2]; strategies],
            loss_years: vec![Vec::new(); strategies],
            levels_passed: vec![0; strategies],
            weights: vec![1.0; strategies],
        }
    }

    pub fn clear(&mut self) {
        self.values.iter_mut().for_each(|values| *values = NOTHING);
        self.whole.fill([0.0; 2]);
        self.loss_years.iter_mut().for_each(Vec::clear);
        self.levels_passed.fill(0);
        self.weights.fill(1.0);
    }

    pub fn add(&mut self, strategy: usize, record: &LifeRecord) {
        self.weights[strategy] *= record.weight;
        add_each(&mut self.values[strategy], &record.values);
        add_each(&mut self.whole[strategy], &record.whole);
        self.loss_years[strategy].extend_from_slice(&record.loss_years);
        self.levels_passed[strategy] = self.levels_passed[strategy].max(record.levels_passed());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;
    use crate::simulation::observe::CracksLeft;

    /// A life of weight 2 counts as two lives in every mean, and as one of twice the values in every square.
    #[test]
    fn a_weight_enters_every_sum() {
        let study = Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        let rows = RowPlan::all(&study).expect("good rows");
        let mut record = LifeRecord::new(&study, &rows[0].nature.calendar);
        record.values = std::array::from_fn(|quantity| quantity as f64);
        record.loss_years = vec![3, 3, 7];
        record.whole = [50.0, 4.0];
        let CracksLeft { cracks, total_mm, longest_mm, .. } = &mut record.cracks_left;
        [cracks, total_mm, longest_mm].into_iter().for_each(|numbers| numbers.fill([1.5; GROUP]));
        let tally = |weight: f64| {
            let mut record = record.clone();
            record.weight = weight;
            let (mut tally, mut fleet) = (Tally::new(&rows, 1, 1, 30), FleetRecord::new(1));
            tally.add_unit(0, 0, std::slice::from_ref(&record));
            tally.add_life(0, 0, &mut record);
            fleet.add(0, &record);
            tally.add_trial(&mut fleet);
            tally
        };
        let (plain, heavy) = (tally(1.0), tally(2.0));
        assert_eq!(heavy.fleet[0].weights, Weights { sum: 2.0, square: 4.0, largest: 2.0 });
        let (one, other) = (&plain.rows[0], &heavy.rows[0]);
        let twice = |one: &[f64], other: &[f64], factor: f64| {
            assert!(one.iter().any(|number| *number > 0.0));
            assert!(one.iter().zip(other).all(|(one, other)| factor * one == *other), "{one:?} {other:?}");
        };
        for (one, other) in [(&one.lives, &other.lives), (&plain.fleet[0], &heavy.fleet[0])] {
            twice(&one.sum[1..], &other.sum[1..], 2.0);
            twice(&one.square[1..], &other.square[1..], 4.0);
            twice(&one.years_with_loss, &other.years_with_loss, 2.0);
            twice(&one.losses, &other.losses, 2.0);
            twice(&one.losses_square, &other.losses_square, 4.0);
        }
        let all = |row: &RowSums| row.longest.iter().flat_map(LengthBins::all).collect::<Vec<f64>>();
        twice(&all(one), &all(other), 2.0);
        let (one, other) = (&one.after_outage, &other.after_outage);
        twice(&one.cracks, &other.cracks, 2.0);
        twice(&one.total_mm, &other.total_mm, 2.0);
        twice(&one.cracks_square, &other.cracks_square, 4.0);
        twice(&one.total_mm_square, &other.total_mm_square, 4.0);
        twice(&one.cracks_total_mm, &other.cracks_total_mm, 4.0);
        twice(&plain.products[0], &heavy.products[0], 4.0);
        twice(&plain.units[0].years_with_loss, &heavy.units[0].years_with_loss, 2.0);
        assert_eq!(heavy.units[0].weights, Weights { sum: 2.0, square: 4.0, largest: 2.0 });
        let spreads = |tally: &Tally| {
            [&tally.rows[0].lives.spread, &tally.units[0].spread, &tally.fleet[0].spread]
                .map(|spread| [&spread.cost, &spread.days].map(|bins| Vec::<[f64; 3]>::from(bins.clone())))
                .to_vec()
        };
        assert_eq!(spreads(&plain), vec![[vec![[1.0, 50.0, 50.0]], vec![[1.0, 4.0, 4.0]]]; 3]);
        assert_eq!(spreads(&heavy), vec![[vec![[2.0, 50.0, 50.0]], vec![[2.0, 4.0, 4.0]]]; 3]);
    }

    #[test] // by hand
    fn losses_are_counted_by_the_year_of_each_whatever_their_order() {
        let mut sums = LifeSums::new(6);
        // A loss at the very end of the study is one of its last year.
        sums.add(1.0, &NOTHING, &mut [4, 2, 4, 6], 2);
        sums.add(1.0, &NOTHING, &mut [4], 1);
        assert_eq!(sums.years_with_loss, [0.0, 0.0, 1.0, 0.0, 2.0, 1.0]);
        assert_eq!(sums.losses, [0.0, 0.0, 1.0, 0.0, 3.0, 1.0]);
        assert_eq!(sums.losses_square, [0.0, 0.0, 1.0, 0.0, 5.0, 1.0]);
        assert_eq!(sums.first_losses, [0.0, 0.0, 1.0, 0.0, 1.0, 0.0]);
        assert_eq!(sums.cost_above, [2.0, 1.0, 0.0, 0.0, 0.0, 0.0]);
    }

    #[test] // by hand
    fn a_year_with_losses_of_two_rows_is_one_of_the_unit_and_costs_add_up() {
        let study = Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        let rows = RowPlan::all(&study).expect("good rows");
        let record = LifeRecord::new(&study, &rows[0].nature.calendar);
        let of = |weight, loss_years: &[u32], whole| {
            let loss_years = loss_years.to_vec();
            let mut own = record.clone();
            (own.weight, own.loss_years, own.whole) = (weight, loss_years, whole);
            own
        };
        let mut sums = UnitSums::new(4);
        sums.add(&[of(0.5, &[2, 1, 2], [10.0, 1.0]), of(1.5, &[1, 9], [3.0, 2.0])]);
        sums.add(&[of(1.0, &[], [2.0, 0.0]), of(1.0, &[], [0.0, 0.0])]);
        assert_eq!(sums.years_with_loss, [0.0, 0.75, 0.75, 0.75]);
        assert_eq!(sums.weights, Weights { sum: 1.75, square: 1.5625, largest: 1.0 });
        let all = |bins: &ValueBins| Vec::<[f64; 3]>::from(bins.clone());
        assert_eq!(all(&sums.spread.cost), [[1.0, 2.0, 2.0], [0.75, 13.0, 13.0]]);
        assert_eq!(all(&sums.spread.days), [[1.0, 0.0, 0.0], [0.75, 3.0, 3.0]]);
    }

    #[test]
    fn tallies_of_parts_merge_to_that_of_all_trials() {
        let study = Study::parse(include_str!("../../tests/engine/data/y1c.toml"), "y1c").expect("a good study");
        let rows = RowPlan::all(&study).expect("good rows");
        let mut record = LifeRecord::new(&study, &rows[0].nature.calendar);
        let mut add = |tally: &mut Tally, weight: f64| {
            record.weight = weight;
            record.values = std::array::from_fn(|quantity| weight + quantity as f64);
            record.loss_years = vec![weight as u32];
            record.whole = [10.0 * weight, weight];
            record.cracks_left.cracks.fill([weight; GROUP]);
            record.cracks_left.total_mm.fill([3.0 * weight; GROUP]);
            record.cracks_left.longest_mm.fill([weight; GROUP]);
            let mut fleet = FleetRecord::new(1);
            tally.add_unit(0, 0, std::slice::from_ref(&record));
            tally.add_life(0, 0, &mut record);
            fleet.add(0, &record);
            tally.add_trial(&mut fleet);
            tally.tries[0] += 2;
            tally.counts[0].on_curves += 3;
        };
        let [mut one, mut other, mut all] = [(); 3].map(|()| Tally::new(&rows, 1, 1, 30));
        add(&mut one, 2.0);
        add(&mut other, 3.0);
        [2.0, 3.0].into_iter().for_each(|weight| add(&mut all, weight));
        one.merge(&other);
        assert_eq!(one, all);
        assert_eq!(all.fleet[0].weights, Weights { sum: 5.0, square: 13.0, largest: 3.0 });
        // The lives count for 2 and 3, and their losses are so many too: as squares of 2 * 2 and 3 * 3.
        let losses =
            4.0 * (2.0 + Quantity::Losses as u8 as f64).powi(2) + 9.0 * (3.0 + Quantity::Losses as u8 as f64).powi(2);
        assert_eq!(all.products[0][1], losses);
    }
}
