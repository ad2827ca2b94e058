//! A line with one number held at a value: what bounds by the likelihood, and exact ones, ask for.

use crate::math::normal_quantile;
use crate::statistics::bound::{Bounds, Method, reached};
use crate::statistics::censored::CensoredRegression;
use crate::statistics::newton::{Peak, Plane};
use crate::statistics::profile::{Covariances, Held, Profile};
use nalgebra::{DMatrix, DVector};

/// A line, and what holds a number of it at a value.
pub(super) struct OfSignals<'l, F: Fn(f64) -> (Vec<f64>, f64)> {
    pub line: &'l CensoredRegression,
    /// Readings are cut off below and above, on the scale of the fit.
    pub limits: (f64, f64),
    /// Weights of the parameters, and what their weighted sum is held at.
    pub at: F,
    /// 1 for a size, with which the line rises; -1 for the height of the line itself.
    pub way: f64,
}

/// A parameter whose weight is one in every row: the level.
const SOLVED: usize = 0;

impl<F: Fn(f64) -> (Vec<f64>, f64)> OfSignals<'_, F> {
    /// Bounds on the number, from its estimate and about a standard error of it.
    pub fn bounds(&self, from: f64, step: f64, confidence: f64, method: Method) -> Bounds {
        if method != Method::NonCentralT {
            return Profile::new(self, from, step).bounds(confidence, method);
        }
        let wanted = normal_quantile(confidence);
        let bound = |way: f64| reached(from, way * step, wanted, |value| Some(way * self.exact_root(value)));
        Bounds { low: bound(-1.0), high: bound(1.0) }
    }

    /// How far the data speak against a value, as a standard normal number that rises with it.
    fn exact_root(&self, value: f64) -> f64 {
        /// Beyond, a chance is one or zero but for rounding.
        const FAR: f64 = 8.0;
        let (row, held) = (self.at)(value);
        self.way * normal_quantile(self.line.chance_no_higher(&row, held)).clamp(-FAR, FAR)
    }
}

impl<F: Fn(f64) -> (Vec<f64>, f64)> Held for OfSignals<'_, F> {
    fn best(&self) -> Peak {
        self.line.peak()
    }

    fn at(&self, value: f64) -> Option<Peak> {
        let (row, held) = (self.at)(value);
        self.line.held(&row, SOLVED, held)
    }

    fn along(&self, value: f64) -> Option<DMatrix<f64>> {
        let (row, held) = (self.at)(value);
        Some(Plane::through(&row, SOLVED, held).directions().clone())
    }

    fn covariances(&self, other: &DVector<f64>) -> Covariances {
        self.line.covariances(self.limits, other)
    }
}
