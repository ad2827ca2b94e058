//! Detection without known truth.

use crate::expected::rows;
use crate::repeatable;
use proptest::prelude::*;
use serrata::statistics::capture_histories::{CaptureHistories, CaptureHistory};
use serrata::statistics::latent::{GoodnessMethod, Interval, LatentClasses, Question, latent_classes};

mod coverage;
mod truth;

use truth::Truth;

const NAMES: [&str; 6] = ["a", "b", "c", "d", "e", "f"];

fn dependent(pairs: &[(&str, &str)]) -> Question {
    let dependent_pairs = pairs.iter().map(|(first, second)| ((*first).to_owned(), (*second).to_owned())).collect();
    Question { dependent_pairs, resamples: 0, ..Question::default() }
}

fn independent() -> Question {
    dependent(&[])
}

fn of_file(text: &'static str, names: &[&str]) -> CaptureHistories {
    let row = |row: &Vec<&str>| {
        let called = row[..names.len()].iter().map(|cell| *cell == "1").collect();
        (called, row[names.len()].parse().expect("a count"))
    };
    let counts: Vec<(Vec<bool>, u64)> = rows(text).iter().map(row).collect();
    CaptureHistories::from_counts(names, &counts).expect("histories")
}

fn reason(histories: &CaptureHistories, question: &Question) -> &'static str {
    latent_classes(histories, question).expect_err("a refusal").reason().expect("a reason")
}

/// Moment solution of three techniques that err independently: prevalence, detection, false calls. Worked out here:
/// covariances are p q d_i d_j and the third central moment is p q (q - p) d_1 d_2 d_3, where q = 1 - p and d is
/// detection less false calls.
fn by_moments(counts: &[(Vec<bool>, u64)]) -> (f64, [f64; 3], [f64; 3]) {
    let all: f64 = counts.iter().map(|(_, count)| *count as f64).sum();
    let mean = |of: &dyn Fn(&[f64; 3]) -> f64| -> f64 {
        let called = |called: &Vec<bool>| [0, 1, 2].map(|at| f64::from(u8::from(called[at])));
        counts.iter().map(|(calls, count)| *count as f64 * of(&called(calls))).sum::<f64>() / all
    };
    let p = [0, 1, 2].map(|at| mean(&|x| x[at]));
    let c = |i: usize, j: usize| mean(&|x| (x[i] - p[i]) * (x[j] - p[j]));
    let third = mean(&|x| (x[0] - p[0]) * (x[1] - p[1]) * (x[2] - p[2]));
    let square = [c(0, 1) * c(0, 2) / c(1, 2), c(0, 1) * c(1, 2) / c(0, 2), c(0, 2) * c(1, 2) / c(0, 1)];
    let skew = third / (c(1, 2) * square[0].sqrt());
    let prevalence = 0.5 * (1.0 - skew / (4.0 + skew * skew).sqrt());
    let apart = square.map(|square| (square / (prevalence * (1.0 - prevalence))).sqrt());
    let sound = [0, 1, 2].map(|at| p[at] - prevalence * apart[at]);
    (prevalence, [0, 1, 2].map(|at| sound[at] + apart[at]), sound)
}

#[test] // as many chances as independent numbers: the best fit is the moment solution, to rounding
fn three_techniques_give_the_closed_form() {
    let patterns = |counts: [u64; 8]| -> Vec<(Vec<bool>, u64)> {
        let pattern = |(set, count): (usize, u64)| ((0..3).map(|at| set >> at & 1 == 1).collect(), count);
        counts.into_iter().enumerate().map(pattern).collect()
    };
    for counts in [[163, 12, 20, 15, 9, 6, 3, 22], [500, 21, 30, 18, 15, 14, 11, 60], [40, 9, 12, 31, 8, 21, 25, 140]] {
        let counts = patterns(counts);
        let found =
            latent_classes(&CaptureHistories::from_counts(&NAMES[..3], &counts).expect("histories"), &independent());
        let found = found.expect("a fit");
        let (prevalence, detection, false_calls) = by_moments(&counts);
        assert!((found.prevalence.value - prevalence).abs() < 1e-6, "{} {prevalence}", found.prevalence.value);
        for (at, technique) in found.techniques.iter().enumerate() {
            assert!((technique.detection.value - detection[at]).abs() < 1e-6, "{technique:?} {detection:?}");
            assert!((technique.false_calls.value - false_calls[at]).abs() < 1e-6, "{technique:?} {false_calls:?}");
        }
        assert!(found.goodness.g2 < 1e-6 && found.goodness.degrees_of_freedom == 0, "{:?}", found.goodness);
        assert!(found.pairs.iter().all(|pair| pair.residual.abs() < 1e-6 && pair.standard_error.is_none()));
    }
}

#[test] // -317.2568: seen; data from memory, which so precise a value confirms
fn seven_raters_have_the_published_log_likelihood() {
    let names = ["a", "b", "c", "d", "e", "f", "g"];
    let found = latent_classes(&of_file(include_str!("../data/rated_carcinoma.csv"), &names), &independent());
    let found = found.expect("a fit");
    assert!((found.log_likelihood + 317.2568).abs() < 5e-5, "{}", found.log_likelihood);
    assert_eq!(found.goodness.degrees_of_freedom, 112);
}

#[test] // G2 16.23: from memory, data too
fn four_assays_have_the_published_goodness() {
    let found = latent_classes(&of_file(include_str!("../data/rated_four_assays.csv"), &NAMES[..4]), &independent());
    let found = found.expect("a fit");
    assert!((found.goodness.g2 - 16.23).abs() < 5e-3, "{}", found.goodness.g2);
    // The third never called a sound patient: an estimate of none, whose interval begins there.
    let third = found.techniques[2].false_calls;
    assert!(third.at_edge && third.low == 0.0 && 0.0 < third.high && third.high < 0.05, "{third:?}");
}

/// One million blades with counts as expected: estimates must be the truth but for rounding to whole blades, which
/// moves a chance by a millionth over the smallest share.
fn recovered(truth: &Truth, question: &Question, histories: &CaptureHistories) -> LatentClasses {
    let found = latent_classes(histories, question).expect("a fit");
    assert!((found.prevalence.value - truth.prevalence).abs() < 1e-4, "{:?}", found.prevalence);
    for (at, technique) in found.techniques.iter().enumerate() {
        assert!((technique.detection.value - truth.detection[at]).abs() < 1e-3, "{technique:?}");
        assert!((technique.false_calls.value - truth.false_calls[at]).abs() < 1e-3, "{technique:?}");
    }
    found
}

#[test]
fn a_dependent_pair_is_recovered_whichever_is_named_first() {
    let truth = Truth::dependent();
    let histories = truth.expected(1e6);
    let one = recovered(&truth, &dependent(&[("a", "b")]), &histories);
    let other = recovered(&truth, &dependent(&[("b", "a")]), &histories);
    assert!(
        (one.dependent_pairs[0].correlation_cracked - truth.correlation()).abs() < 1e-3,
        "{:?}",
        one.dependent_pairs
    );
    assert!((one.log_likelihood - other.log_likelihood).abs() < 1e-4);
    for (one, other) in one.techniques.iter().zip(&other.techniques) {
        for (one, other) in [(one.detection, other.detection), (one.false_calls, other.false_calls)] {
            assert!((one.low - other.low).abs() < 1e-5 && (one.high - other.high).abs() < 1e-5, "{one:?} {other:?}");
        }
    }
}

#[test] // the twin that must fail, and what shows it
fn taking_a_dependent_pair_for_independent_overstates_detection_and_hides_missed_cracks() {
    let truth = Truth::dependent();
    let histories = truth.expected(1e4);
    let blind = latent_classes(&histories, &independent()).expect("a fit");
    let seeing = latent_classes(&histories, &dependent(&[("a", "b")])).expect("a fit");
    for at in [0, 1] {
        assert!(blind.techniques[at].detection.low > truth.detection[at], "{:?}", blind.techniques[at]);
    }
    assert!(blind.cracked_called_by_none.high < truth.missed(1e4), "{:?}", blind.cracked_called_by_none);
    let held = seeing.cracked_called_by_none;
    assert!(held.low <= truth.missed(1e4) && truth.missed(1e4) <= held.high, "{held:?}");
    assert!(
        blind.goodness.method == GoodnessMethod::ChiSquare && blind.goodness.p < Some(1e-6),
        "{:?}",
        blind.goodness
    );
    assert!(seeing.goodness.p > Some(0.9), "{:?}", seeing.goodness);
    let most = blind.pairs.iter().max_by(|a, b| a.residual.total_cmp(&b.residual)).expect("pairs");
    assert_eq!((most.first.as_str(), most.second.as_str()), ("a", "b"));
    assert!(blind.sentences()[0].ends_with("these calls do not tell."), "{:?}", blind.sentences());
    let said = blind.sentences().join("\n");
    assert!(said.contains("a and b agree more"), "{said}");
    assert!(said.contains("detection is overstated and the number missed understated"), "{said}");
    assert!(said.contains("not to be relied on"), "{said}");
}

#[test] // request G5
fn dependence_that_is_not_estimated_is_told_by_what_it_would_do() {
    let found = latent_classes(&Truth::independent().expected(1e4), &independent()).expect("a fit");
    assert_eq!(found.sensitivity.len(), 2 * 6);
    for pair in found.sensitivity.chunks(2) {
        assert!(found.cracked_called_by_none.value < pair[0].cracked_called_by_none, "{pair:?}");
        assert!(pair[0].cracked_called_by_none < pair[1].cracked_called_by_none, "{pair:?}");
        // The truth is independent, and four techniques can tell.
        assert!(pair[1].log_likelihood_change < pair[0].log_likelihood_change);
        assert!(pair[0].log_likelihood_change < -1.0, "{pair:?}");
    }
    assert!(found.sentences().join("\n").contains("Were one more pair dependent"));
}

#[test] // the second look hangs on the first call: missing at random, and not by chance alone
fn blades_that_not_all_looked_at_count_with_what_was_seen() {
    let truth = Truth::independent();
    let histories = truth.expected(1e6);
    let mut part: Vec<CaptureHistory> = Vec::new();
    for blade in histories.histories() {
        let looked = if blade.called[0] == Some(true) { 9 } else { 3 };
        let seen = blade.count * looked / 10;
        let mut called = blade.called.clone();
        (called[2], called[3]) = (None, None);
        part.push(CaptureHistory { count: seen, ..blade.clone() });
        part.push(CaptureHistory { count: blade.count - seen, called, ..blade.clone() });
    }
    let names = &NAMES[..4];
    let found = recovered(&truth, &independent(), &CaptureHistories::new(names, part.clone()).expect("histories"));
    assert!(found.incomplete > 300_000 && found.notes.iter().any(|note| note.contains("not looked at by all")));
    // The twin: the blades that all looked at alone are no fair sample.
    part.retain(|blade| blade.called.iter().all(Option::is_some));
    let alone = latent_classes(&CaptureHistories::new(names, part).expect("histories"), &independent()).expect("a fit");
    assert!(alone.prevalence.value > 1.3 * truth.prevalence, "{:?}", alone.prevalence);
}

#[test]
fn a_dependent_technique_that_did_not_look_is_summed_over() {
    let truth = Truth::dependent();
    let mut part: Vec<CaptureHistory> = Vec::new();
    for blade in truth.expected(1e6).histories() {
        for at in [0, 1, 2] {
            let mut called = blade.called.clone();
            if at < 2 {
                called[at] = None;
            }
            part.push(CaptureHistory { count: blade.count / 3, called, ..blade.clone() });
        }
    }
    recovered(&truth, &dependent(&[("a", "b")]), &CaptureHistories::new(&NAMES[..4], part).expect("histories"));
}

#[test] // exchanging yes and no exchanges the names of the classes and nothing else
fn the_cracked_class_is_the_one_that_is_called_more() {
    let histories = of_file(include_str!("../data/rated_carcinoma.csv"), &["a", "b", "c", "d", "e", "f", "g"]);
    let turn = |blade: &CaptureHistory| CaptureHistory {
        called: blade.called.iter().map(|called| called.map(|called| !called)).collect(),
        ..blade.clone()
    };
    let turned: Vec<CaptureHistory> = histories.histories().iter().map(turn).collect();
    let names: Vec<&str> = histories.techniques().iter().map(String::as_str).collect();
    let turned =
        latent_classes(&CaptureHistories::new(&names, turned).expect("histories"), &independent()).expect("a fit");
    let straight = latent_classes(&histories, &independent()).expect("a fit");
    assert!((straight.prevalence.value + turned.prevalence.value - 1.0).abs() < 1e-6);
    for (straight, turned) in straight.techniques.iter().zip(&turned.techniques) {
        assert!((straight.detection.value + turned.false_calls.value - 1.0).abs() < 1e-5, "{straight:?} {turned:?}");
        assert!(straight.detection.value > straight.false_calls.value);
        assert!(turned.detection.value > turned.false_calls.value);
    }
}

#[test]
fn the_order_of_the_techniques_does_not_matter() {
    let truth = Truth::dependent();
    let histories = truth.expected(3000.0);
    let turn = |blade: &CaptureHistory| CaptureHistory {
        called: blade.called.iter().rev().copied().collect(),
        ..blade.clone()
    };
    let turned: Vec<CaptureHistory> = histories.histories().iter().rev().map(turn).collect();
    let turned = CaptureHistories::new(&["d", "c", "b", "a"], turned).expect("histories");
    let one = latent_classes(&histories, &dependent(&[("a", "b")])).expect("a fit");
    let other = latent_classes(&turned, &dependent(&[("a", "b")])).expect("a fit");
    let near = |one: Interval, other: Interval| {
        let pairs = [(one.value, other.value), (one.low, other.low), (one.high, other.high)];
        assert!(pairs.iter().all(|(a, b)| (a - b).abs() < 1e-5), "{one:?} {other:?}");
    };
    near(one.prevalence, other.prevalence);
    near(one.cracked_called_by_none, other.cracked_called_by_none);
    for (one, other) in one.techniques.iter().zip(other.techniques.iter().rev()) {
        assert_eq!(one.technique, other.technique);
        near(one.detection, other.detection);
        near(one.false_calls, other.false_calls);
        near(one.cracked_not_called, other.cracked_not_called);
    }
}

#[test]
fn known_truth_is_set_beside_the_fit_and_not_used() {
    let truth = Truth::independent();
    let histories = truth.expected(1e4);
    let mut blades: Vec<CaptureHistory> = histories.histories().to_vec();
    let plain = latent_classes(&histories, &independent()).expect("a fit");
    blades.iter_mut().filter(|blade| blade.called.iter().all(|called| *called == Some(true))).for_each(|blade| {
        blade.cracked = Some(true);
    });
    let of = |blades: &[CaptureHistory]| CaptureHistories::new(&NAMES[..4], blades.to_vec()).expect("histories");
    let found = latent_classes(&of(&blades), &independent()).expect("a fit");
    let confirmed = found.confirmed.expect("known truth");
    assert_eq!(found.techniques, plain.techniques);
    assert!(confirmed.cracked > 100 && confirmed.sound == 0);
    assert!((confirmed.cracked_by_fit / confirmed.cracked as f64 - 1.0).abs() < 0.01, "{confirmed:?}");
    assert!(!confirmed.contradicts);
    assert!(found.sentences().iter().any(|said| said.starts_with("Known truth, not used")));
    // The twin: blades that one technique alone called, which the fit takes for sound, turn out to be cracked.
    let alone = |blade: &&mut CaptureHistory| blade.called.iter().filter(|called| **called == Some(true)).count() == 1;
    blades.iter_mut().filter(alone).for_each(|blade| blade.cracked = Some(true));
    let found = latent_classes(&of(&blades), &independent()).expect("a fit");
    assert!(found.confirmed.expect("known truth").contradicts);
    // A fit that is contradicted is not led with, and what dependence would do to it is not told as if it mattered.
    let said = found.sentences();
    let confirmed = found.confirmed.expect("known truth").cracked;
    assert!(said[0].ends_with(&format!("do not tell: at least the {confirmed} that are confirmed.")), "{said:?}");
    assert!(said[1].contains("more cracked blades than the fit can have"), "{said:?}");
    assert!(said[3].starts_with("What the fit has, not to be relied on: about"), "{said:?}");
    assert!(said.iter().all(|said| !said.starts_with("Were one more pair")), "{said:?}");
}

#[test]
fn what_cannot_tell_the_classes_apart_is_refused() {
    let four = Truth::independent().expected(1e4);
    let of = |names: &[&str]| {
        let places: Vec<usize> =
            names.iter().map(|name| NAMES.iter().position(|known| known == name).expect("known")).collect();
        let pick = |blade: &CaptureHistory| CaptureHistory {
            called: places.iter().map(|at| blade.called[*at]).collect(),
            ..blade.clone()
        };
        CaptureHistories::new(names, four.histories().iter().map(pick).collect()).expect("histories")
    };
    assert_eq!(reason(&of(&["a", "b"]), &independent()), "too-few-techniques");
    assert_eq!(reason(&of(&["a", "b", "c"]), &dependent(&[("a", "b")])), "not-identified");
    // Thirteen chances and fifteen independent numbers, yet two sources: counting is not enough.
    assert_eq!(reason(&four, &dependent(&[("a", "b"), ("c", "d")])), "not-identified");
    let never = |blade: &CaptureHistory| {
        let mut called = blade.called.clone();
        called[if blade.called[2] == Some(true) { 0 } else { 3 }] = None;
        CaptureHistory { called, ..blade.clone() }
    };
    let never: Vec<CaptureHistory> = four.histories().iter().map(never).collect();
    assert_eq!(
        reason(&CaptureHistories::new(&NAMES[..4], never).expect("histories"), &independent()),
        "no-common-blades"
    );
    let counts = |counts: &[([bool; 3], u64)]| {
        let counts: Vec<_> = counts.iter().map(|(called, count)| (called.to_vec(), *count)).collect();
        CaptureHistories::from_counts(&NAMES[..3], &counts).expect("histories")
    };
    let (y, n) = (true, false);
    assert_eq!(reason(&counts(&[([y, y, n], 20), ([n, n, n], 80), ([y, n, n], 3)]), &independent()), "one-answer");
    let few = [([y, y, n], 2), ([n, y, y], 2), ([y, n, n], 5), ([n, n, y], 5), ([n, n, n], 80)];
    assert_eq!(reason(&counts(&few), &independent()), "too-few");
    // Independent answers: a half, a third and a fifth of 300 blades.
    let chance: Vec<([bool; 3], u64)> = (0..8_usize)
        .map(|set| {
            let called = [0, 1, 2].map(|at| set >> at & 1 == 1);
            let count =
                called.iter().zip([2, 3, 5]).map(|(called, of)| if *called { 1 } else { of - 1 }).product::<u64>();
            (called, 10 * count)
        })
        .collect();
    assert_eq!(reason(&counts(&chance), &independent()), "no-agreement");
}

#[test] // three pairs of looks and never three together: six numbers for seven chances
fn looks_in_pairs_alone_are_refused() {
    let mut blades = Vec::new();
    for (first, second) in [(0, 1), (0, 2), (1, 2)] {
        for blade in Truth::independent().expected(1e4).histories() {
            let mut called = vec![None; 3];
            (called[first], called[second]) = (blade.called[first], blade.called[second]);
            blades.push(CaptureHistory { called, ..blade.clone() });
        }
    }
    let histories = CaptureHistories::new(&NAMES[..3], blades).expect("histories");
    let why = reason(&histories, &independent());
    assert!(["not-identified", "several-optima"].contains(&why), "{why}");
}

#[test]
fn arguments_that_cannot_be_are_refused_in_plain_words() {
    let histories = Truth::independent().expected(1e4);
    let said = |question: Question| latent_classes(&histories, &question).expect_err("a refusal").to_string();
    assert!(said(dependent(&[("a", "x")])).starts_with("dependent_pairs = x\n    is not one of the techniques"));
    assert!(said(dependent(&[("a", "a")])).contains("a technique may depend on one other"));
    assert!(said(dependent(&[("a", "b"), ("b", "c")])).contains("a technique may depend on one other"));
    assert!(said(Question { level: 1.0, ..Question::default() }).starts_with("level = 1"));
    assert!(said(Question { level: f64::NAN, ..Question::default() }).starts_with("level = NaN"));
    assert!(said(Question { resamples: 1_000_000, ..Question::default() }).starts_with("resamples = 1000000"));
}

#[test]
fn the_same_seed_gives_the_same_answer() {
    let names = ["a", "b", "c", "d", "e", "f", "g"];
    let histories = of_file(include_str!("../data/rated_carcinoma.csv"), &names);
    let with =
        |seed| latent_classes(&histories, &Question { resamples: 40, seed, ..Question::default() }).expect("a fit");
    let (one, again, other) = (with(3), with(3), with(4));
    assert_eq!(one, again);
    assert_ne!(one.pairs, other.pairs);
    assert_eq!(one.goodness.method, GoodnessMethod::Simulated);
    // Agresti (2002, section 13.1) finds that two classes do not fit; three do.
    assert!(one.goodness.p < Some(0.05), "{:?}", one.goodness);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..repeatable() })]

    #[test]
    fn no_table_of_counts_makes_it_panic_or_give_a_number_out_of_range(
        techniques in 2_usize..6,
        lines in prop::collection::vec((prop::collection::vec(0_u8..6, 6), 0_u64..40, 0_u8..4), 0..40),
        scale in prop::sample::select(vec![1_u64, 1, 1, 1_000_000]),
        pair in any::<bool>(),
    ) {
        let blade = |(answers, count, truth): &(Vec<u8>, u64, u8)| CaptureHistory {
            called: answers[..techniques].iter().map(|one| [None, Some(true), Some(true), Some(false), Some(false), Some(false)][usize::from(*one)]).collect(),
            count: count * scale,
            cracked: [None, None, Some(true), Some(false)][usize::from(*truth)],
            ..CaptureHistory::default()
        };
        let histories = CaptureHistories::new(&NAMES[..techniques], lines.iter().map(blade).collect()).expect("histories");
        let question = Question { resamples: 5, ..dependent(if pair { &[("a", "b")] } else { &[] }) };
        if let Ok(found) = latent_classes(&histories, &question) {
            let chances = found.techniques.iter().flat_map(|one| [one.detection, one.false_calls]).chain([found.prevalence]);
            for chance in chances {
                prop_assert!(0.0 <= chance.low && chance.low <= chance.value + 1e-9, "{chance:?}");
                prop_assert!(chance.value <= chance.high + 1e-9 && chance.high <= 1.0, "{chance:?}");
            }
            let numbers = found.techniques.iter().map(|one| one.cracked_not_called);
            for number in numbers.chain([found.cracked, found.cracked_called_by_none]) {
                prop_assert!(0.0 <= number.low && number.low <= number.value + 1e-6, "{number:?}");
                prop_assert!(number.value <= number.high + 1e-6 && number.high <= found.blades as f64 + 1e-6, "{number:?}");
            }
            prop_assert!(found.goodness.p.is_none_or(|p| (0.0..=1.0).contains(&p)));
            prop_assert!(found.sentences().iter().all(|said| !said.contains("NaN") && !said.contains("inf")));
        }
    }
}
