//! Hit/miss fits for Python.

use super::arguments::{choice, whole};
use super::doorway::released;
use super::errors::exception;
use super::evidence::{Evidence, draw_key};
use super::records::Records;
use crate::error::{Error, Result};
use crate::model::detection::SizeMeasure;
use crate::statistics::bound::check_pod;
use crate::statistics::hit_miss::{self, Bounds, Limit, Link, Look, Looks, Method, Model, Selection, SizeScale};
use numpy::{IntoPyArray, PyArray1, PyArray2, PyReadonlyArray1};
use pyo3::prelude::*;
use pyo3::types::PyDict;

const LINKS: [(&str, Link); 3] =
    [("logit", Link::Logit), ("probit", Link::Probit), ("complementary-log-log", Link::ComplementaryLogLog)];

pub(super) const SCALES: [(&str, SizeScale); 2] = [("log", SizeScale::Log), ("plain", SizeScale::Plain)];

pub(super) const SIZES: [(&str, SizeMeasure); 3] =
    [("length", SizeMeasure::Length), ("depth", SizeMeasure::Depth), ("geometric-mean", SizeMeasure::GeometricMean)];

pub(super) const METHODS: [(&str, Method); 6] = [
    ("modified-likelihood-ratio", Method::ModifiedLikelihoodRatio),
    ("non-central-t", Method::NonCentralT),
    ("likelihood-ratio", Method::LikelihoodRatio),
    ("wald", Method::Wald),
    ("pointwise-band", Method::PointwiseBand),
    ("simultaneous-band", Method::SimultaneousBand),
];

/// Most resamples of a bootstrap.
const MOST_RESAMPLES: u64 = 10_000_000;

/// Data to be fitted, from Python.
#[derive(FromPyObject)]
#[pyo3(from_item_all)]
struct Options {
    link: String,
    scale: String,
    penalised: bool,
    /// `None` where it is fitted.
    floor: Option<f64>,
    ceiling: Option<f64>,
    between_inspectors: bool,
    size_error_log: f64,
}

impl Options {
    fn model(self, py: Python<'_>) -> PyResult<Model> {
        let limit = |limit: Option<f64>| limit.map_or(Limit::Free, Limit::Fixed);
        Ok(Model {
            link: choice(py, "link", &self.link, &LINKS)?,
            scale: choice(py, "scale", &self.scale, &SCALES)?,
            penalised: self.penalised,
            floor: limit(self.floor),
            ceiling: limit(self.ceiling),
            between_inspectors: self.between_inspectors,
            size_error_log: self.size_error_log,
        })
    }
}

/// A curve fitted to hits and misses.
#[pyclass(frozen, module = "serrata._engine")]
pub(super) struct HitMissFit {
    fit: hit_miss::Fit,
}

type Array<'py> = Bound<'py, PyArray1<f64>>;
type Pair = (Option<f64>, Option<f64>);

#[pymethods]
impl HitMissFit {
    /// Fit looks: sizes, answers, and for each factor its name, reference level and the levels of the looks.
    #[staticmethod]
    #[pyo3(signature = (size_mm, called, *, size, factors, inspectors, source, options))]
    #[allow(clippy::too_many_arguments)]
    fn fit(
        py: Python<'_>,
        size_mm: PyReadonlyArray1<'_, f64>,
        called: PyReadonlyArray1<'_, bool>,
        size: &str,
        factors: Vec<(String, Option<String>, Vec<String>)>,
        inspectors: Option<Vec<String>>,
        source: &str,
        options: Options,
    ) -> PyResult<Self> {
        let (model, measure) = (options.model(py)?, choice(py, "size", size, &SIZES)?);
        let (size_mm, called) = (size_mm.as_array().to_vec(), called.as_array().to_vec());
        released(py, || {
            let count = size_mm.len();
            same_length("found", called.len(), count)?;
            factors.iter().try_for_each(|(name, _, levels)| same_length(name, levels.len(), count))?;
            inspectors.iter().try_for_each(|names| same_length("inspector", names.len(), count))?;
            let look = |index: usize| Look {
                size_mm: size_mm[index],
                called: called[index],
                levels: factors.iter().map(|(_, _, levels)| levels[index].clone()).collect(),
                inspector: inspectors.as_ref().map(|names| names[index].clone()),
            };
            let looks: Vec<Look> = (0..count).map(look).collect();
            let factors: Vec<(&str, Option<&str>)> =
                factors.iter().map(|(name, reference, _)| (name.as_str(), reference.as_deref())).collect();
            hit_miss::fit(&Looks::new(measure, &factors, &looks)?.from_source(source), &model)
        })
        .map(|fit| HitMissFit { fit })
    }

    /// Fit the looks of one technique in records.
    #[staticmethod]
    #[pyo3(signature = (records, technique, *, size, sizes_by, factors, options))]
    fn fit_records(
        py: Python<'_>,
        records: &Bound<'_, Records>,
        technique: String,
        size: &str,
        sizes_by: Option<String>,
        factors: Vec<(String, Option<String>)>,
        options: Options,
    ) -> PyResult<Self> {
        let (model, measure) = (options.model(py)?, choice(py, "size", size, &SIZES)?);
        let selection = Selection { technique, measure, sizes_by, factors };
        let records = &records.get().records;
        released(py, || hit_miss::fit(&Looks::from_records(records, &selection)?, &model)).map(|fit| HitMissFit { fit })
    }

    /// The same fit, seen at other levels of its factors.
    fn with_levels(&self, py: Python<'_>, levels: Vec<(String, String)>) -> PyResult<Self> {
        let levels: Vec<(&str, &str)> =
            levels.iter().map(|(factor, level)| (factor.as_str(), level.as_str())).collect();
        self.fit.with_levels(&levels).map(|fit| HitMissFit { fit }).map_err(|error| exception(py, &error))
    }

    /// One screen about the fit.
    fn summary(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || self.fit.summary())
    }

    /// Warnings, in sentences.
    fn notes(&self, py: Python<'_>) -> PyResult<Vec<String>> {
        released(py, || self.fit.notes())
    }

    /// Size that is found with a probability; None where the curve does not reach it.
    fn size_at(&self, py: Python<'_>, pod: f64) -> PyResult<Option<f64>> {
        check_pod(pod).map_err(|error| exception(py, &error))?;
        Ok(self.fit.size_at(pod))
    }

    /// One-sided bounds on that size.
    fn size_bounds(&self, py: Python<'_>, pod: f64, confidence: f64, method: &str) -> PyResult<Pair> {
        let method = choice(py, "method", method, &METHODS)?;
        released(py, || self.fit.size_bounds(pod, confidence, method)).map(pair)
    }

    /// Probability of detection at each size.
    fn pod_at<'py>(&self, py: Python<'py>, size_mm: PyReadonlyArray1<'py, f64>) -> PyResult<Array<'py>> {
        let sizes = size_mm.as_array().to_vec();
        let pods: Vec<f64> = released(py, || sizes.iter().map(|size| self.fit.pod_at(*size)).collect())?;
        Ok(pods.into_pyarray(py))
    }

    /// One-sided bounds on the probability at each size.
    fn pod_bounds<'py>(
        &self,
        py: Python<'py>,
        size_mm: PyReadonlyArray1<'py, f64>,
        confidence: f64,
        method: &str,
    ) -> PyResult<(Array<'py>, Array<'py>)> {
        let method = choice(py, "method", method, &METHODS)?;
        let sizes = size_mm.as_array().to_vec();
        let bounds = |size: &f64| self.fit.pod_bounds(*size, confidence, method);
        let (low, high): (Vec<f64>, Vec<f64>) =
            released(py, || sizes.iter().map(bounds).collect::<Result<Vec<_>>>())?.into_iter().unzip();
        Ok((low.into_pyarray(py), high.into_pyarray(py)))
    }

    /// One-sided bounds on the slope.
    fn slope_bounds(&self, py: Python<'_>, confidence: f64, method: &str) -> PyResult<Pair> {
        let method = choice(py, "method", method, &METHODS)?;
        released(py, || self.fit.slope_bounds(confidence, method)).map(pair)
    }

    /// One-sided bounds on the floor.
    fn floor_bounds(&self, py: Python<'_>, confidence: f64) -> PyResult<(f64, f64)> {
        released(py, || self.fit.floor_bounds(confidence))
    }

    /// One-sided bounds on the ceiling.
    fn ceiling_bounds(&self, py: Python<'_>, confidence: f64) -> PyResult<(f64, f64)> {
        released(py, || self.fit.ceiling_bounds(confidence))
    }

    /// Name, value and standard error of each parameter, the last by the expected information where it is known.
    fn coefficients(&self) -> Vec<(String, f64, f64, Option<f64>)> {
        let coefficients = self.fit.coefficients().into_iter();
        coefficients.map(|one| (one.name, one.value, one.standard_error, one.expected_standard_error)).collect()
    }

    /// The same by the expected information; None where it is not worked out.
    fn expected_covariance<'py>(&self, py: Python<'py>) -> PyResult<Option<Bound<'py, PyArray2<f64>>>> {
        Ok(self.fit.expected_covariance().map(|lines| PyArray2::from_vec2(py, &lines)).transpose()?)
    }

    /// Covariance of the parameters; None when the information is singular.
    fn covariance<'py>(&self, py: Python<'py>) -> PyResult<Option<Bound<'py, PyArray2<f64>>>> {
        Ok(self.fit.covariance().map(|lines| PyArray2::from_vec2(py, &lines)).transpose()?)
    }

    /// Shift of ln q50 of each level of a factor against its reference.
    fn shifts_log(&self, py: Python<'_>, factor: &str) -> PyResult<Vec<(String, f64)>> {
        self.fit.shifts_log(factor).map_err(|error| exception(py, &error))
    }

    /// Chi-square, p-value, and looks, hits and expected hits of each group; None for too few looks.
    #[allow(clippy::type_complexity)]
    fn goodness(&self) -> Option<(f64, f64, Vec<(usize, usize, f64)>)> {
        let goodness = self.fit.goodness()?;
        let groups = goodness.groups.iter().map(|group| (group.looks, group.hits, group.expected)).collect();
        Some((goodness.chi_square, goodness.p_value, groups))
    }

    /// The size found with a probability when each look is left out in turn; not a number where there is none.
    fn influence<'py>(&self, py: Python<'py>, pod: f64) -> PyResult<Array<'py>> {
        let influence = released(py, || self.fit.influence(pod))?;
        let without: Vec<f64> = influence.iter().map(|one| one.without_mm.unwrap_or(f64::NAN)).collect();
        Ok(without.into_pyarray(py))
    }

    /// Sizes of looks drawn anew, the number of resamples without one, and percentile bounds.
    #[pyo3(signature = (pod, resamples, *, seed, confidence))]
    fn resampled<'py>(
        &self,
        py: Python<'py>,
        pod: f64,
        resamples: &Bound<'py, PyAny>,
        seed: &Bound<'py, PyAny>,
        confidence: f64,
    ) -> PyResult<(Array<'py>, usize, Pair)> {
        let resamples = whole("resamples", resamples, 0..=MOST_RESAMPLES, "2000 are usual")? as usize;
        let seed = whole("seed", seed, 0..=u64::MAX, "any such number will do")?;
        let (resampled, bounds) = released(py, || {
            let resampled = self.fit.resampled(pod, resamples, seed)?;
            let bounds = resampled.bounds(confidence)?;
            Ok((resampled, bounds))
        })?;
        Ok((resampled.sizes_mm.into_pyarray(py), resampled.without, pair(bounds)))
    }

    /// Sizes and answers of the looks at cracks, and their levels of each factor.
    fn looks<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyDict>> {
        let (sizes, called): (Vec<f64>, Vec<bool>) = self.fit.looks().answers().unzip();
        let columns = PyDict::new(py);
        columns.set_item("size_mm", sizes.into_pyarray(py))?;
        columns.set_item("called", called.into_pyarray(py))?;
        for (place, factor) in self.fit.looks().factors().iter().enumerate() {
            columns.set_item(&factor.name, self.fit.looks().levels(place).collect::<Vec<&str>>())?;
        }
        Ok(columns)
    }

    /// Where the curve comes from, in one line.
    fn basis(&self, py: Python<'_>) -> PyResult<String> {
        released(py, || self.fit.basis())
    }

    /// What a study takes from the fit.
    fn evidence(&self, py: Python<'_>) -> PyResult<Evidence> {
        released(py, || self.fit.evidence()).map(|evidence| Evidence { evidence })
    }

    /// The same, for one draw of what the data leave open.
    fn drawn_evidence(
        &self,
        py: Python<'_>,
        technique: &str,
        seed: &Bound<'_, PyAny>,
        draw: &Bound<'_, PyAny>,
    ) -> PyResult<Evidence> {
        let key = draw_key(technique, seed, draw)?;
        released(py, || self.fit.drawn_evidence(key)).map(|evidence| Evidence { evidence })
    }

    /// Names of the factors with their levels, the reference first.
    #[getter]
    fn factors(&self) -> Vec<(String, Vec<String>)> {
        self.fit.looks().factors().iter().map(|factor| (factor.name.clone(), factor.levels.clone())).collect()
    }

    /// Factors, with the levels that the fit is seen at.
    #[getter]
    fn levels(&self) -> Vec<(&str, &str)> {
        self.fit.levels().collect()
    }

    /// False calls, and looks at places free of cracks.
    #[getter]
    fn false_calls(&self) -> (usize, usize) {
        self.fit.looks().false_calls()
    }

    #[getter]
    fn log_likelihood(&self) -> f64 {
        self.fit.log_likelihood()
    }

    #[getter]
    fn floor(&self) -> f64 {
        self.fit.floor()
    }

    #[getter]
    fn ceiling(&self) -> f64 {
        self.fit.ceiling()
    }

    #[getter]
    fn has_free_limit(&self) -> bool {
        self.fit.model().has_free_limit()
    }

    /// The method of bounds that suits the fit.
    #[getter]
    fn usual_method(&self) -> &'static str {
        method_word(self.fit.usual_method())
    }

    /// Smallest and largest crack looked at, in mm.
    #[getter]
    fn range_mm(&self) -> (f64, f64) {
        self.fit.looks().range_mm()
    }

    #[getter]
    fn source(&self) -> &str {
        self.fit.looks().source()
    }
}

/// How a method is written.
pub(super) fn method_word(method: Method) -> &'static str {
    METHODS.iter().find(|(_, known)| *known == method).map_or("likelihood-ratio", |(word, _)| word)
}

fn pair(bounds: Bounds) -> Pair {
    (bounds.low, bounds.high)
}

fn same_length(name: &str, length: usize, wanted: usize) -> Result<()> {
    if length == wanted {
        return Ok(());
    }
    let rule = format!("must be as long as size_mm, which has {wanted}");
    Err(Error::argument(name, format!("{length} values"), &rule, "give one for every look"))
}
