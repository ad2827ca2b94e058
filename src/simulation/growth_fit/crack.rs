//! What the sizes of one crack say of how fast it grew.

use super::curve::{GrowthCurve, SizeKind};
use super::integral::{Known, ln_integral};
use crate::statistics::search::{crossing, largest};

/// Standard deviations of a size within which its true one is sought.
pub(super) const REACH: f64 = 9.0;

/// One measured size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Size {
    /// Its line in the records.
    pub line: usize,
    /// Starts until then.
    pub starts: f64,
    /// Logarithm of the size in mm, without the bias of its technique.
    pub ln_size: f64,
    /// Standard deviation of its error.
    pub sigma: f64,
}

/// One crack that was followed: its sizes in the order of starts.
#[derive(Debug, Clone)]
pub(super) struct Followed {
    pub name: String,
    pub kind: SizeKind,
    pub sizes: Vec<Size>,
}

/// Cracks of one hot spot that are measured by one kind of size: their growth curve, and how rates scatter.
#[derive(Debug, Clone)]
pub(super) struct Family {
    pub curve: GrowthCurve,
    /// Mean of the logarithm of the rate of a crack over the median rate of the study.
    pub shift: f64,
    /// Standard deviation from crack to crack of one row.
    pub sigma: f64,
}

impl Followed {
    fn starts_since(&self, size: &Size) -> f64 {
        size.starts - self.sizes[0].starts
    }

    /// Starts from its first to its last size.
    pub fn span(&self) -> f64 {
        self.starts_since(&self.sizes[self.sizes.len() - 1])
    }

    /// Logarithm of the density of the sizes, given the true first one and a factor on the rate.
    fn ln_density(&self, curve: &GrowthCurve, ln_first: f64, factor: f64) -> f64 {
        let from = curve.starts_at(ln_first);
        let term = |size: &Size| {
            let error = (size.ln_size - curve.ln_size_at(from + factor * self.starts_since(size))) / size.sigma;
            -0.5 * error * error - size.sigma.ln() - LN_ROOT_TWO_PI
        };
        self.sizes.iter().map(term).sum()
    }

    /// Between which the true first size may lie, so that the curve does not end before the last one.
    fn first_sizes(&self, curve: &GrowthCurve, factor: f64) -> [f64; 2] {
        let Size { ln_size, sigma, .. } = self.sizes[0];
        let latest = curve.ln_size_at(curve.end_starts() - factor * self.span());
        [ln_size - REACH * sigma, (ln_size + REACH * sigma).min(latest)]
    }

    /// Log-likelihood of the logarithm of the factor on its rate; the true first size is integrated out, flat in its
    /// logarithm.
    fn ln_likelihood(&self, family: &Family, ln_factor: f64) -> f64 {
        let (curve, factor) = (&family.curve, ln_factor.exp());
        let [low, high] = self.first_sizes(curve, factor);
        ln_integral(low, high, |first| self.ln_density(curve, first, factor))
    }

    /// The true first size that explains the sizes best with a factor on the rate.
    pub fn best_first(&self, curve: &GrowthCurve, factor: f64) -> f64 {
        let [low, high] = self.first_sizes(curve, factor);
        largest(low, high, 1e-7, |first| self.ln_density(curve, first, factor)).0
    }

    /// Rates over the median one from which on nothing grows that could be seen, and beyond which no curve is long enough.
    fn ln_factors(&self, family: &Family) -> [f64; 2] {
        /// Growth over the smallest error.
        const UNSEEN: f64 = 1e-5;
        let sigma = self.sizes.iter().map(|size| size.sigma).fold(f64::INFINITY, f64::min);
        let (curve, first) = (&family.curve, self.sizes[0]);
        let unseen = curve.starts_at(first.ln_size) - curve.starts_at(first.ln_size - UNSEEN * sigma);
        let longest = curve.end_starts() - curve.starts_at(first.ln_size - REACH * first.sigma);
        [(unseen / self.span()).ln(), (longest / self.span()).ln()]
    }
}

pub(super) const LN_ROOT_TWO_PI: f64 = 0.918_938_533_204_672_7;

/// What the sizes of one crack say.
#[derive(Debug, Clone)]
pub(super) struct Evidence {
    /// Log-likelihood of the logarithm of the crack's own factor.
    pub own: Known,
    /// Log-likelihood of the logarithm of the factor of its row: its own scatter is integrated out.
    pub of_row: Known,
    /// Where the sizes have the factor of the row to be, and how exactly.
    pub about: [f64; 2],
}

impl Evidence {
    pub fn new(followed: &Followed, family: &Family) -> Self {
        let ends = followed.ln_factors(family);
        let f = |x: f64| followed.ln_likelihood(family, x);
        let own = known(ends, f);
        let [shift, sigma] = [family.shift, family.sigma];
        let centre = own.centre - shift;
        let width = own.width.hypot(sigma);
        /// Deviations of the scatter to which the factor of the row is sought beyond those of the crack.
        const BEYOND: f64 = 12.0;
        let [from, to] = [ends[0] - shift - BEYOND * sigma - 3.0, own.end() - shift + BEYOND * sigma];
        let of_row = Known::new(centre, width, [from, to], |x| averaged(&own, x + shift, sigma));
        Evidence { own, of_row, about: [centre, width] }
    }
}

/// A log-likelihood worked out about its hill, or, where it has none, about where it falls.
fn known([least, most]: [f64; 2], f: impl Fn(f64) -> f64) -> Known {
    /// Below this a hill is none that numbers show.
    const HILL: f64 = 1e-3;
    /// By how much it has fallen at a deviation.
    const FALL: f64 = 0.5;
    let level = f(least);
    let (mut place, mut top) = hill(least, most, &f);
    if !(top - level > HILL) {
        (place, top) = (least, level);
    }
    // Past the end of the curve it is minus infinity, which tells a search as little as any low number.
    let short = |x: f64| (f(x) - (top - FALL)).max(-1e3);
    let fallen = crossing((place, FALL), (most, short(most).min(-1e-9)), 1e-9, short);
    let (centre, width) = if place > least { (place, fallen - place) } else { (fallen, 0.5) };
    Known::new(centre, width.clamp(1e-6, 1.0), [least, most], f)
}

/// The highest place; the hill may be narrow, and level to the left.
fn hill(low: f64, high: f64, f: impl Fn(f64) -> f64) -> (f64, f64) {
    const STEPS: usize = 24;
    let place = |step: usize| low + (high - low) * step as f64 / STEPS as f64;
    let values: Vec<f64> = (0..=STEPS).map(|step| f(place(step))).collect();
    // Of equal ones the last: on the level part the way up is to the right.
    let best = (0..=STEPS).max_by(|a, b| values[*a].total_cmp(&values[*b])).unwrap_or(0);
    largest(place(best.saturating_sub(1)), place((best + 1).min(STEPS)), 1e-7, f)
}

/// Average of a likelihood over a normal number with this mean and deviation, in logarithms.
pub(super) fn averaged(known: &Known, mean: f64, sigma: f64) -> f64 {
    if sigma == 0.0 {
        return known.at(mean);
    }
    let (low, high) = (known.centre.min(mean) - REACH * sigma, known.centre.max(mean) + REACH * sigma);
    let density = |x: f64| -0.5 * ((x - mean) / sigma).powi(2) - sigma.ln() - LN_ROOT_TWO_PI;
    ln_integral(low, high.min(known.end()), |x| known.at(x) + density(x))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Study;

    /// With an exponent of 2 a crack grows exponentially: 1 mm to e mm in 1,000 starts.
    fn exponential() -> Family {
        let text = include_str!("../../../tests/engine/data/everything_on.toml");
        // C (Y S sqrt(pi))**2 = 1e-3
        let text = text.replace("exponent = 2.8", "exponent = 2.0").replace(
            "coefficient_m_per_start = 4e-11",
            &format!("coefficient_m_per_start = {:e}", 1e-3 / (0.73_f64 * 600.0).powi(2) / std::f64::consts::PI),
        );
        let study = Study::parse(&text, "study").expect("a good study");
        let spot = &study.roots[0].hot_spots[0];
        let curve = GrowthCurve::new(&study, spot, SizeKind::Depth, [-8.0, 8.0]);
        assert!((curve.starts_at(1.0) - curve.starts_at(0.0) - 1000.0).abs() < 1e-6);
        Family { curve, shift: 0.0, sigma: 0.0 }
    }

    fn followed(sizes: &[(f64, f64, f64)]) -> Followed {
        let size = |&(starts, ln_size, sigma): &(f64, f64, f64)| Size { line: 1, starts, ln_size, sigma };
        let sizes = sizes.iter().map(size).collect();
        Followed { name: "A".to_owned(), kind: SizeKind::Depth, sizes }
    }

    /// Exponential growth, first size flat in its logarithm: the difference of the logarithms is normal about the growth
    /// with the sum of the variances, on paper.
    #[test]
    fn two_sizes_of_exponential_growth_have_the_likelihood_of_their_ratio() {
        let (family, one) = (exponential(), followed(&[(500.0, 0.2, 0.1), (2500.0, 1.8, 0.2)]));
        let sigma = 0.1_f64.hypot(0.2);
        for ln_factor in [-9.0, -1.0, -0.3, 0.0, 0.2] {
            let error: f64 = (1.6 - 2.0 * f64::exp(ln_factor)) / sigma;
            let expected = -0.5 * error * error - sigma.ln() - LN_ROOT_TWO_PI;
            let ours = one.ln_likelihood(&family, ln_factor);
            assert!((ours - expected).abs() < 1e-6, "{ln_factor}: {ours} and {expected}");
        }
        let own = Evidence::new(&one, &family).own;
        assert!((own.centre - 0.8_f64.ln()).abs() < 1e-5, "{}", own.centre);
        let error: f64 = (1.6 - 2.0 * 0.9) / sigma;
        assert!((own.at(0.9_f64.ln()) + 0.5 * error * error + sigma.ln() + LN_ROOT_TWO_PI).abs() < 1e-5);
    }

    /// Scatter from crack to crack, against the midpoint rule with many points.
    #[test]
    fn the_scatter_of_a_crack_is_averaged_over() {
        let one = followed(&[(0.0, 0.2, 0.1), (2000.0, 1.8, 0.2)]);
        let family = Family { shift: 0.05, sigma: 0.4, ..exponential() };
        let of_row = Evidence::new(&one, &family).of_row;
        let sigma = 0.1_f64.hypot(0.2);
        for x in [-2.0, -0.5, 0.0, 0.7] {
            let step = 1e-3;
            let slice = |index: i32| {
                let z = step * (f64::from(index) + 0.5);
                let error = (1.6 - 2.0 * f64::exp(x + 0.05 + 0.4 * z)) / sigma;
                step * (-0.5 * (error * error + z * z)).exp() / (2.0 * std::f64::consts::PI * sigma)
            };
            let expected: f64 = (-9000..9000).map(slice).sum::<f64>().ln();
            assert!((of_row.at(x) - expected).abs() < 1e-4, "{x}: {} and {expected}", of_row.at(x));
        }
    }

    /// Three sizes: the least squares line through logarithms, with a slope that has its textbook error.
    #[test]
    fn three_sizes_have_the_line_of_least_squares() {
        let (family, one) = (exponential(), followed(&[(0.0, 0.1, 0.1), (1000.0, 1.3, 0.1), (2000.0, 1.9, 0.1)]));
        let own = Evidence::new(&one, &family).own;
        // The slope is (1.9 - 0.1) / 2 by 1,000 starts, its standard error 0.1 / sqrt(2).
        assert!((own.centre - 0.9_f64.ln()).abs() < 1e-5, "{}", own.centre);
        let drop = own.at(own.centre) - own.at(1.0_f64.ln());
        assert!((drop - 0.5 * (0.1 / (0.1 / 2.0_f64.sqrt())).powi(2)).abs() < 1e-4, "{drop}");
    }

    #[test]
    fn sizes_that_show_no_growth_leave_a_level_likelihood() {
        let own = Evidence::new(&followed(&[(0.0, 0.5, 0.3), (100.0, 0.4, 0.3)]), &exponential()).own;
        // It falls from the beginning on.
        assert!(own.level() >= own.at(-6.0) && own.at(-6.0) > own.at(0.0) && own.at(0.0) > own.at(2.0));
    }
}
