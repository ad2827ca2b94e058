//! The line of signal against size, and the noise.

use super::responses::{Responses, Scale};
use crate::bounds::SIGMA_LOG;
use crate::error::{Error, Result};
use crate::statistics::bound::one_sided;
use crate::statistics::censored::{CensoredRegression, Reading};
use crate::statistics::hit_miss::SizeScale;
use crate::statistics::sizes::Spread;

/// Signals within the limits below which no line is fitted, and no noise.
const LEAST: usize = 10;
/// Confidence that the line must rise with.
const RISING: f64 = 0.95;

/// What is fitted: `g(signal) = b0 + b1 * f(size) + tau * e`, e standard normal.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Model {
    /// g.
    pub signal: Scale,
    /// f; a study's curves are on log size.
    pub size: SizeScale,
    /// Known standard deviation of ln(measured size / true size); 0 where sizes are exact.
    ///
    /// The logarithms of true sizes are taken as normally distributed; a signal is then normal given the measured size
    /// too, about the line at the size drawn towards the mean and with the scatter that is left of the size on top
    /// (Carroll, Ruppert, Stefanski and Crainiceanu, Measurement Error in Nonlinear Models, 2nd ed. 2006, chapters 3
    /// and 4; mean and spread of the sizes are plugged in).
    pub size_error_log: f64,
}

/// A line fitted to signals. It never changes.
#[derive(Debug, Clone)]
pub struct SignalFit {
    pub(super) responses: Responses,
    pub(super) model: Model,
    pub(super) line: CensoredRegression,
    /// Of signals at sound places; `None` where too few lie within the limits.
    pub(super) noise: Option<CensoredRegression>,
    /// The line with errors in size ignored, where there are any.
    pub(super) naive: Option<CensoredRegression>,
}

/// Fits a line to signals at cracks, and a mean and a spread to those at sound places.
///
/// # Errors
/// Refuses, with [`Error::reason`] in brackets: fewer than 10 signals within the limits (`too-few`), one size only
/// (`one-size`), sizes whose error is as large as their spread, or would by itself make signals scatter as they do
/// (`size-error`), a line that falls (`reversed`) or whose rise is not to be told from none (`flat`), and a search that
/// does not arrive (`not-converged`); signals that are not positive, where their logarithm is asked for; an error of sizes
/// below 0 or above 3, or with plain size.
///
/// # Example
/// ```
/// use serrata::model::detection::SizeMeasure;
/// use serrata::statistics::signal::{Method, Model, Responses, fit};
///
/// let text = std::fs::read_to_string("tests/statistics/data/ahat_generated.csv").unwrap();
/// let signals: Vec<(f64, f64)> = text
///     .lines()
///     .filter_map(|line| {
///         let mut cells = line.split(',').map(str::parse::<f64>);
///         Some((cells.next()?.ok()?, cells.next()?.ok()?))
///     })
///     .collect();
/// let responses = Responses::new(SizeMeasure::Length, &signals, Some(0.45), Some(5.0))?;
/// let fit = fit(&responses, &Model::default())?;
/// let decision = fit.at_threshold(0.8)?;
/// let q90_95_mm = decision.size_bounds(0.9, 0.95, Method::LikelihoodRatio)?.high.unwrap();
/// assert!((decision.size_at(0.9) - 1.111).abs() < 0.001 && (q90_95_mm - 1.281).abs() < 0.001);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn fit(responses: &Responses, model: &Model) -> Result<SignalFit> {
    check_scale(responses, model)?;
    let [below, within, above] = responses.counts();
    if within < LEAST {
        let what = format!("{below} signals below the floor, {within} within the limits, {above} above saturation");
        let rule = format!("at least {LEAST} within the limits are needed");
        return Err(Error::data("too-few", what, &rule, "take more looks at cracks whose signals lie within"));
    }
    let (smallest, largest) = responses.range_mm();
    if !(largest > smallest) {
        let what = format!("all {} cracks are {smallest} mm", responses.cracked.len());
        let rule = "a line over size needs sizes that differ";
        return Err(Error::data("one-size", what, rule, "add looks at other sizes"));
    }
    let sizes: Vec<f64> = responses.cracked.iter().map(|(size_mm, _)| model.size.of(*size_mm)).collect();
    let readings: Vec<Reading> = responses.cracked.iter().map(|(_, reading)| model.on_scale(*reading)).collect();
    let rows = |sizes: Vec<f64>| -> Vec<Vec<f64>> { sizes.into_iter().map(|x| vec![1.0, x]).collect() };
    let exact = CensoredRegression::fit(&rows(sizes.clone()), &readings)?;
    let (line, naive) = if model.size_error_log > 0.0 {
        let (drawn, left) = drawn_to_mean(&sizes, model.size_error_log)?;
        (inexact(&rows(drawn), &readings, left)?, Some(exact))
    } else {
        (exact, None)
    };
    check_rise(&line)?;
    let noise = match responses.sound.iter().filter(|reading| matches!(reading, Reading::Exact(_))).count() {
        0..LEAST => None,
        _ => {
            let readings: Vec<Reading> = responses.sound.iter().map(|reading| model.on_scale(*reading)).collect();
            Some(CensoredRegression::fit(&vec![vec![1.0]; readings.len()], &readings)?)
        }
    };
    Ok(SignalFit { responses: responses.clone(), model: *model, line, noise, naive })
}

impl Model {
    /// A reading on the scale of the fit.
    fn on_scale(&self, reading: Reading) -> Reading {
        reading.map(|signal| self.signal.of(signal))
    }
}

/// Logarithms of measured sizes drawn towards their mean, and the variance that is left of the true ones about them.
fn drawn_to_mean(sizes: &[f64], error: f64) -> Result<(Vec<f64>, f64)> {
    let Spread { mean, kept, .. } = Spread::of(sizes, error)?;
    Ok((sizes.iter().map(|x| mean + kept * (x - mean)).collect(), kept * error * error))
}

/// The line through signals at sizes that are not exact.
fn inexact(rows: &[Vec<f64>], readings: &[Reading], left: f64) -> Result<CensoredRegression> {
    // All scatter about the sizes drawn to their mean; what the size leaves is a part of it.
    let all = CensoredRegression::fit(rows, readings)?;
    let by_size = all.coefficients()[1] * left.sqrt();
    if !(by_size < all.scale()) {
        return Err(Error::data(
            "size-error",
            format!(
                "signals scatter by {:.3}, the error of the sizes alone would make them by {by_size:.3}",
                all.scale()
            ),
            "nothing is left for the scatter of signals at one size",
            "check the error of the sizes; it may be stated too large",
        ));
    }
    CensoredRegression::fit_inexact(rows, readings, Some((1, left)))
}

fn check_scale(responses: &Responses, model: &Model) -> Result<()> {
    SIGMA_LOG.check("size_error_log", model.size_error_log)?;
    if model.size_error_log > 0.0 && model.size == SizeScale::Plain {
        let rule = "is an error of the logarithm, and this fit is on plain size";
        return Err(Error::argument("size_error_log", model.size_error_log, rule, "fit on log size"));
    }
    let all = responses.cracked.iter().map(|(_, reading)| reading).chain(&responses.sound);
    match all.map(|reading| reading.value()).find(|signal| model.signal == Scale::Log && !(*signal > 0.0)) {
        Some(signal) => {
            let remedy = "state the noise floor below which signals are not read, or fit the plain signal";
            Err(Error::argument("signal", signal, "must exceed 0 to have a logarithm", remedy))
        }
        None => Ok(()),
    }
}

fn check_rise(line: &CensoredRegression) -> Result<()> {
    let deviance = line.deviance(&[0.0, 1.0, 0.0], 1, 0.0);
    if line.coefficients()[1] < 0.0 {
        return Err(Error::data(
            "reversed",
            "larger cracks give smaller signals",
            "a probability of detection rises with size; no q90 has a meaning here",
            "check that signals and sizes are paired as they should be",
        ));
    }
    if deviance < one_sided(RISING) {
        return Err(Error::data(
            "flat",
            format!("signals rise with size no more than chance explains (likelihood ratio {deviance:.2})"),
            &format!(
                "at {:.0} % confidence nothing shows that size matters; q90 would have no upper bound",
                100.0 * RISING
            ),
            "take looks over a wider range of sizes, or more of them",
        ));
    }
    Ok(())
}

impl SignalFit {
    /// The signals.
    pub fn responses(&self) -> &Responses {
        &self.responses
    }

    /// The scales.
    pub fn model(&self) -> Model {
        self.model
    }

    /// The line: its coefficients are b0 and b1, its scale is tau.
    pub fn line(&self) -> &CensoredRegression {
        &self.line
    }

    /// The line with errors in size ignored, to be seen beside the other; `None` where sizes are exact.
    pub fn ignoring_size_error(&self) -> Option<SignalFit> {
        let line = self.naive.clone()?;
        let model = Model { size_error_log: 0.0, ..self.model };
        Some(SignalFit { line, model, naive: None, ..self.clone() })
    }

    /// The noise: its coefficient is the mean, its scale the spread; `None` where fewer than 10 signals at sound
    /// places lie within the limits.
    pub fn noise(&self) -> Option<&CensoredRegression> {
        self.noise.as_ref()
    }
}
