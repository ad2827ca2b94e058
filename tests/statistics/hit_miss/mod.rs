//! Hit/miss fits against reference values, closed forms and refusals.
//!
//! The reference values and how each came about are described in `data/statistics_expected.csv` (columns status
//! and note): published and seen, or worked out by general-purpose libraries. Ids such as A1 are those of the
//! users' requests that a test answers.

mod bounds;
mod cases;
mod coverage;
mod drawn;
mod refitted;
mod study;

use crate::expected::{assert_expected, number, rows};
use serrata::math::normal_quantile;
use serrata::model::detection::SizeMeasure;
use serrata::random::{Key, Stream};
use serrata::statistics::hit_miss::{Bounds, Fit, LEAST, Limit, Link, Look, Looks, Method, Model, SizeScale, fit};

const BEETLES: &str = include_str!("../data/dose_beetles.csv");
const BUDWORM: &str = include_str!("../data/dose_budworm.csv");
const GENERATED: &str = include_str!("../data/hitmiss_generated.csv");
const QUASI_SEPARATED: &str = include_str!("../data/hitmiss_quasi_separated.csv");
const REVERSED: &str = include_str!("../data/hitmiss_reversed.csv");
const SEPARATED: &str = include_str!("../data/hitmiss_separated.csv");
const WHEELS: &str = include_str!("../data/turbine_wheels.csv");

fn pairs(text: &'static str) -> Vec<(f64, bool)> {
    rows(text).iter().map(|cells| (number(cells[0]), cells[1] == "1")).collect()
}

fn looks(text: &'static str) -> Looks {
    Looks::from_pairs(&pairs(text)).expect("good looks")
}

fn fitted(link: Link) -> Fit {
    fit(&looks(GENERATED), &Model { link, ..Model::default() }).expect("a fit")
}

fn high(bounds: Bounds) -> f64 {
    bounds.high.expect("a bound")
}

#[test]
fn logit_and_probit_fits_have_the_reference_estimates() {
    for (link, name) in [(Link::Logit, "logit"), (Link::Probit, "probit")] {
        let check = |quantity: &str, ours| assert_expected("hitmiss_generated", &format!("{name}.{quantity}"), ours);
        let fit = fitted(link);
        let coefficients = fit.coefficients();
        check("b0", coefficients[0].value);
        check("b1", coefficients[1].value);
        check("loglik", fit.log_likelihood());
        // The Wald bound one standard error out: 84.134 % is the normal distribution function at 1.
        for (pod, quantity) in [(0.5, "se_ln_a50_obs"), (0.9, "se_ln_a90_obs")] {
            let wald = high(fit.size_bounds(pod, 0.841_344_746_068_543, Method::Wald).expect("bounds"));
            check(quantity, (wald / fit.size_at(pod).expect("reached")).ln());
        }
        check("a50_mm", fit.size_at(0.5).expect("reached"));
        check("a90_mm", fit.size_at(0.9).expect("reached"));
        let covariance = fit.covariance().expect("regular");
        check("cov_b0b0_obs", covariance[0][0]);
        check("cov_b0b1_obs", covariance[0][1]);
        check("cov_b1b1_obs", covariance[1][1]);
        for (method, quantity) in [
            (Method::Wald, "a90_95_wald_obs_mm"),
            (Method::PointwiseBand, "a90_95_pointwise_band_obs_mm"),
            (Method::SimultaneousBand, "a90_95_simultaneous_band_obs_mm"),
            (Method::LikelihoodRatio, "a90_95_lr_mm"),
        ] {
            check(quantity, high(fit.size_bounds(0.9, 0.95, method).expect("bounds")));
        }
    }
}

#[test]
fn the_expected_information_of_a_probit_is_the_reference_one() {
    let covariance = fitted(Link::Probit).expected_covariance().expect("regular");
    for (quantity, ours) in
        [("cov_b0b0_exp", covariance[0][0]), ("cov_b0b1_exp", covariance[0][1]), ("cov_b1b1_exp", covariance[1][1])]
    {
        assert_expected("hitmiss_generated", &format!("probit.{quantity}"), ours);
    }
    // The Wald bound made of it: the variance of x at the 0.9 point, one-sided 95 %.
    let (fit, q) = (fitted(Link::Probit), 1.644_853_626_951_472_7);
    let x = fit.size_at(0.9).expect("reached").ln();
    let variance = covariance[0][0] + 2.0 * x * covariance[0][1] + x * x * covariance[1][1];
    let bound = (x + q * variance.sqrt() / fit.coefficients()[1].value).exp();
    assert_expected("hitmiss_generated", "probit.a90_95_wald_exp_mm", bound);
    // The bands reach 0.9 where the predictor, so many standard errors lower, has the normal 0.9 point. Of a whole curve
    // the errors are the root of the 0.9 point of chi-square with two degrees of freedom (-2 ln 0.1): 0.95 to each side.
    let [level, slope] = [0, 1].map(|index| fit.coefficients()[index].value);
    for (errors, quantity) in [(q, "pointwise_band"), ((-2.0 * 0.1_f64.ln()).sqrt(), "simultaneous_band")] {
        let short = |x: f64| {
            let variance = covariance[0][0] + 2.0 * x * covariance[0][1] + x * x * covariance[1][1];
            level + slope * x - errors * variance.sqrt() < normal_quantile(0.9)
        };
        let (mut low, mut high) = (x, x + 3.0);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if short(middle) { low = middle } else { high = middle }
        }
        assert_expected("hitmiss_generated", &format!("probit.a90_95_{quantity}_exp_mm"), high.exp());
    }
}

/// Grouped answers as one look each.
fn expanded(
    text: &'static str,
    size: usize,
    count: usize,
    hits: usize,
    scale: impl Fn(f64) -> f64,
) -> Vec<(f64, bool)> {
    let mut looks = Vec::new();
    for cells in rows(text) {
        let (count, hits) = (number(cells[count]) as usize, number(cells[hits]) as usize);
        looks.extend((0..count).map(|look| (scale(number(cells[size])), look < hits)));
    }
    looks
}

/// Log-likelihood of groups that each have their own probability.
fn saturated(text: &'static str, count: usize, hits: usize) -> f64 {
    let part = |x: f64, all: f64| if x > 0.0 { x * (x / all).ln() } else { 0.0 };
    let of_group = |cells: &Vec<&str>| {
        let (count, hits) = (number(cells[count]), number(cells[hits]));
        part(hits, count) + part(count - hits, count)
    };
    rows(text).iter().map(of_group).sum()
}

fn dose(link: Link) -> Fit {
    // The published fit is on log10 dose: the power of ten is the size, so that its logarithm is the dose times ln 10.
    let looks = expanded(BEETLES, 0, 1, 2, |log10| 10f64.powf(log10));
    fit(&Looks::from_pairs(&looks).expect("good"), &Model { link, ..Model::default() }).expect("a fit")
}

#[test]
fn published_dose_response_fits_are_found_again() {
    let per_decade = std::f64::consts::LN_10;
    for (link, name) in [(Link::Logit, "logit"), (Link::Probit, "probit"), (Link::ComplementaryLogLog, "cloglog")] {
        let fit = dose(link);
        let coefficients = fit.coefficients();
        assert_expected("dose_beetles", &format!("{name}.b0"), coefficients[0].value);
        assert_expected("dose_beetles", &format!("{name}.b1"), coefficients[1].value * per_decade);
        if link == Link::ComplementaryLogLog {
            continue;
        }
        assert_expected(
            "dose_beetles",
            &format!("{name}.deviance"),
            2.0 * (saturated(BEETLES, 1, 2) - fit.log_likelihood()),
        );
        let covariance = fit.expected_covariance().expect("regular");
        let slope = coefficients[1].value;
        for (pod, place, error) in [(0.5, "x50_log10", "se_x50_log10"), (0.9, "x90_log10", "se_x90_log10")] {
            let x = fit.size_at(pod).expect("reached").ln();
            assert_expected("dose_beetles", &format!("{name}.{place}"), x / per_decade);
            let variance = covariance[0][0] + 2.0 * x * covariance[0][1] + x * x * covariance[1][1];
            assert_expected("dose_beetles", &format!("{name}.{error}"), variance.sqrt() / slope / per_decade);
        }
    }
}

#[test]
fn a_factor_shifts_the_published_fit_of_two_groups() {
    // Venables and Ripley 2002, section 7.2: one slope, two levels. Size is two to the power of the dose.
    let mut each = Vec::new();
    for cells in rows(BUDWORM) {
        let hits = number(cells[3]) as usize;
        each.extend((0..number(cells[2]) as usize).map(|look| Look {
            size_mm: 2f64.powf(number(cells[1])),
            called: look < hits,
            levels: vec![cells[0].to_owned()],
            inspector: None,
        }));
    }
    let looks = Looks::new(SizeMeasure::Length, &[("group", Some("F"))], &each).expect("good");
    let fit = fit(&looks, &Model::default()).expect("a fit");
    let per_octave = std::f64::consts::LN_2;
    let coefficients = fit.coefficients();
    assert_eq!(coefficients[2].name, "group = M");
    assert_expected("dose_budworm", "logit.b_female", coefficients[0].value);
    assert_expected("dose_budworm", "logit.b_male", coefficients[0].value + coefficients[2].value);
    assert_expected("dose_budworm", "logit.slope_per_log2_dose", coefficients[1].value * per_octave);
    for (pod, quantity) in [(0.25, "x25"), (0.5, "x50"), (0.75, "x75"), (0.9, "x90")] {
        let x = fit.size_at(pod).expect("reached").ln() / per_octave;
        assert_expected("dose_budworm", &format!("logit.female_{quantity}_log2"), x);
        let wald = high(fit.size_bounds(pod, 0.975, Method::Wald).expect("bounds")).ln() / per_octave;
        // 1.959964 is the normal quantile of 97.5 %.
        assert_expected(
            "dose_budworm",
            &format!("logit.female_se_{quantity}_log2"),
            (wald - x) / 1.959_963_984_540_054,
        );
    }
    let male = fit.with_levels(&[("group", "M")]).expect("a level");
    let shift = fit.shifts_log("group").expect("a factor")[1].1;
    let difference = (male.size_at(0.9).expect("reached") / fit.size_at(0.9).expect("reached")).ln();
    assert!((shift - difference).abs() < 1e-12, "{shift} {difference}");
}

fn wheels(link: Link, scale: SizeScale, per_unit: f64) -> Fit {
    let mut looks = Vec::new();
    for cells in rows(WHEELS) {
        for (column, called) in [(1, true), (2, false)] {
            looks.extend((0..number(cells[column]) as usize).map(|_| (per_unit * number(cells[0]), called)));
        }
    }
    fit(&Looks::from_pairs(&looks).expect("good"), &Model { link, scale, ..Model::default() }).expect("a fit")
}

#[test]
fn current_status_data_are_a_regression_on_log_age() {
    // A lognormal law of age is a probit, a Weibull law a complementary log-log regression.
    let lognormal = wheels(Link::Probit, SizeScale::Log, 1.0);
    let [level, slope] = [0, 1].map(|index| lognormal.coefficients()[index].value);
    assert_expected("turbine_wheels", "lognormal_mu_ln100h", -level / slope);
    assert_expected("turbine_wheels", "lognormal_sigma", 1.0 / slope);
    assert_expected("turbine_wheels", "lognormal_loglik", lognormal.log_likelihood());
    // Delta method: mu = -b0 / b1, sigma = 1 / b1.
    let delta = |fit: &Fit, a: [f64; 2], b: [f64; 2]| -> f64 {
        let covariance = fit.covariance().expect("regular");
        (0..2).map(|i| (0..2).map(|j| a[i] * b[j] * covariance[i][j]).sum::<f64>()).sum()
    };
    let (of_mu, of_sigma) = ([-1.0 / slope, level / (slope * slope)], [0.0, -1.0 / (slope * slope)]);
    assert_expected("turbine_wheels", "lognormal_se_mu", delta(&lognormal, of_mu, of_mu).sqrt());
    assert_expected("turbine_wheels", "lognormal_se_sigma", delta(&lognormal, of_sigma, of_sigma).sqrt());
    assert_expected("turbine_wheels", "lognormal_cov_mu_sigma", delta(&lognormal, of_mu, of_sigma));
    assert_expected("turbine_wheels", "lognormal_median_100h", lognormal.size_at(0.5).expect("reached"));
    assert_expected("turbine_wheels", "lognormal_t10_100h", lognormal.size_at(0.1).expect("reached"));
    let weibull = wheels(Link::ComplementaryLogLog, SizeScale::Log, 1.0);
    let [level, slope] = [0, 1].map(|index| weibull.coefficients()[index].value);
    assert_expected("turbine_wheels", "weibull_shape", slope);
    assert_expected("turbine_wheels", "weibull_se_shape", weibull.coefficients()[1].standard_error);
    assert_expected("turbine_wheels", "weibull_scale_100h", (-level / slope).exp());
    assert_expected("turbine_wheels", "weibull_loglik", weibull.log_likelihood());
    // Of the logarithm of age, an extreme-value law of location -b0 / b1 and scale 1 / b1.
    let (of_location, of_scale) = ([-1.0 / slope, level / (slope * slope)], [0.0, -1.0 / (slope * slope)]);
    assert_expected("turbine_wheels", "weibull_ev_location", -level / slope);
    assert_expected("turbine_wheels", "weibull_ev_scale", 1.0 / slope);
    let location_error = delta(&weibull, of_location, of_location).sqrt();
    assert_expected("turbine_wheels", "weibull_se_ev_location", location_error);
    assert_expected("turbine_wheels", "weibull_se_ev_scale", delta(&weibull, of_scale, of_scale).sqrt());
    assert_expected("turbine_wheels", "weibull_cov_ev_location_scale", delta(&weibull, of_location, of_scale));
    assert_expected("turbine_wheels", "weibull_se_scale_100h", (-level / slope).exp() * location_error);
    assert_expected("turbine_wheels", "weibull_F_at_20_100h", weibull.pod_at(20.0).expect("a size"));
    assert_expected("turbine_wheels", "weibull_F_at_50_100h", weibull.pod_at(50.0).expect("a size"));
}

#[test]
fn regressions_on_plain_age_are_the_reference_ones() {
    // Each age by itself: what a deviance is measured from.
    let saturated = |cells: Vec<&str>| -> f64 {
        let [cracked, sound] = [1, 2].map(|column| number(cells[column]));
        let share = |count: f64| if count > 0.0 { count * (count / (cracked + sound)).ln() } else { 0.0 };
        share(cracked) + share(sound)
    };
    let saturated: f64 = rows(WHEELS).into_iter().map(saturated).sum();
    for (link, name) in [(Link::Logit, "logit"), (Link::Probit, "probit"), (Link::ComplementaryLogLog, "cloglog")] {
        let fit = wheels(link, SizeScale::Plain, 100.0);
        let coefficients = fit.coefficients();
        assert_expected("turbine_wheels", &format!("glm_{name}_linear_hours_intercept"), coefficients[0].value);
        assert_expected("turbine_wheels", &format!("glm_{name}_linear_hours_slope_per_h"), coefficients[1].value);
        let deviance = 2.0 * (saturated - fit.log_likelihood());
        assert_expected("turbine_wheels", &format!("glm_{name}_linear_hours_deviance"), deviance);
        assert!(
            fit.pod_curve().expect_err("no such curve in a study").to_string().contains("is no curve that a study has")
        );
    }
}

#[test]
fn separated_and_reversed_data_are_refused_by_name_before_any_number() {
    // A1, A2: the same verdict for every link and scale.
    for link in [Link::Logit, Link::Probit, Link::ComplementaryLogLog] {
        for scale in [SizeScale::Log, SizeScale::Plain] {
            for (text, reason) in
                [(SEPARATED, "separation"), (QUASI_SEPARATED, "quasi-separation"), (REVERSED, "reversed")]
            {
                let error = fit(&looks(text), &Model { link, scale, ..Model::default() }).expect_err("must be refused");
                assert_eq!(error.reason(), Some(reason), "{link:?} {scale:?}");
            }
        }
    }
    assert_eq!(
        fit(&looks(SEPARATED), &Model::default()).expect_err("separated").to_string(),
        "hits and misses do not overlap: the largest miss is 1.4 mm, the smallest hit 1.6 mm\n    the steeper the curve, the \
         better it fits, without end: no finite slope is best\n    take more looks between 0.980 and 2.240 mm, or fit with \
         penalised = true"
    );
}

#[test]
fn separation_by_a_factor_is_refused_and_the_level_named() {
    let mut rows = Vec::new();
    for (index, (size_mm, called)) in pairs(GENERATED).into_iter().enumerate() {
        let level = if index % 5 == 0 { "bright" } else { "dull" };
        rows.push(Look {
            size_mm,
            called: called || level == "bright",
            levels: vec![level.to_owned()],
            inspector: None,
        });
    }
    let looks = Looks::new(SizeMeasure::Length, &[("surface", Some("dull"))], &rows).expect("good");
    let error = fit(&looks, &Model::default()).expect_err("one level has hits only");
    assert_eq!(error.reason(), Some("quasi-separation"));
    assert!(error.to_string().contains("surface = bright: 12 hits of 12"), "{error}");
    let penalised = fit(&looks, &Model { penalised: true, ..Model::default() }).expect("a penalised fit exists");
    assert!(penalised.shifts_log("surface").expect("a factor")[1].1 < -0.5);
}

#[test]
fn too_few_one_kind_one_size_and_flat_data_are_refused_with_what_to_do() {
    // A15, J7
    let refused =
        |pairs: &[(f64, bool)]| fit(&Looks::from_pairs(pairs).expect("good"), &Model::default()).expect_err("refused");
    let hits: Vec<(f64, bool)> = (1..40).map(|size| (f64::from(size), true)).collect();
    let error = refused(&hits);
    assert_eq!(error.reason(), Some("one-class"));
    assert!(error.to_string().contains("findings alone flatter any technique"), "{error}");
    let few: Vec<(f64, bool)> = (1..40).map(|size| (f64::from(size), size != 3 && size != 9)).collect();
    assert_eq!(
        refused(&few).to_string(),
        format!(
            "39 looks at cracks, 37 hits and 2 misses\n    at least {LEAST} hits and {LEAST} misses are needed\n    take looks \
             that give at least 3 more misses, or fit with penalised = true"
        )
    );
    let one_size: Vec<(f64, bool)> = (0..40).map(|look| (2.0, look % 2 == 0)).collect();
    assert_eq!(refused(&one_size).reason(), Some("one-size"));
    let flat: Vec<(f64, bool)> = (1..=40).map(|size| (f64::from(size), size % 2 == 0)).collect();
    let error = refused(&flat);
    assert_eq!(error.reason(), Some("flat"));
    assert!(error.to_string().contains("nothing shows that size matters"), "{error}");
}

#[test]
fn factors_that_go_together_are_refused() {
    let row = |(index, (size_mm, called)): (usize, (f64, bool))| {
        let level = |yes: &str, no: &str| if index % 3 == 0 { yes.to_owned() } else { no.to_owned() };
        Look { size_mm, called, levels: vec![level("peened", "plain"), level("A", "B")], inspector: None }
    };
    let rows: Vec<Look> = pairs(GENERATED).into_iter().enumerate().map(row).collect();
    let looks = Looks::new(SizeMeasure::Length, &[("surface", None), ("inspector", None)], &rows).expect("good");
    let error = fit(&looks, &Model::default()).expect_err("they go together");
    assert_eq!(error.reason(), Some("confounded"));
    assert!(error.to_string().contains("inspector = A cannot be told from"), "{error}");
}

#[test]
fn estimates_do_not_depend_on_the_unit() {
    // A10
    for link in [Link::Logit, Link::Probit, Link::ComplementaryLogLog] {
        for scale in [SizeScale::Log, SizeScale::Plain] {
            let model = Model { link, scale, ..Model::default() };
            let q90 = |unit: f64| {
                let scaled: Vec<(f64, bool)> = pairs(GENERATED).iter().map(|(size, hit)| (size * unit, *hit)).collect();
                let fit = fit(&Looks::from_pairs(&scaled).expect("good"), &model).expect("a fit");
                let bound = high(fit.size_bounds(0.9, 0.95, Method::LikelihoodRatio).expect("bounds"));
                (fit.size_at(0.9).expect("reached") / unit, bound / unit)
            };
            let (one, other) = (q90(1.0), q90(1e-3));
            assert!((one.0 / other.0 - 1.0).abs() < 1e-5 && (one.1 / other.1 - 1.0).abs() < 1e-5, "{link:?} {scale:?}");
        }
    }
}

#[test]
fn a_penalised_fit_takes_separated_data_and_has_likelihood_bounds() {
    // A4, A5
    let model = Model { penalised: true, ..Model::default() };
    for text in [SEPARATED, QUASI_SEPARATED] {
        for link in [Link::Logit, Link::Probit, Link::ComplementaryLogLog] {
            let fit = fit(&looks(text), &Model { link, ..model.clone() }).expect("a penalised fit exists");
            let q50 = fit.size_at(0.5).expect("reached");
            assert!((1.3..1.8).contains(&q50), "{link:?}: {q50}");
            let q90 = fit.size_at(0.9).expect("reached");
            let bound = high(fit.size_bounds(0.9, 0.95, Method::LikelihoodRatio).expect("bounds"));
            assert!(bound > q90 && bound < 10.0, "{link:?}: {q90} {bound}");
        }
    }
}

#[test] // one look at each end of a two-point design: the penalised logit has a closed form
fn a_penalised_logit_of_two_sizes_adds_half_a_hit_and_half_a_miss_to_each() {
    // With as many parameters as sizes the penalty acts as half a hit and half a miss at each size (Firth 1993).
    let mut looks = Vec::new();
    for (size, hits, misses) in [(1.0, 3, 9), (4.0, 8, 0)] {
        looks.extend((0..hits).map(|_| (size, true)));
        looks.extend((0..misses).map(|_| (size, false)));
    }
    let fit =
        fit(&Looks::from_pairs(&looks).expect("good"), &Model { penalised: true, ..Model::default() }).expect("a fit");
    for (size, pod) in [(1.0, 3.5 / 13.0), (4.0, 8.5 / 9.0)] {
        assert!((fit.pod_at(size).expect("a size") - pod).abs() < 1e-6, "{size}");
    }
}

/// Looks drawn from a curve: sizes log-uniform between 0.3 and 12 mm.
fn drawn(count: usize, seed: u64, pod: impl Fn(f64, usize) -> f64) -> Vec<(f64, bool)> {
    let mut stream = Stream::new(Key::from_seed(seed).named("looks"));
    (0..count)
        .map(|look| {
            let size = 0.3 * (stream.uniform() * 40_f64.ln()).exp();
            (size, stream.uniform() < pod(size, look))
        })
        .collect()
}

fn logistic(size: f64, q50: f64, slope: f64) -> f64 {
    1.0 / (1.0 + (-slope * (size / q50).ln()).exp())
}

#[test]
fn a_fitted_ceiling_and_floor_are_found_and_bounded() {
    // J7. 2000 looks: the standard error of a proportion near 0.85 among the 600 largest is 0.015.
    let looks = Looks::from_pairs(&drawn(2000, 1, |size, _| 0.05 + 0.8 * logistic(size, 1.5, 4.0))).expect("good");
    let model = Model { floor: Limit::Free, ceiling: Limit::Free, ..Model::default() };
    let fit = fit(&looks, &model).expect("a fit");
    assert!((fit.ceiling() - 0.85).abs() < 4.0 * 0.015, "{}", fit.ceiling());
    let (low, high) = fit.ceiling_bounds(0.95).expect("bounds");
    assert!(low < fit.ceiling() && fit.ceiling() < high && high < 0.95, "{low} {high}");
    assert!((fit.floor() - 0.05).abs() < 4.0 * 0.012, "{}", fit.floor());
    let (low, high) = fit.floor_bounds(0.95).expect("bounds");
    assert!(low < fit.floor() && fit.floor() < high, "{low} {high}");
    // No size is found with 0.9, and that is said by an absent number.
    assert_eq!(fit.size_at(0.9), None);
    assert_eq!(fit.size_bounds(0.9, 0.95, Method::LikelihoodRatio).expect("bounds"), Bounds { low: None, high: None });
    let curve = fit.pod_curve().expect("a curve");
    assert!((curve.q50_mm - 1.5).abs() < 0.2 && (curve.spread - 0.25).abs() < 0.1, "{curve:?}");
    let refused = fit.size_bounds(0.5, 0.95, Method::Wald).expect_err("an edge is near").to_string();
    assert!(refused.contains("use likelihood ratio"), "{refused}");
}

#[test]
fn forcing_a_ceiling_gives_back_the_forced_one() {
    // A20
    let model = Model { ceiling: Limit::Fixed(0.93), ..Model::default() };
    let fit = fit(&looks(GENERATED), &model).expect("a fit");
    assert_eq!((fit.ceiling(), fit.pod_curve().expect("a curve").ceiling), (0.93, 0.93));
    assert_eq!(fit.ceiling_bounds(0.95).expect("held"), (0.93, 0.93));
}

#[test]
fn a_spread_between_inspectors_is_found() {
    // J6. 30 inspectors of 60 looks: the spread's standard error is about 0.8 / sqrt(60).
    const SPREAD: f64 = 0.8;
    let key = Key::from_seed(3).named("inspectors");
    let shift = |inspector: usize| SPREAD * key.normal(inspector as u64);
    let pairs = drawn(1800, 2, |size, look| {
        let eta = 3.0 * (size / 1.5).ln() + shift(look % 30);
        1.0 / (1.0 + (-eta).exp())
    });
    let row = |(look, (size_mm, called)): (usize, &(f64, bool))| Look {
        size_mm: *size_mm,
        called: *called,
        levels: Vec::new(),
        inspector: Some(format!("{}", look % 30)),
    };
    let rows: Vec<Look> = pairs.iter().enumerate().map(row).collect();
    let looks = Looks::new(SizeMeasure::Length, &[], &rows).expect("good");
    let fit = fit(&looks, &Model { between_inspectors: true, ..Model::default() }).expect("a fit");
    let spread = fit.coefficients()[2].value;
    assert!((spread - SPREAD).abs() < 4.0 * SPREAD / 60_f64.sqrt(), "{spread}");
    assert!((fit.inspection_sigma() - spread / fit.coefficients()[1].value).abs() < 1e-12);
    // Pooling flattens the curve: the slope is known to shrink by about sqrt(1 + 0.346 spread^2).
    let pooled = serrata::statistics::hit_miss::fit(&looks, &Model::default()).expect("a fit");
    assert!(pooled.coefficients()[1].value < fit.coefficients()[1].value);
}

#[test]
fn errors_in_size_flatten_the_curve_and_are_made_good() {
    // J5. True logarithms are normal with standard deviation 0.8; measured ones carry 0.4 more.
    const ERROR: f64 = 0.4;
    let key = Key::from_seed(5).named("sizes");
    let looks: Vec<(f64, bool)> = (0..4000)
        .map(|look| {
            let child = key.child(look);
            let true_mm = 1.5 * (0.8 * child.normal(0)).exp();
            (true_mm * (ERROR * child.normal(1)).exp(), child.uniform(2) < logistic(true_mm, 1.2, 3.0))
        })
        .collect();
    let looks = Looks::from_pairs(&looks).expect("good");
    let fit = fit(&looks, &Model { size_error_log: ERROR, ..Model::default() }).expect("a fit");
    let true_q90 = 1.2 * (9_f64.ln() / 3.0).exp();
    let q90 = fit.size_at(0.9).expect("reached");
    // Its standard error, from the Wald bound at 97.5 %.
    let error = (high(fit.size_bounds(0.9, 0.975, Method::Wald).expect("bounds")) / q90).ln() / 1.959_964;
    assert!((q90 / true_q90).ln().abs() < 4.0 * error, "{q90} {true_q90} {error}");
    let naive = fit.ignoring_size_error().expect("shown beside it").size_at(0.9).expect("reached");
    assert!((naive / true_q90).ln() > 6.0 * error, "ignoring the error must show: {naive} {true_q90} {error}");
}

#[test]
fn a_size_error_as_large_as_the_spread_of_the_sizes_is_refused() {
    let model = Model { size_error_log: 1.5, ..Model::default() };
    assert_eq!(fit(&looks(GENERATED), &model).expect_err("nothing is left").reason(), Some("size-error"));
}

#[test]
fn options_that_do_not_go_together_are_refused() {
    // B8
    let refused = |model: Model| fit(&looks(GENERATED), &model).is_err();
    assert!(refused(Model { penalised: true, ceiling: Limit::Free, ..Model::default() }));
    assert!(refused(Model { size_error_log: 0.1, scale: SizeScale::Plain, ..Model::default() }));
    assert!(refused(Model { ceiling: Limit::Fixed(1.2), ..Model::default() }));
    assert!(refused(Model { floor: Limit::Fixed(f64::NAN), ..Model::default() }));
    assert!(refused(Model { between_inspectors: true, ..Model::default() })); // nobody is named
    assert!(fitted(Link::Logit).size_bounds(0.9, 1.0, Method::Wald).is_err());
    assert!(fitted(Link::Logit).size_bounds(1.0, 0.95, Method::Wald).is_err());
}
