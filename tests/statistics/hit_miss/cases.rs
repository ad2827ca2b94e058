//! Small cases with right values by independent programs: overlapping looks, separated ones, and what must be said.

use super::{high, looks};
use approx::assert_relative_eq;
use serrata::math::normal_cdf;
use serrata::statistics::hit_miss::{Fit, Limit, Link, Looks, Method, Model, SizeScale, fit};

const SIXTY: &str = include_str!("../data/hitmiss_sixty.csv");
const SEPARATED: &str = include_str!("../data/hitmiss_fourteen_separated.csv");

fn sixty(link: Link, scale: SizeScale) -> Fit {
    fit(&looks(SIXTY), &Model { link, scale, ..Model::default() }).expect("a fit")
}

/// Link, scale, then level, slope, their standard errors by the expected information, log-likelihood, a50, a90, and upper
/// 95 % bounds on a90: delta method, likelihood ratio, pointwise band, and for the whole curve at once.
type Case = (Link, SizeScale, [f64; 7], [f64; 4]);

const CASES: [Case; 4] = [
    (
        Link::Logit,
        SizeScale::Log,
        [-0.81182, 2.37021, 0.39898, 0.57231, -26.43725, 1.4085, 3.5592],
        [5.499, 6.314, 6.996, 8.228],
    ),
    (
        Link::Probit,
        SizeScale::Log,
        [-0.49360, 1.37962, 0.22583, 0.29833, -26.44597, 1.4302, 3.6208],
        [5.402, 6.093, 6.467, 7.760],
    ),
    (
        Link::Logit,
        SizeScale::Plain,
        [-2.11708, 1.24677, 0.62442, 0.35183, -28.44950, 1.6980, 3.4604],
        [4.461, 4.847, 5.244, 5.521],
    ),
    (
        Link::Probit,
        SizeScale::Plain,
        [-1.19667, 0.67362, 0.34116, 0.17707, -28.81779, 1.7765, 3.6790],
        [4.687, 4.984, 5.371, 5.626],
    ),
];

#[test] // values to 0.5 %, bounds to 1 %
fn four_models_of_sixty_looks_have_their_values() {
    for (link, scale, values, bounds) in CASES {
        let fit = sixty(link, scale);
        let coefficients = fit.coefficients();
        let expected = |index: usize| coefficients[index].expected_standard_error.expect("known");
        let ours = [
            coefficients[0].value,
            coefficients[1].value,
            expected(0),
            expected(1),
            fit.log_likelihood(),
            fit.size_at(0.5).expect("reached"),
            fit.size_at(0.9).expect("reached"),
        ];
        for (ours, right) in ours.into_iter().zip(values) {
            assert_relative_eq!(ours, right, max_relative = 5e-3);
        }
        // A whole curve has chi-square with two degrees of freedom at 0.9, 4.605170, in place of the squared normal 0.95
        // point; the right values hold it by the likelihood ratio.
        let whole = normal_cdf(4.605_170_186_f64.sqrt());
        let ratio = |confidence| high(fit.size_bounds(0.9, confidence, Method::LikelihoodRatio).expect("bounds"));
        let [delta, band] = by_expected_information(&fit, scale);
        for (ours, right) in [delta, ratio(0.95), band, ratio(whole)].into_iter().zip(bounds) {
            assert_relative_eq!(ours, right, max_relative = 0.01);
        }
        if link == Link::Logit {
            for (method, right) in [(Method::Wald, bounds[0]), (Method::PointwiseBand, bounds[2])] {
                let ours = high(fit.size_bounds(0.9, 0.95, method).expect("bounds"));
                assert_relative_eq!(ours, right, max_relative = 0.01);
            }
        }
    }
}

/// Upper 95 % bounds on the size found with 0.9 by the delta method and by the pointwise band, from the expected
/// information, which the right values are of; for a logit it is the observed one.
fn by_expected_information(fit: &Fit, scale: SizeScale) -> [f64; 2] {
    const Q: f64 = 1.644_853_626_951_472_7;
    let covariance = fit.expected_covariance().expect("regular");
    let [level, slope] = [0, 1].map(|index| fit.coefficients()[index].value);
    let variance = |x: f64| covariance[0][0] + 2.0 * x * covariance[0][1] + x * x * covariance[1][1];
    let size_mm = |x: f64| if scale == SizeScale::Log { x.exp() } else { x };
    let x = scale.of(fit.size_at(0.9).expect("reached"));
    let wanted = level + slope * x;
    let short = |x: f64| level + slope * x - Q * variance(x).sqrt() < wanted;
    let (mut low, mut high) = (x, x + 6.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if short(middle) { low = middle } else { high = middle }
    }
    [size_mm(x + Q * variance(x).sqrt() / slope), size_mm(high)]
}

#[test]
fn both_standard_errors_of_a_probit_are_given_and_the_one_in_use_is_named() {
    let fit = sixty(Link::Probit, SizeScale::Log);
    let level = &fit.coefficients()[0];
    // 0.2291 by the observed information, 0.2258 by the expected one.
    assert_relative_eq!(level.standard_error, 0.2291, max_relative = 5e-4);
    assert_relative_eq!(level.expected_standard_error.expect("known"), 0.22583, max_relative = 5e-5);
    let summary = fit.summary().expect("a summary");
    assert!(summary.contains("by expected information") && summary.contains("0.2258"), "{summary}");
    assert!(summary.contains("standard errors, covariances and Wald bounds are from the observed information"));
    // For a logit the two are one.
    let logit = &sixty(Link::Logit, SizeScale::Log).coefficients()[1];
    assert_relative_eq!(logit.standard_error, logit.expected_standard_error.expect("known"), max_relative = 1e-6);
}

#[test]
fn a_result_names_link_scale_method_and_side_and_marks_what_lies_beyond_the_largest_crack() {
    let fit = sixty(Link::Logit, SizeScale::Log);
    let (summary, basis) = (fit.summary().expect("a summary"), fit.basis().expect("a basis"));
    for part in ["logit on log size", "by modified likelihood ratio, one-sided, beyond the largest crack looked at"] {
        assert!(summary.contains(part), "{part}: {summary}");
    }
    let note = "q90/95 lies beyond the largest crack looked at, 6.34 mm";
    assert!(fit.notes().expect("notes").iter().any(|said| said.starts_with(note)), "{summary}");
    assert!(basis.ends_with("by modified likelihood ratio, beyond the largest crack looked at"), "{basis}");
    // Looks over a wide range of sizes: nothing lies beyond.
    let many: Vec<(f64, bool)> =
        (1..=60).map(|look| (0.2 * f64::from(look), look > 6 && (look % 4 != 0 || look > 20))).collect();
    let within = serrata::statistics::hit_miss::fit(&Looks::from_pairs(&many).expect("good"), &Model::default());
    assert!(!within.expect("a fit").basis().expect("a basis").contains("beyond"));
}

#[test]
fn neither_the_order_of_the_looks_nor_a_second_fit_changes_a_number() {
    let mut pairs = super::pairs(SIXTY);
    let of = |pairs: &[(f64, bool)]| {
        let fit = fit(&Looks::from_pairs(pairs).expect("good"), &Model::default()).expect("a fit");
        let bound = high(fit.size_bounds(0.9, 0.95, fit.usual_method()).expect("bounds"));
        [fit.coefficients()[0].value, fit.coefficients()[1].standard_error, fit.size_at(0.9).expect("reached"), bound]
    };
    let first = of(&pairs);
    assert_eq!(first, of(&pairs));
    pairs.reverse();
    for (ours, other) in first.into_iter().zip(of(&pairs)) {
        assert_relative_eq!(ours, other, max_relative = 1e-6);
    }
}

#[test] // the modified score is zero to 1e-8 at these values; tolerance 1 %
fn separated_looks_are_refused_and_a_penalised_fit_has_its_values() {
    let refused = fit(&looks(SEPARATED), &Model::default()).expect_err("separated").to_string();
    for part in ["hits and misses do not overlap", "the largest miss is 1.7 mm, the smallest hit 2.1 mm", "penalised"] {
        assert!(refused.contains(part), "{part}: {refused}");
    }
    let fit = fit(&looks(SEPARATED), &Model { penalised: true, ..Model::default() }).expect("a penalised fit");
    let coefficients = fit.coefficients();
    let slopes = fit.slope_bounds(0.975, Method::LikelihoodRatio).expect("bounds");
    let bound = high(fit.size_bounds(0.9, 0.95, fit.usual_method()).expect("bounds"));
    for (ours, right) in [
        (coefficients[0].value, -4.2358),
        (coefficients[1].value, 6.7888),
        (fit.log_likelihood(), -2.81916),
        (fit.size_at(0.5).expect("reached"), 1.8663),
        (fit.size_at(0.9).expect("reached"), 2.5795),
        (slopes.low.expect("a bound"), 1.747),
        (slopes.high.expect("a bound"), 29.59),
        (bound, 5.333),
    ] {
        assert_relative_eq!(ours, right, max_relative = 0.01);
    }
    let summary = fit.summary().expect("a summary");
    assert!(summary.contains("penalised") && summary.contains("beyond the largest crack looked at"), "{summary}");
    assert!(!summary.contains("NaN"), "{summary}");
}

#[test]
fn a_curve_that_large_cracks_contradict_suggests_a_ceiling() {
    // Every tenth crack is missed whatever its size.
    let pairs: Vec<(f64, bool)> =
        (0..200).map(|look| (0.3 * (f64::from(look) / 50.0).exp(), look > 60 && look % 7 != 0)).collect();
    let looks = Looks::from_pairs(&pairs).expect("good");
    let said = |model: &Model| fit(&looks, model).expect("a fit").notes().expect("notes").join("\n");
    let plain = said(&Model::default());
    assert!(plain.contains("large cracks are missed more often than it says; fit a ceiling"), "{plain}");
    let with_ceiling = said(&Model { ceiling: Limit::Free, ..Model::default() });
    assert!(!with_ceiling.contains("fit a ceiling"), "{with_ceiling}");
}
