//! Which of several means is the smallest, how sure that is, and what it takes to be surer.

use super::quadrature::even_rule;
use crate::error::{Error, Result};
use crate::math::{normal_cdf, normal_density, normal_quantile};
use nalgebra::{DMatrix, SymmetricEigen};

/// Points of the average over joint normal numbers: chances are known to some 0.002.
const POINTS: u32 = 1 << 15;

/// Pairs after which the interval of 95 % of a mean difference just ends at 0, were the difference what it is: fewer cannot tell
/// the two apart.
///
/// ```
/// use serrata::statistics::selection::pairs_to_separate;
///
/// // A difference of 1, and of each pair one of 6 sqrt 2.
/// assert_eq!(pairs_to_separate(1.0, 6.0 * 2.0_f64.sqrt()), Some(277));
/// assert_eq!(pairs_to_separate(0.0, 1.0), None);
/// ```
pub fn pairs_to_separate(difference: f64, sigma_of_a_pair: f64) -> Option<u64> {
    let pairs = (normal_quantile(0.975) * sigma_of_a_pair / difference).powi(2).ceil();
    (pairs.is_finite() && pairs < 1e18).then_some(pairs as u64)
}

/// Chance that each of several normal numbers is the smallest, from their means and the variance of the difference of each two.
///
/// Two have the exact chance. More are an average over scrambled Sobol points of a joint normal distribution that has these
/// variances, as far as one does; it is known to some 0.002. Equal shares where numbers do not differ in any draw.
///
/// # Errors
/// Refuses matrices of another size, and numbers that are none.
pub fn chances_to_be_smallest(means: &[f64], variance_of_difference: &DMatrix<f64>) -> Result<Vec<f64>> {
    let count = means.len();
    if variance_of_difference.shape() != (count, count) || count == 0 {
        let shown = format!("{:?}", variance_of_difference.shape());
        let rule = format!("must have a line and a column for each of the {count} means");
        return Err(Error::argument("variance_of_difference", shown, &rule, "give one for each two"));
    }
    let is_number = |value: &f64| value.is_finite();
    if !means.iter().all(is_number) || !variance_of_difference.iter().all(|value| value.is_finite() && *value >= 0.0) {
        return Err(Error::argument(
            "means",
            "not a number",
            "must be numbers, with variances of 0 or more",
            "correct it",
        ));
    }
    if count == 1 {
        return Ok(vec![1.0]);
    }
    if count == 2 {
        let sigma = variance_of_difference[(0, 1)].sqrt();
        let first = match means[1] - means[0] {
            0.0 => 0.5,
            difference => normal_cdf(difference / sigma),
        };
        return Ok(vec![first, 1.0 - first]);
    }
    let roots = roots(count, variance_of_difference);
    let mut shares = vec![0.0; count];
    let mut values = vec![0.0; count];
    for point in 0..POINTS {
        let normal: Vec<f64> = (0..roots.ncols()).map(|dimension| sobol_normal(point, dimension as u32)).collect();
        for (number, value) in values.iter_mut().enumerate() {
            *value =
                means[number] + (0..roots.ncols()).map(|column| roots[(number, column)] * normal[column]).sum::<f64>();
        }
        let least = values.iter().copied().fold(f64::INFINITY, f64::min);
        let ties = values.iter().filter(|value| **value == least).count() as f64;
        for (share, value) in shares.iter_mut().zip(&values) {
            *share += if *value == least { 1.0 / ties } else { 0.0 };
        }
    }
    shares.iter_mut().for_each(|share| *share /= f64::from(POINTS));
    Ok(shares)
}

/// A matrix whose product with standard normal numbers has differences of these variances: the first number stands still.
fn roots(count: usize, variance_of_difference: &DMatrix<f64>) -> DMatrix<f64> {
    let between = |one: usize, other: usize| variance_of_difference[(one, other)];
    let covariance = DMatrix::from_fn(count - 1, count - 1, |one, other| {
        0.5 * (between(one + 1, 0) + between(other + 1, 0) - between(one + 1, other + 1))
    });
    let eigen = SymmetricEigen::new(covariance);
    let mut roots = DMatrix::zeros(count, count - 1);
    for row in 1..count {
        for column in 0..count - 1 {
            // Estimates of variances may fit no distribution: the nearest that one has.
            roots[(row, column)] = eigen.eigenvectors[(row - 1, column)] * eigen.eigenvalues[column].max(0.0).sqrt();
        }
    }
    roots
}

fn sobol_normal(point: u32, dimension: u32) -> f64 {
    const HALF_STEP: f64 = 0.5 / 16_777_216.0;
    const SEED: u32 = 0x5e1e_c710;
    normal_quantile(f64::from(sobol_burley::sample(point, dimension, SEED)) + HALF_STEP)
}

/// The same chance of the first of independent numbers, by quadrature.
pub fn chance_that_first_is_smallest(means: &[f64], sigmas: &[f64]) -> f64 {
    const REACH: f64 = 9.0;
    let Some((&mean, &sigma)) = means.first().zip(sigmas.first()) else { return f64::NAN };
    let at = |z: f64| {
        let value = mean + sigma * z;
        let others = means.iter().zip(sigmas).skip(1);
        normal_density(z) * others.map(|(other, spread)| normal_cdf((other - value) / spread)).product::<f64>()
    };
    2.0 * REACH * even_rule(200).iter().map(|(point, weight)| weight * at(REACH * point)).sum::<f64>()
}

/// How far a sum of paired differences may go before one of several systems is left behind, in units of their variance: h
/// squared, and the slope eta by which the bound narrows (S.-H. Kim and B. L. Nelson, "A fully sequential procedure for
/// indifference-zone selection in simulation", ACM Transactions on Modeling and Computer Simulation 11 (2001) 251-273, c = 1).
///
/// # Errors
/// Refuses fewer than two systems or first runs, and chances of an error that are none.
pub fn elimination_bound(systems: u32, first_runs: u32, error: f64) -> Result<EliminationBound> {
    if systems < 2 || first_runs < 2 {
        let shown = format!("{systems} and {first_runs}");
        return Err(Error::argument(
            "systems and first_runs",
            shown,
            "must be 2 or more",
            "there is nothing to tell apart",
        ));
    }
    if !(error > 0.0 && error < 1.0 - 1.0 / f64::from(systems)) {
        let rule = "must lie above 0, and below that of a choice by chance";
        return Err(Error::argument("error", error, rule, "give the chance of a wrong choice that is borne"));
    }
    let freedom = f64::from(first_runs - 1);
    let slope = 0.5 * ((2.0 * error / f64::from(systems - 1)).powf(-2.0 / freedom) - 1.0);
    Ok(EliminationBound { slope, square: 2.0 * slope * freedom })
}

/// See [`elimination_bound`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EliminationBound {
    /// eta.
    pub slope: f64,
    /// h squared.
    pub square: f64,
}

/// Shares of a budget of runs that make the smallest of several means surest to be seen as such (C.-H. Chen, J. Lin, E. Yucesan
/// and S. E. Chick, "Simulation budget allocation for further enhancing the efficiency of ordinal optimization", Discrete Event
/// Dynamic Systems 10 (2000) 251-270).
///
/// # Errors
/// Refuses lists of different lengths or of less than two, equal smallest means, and sigmas that are not above 0.
pub fn budget_shares(means: &[f64], sigmas: &[f64]) -> Result<Vec<f64>> {
    let refuse = |shown: String, rule: &str| Err(Error::argument("means", shown, rule, "leave one of them out"));
    if means.len() != sigmas.len() || means.len() < 2 {
        return refuse(format!("{} and {}", means.len(), sigmas.len()), "must be as many as sigmas, and two or more");
    }
    if !means.iter().all(|mean| mean.is_finite()) || !sigmas.iter().all(|sigma| *sigma > 0.0 && sigma.is_finite()) {
        return refuse("not a number".to_owned(), "must be numbers, with sigmas above 0");
    }
    let best = (1..means.len()).fold(0, |best, other| if means[other] < means[best] { other } else { best });
    if means.iter().enumerate().any(|(other, mean)| other != best && *mean == means[best]) {
        return refuse(means[best].to_string(), "must have one smallest: no budget tells equal ones apart");
    }
    let mut shares: Vec<f64> = means
        .iter()
        .zip(sigmas)
        .map(|(mean, sigma)| if *mean == means[best] { 0.0 } else { (sigma / (mean - means[best])).powi(2) })
        .collect();
    shares[best] =
        sigmas[best] * shares.iter().zip(sigmas).map(|(share, sigma)| (share / sigma).powi(2)).sum::<f64>().sqrt();
    let all: f64 = shares.iter().sum();
    shares.iter_mut().for_each(|share| *share /= all);
    Ok(shares)
}
