//! Which blades a look covers, where it covers so many of them.

use crate::model::strategy::{Choice, Sample};

/// How the sample of a look is chosen on a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sampler {
    /// Number of blades of the row, and of the sample.
    row: u32,
    size: u32,
    choice: Choice,
    /// The strategy's look.
    pub look: usize,
}

/// What is remembered of the samples of a look in a life.
#[derive(Debug, Default)]
pub(crate) struct Samples {
    /// The outage of the last one, and for each blade whether it is in it.
    outage: Option<usize>,
    chosen: Vec<bool>,
    /// The blade that a rotating sample begins with next.
    next: u32,
    /// How often each blade was in one since it was new.
    looks: Vec<u32>,
    /// Room for sorting.
    order: Vec<(u32, f64, u32)>,
}

impl Sampler {
    /// Of a look at a row of so many blades, if it covers a number of them.
    pub fn new(sample: Sample, row: u32, look: usize) -> Option<Self> {
        match sample {
            Sample::Number(size, choice) if !sample.is_all(row) => {
                Some(Sampler { row, size: size.of(row), choice, look })
            }
            _ => None,
        }
    }

    /// Size, and how it is chosen, in words.
    pub fn words(&self) -> (u32, &'static str) {
        let words = match self.choice {
            Choice::Drawn => "drawn by chance",
            Choice::Rotating => "in turn",
            Choice::LeastLookedAt => "that were least looked at",
        };
        (self.size, words)
    }

    /// Whether a sample hangs on those before it.
    pub fn remembers(&self) -> bool {
        self.choice != Choice::Drawn
    }

    /// Begins a life.
    pub fn begin(&self, samples: &mut Samples) {
        (samples.outage, samples.next) = (None, 0);
        samples.looks.clear();
        samples.looks.resize(self.row as usize, 0);
    }

    /// Chooses the sample of an outage, by a draw for each blade, where it is not chosen yet.
    pub fn choose(&self, samples: &mut Samples, outage: usize, draw: impl Fn(u32) -> f64) {
        if samples.outage == Some(outage) {
            return;
        }
        samples.outage = Some(outage);
        samples.chosen.clear();
        samples.chosen.resize(self.row as usize, false);
        if self.choice == Choice::Rotating {
            (0..self.size).for_each(|ahead| samples.chosen[((samples.next + ahead) % self.row) as usize] = true);
            samples.next += self.size;
            return;
        }
        samples.order.clear();
        let looks = |blade: u32| if self.remembers() { samples.looks[blade as usize] } else { 0 };
        samples.order.extend((0..self.row).map(|blade| (looks(blade), draw(blade), blade)));
        samples.order.sort_unstable_by(|one, other| {
            one.0.cmp(&other.0).then(one.1.total_cmp(&other.1)).then(one.2.cmp(&other.2))
        });
        for &(_, _, blade) in &samples.order[..self.size as usize] {
            samples.chosen[blade as usize] = true;
            samples.looks[blade as usize] += 1;
        }
    }
}

impl Samples {
    /// Whether the sample of an outage, which was chosen, has a blade.
    #[inline]
    pub fn covers(&self, blade: u32, outage: usize) -> bool {
        self.outage == Some(outage) && self.chosen[blade as usize]
    }

    /// A blade is new.
    pub fn renew(&mut self, blade: u32) {
        self.looks[blade as usize] = 0;
    }

    /// All blades are new.
    pub fn renew_all(&mut self) {
        self.looks.fill(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::strategy::SampleSize;

    fn chosen(sampler: &Sampler, samples: &mut Samples, outage: usize, draws: &[f64]) -> Vec<u32> {
        sampler.choose(samples, outage, |blade| draws[blade as usize]);
        (0..draws.len() as u32).filter(|&blade| samples.covers(blade, outage)).collect()
    }

    fn sampler(size: SampleSize, choice: Choice) -> (Sampler, Samples) {
        let sampler = Sampler::new(Sample::Number(size, choice), 5, 0).expect("a part of the row");
        let mut samples = Samples::default();
        sampler.begin(&mut samples);
        (sampler, samples)
    }

    #[test] // by hand
    fn samples_are_drawn_go_round_or_take_whom_nobody_looked_at() {
        let draws = [0.5, 0.1, 0.9, 0.3, 0.7];
        let (drawn, mut samples) = sampler(SampleSize::Fraction(0.4), Choice::Drawn);
        assert_eq!(chosen(&drawn, &mut samples, 3, &draws), [1, 3]);
        assert_eq!(chosen(&drawn, &mut samples, 4, &draws), [1, 3]);
        // Another outage has none yet.
        assert!(!samples.covers(1, 3));
        let (rotating, mut samples) = sampler(SampleSize::Blades(2), Choice::Rotating);
        let looks: Vec<Vec<u32>> = (0..3).map(|outage| chosen(&rotating, &mut samples, outage, &draws)).collect();
        assert_eq!(looks, [vec![0, 1], vec![2, 3], vec![0, 4]]);
        let (least, mut samples) = sampler(SampleSize::Blades(2), Choice::LeastLookedAt);
        assert_eq!(chosen(&least, &mut samples, 0, &draws), [1, 3]);
        assert_eq!(chosen(&least, &mut samples, 1, &draws), [0, 4]);
        assert_eq!(chosen(&least, &mut samples, 2, &draws), [1, 2]);
        // Blades 0, 2, 3 and 4 were looked at once, 1 twice; 3 is new.
        samples.renew(3);
        assert_eq!(chosen(&least, &mut samples, 3, &draws), [0, 3]);
        samples.renew_all();
        assert_eq!(chosen(&least, &mut samples, 4, &draws), [1, 3]);
    }

    #[test]
    fn a_part_of_a_row_is_rounded_up_and_the_whole_row_is_no_sample() {
        let size = |fraction: f64| SampleSize::Fraction(fraction).of(30);
        assert_eq!([size(0.1), size(0.101), size(0.001), size(0.7), size(1.0)], [3, 4, 1, 21, 30]);
        let sample = |size: SampleSize| Sampler::new(Sample::Number(size, Choice::Drawn), 30, 0);
        assert!(sample(SampleSize::Blades(30)).is_none() && sample(SampleSize::Blades(90)).is_none());
        assert!(sample(SampleSize::Fraction(1.0)).is_none() && sample(SampleSize::Blades(29)).is_some());
    }
}
