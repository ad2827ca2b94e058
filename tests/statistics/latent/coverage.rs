//! How often intervals hold the truth, in simulated campaigns.
//!
//! The table in the documentation of `serrata::statistics::latent` holds the numbers that the long test counts.

use super::truth::Truth;
use super::{dependent, independent};
use rand_core::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;
use serrata::statistics::latent::{Interval, Question, latent_classes};

/// Shares of campaigns whose intervals hold the truth.
#[derive(Debug)]
struct Covered {
    refused: usize,
    detection: f64,
    false_calls: f64,
    cracked: f64,
    missed: f64,
}

/// Detection and false calls are those of the first technique.
fn covered(truth: &Truth, question: &Question, blades: usize, campaigns: usize) -> Covered {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
    let (mut made, mut held) = (0, [0; 4]);
    for _ in 0..campaigns {
        let (histories, cracked, missed) = truth.drawn(blades, &mut random);
        let Ok(found) = latent_classes(&histories, question) else { continue };
        made += 1;
        let holds = |interval: Interval, truth: f64| usize::from(interval.low <= truth && truth <= interval.high);
        held[0] += holds(found.techniques[0].detection, truth.detection[0]);
        held[1] += holds(found.techniques[0].false_calls, truth.false_calls[0]);
        held[2] += holds(found.cracked, cracked);
        held[3] += holds(found.cracked_called_by_none, missed);
    }
    let [detection, false_calls, cracked, missed] = held.map(|held| f64::from(held as u32) / f64::from(made as u32));
    Covered { refused: campaigns - made, detection, false_calls, cracked, missed }
}

/// Three binomial standard errors below 95 %.
fn least(campaigns: usize) -> f64 {
    0.95 - 3.0 * (0.95 * 0.05 / campaigns as f64).sqrt()
}

#[test]
fn intervals_hold_the_truth_and_those_blind_to_dependent_techniques_do_not() {
    const CAMPAIGNS: usize = 100;
    let seeing = covered(&Truth::dependent(), &dependent(&[("a", "b")]), 500, CAMPAIGNS);
    for share in [seeing.detection, seeing.false_calls, seeing.cracked, seeing.missed] {
        assert!(share >= least(CAMPAIGNS), "{seeing:?}");
    }
    // The twin that must fail by the same measure.
    let blind = covered(&Truth::dependent(), &independent(), 500, CAMPAIGNS);
    assert!(blind.detection < least(CAMPAIGNS) && blind.cracked < least(CAMPAIGNS), "{blind:?}");
}

/// Blades; coverage of detection, false calls, cracked blades and those called by none.
type Line = (usize, [f64; 4]);

#[test]
#[ignore = "some four minutes; the table in the documentation"]
fn the_table_of_how_often_intervals_hold_the_truth() {
    const CAMPAIGNS: usize = 500;
    let three = Truth { detection: vec![0.8, 0.7, 0.6], false_calls: vec![0.05, 0.03, 0.02], ..Truth::independent() };
    let paired = dependent(&[("a", "b")]);
    let table: [(Truth, Question, bool, [Line; 3]); 4] = [
        (
            three,
            independent(),
            true,
            [
                (200, [0.944, 0.942, 0.968, 0.986]),
                (500, [0.950, 0.958, 0.954, 0.978]),
                (2000, [0.940, 0.938, 0.950, 0.972]),
            ],
        ),
        (
            Truth::independent(),
            independent(),
            true,
            [
                (200, [0.930, 0.954, 0.968, 0.998]),
                (500, [0.938, 0.940, 0.968, 0.996]),
                (2000, [0.964, 0.954, 0.958, 0.998]),
            ],
        ),
        (
            Truth::dependent(),
            paired,
            true,
            [
                (200, [0.946, 0.958, 0.964, 0.986]),
                (500, [0.950, 0.952, 0.966, 0.992]),
                (2000, [0.948, 0.958, 0.954, 0.978]),
            ],
        ),
        // The twin that must fail: dependent techniques taken for independent.
        (
            Truth::dependent(),
            independent(),
            false,
            [
                (200, [0.764, 0.960, 0.794, 0.948]),
                (500, [0.644, 0.954, 0.600, 0.830]),
                (2000, [0.178, 0.934, 0.090, 0.266]),
            ],
        ),
    ];
    for (truth, question, right, lines) in table {
        for (blades, told) in lines {
            let ours = covered(&truth, &question, blades, CAMPAIGNS);
            assert_eq!(ours.refused, 0, "{blades}");
            let shares = [ours.detection, ours.false_calls, ours.cracked, ours.missed];
            for (share, told) in shares.iter().zip(told) {
                // A last digit of a logarithm may turn one or two campaigns on another platform.
                assert!((share - told).abs() < 0.005, "{blades}: {ours:?}, told {told}");
            }
            let holds = [ours.detection, ours.cracked].iter().all(|share| *share >= least(CAMPAIGNS));
            assert_eq!(holds, right, "{blades}: {ours:?}");
        }
    }
}
