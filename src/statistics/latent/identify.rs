//! Whether calls can tell cracked blades from sound ones at all: refused where they cannot.

use super::cells::{Cell, blades, seen_by};
use super::chances::{PREVALENCE, chance};
use super::fit::{Top, at_edge, information_left};
use super::likelihood::Problem;
use super::saturated;
use crate::error::{Error, Result};
use crate::statistics::capture_histories::counted;
use crate::statistics::tail::chi_square_exceeds;

/// Most techniques at a time.
pub const MOST_TECHNIQUES: usize = 8;
/// Fewest blades that two techniques or more called.
pub const FEWEST_CALLED_TWICE: u64 = 5;

/// Techniques, or dependent pairs of them, that err independently of all others.
fn sources(techniques: usize, pairs: &[(usize, usize)]) -> Vec<usize> {
    let pair_of = |at: usize| pairs.iter().find(|(first, second)| *first == at || *second == at);
    let mut sets: Vec<usize> =
        (0..techniques).map(|at| pair_of(at).map_or(1 << at, |(first, second)| 1 << first | 1 << second)).collect();
    sets.sort_unstable();
    sets.dedup();
    sets
}

/// Refuses, before anything is fitted, techniques and blades that cannot identify the chances.
///
/// Two classes need three sources that err independently (Kruskal, Linear Algebra and its Applications 18, 1977;
/// Allman, Matias and Rhodes, Annals of Statistics 37, 2009): with two, any number of sets of chances fit equally
/// well, even where there are more cells than chances.
pub(super) fn check_design(names: &[String], pairs: &[(usize, usize)], cells: &[Cell]) -> Result<()> {
    let count = names.len();
    if count < 3 {
        return Err(Error::data(
            "too-few-techniques",
            format!("two techniques: {}", names.join(", ")),
            "with two techniques any number of sets of chances fit equally well; at least three must look at the same \
             blades",
            "name a third technique of another kind, or take confirmed truths",
        ));
    }
    if count > MOST_TECHNIQUES {
        let rule = format!("must be at most {MOST_TECHNIQUES}");
        return Err(Error::argument("number of techniques", count, &rule, "leave out those that looked least"));
    }
    if sources(count, pairs).len() < 3 {
        return Err(Error::data(
            "not-identified",
            format!("{count} techniques, of which only {} err independently", sources(count, pairs).len()),
            "a dependent pair counts as one; at least three sources of calls must err independently, else any number of \
             sets of chances fit equally well",
            "name fewer pairs or more techniques of other kinds; what dependence would do is told without naming a pair",
        ));
    }
    for first in 0..count {
        for second in first + 1..count {
            let both = 1 << first | 1 << second;
            if !cells.iter().any(|cell| cell.looked & both == both) {
                return Err(Error::data(
                    "no-common-blades",
                    format!("{} and {} never looked at the same blade", names[first], names[second]),
                    "what two techniques miss together shows only on blades that both looked at",
                    "leave out one of the two, or check the names of blades and inspections",
                ));
            }
        }
    }
    check_calls(names, pairs, cells)
}

/// Refuses calls that carry no sign of two classes.
fn check_calls(names: &[String], pairs: &[(usize, usize)], cells: &[Cell]) -> Result<()> {
    let count = names.len();
    for (at, name) in names.iter().enumerate() {
        let of = |called| blades(cells, |cell| cell.answer(at) == Some(called));
        for (called, word) in [(true, "no blade"), (false, "every blade")] {
            if of(called) == 0.0 {
                return Err(Error::data(
                    "one-answer",
                    format!("{name} called {word} of {}", of(!called)),
                    "a technique that answers alike on every blade tells nothing of which are cracked",
                    "leave it out",
                ));
            }
        }
    }
    let twice = blades(cells, |cell| cell.called.count_ones() >= 2) as u64;
    if twice < FEWEST_CALLED_TWICE {
        let what = format!("{} called by two techniques or more", counted(twice, "blade was", "blades were"));
        let rule = format!("cracked blades show by being called twice; at least {FEWEST_CALLED_TWICE} are needed");
        return Err(Error::data("too-few", what, &rule, "add further rows or inspections with the same techniques"));
    }
    // Were there no cracked blades, or none that techniques agree on, all sources would call independently.
    let sources = sources(count, pairs);
    let alone = sources.iter().map(|set| saturated_of(&seen_by(cells, *set), *set)).sum::<f64>();
    let more = 2.0 * (saturated::log_likelihood(cells, count) - alone);
    let numbers =
        saturated::free_numbers(cells, count) - sources.iter().map(|set| (1 << set.count_ones()) - 1).sum::<usize>();
    let p = chi_square_exceeds(more, numbers as f64);
    /// Agreement that is more probable than this by chance counts as none.
    const CHANCE: f64 = 0.05;
    if !(p < CHANCE) {
        return Err(Error::data(
            "no-agreement",
            format!(
                "the techniques agree no more than chance does (G2 {more:.1}, {numbers} degrees of freedom, p {p:.2})"
            ),
            "without agreement nothing shows which blades are cracked",
            "add blades, or techniques that find the same cracks",
        ));
    }
    Ok(())
}

/// The perfect fit of the calls of a set of techniques by themselves.
fn saturated_of(cells: &[Cell], set: usize) -> f64 {
    let members: Vec<usize> = (0..usize::BITS as usize).filter(|at| set >> at & 1 == 1).collect();
    let packed = |bits: usize| members.iter().enumerate().map(|(place, at)| (bits >> at & 1) << place).sum();
    let cells: Vec<Cell> = cells
        .iter()
        .map(|cell| Cell { looked: packed(cell.looked), called: packed(cell.called), count: cell.count })
        .collect();
    saturated::log_likelihood(&cells, members.len())
}

/// Refuses a best fit that is not the only one.
pub(super) fn check_fit(problem: &Problem, tops: &[Top], cells: &[Cell], techniques: usize) -> Result<()> {
    /// Information left, of that which known classes would give, below which two sets of chances are not told apart.
    const LEAST: f64 = 1e-6;
    /// Tops whose log-likelihoods differ by less are equal.
    const EQUAL: f64 = 1e-4;
    let Some(top) = tops.first() else {
        return Err(Error::data(
            "not-converged",
            "no best fit is found",
            "the likelihood of the calls must have a top",
            "add blades, or leave out a technique",
        ));
    };
    if let Some(other) = tops.get(1).filter(|other| top.value - other.value < EQUAL) {
        let share = |top: &Top| 100.0 * chance(top.theta[PREVALENCE]);
        return Err(Error::data(
            "several-optima",
            format!(
                "two different answers fit equally well: {:.1} % and {:.1} % of blades cracked",
                share(top),
                share(other)
            ),
            "there must be one best answer",
            "add blades, or techniques that err independently of the others",
        ));
    }
    let prevalence = chance(top.theta[PREVALENCE]);
    if at_edge(prevalence, blades(cells, |_| true)) {
        return Err(Error::data(
            "one-class",
            "the best fit has all blades in one class",
            "nothing shows that some blades are cracked and others sound",
            "add blades, or techniques that find the same cracks",
        ));
    }
    let numbers = saturated::free_numbers(cells, techniques);
    if numbers < problem.structure.parameters || !(information_left(problem, &top.theta) > LEAST) {
        return Err(Error::data(
            "not-identified",
            format!("{numbers} independent numbers for {} unknown chances", problem.structure.parameters),
            "the information of the calls is singular at the best fit: other chances fit as well",
            "name fewer pairs, or add blades that all techniques looked at",
        ));
    }
    Ok(())
}
