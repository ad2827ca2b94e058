//! The best fit: expectation and maximisation from many starts, each finished by Newton's steps.

use super::chances::{CRACKED, PREVALENCE, SOUND, chance, logit};
use super::likelihood::{Problem, Tilt};
use crate::random::{Key, Stream};
use crate::statistics::newton::{Local, Plane, climb};
use nalgebra::{Cholesky, DMatrix, DVector, SymmetricEigen};

/// A point where the likelihood is largest, with the classes well named.
#[derive(Debug, Clone)]
pub(super) struct Top {
    pub theta: DVector<f64>,
    pub value: f64,
}

/// What is given while all else is fitted.
#[derive(Clone, Copy)]
pub(super) enum Held<'g> {
    Nothing,
    /// A parameter.
    Parameter(usize, f64),
    /// The number of cracked blades in some of the cells.
    Number(&'g [bool], f64),
}

/// The best fit, and those of other starts that end elsewhere, best first.
///
/// A start that ends where another has, but for the names of the classes, does not count again.
pub(super) fn tops(problem: &Problem) -> Vec<Top> {
    let structure = &problem.structure;
    let mut tops: Vec<Top> = Vec::new();
    for start in starts(problem) {
        let Some(mut top) = best(problem, &start, Held::Nothing, STEPS_FROM_AFAR) else { continue };
        if !structure.well_named(&top.theta) {
            top.theta = structure.renamed(&top.theta);
        }
        if !tops.iter().any(|known| apart(problem, known, &top) < SAME) {
            tops.push(top);
        }
    }
    tops.sort_by(|a, b| b.value.total_cmp(&a.value));
    tops
}

/// Steps of expectation and maximisation from a start that is far from the top, and from one that is near.
const STEPS_FROM_AFAR: usize = 100;
const STEPS_FROM_NEAR: usize = 3;
/// Chances closer than this are the same.
const SAME: f64 = 1e-3;

/// The best fit with something held, from a point that is not far from it.
pub(super) fn best_near(problem: &Problem, start: &DVector<f64>, held: Held) -> Option<Top> {
    best(problem, start, held, STEPS_FROM_NEAR)
}

/// Chances of all kinds to start from: few and many cracked blades, blunt and sharp techniques.
fn starts(problem: &Problem) -> Vec<DVector<f64>> {
    /// Beside the first, drawn.
    const DRAWN: u64 = 15;
    let structure = &problem.structure;
    let of = |prevalence: f64, chances: &mut dyn FnMut(usize) -> f64| {
        let mut theta = DVector::zeros(structure.parameters);
        theta[PREVALENCE] = logit(prevalence);
        for calls in &structure.calls {
            for class in [SOUND, CRACKED] {
                let logit = logit(chances(class));
                calls[class].parameters().into_iter().for_each(|parameter| theta[parameter] = logit);
            }
        }
        theta
    };
    let mut starts = vec![of(0.2, &mut |class| if class == CRACKED { 0.8 } else { 0.05 })];
    for start in 0..DRAWN {
        let mut draws = Stream::new(Key::from_seed(0).named("latent classes").child(start));
        let prevalence = 0.02 + 0.7 * draws.uniform();
        starts.push(of(prevalence, &mut |class| {
            let uniform = draws.uniform();
            if class == CRACKED { 0.3 + 0.65 * uniform } else { 0.3 * uniform }
        }));
    }
    starts
}

/// Largest distance between the chances of two tops: of a crack, and of calls.
fn apart(problem: &Problem, one: &Top, other: &Top) -> f64 {
    let structure = &problem.structure;
    let mut apart = (chance(one.theta[PREVALENCE]) - chance(other.theta[PREVALENCE])).abs();
    for technique in 0..structure.calls.len() {
        for class in [SOUND, CRACKED] {
            let of = |top: &Top| structure.calls(technique, class, &top.theta);
            apart = apart.max((of(one) - of(other)).abs());
        }
    }
    apart
}

fn best(problem: &Problem, start: &DVector<f64>, held: Held, steps: usize) -> Option<Top> {
    /// Where Newton's steps do not arrive, the slow way goes as far as this, or until so many steps gain hardly
    /// anything in log-likelihood.
    const STEPS_ALONE: usize = 2_000;
    const STEPS_AT_ONCE: usize = 50;
    const HARDLY: f64 = 1e-6;
    let mut start = start.clone();
    let plane = match held {
        Held::Parameter(parameter, value) => {
            start[parameter] = value;
            Plane::holding(problem.structure.parameters, parameter, value)
        }
        _ => Plane::whole(problem.structure.parameters),
    };
    for _ in 0..steps {
        start = maximised(problem, &start, held);
    }
    let function = |theta: &DVector<f64>| at(problem, theta, held);
    if let Some(peak) = climb(&plane, &start, function) {
        return Some(Top { theta: peak.at, value: peak.value });
    }
    let mut value = function(&start).value;
    for _ in 0..STEPS_ALONE / STEPS_AT_ONCE {
        for _ in 0..STEPS_AT_ONCE {
            start = maximised(problem, &start, held);
        }
        let before = std::mem::replace(&mut value, function(&start).value);
        if value - before < HARDLY {
            break;
        }
    }
    value.is_finite().then_some(Top { theta: start, value })
}

/// One step of expectation and maximisation.
fn maximised(problem: &Problem, theta: &DVector<f64>, held: Held) -> DVector<f64> {
    let tilt = match held {
        Held::Number(group, number) => Some(Tilt { group, by: tilt_for(problem, theta, group, number) }),
        _ => None,
    };
    let mut next = theta.clone();
    for (parameter, (tried, came)) in problem.expected(theta, tilt).into_iter().enumerate() {
        let free = !matches!(held, Held::Parameter(at, _) if at == parameter);
        if free && tried > 0.0 && problem.structure.is_counted(parameter) {
            next[parameter] = logit(came / tried);
        }
    }
    next
}

/// The log-likelihood at a point.
///
/// With a number of cracked blades held, it is that of the blades and of that number, the number shared out among
/// the cells as is most probable: a profile predictive likelihood (Mathiasen, Scandinavian Journal of Statistics 6,
/// 1979; Hinkley, Annals of Statistics 7, 1979) with factorials by Stirling's formula. Sharing out adds the same
/// tilt to the log-odds of being cracked in every cell; the curvature is that along which the number stays.
fn at(problem: &Problem, theta: &DVector<f64>, held: Held) -> Local {
    let tilt = match held {
        Held::Number(group, number) => Some(Tilt { group, by: tilt_for(problem, theta, group, number) }),
        _ => None,
    };
    let mut tilted = problem.local(theta, tilt);
    if let (Held::Number(_, number), Some(tilt)) = (held, tilt) {
        tilted.local.value -= tilt.by * number;
        // Where every share is none or all, the tilt does not move.
        if tilted.by_tilt > 0.0 {
            tilted.local.information.ger(1.0 / tilted.by_tilt, &tilted.by_parameter, &tilted.by_parameter, 1.0);
        }
    }
    if let Held::Parameter(parameter, _) = held {
        // No step is made along it, and its curvature may be that of a valley.
        tilted.local.information.row_mut(parameter).fill(0.0);
        tilted.local.information.column_mut(parameter).fill(0.0);
        tilted.local.information[(parameter, parameter)] = 1.0;
    }
    Local { information: bent(tilted.local.information, &tilted.complete), ..tilted.local }
}

/// The information where it is that of a hill; else drawn towards that of known classes, whose steps are those of
/// expectation and maximisation and always lead up, each parameter in its own measure.
fn bent(information: DMatrix<f64>, complete: &DVector<f64>) -> DMatrix<f64> {
    const MOST: f64 = 1e3;
    let mut share = 0.0;
    loop {
        let bent = &information + DMatrix::from_diagonal(&(complete * share));
        if share > MOST || Cholesky::new(bent.clone()).is_some() {
            return bent;
        }
        share = if share == 0.0 { 1e-3 } else { 10.0 * share };
    }
}

/// The tilt with which a group holds a number of cracked blades.
fn tilt_for(problem: &Problem, theta: &DVector<f64>, group: &[bool], number: f64) -> f64 {
    let odds = problem.log_odds(theta);
    let members: Vec<(f64, f64)> = (0..group.len())
        .filter(|cell| group[*cell] && problem.counts()[*cell] > 0.0)
        .map(|cell| (problem.counts()[cell], odds[cell]))
        .collect();
    let all: f64 = members.iter().map(|(count, _)| count).sum();
    let share = (number / (all - number)).ln();
    let (least, most) = members.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), (_, odds)| {
        (f64::min(least, *odds), f64::max(most, *odds))
    });
    // With these tilts no cell has more than the share, and none less.
    let (mut low, mut high) = (share - most, share - least);
    let mut tilt = 0.5 * (low + high);
    for _ in 0..200 {
        let (mut excess, mut slope) = (-number, 0.0);
        for (count, odds) in &members {
            let cracked = chance(odds + tilt);
            excess += count * cracked;
            slope += count * cracked * (1.0 - cracked);
        }
        if excess > 0.0 {
            high = tilt
        } else {
            low = tilt
        }
        let newton = tilt - excess / slope;
        // A step out of the bracket, or none that is a number, gives way to halving.
        let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
        if (next - tilt).abs() <= 1e-13 * (1.0 + tilt.abs()) || !(high > low) {
            return next;
        }
        tilt = next;
    }
    tilt
}

/// How much of the information that known classes would give is left in the direction that has least of it: one
/// less the share that is missing (Orchard and Woodbury, 1972). Zero where the calls cannot tell two sets of chances
/// apart.
///
/// Chances at none or all, or of what hardly a blade was tried for, are left out: they have no two sides.
pub(super) fn information_left(problem: &Problem, theta: &DVector<f64>) -> f64 {
    let complete: Vec<f64> = complete_information(problem, theta);
    let inner: Vec<usize> = (0..complete.len()).filter(|at| complete[*at] > EDGE).collect();
    let information = problem.local(theta, None).local.information;
    let scaled = DMatrix::from_fn(inner.len(), inner.len(), |row, column| {
        information[(inner[row], inner[column])] / (complete[inner[row]] * complete[inner[column]]).sqrt()
    });
    SymmetricEigen::new(scaled).eigenvalues.iter().copied().fold(f64::INFINITY, f64::min)
}

/// Blades' worth of information below which a chance is at none or all, or of what was not tried.
const EDGE: f64 = 1e-3;

/// Information on each logit, were the classes known: tries times chance times the other chance.
pub(super) fn complete_information(problem: &Problem, theta: &DVector<f64>) -> Vec<f64> {
    let tried = problem.expected(theta, None).into_iter();
    let each = tried.map(|(tried, came)| if tried > 0.0 { came * (tried - came) / tried } else { 0.0 });
    each.collect()
}

/// Whether a chance of so many tries is at none or all.
pub(super) fn at_edge(chance: f64, tries: f64) -> bool {
    tries * chance * (1.0 - chance) < EDGE
}
