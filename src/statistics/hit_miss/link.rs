//! From the linear predictor to a probability: logit, probit and complementary log-log.

use crate::math::{normal_cdf, normal_density, normal_quantile};
use crate::model::detection::CurveShape;
use crate::statistics::tail::normal_log_and_ratio;

/// What turns the linear predictor into a probability.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Link {
    /// `1 / (1 + exp(-eta))`: a logistic curve.
    #[default]
    Logit,
    /// Normal distribution function: a normal curve.
    Probit,
    /// `1 - exp(-exp(eta))`: with log size, a Weibull distribution of the size that is found. A study has
    /// no such curve.
    ComplementaryLogLog,
}

/// Logarithm of the probability of an answer, and its first two derivatives by the predictor.
#[derive(Debug, Clone, Copy)]
pub(super) struct Term {
    pub log: f64,
    pub slope: f64,
    pub bend: f64,
}

impl Link {
    /// Name, as reports have it.
    pub fn name(self) -> &'static str {
        match self {
            Link::Logit => "logit",
            Link::Probit => "probit",
            Link::ComplementaryLogLog => "complementary log-log",
        }
    }

    /// Shape of the curve; `None` for one that a study does not have.
    pub fn shape(self) -> Option<CurveShape> {
        match self {
            Link::Logit => Some(CurveShape::Logistic),
            Link::Probit => Some(CurveShape::Normal),
            Link::ComplementaryLogLog => None,
        }
    }

    /// Probability of a hit.
    pub fn probability(self, eta: f64) -> f64 {
        match self {
            Link::Logit => 1.0 / (1.0 + (-eta).exp()),
            Link::Probit => normal_cdf(eta),
            Link::ComplementaryLogLog => -(-eta.exp()).exp_m1(),
        }
    }

    /// Predictor at which the probability, between 0 and 1, is reached.
    pub fn quantile(self, probability: f64) -> f64 {
        match self {
            Link::Logit => (probability / (1.0 - probability)).ln(),
            Link::Probit => normal_quantile(probability),
            Link::ComplementaryLogLog => (-(-probability).ln_1p()).ln(),
        }
    }

    /// Derivatives of the probability, first and second.
    fn derivatives(self, eta: f64) -> (f64, f64) {
        match self {
            Link::Logit => {
                let p = self.probability(eta);
                let first = p * (1.0 - p);
                (first, first * (1.0 - 2.0 * p))
            }
            Link::Probit => {
                let density = normal_density(eta);
                (density, -eta * density)
            }
            Link::ComplementaryLogLog => {
                let e = eta.exp();
                let first = (eta - e).exp();
                (first, first * (1.0 - e))
            }
        }
    }

    /// Term of the log-likelihood, right to rounding far into both tails.
    pub(super) fn term(self, eta: f64, hit: bool) -> Term {
        match self {
            Link::Logit => {
                // The answer against which the predictor points counts as a miss.
                let sign = if hit { 1.0 } else { -1.0 };
                let small = (-eta.abs()).exp();
                let toward = sign * eta;
                let log = toward.min(0.0) - small.ln_1p();
                let p = if eta > 0.0 { 1.0 / (1.0 + small) } else { small / (1.0 + small) };
                let slope = if hit { 1.0 - p } else { -p };
                Term { log, slope, bend: -small / ((1.0 + small) * (1.0 + small)) }
            }
            Link::Probit => {
                let sign = if hit { 1.0 } else { -1.0 };
                let (log, ratio) = normal_log_and_ratio(sign * eta);
                Term { log, slope: sign * ratio, bend: -ratio * (sign * eta + ratio) }
            }
            Link::ComplementaryLogLog => {
                let e = eta.min(700.0).exp();
                if hit {
                    let ratio = if e < 1e-8 { 1.0 - 0.5 * e } else { e / e.exp_m1() };
                    let log = if e < 1e-8 { eta - 0.5 * e } else { (-(-e).exp_m1()).ln() };
                    Term { log, slope: ratio, bend: ratio * (1.0 - e - ratio) }
                } else {
                    Term { log: -e, slope: -e, bend: -e }
                }
            }
        }
    }

    /// Term where the probability runs from a floor to a ceiling.
    pub(super) fn term_between(self, eta: f64, hit: bool, floor: f64, ceiling: f64) -> Term {
        if floor == 0.0 && ceiling == 1.0 {
            return self.term(eta, hit);
        }
        let rise = ceiling - floor;
        let (first, second) = self.derivatives(eta);
        let inner = self.probability(eta);
        let (chance, sign) = match hit {
            true => (floor + rise * inner, 1.0),
            false => ((1.0 - ceiling) + rise * (1.0 - inner), -1.0),
        };
        let slope = sign * rise * first / chance;
        Term { log: chance.ln(), slope, bend: sign * rise * second / chance - slope * slope }
    }

    /// Information about the predictor that one look is expected to give, and the derivative of its logarithm.
    pub(super) fn expected(self, eta: f64) -> (f64, f64) {
        match self {
            Link::Logit => {
                let p = self.probability(eta);
                (-self.term(eta, true).bend, 1.0 - 2.0 * p)
            }
            Link::Probit => {
                let ((_, up), (_, down)) = (normal_log_and_ratio(eta), normal_log_and_ratio(-eta));
                (up * down, -2.0 * eta - up + down)
            }
            Link::ComplementaryLogLog => {
                let e = eta.min(700.0).exp();
                let ratio = self.term(eta, true).slope;
                (e * ratio, 2.0 - e - ratio)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LINKS: [Link; 3] = [Link::Logit, Link::Probit, Link::ComplementaryLogLog];

    #[test]
    fn quantile_and_probability_undo_each_other() {
        for link in LINKS {
            for p in [1e-6, 0.1, 0.5, 0.9, 0.999_999] {
                assert!((link.probability(link.quantile(p)) - p).abs() < 1e-12, "{link:?} {p}");
            }
        }
    }

    #[test] // central differences of step 1e-5: error about 1e-10 in the first, 1e-6 in the second derivative
    fn slopes_and_bends_are_the_derivatives() {
        const STEP: f64 = 1e-5;
        for link in LINKS {
            for eta in [-8.0, -2.5, -0.3, 0.0, 0.7, 1.5, 2.5] {
                for hit in [true, false] {
                    for (floor, ceiling) in [(0.0, 1.0), (0.03, 0.9)] {
                        let at = |eta| link.term_between(eta, hit, floor, ceiling);
                        let (below, here, above) = (at(eta - STEP), at(eta), at(eta + STEP));
                        let slope = (above.log - below.log) / (2.0 * STEP);
                        let bend = (above.slope - below.slope) / (2.0 * STEP);
                        let chance = link.probability(eta) * (ceiling - floor) + floor;
                        let log = if hit { chance.ln() } else { (1.0 - chance).ln() };
                        // At -8 the plain distribution function is 9e-9 of itself off; the term, by erfc, is not.
                        assert!((here.log - log).abs() < 1e-8, "{link:?} {eta} {hit}: {} {log}", here.log);
                        assert!((here.slope - slope).abs() < 1e-8 * (1.0 + slope.abs()), "{link:?} {eta} {hit}");
                        assert!((here.bend - bend).abs() < 1e-6 * (1.0 + bend.abs()), "{link:?} {eta} {hit}");
                    }
                }
                let (weight, change) = link.expected(eta);
                let first = link.derivatives(eta).0;
                let p = link.probability(eta);
                assert!((weight / (first * first / (p * (1.0 - p))) - 1.0).abs() < 1e-6, "{link:?} {eta}");
                let numeric = (link.expected(eta + STEP).0.ln() - link.expected(eta - STEP).0.ln()) / (2.0 * STEP);
                assert!((change - numeric).abs() < 1e-6, "{link:?} {eta}: {change} {numeric}");
            }
        }
    }

    #[test]
    fn tails_stay_finite_and_smooth() {
        for link in LINKS {
            for eta in [-1e6, -745.0, -40.0, 40.0, 600.0] {
                for hit in [true, false] {
                    let term = link.term(eta, hit);
                    assert!(!term.log.is_nan() && term.slope.is_finite(), "{link:?} {eta} {hit}: {term:?}");
                }
            }
        }
    }
}
