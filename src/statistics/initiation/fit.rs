//! The fit of a law, and why some data carry none.

use super::law::Law;
use super::likelihood::Problem;
use super::observation::{Observation, Observations};
use super::row_factor::RowLaw;
use crate::error::{Error, Result};
use crate::statistics::newton::{Peak, Plane, climb, inverse};
use nalgebra::{DMatrix, DVector};

/// What is fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Model {
    /// The law.
    pub law: Law,
    /// Its shape (Weibull) or spread of the logarithm (log-normal) where that is assumed, and not estimated.
    pub shape: Option<f64>,
    /// Whether blades of a row share a factor on their hazard, gamma of mean 1.
    pub row_factor: bool,
}

/// A law fitted to what looks have shown of the moments at which cracks began. It never changes.
#[derive(Debug, Clone)]
pub struct InitiationFit {
    pub(super) observations: Observations,
    pub(super) model: Model,
    pub(super) problem: Problem,
    /// `None` where nothing was found: there is no estimate, only a bound.
    pub(super) found: Option<Found>,
}

/// Where the likelihood is largest.
#[derive(Debug, Clone)]
pub(super) struct Found {
    pub peak: Peak,
    pub covariance: DMatrix<f64>,
    /// The problem with a factor of the rows, where one was asked for and its variance came out at nothing.
    pub with_factor: Option<Problem>,
}

/// One parameter of a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Its name: that of the key in a study, of the covariate, or `row_variance`.
    pub name: String,
    /// `None` where the data give a bound only.
    pub value: Option<f64>,
    /// From the observed information; `None` where it was assumed, stands at the end of its range, or there is no value.
    pub standard_error: Option<f64>,
    /// Whether it was assumed.
    pub is_assumed: bool,
}

/// Name of the variance of the factor that a row's blades share.
pub const ROW_VARIANCE: &str = "row_variance";

/// Fits a law by maximum likelihood.
///
/// Where nothing was found at all the fit is a bound: ask for [`InitiationFit::time_bounds`] and
/// [`InitiationFit::fraction_bounds`].
///
/// # Errors
/// Refuses, with [`Error::reason`] in brackets: no find and a free shape, a covariate or a row factor (`no-finds`); finds
/// at the first look only (`only-left`); records that one moment explains (`separation`), or a covariate that tells finds
/// and clean blades apart; cracks that are rarer among older blades (`reversed`); a single row with a row factor
/// (`one-row`); covariates that cannot be told apart, or a search that does not arrive (`not-converged`). An assumed shape
/// must be above 0; the exponential law has none.
///
/// # Example
/// ```
/// use serrata::statistics::initiation::{Law, Model, Observations, Record, fit};
///
/// // Blades found cracked between two outages, and blades still clean, in hours.
/// let groups = [(25e3, 50e3, 3.0), (50e3, 75e3, 7.0), (75e3, 100e3, 9.0), (100e3, f64::INFINITY, 48.0)];
/// let records = groups.map(|(clean, cracked, count)| Record { count, ..Record::new(clean, cracked) });
/// let observations = Observations::from_records(&records, &[])?;
/// let fit = fit(&observations, &Model { law: Law::Weibull, shape: None, row_factor: false })?;
/// let by_100_000 = fit.fraction_at(100e3, &[])?.unwrap();
/// assert!((by_100_000 - 19.0 / 67.0).abs() < 0.01);
/// # Ok::<(), serrata::Error>(())
/// ```
pub fn fit(observations: &Observations, model: &Model) -> Result<InitiationFit> {
    check_shape(model)?;
    let problem = |factor: bool| Problem::new(model.law, model.shape, factor, observations);
    let done = |problem: Problem, found: Option<Found>| InitiationFit {
        observations: observations.clone(),
        model: *model,
        problem,
        found,
    };
    let plain = problem(false);
    if observations.list.iter().all(Observation::favours_late) {
        check_no_finds(observations, model, &plain)?;
        return Ok(done(plain, None));
    }
    check_existence(observations, &plain)?;
    if model.row_factor && observations.rows() < 2 {
        let rule = "how rows differ takes two of them at least";
        return Err(Error::data("one-row", "all blades are of one row", rule, "fit without rows"));
    }
    let alone = best(&plain, &[None]);
    // Finds may be explained best without any crack by this law: as false calls, or by what else cracks.
    let none = observations.without_cracks();
    if none > f64::NEG_INFINITY && alone.as_ref().map_or(true, |peak| peak.value <= none) {
        check_no_finds(observations, model, &plain)?;
        return Ok(done(plain, None));
    }
    let alone = alone?;
    if !model.row_factor {
        let covariance = checked(&plain, observations, &alone)?;
        return Ok(done(plain, Some(Found { peak: alone, covariance, with_factor: None })));
    }
    // The likelihood may have a hill at some variance, or be largest at none; either is looked for.
    let with = problem(true);
    let starts = [0.05, RowLaw::USUAL, 2.0].map(Some);
    let last = with.parameters() - 1;
    let hill = best(&with, &starts).ok();
    let hill = hill.filter(|peak| peak.at[last] > RowLaw::SMALLEST.ln() && peak.value > alone.value);
    match hill {
        Some(peak) => {
            let covariance = checked(&with, observations, &peak)?;
            Ok(done(with, Some(Found { peak, covariance, with_factor: None })))
        }
        None if plain.gain_by_variance(&alone.at) > 0.0 => Err(not_converged()),
        None => {
            let covariance = checked(&plain, observations, &alone)?;
            Ok(done(plain, Some(Found { peak: alone, covariance, with_factor: Some(with) })))
        }
    }
}

impl Observations {
    /// Their log-likelihood were cracks never to begin.
    pub(super) fn without_cracks(&self) -> f64 {
        self.list.iter().map(|one| one.count * one.never.ln()).sum()
    }

    /// Their log-likelihood under a law that is given in full, without covariates and row factor: the time at which 63.2 %
    /// have cracked, for the log-normal law half, and the shape (Weibull) or spread of the logarithm.
    ///
    /// # Errors
    /// Refuses observations with covariates, and a time or shape that is not above 0.
    ///
    /// ```
    /// use serrata::statistics::initiation::{Law, Observation, Observations};
    ///
    /// let clean = Observations::new(vec![Observation::clean(100.0)], &[])?;
    /// let log = clean.log_likelihood(Law::Weibull, 200.0, 2.0)?;
    /// assert!((log + 0.25).abs() < 1e-12);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn log_likelihood(&self, law: Law, time: f64, shape: f64) -> Result<f64> {
        let own = if law == Law::Exponential { None } else { Some(shape) };
        check_shape(&Model { law, shape: own, row_factor: false })?;
        if !(time > 0.0 && time.is_finite()) {
            return Err(Error::argument(
                law.time_name(),
                time,
                "must be a finite number above 0",
                "give that of a law",
            ));
        }
        if !self.covariates.is_empty() {
            return Err(Error::argument("observations", "", "have covariates", "give one group"));
        }
        let problem = Problem::new(law, own, false, self);
        let slope = problem.slope.unwrap_or(1.0);
        Ok(problem.at(&DVector::from_element(1, -slope * (time / problem.unit).ln())).value)
    }
}

fn check_shape(model: &Model) -> Result<()> {
    match (model.shape, model.law.shape_name()) {
        (None, _) => Ok(()),
        (Some(shape), None) => {
            let rule = "the exponential law has no shape";
            Err(Error::argument("shape", shape, rule, "leave it out, or take the weibull law"))
        }
        (Some(shape), Some(name)) if !(shape > 0.0 && shape.is_finite()) => {
            Err(Error::argument(name, shape, "must be a finite number above 0", "leave it out to estimate it"))
        }
        _ => Ok(()),
    }
}

fn check_no_finds(observations: &Observations, model: &Model, problem: &Problem) -> Result<()> {
    let what = match observations.counts() {
        (blades, 0.0, _) => format!("none of {blades} blades was found cracked"),
        (_, finds, _) => format!("{finds} finds are explained best without any crack by this law"),
    };
    let refused = |rule: &str, remedy: &str| Err(Error::data("no-finds", what.clone(), rule, remedy));
    if problem.slope.is_none() {
        let name = model.law.shape_name().unwrap_or("shape");
        let rule = format!("without a find nothing is known of the {name}: it must be assumed");
        return refused(&rule, &format!("state {name}, from blades alike; more than one shows how much hangs on it"));
    }
    if !observations.covariates.is_empty() {
        return refused("without a find nothing is known of covariates", "fit without covariates");
    }
    if model.row_factor {
        return refused("without a find nothing is known of how rows differ", "fit without rows");
    }
    Ok(())
}

/// Refuses data whose likelihood is largest for no law.
fn check_existence(observations: &Observations, problem: &Problem) -> Result<()> {
    let list = &observations.list;
    if list.iter().all(Observation::favours_early) {
        return Err(Error::data(
            "only-left",
            "every blade that tells anything was found cracked at its first look",
            "all cracks may have been there from the beginning: nothing shows how long they took",
            "add blades with a clean look",
        ));
    }
    let (mut latest, mut earliest) = (0.0_f64, f64::INFINITY);
    for (from, to) in list.iter().map(Observation::best_explained) {
        (latest, earliest) = (latest.max(from), earliest.min(to));
    }
    if problem.slope.is_none() && latest <= earliest {
        let name = problem.law.shape_name().unwrap_or("shape");
        return Err(Error::data(
            "separation",
            format!("cracks that all began between {latest} and {earliest} explain every record"),
            &format!("the {name} has no finite estimate, since nothing tells how much the moments scatter"),
            &format!("state {name}, or add records: looks closer together, or blades of other ages"),
        ));
    }
    Ok(())
}

/// The highest of the hills that are climbed from some variances of the row factor.
fn best(problem: &Problem, variances: &[Option<f64>]) -> Result<Peak> {
    /// Of the logarithm of the hazard about the middle of all times: one in half a million million.
    const LOWEST: i32 = 27;
    let count = problem.parameters();
    // With looks that miss there may be more than one hill.
    let slopes: &[f64] = if problem.is_mixed && problem.slope.is_none() { &[1.0, 0.4, 2.5, 6.0] } else { &[1.0] };
    let starts = variances.iter().flat_map(|variance| slopes.iter().map(move |slope| (variance, slope)));
    let peaks = starts.filter_map(|(variance, slope)| {
        let mut start = problem.start();
        if problem.slope.is_none() {
            start[1] = *slope;
        }
        if let Some(variance) = variance {
            start[count - 1] = variance.ln();
        }
        // Where looks miss cracks, too many of them are a plain from which no search climbs.
        if problem.is_mixed {
            let at = |level: f64| {
                let mut there = start.clone();
                there[0] = level;
                (problem.at(&there).value, level)
            };
            let levels = (-LOWEST..=0).map(|step| at(f64::from(step)));
            start[0] = levels.max_by(|one, other| one.0.total_cmp(&other.0)).map_or(0.0, |best| best.1);
        }
        climb(&Plane::whole(count), &start, |theta| problem.at(theta))
    });
    peaks.max_by(|a, b| a.value.total_cmp(&b.value)).ok_or_else(not_converged)
}

/// The covariance of the parameters, where the top is one that the data hold on all sides.
fn checked(problem: &Problem, observations: &Observations, peak: &Peak) -> Result<DMatrix<f64>> {
    /// On the scale of the logarithm of the hazard, over the whole range of a covariate.
    const LOOSE: f64 = 100.0;
    if !(problem.slope_of(&peak.at) > 0.0) {
        return Err(Error::data(
            "reversed",
            "blades looked at later are found cracked no more often",
            "a fraction cracked rises with time; no law of age has a meaning here",
            "check that readings are of the age of the blade, or state the shape",
        ));
    }
    let covariance = inverse(&peak.information).filter(|covariance| covariance.iter().all(|x| x.is_finite()));
    let covariance = covariance.ok_or_else(not_converged)?;
    for (place, name) in observations.covariates.iter().enumerate() {
        let values = || observations.list.iter().map(|one| one.covariates[place]);
        let spread = values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min);
        let index = problem.first_covariate() + place;
        if !(covariance[(index, index)].sqrt() * spread < LOOSE) {
            return Err(Error::data(
                "separation",
                format!("{name} tells blades with a find from those without, or is the same for all"),
                "its coefficient has no finite estimate",
                "leave it out, or add blades at values that both have",
            ));
        }
    }
    Ok(covariance)
}

fn not_converged() -> Error {
    Error::data(
        "not-converged",
        "the likelihood has no top that a search arrives at",
        "covariates may not be told apart, or finds and clean blades be apart altogether",
        "leave out a covariate, or state the shape",
    )
}

impl InitiationFit {
    /// What it is fitted to.
    pub fn observations(&self) -> &Observations {
        &self.observations
    }

    /// What is fitted.
    pub fn model(&self) -> Model {
        self.model
    }

    /// Whether nothing was found, so that there are bounds only.
    pub fn is_bound_only(&self) -> bool {
        self.found.is_none()
    }

    /// The largest log-likelihood; `None` where nothing was found.
    pub fn log_likelihood(&self) -> Option<f64> {
        self.found.as_ref().map(|found| found.peak.value)
    }

    /// Covariance of the parameters that were estimated, in the order of [`InitiationFit::parameters`].
    ///
    /// From the observed information, to first order.
    pub fn covariance(&self) -> Vec<Vec<f64>> {
        let Some(found) = &self.found else { return Vec::new() };
        let rows: Vec<DVector<f64>> =
            self.estimated().iter().map(|quantity| self.natural_gradient(found, quantity)).collect();
        let entry = |a: &DVector<f64>, b: &DVector<f64>| (a.transpose() * &found.covariance * b)[(0, 0)];
        rows.iter().map(|a| rows.iter().map(|b| entry(a, b)).collect()).collect()
    }

    /// All parameters: time, shape, covariates, variance of the row factor.
    ///
    /// Covariates are of the logarithm of the hazard, for the log-normal law of that of the median; time is that of blades
    /// whose covariates are 0, and of a row whose factor is 1.
    pub fn parameters(&self) -> Vec<Parameter> {
        let law = self.model.law;
        let names = [Some(law.time_name()), law.shape_name()].into_iter().flatten().map(str::to_owned);
        let names = names.chain(self.observations.covariates.iter().cloned());
        let names = names.chain(self.model.row_factor.then(|| ROW_VARIANCE.to_owned()));
        let errors: Vec<f64> = self.covariance().iter().enumerate().map(|(place, row)| row[place].sqrt()).collect();
        let estimated = self.estimated();
        names
            .map(|name| {
                let is_assumed = Some(name.as_str()) == law.shape_name() && self.model.shape.is_some();
                let place = estimated.iter().position(|quantity| self.name_of(quantity) == name);
                let value = match (&self.found, place) {
                    _ if is_assumed => self.model.shape,
                    (Some(found), Some(place)) => Some(self.natural_value(found, &estimated[place])),
                    // A factor whose variance came out at nothing.
                    (Some(_), None) => Some(0.0),
                    (None, _) => None,
                };
                let standard_error = place.and_then(|place| errors.get(place).copied());
                Parameter { name, value, standard_error, is_assumed }
            })
            .collect()
    }
}
