//! Lives by a value of theirs, such as cost or days, in bins of a fixed ratio.

use serde::{Deserialize, Serialize};

/// The most by which a value told by its bin is off, as a part of itself: bins are 64 to a doubling and evenly wide within
/// it, so that half a bin is at most one part in 128 of its lower end.
pub const RELATIVE_ERROR: f64 = 1.0 / 128.0;

/// Weight of lives by a value. Values may be of any size; only bins that were seen take room.
///
/// Sums do not depend on the order in which lives are added or lists merged, to the last bit: weights are whole multiples of
/// a millionth, whose sums are exact, and the ends of what was seen in a bin know no order.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Vec<[f64; 3]>", into = "Vec<[f64; 3]>")]
pub(crate) struct ValueBins {
    /// In order of their values.
    bins: Vec<Bin>,
}

/// Weight of the lives whose values lie in a bin, and the ends of these values.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Bin {
    weight: f64,
    least: f64,
    most: f64,
}

impl Bin {
    /// Stands for the values in it; exact where all are the same.
    fn middle(&self) -> f64 {
        if self.least == self.most { self.least } else { 0.5 * (self.least + self.most) }
    }
}

impl From<ValueBins> for Vec<[f64; 3]> {
    fn from(bins: ValueBins) -> Self {
        bins.bins.iter().map(|bin| [bin.weight, bin.least, bin.most]).collect()
    }
}

impl TryFrom<Vec<[f64; 3]>> for ValueBins {
    type Error = &'static str;

    fn try_from(stored: Vec<[f64; 3]>) -> Result<Self, Self::Error> {
        let bins: Vec<Bin> = stored.into_iter().map(|[weight, least, most]| Bin { weight, least, most }).collect();
        let is_one = |bin: &Bin| bin.weight > 0.0 && bin.least <= bin.most && number(bin.least) == number(bin.most);
        let are_in_order = bins.windows(2).all(|pair| number(pair[0].least) < number(pair[1].least));
        (bins.iter().all(is_one) && are_in_order).then_some(ValueBins { bins }).ok_or("bins that are none")
    }
}

/// What values above a share of the weight come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Worst {
    /// Their mean.
    pub mean: f64,
    /// Variance over lives of the excess over the value where they begin, divided by the square of the share: that over the
    /// number of lives is the variance of the mean.
    pub variance: f64,
}

impl ValueBins {
    /// Adds a life.
    #[inline]
    pub fn add(&mut self, value: f64, weight: f64) {
        // There is one zero.
        let (value, weight) = (value + 0.0, in_millionths(weight));
        if weight > 0.0 {
            self.put(Bin { weight, least: value, most: value });
        }
    }

    pub fn merge(&mut self, other: &Self) {
        if self.bins.is_empty() {
            self.bins.clone_from(&other.bins);
            return;
        }
        let mut merged = Vec::with_capacity(self.bins.len().max(other.bins.len()));
        let (mut one, mut two) = (self.bins.iter().peekable(), other.bins.iter().peekable());
        loop {
            let at = |bin: Option<&&Bin>| bin.map_or(u64::MAX, |bin| number(bin.least));
            let (a, b) = (at(one.peek()), at(two.peek()));
            let (own, others) = (if a <= b { one.next() } else { None }, if b <= a { two.next() } else { None });
            match (own, others) {
                (Some(own), Some(other)) => merged.push(both(own, other)),
                (Some(bin), None) | (None, Some(bin)) => merged.push(*bin),
                (None, None) => break,
            }
        }
        self.bins = merged;
    }

    #[inline(never)]
    fn put(&mut self, bin: Bin) {
        let at = number(bin.least);
        match self.bins.binary_search_by_key(&at, |bin| number(bin.least)) {
            Ok(place) => self.bins[place] = both(&self.bins[place], &bin),
            Err(place) => self.bins.insert(place, bin),
        }
    }

    /// Forgets the values.
    pub fn clear(&mut self) {
        self.bins = Vec::new();
    }

    /// Number of bins that take room.
    #[cfg(test)]
    pub fn len(&self) -> usize {
        self.bins.len()
    }

    fn weight(&self) -> f64 {
        self.bins.iter().map(|bin| bin.weight).sum()
    }

    /// The bin of the least value at or below which a share of the weight lies.
    fn at(&self, share: f64) -> Option<&Bin> {
        /// What rounding may add to a product of a share.
        const ROUNDING: f64 = 1e-12;
        let wanted = share * self.weight() * (1.0 - ROUNDING);
        let mut passed = 0.0;
        let bin = self.bins.iter().find(|bin| {
            passed += bin.weight;
            passed >= wanted
        });
        bin.or(self.bins.last())
    }

    /// The least value at or below which a share of the weight lies, to [`RELATIVE_ERROR`] of itself; not-a-number where there
    /// is none.
    pub fn quantile(&self, share: f64) -> f64 {
        self.at(share).map_or(f64::NAN, Bin::middle)
    }

    /// The ends of what was seen in its bin.
    pub fn ends_of_quantile(&self, share: f64) -> [f64; 2] {
        self.at(share).map_or([f64::NAN; 2], |bin| [bin.least, bin.most])
    }

    /// Mean of the share of the weight with the largest values, of a value that is partly among them that part; to
    /// [`RELATIVE_ERROR`] of itself.
    pub fn worst(&self, share: f64) -> Worst {
        let (total, from) = (self.weight(), self.quantile(1.0 - share));
        let above = self.bins.iter().map(|bin| (bin.weight / total, (bin.middle() - from).max(0.0)));
        let [first, second] = above
            .fold([0.0; 2], |[first, second], (part, excess)| [first + part * excess, second + part * excess * excess]);
        Worst { mean: from + first / share, variance: (second - first * first).max(0.0) / (share * share) }
    }
}

fn both(one: &Bin, other: &Bin) -> Bin {
    Bin { weight: one.weight + other.weight, least: one.least.min(other.least), most: one.most.max(other.most) }
}

/// Number of the bin of a value, from its exponent and six leading bits; 0 for zero. Not-a-number is beyond all.
#[inline(always)]
fn number(value: f64) -> u64 {
    if value <= 0.0 { 0 } else { value.to_bits() >> 46 }
}

/// A weight to the nearest millionth, in binary; that of a plain life is 1.
#[inline(always)]
fn in_millionths(weight: f64) -> f64 {
    const MILLION: f64 = (1 << 20) as f64;
    (weight * MILLION).round() / MILLION
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn of(lives: &[(f64, f64)]) -> ValueBins {
        let mut bins = ValueBins::default();
        lives.iter().for_each(|(value, weight)| bins.add(*value, *weight));
        bins
    }

    /// Values of any size, zero among them; some again and again.
    fn value() -> impl Strategy<Value = f64> {
        prop_oneof![Just(0.0), Just(25.5), (1..20_u32).prop_map(f64::from), (-20.0..40.0_f64).prop_map(f64::exp2)]
    }

    fn lives() -> impl Strategy<Value = Vec<(f64, f64)>> {
        let weight = prop_oneof![Just(1.0), 0.001..30.0_f64];
        proptest::collection::vec((value(), weight), 1..300)
    }

    proptest! {
        #[test]
        fn merged_in_any_order_the_bytes_are_the_same(lives in lives(), cuts in (0..300_usize, 0..300_usize), seed: u64) {
            let (a, b) = (cuts.0.min(lives.len()), cuts.1.min(lives.len()));
            let parts = [&lives[..a.min(b)], &lives[a.min(b)..a.max(b)], &lives[a.max(b)..]].map(of);
            let merged = |order: [usize; 3]| {
                let mut sum = ValueBins::default();
                order.iter().for_each(|part| sum.merge(&parts[*part]));
                serde_json::to_string(&sum).expect("text")
            };
            // Two first, then the third; the other two first.
            let mut right = parts[1].clone();
            right.merge(&parts[2]);
            let mut left = parts[0].clone();
            left.merge(&right);
            let all = serde_json::to_string(&of(&lives)).expect("text");
            let mut shuffled = lives.clone();
            shuffled.sort_by_key(|(value, weight)| (value.to_bits() ^ weight.to_bits()).wrapping_mul(seed | 1));
            prop_assert_eq!(serde_json::to_string(&of(&shuffled)).expect("text"), all.clone());
            prop_assert_eq!(serde_json::to_string(&left).expect("text"), all.clone());
            for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0], [1, 0, 2], [2, 0, 1], [0, 2, 1]] {
                prop_assert_eq!(merged(order), all.clone());
            }
            prop_assert_eq!(serde_json::from_str::<ValueBins>(&all).expect("bins"), of(&lives));
        }

        #[test]
        fn quantiles_and_means_of_the_worst_are_those_of_sorted_values(
            mut values in proptest::collection::vec(value(), 1..400), share in 0.005..0.995_f64,
        ) {
            let bins = of(&values.iter().map(|value| (*value, 1.0)).collect::<Vec<_>>());
            values.sort_by(f64::total_cmp);
            let count = values.len() as f64;
            let exact = values[((share * count).ceil() as usize).clamp(1, values.len()) - 1];
            let ours = bins.quantile(share);
            prop_assert!((ours - exact).abs() <= RELATIVE_ERROR * exact, "{} for {}", ours, exact);
            let [low, high] = bins.ends_of_quantile(share);
            prop_assert!(low <= exact && exact <= high);
            // The largest, the last of them in part.
            let (mut left, mut sum) = (share * count, 0.0);
            for value in values.iter().rev() {
                sum += left.clamp(0.0, 1.0) * value;
                left -= 1.0;
            }
            let (exact, ours) = (sum / (share * count), bins.worst(share).mean);
            prop_assert!((ours - exact).abs() <= (RELATIVE_ERROR + 1e-9) * exact, "{} for {}", ours, exact);
        }
    }

    #[test]
    fn a_value_that_all_lives_share_is_told_to_the_last_bit() {
        for value in [0.0, 0.1, 1234.5678, 3e-9, 7.7e13] {
            let bins = of(&[(value, 1.0); 700]);
            assert_eq!((bins.len(), bins.quantile(0.5), bins.quantile(0.99)), (1, value, value));
            assert_eq!(bins.worst(0.01), Worst { mean: value, variance: 0.0 });
        }
        // Zero stands apart, however small the next.
        let bins = of(&[(0.0, 9.0), (-0.0, 0.5), (1e-300, 0.5)]);
        assert_eq!((bins.len(), bins.quantile(0.95), bins.quantile(0.96)), (2, 0.0, 1e-300));
    }

    #[test] // by hand
    fn a_weight_counts_as_so_many_lives() {
        let heavy = of(&[(1.0, 3.0), (2.0, 1.0), (9.0, 0.5)]);
        let many = of(&[(1.0, 0.5), (1.0, 2.5), (2.0, 1.0), (9.0, 0.25), (9.0, 0.25)]);
        assert_eq!(heavy, many);
        assert_eq!([0.5, 0.66, 0.67, 0.88, 0.89].map(|share| heavy.quantile(share)), [1.0, 1.0, 2.0, 2.0, 9.0]);
        // A ninth of the weight costs 9, another ninth 2.
        let worst = heavy.worst(2.0 / 9.0);
        assert!((worst.mean - 5.5).abs() < 1e-12, "{worst:?}");
        // The excess over 2 is 7 for a ninth: 49 / 9 - (7 / 9)^2, over (2 / 9)^2.
        assert!((worst.variance - (49.0 / 9.0 - 49.0 / 81.0) * 81.0 / 4.0).abs() < 1e-9, "{worst:?}");
    }

    #[test]
    fn a_bin_is_at_most_a_sixty_fourth_wide() {
        for begin in [1.0, 1.25, 1.984_375, 3e-7, 5e12] {
            assert!(number(begin * (1.0 + 1.0 / 64.0)) > number(begin), "{begin}");
        }
        for begin in [1.0, (-20.0_f64).exp2(), 40.0_f64.exp2()] {
            let end: f64 = begin * (1.0 + 1.0 / 64.0);
            assert_eq!((number(end.next_down()), number(end)), (number(begin), number(begin) + 1), "{begin}");
        }
        assert!(number(f64::NAN) > number(f64::MAX));
        for stored in ["[[1.0,2.0,1.9]]", "[[1.0,1.0,2.0]]", "[[0.0,1.0,1.0]]", "[[1.0,2.0,2.0],[1.0,1.0,1.0]]"] {
            assert!(serde_json::from_str::<ValueBins>(stored).is_err(), "{stored}");
        }
    }
}
