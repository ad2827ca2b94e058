//! What every technique missed.
//!
//! Two lists: examples of Krebs, Ricker, Pine et al. and Seber (published values seen as quoted by a fisheries
//! library's tests). Hepatitis A: Chao et al., Statistics in Medicine 20 (2001); diabetes: Bruno et al. 1994; HIV:
//! Abeni et al. 1994 (counts seen). Values computed with statsmodels 0.15 (`data/statistics_expected.csv`).

use crate::expected::{Expected, expected, rows};
use rand_core::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use serrata::statistics::capture_histories::{CaptureHistories, CaptureHistory};
use serrata::statistics::missed_cracks::{Method, MissedCracks, missed_cracks};
use serrata::statistics::records::{Format, Records};

/// Counts of a file whose last column is the count, its lists named by single letters.
fn lists(text: &'static str, names: &[&str]) -> CaptureHistories {
    let counts: Vec<(Vec<bool>, u64)> = rows(text)
        .iter()
        .map(|row| {
            let called = row[..names.len()].iter().map(|cell| *cell == "1").collect();
            (called, row[names.len()].parse().expect("a count"))
        })
        .collect();
    CaptureHistories::from_counts(names, &counts).expect("histories")
}

fn two(first: u64, second: u64, both: u64) -> MissedCracks {
    let counts = [(vec![true, true], both), (vec![true, false], first - both), (vec![false, true], second - both)];
    missed_cracks(&CaptureHistories::from_counts(&["first", "second"], &counts).expect("histories"), 0.95)
        .expect("an estimate")
}

#[test]
fn every_expected_value_of_two_lists_is_met() {
    let examples = rows(include_str!("data/capture_two_list.csv"));
    for wanted in expected("capture_two_list") {
        let (example, quantity) = wanted.quantity.split_once('.').expect("two parts");
        let row = examples.iter().find(|row| row[0] == example).expect("an example");
        let count = |index: usize| row[index].parse::<u64>().expect("a count");
        let missed = two(count(1), count(2), count(3));
        let pair = &missed.pairs[0];
        let seen = (count(1) + count(2) - count(3)) as f64;
        let (low, high) = pair.log_interval.expect("an interval");
        wanted.assert(match quantity {
            "petersen" => pair.petersen.expect("a ratio"),
            "chapman" => pair.chapman,
            "chapman_se" => pair.chapman_se,
            "chapman_ci95_low_normal" => pair.chapman_normal.0,
            "chapman_ci95_high_normal" => pair.chapman_normal.1,
            "seen_by_neither_chapman" => pair.missed.expect("a common find"),
            "chapman_ci95_low_log" => seen + low,
            "chapman_ci95_high_log" => seen + high,
            other => panic!("no check of {other}"),
        });
    }
}

#[test] // the published digits; the source's intervals use a rounded normal quantile, hence 2
fn the_published_values_of_two_lists_are_met() {
    for row in rows(include_str!("data/capture_two_list.csv")) {
        let count = |index: usize| row[index].parse::<u64>().expect("a count");
        let missed = two(count(1), count(2), count(3));
        let pair = &missed.pairs[0];
        let ours = [
            pair.petersen.expect("a ratio"),
            pair.chapman,
            pair.chapman_se,
            pair.chapman_normal.0,
            pair.chapman_normal.1,
        ];
        for ((ours, published), tolerance) in ours.iter().zip(&row[4..9]).zip([0.5, 0.5, 0.5, 2.0, 2.0]) {
            if let Ok(value) = published.parse::<f64>() {
                assert!((ours - value).abs() <= tolerance, "{}: {ours}, published {value}", row[0]);
            }
        }
    }
}

/// Pairs such as `ab+bc` as links of a model.
fn links(short: &str) -> Vec<String> {
    if short == "independent" {
        return Vec::new();
    }
    short.split('+').map(|pair| format!("{} + {}", &pair[..1], &pair[1..])).collect()
}

fn check(dataset: &str, text: &'static str, names: &[&str]) {
    let histories = lists(text, names);
    let missed = missed_cracks(&histories, 0.95).expect("an estimate");
    let (models, coverage) = (missed.log_linear.as_ref().expect("models"), missed.coverage.as_ref().expect("coverage"));
    let mut checked = 0;
    for wanted in expected(dataset) {
        let Some(ours) = ours(&wanted, &missed, models, coverage, &histories) else {
            panic!("no check of {}", wanted.quantity);
        };
        wanted.assert(ours);
        checked += 1;
    }
    assert!(checked > 15, "{checked}");
}

fn ours(
    wanted: &Expected,
    missed: &MissedCracks,
    models: &serrata::statistics::missed_cracks::LogLinear,
    coverage: &serrata::statistics::missed_cracks::Coverage,
    histories: &CaptureHistories,
) -> Option<f64> {
    let quantity = wanted.quantity;
    if let Some((name, inner)) = quantity.split_once('[') {
        let inner = inner.trim_end_matches(']');
        if name.ends_with("loglinear") {
            let model = models.models.iter().find(|model| model.links == links(inner))?;
            let fitted = model.fitted()?;
            return Some(match name {
                "N_loglinear" => fitted.total,
                "se_loglinear" => fitted.standard_error,
                "se_unseen_loglinear" => fitted.standard_error_missed,
                "deviance_loglinear" => fitted.deviance,
                "aic_loglinear" => fitted.aic,
                _ => return None,
            });
        }
        let pair = missed.pairs.iter().find(|pair| format!("{}{}", pair.techniques.0, pair.techniques.1) == inner)?;
        return match name {
            "N_petersen" => pair.petersen,
            "N_chapman" => Some(pair.chapman),
            "se_chapman" => Some(pair.chapman_se),
            _ => None,
        };
    }
    if let Some(times) = quantity.strip_prefix('f').and_then(|times| times.parse::<usize>().ok()) {
        return Some(coverage.found_by_exactly[times - 1] as f64);
    }
    if let Some(list) = quantity.strip_prefix("n_list_") {
        let at = missed.techniques.iter().position(|name| name == list)?;
        let found = histories.histories().iter().filter(|blade| blade.called[at] == Some(true));
        return Some(found.map(|blade| blade.count as f64).sum());
    }
    match quantity {
        "n_distinct" => Some(missed.found as f64),
        "sample_coverage" => Some(coverage.sample_coverage),
        "D_mean_overlap" => Some(coverage.mean_overlap),
        "N_sc_independent" => coverage.independent,
        "N_sc_one_step" => coverage.one_step,
        "N_sc_high_coverage" => coverage.high_coverage,
        "N_chao_lower_bound" => coverage.lower_bound,
        "N_chao_lower_bound_t" => coverage.lower_bound_techniques,
        "N_chao_lower_bound_bc" => Some(coverage.lower_bound_unbiased),
        _ => None,
    }
}

#[test]
fn every_expected_value_of_three_dependent_lists_is_met() {
    check("capture_hepatitis_a", include_str!("data/capture_hepatitis_a.csv"), &["p", "q", "e"]);
}

#[test]
fn every_expected_value_of_four_lists_is_met() {
    check("capture_diabetes", include_str!("data/capture_diabetes.csv"), &["a", "b", "c", "d"]);
}

#[test]
fn every_expected_value_of_four_lists_with_little_overlap_is_met() {
    check("capture_hiv_rome", include_str!("data/capture_hiv_rome.csv"), &["a", "b", "c", "d"]);
}

#[test]
fn the_average_weighs_models_by_their_aic_and_leaves_out_the_one_that_fits_anything() {
    let missed = missed_cracks(&lists(include_str!("data/capture_hepatitis_a.csv"), &["p", "q", "e"]), 0.95)
        .expect("an estimate");
    let models = missed.log_linear.expect("models");
    let best = models.models.iter().find(|model| model.links == ["p + q", "q + e"]).expect("the model");
    let weights: Vec<f64> = models.models.iter().filter_map(|model| model.fitted()?.weight).collect();
    assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-12);
    assert!(best.fitted().and_then(|fitted| fitted.weight) == weights.iter().copied().reduce(f64::max));
    let full = models.models.iter().find(|model| model.links.len() == 3).expect("the model");
    assert_eq!(full.fitted().and_then(|fitted| fitted.weight), None);
    // Below coverage 0.55 the high-coverage estimate is not to be used (Chao et al. 2001).
    assert!(!missed.coverage.expect("coverage").covered_enough);
    // A later screen gave about 545 in all (from memory): independence misses it, the average does not.
    let average = models.average.expect("an average");
    assert!(average.low < 545.0 - 271.0 && 545.0 - 271.0 < average.high, "{average:?}");
}

#[test]
fn where_no_model_has_an_estimate_there_is_a_lower_bound_and_no_number_made_up() {
    let of = |counts: &[([bool; 3], u64)]| {
        let counts: Vec<(Vec<bool>, u64)> = counts.iter().map(|(found, count)| (found.to_vec(), *count)).collect();
        missed_cracks(&CaptureHistories::from_counts(&["a", "b", "c"], &counts).expect("histories"), 0.95)
            .expect("an answer")
    };
    // No blade was found twice: (2/3) 17 * 16 / 2 = 90.7 at least.
    let apart = of(&[([true, false, false], 8), ([false, true, false], 5), ([false, false, true], 4)]);
    assert!(apart.log_linear.as_ref().expect("models").average.is_none());
    assert_eq!((apart.answer.method, apart.answer.high), (Method::LowerBound, None));
    assert!((apart.answer.missed.expect("a bound") - 272.0 / 3.0).abs() < 1e-9, "{:?}", apart.answer);
    assert!(apart.sentences()[0].starts_with("At least about 91 more cracked blades"), "{:?}", apart.sentences());
    // All found all: nothing to average either.
    let all = of(&[([true, true, true], 8)]);
    assert_eq!((all.answer.method, all.answer.missed), (Method::LowerBound, Some(0.0)));
    assert!(all.sentences()[0].starts_with("No estimate could be made"), "{:?}", all.sentences());
}

#[test] // request G1, G3
fn two_techniques_say_what_they_take_for_granted() {
    // By hand: 18 * 16 / 13 - 1 - 20 = 1.154. The likelihood of so many missed blades is within 1.9207 of the best,
    // which lies between whole numbers, from 0 to 4.
    let said = two(17, 15, 12).sentences().join("\n");
    let wanted =
        "At least about 1.2 more cracked blades than the 20 found (95 %: 0 to 4, were the two to err independently).";
    assert!(said.starts_with(wanted), "{said}");
    assert!(said.contains("the two err independently") && said.contains("more are missed"), "{said}");
    let apart = two(8, 5, 0);
    assert!(apart.answer.high.is_none());
    assert!(apart.sentences()[0].contains("no estimate and no upper bound"), "{:?}", apart.sentences());
}

/// Found by the first, by the second and by both; the 95 % interval of the total by profile likelihood, worked out by
/// an independent program: ends within 1, the largest within 3 %.
#[test]
fn two_lists_have_the_interval_of_their_likelihood() {
    for (first, second, both, low, high) in [
        (24, 20, 15, 29.0, Some(38.0)),
        (9, 7, 0, 37.0, None),
        (5, 5, 5, 5.0, Some(5.0)),
        (14, 11, 1, 43.0, Some(2284.0)),
    ] {
        let missed = two(first, second, both);
        let found = missed.found as f64;
        assert!((found + missed.answer.low - low).abs() <= 1.0, "{first} {second} {both}: {:?}", missed.answer);
        assert_eq!(missed.answer.high.is_some(), high.is_some(), "{:?}", missed.answer);
        if let Some((ours, wanted)) = missed.answer.high.zip(high) {
            assert!((found + ours - wanted).abs() <= f64::max(1.0, 0.03 * wanted), "{ours} {wanted}");
        }
        assert!(missed.answer.low >= 0.0 && missed.answer.high.is_none_or(|high| high >= missed.answer.low));
    }
    // The log-type interval's upper end, 219 more, is a tenth of that of the likelihood.
    assert!(two(14, 11, 1).pairs[0].log_interval.is_some_and(|(_, high)| high < 230.0));
}

#[test]
fn two_lists_that_say_little_say_so() {
    let note = |missed: &MissedCracks, part: &str| missed.notes.iter().any(|note| note.contains(part));
    assert!(note(&two(14, 11, 1), "rests on 1 blade found by both"));
    assert!(note(&two(14, 11, 4), "rests on 4 blades found by both") && !note(&two(14, 11, 5), "rests on"));
    assert!(note(&two(5, 5, 5), "no proof that nothing is left") && !note(&two(24, 20, 15), "no proof"));
    // No blade found by both: no estimate, and Chapman's 79 in all appears nowhere.
    let apart = two(9, 7, 0);
    assert_eq!((apart.answer.method, apart.pairs[0].missed), (Method::LowerBound, None));
    let said = apart.sentences().join(" ");
    assert!(said.starts_with("At least 21 more cracked blades than the 16 found (95 %), at least 37 in all"), "{said}");
    assert!(!said.contains("79") && !said.contains("63"), "{said}");
}

#[test]
fn what_says_nothing_is_refused() {
    let counts = [(vec![true, false], 5), (vec![false, false], 40)];
    let error = missed_cracks(&CaptureHistories::from_counts(&["a", "b"], &counts).expect("histories"), 0.95)
        .expect_err("a refusal");
    assert_eq!(error.reason(), Some("found-nothing"));
    assert!(error.to_string().starts_with("b found no crack on blades that all of a, b looked at"), "{error}");
    assert!(missed_cracks(&lists(include_str!("data/capture_hepatitis_a.csv"), &["p", "q", "e"]), 1.0).is_err());
}

#[test]
fn no_number_is_none_whatever_the_counts() {
    let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
    let (mut estimated, mut refused) = (0, 0);
    for _ in 0..400 {
        let techniques = 2 + (random.next_u64() % 3) as usize;
        let names = &["a", "b", "c", "d"][..techniques];
        let counts: Vec<(Vec<bool>, u64)> = (0..1_usize << techniques)
            .map(|set| {
                (
                    (0..techniques).map(|at| set >> at & 1 == 1).collect(),
                    random.next_u64() % 4 * (random.next_u64() % 9),
                )
            })
            .collect();
        match missed_cracks(&CaptureHistories::from_counts(names, &counts).expect("histories"), 0.95) {
            Ok(found) => {
                estimated += 1;
                let answer = found.answer;
                let missed = answer.missed.unwrap_or(answer.low);
                assert!(missed >= 0.0 && answer.low >= 0.0 && answer.low <= missed + 1e-9, "{counts:?} {answer:?}");
                assert!(answer.high.is_none_or(|high| high >= missed && high.is_finite()), "{counts:?} {answer:?}");
                assert!(
                    found.sentences().iter().all(|said| !said.contains("NaN") && !said.contains("inf")),
                    "{counts:?}"
                );
            }
            Err(error) => {
                refused += 1;
                assert_eq!(error.reason(), Some("found-nothing"));
            }
        }
    }
    assert!(estimated > 200 && refused > 0, "{estimated} {refused}");
}

/// A number from 0 to 1.
fn uniform(random: &mut Xoshiro256PlusPlus) -> f64 {
    (random.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// 300 cracks of 0.5 to 8 mm, evenly in the logarithm; three techniques that err independently at one length.
fn campaign(random: &mut Xoshiro256PlusPlus) -> (CaptureHistories, f64) {
    let mut missed = 0.0;
    let mut blades = Vec::new();
    for _ in 0..300 {
        let length = 0.5 * (uniform(random) * 16_f64.ln()).exp();
        let called: Vec<Option<bool>> = [1.5_f64, 2.0, 2.5]
            .iter()
            .map(|q50| Some(uniform(random) < 1.0 / (1.0 + (-3.0 * (length / q50).ln()).exp())))
            .collect();
        if called.contains(&Some(true)) {
            blades.push(CaptureHistory { called, count: 1, length_mm: Some(length), ..CaptureHistory::default() });
        } else {
            missed += 1.0;
        }
    }
    (CaptureHistories::new(&["a", "b", "c"], blades).expect("histories"), missed)
}

#[test]
fn small_missed_cracks_are_estimated_from_lengths_and_assumed_away_without_them() {
    // 60 campaigns: the 95 % interval must cover in at least 52, which a right one misses once in 160,000
    // (binomial), and the mean of the estimates must be within 15 % of the truth.
    const CAMPAIGNS: usize = 60;
    let mut random = Xoshiro256PlusPlus::seed_from_u64(11);
    let (mut covered, mut told, mut ours, mut truth, mut blind) = (0, 0, 0.0, 0.0, 0.0);
    for _ in 0..CAMPAIGNS {
        let (histories, missed) = campaign(&mut random);
        let estimate = missed_cracks(&histories, 0.95).expect("an estimate");
        told += usize::from(estimate.answer.method == Method::ByLength);
        let average = estimate.by_length.expect("lengths").average.expect("an average");
        covered += usize::from(average.low <= missed && missed <= average.high);
        ours += average.missed;
        truth += missed;
        // Independence without lengths, which is what all pairs alone would say.
        let models = estimate.log_linear.expect("models");
        blind += models
            .models
            .iter()
            .find(|model| model.links.is_empty())
            .and_then(|model| model.fitted())
            .expect("a fit")
            .missed;
    }
    assert!(covered >= 52, "{covered} of {CAMPAIGNS}");
    // With so many finds an estimate is seldom drawn out too far to be told.
    assert!(told >= CAMPAIGNS - 3, "{told} of {CAMPAIGNS}");
    assert!((ours / truth - 1.0).abs() < 0.15, "{ours} {truth}");
    // The twin that must fail: what takes all cracks for alike finds hardly half of the missed cracks.
    assert!(blind < 0.7 * truth, "{blind} {truth}");
}

#[test]
fn lengths_of_missed_cracks_are_estimated() {
    let (histories, _) = campaign(&mut Xoshiro256PlusPlus::seed_from_u64(12));
    let missed = missed_cracks(&histories, 0.95).expect("an estimate");
    let lengths = missed.by_length.as_ref().expect("lengths");
    let (half, most) = (lengths.half_shorter_mm.expect("a length"), lengths.most_shorter_mm.expect("a length"));
    assert!(half < most && most < 3.0, "{half} {most}");
    let said = &missed.sentences()[0];
    assert!(said.contains(&format!("mostly shorter than {most:.1} mm.")), "{said}");
    let sum: f64 = lengths.lengths.iter().map(|at| at.missed).sum();
    assert!((sum - missed.answer.missed.expect("an estimate")).abs() < 1e-6 * sum);
}

/// 400 cracks with log-normal lengths; three techniques that err independently at one length; each found crack is
/// measured once, with error.
fn measured_campaign(random: &mut Xoshiro256PlusPlus, spread: f64) -> (CaptureHistories, f64) {
    let normal = |random: &mut Xoshiro256PlusPlus| {
        // Box and Muller, Annals of Mathematical Statistics 29, 1958.
        let radius = (-2.0 * uniform(random).max(f64::MIN_POSITIVE).ln()).sqrt();
        radius * (std::f64::consts::TAU * uniform(random)).cos()
    };
    let (mut missed, mut blades) = (0.0, Vec::new());
    for _ in 0..400 {
        let log = 2_f64.ln() + 0.7 * normal(random);
        let chance = |q50: f64| 1.0 / (1.0 + (-3.0 * (log - q50.ln())).exp());
        let called: Vec<Option<bool>> =
            [1.5, 2.0, 2.5].iter().map(|q50| Some(uniform(random) < chance(*q50))).collect();
        let length_mm = Some((log + spread * normal(random)).exp());
        if called.contains(&Some(true)) {
            blades.push(CaptureHistory { called, count: 1, length_mm, measurements: 1, ..CaptureHistory::default() });
        } else {
            missed += 1.0;
        }
    }
    (CaptureHistories::new(&["a", "b", "c"], blades).expect("histories"), missed)
}

#[test]
fn error_of_measured_lengths_hides_missed_cracks_unless_it_is_allowed_for() {
    const CAMPAIGNS: usize = 60;
    const SPREAD: f64 = 0.5;
    let mut random = Xoshiro256PlusPlus::seed_from_u64(17);
    let (mut blind, mut seeing) = (Vec::new(), Vec::new());
    let mut covered = [0, 0];
    for _ in 0..CAMPAIGNS {
        let (histories, missed) = measured_campaign(&mut random, SPREAD);
        let known = histories.clone().with_length_error(SPREAD).expect("a spread");
        for (place, (histories, errors)) in [(histories, &mut blind), (known, &mut seeing)].into_iter().enumerate() {
            let estimate = missed_cracks(&histories, 0.95).expect("an estimate").by_length.expect("lengths").average;
            let estimate = estimate.expect("an average");
            covered[place] += usize::from(estimate.low <= missed && missed <= estimate.high);
            errors.push((estimate.missed / missed).ln());
        }
    }
    // As above: at least 52 of 60 campaigns; the twin that takes lengths as they are must fail it.
    assert!(covered[1] >= 52 && covered[0] < 52, "{covered:?}");
    // Mean logarithm of estimate over truth, in its own standard errors: four, as a right one is outside for one
    // seed in 16,000.
    let distance = |errors: &[f64]| {
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        let square: f64 = errors.iter().map(|error| (error - mean).powi(2)).sum();
        mean / (square.sqrt() / errors.len() as f64)
    };
    assert!(distance(&seeing).abs() < 4.0, "{}", distance(&seeing));
    assert!(distance(&blind) < -4.0, "{}", distance(&blind));
}

#[test]
fn lengths_that_scatter_no_more_than_by_their_error_tell_nothing() {
    let (histories, _) = measured_campaign(&mut Xoshiro256PlusPlus::seed_from_u64(18), 0.0);
    let missed =
        missed_cracks(&histories.clone().with_length_error(2.0).expect("a spread"), 0.95).expect("an estimate");
    assert!(missed.by_length.is_none() && missed.answer.method == Method::LogLinear);
    assert!(missed.notes.iter().any(|note| note.contains("scatter no more than by their error")), "{:?}", missed.notes);
    assert!(
        missed_cracks(&histories.clone().with_length_error(0.3).expect("a spread"), 0.95)
            .expect("one")
            .by_length
            .is_some()
    );
    assert!(histories.clone().with_length_error(-0.1).is_err() && histories.with_length_error(f64::NAN).is_err());
}

#[test]
fn a_length_is_confirmed_or_the_mean_of_what_each_technique_measures_of_the_longest_crack() {
    let text = "row,blade,year,technique,called,measured_length_mm,side,cracked,confirmed_length_mm\n\
                R1,1,2031,a,yes,2.0,suction,,\nR1,1,2031,a,yes,1.0,pressure,,\nR1,1,2031,b,yes,8.0,,,\n\
                R1,2,2031,a,yes,2.0,,yes,3.0\nR1,2,2031,b,no,,,,\n";
    let records = Records::parse(text, "example", &Format::default()).expect("records");
    let histories = CaptureHistories::from_records(&records, &["a", "b"]).expect("histories");
    let known: Vec<(Option<f64>, u32)> =
        histories.histories().iter().map(|blade| (blade.length_mm, blade.measurements)).collect();
    // The longest of a is 2 mm, that of b 8 mm: 4 mm, the mean of the logarithms, of two measurements.
    assert!((known[0].0.expect("a length") - 4.0).abs() < 1e-12 && known[0].1 == 2, "{known:?}");
    assert_eq!(known[1], (Some(3.0), 0));
}

/// 60 cracks of 0.5 to 8 mm, log-uniform, looked at by techniques with these q50 in mm and slope 3.
fn small_campaign(random: &mut Xoshiro256PlusPlus, q50_mm: &[f64]) -> (Vec<CaptureHistory>, f64) {
    let (mut missed, mut blades) = (0.0, Vec::new());
    for _ in 0..60 {
        let length = 0.5 * (uniform(random) * 16_f64.ln()).exp();
        let chance = |q50: f64| 1.0 / (1.0 + (-3.0 * (length / q50).ln()).exp());
        let called: Vec<Option<bool>> = q50_mm.iter().map(|q50| Some(uniform(random) < chance(*q50))).collect();
        if called.contains(&Some(true)) {
            blades.push(CaptureHistory { called, count: 1, length_mm: Some(length), ..CaptureHistory::default() });
        } else {
            missed += 1.0;
        }
    }
    (blades, missed)
}

#[test]
fn an_estimate_drawn_far_out_of_the_finds_is_not_told() {
    const CAMPAIGNS: usize = 200;
    for (names, q50_mm) in [(&["a", "b", "c"][..], &[1.5, 2.0, 2.5][..]), (&["a", "b"], &[1.5, 2.5])] {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
        let (mut wild, mut wild_models, mut not_told, mut bound_holds) = (0, 0, 0, 0);
        for _ in 0..CAMPAIGNS {
            let (blades, truth) = small_campaign(&mut random, q50_mm);
            let missed =
                missed_cracks(&CaptureHistories::new(names, blades).expect("histories"), 0.95).expect("an answer");
            let far = |missed: f64| missed > 5.0 * truth;
            wild += usize::from(missed.answer.missed.is_some_and(far));
            wild_models +=
                usize::from(missed.by_length.and_then(|models| models.average).is_some_and(|a| far(a.missed)));
            if missed.answer.method == Method::CannotBeTold {
                not_told += 1;
                bound_holds += i32::from(missed.answer.low <= truth);
            }
        }
        // The models themselves, which are the twin, are that far off in about one set in ten.
        assert!(wild_models > CAMPAIGNS / 20 && wild <= CAMPAIGNS / 100, "{names:?}: {wild_models} {wild}");
        // What is left is a lower bound at 97.5 %; three binomial standard errors.
        let least = 0.975 - 3.0 * (0.975 * 0.025 / f64::from(not_told)).sqrt();
        assert!(f64::from(bound_holds) >= least * f64::from(not_told), "{names:?}: {bound_holds} of {not_told}");
    }
}

#[test]
fn no_more_is_missed_than_was_called_by_none() {
    // The same sets of cracks, with eight blades that none called beside them.
    let mut random = Xoshiro256PlusPlus::seed_from_u64(5);
    let (mut capped, mut contradicted) = (0, 0);
    for _ in 0..40 {
        let (mut blades, _) = small_campaign(&mut random, &[1.5, 2.0, 2.5]);
        blades.push(CaptureHistory { called: vec![Some(false); 3], count: 8, ..CaptureHistory::default() });
        let missed = missed_cracks(&CaptureHistories::new(&["a", "b", "c"], blades).expect("histories"), 0.95)
            .expect("an answer");
        let (answer, said) = (missed.answer, missed.sentences().join(" "));
        assert!(answer.high.is_some_and(|high| high <= 8.0) && answer.low <= 8.0, "{answer:?}");
        if answer.method == Method::CannotBeTold {
            contradicted += 1;
            assert!(said.contains("cannot be told") && said.contains("no more than the 8 that none called"), "{said}");
        } else {
            capped += 1;
            assert!(answer.missed.is_some_and(|missed| missed <= 8.0), "{answer:?}");
        }
    }
    assert!(capped > 0 && contradicted > 10, "{capped} {contradicted}");
    // Two techniques without a common find: there is an upper bound then.
    let counts = [(vec![true, false], 9), (vec![false, true], 7), (vec![false, false], 30)];
    let apart = missed_cracks(&CaptureHistories::from_counts(&["a", "b"], &counts).expect("histories"), 0.95)
        .expect("an answer");
    assert_eq!((apart.answer.low, apart.answer.high), (21.0, Some(30.0)));
}

#[test]
fn the_sentence_leads_with_what_the_methods_leave_together() {
    let missed = missed_cracks(&lists(include_str!("data/capture_hepatitis_a.csv"), &["p", "q", "e"]), 0.95)
        .expect("an estimate");
    assert_eq!(missed.answer.method, Method::LogLinear);
    let average = missed.log_linear.as_ref().and_then(|models| models.average).expect("an average");
    let bound = missed.coverage.as_ref().and_then(|coverage| coverage.bound).expect("a bound");
    let (least, most) = missed.range;
    assert!(least == average.low.floor().min(bound.low.floor()) && most == Some(average.high.ceil()), "{missed:?}");
    let said = missed.sentences();
    let wanted = format!("Between {least} and {} more cracked blades than the 271 found (", average.high.ceil());
    assert!(said[0].starts_with(&wanted), "{said:?}");
    // 474.40 - 271, the lower bound almost free of bias (Chao et al. 2001, computed).
    assert!(said[0].contains("If some are hard to find for all, at least about 203 were missed"), "{said:?}");
    assert!(said[1].contains("only the lower bound holds"), "{said:?}");
}

#[test]
fn confirmed_cracks_that_none_called_are_missed_for_certain() {
    let counts = [
        (vec![true, true, true], 13),
        (vec![true, true, false], 5),
        (vec![true, false, true], 8),
        (vec![true, false, false], 4),
        (vec![false, true, true], 3),
        (vec![false, true, false], 2),
        (vec![false, false, true], 3),
    ];
    let plain = CaptureHistories::from_counts(&["a", "b", "c"], &counts).expect("histories");
    let with = |confirmed: u64, unknown: u64| {
        let none = |cracked, count| CaptureHistory {
            called: vec![Some(false); 3],
            count,
            cracked,
            ..CaptureHistory::default()
        };
        let blades = plain.histories().iter().cloned().chain([none(Some(true), confirmed), none(None, unknown)]);
        missed_cracks(&CaptureHistories::new(&["a", "b", "c"], blades.collect()).expect("histories"), 0.95)
            .expect("an answer")
    };
    let free = with(0, 40);
    let estimate = free.answer.missed.expect("an estimate");
    assert!(estimate > 1.0 && estimate < 3.0 && free.range.0 == 0.0, "{:?}", free.answer);
    // One that is known raises the lower end; more than the estimate, and the estimate is wrong.
    let one = with(1, 40);
    assert_eq!((one.confirmed_missed, one.range, one.answer.missed), (1, (1.0, free.range.1), Some(estimate)));
    let six = with(6, 34);
    assert_eq!((six.answer.method, six.answer.missed, six.range), (Method::CannotBeTold, None, (6.0, Some(40.0))));
    assert!(
        six.sentences()[0].contains("cannot be told: at least 6, and no more than the 40"),
        "{:?}",
        six.sentences()
    );
    let all = with(6, 0);
    assert!(all.sentences()[0].starts_with("6 more cracked blades than the 38 found: all that none called"));
    assert!(all.notes.iter().any(|note| note.starts_with("Confirmed to be cracked, though none called: 6 blades")));
}
