//! Signal response, against reference values, closed forms and refusals.

use crate::expected::{assert_expected, expected_value, number, rows};
use approx::assert_relative_eq;
use serrata::Study;
use serrata::math::normal_quantile;
use serrata::model::detection::SizeMeasure;
use serrata::random::Key;
use serrata::statistics::censored::{CensoredRegression, Reading};
use serrata::statistics::signal::{Decision, Method, Model, Responses, Scale, SignalFit, SizeScale, fit};

const AHAT: &str = include_str!("data/ahat_generated.csv");
const TOBIN: &str = include_str!("data/tobit_tobin.csv");
/// Noise floor, saturation and threshold of the generated signals, as their file states them.
const LIMITS: [f64; 3] = [0.45, 5.0, 0.8];

fn signals() -> Vec<(f64, f64)> {
    rows(AHAT).iter().map(|cells| (number(cells[0]), number(cells[1]))).collect()
}

fn responses(signals: &[(f64, f64)]) -> Responses {
    Responses::new(SizeMeasure::Length, signals, Some(LIMITS[0]), Some(LIMITS[1])).expect("good signals")
}

fn fitted() -> SignalFit {
    fit(&responses(&signals()), &Model::default()).expect("a fit")
}

/// Noise at 200 sound places: ln(signal) normal with mean ln 0.5 and spread 0.3.
fn with_noise() -> SignalFit {
    let key = Key::from_seed(4).named("noise");
    let noise = (0..200).map(|look| (0.0, 0.5 * (0.3 * key.normal(look)).exp()));
    fit(&responses(&signals().into_iter().chain(noise).collect::<Vec<_>>()), &Model::default()).expect("a fit")
}

fn high(decision: &Decision, method: Method) -> f64 {
    decision.size_bounds(0.9, 0.95, method).expect("bounds").high.expect("a bound")
}

#[test] // Tobin, Econometrica 26 (1958), published fit seen as the reference page says
fn a_published_censored_regression_is_found_again() {
    let (mut regressors, mut readings) = (Vec::new(), Vec::new());
    for cells in rows(TOBIN) {
        regressors.push(vec![1.0, number(cells[1]), number(cells[2])]);
        let bought = number(cells[0]);
        readings.push(if bought > 0.0 { Reading::Exact(bought) } else { Reading::Below(0.0) });
    }
    let fit = CensoredRegression::fit(&regressors, &readings).expect("a fit");
    let covariance = fit.covariance();
    for (index, name) in ["intercept", "age", "liquidity"].iter().enumerate() {
        assert_expected("tobit_tobin", name, fit.coefficients()[index]);
        assert_expected("tobit_tobin", &format!("se_{name}"), covariance[index][index].sqrt());
    }
    assert_expected("tobit_tobin", "scale", fit.scale());
    assert_expected("tobit_tobin", "se_log_scale", covariance[3][3].sqrt() / fit.scale());
    assert_expected("tobit_tobin", "loglik", fit.log_likelihood());
}

#[test]
fn the_line_has_the_reference_values() {
    let (fit, check) = (fitted(), |quantity: &str, ours: f64| assert_expected("ahat_generated", quantity, ours));
    let [below, within, above] = fit.responses().counts();
    check("n", (below + within + above) as f64);
    check("n_below", below as f64);
    check("n_saturated", above as f64);
    let (coefficients, covariance) = (fit.line().coefficients(), fit.line().covariance());
    check("b0", coefficients[0]);
    check("b1", coefficients[1]);
    check("tau", fit.line().scale());
    check("loglik", fit.line().log_likelihood());
    check("se_b0", covariance[0][0].sqrt());
    check("se_b1", covariance[1][1].sqrt());
    check("se_tau", covariance[2][2].sqrt());
    check("cov_b0b1", covariance[0][1]);
    check("cov_b0tau", covariance[0][2]);
    check("cov_b1tau", covariance[1][2]);
}

#[test]
fn a_line_that_ignores_the_limits_is_another_one() {
    let slope = |signals: &[(f64, f64)]| {
        let all = Responses::new(SizeMeasure::Length, signals, None, None).expect("good");
        fit(&all, &Model::default()).expect("a fit").line().coefficients()[1]
    };
    assert_expected("ahat_generated", "naive_ols_b1", slope(&signals()));
    let within: Vec<(f64, f64)> = signals().into_iter().filter(|(_, signal)| *signal > 0.45 && *signal < 5.0).collect();
    assert_expected("ahat_generated", "dropped_ols_b1", slope(&within));
    let reference = expected_value("ahat_generated", "b1");
    assert!((slope(&signals()) - reference.value).abs() > 100.0 * reference.tolerance);
}

#[test]
fn a_threshold_gives_the_reference_sizes_and_bounds() {
    let (fit, check) = (fitted(), |quantity: &str, ours: f64| assert_expected("ahat_generated", quantity, ours));
    let decision = fit.at_threshold(LIMITS[2]).expect("a threshold");
    check("a50_mm", decision.size_at(0.5));
    check("a90_mm", decision.size_at(0.9));
    let curve = decision.pod_curve().expect("a curve");
    check("pod_mu_ln_mm", curve.q50_mm.ln());
    check("pod_sigma", curve.spread);
    check("a90_95_wald_mm", high(&decision, Method::Wald));
    check("a90_95_pointwise_band_mm", high(&decision, Method::PointwiseBand));
    check("a90_95_simultaneous_band_mm", high(&decision, Method::SimultaneousBand));
    check("a90_95_lr_mm", high(&decision, Method::LikelihoodRatio));
    // The Wald bound one standard error out: 84.134 % is the normal distribution function at 1.
    let error = |pod: f64| {
        let bounds = decision.size_bounds(pod, 0.841_344_746_068_543, Method::Wald).expect("bounds");
        (bounds.high.expect("a bound") / decision.size_at(pod)).ln()
    };
    check("se_ln_a90", error(0.9));
    check("pod_var_mu", error(0.5).powi(2));
    // ln q is mu + z sigma: three variances give the other two terms.
    let z = 1.281_551_565_544_6;
    let (up, middle, down) = (error(0.9).powi(2), error(0.5).powi(2), error(0.1).powi(2));
    check("pod_cov_mu_sigma", (up - down) / (4.0 * z));
    check("pod_var_sigma", (0.5 * (up + down) - middle) / (z * z));
}

#[test]
fn a_point_on_the_band_is_a_bound_of_the_size() {
    let fit = fitted();
    let decision = fit.at_threshold(LIMITS[2]).expect("a threshold");
    for method in [Method::LikelihoodRatio, Method::PointwiseBand, Method::SimultaneousBand] {
        let (low, up) = decision.pod_bounds(high(&decision, method), 0.95, method).expect("bounds");
        assert!((low - 0.9).abs() < 1e-6 && up <= 1.0, "{method:?}: {low}");
    }
    for size_mm in [1e-4, 0.3, 0.8, 3.0, 1e3] {
        let pod = decision.pod_at(size_mm).expect("a size");
        let (low, up) = decision.pod_bounds(size_mm, 0.95, Method::LikelihoodRatio).expect("bounds");
        assert!(0.0 <= low && low <= pod && pod <= up && up <= 1.0, "{size_mm}: {low} {pod} {up}");
    }
    assert!(decision.pod_at(f64::NAN).is_err());
}

#[test]
fn estimates_do_not_depend_on_the_unit_of_size_or_signal() {
    // A10
    let reference = fitted();
    let scaled: Vec<(f64, f64)> = signals().iter().map(|(size, signal)| (25.4 * size, 1000.0 * signal)).collect();
    let scaled = Responses::new(SizeMeasure::Length, &scaled, Some(450.0), Some(5000.0)).expect("good");
    let scaled = fit(&scaled, &Model::default()).expect("a fit");
    let [one, other] = [reference.at_threshold(0.8), scaled.at_threshold(800.0)]
        .map(|decision| high(&decision.expect("a threshold"), Method::LikelihoodRatio));
    assert!((other / 25.4 / one - 1.0).abs() < 1e-6, "{one} {other}");
}

#[test]
fn the_noise_gives_false_calls_and_the_threshold_trades_them_for_detection() {
    let fit = with_noise();
    let trade = fit.trade(&[0.5, 0.8, 1.2], 0.9, 0.95, Method::LikelihoodRatio).expect("thresholds");
    // On paper: a chance of 1 - Phi(ln(threshold / 0.5) / 0.3). At 0.5 it is one half; of 200 the standard error is 0.035.
    let at_half = trade[0].false_calls.expect("noise");
    assert!((at_half - 0.5).abs() < 4.0 * 0.035, "{at_half}");
    let at_eight = trade[1].false_calls.expect("noise");
    assert!((at_eight - 0.0586).abs() < 4.0 * 0.017, "{at_eight}"); // sqrt(0.0586 * 0.9414 / 200) bounds its error
    for pair in trade.windows(2) {
        assert!(pair[0].size_mm < pair[1].size_mm && pair[0].false_calls > pair[1].false_calls);
    }
    for one in &trade {
        let (low, up) = one.false_call_bounds.expect("noise");
        assert!(one.false_calls.is_some_and(|value| 0.0 <= low && low < value && value < up && up <= 1.0));
    }
    let silent = fitted();
    let decision = silent.at_threshold(0.8).expect("a threshold");
    assert_eq!((decision.false_calls(), decision.false_call_bounds(0.95).expect("none")), (None, None));
    assert!(silent.summary(0.8).expect("a summary").contains("false calls: not known"));
}

#[test]
fn a_line_goes_into_a_study_at_its_threshold() {
    let (fit, study) = (with_noise(), Study::load("demo-data/demo-study.toml").expect("a study"));
    let decision = fit.at_threshold(0.8).expect("a threshold");
    let evidence = decision.evidence().expect("evidence");
    let id = study.techniques[0].id.clone();
    let changed = study.with_technique(&id, None, &evidence).expect("a study");
    assert_eq!(changed.techniques[0].pod, decision.pod_curve().expect("a curve"));
    assert_eq!(Some(changed.techniques[0].false_call_probability), decision.false_calls());
    assert!(changed.techniques[0].basis.as_ref().is_some_and(|basis| basis.contains("call above 0.8, q90 1.111 mm")));
}

#[test]
fn signals_that_carry_no_line_are_refused_with_what_to_do() {
    let refused = |signals: &[(f64, f64)]| fit(&responses(signals), &Model::default()).expect_err("refused");
    let few: Vec<(f64, f64)> = signals().into_iter().take(15).collect();
    let error = refused(&few);
    assert_eq!(error.reason(), Some("too-few"));
    assert!(error.to_string().contains("take more looks at cracks whose signals lie within"), "{error}");
    let one_size: Vec<(f64, f64)> = signals().iter().map(|(_, signal)| (2.0, *signal)).collect();
    assert_eq!(refused(&one_size).reason(), Some("one-size"));
    let reversed: Vec<(f64, f64)> = signals().iter().map(|(size, signal)| (1.0 / size, *signal)).collect();
    assert_eq!(refused(&reversed).reason(), Some("reversed"));
    let flat: Vec<(f64, f64)> = (1..=30).map(|size| (f64::from(size), if size % 2 == 0 { 2.0 } else { 1.0 })).collect();
    assert_eq!(refused(&flat).reason(), Some("flat"));
    let exact: Vec<(f64, f64)> = (1..=30).map(|size| (f64::from(size), 0.1 * f64::from(size))).collect();
    let all = Responses::new(SizeMeasure::Length, &exact, None, None).expect("good");
    assert_eq!(fit(&all, &Model::default()).expect_err("no scatter").reason(), Some("not-converged"));
}

#[test]
fn arguments_out_of_range_are_refused() {
    let new = |signal, floor, saturation| Responses::new(SizeMeasure::Length, &[(1.0, signal)], floor, saturation);
    assert!(new(f64::NAN, None, None).is_err());
    assert!(new(1.0, Some(2.0), Some(1.0)).is_err());
    assert!(new(1.0, Some(f64::NAN), None).is_err());
    assert!(Responses::new(SizeMeasure::Length, &[(-1.0, 1.0)], None, None).is_err());
    let fit = fitted();
    for threshold in [0.4, 5.1, f64::NAN, f64::INFINITY] {
        let error = fit.at_threshold(threshold).expect_err("refused").to_string();
        assert!(
            error.contains("must be at least 0.45 and at most 5: beyond that, signals are not told apart"),
            "{error}"
        );
    }
    let decision = fit.at_threshold(0.8).expect("a threshold");
    assert!(
        decision.size_bounds(1.0, 0.95, Method::Wald).is_err() && decision.size_bounds(0.9, 0.4, Method::Wald).is_err()
    );
    let negative: Vec<(f64, f64)> = signals().iter().map(|(size, signal)| (*size, signal - 1.0)).collect();
    let negative = Responses::new(SizeMeasure::Length, &negative, None, None).expect("good");
    assert!(serrata::statistics::signal::fit(&negative, &Model::default()).is_err());
    let plain = Model { signal: Scale::Plain, size: SizeScale::Plain, ..Model::default() };
    let plain = serrata::statistics::signal::fit(&negative, &plain).expect("a plain signal may be negative");
    assert!(plain.at_threshold(0.0).expect("a threshold").pod_curve().is_err());
}

/// Signals on the line of the generated ones at log-normal sizes that are measured with an error: true and measured size,
/// and the signal.
fn measured(key: Key, count: u64, error: f64) -> Vec<[f64; 3]> {
    let look = |look| {
        let child = key.child(look);
        let log = 0.8 * child.normal(0);
        let signal = 0.1 + 1.1 * log + 0.35 * child.normal(1);
        [log.exp(), (log + error * child.normal(2)).exp(), signal.exp()]
    };
    (0..count).map(look).collect()
}

#[test]
fn errors_in_size_flatten_the_line_and_are_made_good() {
    // J5. Two thousand sizes: q90 of the line itself is exp((ln 0.8 - 0.1 + 1.2816 * 0.35) / 1.1).
    const ERROR: f64 = 0.3;
    let looks = measured(Key::from_seed(6).named("sizes"), 2000, ERROR);
    let signals: Vec<(f64, f64)> = looks.iter().map(|[_, measured, signal]| (*measured, *signal)).collect();
    let fit = fit(&responses(&signals), &Model { size_error_log: ERROR, ..Model::default() }).expect("a fit");
    let decision = fit.at_threshold(LIMITS[2]).expect("a threshold");
    let true_q90 = ((LIMITS[2].ln() - 0.1 + 1.281_551_565_5 * 0.35) / 1.1_f64).exp();
    let q90 = decision.size_at(0.9);
    // Its standard error, from the Wald bound at 97.5 %; four, as a right fit is outside for one seed in 16,000.
    let upper = decision.size_bounds(0.9, 0.975, Method::Wald).expect("bounds").high.expect("a bound");
    let error = (upper / q90).ln() / 1.959_964;
    assert!((q90 / true_q90).ln().abs() < 4.0 * error, "{q90} {true_q90} {error}");
    for (index, truth) in [0.1, 1.1, 0.35].into_iter().enumerate() {
        let ours = if index == 2 { fit.line().scale() } else { fit.line().coefficients()[index] };
        let se = fit.line().covariance()[index][index].sqrt();
        assert!((ours - truth).abs() < 4.0 * se, "{index}: {ours} {truth} {se}");
    }
    // The twin: what ignores the error is a flatter line with more scatter, and a longer q90.
    let naive = fit.ignoring_size_error().expect("shown beside it");
    let naive_q90 = naive.at_threshold(LIMITS[2]).expect("a threshold").size_at(0.9);
    assert!((naive_q90 / true_q90).ln() > 6.0 * error, "ignoring the error must show: {naive_q90} {true_q90} {error}");
    let summary = fit.summary(LIMITS[2]).expect("a summary");
    assert!(summary.contains(&format!("with errors in size ignored, q90 would be {naive_q90:.3} mm")), "{summary}");
    assert!(summary.contains("sizes as measured, with an error of 0.3 in the logarithm"), "{summary}");
}

#[test]
fn size_errors_that_leave_nothing_are_refused() {
    let with = |size_error_log: f64, size: SizeScale| {
        fit(&responses(&signals()), &Model { size_error_log, size, ..Model::default() }).expect_err("a refusal")
    };
    assert_eq!(with(2.0, SizeScale::Log).reason(), Some("size-error"));
    // Below the spread of the sizes, and yet it alone would scatter the signals by more than they do.
    assert_eq!(with(0.4, SizeScale::Log).reason(), Some("size-error"));
    assert!(
        with(0.1, SizeScale::Plain).to_string().starts_with("size_error_log = 0.1\n    is an error of the logarithm")
    );
    assert!(with(f64::NAN, SizeScale::Log).to_string().starts_with("size_error_log = NaN"));
}

#[test]
fn a_size_error_of_next_to_nothing_changes_next_to_nothing() {
    let small = fit(&responses(&signals()), &Model { size_error_log: 1e-5, ..Model::default() }).expect("a fit");
    let bound = |fit: &SignalFit| high(&fit.at_threshold(LIMITS[2]).expect("a threshold"), Method::LikelihoodRatio);
    assert!((bound(&small) / bound(&fitted()) - 1.0).abs() < 1e-6);
}

/// Signals of a campaign, and what is told of them.
#[derive(Debug, Clone, Copy)]
struct Campaign {
    looks: u64,
    /// Whether signals are cut off, as [`LIMITS`] say.
    cut_off: bool,
    /// Error of the sizes, and the one that the fit is told.
    size_error_log: f64,
    told: f64,
}

const fn campaign(looks: u64, cut_off: bool, size_error_log: f64, told: f64) -> Campaign {
    Campaign { looks, cut_off, size_error_log, told }
}

/// Share of campaigns whose bound on q90 holds, each at 95 %: the usual method, likelihood ratio, Wald and pointwise band.
/// Campaigns that are refused are left out; there must be few of them.
fn held<const N: usize>(of: Campaign, campaigns: u64, methods: [Option<Method>; N]) -> [f64; N] {
    let true_q90 = ((LIMITS[2].ln() - 0.1 + 1.281_551_565_5 * 0.35) / 1.1_f64).exp();
    let (mut held, mut made) = ([0.0; N], 0.0);
    for campaign in 0..campaigns {
        // Each line has draws of its own, so that one unlucky set of them does not colour all.
        let key = Key::from_seed(8).named(&format!("coverage {of:?}")).child(campaign);
        let looks = measured(key, of.looks, of.size_error_log);
        let signals: Vec<(f64, f64)> = looks.iter().map(|[_, measured, signal]| (*measured, *signal)).collect();
        let model = Model { size_error_log: of.told, ..Model::default() };
        let limits = if of.cut_off { (Some(LIMITS[0]), Some(LIMITS[1])) } else { (None, None) };
        let responses = Responses::new(SizeMeasure::Length, &signals, limits.0, limits.1).expect("good signals");
        let Ok(fit) = fit(&responses, &model) else { continue };
        let decision = fit.at_threshold(LIMITS[2]).expect("a threshold");
        made += 1.0;
        for (held, method) in held.iter_mut().zip(methods) {
            let method = method.unwrap_or_else(|| fit.usual_method());
            let bound = decision.size_bounds(0.9, 0.95, method).expect("bounds").high;
            *held += f64::from(u8::from(bound.is_none_or(|bound| true_q90 <= bound)));
        }
    }
    assert!(made >= 0.98 * campaigns as f64, "{of:?}: {made} of {campaigns}");
    held.map(|held| held / made)
}

/// Campaigns and shares: the table in the documentation of `statistics::signal`.
const TABLE: [(Campaign, [f64; 4]); 13] = [
    (campaign(20, false, 0.0, 0.0), [0.9525, 0.9068, 0.8538, 0.9133]),
    (campaign(40, false, 0.0, 0.0), [0.9463, 0.9233, 0.8970, 0.9268]),
    (campaign(80, false, 0.0, 0.0), [0.9460, 0.9300, 0.9128, 0.9313]),
    (campaign(200, false, 0.0, 0.0), [0.9473, 0.9360, 0.9230, 0.9370]),
    (campaign(40, true, 0.0, 0.0), [0.9460, 0.9195, 0.8938, 0.9245]),
    (campaign(80, true, 0.0, 0.0), [0.9480, 0.9363, 0.9188, 0.9380]),
    (campaign(200, true, 0.0, 0.0), [0.9495, 0.9438, 0.9325, 0.9443]),
    (campaign(40, true, 0.3, 0.3), [0.9616, 0.9290, 0.9264, 0.9995]),
    (campaign(80, true, 0.3, 0.3), [0.9400, 0.9147, 0.9047, 0.9927]),
    (campaign(200, true, 0.3, 0.3), [0.9403, 0.9288, 0.9198, 0.9605]),
    (campaign(40, true, 0.3, 0.0), [0.9983, 0.9973, 0.9960, 0.9975]),
    (campaign(80, true, 0.3, 0.0), [1.0000, 1.0000, 1.0000, 1.0000]),
    (campaign(200, true, 0.3, 0.0), [1.0000, 1.0000, 1.0000, 1.0000]),
];

#[test]
#[ignore = "takes some minutes: cargo test --test statistics q90_95_holds_as_often_as_the -- --ignored"]
fn q90_95_holds_as_often_as_the_documentation_says() {
    const CAMPAIGNS: u64 = 4000;
    /// Of a share of 95 %.
    const ERROR: f64 = 0.0034;
    let methods = [None, Some(Method::LikelihoodRatio), Some(Method::Wald), Some(Method::PointwiseBand)];
    for (of, shares) in TABLE {
        let ours = held(of, CAMPAIGNS, methods);
        for (ours, share) in ours.iter().zip(shares) {
            // A last digit of a logarithm may turn a few campaigns on another platform.
            assert!((ours - share).abs() < 0.001, "{of:?}: {ours} {share}");
        }
        if of.told < of.size_error_log {
            // The twin that must fail: a bound at 95 % that nearly always holds is that of another curve.
            assert!(ours[0] > 0.95 + 3.0 * ERROR, "{of:?}: {ours:?}");
        } else {
            // The usual bound holds as often as it says, and more often than the plain ratio and Wald's.
            let near = if of.told > 0.0 { 0.02 } else { 3.0 * ERROR };
            assert!((ours[0] - 0.95).abs() < near && ours[1] < ours[0] && ours[2] <= ours[1], "{of:?}: {ours:?}");
        }
    }
}

#[test]
fn q90_95_holds_as_often_as_it_says_in_small_samples() {
    const CAMPAIGNS: u64 = 1000;
    // Three binomial standard errors of a share of 95 %.
    let least = 0.95 - 3.0 * (0.95 * 0.05 / CAMPAIGNS as f64).sqrt();
    for (of, method) in [
        (campaign(20, false, 0.0, 0.0), Method::NonCentralT),
        (campaign(60, false, 0.0, 0.0), Method::NonCentralT),
        (campaign(40, true, 0.0, 0.0), Method::ModifiedLikelihoodRatio),
    ] {
        let [usual, plain] = held(of, CAMPAIGNS, [Some(method), Some(Method::LikelihoodRatio)]);
        assert!(usual >= least && usual <= 0.95 + (0.95 - least), "{of:?}: {usual}");
        // The twin that must fail: the plain ratio, in the smallest of them.
        assert!(plain < usual && (of.looks > 20 || plain < least), "{of:?}: {plain} {usual}");
    }
}

/// The roots of scipy's nct.cdf in size and in probability (scipy 1.17): 12 signals, nothing cut off.
#[test]
fn exact_bounds_are_those_of_the_non_central_t_distribution() {
    let size_mm = [0.5, 0.6, 0.8, 0.9, 1.1, 1.2, 1.4, 1.5, 1.8, 2.0, 2.3, 2.7];
    let signal = [0.6, 0.5, 1.0, 0.8, 1.3, 1.0, 1.5, 1.3, 2.1, 1.7, 2.6, 2.4];
    let signals: Vec<(f64, f64)> = size_mm.into_iter().zip(signal).collect();
    let fit = fit(&Responses::new(SizeMeasure::Length, &signals, None, None).expect("good"), &Model::default())
        .expect("a fit");
    assert_eq!(fit.usual_method(), Method::NonCentralT);
    for (threshold, pod, low, high) in [
        (1.0, 0.5, 0.881_431_295_401_954_6, 1.087_174_911_948_118_9),
        (1.0, 0.9, 1.127_321_058_183_417_2, 1.484_284_356_418_093_9),
        (1.5, 0.5, 1.376_335_773_096_54, 1.689_743_881_609_411),
        (1.5, 0.9, 1.710_851_781_930_407_2, 2.375_920_035_849_25),
    ] {
        let decision = fit.at_threshold(threshold).expect("a threshold");
        let ours = decision.size_bounds(pod, 0.95, Method::NonCentralT).expect("bounds");
        assert_relative_eq!(ours.low.expect("a bound"), low, max_relative = 1e-6);
        assert_relative_eq!(ours.high.expect("a bound"), high, max_relative = 1e-6);
        // The modification, worked out in another way, comes near; the plain ratio does not.
        let [modified, plain] = [Method::ModifiedLikelihoodRatio, Method::LikelihoodRatio]
            .map(|method| decision.size_bounds(pod, 0.95, method).expect("bounds").high.expect("a bound"));
        assert!((modified / high).ln().abs() < 0.1 * (plain / high).ln().abs(), "{modified} {plain} {high}");
    }
    let (low, up) = fit.at_threshold(1.0).expect("a threshold").pod_bounds(1.3, 0.95, Method::NonCentralT).expect("ok");
    assert_relative_eq!(low, 0.782_657_340_161_688_2, max_relative = 1e-6);
    assert_relative_eq!(up, 0.987_791_147_840_875_7, max_relative = 1e-6);
    // Where signals are cut off it does not hold, and is refused.
    let cut_off = fitted();
    assert_eq!(cut_off.usual_method(), Method::ModifiedLikelihoodRatio);
    let decision = cut_off.at_threshold(LIMITS[2]).expect("a threshold");
    let refused = decision.size_bounds(0.9, 0.95, Method::NonCentralT).expect_err("refused").to_string();
    assert!(refused.contains("use modified likelihood ratio"), "{refused}");
}

#[test]
fn a_size_beyond_the_largest_crack_is_marked_wherever_it_is_said() {
    // A threshold above nearly all signals.
    let fit = fitted();
    let largest = fit.responses().range_mm().1;
    let decision = fit.at_threshold(LIMITS[1]).expect("a threshold");
    let bound = high(&decision, fit.usual_method());
    assert!(decision.size_at(0.9) < largest && bound > largest, "{} {bound} {largest}", decision.size_at(0.9));
    let (summary, basis) = (fit.summary(LIMITS[1]).expect("a summary"), decision.basis().expect("a basis"));
    let marks = |text: &str| text.matches("beyond the largest crack looked at").count();
    assert!(marks(&basis) == 1 && marks(&summary) == 2, "{basis}\n{summary}");
    assert!(fit.trade(&[LIMITS[1]], 0.9, 0.95, fit.usual_method()).expect("a trade")[0].beyond_largest);
    // Within the sizes nothing is marked.
    assert_eq!(marks(&fit.summary(LIMITS[2]).expect("a summary")), 0);
    assert!(!fit.trade(&[LIMITS[2]], 0.9, 0.95, fit.usual_method()).expect("a trade")[0].beyond_largest);
}

/// Standard errors by the bounds, which other tests hold to reference values: on ln q50 Wald's bound is 1.645 of them
/// away; the spread is one over the slope; of the quantile of false calls half the distance of bounds near the
/// estimate.
#[test]
fn drawn_curves_and_false_calls_scatter_as_the_covariance_says() {
    const DRAWS: u64 = 4_000;
    let fit = with_noise();
    let decision = fit.at_threshold(LIMITS[2]).expect("a threshold");
    let key = Key::from_seed(8);
    let draws: Vec<[f64; 3]> = (0..DRAWS)
        .map(|draw| {
            let evidence = decision.drawn_evidence(key.child(draw)).expect("a draw");
            let false_calls = evidence.false_call_probability.expect("the noise is known");
            [evidence.pod.q50_mm.ln(), evidence.pod.spread.ln(), normal_quantile(false_calls)]
        })
        .collect();
    let evidence = decision.evidence().expect("evidence");
    let q50_error = {
        let high = decision.size_bounds(0.5, 0.95, Method::Wald).expect("bounds").high.expect("a bound");
        (high / evidence.pod.q50_mm).ln() / normal_quantile(0.95)
    };
    // Slope over scatter, b1 / scale, by the delta method on the covariance of both.
    let (line, covariance) = (fit.line(), fit.line().covariance());
    let (slope, scale) = (line.coefficients()[1], line.scale());
    let of_ln = [1.0 / slope, -1.0 / scale];
    let spread_variance: f64 =
        (0..2).map(|i| (0..2).map(|j| of_ln[i] * of_ln[j] * covariance[i + 1][j + 1]).sum::<f64>()).sum();
    let false_call_error = {
        let (low, high) = decision.false_call_bounds(0.55).expect("bounds").expect("the noise is known");
        0.5 * (normal_quantile(high) - normal_quantile(low)) / normal_quantile(0.55)
    };
    let false_calls = normal_quantile(evidence.false_call_probability.expect("the noise is known"));
    let expected = [
        (evidence.pod.q50_mm.ln(), q50_error),
        (evidence.pod.spread.ln(), spread_variance.sqrt()),
        (false_calls, false_call_error),
    ];
    let count = DRAWS as f64;
    for (index, (mean, error)) in expected.into_iter().enumerate() {
        let numbers = || draws.iter().map(|draw| draw[index]);
        let found = numbers().sum::<f64>() / count;
        let deviation = (numbers().map(|x| (x - found).powi(2)).sum::<f64>() / count).sqrt();
        // Four standard errors of a mean, and of a standard deviation: s / sqrt(2 n).
        assert!((found - mean).abs() < 4.0 * error / count.sqrt(), "{index}: {found} {mean}");
        assert!((deviation / error - 1.0).abs() < 4.0 / (2.0 * count).sqrt(), "{index}: {deviation} {error}");
    }
}
