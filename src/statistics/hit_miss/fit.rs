//! A fit: made once, asked often, never changed.

use super::likelihood::{Design, SIZE, dot};
use super::looks::Looks;
use super::model::{Model, SizeScale};
use super::problem::{Best, Constraint, Problem, row};
use super::separation;
use crate::bounds;
use crate::error::{Error, Result};
use crate::model::detection::PodCurve;
use crate::statistics::bound::one_sided;
use crate::statistics::newton::inverse;
use nalgebra::DMatrix;

/// Hits, and misses, below which no curve is fitted.
pub const LEAST: usize = 5;
/// The same for a penalised fit.
pub const LEAST_PENALISED: usize = 2;
/// Confidence that a slope must rise with: that of the usual one-sided bound.
pub(super) const RISING: f64 = 0.95;

/// A curve fitted to hits and misses.
///
/// With factors, everything that depends on them is of the reference levels, or of those that
/// [`Fit::with_levels`] was given.
#[derive(Debug, Clone)]
pub struct Fit {
    pub(super) looks: Looks,
    pub(super) problem: Problem,
    pub(super) best: Best,
    pub(super) levels: Vec<usize>,
    /// The same fit with errors in size ignored.
    pub(super) naive: Option<Box<Fit>>,
}

/// A fitted parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct Coefficient {
    /// `level`, `slope`, `surface = peened`, ... or `between inspectors`.
    pub name: String,
    /// Value on the scale of the link.
    pub value: f64,
    /// Standard error from the observed information (expected, in a penalised fit); not a number where it is singular.
    pub standard_error: f64,
    /// The same from the expected information, as iteratively reweighted least squares has it; `None` where that is not
    /// worked out. For a logit the two are one.
    pub expected_standard_error: Option<f64>,
}

/// Fits a curve to looks.
///
/// # Errors
/// Refuses, with [`Error::reason`] in brackets: too few hits or misses (`too-few`; [`LEAST`]), only one kind
/// of answer (`one-class`), one size only (`one-size`), factors that cannot be told apart (`confounded`),
/// hits and misses that do not overlap (`separation`, `quasi-separation`; a penalised fit takes them),
/// a curve that falls (`reversed`), one whose rise is not to be told from none (`flat`), and a search that
/// does not arrive (`not-converged`).
///
/// # Example
/// ```
/// use serrata::statistics::hit_miss::{Looks, Method, Model, fit};
///
/// let text = std::fs::read_to_string("tests/statistics/data/hitmiss_generated.csv").unwrap();
/// let looks: Vec<(f64, bool)> = text
///     .lines()
///     .filter_map(|line| line.split_once(','))
///     .filter_map(|(size, hit)| Some((size.parse().ok()?, hit == "1")))
///     .collect();
/// let fit = fit(&Looks::from_pairs(&looks)?, &Model::default())?;
/// let q90_mm = fit.size_at(0.9).unwrap();
/// let bound_mm = |method| fit.size_bounds(0.9, 0.95, method).map(|bounds| bounds.high.unwrap());
/// assert!((q90_mm - 3.108).abs() < 0.001 && (bound_mm(Method::LikelihoodRatio)? - 5.237).abs() < 0.003);
/// assert!(bound_mm(fit.usual_method())? > bound_mm(Method::LikelihoodRatio)?);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn fit(looks: &Looks, model: &Model) -> Result<Fit> {
    model.check()?;
    check_counts(looks, model)?;
    let plain = Problem::new(looks, &model.plain())?;
    let weights = plain.weights();
    check_rank(looks, &plain.design)?;
    if !model.penalised {
        separation::refuse(looks, &plain.design, &weights)?;
    }
    let not_converged = |what: &str| {
        let remedy = "fit a simpler model, or report the data as a fault of serrata";
        Error::data(
            "not-converged",
            format!("the search for the best {what} does not arrive"),
            "no result is shown",
            remedy,
        )
    };
    let first = plain.best(&weights, &plain.start(), &Constraint::None).ok_or_else(|| not_converged("curve"))?;
    let flat =
        plain.best(&weights, &plain.start(), &Constraint::Holding(SIZE, 0.0)).ok_or_else(|| not_converged("level"))?;
    let flat_gain = first.value - flat.value;
    check_rise(looks, first.theta[SIZE], flat_gain)?;
    let levels = vec![0; looks.factors.len()];
    let simple = Fit { looks: looks.clone(), problem: plain, best: first, levels, naive: None };
    if model.is_plain() {
        return Ok(simple);
    }
    let problem = Problem::new(looks, model)?;
    let mut start = problem.start();
    let begun = &simple.best.theta;
    start.rows_mut(0, begun.len()).copy_from(begun);
    let best = problem.best(&weights, &start, &Constraint::None).ok_or_else(|| not_converged("curve"))?;
    check_rise(looks, best.theta[SIZE], flat_gain)?;
    let naive = if model.size_error_log > 0.0 {
        let exact = Model { size_error_log: 0.0, ..model.clone() };
        Some(Box::new(fit(looks, &exact)?))
    } else {
        None
    };
    Ok(Fit { problem, best, naive, ..simple })
}

fn check_counts(looks: &Looks, model: &Model) -> Result<()> {
    let (hits, count) = looks.hits();
    let misses = count - hits;
    let there = format!("{count} looks at cracks, {hits} hits and {misses} misses");
    if hits == 0 || misses == 0 {
        let remedy = if misses == 0 {
            "add the looks that missed a crack: findings alone flatter any technique"
        } else {
            "add looks at larger cracks, some of which are found"
        };
        return Err(Error::data("one-class", there, "a curve needs hits and misses", remedy));
    }
    let least = if model.penalised { LEAST_PENALISED } else { LEAST };
    if hits < least || misses < least {
        let (fewer, few) = if hits < misses { ("hits", hits) } else { ("misses", misses) };
        let rule = format!("at least {least} hits and {least} misses are needed");
        let mut remedy = format!("take looks that give at least {} more {fewer}", least - few);
        if !model.penalised && hits.min(misses) >= LEAST_PENALISED {
            remedy.push_str(", or fit with penalised = true");
        }
        return Err(Error::data("too-few", there, &rule, &remedy));
    }
    let (smallest, largest) = looks.range_mm();
    if !(largest > smallest) {
        let what = format!("all {count} cracks are {smallest} mm");
        return Err(Error::data(
            "one-size",
            what,
            "a curve over size needs sizes that differ",
            "add looks at other sizes",
        ));
    }
    Ok(())
}

/// Refuses factors whose effects cannot be told from each other or from that of size.
fn check_rank(looks: &Looks, design: &Design) -> Result<()> {
    /// Of the squared part of a column that no other column explains.
    const ROUNDING: f64 = 1e-9;
    let width = design.width;
    let mut names = vec!["level".to_owned(), "size".to_owned()];
    for factor in &looks.factors {
        names.extend(factor.levels[1..].iter().map(|level| format!("{} = {level}", factor.name)));
    }
    let count = design.hits.len();
    let mut rows = DMatrix::from_row_slice(count, width, &design.rows);
    for column in 0..width {
        let before = rows.column(column).norm_squared();
        for other in 0..column {
            let along = rows.column(column).dot(&rows.column(other));
            let explained = rows.column(other) * along;
            rows.column_mut(column).axpy(-1.0, &explained, 1.0);
        }
        let left = rows.column(column).norm_squared();
        if left <= ROUNDING * before || before == 0.0 {
            let what =
                format!("the effect of {} cannot be told from those of {}", names[column], names[..column].join(", "));
            let remedy = "leave one of the factors out, or take looks in which they do not go together";
            return Err(Error::data("confounded", what, "each effect needs looks of its own", remedy));
        }
        let scale = 1.0 / left.sqrt();
        rows.column_mut(column).scale_mut(scale);
    }
    Ok(())
}

/// Refuses a curve that falls, or that cannot be told from a level one.
fn check_rise(looks: &Looks, slope: f64, flat_gain: f64) -> Result<()> {
    let (hits, count) = looks.hits();
    let what = format!("of {count} cracks {hits} are found, with");
    if slope < 0.0 {
        return Err(Error::data(
            "reversed",
            format!("{what} larger ones found less often than smaller ones"),
            "a probability of detection rises with size; no q90 has a meaning here",
            "check that calls and sizes are paired as they should be; if they are, size is not what decides",
        ));
    }
    if 2.0 * flat_gain < one_sided(RISING) {
        return Err(Error::data(
            "flat",
            format!("{what} no more of the larger ones than chance explains (likelihood ratio {:.2})", 2.0 * flat_gain),
            &format!(
                "at {:.0} % confidence nothing shows that size matters; q90 would have no upper bound",
                100.0 * RISING
            ),
            "take looks over a wider range of sizes, or more of them; an average over all sizes is all these tell",
        ));
    }
    Ok(())
}

impl Fit {
    /// The looks.
    pub fn looks(&self) -> &Looks {
        &self.looks
    }

    /// The model.
    pub fn model(&self) -> &Model {
        &self.problem.model
    }

    /// Factors, with the levels that the fit is seen at.
    pub fn levels(&self) -> impl Iterator<Item = (&str, &str)> {
        let factors = self.looks.factors.iter().zip(&self.levels);
        factors.map(|(factor, level)| (factor.name.as_str(), factor.levels[*level].as_str()))
    }

    /// The same fit, seen at other levels of its factors; those left out stay as they are.
    ///
    /// # Errors
    /// Refuses a factor or a level that the fit does not have.
    pub fn with_levels(&self, levels: &[(&str, &str)]) -> Result<Fit> {
        let mut changed = self.clone();
        for (name, level) in levels {
            let factors = &self.looks.factors;
            let index = factors.iter().position(|factor| factor.name == *name).ok_or_else(|| {
                let known: Vec<&str> = factors.iter().map(|factor| factor.name.as_str()).collect();
                let remedy = if known.is_empty() {
                    "it has none".to_owned()
                } else {
                    format!("choose from {}", known.join(", "))
                };
                Error::argument("factor", format!("{name:?}"), "the fit has no such factor", &remedy)
            })?;
            changed.levels[index] = factors[index].levels.iter().position(|known| known == level).ok_or_else(|| {
                let remedy = format!("choose one of {}", factors[index].levels.join(", "));
                Error::argument(name, format!("{level:?}"), "the fit has no such level", &remedy)
            })?;
        }
        changed.naive = match &self.naive {
            Some(naive) => Some(Box::new(naive.with_levels(levels)?)),
            None => None,
        };
        Ok(changed)
    }

    /// Largest log-likelihood, penalty included where there is one.
    pub fn log_likelihood(&self) -> f64 {
        // The penalty counts the determinant for sizes as they are, not for standardised ones.
        self.best.value + if self.model().penalised { self.problem.sd.ln() } else { 0.0 }
    }

    /// Fitted or held probability at the smallest sizes.
    pub fn floor(&self) -> f64 {
        self.best.floor
    }

    /// Fitted or held probability at the largest sizes.
    pub fn ceiling(&self) -> f64 {
        self.best.ceiling
    }

    /// The parameters, level and slope first, on the scale of the link and of the size.
    pub fn coefficients(&self) -> Vec<Coefficient> {
        let values = self.unstandardised() * &self.best.theta;
        let covariance = self.covariance_matrix(&self.best.information);
        let mut names = vec!["level".to_owned(), "slope".to_owned()];
        for factor in &self.looks.factors {
            names.extend(factor.levels[1..].iter().map(|level| format!("{} = {level}", factor.name)));
        }
        if self.model().between_inspectors {
            names.push("between inspectors".to_owned());
        }
        let error = |index: usize| covariance.as_ref().map_or(f64::NAN, |matrix| matrix[(index, index)].sqrt());
        let expected = self.expected_covariance();
        let expected = |index: usize| Some(expected.as_ref()?.get(index)?[index].sqrt());
        let last = self.problem.design.width;
        // The likelihood does not know the sign of a spread.
        let value = |index: usize| if index == last { values[index].abs() } else { values[index] };
        names
            .into_iter()
            .enumerate()
            .map(|(index, name)| Coefficient {
                name,
                value: value(index),
                standard_error: error(index),
                expected_standard_error: expected(index),
            })
            .collect()
    }

    /// Covariance of the parameters in the order of [`Fit::coefficients`], from the observed information
    /// (expected, in a penalised fit); a fitted floor or ceiling is taken as known. `None` when it is singular.
    pub fn covariance(&self) -> Option<Vec<Vec<f64>>> {
        self.covariance_matrix(&self.best.information).map(|matrix| lines(&matrix))
    }

    /// The same from the expected information, as iteratively reweighted least squares has it; for a regression
    /// without more.
    pub fn expected_covariance(&self) -> Option<Vec<Vec<f64>>> {
        if !self.model().is_plain() && !self.model().penalised {
            return None;
        }
        let design = &self.problem.design;
        let mut information = DMatrix::zeros(design.width, design.width);
        for look in 0..design.hits.len() {
            let row = design.row(look);
            let weight = self.model().link.expected(dot(row, self.best.theta.as_slice())).0;
            for a in 0..design.width {
                for b in 0..design.width {
                    information[(a, b)] += weight * row[a] * row[b];
                }
            }
        }
        self.covariance_matrix(&information).map(|matrix| lines(&matrix))
    }

    fn covariance_matrix(&self, information: &DMatrix<f64>) -> Option<DMatrix<f64>> {
        let change = self.unstandardised();
        inverse(information).map(|covariance| &change * covariance * change.transpose())
    }

    /// From parameters of standardised sizes to those of sizes as they are.
    pub(super) fn unstandardised(&self) -> DMatrix<f64> {
        let count = self.problem.design.parameters();
        let mut change = DMatrix::identity(count, count);
        change[(SIZE, SIZE)] = 1.0 / self.problem.sd;
        change[(0, SIZE)] = -self.problem.mean / self.problem.sd;
        change
    }

    /// Predictor at a size on the scale of the fit, at the fit's levels; for the median inspector.
    pub(super) fn predictor(&self, x: f64) -> f64 {
        dot(&self.row_at(x), self.best.theta.as_slice())
    }

    /// Row of the design at a size on the scale of the fit, at the fit's levels.
    pub(super) fn row_at(&self, x: f64) -> Vec<f64> {
        row(&self.looks, &self.levels, self.problem.standardised(x))
    }

    /// Probability of detection at a size in mm.
    ///
    /// # Errors
    /// Refuses a size that is not a length.
    pub fn pod_at(&self, size_mm: f64) -> Result<f64> {
        let eta = self.predictor(self.model().scale.of(checked_size(size_mm)?));
        Ok(self.best.floor + (self.best.ceiling - self.best.floor) * self.model().link.probability(eta))
    }

    /// Size in mm that is found with a probability; `None` where the curve does not reach it.
    pub fn size_at(&self, pod: f64) -> Option<f64> {
        self.place_at(pod).map(|x| self.model().scale.size_mm(x))
    }

    /// Place of a probability on the scale of the fit.
    pub(super) fn place_at(&self, pod: f64) -> Option<f64> {
        self.place_on(&self.best, pod)
    }

    /// The same on the curve of other parameters.
    pub(super) fn place_on(&self, best: &Best, pod: f64) -> Option<f64> {
        let inner = (pod - best.floor) / (best.ceiling - best.floor);
        if !(inner > 0.0 && inner < 1.0) {
            return None;
        }
        let at_zero = dot(&self.row_at(0.0), best.theta.as_slice());
        let slope = best.theta[SIZE] / self.problem.sd;
        Some((self.model().link.quantile(inner) - at_zero) / slope)
    }

    /// Rise of the predictor per unit of the scale.
    pub(super) fn slope(&self) -> f64 {
        self.best.theta[SIZE] / self.problem.sd
    }

    /// The curve, as a study takes it.
    ///
    /// # Errors
    /// Refuses a fit on plain size or with the complementary log-log link: a study has no such curves.
    pub fn pod_curve(&self) -> Result<PodCurve> {
        let Some(shape) = self.model().link.shape() else {
            let rule = "is no curve that a study has";
            return Err(Error::argument("link", self.model().link.name(), rule, "fit with logit or probit"));
        };
        if self.model().scale == SizeScale::Plain {
            return Err(Error::argument("scale", "plain", "is no curve that a study has", "fit on log size"));
        }
        let (at_zero, slope) = (self.predictor(0.0), self.slope());
        Ok(PodCurve {
            size: self.looks.measure,
            shape,
            q50_mm: (-at_zero / slope).exp(),
            spread: 1.0 / slope,
            floor: self.best.floor,
            ceiling: self.best.ceiling,
        })
    }

    /// Spread between inspectors as a shift of ln q50: what a study calls `inspection_sigma`. Zero where it
    /// is not fitted.
    pub fn inspection_sigma(&self) -> f64 {
        match self.model().between_inspectors {
            true => self.best.theta[self.problem.design.width].abs() / self.slope(),
            false => 0.0,
        }
    }

    /// Shift of ln q50 of each level of a factor against its reference level; positive is worse.
    ///
    /// # Errors
    /// Refuses a factor that the fit does not have.
    pub fn shifts_log(&self, factor: &str) -> Result<Vec<(String, f64)>> {
        let mut column = 2;
        for known in &self.looks.factors {
            if known.name == factor {
                let shift =
                    |level: usize| if level == 0 { 0.0 } else { -self.best.theta[column + level - 1] / self.slope() };
                return Ok(known.levels.iter().enumerate().map(|(level, name)| (name.clone(), shift(level))).collect());
            }
            column += known.levels.len() - 1;
        }
        let known: Vec<&str> = self.looks.factors.iter().map(|factor| factor.name.as_str()).collect();
        let remedy =
            if known.is_empty() { "it has none".to_owned() } else { format!("choose from {}", known.join(", ")) };
        Err(Error::argument("factor", format!("{factor:?}"), "the fit has no such factor", &remedy))
    }

    /// The same model with errors in size ignored, to show what that would do; `None` where sizes are exact.
    pub fn ignoring_size_error(&self) -> Option<&Fit> {
        self.naive.as_deref()
    }
}

pub(super) fn checked_size(size_mm: f64) -> Result<f64> {
    bounds::LENGTH_MM.check("size_mm", size_mm)?;
    Ok(size_mm)
}

fn lines(matrix: &DMatrix<f64>) -> Vec<Vec<f64>> {
    matrix.row_iter().map(|row| row.iter().copied().collect()).collect()
}
