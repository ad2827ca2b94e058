//! Counter-based streams: the same name gives the same numbers for ever.
//!
//! A [`Key`] is 64 bits made from the seed and the names of what a number is for: trial, row,
//! blade, crack, technique. Draw `n` of a key is a pure function of the key and `n`, so that no
//! draw depends on the order of the work, on the number of threads, or on what else is drawn.
//!
//! The function is the output function of SplitMix64 (Steele, Lea and Flood, "Fast splittable
//! pseudorandom number generators", OOPSLA 2014) applied to key + n times the golden-ratio
//! increment. A change of it changes every result: it is part of the promise of equal numbers.

use crate::math::{LANES, ln};
use multiversion::multiversion;
use rand_core::TryRng;
use std::convert::Infallible;

/// Name of the generator and of what its draws are for, written into every result: with another, a seed gives other lives.
pub const GENERATOR: &str = "splitmix64 by key and counter, version 3";

/// 2^64 divided by the golden ratio, made odd: the increment of SplitMix64.
const STEP: u64 = 0x9e37_79b9_7f4a_7c15;
/// An odd multiplier that keeps names apart from counters.
const NAME: u64 = 0xd134_2543_de82_ef95;

/// A named source of numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key(u64);

impl Key {
    /// The key of a whole simulation.
    pub fn from_seed(seed: u64) -> Self {
        Key(mix(seed.wrapping_add(STEP)))
    }

    /// The key of a part, by number.
    #[inline(always)]
    pub fn child(self, number: u64) -> Self {
        Key(mix(self.0 ^ number.wrapping_add(1).wrapping_mul(NAME)))
    }

    /// The key of a part, by name; equal for equal spelling, whatever stands beside it.
    pub fn named(self, name: &str) -> Self {
        self.child(hash_name(name))
    }

    /// Draw `counter` of this key, to be made later.
    #[inline(always)]
    pub fn draw(self, counter: u64) -> Draw {
        Draw(self.0).ahead(counter.wrapping_add(1))
    }

    /// Draw `counter` of this key: uniform on (0, 1), both ends excluded.
    #[inline(always)]
    pub fn uniform(self, counter: u64) -> f64 {
        self.draw(counter).uniform()
    }

    /// Draw `counter` of this key: standard normal.
    #[inline(always)]
    pub fn normal(self, counter: u64) -> f64 {
        crate::math::normal_quantile(self.uniform(counter))
    }
}

/// A number for a name (FNV-1a, 64 bits).
pub fn hash_name(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3))
}

/// The output function of SplitMix64.
#[inline(always)]
fn mix(z: u64) -> u64 {
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A draw that is yet to be made: many can be made at once, in vector registers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Draw(u64);

impl Draw {
    /// The draw that comes so many later.
    #[inline(always)]
    pub fn ahead(self, count: u64) -> Self {
        Draw(self.0.wrapping_add(count.wrapping_mul(STEP)))
    }

    /// It and those that follow.
    #[inline(always)]
    pub fn block(self) -> [Draw; LANES] {
        const AHEAD: [u64; LANES] = {
            let mut ahead = [0; LANES];
            let mut lane = 1;
            while lane < LANES {
                ahead[lane] = STEP.wrapping_mul(lane as u64);
                lane += 1;
            }
            ahead
        };
        AHEAD.map(|ahead| Draw(self.0.wrapping_add(ahead)))
    }

    /// Makes it: 64 bits.
    #[inline(always)]
    pub fn bits(self) -> u64 {
        mix(self.0)
    }

    /// Makes it: uniform on (0, 1), both ends excluded.
    #[inline(always)]
    pub fn uniform(self) -> f64 {
        // Through a signed integer: 52 bits fit, and processors convert those in one step.
        ((self.bits() >> 12) as i64 as f64 + 0.5) * (1.0 / 4_503_599_627_370_496.0)
    }
}

/// Draws of one key, taken in order; made some at a time.
#[derive(Debug, Clone)]
pub struct Stream {
    /// The first that is not made yet.
    next: Draw,
    uniforms: [f64; LANES],
    exponentials: [f64; LANES],
    taken: usize,
}

impl Stream {
    /// Starts at the first draw of a key.
    pub fn new(key: Key) -> Self {
        Stream { next: key.draw(0), uniforms: [0.0; LANES], exponentials: [0.0; LANES], taken: LANES }
    }

    /// Takes the next draw, which is yet to be made.
    #[inline(always)]
    pub fn take(&mut self) -> Draw {
        if self.taken == LANES {
            let draw = self.next;
            self.next = draw.ahead(1);
            return draw;
        }
        self.taken += 1;
        // Those that are made and not taken lie before it.
        self.next.ahead((self.taken as u64 - 1).wrapping_sub(LANES as u64))
    }

    /// The next uniform number on (0, 1).
    #[inline(always)]
    pub fn uniform(&mut self) -> f64 {
        self.uniforms[self.advance()]
    }

    /// The next exponential number of mean 1.
    #[inline(always)]
    pub fn exponential(&mut self) -> f64 {
        self.exponentials[self.advance()]
    }

    /// Place of the next draw.
    #[inline(always)]
    fn advance(&mut self) -> usize {
        if self.taken == LANES {
            make(self.next, &mut self.uniforms, &mut self.exponentials);
            self.next = self.next.ahead(LANES as u64);
            self.taken = 0;
        }
        let place = self.taken % LANES;
        self.taken += 1;
        place
    }
}

/// Any sampler of the `rand` family works on a keyed stream.
impl TryRng for Stream {
    type Error = Infallible;

    #[inline]
    fn try_next_u32(&mut self) -> Result<u32, Infallible> {
        // The higher half: the lower bits of a product are its weaker ones.
        Ok((self.take().bits() >> 32) as u32)
    }

    #[inline]
    fn try_next_u64(&mut self) -> Result<u64, Infallible> {
        Ok(self.take().bits())
    }

    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Infallible> {
        rand_core::utils::fill_bytes_via_next_word(bytes, || self.try_next_u64())
    }
}

/// Makes draws in order, as uniform and as exponential numbers.
#[multiversion(targets = "simd")]
fn make(first: Draw, uniforms: &mut [f64; LANES], exponentials: &mut [f64; LANES]) {
    for (ahead, (uniform, exponential)) in uniforms.iter_mut().zip(exponentials).enumerate() {
        *uniform = first.ahead(ahead as u64).uniform();
        *exponential = -ln(*uniform);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand_core::{Rng, SeedableRng};

    #[test] // rand_xoshiro's SplitMix64 is an independent implementation of the same generator
    fn draws_are_those_of_splitmix64() {
        let mut reference = rand_xoshiro::SplitMix64::seed_from_u64(0);
        let mut state = 0_u64;
        for _ in 0..100 {
            state = state.wrapping_add(STEP);
            assert_eq!(mix(state), reference.next_u64());
        }
    }

    #[test]
    fn streams_of_neighbouring_seeds_and_names_do_not_overlap() {
        let mut seen = std::collections::HashSet::new();
        for seed in [0, 1, 2, u64::MAX] {
            for trial in 0..100 {
                let key = Key::from_seed(seed).named("row").child(trial);
                for counter in 0..100 {
                    assert!(seen.insert(key.uniform(counter).to_bits()), "seed {seed}, trial {trial}, draw {counter}");
                }
            }
        }
    }

    #[test]
    fn draws_taken_alone_are_those_of_the_stream() {
        let key = Key::from_seed(3);
        for first in 0..20 {
            let mut stream = Stream::new(key);
            for counter in 0..first {
                assert_eq!(stream.uniform(), key.uniform(counter));
            }
            for counter in first..first + 3 {
                assert_eq!(stream.take(), key.draw(counter), "after {first}");
            }
            for counter in first + 3..40 {
                assert_eq!(stream.uniform(), key.uniform(counter), "after {first}");
            }
        }
    }

    /// Chi-square of counts in 100 bins has mean 99 and variance 198; six standard deviations.
    #[test]
    fn siblings_and_counters_are_uniform_and_uncorrelated() {
        const N: u64 = 100_000;
        let root = Key::from_seed(7);
        let by_counter = |n: u64| root.uniform(n);
        let by_child = |n: u64| root.child(n).uniform(0);
        let by_grandchild = |n: u64| root.child(n % 317).child(n / 317).uniform(3);
        for draw in [&by_counter as &dyn Fn(u64) -> f64, &by_child, &by_grandchild] {
            let mut bins = [0.0_f64; 100];
            let mut products = 0.0;
            for n in 0..N {
                let u = draw(n);
                bins[(u * 100.0) as usize] += 1.0;
                products += (u - 0.5) * (draw(n + 1) - 0.5);
            }
            let expected = N as f64 / 100.0;
            let chi2: f64 = bins.iter().map(|count| (count - expected).powi(2) / expected).sum();
            assert!((chi2 - 99.0).abs() < 6.0 * 198.0_f64.sqrt(), "chi-square {chi2}");
            let correlation = products / N as f64 * 12.0;
            assert!(correlation.abs() < 6.0 / (N as f64).sqrt(), "correlation {correlation}");
        }
    }

    #[test] // worked out by a separate program; a change here changes every result that anyone has stored
    fn recorded_values_stay() {
        let key = Key::from_seed(1).named("row-a").child(3);
        assert_eq!(key.uniform(0).to_bits(), 0x3fac_a400_8959_f0f0);
        assert_eq!(key.uniform(1).to_bits(), 0x3fe2_2afb_cf10_821b);
        assert_eq!(key.uniform(1000).to_bits(), 0x3fe5_3e6e_4943_c88d);
    }
}
