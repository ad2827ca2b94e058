//! Made-up truths to draw calls from.

use super::NAMES;
use rand_core::Rng;
use rand_xoshiro::Xoshiro256PlusPlus;
use serrata::statistics::capture_histories::CaptureHistories;

/// Chances of cracks and calls.
pub struct Truth {
    pub prevalence: f64,
    pub detection: Vec<f64>,
    pub false_calls: Vec<f64>,
    /// Chance that, on a cracked blade, the second technique answers as the first does, whatever it sees.
    pub copied: f64,
}

impl Truth {
    /// Four techniques that err independently.
    pub fn independent() -> Truth {
        Truth {
            prevalence: 0.15,
            detection: vec![0.8, 0.7, 0.6, 0.75],
            false_calls: vec![0.05, 0.03, 0.02, 0.04],
            copied: 0.0,
        }
    }

    /// Four techniques of which the first two, of equal detection, miss the same cracks.
    pub fn dependent() -> Truth {
        Truth { detection: vec![0.7, 0.7, 0.6, 0.75], copied: 0.6, ..Truth::independent() }
    }

    /// Correlation of the first two on cracked blades: two answers that are the same one with a chance have that
    /// chance as their correlation, where both have the same chance of a call.
    pub fn correlation(&self) -> f64 {
        self.copied
    }

    fn call(called: bool, chance: f64) -> f64 {
        if called { chance } else { 1.0 - chance }
    }

    /// Chance of a set of calls on a blade of a class.
    fn pattern(&self, set: usize, cracked: bool) -> f64 {
        let chances = if cracked { &self.detection } else { &self.false_calls };
        let alone = |from: usize| -> f64 {
            (from..chances.len()).map(|at| Truth::call(set >> at & 1 == 1, chances[at])).product()
        };
        let copied = if cracked { self.copied } else { 0.0 };
        let same = if set & 1 == set >> 1 & 1 { Truth::call(set & 1 == 1, chances[0]) * alone(2) } else { 0.0 };
        copied * same + (1.0 - copied) * alone(0)
    }

    fn histories(&self, counts: impl Iterator<Item = u64>) -> CaptureHistories {
        let techniques = self.detection.len();
        let pattern = |(set, count): (usize, u64)| ((0..techniques).map(|at| set >> at & 1 == 1).collect(), count);
        let counts: Vec<(Vec<bool>, u64)> = counts.enumerate().map(pattern).collect();
        CaptureHistories::from_counts(&NAMES[..techniques], &counts).expect("histories")
    }

    /// So many blades, as many of each history as expected, rounded to whole ones.
    pub fn expected(&self, blades: f64) -> CaptureHistories {
        let share =
            |set: usize| self.prevalence * self.pattern(set, true) + (1.0 - self.prevalence) * self.pattern(set, false);
        self.histories((0..1 << self.detection.len()).map(|set| (blades * share(set)).round() as u64))
    }

    /// Cracked blades that none calls, as expected.
    pub fn missed(&self, blades: f64) -> f64 {
        blades * self.prevalence * self.pattern(0, true)
    }

    /// So many blades drawn; and how many are cracked, and how many of these none called.
    pub fn drawn(&self, blades: usize, random: &mut Xoshiro256PlusPlus) -> (CaptureHistories, f64, f64) {
        let mut uniform = || (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        let mut counts = vec![0; 1 << self.detection.len()];
        let (mut cracked, mut missed) = (0.0, 0.0);
        for _ in 0..blades {
            let is_cracked = uniform() < self.prevalence;
            let chances = if is_cracked { &self.detection } else { &self.false_calls };
            let mut called: Vec<bool> = chances.iter().map(|chance| uniform() < *chance).collect();
            if is_cracked && uniform() < self.copied {
                called[1] = called[0];
            }
            let set: usize = called.iter().enumerate().map(|(at, called)| usize::from(*called) << at).sum();
            counts[set] += 1;
            cracked += f64::from(u8::from(is_cracked));
            missed += f64::from(u8::from(is_cracked && set == 0));
        }
        (self.histories(counts.into_iter()), cracked, missed)
    }
}
