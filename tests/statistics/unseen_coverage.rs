//! How often the intervals of the unseen number cover it, in simulated campaigns with a known truth.
//!
//! The table in the documentation of `serrata::statistics::unseen` holds the numbers that these tests count.

use rand_core::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serrata::statistics::histories::Histories;
use serrata::statistics::unseen::unseen;

const CAMPAIGNS: usize = 1_000;

/// A number from 0 to 1.
fn uniform(random: &mut Xoshiro256PlusPlus) -> f64 {
    (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// What one campaign came to: finds by pattern, and the cracks that nobody found.
///
/// Each technique finds a crack with its chance; with `dependence`, the second copies the first's answer with
/// that chance, which makes the two kindred.
fn campaign(cracks: usize, chances: &[f64], dependence: f64, random: &mut Xoshiro256PlusPlus) -> (Vec<u64>, f64) {
    let mut counts = vec![0; 1 << chances.len()];
    for _ in 0..cracks {
        let mut found: Vec<bool> = chances.iter().map(|chance| uniform(random) < *chance).collect();
        if uniform(random) < dependence {
            found[1] = found[0];
        }
        counts[found.iter().enumerate().map(|(at, found)| usize::from(*found) << at).sum::<usize>()] += 1;
    }
    let unseen = counts[0] as f64;
    (counts, unseen)
}

/// Share of campaigns in which the answer's interval holds the truth, and mean estimate over mean truth.
fn coverage(cracks: usize, chances: &[f64], dependence: f64, seed: u64) -> (f64, f64) {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
    let names = &["a", "b", "c"][..chances.len()];
    let (mut covered, mut made, mut estimates, mut truths) = (0, 0, 0.0, 0.0);
    for _ in 0..CAMPAIGNS {
        let (mut counts, truth) = campaign(cracks, chances, dependence, &mut random);
        // Nobody knows which of the blades that none called are cracked.
        counts[0] = 0;
        let counts: Vec<(Vec<bool>, u64)> = counts
            .iter()
            .enumerate()
            .map(|(set, count)| ((0..names.len()).map(|at| set >> at & 1 == 1).collect(), *count))
            .collect();
        let answer =
            unseen(&Histories::from_counts(names, &counts).expect("histories"), 0.95).expect("an estimate").answer;
        made += 1;
        covered += usize::from(answer.low <= truth && answer.high.is_none_or(|high| truth <= high));
        estimates += answer.unseen;
        truths += truth;
    }
    (covered as f64 / made as f64, estimates / truths)
}

/// Cracks, chances of each technique, dependence of the first two, coverage, mean estimate over mean truth.
type Case = (usize, &'static [f64], f64, f64, f64);

const TWO: &[f64] = &[0.6, 0.7];
const THREE: &[f64] = &[0.6, 0.7, 0.5];
const TABLE: [Case; 10] = [
    (40, TWO, 0.0, 0.967, 0.99),
    (80, TWO, 0.0, 0.966, 1.00),
    (200, TWO, 0.0, 0.968, 1.00),
    (80, TWO, 0.4, 0.085, 0.16),
    (200, TWO, 0.4, 0.0, 0.16),
    (40, THREE, 0.0, 0.984, 1.16),
    (80, THREE, 0.0, 0.966, 1.02),
    (200, THREE, 0.0, 0.979, 1.00),
    (80, THREE, 0.4, 0.978, 1.05),
    (200, THREE, 0.4, 0.979, 1.07),
];

#[test]
fn intervals_cover_as_often_as_they_say_where_what_they_take_for_granted_holds() {
    // Three binomial standard errors below 95 % of 1,000 campaigns; ends are rounded outwards, so that more is right.
    const LEAST: f64 = 0.95 - 3.0 * 0.0069;
    for (cracks, chances, dependence, covered, ratio) in TABLE {
        let (ours, estimate) = coverage(cracks, chances, dependence, 7);
        // A last digit of a logarithm may turn one or two campaigns on another platform.
        assert!((ours - covered).abs() < 0.005, "{cracks} {chances:?} {dependence}: {ours}");
        assert!((estimate - ratio).abs() < 0.01, "{cracks} {chances:?} {dependence}: {estimate}");
        // Two kindred techniques are the twin that must fail: they cannot tell that they are kindred.
        let tellable = chances.len() > 2 || dependence == 0.0;
        assert_eq!(ours >= LEAST, tellable, "{cracks} {chances:?} {dependence}: {ours}");
    }
}
