//! The log-likelihood of observations with slope and curvature.

use super::law::{Hazard, Law};
use super::mixtures::{Step, Term, mixed, mixed_along, mixed_steps};
use super::observation::{Cell, Observation, Observations, Way};
use super::row_factor::{Along, RowLaw, nodes};
use crate::statistics::newton::Local;
use nalgebra::{DMatrix, DVector};

/// What is fitted to what: `y = level + slope * ln(time / unit) + covariates`.
///
/// Parameters are the level, the slope unless it is held, a coefficient for each covariate, and, with a row factor, the
/// logarithm of its variance.
#[derive(Debug, Clone)]
pub(super) struct Problem {
    pub law: Law,
    /// Slope that is held, if it is.
    pub slope: Option<f64>,
    /// Whether rows have factors of their own.
    pub has_factor: bool,
    /// Times are worked with over this, so that no unit of time is better than another.
    pub unit: f64,
    pub covariates: usize,
    /// Whether looks miss cracks, so that an observation may have several cells.
    pub is_mixed: bool,
    /// Observations row by row.
    rows: Vec<Vec<Ready>>,
}

/// An observation with the rows that its times give: a sum over ways, each a product over origins.
#[derive(Debug, Clone)]
struct Ready {
    ways: Vec<ReadyWay>,
    count: f64,
}

#[derive(Debug, Clone)]
struct ReadyWay {
    log_weight: f64,
    /// Of the factor on the hazard.
    log_factor: f64,
    origins: Vec<ReadyOrigins>,
}

#[derive(Debug, Clone)]
struct ReadyOrigins {
    number: f64,
    cells: Vec<ReadyCell>,
    /// Where none had begun by the last time, and the logarithm of the chance of what was seen then.
    never: Option<(Point, f64)>,
}

#[derive(Debug, Clone)]
struct ReadyCell {
    from: Point,
    /// `None` for a moment that is known.
    to: Option<Point>,
    log_coefficient: f64,
}

/// A time on the straight line: `y = weights . parameters + offset`. At time 0 the hazard is nothing.
#[derive(Debug, Clone)]
pub(super) struct Point {
    pub weights: DVector<f64>,
    pub offset: f64,
    log_time: f64,
}

impl Problem {
    pub fn new(law: Law, shape: Option<f64>, has_factor: bool, observations: &Observations) -> Self {
        let times = || observations.list.iter().flat_map(Observation::times).filter(|time| *time > 0.0);
        let unit = (times().map(f64::ln).sum::<f64>() / times().count() as f64).exp();
        let slope = if law == Law::Exponential { Some(1.0) } else { shape.map(|shape| law.turned(shape)) };
        let covariates = observations.covariates.len();
        let is_mixed = |one: &Observation| one.cells.len() + usize::from(one.never > 0.0) > 1 || !one.ways.is_empty();
        let is_mixed = observations.list.iter().any(is_mixed);
        let mut problem = Problem { law, slope, has_factor, unit, covariates, is_mixed, rows: Vec::new() };
        let mut last = None;
        for one in &observations.list {
            let ready = problem.ready(one);
            match problem.rows.last_mut() {
                Some(row) if last == Some(one.row) => row.push(ready),
                _ => problem.rows.push(vec![ready]),
            }
            last = Some(one.row);
        }
        problem
    }

    /// The same with a slope that is held.
    pub fn with_slope(&self, observations: &Observations, slope: f64) -> Problem {
        Problem::new(self.law, Some(self.law.turned(slope)), self.has_factor, observations)
    }

    /// Number of parameters.
    pub fn parameters(&self) -> usize {
        1 + usize::from(self.slope.is_none()) + self.covariates + usize::from(self.has_factor)
    }

    /// Where the first covariate stands among the parameters.
    pub fn first_covariate(&self) -> usize {
        1 + usize::from(self.slope.is_none())
    }

    /// The slope under parameters.
    pub fn slope_of(&self, theta: &DVector<f64>) -> f64 {
        self.slope.unwrap_or_else(|| theta[1])
    }

    /// A time, by its logarithm, with covariates.
    pub fn point(&self, log_time: f64, covariates: &[f64]) -> Point {
        let mut weights = DVector::zeros(self.parameters());
        let along = log_time - self.unit.ln();
        weights[0] = 1.0;
        if self.slope.is_none() {
            weights[1] = along;
        }
        for (place, value) in covariates.iter().enumerate() {
            weights[self.first_covariate() + place] = *value;
        }
        Point { weights, offset: self.slope.map_or(0.0, |slope| slope * along), log_time }
    }

    fn ready(&self, one: &Observation) -> Ready {
        let point = |time: f64| self.point(time.ln(), &one.covariates);
        let cell = |cell: &Cell| ReadyCell {
            from: point(cell.from),
            to: (cell.to > cell.from).then(|| point(cell.to)),
            log_coefficient: cell.coefficient.ln(),
        };
        let origins = |number: f64, cells: &[Cell], never: f64| ReadyOrigins {
            number,
            cells: cells.iter().filter(|cell| cell.coefficient > 0.0).map(cell).collect(),
            never: (never > 0.0).then(|| (point(one.last), never.ln())),
        };
        let way = |way: &Way| ReadyWay {
            log_weight: way.weight.ln(),
            log_factor: way.hazard_factor.ln(),
            origins: way.origins.iter().map(|own| origins(own.number, &own.cells, own.never)).collect(),
        };
        let alone =
            || ReadyWay { log_weight: 0.0, log_factor: 0.0, origins: vec![origins(1.0, &one.cells, one.never)] };
        let ways = if one.ways.is_empty() { vec![alone()] } else { one.ways.iter().map(way).collect() };
        Ready { ways, count: one.count }
    }

    /// Parameters to begin with: everything cracks about the middle of all times.
    pub fn start(&self) -> DVector<f64> {
        let mut start = DVector::zeros(self.parameters());
        if self.slope.is_none() {
            start[1] = 1.0;
        }
        if self.has_factor {
            start[self.parameters() - 1] = RowLaw::USUAL.ln();
        }
        start
    }

    /// The log-likelihood with slope and curvature.
    pub fn at(&self, theta: &DVector<f64>) -> Local {
        let count = self.parameters();
        let mut local =
            Local { value: 0.0, gradient: DVector::zeros(count), information: DMatrix::zeros(count, count) };
        if self.has_factor && !RowLaw::can_be(theta[count - 1]) {
            local.value = f64::NEG_INFINITY;
            return local;
        }
        for row in &self.rows {
            let term = if self.has_factor { self.of_row(row, theta) } else { self.given(row, theta, 0.0) };
            local.value += term.log;
            local.gradient += term.slope;
            local.information -= term.bend;
        }
        // A line that falls is no law; that cells then have no chance would be hidden by those beside them.
        if local.value.is_nan() || (self.is_mixed && !(self.slope_of(theta) > 0.0)) {
            local.value = f64::NEG_INFINITY;
        }
        local
    }

    /// What rows gain to first order by a small variance of their factor, were it without one: half the curvature of each
    /// row's likelihood by its factor.
    pub fn gain_by_variance(&self, theta: &DVector<f64>) -> f64 {
        let gain = |row: &Vec<Ready>| {
            // By the factor itself, from slope and bend by its logarithm.
            let Along { slope, bend, .. } = self.along(row, theta, 0.0);
            0.5 * (bend - slope + slope * slope)
        };
        self.rows.iter().map(gain).sum()
    }

    /// A row, averaged over its factor.
    fn of_row(&self, row: &[Ready], theta: &DVector<f64>) -> Term {
        let last = self.parameters() - 1;
        let law = RowLaw::of_log_variance(theta[last]);
        let nodes = nodes(&law, |log_factor| self.along(row, theta, log_factor));
        mixed(nodes.into_iter().map(|(log_factor, log_width)| {
            let mut term = self.given(row, theta, log_factor);
            let [log, slope, bend] = law.log_density(log_factor);
            term.log += log + log_width;
            term.slope[last] += slope;
            term.bend[(last, last)] += bend;
            term
        }))
    }

    /// A row whose factor is known by its logarithm.
    fn given(&self, row: &[Ready], theta: &DVector<f64>, log_factor: f64) -> Term {
        let count = self.parameters();
        let mut sum = Term { log: 0.0, slope: DVector::zeros(count), bend: DMatrix::zeros(count, count) };
        for one in row {
            let term = mixed(one.ways.iter().map(|way| self.of_way(way, theta, log_factor)));
            sum.log += one.count * term.log;
            sum.slope.axpy(one.count, &term.slope, 1.0);
            sum.bend += term.bend * one.count;
        }
        sum
    }

    /// The same by the logarithm of the factor alone.
    fn along(&self, row: &[Ready], theta: &DVector<f64>, log_factor: f64) -> Along {
        let mut sum = Along::default();
        for one in row {
            let way = |way: &ReadyWay| {
                let mut product = Along { log: way.log_weight, ..Along::default() };
                for own in &way.origins {
                    let parts: Vec<Along> = match self.steps(own, theta, log_factor + way.log_factor) {
                        Some(steps) => steps.iter().map(|step| step.along).collect(),
                        None => self.parts(own, theta, log_factor + way.log_factor).map(|part| part.along).collect(),
                    };
                    product.add(own.number, &mixed_along(parts));
                }
                product
            };
            sum.add(one.count, &mixed_along(one.ways.iter().map(way).collect()));
        }
        sum
    }

    /// One way in which an observation may have come about.
    fn of_way(&self, way: &ReadyWay, theta: &DVector<f64>, log_factor: f64) -> Term {
        let count = self.parameters();
        let mut product =
            Term { log: way.log_weight, slope: DVector::zeros(count), bend: DMatrix::zeros(count, count) };
        for own in &way.origins {
            let term = match self.steps(own, theta, log_factor + way.log_factor) {
                Some(steps) => mixed_steps(&steps, count),
                None => mixed(self.parts(own, theta, log_factor + way.log_factor)),
            };
            product.log += own.number * term.log;
            product.slope.axpy(own.number, &term.slope, 1.0);
            product.bend += term.bend * own.number;
        }
        product
    }

    /// The likelihoods that what was seen of an origin is the sum of, where there are several and all are of stretches.
    fn steps<'p>(&self, one: &'p ReadyOrigins, theta: &DVector<f64>, log_factor: f64) -> Option<Vec<Step<'p>>> {
        let count = one.cells.len() + usize::from(one.never.is_some());
        if count < 2 {
            return None;
        }
        let factor = log_factor.exp();
        let mut steps = Vec::with_capacity(count);
        for cell in &one.cells {
            let to = cell.to.as_ref()?;
            steps.push(self.step((&cell.from, Some(to)), cell.log_coefficient, theta, factor)?);
        }
        if let Some((point, log)) = &one.never {
            steps.push(self.step((point, None), *log, theta, factor)?);
        }
        Some(steps)
    }

    /// As [`Problem::survived`] and [`Problem::add_stretch`], without room of its own: there may be many.
    fn step<'p>(
        &self,
        (from, to): (&'p Point, Option<&'p Point>),
        log_coefficient: f64,
        theta: &DVector<f64>,
        factor: f64,
    ) -> Option<Step<'p>> {
        let begin = self.hazard(from, theta).map_or([0.0; 3], |hazard| [hazard.value, hazard.slope, hazard.bend]);
        let [value, slope, bend] = begin.map(|number| factor * number);
        let log = log_coefficient - value;
        let Some(to) = to else {
            return Some(Step {
                along: Along { log, slope: -value, bend: -value },
                points: [from, from],
                slopes: [-slope, 0.0],
                bends: [-bend + slope * slope, 0.0, 0.0],
            });
        };
        let end = self.hazard(to, theta)?;
        let [end_value, end_slope, end_bend] = [end.value, end.slope, end.bend].map(|number| factor * number);
        let added = end_value - value;
        let odds = 1.0 / added.exp_m1();
        let bent = -odds * (1.0 + odds);
        let log_added = if added > 0.0 { (-(-added).exp_m1()).ln() } else { f64::NEG_INFINITY };
        let slopes = [-slope * (1.0 + odds), odds * end_slope];
        // At time 0, which stands nowhere on the line, there is nothing that could change.
        let from = if from.log_time > f64::NEG_INFINITY { from } else { to };
        Some(Step {
            along: Along {
                log: log + log_added,
                slope: -value + odds * added,
                bend: -value + odds * added + bent * added * added,
            },
            points: [from, to],
            slopes,
            bends: [
                -bend * (1.0 + odds) + bent * slope * slope + slopes[0] * slopes[0],
                odds * end_bend + bent * end_slope * end_slope + slopes[1] * slopes[1],
                -bent * slope * end_slope + slopes[0] * slopes[1],
            ],
        })
    }

    /// The same, and of moments that are known.
    fn parts<'p>(
        &'p self,
        one: &'p ReadyOrigins,
        theta: &'p DVector<f64>,
        log_factor: f64,
    ) -> impl Iterator<Item = Part> + 'p {
        let cells = one.cells.iter().map(move |cell| self.of_cell(cell, theta, log_factor));
        cells.chain(one.never.iter().map(move |(point, log)| {
            let mut part = self.survived(point, theta, log_factor);
            part.term.log += log;
            part.along.log += log;
            part
        }))
    }

    fn hazard(&self, point: &Point, theta: &DVector<f64>) -> Option<Hazard> {
        (point.log_time > f64::NEG_INFINITY).then(|| self.law.hazard(point.weights.dot(theta) + point.offset))
    }

    /// No crack by a time: the logarithm is minus the hazard.
    fn survived(&self, point: &Point, theta: &DVector<f64>, log_factor: f64) -> Part {
        let count = self.parameters();
        let Some(hazard) = self.hazard(point, theta) else { return Part::certain(count) };
        let factor = log_factor.exp();
        let log = -factor * hazard.value;
        Part {
            along: Along { log, slope: log, bend: log },
            term: Term {
                log,
                slope: &point.weights * (-factor * hazard.slope),
                bend: &point.weights * point.weights.transpose() * (-factor * hazard.bend),
            },
        }
    }

    /// A crack that began within a cell, or at its moment.
    fn of_cell(&self, cell: &ReadyCell, theta: &DVector<f64>, log_factor: f64) -> Part {
        let mut part = self.survived(&cell.from, theta, log_factor);
        match &cell.to {
            None => self.add_moment(&mut part, &cell.from, theta, log_factor),
            Some(to) => self.add_stretch(&mut part, &cell.from, to, theta, log_factor),
        }
        part.term.log += cell.log_coefficient;
        part.along.log += cell.log_coefficient;
        part
    }

    /// On top of having come so far: the hazard rate at that moment.
    fn add_moment(&self, part: &mut Part, point: &Point, theta: &DVector<f64>, log_factor: f64) {
        let (weights, slope) = (&point.weights, self.slope_of(theta));
        if let Some(hazard) = self.hazard(point, theta) {
            let log = log_factor + hazard.log_slope + slope.ln() - point.log_time;
            part.along.log += log;
            part.along.slope += 1.0;
            part.term.log += log;
            part.term.slope.axpy(hazard.log_slope_change, weights, 1.0);
            part.term.bend.ger(hazard.log_slope_bend, weights, weights, 1.0);
            if self.slope.is_none() {
                part.term.slope[1] += 1.0 / slope;
                part.term.bend[(1, 1)] -= 1.0 / (slope * slope);
            }
        }
    }

    /// On top of having come so far: `1 - exp(-d)`, d the hazard that the stretch adds.
    fn add_stretch(&self, part: &mut Part, from: &Point, to: &Point, theta: &DVector<f64>, log_factor: f64) {
        let factor = log_factor.exp();
        let Some(end) = self.hazard(to, theta) else { return };
        let begin = self.hazard(from, theta);
        let added = factor * (end.value - begin.as_ref().map_or(0.0, |begin| begin.value));
        let odds = 1.0 / added.exp_m1();
        let log = if added > 0.0 { (-(-added).exp_m1()).ln() } else { f64::NEG_INFINITY };
        let bent = -odds * (1.0 + odds);
        part.along.log += log;
        part.along.slope += odds * added;
        part.along.bend += odds * added + bent * added * added;
        part.term.log += log;
        let mut change = &to.weights * (factor * end.slope);
        part.term.bend.ger(odds * factor * end.bend, &to.weights, &to.weights, 1.0);
        if let Some(begin) = begin {
            change.axpy(-factor * begin.slope, &from.weights, 1.0);
            part.term.bend.ger(-odds * factor * begin.bend, &from.weights, &from.weights, 1.0);
        }
        part.term.slope.axpy(odds, &change, 1.0);
        part.term.bend.ger(bent, &change, &change, 1.0);
    }
}

/// One of the likelihoods that an observation is the sum of: by all parameters, and by the logarithm of the row factor.
struct Part {
    term: Term,
    along: Along,
}

impl Part {
    fn certain(count: usize) -> Self {
        let term = Term { log: 0.0, slope: DVector::zeros(count), bend: DMatrix::zeros(count, count) };
        Part { term, along: Along::default() }
    }
}

impl From<Part> for Term {
    fn from(part: Part) -> Term {
        part.term
    }
}

#[cfg(test)]
mod tests;
