//! Rates of rows that are alike and not the same: each learns from all.
//!
//! Counts are Poisson over their exposures, rates of one gamma law, whose shape is exponential of mean 1 and whose rate is
//! gamma of shape 0.1 and rate 1 before the counts are seen (George, Makov and Smith, Scandinavian Journal of Statistics
//! 20 (1993) 147-156). All means and spreads are by quadrature over these two, and not by drawing. The laws before have a
//! scale: exposures should be in a unit in which rates are of the order of one.

use super::rate_change::{GammaRate, Period};
use crate::error::{Error, Result};
use serde::Serialize;
use statrs::function::gamma::ln_gamma;

/// A number after the counts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Posterior {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub standard_deviation: f64,
}

/// Rates of rows after their counts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PooledRates {
    /// Shape of the law that rates are of.
    pub shape: Posterior,
    /// Rate of that law.
    pub rate: Posterior,
    /// The rates, row by row.
    pub rates: Vec<Posterior>,
    /// Logarithm of the chance of the counts.
    pub log_evidence: f64,
}

/// Most rows.
pub const MOST_ROWS: usize = 10_000;

/// Rates of rows from their counts.
///
/// # Errors
/// Refuses fewer than two rows, more than [`MOST_ROWS`], and exposures that are not above 0 and finite.
///
/// ```
/// use serrata::statistics::{pooled_rates::pooled_rates, rate_change::Period};
///
/// let rows = [(1, 1.0), (6, 10.0), (0, 0.1)].map(|(count, exposure)| Period { count, exposure });
/// let pooled = pooled_rates(&rows)?;
/// // Nothing in a short time is no rate of 0.
/// assert!(pooled.rates[2].mean > 0.1);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn pooled_rates(rows: &[Period]) -> Result<PooledRates> {
    check(rows)?;
    let places = Grid::around(|log_shape, log_mean| log_joint(rows, log_shape, log_mean)).places();
    let logs: Vec<f64> = places.iter().map(|(shape, mean, _)| log_joint(rows, *shape, *mean)).collect();
    let highest = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut total = 0.0;
    // First and second moments of shape, rate and the rates.
    let mut moments = vec![[0.0; 2]; 2 + rows.len()];
    for ((log_shape, log_mean, area), log) in places.iter().zip(&logs) {
        /// What counts for nothing in any figure.
        const NOTHING: f64 = 40.0;
        if *log < highest - NOTHING {
            continue;
        }
        let weight = area * (log - highest).exp();
        let law = GammaRate { shape: log_shape.exp(), rate: (log_shape - log_mean).exp() };
        total += weight;
        let mut add = |place: usize, first: f64, second: f64| {
            moments[place][0] += weight * first;
            moments[place][1] += weight * second;
        };
        add(0, law.shape, law.shape * law.shape);
        add(1, law.rate, law.rate * law.rate);
        for (place, row) in rows.iter().enumerate() {
            let after = law.seen(row.count, row.exposure);
            add(2 + place, after.mean(), after.mean() * (after.shape + 1.0) / after.rate);
        }
    }
    let mut all = moments.into_iter().map(|[first, second]| {
        let (mean, square) = (first / total, second / total);
        Posterior { mean, standard_deviation: (square - mean * mean).max(0.0).sqrt() }
    });
    let nothing = Posterior { mean: f64::NAN, standard_deviation: f64::NAN };
    let (shape, rate) = (all.next().unwrap_or(nothing), all.next().unwrap_or(nothing));
    Ok(PooledRates { shape, rate, rates: all.collect(), log_evidence: highest + total.ln() })
}

/// Logarithm of the counts' chance times the density before, by the logarithms of shape and mean of the law.
fn log_joint(rows: &[Period], log_shape: f64, log_mean: f64) -> f64 {
    const RATE_SHAPE: f64 = 0.1;
    let (shape, log_rate) = (log_shape.exp(), log_shape - log_mean);
    let law = GammaRate { shape, rate: log_rate.exp() };
    let counts: f64 = rows.iter().map(|row| law.log_evidence(std::slice::from_ref(row))).sum();
    // Densities of logarithms; from shape and rate to shape and mean nothing is stretched.
    counts - shape + log_shape + RATE_SHAPE * log_rate - law.rate - ln_gamma(RATE_SHAPE)
}

/// A rectangle of the logarithms of shape and mean.
struct Grid {
    from: [f64; 2],
    to: [f64; 2],
}

impl Grid {
    /// Steps along each side: some tens to each standard deviation, at which sums over a smooth hill are right to rounding.
    const STEPS: usize = 200;

    /// Where the hill stands: from all that rates may be, narrowed to what is not nothing, several times.
    fn around(log: impl Fn(f64, f64) -> f64) -> Self {
        const COARSE: usize = 40;
        const NOTHING: f64 = 40.0;
        let mut grid = Grid { from: [-14.0, -40.0], to: [10.0, 40.0] };
        for _ in 0..4 {
            let steps = [0, 1].map(|side| (grid.to[side] - grid.from[side]) / COARSE as f64);
            let places = (0..=COARSE).flat_map(|a| (0..=COARSE).map(move |b| [a, b]));
            let at = |[a, b]: [usize; 2]| [grid.from[0] + a as f64 * steps[0], grid.from[1] + b as f64 * steps[1]];
            let logs: Vec<([f64; 2], f64)> = places.map(at).map(|place| (place, log(place[0], place[1]))).collect();
            let highest = logs.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
            let kept = || logs.iter().filter(|(_, log)| *log > highest - NOTHING).map(|(place, _)| *place);
            // One step further, since the hill may end between two.
            let from = [0, 1].map(|side| kept().map(|place| place[side]).fold(f64::INFINITY, f64::min) - steps[side]);
            let to = [0, 1].map(|side| kept().map(|place| place[side]).fold(f64::NEG_INFINITY, f64::max) + steps[side]);
            grid = Grid { from, to };
        }
        grid
    }

    /// Logarithms of shape and mean, with the area that each stands for.
    fn places(&self) -> Vec<(f64, f64, f64)> {
        let steps = [0, 1].map(|side| (self.to[side] - self.from[side]) / Grid::STEPS as f64);
        let place = |side: usize, step: usize| self.from[side] + step as f64 * steps[side];
        let all = (0..=Grid::STEPS).flat_map(|a| (0..=Grid::STEPS).map(move |b| (a, b)));
        all.map(|(a, b)| (place(0, a), place(1, b), steps[0] * steps[1])).collect()
    }
}

fn check(rows: &[Period]) -> Result<()> {
    if !(2..=MOST_ROWS).contains(&rows.len()) {
        let rule = format!("must be from 2 to {MOST_ROWS} rows");
        return Err(Error::argument("counts", format!("{} rows", rows.len()), &rule, "pool rows that are alike"));
    }
    match rows.iter().position(|row| !(row.exposure > 0.0 && row.exposure.is_finite())) {
        None => Ok(()),
        Some(place) => {
            let name = format!("exposure of row {}", place + 1);
            let remedy = "leave out rows without exposure";
            Err(Error::argument(&name, rows[place].exposure, "must be finite and above 0", remedy))
        }
    }
}
