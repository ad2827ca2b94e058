//! A fit in words.

use super::fit::{InitiationFit, Model, fit};
use super::law::Law;
use super::nonparametric::Nonparametric;
use crate::error::Result;
use crate::statistics::bound::Method;
use std::fmt::Write;

/// Confidence of each bound that a report shows.
const CONFIDENCE: f64 = 0.95;
/// Fraction of the B10 life.
const TENTH: f64 = 0.1;

/// One law beside others fitted to the same observations.
#[derive(Debug, Clone, PartialEq)]
pub struct LawFit {
    /// The law.
    pub law: Law,
    /// Its largest log-likelihood, or why there is none.
    pub log_likelihood: Result<f64>,
    /// Parameters estimated.
    pub parameters: usize,
}

impl InitiationFit {
    /// The distribution of any shape that fits best, to hold the law against; `None` with covariates, or where blades have
    /// several origins or sizes of the hazard: then they have no common one.
    pub fn nonparametric(&self) -> Option<Nonparametric> {
        let is_plain = self.observations.list.iter().all(|one| one.ways.is_empty());
        if self.observations.covariates.is_empty() && is_plain { Nonparametric::of(&self.observations) } else { None }
    }

    /// All laws fitted to the same observations with free shapes, by their likelihood; empty where nothing was found.
    pub fn laws(&self) -> Vec<LawFit> {
        if self.is_bound_only() {
            return Vec::new();
        }
        let of = |law: Law| {
            let fitted = fit(&self.observations, &Model { law, shape: None, row_factor: self.model.row_factor });
            let covariates = self.observations.covariates.len();
            let parameters =
                1 + usize::from(law.shape_name().is_some()) + covariates + usize::from(self.model.row_factor);
            LawFit { law, log_likelihood: fitted.map(|fit| fit.log_likelihood().unwrap_or(f64::NAN)), parameters }
        };
        Law::ALL.map(of).to_vec()
    }

    /// Where the law lies furthest from the distribution of any shape, among the ends of stretches of that one, and how far.
    pub fn largest_gap(&self, best: &Nonparametric) -> Option<(f64, f64)> {
        let mut gaps = Vec::new();
        for time in best.masses.iter().flat_map(|mass| [mass.from, mass.to]).filter(|time| time.is_finite()) {
            let (least, most) = best.fraction_at(time);
            let law = self.fraction_at(time, &[]).ok().flatten()?;
            gaps.push((time, (least - law).max(law - most).max(0.0)));
        }
        gaps.into_iter().max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// What limits the numbers, in sentences.
    pub fn warnings(&self) -> Vec<String> {
        /// Finds below which a shape is hardly known.
        const FEW: f64 = 10.0;
        /// Of the shape's logarithm: two thirds to half as much again.
        const VAGUE: f64 = 1.0 / 3.0;
        /// Rows below which their variance is hardly known.
        const FEW_ROWS: usize = 10;
        let (_, finds, first) = self.observations.counts();
        let mut warnings = self.observations.by_study.as_ref().map_or(Vec::new(), |by_study| by_study.warnings.clone());
        let shape = self.model.law.shape_name().filter(|_| self.model.shape.is_none());
        if let Some(name) = shape.filter(|_| !self.is_bound_only()) {
            let parameters = self.parameters();
            let shape = parameters.iter().find(|parameter| parameter.name == name);
            let error = shape.and_then(|shape| Some((shape.value?, shape.standard_error?)));
            if let Some((value, error)) = error.filter(|(value, error)| finds < FEW || error / value > VAGUE) {
                let looks = if first == finds { ", each known from one look," } else { "" };
                warnings.push(format!(
                    "{finds} finds{looks} say nearly nothing of the {name}: {value:.2} with a standard error of {error:.2}. \
                     Beyond the times looked at everything hangs on it: assume one, and repeat with others"
                ));
            }
        }
        if !self.is_bound_only() {
            let latest = self.observations.latest();
            let tenth = self.time_at(TENTH, &vec![0.0; self.observations.covariates.len()]).ok().flatten();
            if let Some(tenth) = tenth.filter(|time| *time > latest && self.observations.covariates.is_empty()) {
                warnings.push(format!(
                    "a tenth has cracked at {tenth:.4}, beyond the latest look at {latest}: no look shows that"
                ));
            }
            if self.model.row_factor && self.observations.rows() < FEW_ROWS {
                let rows = self.observations.rows();
                warnings.push(format!("{rows} rows say little of how rows differ"));
            }
        }
        warnings
    }

    /// What the numbers mean, in sentences.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if self.is_bound_only() && self.observations.counts().1 > 0.0 {
            notes.push(
                "what was found is explained best without any crack by this law, as false calls or by what else cracks: there is \
                 a bound, where the likelihood has fallen by one less the confidence, and no estimate"
                    .to_owned(),
            );
        } else if self.is_bound_only() {
            notes.push(
                "nothing was found: there is a bound and no estimate; finding nothing does not show that cracks do not begin"
                    .to_owned(),
            );
        } else {
            notes.push("bounds are by profile likelihood, and not symmetric about the value".to_owned());
        }
        if let (Some(name), Some(shape)) = (self.model.law.shape_name(), self.model.shape) {
            notes
                .push(format!("{name} {shape} was assumed: all bounds are given that it is right; repeat with others"));
        }
        let list = &self.observations.list;
        if let Some(by_study) = &self.observations.by_study {
            notes.extend(by_study.notes.iter().cloned());
        } else if list.iter().any(|one| one.cells.iter().any(|cell| cell.coefficient < 1.0)) {
            notes.push(
                "looks miss cracks, and are taken as independent given the crack; clean looks before the last one do not \
                 count, which makes cracks begin earlier"
                    .to_owned(),
            );
        } else {
            notes.push("a clean look is taken as showing that no crack had begun".to_owned());
        }
        if self.model.row_factor {
            notes.push(
                "times and fractions are of a row whose factor is 1; averaged over rows fewer blades crack".to_owned(),
            );
            if self.found.as_ref().is_some_and(|found| found.with_factor.is_some()) {
                notes.push("rows differ no more than chance explains: see the upper bound of row_variance; standard errors are given that \
                     they do not"
                        .to_owned());
            }
        }
        if !self.observations.covariates.is_empty() {
            let what = if self.model.law.shifts_time() { "median" } else { "hazard" };
            let time = self.model.law.time_name();
            notes.push(format!(
                "covariates add to the logarithm of the {what}; the {time} is of blades whose covariates are 0"
            ));
        }
        notes
    }

    /// The whole answer on one screen.
    pub fn summary(&self) -> String {
        let mut page = String::new();
        // Writing to a text cannot fail.
        let _ = self.write(&mut page);
        page
    }

    fn write(&self, page: &mut String) -> std::fmt::Result {
        let (blades, finds, first) = self.observations.counts();
        let unit = &self.observations.unit;
        writeln!(page, "time to a crack: {} law, in {unit}", self.model.law.name())?;
        if !self.observations.source.is_empty() {
            writeln!(page, "  from {}", self.observations.source)?;
        }
        if let Some(by_study) = &self.observations.by_study {
            writeln!(page, "  fitted on the study {:?}: its growth, detection, sizing and duty", by_study.study)?;
        }
        writeln!(page, "  {blades} blades, {finds} found cracked ({first} at the first look)")?;
        for warning in self.warnings() {
            writeln!(page, "  warning: {warning}")?;
        }
        writeln!(
            page,
            "  {:<20} {:>11} {:>14} {:>11} {:>11}   (each bound one-sided at 95 %)",
            "", "value", "standard error", "lower", "upper"
        )?;
        let number = |value: Option<f64>| value.map_or("none".to_owned(), shown);
        for parameter in self.parameters() {
            let bounds = self.parameter_bounds(&parameter.name, CONFIDENCE, Method::LikelihoodRatio);
            let (low, high) = bounds.map_or((None, None), |bounds| (bounds.low, bounds.high));
            let error = if parameter.is_assumed { "assumed".to_owned() } else { number(parameter.standard_error) };
            let [value, low, high] = [parameter.value, low, high].map(number);
            writeln!(page, "  {:<20} {value:>11} {error:>14} {low:>11} {high:>11}", parameter.name)?;
        }
        if self.observations.covariates.is_empty() {
            self.write_course(page)?;
        }
        for line in self.laws() {
            match line.log_likelihood {
                Ok(value) => writeln!(
                    page,
                    "  log-likelihood of {:<12} {value:.3} ({} parameters)",
                    line.law.name(),
                    line.parameters
                )?,
                Err(error) => writeln!(
                    page,
                    "  no fit of {:<12} {}",
                    line.law.name(),
                    error.to_string().lines().next().unwrap_or("")
                )?,
            }
        }
        if let Some(best) = self.nonparametric()
            && let Some((time, gap)) = self.largest_gap(&best)
        {
            // A density is not to be set against a chance.
            let log = match self.observations.list.iter().any(|one| one.is_exact()) {
                true => String::new(),
                false => format!("log-likelihood {:.3}; ", best.log_likelihood),
            };
            writeln!(page, "  any shape: {log}it lies {gap:.3} from the law at most, at {}", shown(time))?;
        }
        self.notes().iter().try_for_each(|note| writeln!(page, "  note: {note}"))
    }

    fn write_course(&self, page: &mut String) -> std::fmt::Result {
        let number = |value: Option<f64>| value.map_or("none".to_owned(), shown);
        let tenth = self.time_at(TENTH, &[]).ok().flatten();
        if let Ok(bounds) = self.time_bounds(TENTH, &[], CONFIDENCE, Method::LikelihoodRatio) {
            let [value, low, high] = [tenth, bounds.low, bounds.high].map(number);
            writeln!(page, "  {:<20} {value:>11} {:>14} {low:>11} {high:>11}", "10 % cracked", "")?;
        }
        let latest = self.observations.latest();
        let fraction = self.fraction_at(latest, &[]).ok().flatten();
        if let Ok((low, high)) = self.fraction_bounds(latest, &[], CONFIDENCE, Method::LikelihoodRatio) {
            let [value, low, high] = [fraction, Some(low), Some(high)].map(number);
            let name = format!("cracked by {}", shown(latest));
            writeln!(page, "  {name:<20} {value:>11} {:>14} {low:>11} {high:>11}", "")?;
        }
        Ok(())
    }
}

/// A number to five figures.
fn shown(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = (4 - value.abs().log10().floor() as i32).clamp(0, 12) as usize;
    format!("{value:.digits$}")
}
