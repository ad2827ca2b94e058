//! Techniques side by side.
//!
//! McNemar: rows r_1 to r_6 as quoted in the statsmodels test suite (seen), the approval table of Agresti
//! (1990, p. 350; cells from memory, corrected chi-square 16.818 seen). Cochran: drugs data of the SAS FREQ
//! manual (seen), small_4 and small_5 as quoted in the statsmodels test suite (seen). All values recomputed.

use crate::expected::{expected, rows};
use serrata::statistics::capture_histories::{CaptureHistories, CaptureHistory, Class};
use serrata::statistics::paired::{McNemar, Overlap, cochran, compare, compare_by};

const TABLES: &str = include_str!("data/mcnemar.csv");

/// Blades found by both, by the first alone, by the second alone, by neither.
fn pair(counts: [u64; 4]) -> Overlap {
    let [both, first, second, neither] = counts;
    let counts = [
        (vec![true, true], both),
        (vec![true, false], first),
        (vec![false, true], second),
        (vec![false, false], neither),
    ];
    let histories = CaptureHistories::from_counts(&["first", "second"], &counts).expect("histories");
    compare(&histories, 0.95).expect("a comparison")
}

fn table(example: &str) -> [u64; 4] {
    let row = rows(TABLES).into_iter().find(|row| row[0] == example).expect("an example");
    [1, 2, 3, 4].map(|cell| row[cell].parse().expect("a count"))
}

#[test]
fn every_expected_value_of_mcnemar_is_met() {
    for wanted in expected("mcnemar") {
        let (example, quantity) = wanted.quantity.split_once('.').expect("two parts");
        let overlap = pair(table(example));
        let pair = &overlap.pairs[0];
        let test = pair.mcnemar;
        let ours = match quantity {
            "p_exact" => Some(test.p_exact),
            "p_midp" => Some(test.p_mid),
            "chi2" => test.chi_square,
            "p_chi2" => test.p_chi_square,
            "chi2_cc" => test.chi_square_corrected,
            "p_chi2_cc" => test.p_chi_square_corrected,
            "diff_only1_minus_only2" => pair.difference,
            "se_diff_wald" => pair.difference_se,
            other => panic!("no check of {other}"),
        };
        wanted.assert(ours.expect("a value"));
    }
}

#[test] // the published digits themselves, not the recomputed ones
fn the_published_values_of_mcnemar_are_met_to_their_last_digit() {
    for row in rows(TABLES) {
        let test = McNemar::new(row[2].parse().expect("a count"), row[3].parse().expect("a count"));
        let ours = [
            test.chi_square_corrected,
            test.p_chi_square_corrected,
            test.chi_square,
            test.p_chi_square,
            Some(test.p_exact),
        ];
        for (ours, published) in ours.iter().zip(&row[5..10]) {
            if published.is_empty() {
                continue;
            }
            let value: f64 = published.parse().expect("a number");
            // Half a unit of the last printed digit.
            let (digits, power) = published.split_once('e').unwrap_or((published, "0"));
            let decimals = digits.split_once('.').map_or(0, |(_, decimals)| decimals.len()) as i32;
            let half_a_digit = 0.5 * 10_f64.powi(power.parse::<i32>().expect("a power") - decimals);
            let ours = ours.expect("a value");
            assert!((ours - value).abs() <= half_a_digit * 1.001, "{}: {ours}, published {published}", row[0]);
        }
    }
}

#[test]
fn every_expected_value_of_cochran_is_met() {
    let data = rows(include_str!("data/cochran_q.csv"));
    for wanted in expected("cochran_q") {
        let (example, quantity) = wanted.quantity.split_once('.').expect("two parts");
        let lines: Vec<_> = data.iter().filter(|row| row[0] == example).collect();
        let techniques = lines[0][1..6].iter().filter(|cell| !cell.is_empty()).count();
        let mut counts = vec![0; 1 << techniques];
        for line in lines {
            let bits = (0..techniques).filter(|at| line[1 + at] == "1").map(|at| 1 << at).sum::<usize>();
            counts[bits] += line[6].parse::<u64>().expect("a count");
        }
        let test = cochran(&counts).expect("a test");
        wanted.assert(match quantity {
            "q" => test.q,
            "df" => test.degrees_of_freedom as f64,
            "p" => test.p,
            other => panic!("no check of {other}"),
        });
        // 34, 8 and 8 telling blades of 3, 4 and 5 techniques: at least 24 in all.
        assert!(!test.few, "{example}");
    }
}

#[test] // with two techniques Cochran's Q is McNemar's chi-square without correction
fn two_techniques_give_both_tests_the_same_value() {
    let overlap = pair([101, 121, 59, 33]);
    let cochran = overlap.cochran.expect("a test");
    assert!((cochran.q - overlap.pairs[0].mcnemar.chi_square.expect("a value")).abs() < 1e-12);
    assert!(!cochran.few && pair([9, 8, 3, 9]).cochran.expect("a test").few);
}

#[test]
fn blades_that_tell_nothing_apart_give_no_test_and_no_number_that_is_none() {
    let overlap = pair([12, 0, 0, 7]);
    assert!(overlap.cochran.is_none());
    assert_eq!(overlap.pairs[0].mcnemar.p_exact, 1.0);
    assert!(overlap.pairs[0].mcnemar.chi_square.is_none());
    let (low, high) = overlap.pairs[0].difference_interval.expect("an interval");
    assert!(low < 0.0 && 0.0 < high, "{low} {high}");
    assert!(!serde_json::to_string(&overlap).expect("json").contains("NaN"));
}

/// Three techniques on 60 blades, of which one was not looked at by the last.
fn three() -> CaptureHistories {
    let called = |bits: [u8; 3]| bits.map(|bit| Some(bit == 1)).to_vec();
    let blades = [
        ([1, 1, 1], 9, Some(1.0), "as-machined"),
        ([1, 1, 0], 4, Some(3.0), "as-machined"),
        ([1, 0, 0], 3, Some(1.5), "peened"),
        ([0, 1, 0], 1, Some(0.6), "peened"),
        ([0, 0, 1], 2, Some(8.0), "peened"),
        ([0, 0, 0], 40, None, "as-machined"),
    ];
    let mut histories: Vec<CaptureHistory> = blades
        .into_iter()
        .map(|(bits, count, length_mm, surface)| CaptureHistory {
            called: called(bits),
            count,
            length_mm,
            surface: Some(surface.into()),
            ..CaptureHistory::default()
        })
        .collect();
    histories.push(CaptureHistory {
        called: vec![Some(true), Some(false), None],
        count: 1,
        ..CaptureHistory::default()
    });
    CaptureHistories::new(&["a", "b", "c"], histories).expect("histories")
}

#[test]
fn finds_of_each_alone_together_and_of_none_add_up() {
    let overlap = compare(&three(), 0.95).expect("a comparison");
    assert_eq!((overlap.blades, overlap.left_out, overlap.found_by_any, overlap.found_by_none), (59, 1, 19, 40));
    let of = |index: usize| {
        let technique = &overlap.techniques[index];
        (technique.found, technique.found_alone, technique.missed)
    };
    assert_eq!((of(0), of(1), of(2)), ((16, 3, 3), (14, 1, 5), (11, 2, 8)));
    assert_eq!(overlap.patterns.iter().map(|pattern| pattern.blades).sum::<u64>(), overlap.found_by_any);
    assert_eq!(overlap.patterns[0].found_by, ["a", "b", "c"]);
    // The blade that c did not look at still counts for a and b.
    let ab = &overlap.pairs[0];
    assert_eq!((ab.blades, ab.both, ab.only_first, ab.only_second, ab.neither), (60, 13, 4, 1, 42));
    assert_eq!((ab.together, ab.better.as_str(), ab.gain.expect("a gain").events), (18, "a", 1));
    let share = overlap.techniques[2].share_of_union.expect("a share");
    assert_eq!((share.events, share.trials), (11, 19));
    assert!(share.low < share.value && share.value < share.high && share.high < 1.0);
    assert!(overlap.notes.iter().any(|note| note.contains("1 blade is left out")), "{:?}", overlap.notes);
}

#[test]
fn the_bias_of_shares_of_the_union_is_real_and_stated() {
    // 100 cracks, two techniques of POD 0.6 that err independently: 36 + 24 + 24 found, 16 missed by both.
    let overlap = pair([36, 24, 24, 16]);
    let share = overlap.techniques[0].share_of_union.expect("a share").value;
    assert!((share - 60.0 / 84.0).abs() < 1e-12 && share > 0.6);
    assert!(overlap.notes.iter().any(|note| note.contains("upper limits of the probability of detection")));
    // The share of the other's finds has no such bias here.
    assert!((overlap.pairs[0].first_of_second.expect("a share").value - 0.6).abs() < 1e-12);
}

#[test]
fn blades_known_to_be_free_of_cracks_count_as_false_calls_and_not_as_finds() {
    let blade = |called: [bool; 2], cracked, count| CaptureHistory {
        called: called.map(Some).to_vec(),
        count,
        cracked,
        ..CaptureHistory::default()
    };
    let blades = vec![
        blade([true, true], Some(true), 10),
        blade([true, false], Some(false), 3),
        blade([false, false], Some(false), 47),
        blade([true, false], None, 2),
    ];
    let histories = CaptureHistories::new(&["a", "b"], blades).expect("histories");
    let overlap = compare(&histories, 0.95).expect("a comparison");
    assert_eq!((overlap.blades, overlap.pairs[0].only_first), (12, 2));
    let false_calls = overlap.techniques[0].false_calls.expect("false calls");
    assert_eq!((false_calls.events, false_calls.trials), (3, 50));
    assert_eq!(overlap.techniques[1].false_calls.expect("false calls").events, 0);
    assert!(overlap.notes[0].contains("2 blades were called and not confirmed"), "{:?}", overlap.notes);
}

#[test]
fn classes_split_the_blades_and_lose_none() {
    for class in [Class::Surface, Class::Grade, Class::LengthMm(vec![1.5, 3.0])] {
        let parts = three().by(&class).expect("classes");
        assert_eq!(parts.iter().map(|(_, part)| part.blades()).sum::<u64>(), 60);
    }
    let overlaps = compare_by(&three(), &Class::LengthMm(vec![1.5, 3.0]), 0.95).expect("comparisons");
    let names: Vec<_> = overlaps.iter().map(|overlap| overlap.class.as_str()).collect();
    assert_eq!(names, ["all", "below 1.5 mm", "1.5 to below 3 mm", "3 mm and longer", "not known"]);
    let found: Vec<_> = overlaps.iter().map(|overlap| overlap.found_by_any).collect();
    assert_eq!(found, [19, 10, 3, 6, 0]);
    let surfaces = compare_by(&three(), &Class::Surface, 0.95).expect("comparisons");
    assert_eq!(surfaces[1].class, "as-machined");
    assert_eq!(surfaces[2].found_by_any, 6);
}

#[test] // Holm's steps by hand: the smallest p times 3, the next times 2, never falling
fn p_values_of_several_pairs_allow_for_all_of_them() {
    let overlap = compare(&three(), 0.95).expect("a comparison");
    let mut exact: Vec<_> = overlap.pairs.iter().map(|pair| (pair.mcnemar.p_exact, pair.p_holm)).collect();
    exact.sort_by(|a, b| a.0.total_cmp(&b.0));
    let first = 3.0 * exact[0].0;
    let second = first.max(2.0 * exact[1].0);
    let third = second.max(exact[2].0);
    for ((_, ours), by_hand) in exact.iter().zip([first, second, third]) {
        assert!((ours - by_hand.min(1.0)).abs() < 1e-12, "{exact:?}");
    }
}

#[test]
fn the_interval_of_the_difference_covers_as_often_as_it_says() {
    // Every outcome of 30 blades, weighted by its probability; mean coverage over 8 truths. Newcombe's own
    // evaluation of the method gave a mean of 0.953 and no case below 0.90 (from memory); 0.93 is asked for.
    let n = 30_u64;
    let ln_factorial: Vec<f64> = (0..=n).scan(0.0, |sum, i| Some((*sum += (i.max(1) as f64).ln(), *sum).1)).collect();
    let (mut sum, mut least) = (0.0, 1.0_f64);
    let truths = [
        [0.6, 0.2, 0.1, 0.1],
        [0.5, 0.1, 0.1, 0.3],
        [0.3, 0.3, 0.05, 0.35],
        [0.8, 0.05, 0.05, 0.1],
        [0.1, 0.4, 0.1, 0.4],
        [0.25, 0.25, 0.25, 0.25],
        [0.7, 0.25, 0.02, 0.03],
        [0.4, 0.02, 0.18, 0.4],
    ];
    for truth in truths {
        let difference = truth[1] - truth[2];
        let mut covered = 0.0;
        for a in 0..=n {
            for b in 0..=n - a {
                for c in 0..=n - a - b {
                    let counts = [a, b, c, n - a - b - c];
                    let log =
                        counts.iter().zip(truth).fold(ln_factorial[n as usize], |log, (count, p): (&u64, f64)| {
                            log + *count as f64 * p.ln() - ln_factorial[*count as usize]
                        });
                    if log < -16.0 {
                        continue;
                    }
                    let (low, high) = pair(counts).pairs[0].difference_interval.expect("an interval");
                    if low <= difference && difference <= high {
                        covered += log.exp();
                    }
                }
            }
        }
        sum += covered;
        least = least.min(covered);
    }
    let mean = sum / truths.len() as f64;
    assert!((0.93..0.98).contains(&mean) && least > 0.90, "mean {mean}, least {least}");
}

#[test]
fn the_sentences_name_the_numbers_and_do_not_claim_too_much() {
    let said = compare(&three(), 0.95).expect("a comparison").sentences().join("\n");
    assert!(
        said.starts_with(
            "19 cracked blades were found by at least one of a, b and c; none of them called 40 of the 59 blades that all \
             looked at."
        ),
        "{said}"
    );
    assert!(said.contains("a alone 4, b alone 1, both 13: the difference may be chance"), "{said}");
    assert!(said.contains("together they found 1 more than a by itself"), "{said}");
    // Of the 19: a or b 17, a or c 18, b or c 16.
    assert!(said.ends_with("The two that found most together: a with c (18 of 19)."), "{said}");
    let apart = [vec![Some(true), Some(false), None], vec![None, Some(true), Some(true)]];
    let blades = apart.map(|called| CaptureHistory { called, count: 1, ..CaptureHistory::default() }).to_vec();
    let said =
        compare(&CaptureHistories::new(&["a", "b", "c"], blades).expect("histories"), 0.95).expect("pairs").sentences();
    assert_eq!(said[0], "No blade was looked at by all of a, b and c: pairs alone can be told.");
    let said = pair([101, 121, 59, 33]).sentences().join("\n");
    assert!(said.contains("they differ by more than chance (p below 0.0001"), "{said}");
}

#[test]
fn bad_histories_are_refused_in_plain_words() {
    let refusal = |techniques: &[&str], called: Vec<Option<bool>>| {
        let blade = CaptureHistory { called, count: 1, ..CaptureHistory::default() };
        CaptureHistories::new(techniques, vec![blade]).expect_err("a refusal").to_string()
    };
    assert_eq!(
        refusal(&["a"], vec![None]),
        "number of techniques = 1\n    must be from 2 to 10\n    name the techniques to set side by side"
    );
    assert_eq!(
        refusal(&["a", "b", "a"], vec![None; 3]),
        "techniques = a\n    stands there twice\n    name each technique once"
    );
    assert_eq!(
        refusal(&["a", "b"], vec![None; 3]),
        "history 1 = 3\n    must have an answer for each of the 2 techniques\n    give None where a technique did not look"
    );
    let apart = CaptureHistory { called: vec![Some(true), None], count: 1, ..CaptureHistory::default() };
    let error =
        compare(&CaptureHistories::new(&["a", "b"], vec![apart]).expect("histories"), 0.95).expect_err("a refusal");
    assert_eq!(error.reason(), Some("no-common-blades"));
    assert!(compare(&three(), 1.5).is_err());
    assert!(three().by(&Class::LengthMm(vec![3.0, 1.0])).expect_err("a refusal").to_string().contains("must rise"));
}
