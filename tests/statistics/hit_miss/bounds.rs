//! Bounds: how the methods stand to each other, and what they do where there is none.

use super::{GENERATED, drawn, fitted, high, logistic, looks};
use crate::expected::expected_value;
use serrata::statistics::hit_miss::{Fit, Limit, Link, Looks, Method, Model, fit};

#[test]
fn the_four_methods_stand_in_their_known_order() {
    // A6: four legitimate bounds differ by half.
    let fit = fitted(Link::Logit);
    let bounds = [Method::Wald, Method::LikelihoodRatio, Method::PointwiseBand, Method::SimultaneousBand]
        .map(|method| high(fit.size_bounds(0.9, 0.95, method).expect("bounds")));
    assert!(bounds.windows(2).all(|pair| pair[0] < pair[1]), "{bounds:?}");
}

#[test]
fn every_bound_on_a_probability_lies_in_0_to_1_and_around_the_curve() {
    // A7, A9
    for link in [Link::Logit, Link::Probit, Link::ComplementaryLogLog] {
        let fit = fitted(link);
        for size_mm in [1e-6, 1e-3, 0.3, 1.0, 3.0, 50.0, 1e5] {
            let pod = fit.pod_at(size_mm).expect("a size");
            for method in
                [Method::ModifiedLikelihoodRatio, Method::LikelihoodRatio, Method::Wald, Method::SimultaneousBand]
            {
                let (low, high) = fit.pod_bounds(size_mm, 0.95, method).expect("bounds");
                assert!(
                    0.0 <= low && low <= pod + 1e-12 && pod <= high + 1e-12 && high <= 1.0,
                    "{link:?} {size_mm} {low} {pod} {high}"
                );
            }
        }
        assert!(fit.pod_at(f64::NAN).is_err() && fit.pod_at(0.0).is_err());
    }
}

#[test]
fn a_point_on_the_likelihood_band_is_a_likelihood_bound_of_the_size() {
    // Where the lower band of POD is 0.9, the upper bound of the size found with 0.9 lies, and the other way round.
    let fit = fitted(Link::Probit);
    let q90_95 = high(fit.size_bounds(0.9, 0.95, Method::LikelihoodRatio).expect("bounds"));
    let (low, _) = fit.pod_bounds(q90_95, 0.95, Method::LikelihoodRatio).expect("bounds");
    assert!((low - 0.9).abs() < 1e-6, "{low}");
}

#[test]
fn a_slope_has_bounds_by_likelihood_and_by_wald() {
    // A5
    let fit = fitted(Link::Logit);
    let (slope, error) = (fit.coefficients()[1].value, fit.coefficients()[1].standard_error);
    let wald = fit.slope_bounds(0.95, Method::Wald).expect("bounds");
    assert!((high(wald) - slope - 1.644_853_6 * error).abs() < 1e-6);
    let ratio = fit.slope_bounds(0.95, Method::LikelihoodRatio).expect("bounds");
    let (low, high) = (ratio.low.expect("a bound"), ratio.high.expect("a bound"));
    // The likelihood of a slope is skewed upwards.
    assert!(0.0 < low && low < slope && high - slope > slope - low, "{low} {slope} {high}");
}

#[test]
fn bounds_reach_their_reference_even_from_a_poor_start() {
    // The reference tolerance is what the csv states; the check has teeth: q90 itself is far outside it.
    let bound = expected_value("hitmiss_generated", "logit.a90_95_lr_mm");
    assert!((fitted(Link::Logit).size_at(0.9).expect("reached") - bound.value).abs() > 100.0 * bound.tolerance);
}

#[test]
fn a_modified_bound_differs_little_from_a_plain_one_and_less_in_large_samples() {
    // The modification is of the order of one over the root of the number of looks, in standard errors.
    let apart = |count: usize| {
        let looks = Looks::from_pairs(&drawn(count, 3, |size, _| logistic(size, 1.5, 3.0))).expect("good");
        let fit = fit(&looks, &Model::default()).expect("a fit");
        let bound = |method| high(fit.size_bounds(0.9, 0.95, method).expect("bounds")).ln();
        let error = (bound(Method::LikelihoodRatio) - fit.size_at(0.9).expect("reached").ln()) / 1.645;
        (bound(Method::ModifiedLikelihoodRatio) - bound(Method::LikelihoodRatio)) / error
    };
    let (few, many) = (apart(80), apart(8000));
    assert!(0.03 < few && few < 1.0 && 0.0 < many && many < 0.5 * few, "{few} {many}");
}

#[test]
fn a_bound_that_the_data_do_not_give_is_none_and_never_a_number_that_is_none() {
    // A9. Hits rise with size just enough at 95 %: at 99.9 % a level curve cannot be excluded.
    let looks: Vec<(f64, bool)> =
        (1..=30).map(|size| (f64::from(size), [4, 7, 9, 11].contains(&size) || size > 12 && size % 4 > 0)).collect();
    for link in [Link::Logit, Link::Probit, Link::ComplementaryLogLog] {
        let fit = fit(&Looks::from_pairs(&looks).expect("good"), &Model { link, ..Model::default() }).expect("a fit");
        for method in [Method::ModifiedLikelihoodRatio, Method::LikelihoodRatio] {
            assert!(fit.size_bounds(0.9, 0.8, method).expect("bounds").high.is_some_and(f64::is_finite));
            assert_eq!(fit.size_bounds(0.9, 0.999, method).expect("bounds").high, None, "{link:?} {method:?}");
        }
    }
}

#[test]
fn bounds_close_in_on_the_estimate_as_confidence_falls() {
    for model in [Model::default(), Model { link: Link::Probit, size_error_log: 0.2, ..Model::default() }] {
        let fit = fit(&looks(GENERATED), &model).expect("a fit");
        let bounds = |confidence| fit.size_bounds(0.9, confidence, Method::ModifiedLikelihoodRatio).expect("bounds");
        let spans = [0.500_001, 0.51, 0.55, 0.6, 0.75, 0.9, 0.99, 0.999].map(|confidence| {
            let bounds = bounds(confidence);
            (high(bounds), bounds.low.expect("a bound"))
        });
        assert!(spans.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 > pair[1].1), "{spans:?}");
        // At a half both are one: the size that is as likely too large as too small, which the estimate is not.
        let (upper, lower) = spans[0];
        assert!((upper / lower).ln().abs() < 1e-4, "{upper} {lower}");
        assert!(upper > fit.size_at(0.9).expect("reached"));
    }
}

#[test]
fn a_modified_bound_is_refused_where_it_is_not_known() {
    let of = |model: Model| -> Fit { fit(&looks(GENERATED), &model).expect("a fit") };
    assert_eq!(of(Model::default()).usual_method(), Method::ModifiedLikelihoodRatio);
    for model in [Model { penalised: true, ..Model::default() }, Model { ceiling: Limit::Free, ..Model::default() }] {
        let fit = of(model);
        assert_eq!(fit.usual_method(), Method::LikelihoodRatio);
        let refusal = fit.size_bounds(0.9, 0.95, Method::ModifiedLikelihoodRatio).expect_err("not known");
        assert!(refusal.to_string().contains("use likelihood ratio"), "{refusal}");
    }
}
