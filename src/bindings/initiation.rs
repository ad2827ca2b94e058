//! Fits of the time to a crack, for Python.

use super::arguments::{choice, whole};
use super::arrays;
use super::doorway::released;
use super::hit_miss::METHODS;
use super::records::Records;
use super::study::Study;
use crate::error::{Error, Result};
use crate::model::usage::Clock;
use crate::simulation::InitiationOnStudy;
use crate::statistics::initiation::{self, Law, Model, Observations, Record};
use numpy::{IntoPyArray, PyArray1, PyReadonlyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;

const LAWS: [(&str, Law); 3] =
    [("weibull", Law::Weibull), ("lognormal", Law::Lognormal), ("exponential", Law::Exponential)];

const CLOCKS: [(&str, Clock); 2] = [("starts", Clock::STARTS), ("hours", Clock::HOURS)];

/// A law fitted to what looks have shown.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct InitiationFit {
    fit: initiation::InitiationFit,
}

type Array<'py> = Bound<'py, PyArray1<f64>>;
type Pair = (Option<f64>, Option<f64>);
type Numbers<'py> = PyReadonlyArray1<'py, f64>;
/// Name of a law, its log-likelihood, number of parameters, and why there is none.
type LawLine = (&'static str, Option<f64>, usize, String);

#[pymethods]
impl InitiationFit {
    /// Fit records: last clean, found cracked.
    #[staticmethod]
    #[pyo3(signature = (clean_until, cracked_by, *, law, shape, unit, counts, exact, cracked, pod, rows, covariates, source))]
    #[allow(clippy::too_many_arguments)]
    fn fit(
        py: Python<'_>,
        clean_until: Numbers<'_>,
        cracked_by: Numbers<'_>,
        law: &str,
        shape: Option<f64>,
        unit: &str,
        counts: Option<Numbers<'_>>,
        exact: Option<Vec<bool>>,
        cracked: Option<Vec<bool>>,
        pod: Numbers<'_>,
        rows: Option<Vec<usize>>,
        covariates: Vec<(String, Vec<f64>)>,
        source: &str,
    ) -> PyResult<Self> {
        let model = Model { law: choice(py, "law", law, &LAWS)?, shape, row_factor: rows.is_some() };
        let (clean, by) = (clean_until.as_array().to_vec(), cracked_by.as_array().to_vec());
        let counts = counts.map(|counts| counts.as_array().to_vec());
        let pod = pod.as_array().to_vec();
        released(py, || {
            let wanted = clean.len();
            same_length("cracked_by", by.len(), wanted)?;
            same_length("counts", counts.as_ref().map_or(wanted, Vec::len), wanted)?;
            same_length("exact", exact.as_ref().map_or(wanted, Vec::len), wanted)?;
            same_length("cracked", cracked.as_ref().map_or(wanted, Vec::len), wanted)?;
            same_length("pod", if pod.len() == 1 { wanted } else { pod.len() }, wanted)?;
            same_length("rows", rows.as_ref().map_or(wanted, Vec::len), wanted)?;
            for (name, values) in &covariates {
                same_length(name, values.len(), wanted)?;
            }
            let record = |place: usize| Record {
                exact: exact.as_ref().is_some_and(|exact| exact[place]),
                cracked: cracked.as_ref().map(|cracked| cracked[place]),
                count: counts.as_ref().map_or(1.0, |counts| counts[place]),
                pod: pod[if pod.len() == 1 { 0 } else { place }],
                row: rows.as_ref().map_or(0, |rows| rows[place]),
                covariates: covariates.iter().map(|(_, values)| values[place]).collect(),
                ..Record::new(clean[place], by[place])
            };
            let records: Vec<Record> = (0..wanted).map(record).collect();
            let names: Vec<String> = covariates.iter().map(|(name, _)| name.clone()).collect();
            initiation::fit(&Observations::from_records(&records, &names)?.described(unit, source), &model)
        })
        .map(|fit| InitiationFit { fit })
    }

    /// Fit records of looks on a study.
    #[staticmethod]
    #[pyo3(signature = (study, records, *, initiation, law, clock, shape, row_factor, cracks, seed))]
    #[allow(clippy::too_many_arguments)]
    fn on_study(
        py: Python<'_>,
        study: &Study,
        records: &Records,
        initiation: Option<String>,
        law: Option<&str>,
        clock: Option<&str>,
        shape: Option<f64>,
        row_factor: bool,
        cracks: &Bound<'_, PyAny>,
        seed: &Bound<'_, PyAny>,
    ) -> PyResult<Self> {
        let law = law.map(|law| choice(py, "law", law, &LAWS)).transpose()?;
        let clock = clock.map(|clock| choice(py, "clock", clock, &CLOCKS)).transpose()?;
        let (cracks, seed) = fineness(cracks, seed)?;
        let options = InitiationOnStudy { initiation, law, clock, shape, row_factor, cracks, seed };
        released(py, || study.study.fit_initiation(&records.records, &options)).map(|fit| InitiationFit { fit })
    }

    #[getter]
    fn law(&self) -> &'static str {
        self.fit.model().law.name()
    }

    #[getter]
    fn unit(&self) -> &str {
        self.fit.observations().unit()
    }

    #[getter]
    fn source(&self) -> &str {
        self.fit.observations().source()
    }

    /// Names of covariates.
    #[getter]
    fn covariates(&self) -> Vec<String> {
        self.fit.observations().covariates().to_vec()
    }

    /// Name of the study that it was fitted on.
    #[getter]
    fn study(&self) -> Option<&str> {
        self.fit.observations().study()
    }

    /// One screen about the fit.
    fn summary(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || Ok(self.fit.summary()))
    }

    /// What the numbers mean, in sentences.
    fn notes(&self) -> Vec<String> {
        self.fit.notes()
    }

    /// What limits the numbers, in sentences.
    fn warnings(&self) -> Vec<String> {
        self.fit.warnings()
    }

    /// Name, value, standard error and whether it was assumed, of each parameter.
    fn parameters(&self) -> Vec<(String, Option<f64>, Option<f64>, bool)> {
        let all = self.fit.parameters().into_iter();
        all.map(|one| (one.name, one.value, one.standard_error, one.is_assumed)).collect()
    }

    /// Covariance of the parameters that were estimated.
    fn covariance(&self) -> Vec<Vec<f64>> {
        self.fit.covariance()
    }

    /// Bounds on a parameter, each by itself.
    fn parameter_bounds(&self, py: Python<'_>, parameter: &str, confidence: f64, method: &str) -> PyResult<Pair> {
        let method = choice(py, "method", method, &METHODS)?;
        let bounds = released(py, || self.fit.parameter_bounds(parameter, confidence, method))?;
        Ok((bounds.low, bounds.high))
    }

    /// Time by which a fraction has cracked.
    fn time_at(&self, py: Python<'_>, fraction: f64, covariates: Vec<f64>) -> PyResult<Option<f64>> {
        released(py, || self.fit.time_at(fraction, &covariates))
    }

    /// Bounds on that time, each by itself.
    fn time_bounds(
        &self,
        py: Python<'_>,
        fraction: f64,
        covariates: Vec<f64>,
        confidence: f64,
        method: &str,
    ) -> PyResult<Pair> {
        let method = choice(py, "method", method, &METHODS)?;
        let bounds = released(py, || self.fit.time_bounds(fraction, &covariates, confidence, method))?;
        Ok((bounds.low, bounds.high))
    }

    /// Fraction cracked by each time; None where nothing was found.
    fn fraction_at<'py>(
        &self,
        py: Python<'py>,
        time: Numbers<'py>,
        covariates: Vec<f64>,
    ) -> PyResult<Option<Array<'py>>> {
        let times = time.as_array().to_vec();
        let fractions = |time: &f64| self.fit.fraction_at(*time, &covariates);
        let all = released(py, || times.iter().map(fractions).collect::<Result<Option<Vec<f64>>>>())?;
        Ok(all.map(|all| all.into_pyarray(py)))
    }

    /// Bounds on that fraction, each by itself.
    fn fraction_bounds<'py>(
        &self,
        py: Python<'py>,
        time: Numbers<'py>,
        covariates: Vec<f64>,
        confidence: f64,
        method: &str,
    ) -> PyResult<(Array<'py>, Array<'py>)> {
        let method = choice(py, "method", method, &METHODS)?;
        let times = time.as_array().to_vec();
        let bounds = |time: &f64| self.fit.fraction_bounds(*time, &covariates, confidence, method);
        let (low, high): (Vec<f64>, Vec<f64>) =
            released(py, || times.iter().map(bounds).collect::<Result<Vec<_>>>())?.into_iter().unzip();
        Ok((low.into_pyarray(py), high.into_pyarray(py)))
    }

    /// Stretches with their mass, the fraction at the end of each by any shape and by the law, and the log-likelihood; None
    /// with covariates.
    fn nonparametric<'py>(&self, py: Python<'py>) -> PyResult<Option<(Bound<'py, PyDict>, f64)>> {
        let Some(best) = released(py, || Ok(self.fit.nonparametric()))? else { return Ok(None) };
        let law = |time: f64| match time.is_finite() {
            true => self.fit.fraction_at(time, &[]).ok().flatten().unwrap_or(f64::NAN),
            false => f64::NAN,
        };
        let columns = PyDict::new(py);
        let column = |name: &str, of: &dyn Fn(&initiation::Mass) -> f64| {
            columns.set_item(name, best.masses.iter().map(of).collect::<Vec<f64>>().into_pyarray(py))
        };
        column("after", &|one| one.from)?;
        column("by", &|one| one.to)?;
        column("mass", &|one| one.mass)?;
        column("fraction", &|one| best.fraction_at(one.to).0.min(1.0))?;
        column("fraction_by_law", &|one| law(one.to))?;
        Ok(Some((columns, best.log_likelihood)))
    }

    /// Laws with their log-likelihood, or why there is none, and numbers of parameters.
    fn laws(&self, py: Python<'_>) -> PyResult<Vec<LawLine>> {
        let laws = released(py, || Ok(self.fit.laws()))?;
        let line = |one: initiation::LawFit| match one.log_likelihood {
            Ok(value) => (one.law.name(), Some(value), one.parameters, String::new()),
            Err(error) => (one.law.name(), None, one.parameters, error.to_string()),
        };
        Ok(laws.into_iter().map(line).collect())
    }

    /// Blades, those with a find, and those found at their first look.
    fn counts(&self) -> (f64, f64, f64) {
        self.fit.observations().counts()
    }

    /// The latest time that a record names.
    #[getter]
    fn latest(&self) -> f64 {
        self.fit.observations().latest()
    }

    #[getter]
    fn is_bound_only(&self) -> bool {
        self.fit.is_bound_only()
    }

    #[getter]
    fn log_likelihood(&self) -> Option<f64> {
        self.fit.log_likelihood()
    }
}

/// Possible cracks and seed of a fit on a study.
fn fineness(cracks: &Bound<'_, PyAny>, seed: &Bound<'_, PyAny>) -> PyResult<(u32, u64)> {
    let cracks = whole("cracks", cracks, 0..=u64::from(u32::MAX), "a few thousand will do")?;
    Ok((cracks as u32, whole("seed", seed, 0..=u64::MAX, "any such number will do")?))
}

/// Each law on each clock fitted to records on a study: columns by name, what they say, and all of it as text.
#[pyfunction]
#[pyo3(signature = (study, records, *, initiation, shape, row_factor, cracks, seed))]
#[allow(clippy::too_many_arguments)]
pub(super) fn initiation_clocks<'py>(
    py: Python<'py>,
    study: &Study,
    records: &Records,
    initiation: Option<String>,
    shape: Option<f64>,
    row_factor: bool,
    cracks: &Bound<'_, PyAny>,
    seed: &Bound<'_, PyAny>,
) -> PyResult<(Bound<'py, PyDict>, String, String)> {
    let (cracks, seed) = fineness(cracks, seed)?;
    let options = InitiationOnStudy { initiation, shape, row_factor, cracks, seed, ..InitiationOnStudy::default() };
    let clocks = released(py, || study.study.initiation_clocks(&records.records, &options))?;
    Ok((arrays::dict(py, clocks.table())?, clocks.verdict(), clocks.summary()))
}

fn same_length(name: &str, length: usize, wanted: usize) -> Result<()> {
    if length == wanted {
        return Ok(());
    }
    let rule = format!("must be as long as clean_until, which has {wanted}");
    Err(Error::argument(name, format!("{length} values"), &rule, "give one for every record"))
}
