//! Which clock drives cracking, by what records say.

use super::{InitiationOnStudy, Looked, unit};
use crate::error::Result;
use crate::model::Study;
use crate::model::usage::Clock;
use crate::simulation::tables::{Cell, Head, Table};
use crate::statistics::initiation::{Law, Model, fit};
use crate::statistics::records::Records;
use std::fmt::Write;

/// One law on one clock.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockFit {
    /// Its clock.
    pub clock: Clock,
    /// The law.
    pub law: Law,
    /// Its largest log-likelihood, or why there is none.
    pub log_likelihood: Result<f64>,
    /// Parameters estimated.
    pub parameters: usize,
}

/// Laws on clocks, fitted to the same records.
#[derive(Debug, Clone, PartialEq)]
pub struct InitiationClocks {
    /// Name of the study.
    pub study: String,
    /// Source of the records.
    pub source: String,
    /// Starts, hours, and the mixture of the study if it has one, each with every law.
    pub fits: Vec<ClockFit>,
    /// Fewest and most hours a start over the lives of blades.
    pub hours_per_start: (f64, f64),
}

/// Difference of two log-likelihoods below which neither is said to explain better: a ratio of chances of 7.
const CLEAR: f64 = 2.0;
/// Ratio of the hours a start of two blades below which clocks are said to go alike.
const ALIKE: f64 = 1.1;

impl Study {
    /// The fit of [`Study::fit_initiation`] with each law on starts, on hours, and on the mixture of both that the study has,
    /// if it has one: which explains the records best?
    ///
    /// The law of the options has no effect, nor has the clock; a stated shape is that of the Weibull law.
    ///
    /// # Errors
    /// As there, but for laws that the records carry no fit of: these are told of one by one.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::InitiationOnStudy;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("tests/engine/data/given/a.toml")?;
    /// let records = Records::load("tests/engine/data/given/b.csv", &Format::default())?;
    /// let options = InitiationOnStudy { cracks: 256, ..InitiationOnStudy::default() };
    /// let clocks = study.initiation_clocks(&records, &options)?;
    /// // One unit with one duty: its hours and starts go together.
    /// assert!(clocks.verdict().contains("cannot be told apart"));
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn initiation_clocks(&self, records: &Records, options: &InitiationOnStudy) -> Result<InitiationClocks> {
        Looked::new(self, records, options)?.clocks(options)
    }
}

impl Looked<'_> {
    fn clocks(&self, options: &InitiationOnStudy) -> Result<InitiationClocks> {
        let own = self.own_clock();
        let is_mixture = own.per_start > 0.0 && own.per_hour > 0.0;
        let mut fits = Vec::new();
        for clock in [Clock::STARTS, Clock::HOURS].into_iter().chain(is_mixture.then_some(own)) {
            let observations = self.observations(clock, options.row_factor);
            for law in Law::ALL {
                let shape = options.shape.filter(|_| law == Law::Weibull);
                let model = Model { law, shape, row_factor: options.row_factor };
                let fitted = observations.clone().and_then(|observations| fit(&observations, &model));
                let is_free = law.shape_name().is_some() && shape.is_none();
                fits.push(ClockFit {
                    clock,
                    law,
                    log_likelihood: fitted.map(|fit| fit.log_likelihood().unwrap_or(f64::NAN)),
                    parameters: 1 + usize::from(is_free) + usize::from(options.row_factor),
                });
            }
        }
        Ok(InitiationClocks {
            study: self.study.name.clone(),
            source: self.source.clone(),
            fits,
            hours_per_start: self.hours_per_start(),
        })
    }

    /// Over the lives of blades, to the end of each cell in which a crack may have begun.
    fn hours_per_start(&self) -> (f64, f64) {
        let (mut fewest, mut most) = (f64::INFINITY, 0.0_f64);
        for seen in &self.seen {
            let gathered = |clock: Clock, year: f64| {
                let (readings, _) = self.clock_of(seen.row, clock);
                readings.at(year) - readings.at(seen.installed_year)
            };
            for year in seen.moments() {
                let ratio = gathered(Clock::HOURS, year) / gathered(Clock::STARTS, year);
                if ratio >= 0.0 {
                    (fewest, most) = (fewest.min(ratio), most.max(ratio));
                }
            }
        }
        (fewest, most)
    }
}

impl InitiationClocks {
    /// The log-likelihood of a law on a clock, if it has a fit.
    fn log_likelihood(&self, clock: Clock, law: Law) -> Option<f64> {
        let fit = self.fits.iter().find(|fit| fit.clock == clock && fit.law == law)?;
        fit.log_likelihood.as_ref().ok().copied().filter(|value| value.is_finite())
    }

    /// By how much the best law on hours is more likely than the best one on starts, as a logarithm, of laws that have a fit
    /// on both; none if no law has.
    pub fn hours_over_starts(&self) -> Option<f64> {
        let both = Law::ALL.into_iter().filter_map(|law| {
            Some((self.log_likelihood(Clock::STARTS, law)?, self.log_likelihood(Clock::HOURS, law)?))
        });
        let best = both.reduce(|best, own| (best.0.max(own.0), best.1.max(own.1)))?;
        Some(best.1 - best.0)
    }

    /// Whether starts and hours can be told apart, in a sentence.
    pub fn verdict(&self) -> String {
        let (fewest, most) = self.hours_per_start;
        if !(most / fewest > ALIKE) {
            return format!(
                "starts and hours cannot be told apart: all blades gathered between {fewest:.1} and {most:.1} hours a start, so \
                 that both clocks go alike"
            );
        }
        let Some(difference) = self.hours_over_starts() else {
            return "starts and hours cannot be told apart: no law has a fit on both, as the table says".to_owned();
        };
        let (better, worse) = if difference > 0.0 { ("hours", "starts") } else { ("starts", "hours") };
        let size = difference.abs();
        if size < CLEAR {
            return format!(
                "starts and hours cannot be told apart by these records: log-likelihoods differ by {size:.2}, less than {CLEAR}"
            );
        }
        format!(
            "{better} explain the records better than {worse}: log-likelihoods differ by {size:.2}, some {:.0} times as probable. What \
             else differs between units can look like a clock",
            size.exp()
        )
    }

    /// A line for each clock and law: log-likelihood, by how much it falls short of the best of all, and parameters.
    pub fn table(&self) -> Table {
        let heads = [
            Head::Text("clock"),
            Head::Text("law"),
            Head::Number("log_likelihood"),
            Head::Number("difference"),
            Head::Count("parameters"),
            Head::Text("reason"),
        ];
        let mut table = Table::new("clocks", &heads);
        let values = || self.fits.iter().filter_map(|fit| fit.log_likelihood.as_ref().ok());
        let best = values().copied().filter(|value| value.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        for fit in &self.fits {
            let (value, reason) = match &fit.log_likelihood {
                Ok(value) => (*value, String::new()),
                Err(error) => (f64::NAN, error.to_string()),
            };
            let texts: [Cell; 2] = [unit(fit.clock).as_str().into(), fit.law.name().into()];
            let numbers = [value, value - best].map(Cell::from);
            table
                .line(texts.into_iter().chain(numbers).chain([(fit.parameters as u64).into(), reason.as_str().into()]));
        }
        table
    }

    /// The whole answer as text.
    pub fn summary(&self) -> String {
        let mut page = format!("{}: what drives cracking, starts or hours?\n  from {}\n", self.study, self.source);
        let values = || self.fits.iter().filter_map(|fit| fit.log_likelihood.as_ref().ok());
        let best = values().copied().filter(|value| value.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        let _ = writeln!(
            page,
            "  {:<28} {:<12} {:>14} {:>11} {:>11}",
            "clock", "law", "log-likelihood", "to the best", "parameters"
        );
        for fit in &self.fits {
            let (clock, law) = (unit(fit.clock), fit.law.name());
            let _ = match &fit.log_likelihood {
                Ok(value) => {
                    writeln!(
                        page,
                        "  {clock:<28} {law:<12} {value:>14.3} {:>11.3} {:>11}",
                        value - best,
                        fit.parameters
                    )
                }
                Err(error) => {
                    let why = error.to_string().lines().next().unwrap_or("").to_owned();
                    writeln!(page, "  {clock:<28} {law:<12} none: {why}")
                }
            };
        }
        let _ = writeln!(page, "  {}", self.verdict());
        page
    }
}
