//! Whether ranks are uniform, as those of truths among draws of what is believed are if the beliefs are right.
//!
//! Simultaneous bands for the distribution function of ranks (T. Säilynoja, P.-C. Bürkner and A. Vehtari, "Graphical test
//! for discrete uniformity and its applications in goodness-of-fit evaluation and multiple sample comparison", Statistics and
//! Computing 32 (2022)): at each of some points the count below it has a binomial distribution, and the level at each point is
//! set so that all counts lie within their bounds together as often as asked for, exactly.

use statrs::function::gamma::ln_gamma;

/// Bands that the counts of uniform numbers keep to, together, with a stated chance.
#[derive(Debug, Clone, PartialEq)]
pub struct UniformBands {
    /// Level at each point.
    pub pointwise: f64,
    /// For each point, evenly spaced from the first above 0 on, the fewest and the most numbers at or below it.
    pub counts: Vec<[usize; 2]>,
}

impl UniformBands {
    /// Bands for so many numbers, at so many points, the last of which is 1; `error` is the chance that uniform numbers leave
    /// them anywhere.
    ///
    /// # Example
    /// ```
    /// use serrata::statistics::calibration::UniformBands;
    ///
    /// let bands = UniformBands::new(200, 20, 0.05);
    /// assert_eq!(bands.counts[9], [81, 119]);
    /// ```
    pub fn new(numbers: usize, points: usize, error: f64) -> Self {
        const HALVINGS: usize = 50;
        let ln_factorial: Vec<f64> = (0..=numbers).map(|count| ln_gamma(count as f64 + 1.0)).collect();
        let (mut low, mut high) = (0.0, error);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            let bounds = bounds(numbers, points, middle, &ln_factorial);
            if coverage(numbers, &bounds, &ln_factorial) >= 1.0 - error { low = middle } else { high = middle }
        }
        UniformBands { pointwise: low, counts: bounds(numbers, points, low, &ln_factorial) }
    }

    /// Whether some numbers on (0, 1) keep to the bands.
    ///
    /// # Example
    /// ```
    /// use serrata::statistics::calibration::UniformBands;
    ///
    /// let bands = UniformBands::new(100, 20, 0.05);
    /// let even: Vec<f64> = (0..100).map(|number| (f64::from(number) + 0.5) / 100.0).collect();
    /// assert!(bands.hold(&even));
    /// let low: Vec<f64> = even.iter().map(|number| number * number).collect();
    /// assert!(!bands.hold(&low));
    /// ```
    pub fn hold(&self, numbers: &[f64]) -> bool {
        let points = self.counts.len() as f64;
        self.counts.iter().enumerate().all(|(point, [fewest, most])| {
            let below = numbers.iter().filter(|number| **number <= (point + 1) as f64 / points).count();
            (*fewest..=*most).contains(&below)
        })
    }
}

/// Bounds of the counts at each point, each kept to with a chance of one less the level.
fn bounds(numbers: usize, points: usize, level: f64, ln_factorial: &[f64]) -> Vec<[usize; 2]> {
    let quantile = |chance: f64, probability: f64| {
        let mut sum = 0.0;
        for count in 0..=numbers {
            sum += binomial(numbers, count, chance, ln_factorial);
            if sum >= probability {
                return count;
            }
        }
        numbers
    };
    let bound = |point: usize| {
        let chance = point as f64 / points as f64;
        if point == points {
            return [numbers, numbers];
        }
        [quantile(chance, 0.5 * level), quantile(chance, 1.0 - 0.5 * level)]
    };
    (1..=points).map(bound).collect()
}

/// The chance that counts of uniform numbers keep to all bounds.
fn coverage(numbers: usize, bounds: &[[usize; 2]], ln_factorial: &[f64]) -> f64 {
    let points = bounds.len() as f64;
    let mut chances = vec![0.0; numbers + 1];
    chances[0] = 1.0;
    for (point, [fewest, most]) in bounds.iter().enumerate() {
        // Of those that are not below the point before, a share lies below this one.
        let share = 1.0 / (points - point as f64);
        let mut next = vec![0.0; numbers + 1];
        for (before, chance) in chances.iter().enumerate().filter(|(_, chance)| **chance > 0.0) {
            for (count, next) in next.iter_mut().enumerate().take(*most + 1).skip((*fewest).max(before)) {
                *next += chance * binomial(numbers - before, count - before, share, ln_factorial);
            }
        }
        chances = next;
    }
    chances[numbers]
}

fn binomial(numbers: usize, count: usize, chance: f64, ln_factorial: &[f64]) -> f64 {
    if chance >= 1.0 {
        return if count == numbers { 1.0 } else { 0.0 };
    }
    let ln_ways = ln_factorial[numbers] - ln_factorial[count] - ln_factorial[numbers - count];
    (ln_ways + count as f64 * chance.ln() + (numbers - count) as f64 * (-chance).ln_1p()).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Levels and bands by an independent program, exact by recursion.
    #[test]
    fn bands_have_the_levels_that_they_should() {
        for (numbers, points, error, level, middle) in [
            (200, 20, 0.05, 0.006_242_122_3, Some([81, 119])),
            (200, 20, 0.01, 0.001_047_585_753, Some([77, 123])),
            (200, 100, 0.05, 0.003_531_844_76, None),
            (200, 100, 0.01, 0.000_569_215_335, Some([76, 124])),
            (100, 20, 0.05, 0.008_548_364_66, Some([37, 63])),
            (100, 20, 0.01, 0.001_475_666_43, Some([34, 66])),
        ] {
            let bands = UniformBands::new(numbers, points, error);
            assert!((bands.pointwise / level - 1.0).abs() < 0.01, "{numbers}, {points}: {}", bands.pointwise);
            if let Some(middle) = middle {
                assert_eq!(bands.counts[points / 2 - 1], middle, "{numbers}, {points}, {error}");
            }
        }
    }
}
