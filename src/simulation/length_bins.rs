//! Lives by the length of the longest crack, in bins.

use serde::{Deserialize, Serialize};

/// Bins: 16 to an octave from 1/8 mm up to 512 mm, and one for no crack.
pub(crate) const LENGTH_BINS: usize = 12 * 16 + 1;

/// Weight of lives by the length of the longest crack. Only bins between the shortest and the longest that was seen take
/// room: a large fleet has millions of such lists.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "SeenBins", into = "SeenBins")]
pub(crate) struct LengthBins {
    without_crack: f64,
    /// The first bin that takes room.
    first: usize,
    weights: Vec<f64>,
}

/// As it is stored: weight of lives without a crack, the first bin that was seen, and weights from there on.
#[derive(Serialize, Deserialize)]
struct SeenBins(f64, usize, Vec<f64>);

impl From<LengthBins> for SeenBins {
    fn from(bins: LengthBins) -> Self {
        SeenBins(bins.without_crack, bins.first, bins.weights)
    }
}

impl TryFrom<SeenBins> for LengthBins {
    type Error = &'static str;

    fn try_from(SeenBins(without_crack, first, weights): SeenBins) -> Result<Self, Self::Error> {
        let is_within =
            first <= LENGTH_BINS && weights.len() <= LENGTH_BINS - first && (first > 0 || weights.is_empty());
        is_within.then_some(LengthBins { without_crack, first, weights }).ok_or("lengths beyond the last bin")
    }
}

impl LengthBins {
    /// Adds a life whose longest crack falls into a bin.
    #[inline(always)]
    pub fn add(&mut self, bin: usize, weight: f64) {
        if bin == 0 {
            self.without_crack += weight;
        } else {
            self.make_room(bin..bin + 1);
            self.weights[bin - self.first] += weight;
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.without_crack += other.without_crack;
        if !other.weights.is_empty() {
            self.make_room(other.first..other.first + other.weights.len());
            let to = &mut self.weights[other.first - self.first..];
            to.iter_mut().zip(&other.weights).for_each(|(to, from)| *to += from);
        }
    }

    /// Weight of all bins, that without a crack first.
    pub fn all(&self) -> [f64; LENGTH_BINS] {
        let mut all = [0.0; LENGTH_BINS];
        all[0] = self.without_crack;
        all[self.first..][..self.weights.len()].copy_from_slice(&self.weights);
        all
    }

    /// Forgets the lengths.
    pub fn clear(&mut self) {
        (self.first, self.weights) = (0, Vec::new());
    }

    #[inline(always)]
    fn make_room(&mut self, bins: std::ops::Range<usize>) {
        if self.weights.is_empty() || bins.start < self.first || bins.end > self.first + self.weights.len() {
            self.grow(bins);
        }
    }

    #[inline(never)]
    fn grow(&mut self, bins: std::ops::Range<usize>) {
        if self.weights.is_empty() {
            self.first = bins.start;
        }
        let before = self.first.saturating_sub(bins.start);
        self.weights.splice(0..0, std::iter::repeat_n(0.0, before));
        self.first -= before;
        let end = (self.first + self.weights.len()).max(bins.end);
        self.weights.resize(end - self.first, 0.0);
    }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_fall_into_sixteen_bins_to_an_octave_from_an_eighth_of_a_millimetre_on() {
        assert_eq!(LENGTH_BINS, 193);
        for bin in 1..LENGTH_BINS {
            let step = bin - 1;
            let begin_mm = 0.125 * f64::from(1 << (step / 16)) * (16 + step % 16) as f64 / 16.0;
            assert_eq!(bin_begin_mm(bin), begin_mm);
            assert_eq!(length_bin(begin_mm), bin);
            assert_eq!(length_bin(begin_mm.next_down()), (bin - 1).max(1));
        }
        assert_eq!([0.0, 1e-9, 512.0, 1e6].map(length_bin), [0, 1, 192, 192]);
    }

    #[test]
    fn only_bins_that_were_seen_take_room_and_all_are_told() {
        let (mut one, mut other) = (LengthBins::default(), LengthBins::default());
        let mut expected = [0.0; LENGTH_BINS];
        for (number, bin) in [70, 0, 66, 192, 66, 1, 0, 80].into_iter().enumerate() {
            let weight = 1.0 + number as f64;
            if number < 3 { &mut one } else { &mut other }.add(bin, weight);
            expected[bin] += weight;
        }
        assert_eq!(one.weights.len(), 5);
        let stored = serde_json::to_string(&one).expect("text");
        assert_eq!(stored, "[2.0,66,[3.0,0.0,0.0,0.0,1.0]]");
        one.merge(&LengthBins::default());
        assert_eq!(serde_json::from_str::<LengthBins>(&stored).expect("bins"), one);
        one.merge(&other);
        assert_eq!(one.all(), expected);
        let mut empty = LengthBins::default();
        empty.merge(&other);
        assert_eq!(empty, other);
        for beyond in ["[0.0,192,[1.0,1.0]]", "[0.0,194,[]]", "[0.0,0,[1.0]]"] {
            assert!(serde_json::from_str::<LengthBins>(beyond).is_err(), "{beyond}");
        }
    }
}
