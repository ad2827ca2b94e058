//! Signal response fits for Python.

use super::arguments::choice;
use super::doorway::released;
use super::evidence::{Evidence, draw_key};
use super::hit_miss::{METHODS, SCALES, SIZES, method_word};
use super::records::Records;
use crate::error::{Error, Result};
use crate::statistics::bound::check_pod;
use crate::statistics::censored::{CensoredRegression, Reading};
use crate::statistics::signal::{self, Decision, Method, Model, Responses, Scale};
use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;

const SIGNALS: [(&str, Scale); 2] = [("log", Scale::Log), ("plain", Scale::Plain)];

/// A line fitted to signals.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct SignalFit {
    fit: signal::SignalFit,
}

type Array<'py> = Bound<'py, PyArray1<f64>>;
/// Names, values and covariance of parameters.
type Parameters = (Vec<&'static str>, Vec<f64>, Vec<Vec<f64>>);

#[pymethods]
impl SignalFit {
    /// Fit signals: sizes, 0 at sound places, and the signal at each.
    #[staticmethod]
    #[pyo3(signature = (size_mm, signal, *, size, floor, saturation, signal_scale, size_scale, size_error_log, source))]
    #[allow(clippy::too_many_arguments)]
    fn fit(
        py: Python<'_>,
        size_mm: PyReadonlyArray1<'_, f64>,
        signal: PyReadonlyArray1<'_, f64>,
        size: &str,
        floor: Option<f64>,
        saturation: Option<f64>,
        signal_scale: &str,
        size_scale: &str,
        size_error_log: f64,
        source: &str,
    ) -> PyResult<Self> {
        let measure = choice(py, "size", size, &SIZES)?;
        let model = model(py, signal_scale, size_scale, size_error_log)?;
        let (sizes, signals) = (size_mm.as_array().to_vec(), signal.as_array().to_vec());
        released(py, || {
            if sizes.len() != signals.len() {
                let rule = format!("must be as long as size_mm, which has {}", sizes.len());
                return Err(Error::argument(
                    "signal",
                    format!("{} values", signals.len()),
                    &rule,
                    "give one for every look",
                ));
            }
            let pairs: Vec<(f64, f64)> = sizes.into_iter().zip(signals).collect();
            signal::fit(&Responses::new(measure, &pairs, floor, saturation)?.from_source(source), &model)
        })
        .map(|fit| SignalFit { fit })
    }

    /// Fit the signals of one technique in records.
    #[staticmethod]
    #[pyo3(signature = (records, technique, *, size, sizes_by, floor, saturation, signal_scale, size_scale, size_error_log))]
    #[allow(clippy::too_many_arguments)]
    fn fit_records(
        py: Python<'_>,
        records: &Bound<'_, Records>,
        technique: &str,
        size: &str,
        sizes_by: Option<&str>,
        floor: Option<f64>,
        saturation: Option<f64>,
        signal_scale: &str,
        size_scale: &str,
        size_error_log: f64,
    ) -> PyResult<Self> {
        let measure = choice(py, "size", size, &SIZES)?;
        let model = model(py, signal_scale, size_scale, size_error_log)?;
        let records = &records.get().records;
        released(py, || {
            let responses = Responses::from_records(records, technique, measure, sizes_by, floor, saturation)?;
            signal::fit(&responses, &model)
        })
        .map(|fit| SignalFit { fit })
    }

    /// One screen about the fit at a threshold.
    fn summary(&self, py: Python<'_>, threshold: f64) -> PyResult<String> {
        released(py, || self.fit.summary(threshold))
    }

    /// Size that is found with a probability.
    fn size_at(&self, py: Python<'_>, threshold: f64, pod: f64) -> PyResult<f64> {
        self.decide(py, threshold, |decision| check_pod(pod).map(|()| decision.size_at(pod)))
    }

    /// One-sided bounds on that size.
    fn size_bounds(
        &self,
        py: Python<'_>,
        threshold: f64,
        pod: f64,
        confidence: f64,
        method: &str,
    ) -> PyResult<(Option<f64>, Option<f64>)> {
        let method = choice(py, "method", method, &METHODS)?;
        let bounds = self.decide(py, threshold, |decision| decision.size_bounds(pod, confidence, method))?;
        Ok((bounds.low, bounds.high))
    }

    /// Probability of a call at each size.
    fn pod_at<'py>(
        &self,
        py: Python<'py>,
        threshold: f64,
        size_mm: PyReadonlyArray1<'py, f64>,
    ) -> PyResult<Array<'py>> {
        let sizes = size_mm.as_array().to_vec();
        let pods = |decision: &Decision| sizes.iter().map(|size| decision.pod_at(*size)).collect::<Result<Vec<_>>>();
        Ok(self.decide(py, threshold, pods)?.into_pyarray(py))
    }

    /// One-sided bounds on the probability at each size.
    fn pod_bounds<'py>(
        &self,
        py: Python<'py>,
        threshold: f64,
        size_mm: PyReadonlyArray1<'py, f64>,
        confidence: f64,
        method: &str,
    ) -> PyResult<(Array<'py>, Array<'py>)> {
        let method = choice(py, "method", method, &METHODS)?;
        let sizes = size_mm.as_array().to_vec();
        let bounds = |decision: &Decision| {
            sizes.iter().map(|size| decision.pod_bounds(*size, confidence, method)).collect::<Result<Vec<_>>>()
        };
        let (low, high): (Vec<f64>, Vec<f64>) = self.decide(py, threshold, bounds)?.into_iter().unzip();
        Ok((low.into_pyarray(py), high.into_pyarray(py)))
    }

    /// Probability of a call at a sound place with its bounds; None where the noise is not known.
    fn false_calls(&self, py: Python<'_>, threshold: f64, confidence: f64) -> PyResult<Option<(f64, f64, f64)>> {
        self.decide(py, threshold, |decision| {
            let bounds = decision.false_call_bounds(confidence)?;
            Ok(decision.false_calls().zip(bounds).map(|(value, (low, high))| (value, low, high)))
        })
    }

    /// Sizes and false calls with bounds, at each threshold; not a number where there is none.
    fn trade<'py>(
        &self,
        py: Python<'py>,
        thresholds: PyReadonlyArray1<'py, f64>,
        pod: f64,
        confidence: f64,
        method: &str,
    ) -> PyResult<Bound<'py, PyDict>> {
        let method: Method = choice(py, "method", method, &METHODS)?;
        let thresholds = thresholds.as_array().to_vec();
        let trade = released(py, || self.fit.trade(&thresholds, pod, confidence, method))?;
        let columns = PyDict::new(py);
        let column = |name: &str, of: &dyn Fn(&signal::Trade) -> Option<f64>| {
            let values: Vec<f64> = trade.iter().map(|one| of(one).unwrap_or(f64::NAN)).collect();
            columns.set_item(name, values.into_pyarray(py))
        };
        column("threshold", &|one| Some(one.threshold))?;
        column("size_mm", &|one| Some(one.size_mm))?;
        column("size_low_mm", &|one| one.size_bounds.low)?;
        column("size_high_mm", &|one| one.size_bounds.high)?;
        let beyond: Vec<bool> = trade.iter().map(|one| one.beyond_largest).collect();
        columns.set_item("beyond_largest", beyond.into_pyarray(py))?;
        column("false_calls", &|one| one.false_calls)?;
        column("false_calls_low", &|one| one.false_call_bounds.map(|bounds| bounds.0))?;
        column("false_calls_high", &|one| one.false_call_bounds.map(|bounds| bounds.1))?;
        Ok(columns)
    }

    /// Names, values and covariance of level, slope and scatter.
    fn line(&self) -> Parameters {
        parameters(self.fit.line(), &["level", "slope", "scatter"])
    }

    /// Names, values and covariance of mean and spread of the noise; None where it is not known.
    fn noise(&self) -> Option<Parameters> {
        self.fit.noise().map(|noise| parameters(noise, &["mean", "spread"]))
    }

    /// What to beware of at a threshold, in sentences.
    fn notes(&self, py: Python<'_>, threshold: f64) -> PyResult<Vec<String>> {
        self.decide(py, threshold, |decision| decision.notes())
    }

    /// Where the curve comes from, in one line.
    fn basis(&self, py: Python<'_>, threshold: f64) -> PyResult<String> {
        self.decide(py, threshold, |decision| decision.basis())
    }

    /// What a study takes from the fit at a threshold.
    fn evidence(&self, py: Python<'_>, threshold: f64) -> PyResult<Evidence> {
        self.decide(py, threshold, |decision| decision.evidence()).map(|evidence| Evidence { evidence })
    }

    /// The same, for one draw of what the data leave open.
    fn drawn_evidence(
        &self,
        py: Python<'_>,
        threshold: f64,
        technique: &str,
        seed: &Bound<'_, PyAny>,
        draw: &Bound<'_, PyAny>,
    ) -> PyResult<Evidence> {
        let key = draw_key(technique, seed, draw)?;
        self.decide(py, threshold, |decision| decision.drawn_evidence(key)).map(|evidence| Evidence { evidence })
    }

    /// Size (0 at sound places), signal or limit, and -1, 0 or 1 for below, within and above the limits.
    fn responses<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let responses = self.fit.responses();
        let all = || responses.cracked().iter().copied().chain(responses.sound().iter().map(|reading| (0.0, *reading)));
        let side = |reading: Reading| match reading {
            Reading::Below(_) => -1,
            Reading::Exact(_) => 0,
            Reading::Above(_) => 1,
        };
        let columns = PyDict::new(py);
        columns.set_item("size_mm", all().map(|(size, _)| size).collect::<Vec<f64>>().into_pyarray(py))?;
        columns.set_item("signal", all().map(|(_, reading)| reading.value()).collect::<Vec<f64>>().into_pyarray(py))?;
        columns.set_item("side", all().map(|(_, reading)| side(reading)).collect::<Vec<i64>>().into_pyarray(py))?;
        Ok(columns)
    }

    /// The method of bounds that suits the fit.
    #[getter]
    fn usual_method(&self) -> &'static str {
        method_word(self.fit.usual_method())
    }

    /// Smallest and largest crack looked at, in mm.
    #[getter]
    fn range_mm(&self) -> (f64, f64) {
        self.fit.responses().range_mm()
    }

    #[getter]
    fn log_likelihood(&self) -> f64 {
        self.fit.line().log_likelihood()
    }

    #[getter]
    fn source(&self) -> &str {
        self.fit.responses().source()
    }
}

impl SignalFit {
    fn decide<T: Send>(
        &self,
        py: Python<'_>,
        threshold: f64,
        ask: impl FnOnce(&Decision) -> Result<T> + Send,
    ) -> PyResult<T> {
        released(py, || ask(&self.fit.at_threshold(threshold)?))
    }
}

fn model(py: Python<'_>, signal_scale: &str, size_scale: &str, size_error_log: f64) -> PyResult<Model> {
    let signal = choice(py, "signal_scale", signal_scale, &SIGNALS)?;
    Ok(Model { signal, size: choice(py, "size_scale", size_scale, &SCALES)?, size_error_log })
}

fn parameters(line: &CensoredRegression, names: &[&'static str]) -> Parameters {
    let values = line.coefficients().into_iter().chain([line.scale()]).collect();
    (names.to_vec(), values, line.covariance())
}
