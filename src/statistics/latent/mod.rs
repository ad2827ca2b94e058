//! Detection without known truth: latent classes.
//!
//! Three or more techniques look at the same blades, and nobody knows which blades are cracked. From their agreement
//! [`latent_classes`] estimates how many blades are cracked, each technique's chance of a call on cracked and on sound
//! blades, and how many cracked blades none of them called.
//!
//! Blades are of two classes, cracked and sound, and given the class, techniques call independently of each other, but
//! for pairs that are named as *dependent*: within a pair any dependence is possible, on cracked and on sound blades
//! alike (for a pair, the free table is what covariances, Vacek, Biometrics 41, 1985, log-odds, Espeland and
//! Handelman, Biometrics 45, 1989, and a shared random effect, Qu, Tan and Kutner, Biometrics 52, 1996, are other ways
//! to write; it needs no quadrature, has no bounds that depend on each other, and its best chances at given classes are
//! counts over counts). The likelihood is climbed by expectation and maximisation from 16 starts, each finished by
//! Newton's steps. The cracked class is the one of which the techniques, all chances of a call added up, call more.
//!
//! # Intervals
//!
//! All are by profile likelihood. Those of chances hold one chance at a time. Those of numbers of blades hold the
//! number of cracked blades among those counted, so that they include both the uncertainty of the chances and the
//! chance of just these blades. Where a chance is estimated at none or all, its interval has that as one end.
//!
//! # How often the intervals hold the truth
//!
//! Of 500 simulated campaigns each (`tests/statistics/latent/coverage.rs`), nominal 95 %: 15 % of blades cracked,
//! chances of a call 0.6 to 0.8 on cracked and 0.02 to 0.05 on sound blades. Where two techniques are dependent, the
//! second copies the first's answer on six cracked blades in ten. Detection and false calls are those of the first
//! technique; numbers of blades are rounded outwards.
//!
//! | techniques | blades | detection | false calls | cracked | cracked, called by none |
//! |---|---|---|---|---|---|
//! | 3, independent | 200 | 94.4 % | 94.2 % | 96.8 % | 98.6 % |
//! | | 500 | 95.0 % | 95.8 % | 95.4 % | 97.8 % |
//! | | 2000 | 94.0 % | 93.8 % | 95.0 % | 97.2 % |
//! | 4, independent | 200 | 93.0 % | 95.4 % | 96.8 % | 99.8 % |
//! | | 500 | 93.8 % | 94.0 % | 96.8 % | 99.6 % |
//! | | 2000 | 96.4 % | 95.4 % | 95.8 % | 99.8 % |
//! | 4, two dependent and named | 200 | 94.6 % | 95.8 % | 96.4 % | 98.6 % |
//! | | 500 | 95.0 % | 95.2 % | 96.6 % | 99.2 % |
//! | | 2000 | 94.8 % | 95.8 % | 95.4 % | 97.8 % |
//! | 4, two dependent and **not** named | 200 | **76.4 %** | 96.0 % | **79.4 %** | 94.8 % |
//! | | 500 | **64.4 %** | 95.4 % | **60.0 %** | **83.0 %** |
//! | | 2000 | **17.8 %** | 93.4 % | **9.0 %** | **26.6 %** |
//!
//! # Blades that a technique did not look at
//!
//! A blade that not all techniques looked at counts with the answers that there are. That is right where the look
//! depends on calls of the techniques named (a second technique looks where the first has called), and wrong where it
//! depends on anything else related to cracks.
//!
//! # Blades of known truth
//!
//! Blades confirmed to be cracked or sound count like all others, and their truth is set beside the fit: confirmation
//! is seldom blind to the calls, and records that confirm cracks and not soundness would mislead.
//!
//! # Limits
//!
//! Where techniques miss the same cracks beyond the dependent pairs named, detection is overstated and the number
//! missed understated. Detection that depends on size is itself such a dependence: all techniques miss small cracks.
//! With three techniques the calls cannot show it at all. [`LatentClasses::sensitivity`] says what it would do.

mod cells;
mod chances;
mod classes;
mod fit;
mod goodness;
mod identify;
mod likelihood;
mod profile;
mod saturated;
mod sensitivity;
mod text;

pub use classes::{
    Confirmed, DependentPair, Goodness, GoodnessMethod, Interval, LatentClasses, PairFit, Pattern, Sensitivity,
    TechniqueChances,
};
pub use identify::{FEWEST_CALLED_TWICE, MOST_TECHNIQUES};

use super::capture_histories::CaptureHistories;
use crate::bounds::CONFIDENCE;
use crate::error::{Error, Result};
use cells::Cell;
use chances::{CRACKED, SOUND, Structure};
use goodness::{Fitted, correlation};
use likelihood::Problem;
use profile::Profiles;

/// Options of [`latent_classes`].
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Pairs of techniques that may depend on each other, by name; no technique is of two pairs.
    pub dependent_pairs: Vec<(String, String)>,
    /// Confidence of every interval.
    pub level: f64,
    /// Campaigns simulated from the fit, for its goodness where counts are small.
    pub resamples: usize,
    /// Seed of these.
    pub seed: u64,
}

impl Default for Question {
    /// No dependent pairs, intervals of 95 %, 200 campaigns.
    fn default() -> Self {
        Question { dependent_pairs: Vec::new(), level: 0.95, resamples: 200, seed: 1 }
    }
}

impl Question {
    /// Most simulated campaigns.
    pub const MOST_RESAMPLES: usize = 10_000;
}

/// Tells cracked from sound blades by what three or more techniques called.
///
/// ```
/// use serrata::statistics::capture_histories::CaptureHistories;
/// use serrata::statistics::latent::{Question, latent_classes};
///
/// // 250 blades, 50 of them cracked; chances of a call 0.9, 0.8 and 0.6 on cracked blades, 0.05, 0.1 and 0.05 on
/// // sound ones: the counts are those expected, rounded to whole blades.
/// let counts = [
///     ([true, true, true], 22), ([true, true, false], 15), ([true, false, true], 6), ([true, false, false], 12),
///     ([false, true, true], 3), ([false, true, false], 20), ([false, false, true], 9), ([false, false, false], 163),
/// ];
/// let counts: Vec<_> = counts.iter().map(|(called, blades)| (called.to_vec(), *blades)).collect();
/// let histories = CaptureHistories::from_counts(&["magnetic-particle", "eddy-current", "penetrant"], &counts)?;
/// let found = latent_classes(&histories, &Question::default())?;
/// assert!((found.prevalence.value - 0.2).abs() < 0.01);
/// assert!((found.techniques[0].detection.value - 0.9).abs() < 0.02);
/// assert!(found.cracked_called_by_none.low <= 0.4 && 0.4 <= found.cracked_called_by_none.high);
/// # Ok::<(), serrata::Error>(())
/// ```
///
/// # Errors
/// Refuses a level below 0.5 or not below 1, more than [`Question::MOST_RESAMPLES`] campaigns, more than
/// [`MOST_TECHNIQUES`] techniques, and dependent pairs of techniques that are not there or that share one. Refuses,
/// with [`Error::reason`] in brackets, what cannot tell the classes apart: fewer than three techniques
/// (`too-few-techniques`), fewer than three that err independently, or chances that the calls do not tell from others
/// (`not-identified`), two techniques that never looked at the same blade (`no-common-blades`), one that answers alike
/// on all (`one-answer`), fewer than [`FEWEST_CALLED_TWICE`] blades called by two (`too-few`), no agreement beyond
/// chance (`no-agreement`), different answers that fit equally well (`several-optima`), all blades in one class
/// (`one-class`), and a search that does not arrive (`not-converged`).
pub fn latent_classes(histories: &CaptureHistories, question: &Question) -> Result<LatentClasses> {
    CONFIDENCE.check("level", question.level)?;
    if question.resamples > Question::MOST_RESAMPLES {
        let rule = format!("must be at most {}", Question::MOST_RESAMPLES);
        return Err(Error::argument("resamples", question.resamples, &rule, "200 are usual"));
    }
    let names = histories.techniques();
    let pairs = places(names, &question.dependent_pairs)?;
    let cells = cells::cells(histories);
    identify::check_design(names, &pairs, &cells)?;
    let problem = Problem::new(Structure::new(names.len(), &pairs), &cells);
    let tops = fit::tops(&problem);
    identify::check_fit(&problem, &tops, &cells, names.len())?;
    let top = &tops[0];
    let fitted = Fitted { problem: &problem, top, cells: &cells };
    let (goodness, pair_fits) = fitted.goodness(names, question.resamples, question.seed);
    let profiles = Profiles::new(&problem, &cells, &pairs, top, question.level);
    let group = |wanted: &dyn Fn(&Cell) -> bool| cells.iter().map(wanted).collect::<Vec<bool>>();
    let count = |wanted: &dyn Fn(&Cell) -> bool| cells::blades(&cells, wanted) as u64;
    let all = (1 << names.len()) - 1;
    let techniques = names.iter().enumerate().map(|(at, name)| {
        let [false_calls, detection] = profiles.calls(at);
        TechniqueChances {
            technique: name.clone(),
            looked: count(&|cell| cell.answer(at).is_some()),
            called: count(&|cell| cell.answer(at) == Some(true)),
            detection,
            false_calls,
            cracked_not_called: profiles.number(&group(&|cell| cell.answer(at) == Some(false))),
        }
    });
    let dependent_pairs = pairs.iter().map(|(first, second)| {
        let of = |class| {
            let calls = |at: usize| problem.structure.calls(at, class, &top.theta);
            correlation([
                calls(*first),
                calls(*second),
                problem.structure.both_call((*first, *second), class, &top.theta),
            ])
        };
        DependentPair {
            first: names[*first].clone(),
            second: names[*second].clone(),
            correlation_cracked: of(CRACKED),
            correlation_sound: of(SOUND),
        }
    });
    let mut found = LatentClasses {
        level: question.level,
        blades: count(&|_| true),
        incomplete: count(&|cell| cell.looked != all),
        called_by_none: count(&|cell| cell.called == 0),
        prevalence: profiles.prevalence(),
        cracked: profiles.number(&group(&|_| true)),
        cracked_called_by_none: profiles.number(&group(&|cell| cell.called == 0)),
        techniques: techniques.collect(),
        dependent_pairs: dependent_pairs.collect(),
        patterns: patterns(names, &fitted),
        goodness,
        pairs: pair_fits,
        sensitivity: sensitivity::sensitivity(names, &problem, top, &cells, &pairs),
        log_likelihood: top.value,
        parameters: problem.structure.parameters,
        information_left: fit::information_left(&problem, &top.theta),
        confirmed: confirmed(histories, &fitted),
        notes: Vec::new(),
    };
    found.notes = text::notes(&found, histories, &tops);
    Ok(found)
}

/// The places of dependent techniques.
fn places(names: &[String], dependent_pairs: &[(String, String)]) -> Result<Vec<(usize, usize)>> {
    let mut pairs: Vec<(usize, usize)> = Vec::new();
    for (first, second) in dependent_pairs {
        let place = |wanted: &String| {
            names.iter().position(|name| name == wanted).ok_or_else(|| {
                let remedy = format!("choose from {}", names.join(", "));
                Error::argument("dependent_pairs", wanted, "is not one of the techniques", &remedy)
            })
        };
        let pair = (place(first)?, place(second)?);
        let taken = |at: usize| pairs.iter().any(|known| known.0 == at || known.1 == at);
        if pair.0 == pair.1 || taken(pair.0) || taken(pair.1) {
            let rule = "a technique may depend on one other";
            return Err(Error::argument(
                "dependent_pairs",
                format!("{first} with {second}"),
                rule,
                "name the pair that depends most",
            ));
        }
        pairs.push(pair);
    }
    Ok(pairs)
}

fn patterns(names: &[String], fitted: &Fitted) -> Vec<Pattern> {
    let cracked = fitted.problem.cracked(&fitted.top.theta);
    let expected = fitted.expected_cells();
    let named = |set: usize| (0..names.len()).filter(|at| set >> at & 1 == 1).map(|at| names[at].clone()).collect();
    let pattern = |(cell, cracked): (&Cell, &f64)| {
        let same = |other: &&Cell| (other.looked, other.called) == (cell.looked, cell.called);
        Pattern {
            called_by: named(cell.called),
            silent: named(cell.looked & !cell.called),
            blades: cell.count as u64,
            expected: expected.iter().find(same).map_or(0.0, |expected| expected.count),
            cracked: *cracked,
        }
    };
    let mut patterns: Vec<Pattern> = fitted.cells.iter().zip(&cracked).map(pattern).collect();
    patterns.sort_by_key(|pattern| std::cmp::Reverse(pattern.blades));
    patterns
}

/// The blades of known truth beside the fit.
fn confirmed(histories: &CaptureHistories, fitted: &Fitted) -> Option<Confirmed> {
    /// Standard deviations; about one time in 400 by chance.
    const TELLING: f64 = 3.0;
    let by_fit = fitted.problem.cracked(&fitted.top.theta);
    let mut confirmed =
        Confirmed { cracked: 0, cracked_by_fit: 0.0, sound: 0, sound_by_fit: 0.0, spread: 0.0, contradicts: false };
    for blade in histories.histories() {
        let answers = |cell: &&Cell| (0..blade.called.len()).all(|at| cell.answer(at) == blade.called[at]);
        let cell = fitted.cells.iter().zip(&by_fit).find(|(cell, _)| answers(cell));
        let Some(((_, cracked), truth)) = cell.zip(blade.cracked) else { continue };
        let count = blade.count as f64;
        // The square, until all are counted.
        confirmed.spread += count * cracked * (1.0 - cracked);
        if truth {
            confirmed.cracked += blade.count;
            confirmed.cracked_by_fit += count * cracked;
        } else {
            confirmed.sound += blade.count;
            confirmed.sound_by_fit += count * (1.0 - cracked);
        }
    }
    confirmed.spread = confirmed.spread.sqrt();
    confirmed.contradicts = confirmed.excess().abs() > TELLING * confirmed.spread + 0.5;
    (confirmed.cracked + confirmed.sound > 0).then_some(confirmed)
}
