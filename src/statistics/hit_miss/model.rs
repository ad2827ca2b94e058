//! What is fitted to hits and misses, and by which means.

use super::link::Link;
use crate::bounds;
use crate::error::{Error, Result};

/// What is fitted: `floor + (ceiling - floor) * F(b0 + b1 * x + factors)`, x the logarithm of size or size.
#[derive(Debug, Clone, PartialEq)]
pub struct Model {
    /// F.
    pub link: Link,
    /// What x is.
    pub scale: SizeScale,
    /// Whether the likelihood is penalised by the square root of the determinant of the expected information
    /// (Jeffreys' prior): the estimate then exists for separated data too and shrinks towards no effect.
    ///
    /// For the logit link this is the bias-reducing method of Firth, Biometrika 80 (1993) 27-38; for the
    /// others see Kosmidis and Firth, Biometrika 108 (2021) 71-82.
    pub penalised: bool,
    /// Probability of a call at the smallest sizes.
    pub floor: Limit,
    /// Probability of a call at the largest sizes.
    pub ceiling: Limit,
    /// Whether inspectors differ by a normal shift of the predictor, whose spread is fitted.
    pub between_inspectors: bool,
    /// Known standard deviation of ln(measured size / true size); 0 where sizes are exact.
    ///
    /// The logarithms of true sizes are taken as normally distributed; what a measured size then says of the
    /// true one is averaged over (Carroll, Ruppert, Stefanski and Crainiceanu, Measurement Error in Nonlinear
    /// Models, 2nd ed. 2006, chapters 4 and 8; mean and spread of the sizes are plugged in).
    pub size_error_log: f64,
}

/// The size, or its logarithm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SizeScale {
    /// Natural logarithm of the size in mm; what a study's curves have.
    #[default]
    Log,
    /// The size in mm.
    Plain,
}

impl SizeScale {
    /// The size on the scale of the fit.
    pub fn of(self, size_mm: f64) -> f64 {
        match self {
            SizeScale::Log => size_mm.ln(),
            SizeScale::Plain => size_mm,
        }
    }

    /// The size in mm at a place on the scale.
    pub fn size_mm(self, x: f64) -> f64 {
        match self {
            SizeScale::Log => x.exp(),
            SizeScale::Plain => x,
        }
    }

    /// Words for reports.
    pub fn words(self) -> &'static str {
        match self {
            SizeScale::Log => "log size",
            SizeScale::Plain => "size",
        }
    }
}

/// An end of the curve: held or fitted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// Held at a probability.
    Fixed(f64),
    /// Fitted.
    Free,
}

impl Default for Model {
    fn default() -> Self {
        Model {
            link: Link::Logit,
            scale: SizeScale::Log,
            penalised: false,
            floor: Limit::Fixed(0.0),
            ceiling: Limit::Fixed(1.0),
            between_inspectors: false,
            size_error_log: 0.0,
        }
    }
}

impl Model {
    /// The middle, which a floor stays below and a ceiling above.
    pub(super) const MIDDLE: f64 = 0.5;

    /// Whether floor or ceiling is fitted.
    pub fn has_free_limit(&self) -> bool {
        self.floor == Limit::Free || self.ceiling == Limit::Free
    }

    /// Whether the model is a regression and nothing more.
    pub(super) fn is_plain(&self) -> bool {
        let limits = (self.floor, self.ceiling) == (Limit::Fixed(0.0), Limit::Fixed(1.0));
        limits && !self.between_inspectors && self.size_error_log == 0.0
    }

    /// The regression that the model extends.
    pub(super) fn plain(&self) -> Model {
        Model { link: self.link, scale: self.scale, penalised: self.penalised, ..Model::default() }
    }

    pub(super) fn check(&self) -> Result<()> {
        for (name, limit, low, high) in
            [("floor", self.floor, 0.0, Model::MIDDLE), ("ceiling", self.ceiling, Model::MIDDLE, 1.0)]
        {
            if let Limit::Fixed(value) = limit
                && !(low..=high).contains(&value)
            {
                let rule = format!("must lie from {low} to {high}");
                return Err(Error::argument(name, value, &rule, "give it so, or have it fitted"));
            }
        }
        if (self.floor, self.ceiling) == (Limit::Fixed(Model::MIDDLE), Limit::Fixed(Model::MIDDLE)) {
            return Err(Error::argument("ceiling", Model::MIDDLE, "must exceed floor", "raise ceiling or lower floor"));
        }
        bounds::SIGMA_LOG.check("size_error_log", self.size_error_log)?;
        if self.size_error_log > 0.0 && self.scale == SizeScale::Plain {
            let rule = "is an error of the logarithm, and this fit is on plain size";
            return Err(Error::argument("size_error_log", self.size_error_log, rule, "fit on log size"));
        }
        if self.penalised && !(Model { penalised: false, ..self.clone() }).is_plain() {
            let rule = "goes with a regression alone, not with a fitted floor or ceiling, inspectors that differ or errors in size";
            return Err(Error::argument("penalised", true, rule, "leave one of the two out"));
        }
        Ok(())
    }
}
