//! How heavy the tail of some weights is.

/// Shape of the generalised Pareto distribution of what lies above the lowest of some numbers: below 1/2 their variance is
/// finite, below 1 their mean.
///
/// J. Zhang and M. A. Stephens, "A new and efficient estimation method for the generalized Pareto distribution",
/// Technometrics 51 (2009) 316-325, drawn to 1/2 with the weight of ten numbers (Vehtari, Simpson, Gelman, Yao and Gabry,
/// "Pareto smoothed importance sampling", Journal of Machine Learning Research 25 (2024), 72). `excesses` are above zero
/// and in rising order; not-a-number for fewer than five, or where the largest is no larger than the first quartile.
pub fn tail_index(excesses: &[f64]) -> f64 {
    /// Numbers that the prior counts for, and where it lies.
    const PRIOR: [f64; 2] = [10.0, 0.5];
    let count = excesses.len();
    if count < 5 || !excesses.iter().all(|excess| excess.is_finite() && *excess > 0.0) {
        return f64::NAN;
    }
    let n = count as f64;
    let (largest, quartile) = (excesses[count - 1], excesses[(n / 4.0 + 0.5).floor() as usize - 1]);
    if largest <= quartile {
        return f64::NAN;
    }
    let candidates = 30 + n.sqrt().floor() as usize;
    let shape_at = |theta: f64| excesses.iter().map(|excess| (-theta * excess).ln_1p()).sum::<f64>() / n;
    let thetas: Vec<f64> = (1..=candidates)
        .map(|j| 1.0 / largest + (1.0 - (candidates as f64 / (j as f64 - 0.5)).sqrt()) / (3.0 * quartile))
        .collect();
    let log_likelihoods: Vec<f64> = thetas
        .iter()
        .map(|theta| {
            let shape = shape_at(*theta);
            n * ((-theta / shape).ln() - shape - 1.0)
        })
        .collect();
    let weight = |own: f64| 1.0 / log_likelihoods.iter().map(|other| (other - own).exp()).sum::<f64>();
    let theta: f64 = thetas.iter().zip(&log_likelihoods).map(|(theta, own)| theta * weight(*own)).sum();
    let [counted, centre] = PRIOR;
    (n * shape_at(theta) + counted * centre) / (n + counted)
}

/// Tail index from which on a mean of so many weights is not to be relied on (the same paper, equation 13).
pub fn largest_reliable_index(count: f64) -> f64 {
    (1.0 - 1.0 / count.log10()).min(0.7)
}

/// How many of so many weights make the tail (the same paper).
pub fn tail_length(count: usize) -> usize {
    if count > 225 { (3.0 * (count as f64).sqrt()).ceil() as usize } else { count / 5 }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Exact quantiles of generalised Pareto distributions: values worked out by another program, which a general
    /// statistics library's fit without the prior agrees with.
    #[test]
    fn shapes_of_exact_quantiles_are_those_of_another_program() {
        for (shape, count, expected) in [
            (-0.3, 25, 0.004_632_505_746_431_548),
            (-0.3, 100, -0.199_476_916_551_264_73),
            (0.0001, 25, 0.200_582_751_371_048_33),
            (0.2, 100, 0.241_250_498_596_138_54),
            (0.5, 100, 0.504_492_784_502_177_9),
            (0.7, 25, 0.646_969_167_156_205_8),
            (1.0, 25, 0.837_568_351_416_147_7),
        ] {
            let quantile = |i: i32| {
                let p = (f64::from(i) - 0.5) / f64::from(count);
                ((1.0_f64 - p).powf(-shape) - 1.0) / shape
            };
            let excesses: Vec<f64> = (1..=count).map(quantile).collect();
            let ours = tail_index(&excesses);
            assert!((ours - expected).abs() < 1e-8, "{shape} {count}: {ours} and {expected}");
        }
    }

    /// Weights of exponential numbers that are drawn from another exponential distribution, on a grid of quantiles.
    #[test]
    fn weights_have_the_tail_of_the_proposal() {
        for (rate, count, expected) in [(1.25, 1_000, 0.236_787_735_857_506_98), (3.0, 1_000, 0.641_725_623_565_509_3)]
        {
            let weight = |i: usize| {
                let p = (i as f64 - 0.5) / count as f64;
                ((rate - 1.0) * (-(1.0_f64 - p).ln() / rate)).exp() / rate
            };
            let weights: Vec<f64> = (1..=count).map(weight).collect();
            let below = weights[count - tail_length(count) - 1];
            let excesses: Vec<f64> =
                weights[count - tail_length(count)..].iter().map(|weight| weight - below).collect();
            let ours = tail_index(&excesses);
            assert!((ours - expected).abs() < 1e-7, "{rate} {count}: {ours} and {expected}");
        }
    }

    #[test]
    fn rules_are_the_published_ones() {
        for (count, limit) in [(500.0, 0.629_488_286_867_414_5), (1_000.0, 0.666_666_666_666_666_7), (4_000.0, 0.7)] {
            assert!((largest_reliable_index(count) - limit).abs() < 1e-12);
        }
        assert_eq!([100, 225, 500, 1_000, 10_000].map(tail_length), [20, 45, 68, 95, 300]);
    }

    #[test]
    fn nothing_is_said_of_few_or_equal_numbers() {
        assert!(tail_index(&[1.0, 2.0, 3.0]).is_nan());
        assert!(tail_index(&[1.0; 50]).is_nan());
    }
}
