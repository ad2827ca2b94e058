//! Sums over lives that merge, and merge to the same bits however the work was cut.
//!
//! Trials are lived in leaves of [`LEAF_TRIALS`]. Leaf sums are added along a fixed binary tree
//! over the leaf numbers ([`Forest`]), so the order of additions depends on the number of trials
//! alone: not on threads, not on block sizes, not on where a block was computed.

use super::nature::IntegrationCounts;
use super::observe::{GROUP, LifeRecord, Quantity, Values};
use super::plan::RowPlan;
use crate::math::LANES;
use multiversion::multiversion;
use serde::{Deserialize, Serialize};

/// Trials whose sums are added one by one; a part of what makes results equal.
pub(crate) const LEAF_TRIALS: u64 = 512;

/// Bins of the longest crack: 16 to an octave from 1/8 mm up to 512 mm, and one for no crack.
pub(crate) const LENGTH_BINS: usize = 12 * 16 + 1;

/// Quantities whose products between strategies are kept, for paired differences.
pub(crate) const PAIRED: [Quantity; 4] = [Quantity::AnyLoss, Quantity::Losses, Quantity::Cost, Quantity::Days];

/// Sums over the lives of a row, or of the fleet, under one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct LifeSums {
    pub sum: Values,
    pub square: Values,
    /// Losses by study year: lives with any, number, square of number.
    pub years_with_loss: Vec<f64>,
    pub losses: Vec<f64>,
    pub losses_square: Vec<f64>,
}

/// Sums over the lives of a row under one strategy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(crate) struct RowSums {
    pub lives: LifeSums,
    pub after_outage: AfterOutage,
    /// Lives by length of the longest crack, [`LENGTH_BINS`] for each outage.
    pub longest: Vec<u32>,
}

/// Sums over lives of what is in the row just after each outage.
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
    /// For each strategy.
    pub fleet: Vec<LifeSums>,
    /// Sums of products of fleet values of strategies i and j (j <= i), for each paired quantity.
    pub products: Vec<[f64; PAIRED.len()]>,
    /// For each row, tries that its lives took to reach the start of the study without a loss.
    pub tries: Vec<u64>,
    /// For each row, what happened to its cracks, over all lives and strategies.
    pub counts: Vec<IntegrationCounts>,
}

impl LifeSums {
    fn new(years: usize) -> Self {
        let zero = [0.0; Quantity::ALL.len()];
        LifeSums {
            sum: zero,
            square: zero,
            years_with_loss: vec![0.0; years],
            losses: vec![0.0; years],
            losses_square: vec![0.0; years],
        }
    }

    fn add(&mut self, values: &Values, loss_years: &mut [u32]) {
        for ((sum, square), value) in self.sum.iter_mut().zip(&mut self.square).zip(values) {
            *sum += value;
            *square += value * value;
        }
        if loss_years.len() > 1 {
            loss_years.sort_unstable();
        }
        for same_year in loss_years.chunk_by(|a, b| a == b) {
            let year = (same_year[0] as usize).min(self.losses.len() - 1);
            let count = same_year.len() as f64;
            self.years_with_loss[year] += 1.0;
            self.losses[year] += count;
            self.losses_square[year] += count * count;
        }
    }

    fn merge(&mut self, other: &Self) {
        add_each(&mut self.sum, &other.sum);
        add_each(&mut self.square, &other.square);
        add_each(&mut self.years_with_loss, &other.years_with_loss);
        add_each(&mut self.losses, &other.losses);
        add_each(&mut self.losses_square, &other.losses_square);
    }
}

fn add_each(to: &mut [f64], from: &[f64]) {
    to.iter_mut().zip(from).for_each(|(to, from)| *to += from);
}

impl RowSums {
    fn add(&mut self, record: &mut LifeRecord) {
        self.lives.add(&record.values, &mut record.loss_years);
        add_moments(
            record.cracks_left.cracks.as_flattened(),
            record.cracks_left.total_mm.as_flattened(),
            &mut self.after_outage,
        );
        let bins = self.longest.as_chunks_mut::<LENGTH_BINS>().0;
        for (bins, longest) in bins.chunks_mut(GROUP).zip(&record.cracks_left.longest_mm) {
            let numbers = length_bins(longest);
            for (bins, number) in bins.iter_mut().zip(&numbers) {
                bins[usize::from(*number)] += 1;
            }
        }
    }

    fn merge(&mut self, other: &Self) {
        self.lives.merge(&other.lives);
        self.after_outage.merge(&other.after_outage);
        self.longest.iter_mut().zip(&other.longest).for_each(|(to, from)| *to += from);
    }
}

/// Adds the numbers of one life.
#[multiversion(targets = "simd")]
fn add_moments(cracks: &[f64], total_mm: &[f64], sums: &mut AfterOutage) {
    let AfterOutage { cracks: a, cracks_square: b, total_mm: c, total_mm_square: d, cracks_total_mm: e } = sums;
    let [a, b, c, d, e] = [a, b, c, d, e].map(|sums| sums.as_chunks_mut::<LANES>().0);
    let sums = a.iter_mut().zip(b).zip(c).zip(d).zip(e);
    let numbers = cracks.as_chunks::<LANES>().0.iter().zip(total_mm.as_chunks::<LANES>().0);
    for ((count, total), ((((a, b), c), d), e)) in numbers.zip(sums) {
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

/// Number of the bin of a length: from the exponent and four leading bits of its binary form.
#[inline(always)]
pub(crate) fn length_bin(length_mm: f64) -> usize {
    const FIRST: i64 = (1023 - 3) << 4;
    let code = (length_mm.to_bits() >> 48) as i64 - FIRST + 1;
    // Zero, for no crack, has a code far below all; a length below the first bin counts in it.
    let least = i64::from(length_mm > 0.0);
    code.clamp(least, LENGTH_BINS as i64 - 1) as usize
}

/// Lower end of a bin with a crack, in mm; the next bin's is its upper end.
pub(crate) fn bin_begin_mm(bin: usize) -> f64 {
    let step = bin - 1;
    (1.0 + (step % 16) as f64 / 16.0) * 2.0_f64.powi(step as i32 / 16 - 3)
}

impl Tally {
    pub fn new(rows: &[RowPlan], strategies: usize, years: usize) -> Self {
        let row_sums = |row: &RowPlan| RowSums {
            lives: LifeSums::new(years),
            after_outage: AfterOutage::new(row.nature.calendar.to_come()),
            longest: vec![0; row.nature.calendar.to_come() * LENGTH_BINS],
        };
        Tally {
            trials: 0,
            rows: rows.iter().flat_map(|row| std::iter::repeat_n(row_sums(row), strategies)).collect(),
            fleet: vec![LifeSums::new(years); strategies],
            products: vec![[0.0; PAIRED.len()]; strategies * (strategies + 1) / 2],
            tries: vec![0; rows.len()],
            counts: vec![IntegrationCounts::default(); rows.len()],
        }
    }

    /// Adds one life of a row under one strategy.
    pub fn add_life(&mut self, row: usize, strategy: usize, record: &mut LifeRecord) {
        let strategies = self.fleet.len();
        self.rows[row * strategies + strategy].add(record);
    }

    /// Adds what happened to a row's followed cracks.
    pub fn add_counts(&mut self, row: usize, counts: &IntegrationCounts) {
        self.counts[row].merge(counts);
    }

    /// Adds one trial of the fleet.
    pub fn add_trial(&mut self, fleet: &mut FleetRecord) {
        self.trials += 1;
        for (sums, (values, loss_years)) in
            self.fleet.iter_mut().zip(fleet.values.iter_mut().zip(&mut fleet.loss_years))
        {
            for quantity in [Quantity::AnyLoss, Quantity::Escalated] {
                values[quantity as usize] = values[quantity as usize].min(1.0);
            }
            sums.add(values, loss_years);
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

    /// Adds the sums of other trials.
    pub fn merge(&mut self, other: &Self) {
        self.trials += other.trials;
        self.rows.iter_mut().zip(&other.rows).for_each(|(to, from)| to.merge(from));
        self.fleet.iter_mut().zip(&other.fleet).for_each(|(to, from)| to.merge(from));
        for (to, from) in self.products.iter_mut().zip(&other.products) {
            add_each(to, from);
        }
        self.tries.iter_mut().zip(&other.tries).for_each(|(to, from)| *to += from);
        self.counts.iter_mut().zip(&other.counts).for_each(|(to, from)| to.merge(from));
    }
}

/// One trial of the fleet under every strategy.
#[derive(Debug, Clone)]
pub(crate) struct FleetRecord {
    values: Vec<Values>,
    loss_years: Vec<Vec<u32>>,
}

impl FleetRecord {
    pub fn new(strategies: usize) -> Self {
        FleetRecord { values: vec![[0.0; Quantity::ALL.len()]; strategies], loss_years: vec![Vec::new(); strategies] }
    }

    pub fn clear(&mut self) {
        self.values.iter_mut().for_each(|values| *values = [0.0; Quantity::ALL.len()]);
        self.loss_years.iter_mut().for_each(Vec::clear);
    }

    pub fn add(&mut self, strategy: usize, record: &LifeRecord) {
        add_each(&mut self.values[strategy], &record.values);
        self.loss_years[strategy].extend_from_slice(&record.loss_years);
    }
}

/// Sums over neighbouring leaves, added along a fixed binary tree.
///
/// Two neighbours of one level are added as soon as both are there, the left to the right one's
/// left; what is left over at the end is added from the largest to the smallest.
#[derive(Debug, Default)]
pub(crate) struct Forest {
    /// (level, number at that level, sums), in order of leaves.
    trees: Vec<(u32, u64, Tally)>,
}

impl Forest {
    /// Adds the leaf that follows those that are there.
    pub fn push(&mut self, leaf: u64, tally: Tally) {
        self.join(0, leaf, tally);
    }

    /// Adds the leaves of another forest, which follow those that are there.
    pub fn append(&mut self, other: Forest) {
        for (level, number, tally) in other.trees {
            self.join(level, number, tally);
        }
    }

    fn join(&mut self, mut level: u32, mut number: u64, mut tally: Tally) {
        while number % 2 == 1
            && let Some((left_level, left_number, _)) = self.trees.last()
            && *left_level == level
            && *left_number == number - 1
            && let Some((_, _, mut left)) = self.trees.pop()
        {
            left.merge(&tally);
            tally = left;
            level += 1;
            number /= 2;
        }
        self.trees.push((level, number, tally));
    }

    /// The sum over all leaves.
    pub fn total(self) -> Option<Tally> {
        self.trees.into_iter().map(|(_, _, tally)| tally).reduce(|mut total, tally| {
            total.merge(&tally);
            total
        })
    }
}
