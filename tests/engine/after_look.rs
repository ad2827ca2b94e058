//! What a look leaves in a row, against values computed apart from this program and against Bayes' rule by quadrature.

use serrata::Study;
use serrata::simulation::{Estimate, LeftInRow, RowAfterLook, RunOnQuestion};

/// Largest accepted distance, in standard errors.
const ALLOWED: f64 = 4.0;

#[track_caller]
fn assert_agrees(what: &str, ours: &Estimate, exact: f64) {
    let distance = (ours.value - exact).abs() / ours.standard_error;
    assert!(distance <= ALLOWED, "{what}: {ours:?} for {exact}, {distance:.1} standard errors");
}

/// Many places in each of which a crack is improbable: their number is Poisson, to some hundredths of a per cent. Cracks have
/// the length of their beginning.
fn poisson_study(expected: f64) -> Study {
    let places = 1_000.0 * 20.0;
    let text = include_str!("data/given/a.toml")
        .replace("row_factor = { kind = \"gamma\", mean = 1, cov = 0.8 }", "row_factor = 1")
        .replace(
            "kind = \"weibull\"\nshape = 2\nscale = 4000",
            &format!("kind = \"exponential\"\nmean = {}", 2_000.0 * places / expected),
        )
        .replace("coefficient_m_per_start = 1.95e-10", "coefficient_m_per_start = 1e-30")
        .replace("crack_sigma_log = 0.35", "crack_sigma_log = 0")
        .replace("row_sigma_log = 0.25", "row_sigma_log = 0")
        .replace("length_over_depth = 5", "length_over_depth = 1")
        .replace("sides = [\"suction\"]", "sides = [\"suction\"]\norigins = 20")
        .replace("median = 0.3, sigma_log = 0.3", "median = 2, sigma_log = 0.5")
        .replace("depth_mm = 4", "depth_mm = 400")
        .replace("blades = 20", "blades = 1000")
        .replace(
            "q50_mm = 3.0, spread = 0.3, floor = 0, ceiling = 0.97",
            "q50_mm = 2.5, spread = 0.3, floor = 0, ceiling = 1",
        )
        .replace("inspection_sigma = 0.25", "inspection_sigma = 0")
        .replace("crack_sigma = 0.4", "crack_sigma = 0")
        .replace("false_call_probability = 0.002", "false_call_probability = 0");
    Study::parse(&text, "a Poisson number of cracks").expect("a good study")
}

/// Lines of the table: quantity, length in mm and value.
fn expected() -> Vec<(String, f64, f64)> {
    let text = include_str!("../statistics/data/decisions_expected.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).flexible(true).from_reader(text.as_bytes());
    let lines = reader.records().map(|line| line.expect("a line"));
    let own = lines.filter(|line| &line[0] == "size_after_clean_look");
    own.map(|line| {
        let mm = line[2].trim_start_matches("x=").trim_end_matches(" mm").parse().expect("a length");
        (line[1].to_owned(), mm, line[3].parse().expect("a number"))
    })
    .collect()
}

/// Chances at one length, from those at lengths around it: straight over the logarithms of both.
fn at_length(mm: f64, lengths_mm: &[f64], of: impl Fn(usize) -> Estimate) -> Estimate {
    let next = lengths_mm.partition_point(|other| *other < mm);
    let share = (mm / lengths_mm[next - 1]).ln() / (lengths_mm[next] / lengths_mm[next - 1]).ln();
    let (before, after) = (of(next - 1), of(next));
    let value = (before.value.ln() * (1.0 - share) + after.value.ln() * share).exp();
    Estimate { value, standard_error: before.standard_error, ..before }
}

/// Thinning a Poisson number of lognormal sizes (median 2 mm, 0.5 in the logarithm) by a logistic curve (q50 2.5 mm, spread
/// 0.3): found back from the four values, of which they explain all figures. The tolerances of the table are those of
/// quadrature; lives answer to some hundredths. Thinned, what was missed is independent of what was found: after finds it is
/// the same.
#[test]
fn sizes_after_a_clean_look_are_those_of_a_thinned_poisson_number() {
    let study = poisson_study(1.5);
    let lines = expected();
    assert_eq!(lines.len(), 4);
    for found in [0, 2] {
        let question = RowAfterLook { lives: 30_000, ..RowAfterLook::new("row") };
        let left = study.left_in_row(&question.looked_at("insitu", found)).expect("an answer").left;
        let lengths_mm: Vec<f64> = left.longer.iter().map(|longer| longer.length_mm).collect();
        for (quantity, mm, value) in &lines {
            let ours = if quantity.starts_with("P(length > x | missed)") {
                let longer = at_length(*mm, &lengths_mm, |at| left.longer[at].cracks);
                // Of a mean that is known far better.
                let [value, standard_error] =
                    [longer.value, longer.standard_error].map(|number| number / left.cracks.value);
                Estimate { value, standard_error, ..longer }
            } else {
                at_length(*mm, &lengths_mm, |at| left.longer[at].p_any)
            };
            assert_agrees(&format!("{quantity}, {mm} mm, {found} found"), &ours, *value);
        }
    }
}

/// One origin in each of twenty blades, and nothing that scatters but when it cracks.
fn one_hot_spot() -> Study {
    let text = include_str!("data/given/a.toml")
        .replace("row_factor = { kind = \"gamma\", mean = 1, cov = 0.8 }", "row_factor = 1")
        .replace("crack_sigma_log = 0.35", "crack_sigma_log = 0")
        .replace("row_sigma_log = 0.25", "row_sigma_log = 0")
        .replace("initial_depth_mm = { kind = \"lognormal\", median = 0.3, sigma_log = 0.3 }", "initial_depth_mm = 0.3")
        .replace("inspection_sigma = 0.25", "inspection_sigma = 0")
        .replace("crack_sigma = 0.4", "crack_sigma = 0")
        .replace("false_call_probability = 0.002", "false_call_probability = 0.01");
    Study::parse(&text, "one hot spot").expect("a good study")
}

/// Bayes' rule for one blade of that study, by quadrature over the start at which its origin cracks.
struct OneBlade {
    /// Chances of a blade that is there at the start of the study: sound, and cracked and missed.
    sound: f64,
    missed: f64,
    /// Of the latter, longer than some lengths.
    longer: Vec<f64>,
    /// The same, and lost up to some years later.
    lost: Vec<f64>,
}

const FALSE_CALL: f64 = 0.01;
const STARTS: f64 = 2_000.0;
const STARTS_A_YEAR: f64 = 100.0;

impl OneBlade {
    fn new(lengths_mm: &[f64], years: &[f64]) -> Self {
        // da/dN = C (F s sqrt(pi a))^3, so that 1/sqrt(a) falls evenly; sizes in mm, C in m.
        let rate = 1e3 * 1.95e-10 * (0.73_f64 * 500.0 * (std::f64::consts::PI * 1e-3).sqrt()).powi(3);
        let depth = |starts: f64| {
            let root = 1.0 / 0.3_f64.sqrt() - 0.5 * rate * starts;
            if root > 0.0 { 1.0 / (root * root) } else { f64::INFINITY }
        };
        let density = |starts: f64| 2.0 * starts / 4000.0_f64.powi(2) * (-(starts / 4000.0).powi(2)).exp();
        let miss = |mm: f64| 1.0 - 0.97 / (1.0 + (-(mm / 3.0).ln() / 0.3).exp());
        let mut one = OneBlade {
            sound: (-(STARTS / 4000.0).powi(2)).exp(),
            missed: 0.0,
            longer: vec![0.0; lengths_mm.len()],
            lost: vec![0.0; years.len()],
        };
        const STEPS: usize = 400_000;
        let step = STARTS / STEPS as f64;
        let mut there = one.sound;
        for number in 0..STEPS {
            let begun = (number as f64 + 0.5) * step;
            let depth_mm = depth(STARTS - begun);
            if depth_mm >= 4.0 {
                continue;
            }
            let (mm, weight) = (5.0 * depth_mm, density(begun) * step);
            there += weight;
            one.missed += weight * miss(mm);
            for (sum, _) in one.longer.iter_mut().zip(lengths_mm).filter(|(_, length)| mm > **length) {
                *sum += weight * miss(mm);
            }
            let is_lost = |years: f64| depth(STARTS - begun + STARTS_A_YEAR * years) >= 4.0;
            for (sum, _) in one.lost.iter_mut().zip(years).filter(|(_, years)| is_lost(**years)) {
                *sum += weight * miss(mm);
            }
        }
        // The row came to the start without a loss.
        one.sound /= there;
        one.missed /= there;
        one.longer.iter_mut().chain(&mut one.lost).for_each(|chance| *chance /= there);
        one
    }

    /// Chance that a blade is not called.
    fn clean(&self) -> f64 {
        self.sound * (1.0 - FALSE_CALL) + self.missed
    }
}

fn binomial(n: u32, k: u32, p: f64) -> f64 {
    let choose: f64 = (0..k).map(|at| f64::from(n - at) / f64::from(at + 1)).product();
    choose * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32)
}

#[test]
fn one_hot_spot_is_as_bayes_rule_by_quadrature_has_it() {
    let study = one_hot_spot();
    for found in [0, 3] {
        let question = RowAfterLook { lives: 30_000, seed: 9, ..RowAfterLook::new("row") }.looked_at("insitu", found);
        let answer: LeftInRow = study.left_in_row(&question).expect("an answer");
        let lengths_mm: Vec<f64> = answer.left.longer.iter().map(|longer| longer.length_mm).collect();
        let one = OneBlade::new(&lengths_mm, &[2.0]);
        let (clean, stay) = (one.clean(), 20 - found);
        let left = &answer.left;
        assert_agrees("outcome", &left.p_outcome, binomial(20, found, 1.0 - clean));
        assert_agrees("cracks", &left.cracks, f64::from(stay) * one.missed / clean);
        for number in 0..5 {
            let exact = binomial(stay, number, one.missed / clean);
            assert_agrees(&format!("{number} cracks"), &left.p_number[number as usize], exact);
        }
        for (at, longer) in left.longer.iter().enumerate().filter(|(_, longer)| longer.p_any.value > 0.002) {
            if longer.length_mm < 1.5 {
                continue;
            }
            let none = (1.0 - one.longer[at] / clean).powi(stay as i32);
            assert_agrees(&format!("longer than {}", longer.length_mm), &longer.p_any, 1.0 - none);
            let exact = f64::from(stay) * one.longer[at] / clean;
            assert_agrees(&format!("cracks longer than {}", longer.length_mm), &longer.cracks, exact);
        }
        let lost = 1.0 - (1.0 - one.lost[0] / clean).powi(stay as i32);
        let before_next = answer.left.p_lost_before_next.expect("an outage");
        assert_agrees("lost before the next outage", &before_next, lost);
    }
}

/// The same by lives with planted cracks, month by month. Cracks that begin after the look are lost later than this looks ahead.
#[test]
fn losses_after_a_look_are_as_bayes_rule_by_quadrature_has_them() {
    let study = one_hot_spot();
    let years: Vec<f64> = (1..=48).map(|month| f64::from(month) / 12.0).collect();
    let one = OneBlade::new(&[], &years);
    for found in [0, 3] {
        let after = RowAfterLook { lives: 20_000, seed: 3, ..RowAfterLook::new("row") }.looked_at("insitu", found);
        for planted_lives in [0, 20_000] {
            let question = RunOnQuestion { planted_lives, ..RunOnQuestion::new(after.clone()) };
            let answer = study.can_it_run(&question).expect("an answer");
            assert_eq!(answer.are_planted, planted_lives > 0);
            let until = |month: usize| 1.0 - (1.0 - one.lost[month - 1] / one.clean()).powi((20 - found) as i32);
            for month in [6, 12, 24, 36, 48] {
                assert_agrees(&format!("{month} months, {found} found"), &answer.by_month[month - 1].1, until(month));
                let in_year = until(month) - if month > 12 { until(month - 12) } else { 0.0 };
                assert_agrees(&format!("12 before {month}"), &answer.in_year_before[month - 1].1, in_year);
            }
            let deferral = answer.deferrals[2];
            assert_eq!((deferral.months, deferral.year), (12, 2027.0));
            assert_agrees("12 months more", &deferral.added, until(36) - until(24));
        }
    }
}
