//! How many blades of a row to look at, so that few cracked ones remain in it unseen.
//!
//! Blades are looked at without replacement, and looks miss. "Sure that fewer than k remain" has three readings, which give
//! different numbers: that a look would have called a blade, were k cracked ones there; that it would have called more than were
//! found, were k left beside those; and, by Bayes' rule, that few remain, given how many blades were cracked in the first place.
//! The first two ask for no such prior, and say nothing of how probable k cracked blades are.

use super::quadrature::even_rule;
use super::search::crossing;
use super::tail::{binomial_at_most, binomial_exactly};
use crate::bounds::{BLADES, CONFIDENCE, PROBABILITY, PROBABILITY_BELOW_ONE};
use crate::error::{Error, Result};
use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF};
use statrs::function::gamma::ln_gamma;

/// A look at some blades of a row, drawn by chance.
///
/// ```
/// use serrata::statistics::blades_to_look_at::LookAtRow;
///
/// let look = LookAtRow::new(80, 30, 0.8, 0.01)?;
/// assert!((look.calls(6)?[2] - 0.32193).abs() < 1e-5);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LookAtRow {
    /// Blades of the row.
    pub blades: u32,
    /// How many of them are looked at.
    pub looked_at: u32,
    /// Chance that a cracked blade is called.
    pub pod: f64,
    /// Chance that a sound one is.
    pub false_call_probability: f64,
}

impl LookAtRow {
    /// A look at `looked_at` of `blades`.
    ///
    /// # Errors
    /// Refuses rows without blades, more looks than blades, and chances that are none.
    pub fn new(blades: u32, looked_at: u32, pod: f64, false_call_probability: f64) -> Result<Self> {
        row("blades", blades)?;
        at_most("looked_at", looked_at, blades)?;
        PROBABILITY.check("pod", pod)?;
        PROBABILITY.check("false_call_probability", false_call_probability)?;
        Ok(LookAtRow { blades, looked_at, pod, false_call_probability })
    }

    /// Chance of each number of calls, from none on, if so many blades of the row are cracked: sum over d of
    /// Hyper(d; N, D, n) times the distribution of Bin(d, p) + Bin(n - d, q) (A. R. Cameron and F. C. Baldock, "A new
    /// probability formula for surveys to substantiate freedom from disease", Preventive Veterinary Medicine 34 (1998) 1-17).
    ///
    /// # Errors
    /// Refuses more cracked blades than the row has.
    pub fn calls(&self, cracked: u32) -> Result<Vec<f64>> {
        at_most("cracked", cracked, self.blades)?;
        let n = self.looked_at;
        let mut calls = vec![0.0; n as usize + 1];
        for there in 0..=cracked.min(n) {
            let chance = hypergeometric(there, self.blades, cracked, n);
            if chance > 0.0 {
                let true_calls = binomial(there, self.pod);
                let false_calls = binomial(n - there, self.false_call_probability);
                for (one, first) in true_calls.iter().enumerate() {
                    for (other, second) in false_calls.iter().enumerate() {
                        calls[one + other] += chance * first * second;
                    }
                }
            }
        }
        Ok(calls)
    }

    /// Chance of at least so many calls if so many blades of the row are cracked.
    ///
    /// # Errors
    /// As [`LookAtRow::calls`].
    pub fn at_least(&self, calls: u32, cracked: u32) -> Result<f64> {
        let chances = self.calls(cracked)?;
        let below: f64 = chances.iter().take(calls as usize).sum();
        let from: f64 = chances.iter().skip(calls as usize).sum();
        // The smaller one has all its figures.
        Ok(if below < from { 1.0 - below } else { from })
    }

    /// Chance that at most so many of the cracked blades are called.
    fn finds_at_most(&self, found: u32, cracked: u32) -> f64 {
        let there = 0..=cracked.min(self.looked_at);
        let of = |there: u32| {
            hypergeometric(there, self.blades, cracked, self.looked_at)
                * binomial_at_most(f64::from(found), f64::from(there), self.pod)
        };
        there.map(of).sum()
    }
}

/// How many blades to look at, to be so sure that fewer than some cracked ones remain: an answer for each reading of that.
///
/// ```
/// use serrata::statistics::blades_to_look_at::{HowMany, Question};
///
/// let sharp = Question { blades: 80, fewer_than: 2, found: 0, pod: 0.9, confidence: 0.95 };
/// assert_eq!(HowMany::new(&sharp, None)?.if_there.blades, Some(69));
/// // Half of the cracked blades are missed: not even all are enough, and a better technique is needed.
/// let blunt = HowMany::new(&Question { pod: 0.5, ..sharp }, None)?;
/// assert_eq!(blunt.if_there.blades, None);
/// assert!((blunt.if_there.pod_needed.unwrap_or(0.0) - 0.7764).abs() < 1e-4);
/// # Ok::<(), serrata::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HowMany {
    /// What was asked.
    pub question: Question,
    /// Without a call: were `fewer_than` cracked blades in the row, one would have been called.
    pub if_there: BladesToLookAt,
    /// After so many finds, whose blades are replaced: were `fewer_than` left beside them, more would have been called. Where
    /// none was found, the same as the first.
    pub if_left: BladesToLookAt,
    /// By Bayes' rule, where it is stated how many are cracked before anybody looks.
    pub by_prior: Option<(Prior, BladesToLookAt)>,
}

/// What is to be known of a row.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Question {
    /// Blades of the row.
    pub blades: u32,
    /// Fewer cracked ones than this are to remain.
    pub fewer_than: u32,
    /// Cracked blades that were called, and replaced.
    pub found: u32,
    /// Chance that a cracked blade is called.
    pub pod: f64,
    /// How sure one wants to be.
    pub confidence: f64,
}

/// A number of blades to look at.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BladesToLookAt {
    /// The number; none where not even a look at the whole row is enough.
    pub blades: Option<u32>,
    /// Chance that is left, at that number or at the whole row, of the thing to be sure against.
    pub chance_left: f64,
    /// Where no number is enough: the chance of detection from which the whole row would be, if any is.
    pub pod_needed: Option<f64>,
}

impl HowMany {
    /// Answers a question, with a prior or without.
    ///
    /// # Errors
    /// Refuses rows without blades, more cracked ones than there are, chances of detection that are none, a confidence below
    /// 0.5 or not below 1, and finds that cannot come about by the prior.
    pub fn new(question: &Question, prior: Option<&Prior>) -> Result<Self> {
        question.check()?;
        let clean = Question { found: 0, ..*question };
        let by_prior = match prior {
            None => None,
            Some(prior) => {
                Remaining::after(question.blades, question.blades, question.found, question.pod, prior)?;
                Some((*prior, question.smallest(|looked_at, pod| question.remain(looked_at, pod, prior))))
            }
        };
        let without = |question: &Question| question.smallest(|looked_at, pod| question.so_few_found(looked_at, pod));
        Ok(HowMany { question: *question, if_there: without(&clean), if_left: without(question), by_prior })
    }

    /// For each number of blades looked at, from none to the whole row, the chance that is left by each reading; by a prior
    /// where one is stated, from as many looks as finds on.
    pub fn curves(&self) -> Curves {
        let question = &self.question;
        let looks = 0..=question.blades;
        let clean = Question { found: 0, ..*question };
        let of = |question: &Question| looks.clone().map(|n| question.so_few_found(n, question.pod)).collect();
        let by = |(prior, _): &(Prior, BladesToLookAt)| {
            looks
                .clone()
                .map(|n| if n < question.found { f64::NAN } else { question.remain(n, question.pod, prior) })
                .collect()
        };
        Curves { if_there: of(&clean), if_left: of(question), by_prior: self.by_prior.as_ref().map(by) }
    }

    /// The answers in sentences.
    pub fn statements(&self) -> Vec<String> {
        let &Question { blades, fewer_than, found, pod, confidence } = &self.question;
        let sure = format!("{} %", percent(confidence));
        let cracked =
            |number: u32| if number == 1 { "1 cracked blade".to_owned() } else { format!("{number} cracked blades") };
        let answer = |answer: &BladesToLookAt| match (answer.blades, answer.pod_needed) {
            (Some(0), _) => "no look is needed".to_owned(),
            (Some(number), _) if number == blades => format!("look at all {blades} blades"),
            (Some(number), _) => format!("look at {number} of {blades} blades"),
            (None, Some(needed)) => format!(
                "no number is enough: after a look at all {blades} a chance of {} % is left; the chance of detection would have to \
                 be {needed:.3} or more",
                two_figures(answer.chance_left)
            ),
            (None, None) => format!(
                "no number is enough, not even with a perfect technique: after a look at all {blades} a chance of {} % is left",
                two_figures(answer.chance_left)
            ),
        };
        let mut said = vec![format!(
            "If there were {} in the row, {sure} sure to call one or more: {}.",
            cracked(fewer_than),
            answer(&self.if_there)
        )];
        if found > 0 {
            said.push(format!(
                "If {} were left beside the {found} found and replaced, {sure} sure to have called more: {}.",
                cracked(fewer_than),
                answer(&self.if_left)
            ));
        }
        match &self.by_prior {
            Some((prior, by_prior)) => said.push(format!(
                "If {}, and {} found, {sure} sure that fewer than {fewer_than} remain: {}.",
                prior.words(),
                match found {
                    0 => "none is".to_owned(),
                    1 => "1 is".to_owned(),
                    _ => format!("{found} are"),
                },
                answer(by_prior)
            )),
            None => said.push(
                "How probable it is that so many are cracked is another matter: it hangs on how many are cracked before anybody \
                 looks, which these numbers do not use."
                    .to_owned(),
            ),
        }
        said.push(format!(
            "The chance of detection ({pod}) is taken to be that of each cracked blade that matters, and looks to miss apart from \
             each other; blades are drawn by chance from the {blades}, false calls are sorted out."
        ));
        said
    }
}

/// See [`HowMany::curves`].
#[derive(Debug, Clone, PartialEq)]
pub struct Curves {
    /// Without a call.
    pub if_there: Vec<f64>,
    /// After the finds.
    pub if_left: Vec<f64>,
    /// By the prior.
    pub by_prior: Option<Vec<f64>>,
}

impl Question {
    fn check(&self) -> Result<()> {
        let &Question { blades, fewer_than, found, pod, confidence } = self;
        row("blades", blades)?;
        if fewer_than == 0 {
            return Err(Error::argument("fewer_than", fewer_than, "must be at least 1", "1 says that none remains"));
        }
        at_most("found", found, blades)?;
        at_most("fewer_than", fewer_than, blades - found)?;
        PROBABILITY.check("pod", pod)?;
        CONFIDENCE.check("confidence", confidence)
    }

    /// Chance that no more are found than were, with as many cracked blades beside them as are to be excluded; with more it is
    /// smaller.
    fn so_few_found(&self, looked_at: u32, pod: f64) -> f64 {
        LookAtRow { blades: self.blades, looked_at, pod, false_call_probability: 0.0 }
            .finds_at_most(self.found, self.fewer_than + self.found)
    }

    /// Chance that as many remain, by a prior.
    fn remain(&self, looked_at: u32, pod: f64, prior: &Prior) -> f64 {
        let remaining = Remaining::after(self.blades, looked_at.max(self.found), self.found, pod, prior);
        remaining.map_or(f64::NAN, |remaining| remaining.at_least(self.fewer_than))
    }

    /// The smallest number of blades at which a chance, which falls with it, is no more than what may be left.
    fn smallest(&self, chance: impl Fn(u32, f64) -> f64) -> BladesToLookAt {
        /// What rounding may take from a chance that meets its limit exactly.
        const ROUNDING: f64 = 1e-12;
        let &Question { blades, found, pod, confidence, .. } = self;
        let limit = 1.0 - confidence;
        let is_enough = |looked_at: u32| chance(looked_at, pod) <= limit * (1.0 + ROUNDING);
        if !is_enough(blades) {
            let excess = |pod: f64| chance(blades, pod) - limit;
            let (least, most) = (excess(pod), excess(1.0));
            let pod_needed = (most <= 0.0).then(|| crossing((pod, least), (1.0, most), 1e-12, excess));
            return BladesToLookAt { blades: None, chance_left: chance(blades, pod), pod_needed };
        }
        // No fewer were looked at than were found.
        let (mut least, mut enough) = (found, blades);
        while least < enough {
            let middle = least + (enough - least) / 2;
            if is_enough(middle) { enough = middle } else { least = middle + 1 }
        }
        BladesToLookAt { blades: Some(enough), chance_left: chance(enough, pod), pod_needed: None }
    }
}

/// How many blades of a row are cracked before anybody looks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Prior {
    /// Each with this chance, apart from the others.
    EachBlade(f64),
    /// Each with a chance that all blades of a row share, and that scatters from row to row by a beta distribution.
    Row {
        /// Its two shapes.
        shapes: [f64; 2],
    },
}

impl Prior {
    /// A chance of each blade apart.
    ///
    /// # Errors
    /// Refuses what is no chance, and certainty.
    pub fn each_blade(chance: f64) -> Result<Self> {
        PROBABILITY_BELOW_ONE.check("cracked_probability", chance)?;
        Ok(Prior::EachBlade(chance))
    }

    /// A chance that scatters from row to row, with a mean and as many blades as it is worth.
    ///
    /// # Errors
    /// Refuses a mean that is not within 0 and 1, and a worth that is not above 0.
    pub fn row(mean: f64, worth_blades: f64) -> Result<Self> {
        PROBABILITY_BELOW_ONE.check("cracked_probability", mean)?;
        if !(mean > 0.0) {
            return Err(Error::argument("cracked_probability", mean, "must exceed 0 where it scatters", "raise it"));
        }
        if !(worth_blades > 0.0 && worth_blades <= 1e9) {
            let remedy = "say how many blades' looks it is worth";
            return Err(Error::argument("worth_blades", worth_blades, "must be above 0 and at most 1e9", remedy));
        }
        Ok(Prior::Row { shapes: [mean * worth_blades, (1.0 - mean) * worth_blades] })
    }

    fn words(&self) -> String {
        match *self {
            Prior::EachBlade(chance) => format!("each blade is cracked with a chance of {chance} before anybody looks"),
            Prior::Row { shapes: [a, b] } => format!(
                "{} % of the blades are cracked in the mean before anybody looks, as sure as if {} blades had told of them, and \
                 rows differ by that",
                two_figures(a / (a + b)),
                a + b
            ),
        }
    }

    /// Points and weights of the chance.
    fn rule(&self) -> Vec<(f64, f64)> {
        match *self {
            Prior::EachBlade(chance) => vec![(chance, 1.0)],
            Prior::Row { shapes: [a, b] } => {
                let Ok(beta) = Beta::new(a, b) else { return Vec::new() };
                // Points are dense at both ends of the distribution, where rows differ most.
                let point = |(x, weight): (f64, f64)| {
                    let angle = 0.25 * std::f64::consts::PI * (x + 1.0);
                    let (sine, cosine) = angle.sin_cos();
                    (beta.inverse_cdf(sine * sine), weight * std::f64::consts::PI * sine * cosine)
                };
                even_rule(PRIOR_POINTS).into_iter().map(point).collect()
            }
        }
    }
}

const PRIOR_POINTS: usize = 120;

/// What remains in a row after a look at some blades by chance, of which some were called and replaced by sound ones.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remaining {
    /// Chance of each number of cracked blades that remain, from none on.
    pub chances: Vec<f64>,
}

impl Remaining {
    /// By Bayes' rule: blades that nobody looked at are what they were, and those that were not called cracked with the chance
    /// q (1 - p) / (1 - q p). Called blades were cracked.
    ///
    /// # Errors
    /// Refuses more looks than blades, more finds than looks, and finds with a chance of detection of 0.
    pub fn after(blades: u32, looked_at: u32, found: u32, pod: f64, prior: &Prior) -> Result<Self> {
        LookAtRow::new(blades, looked_at, pod, 0.0)?;
        at_most("found", found, looked_at)?;
        let clean = looked_at - found;
        let mut sum = 0.0;
        let mut chances = vec![0.0; (blades - found) as usize + 1];
        // Weights of different rows lie far apart: against the largest.
        let ln_weight = |q: f64| {
            f64::from(found) * if found > 0 { (q * pod).ln() } else { 0.0 } + f64::from(clean) * (-q * pod).ln_1p()
        };
        let rule: Vec<(f64, f64, f64)> = prior
            .rule()
            .into_iter()
            .map(|(q, weight)| (q, weight, if clean + found > 0 { ln_weight(q) } else { 0.0 }))
            .collect();
        let largest = rule.iter().map(|point| point.2).fold(f64::NEG_INFINITY, f64::max);
        if !largest.is_finite() {
            let rule = "cannot come about: no blade is cracked, or none is ever called";
            return Err(Error::argument("found", found, rule, "correct the chances, or found"));
        }
        for (q, weight, ln_weight) in rule {
            let weight = weight * (ln_weight - largest).exp();
            let missed = q * (1.0 - pod) / (1.0 - q * pod);
            let (unseen, seen) =
                (binomial(blades - looked_at, q), binomial(clean, if clean > 0 { missed } else { 0.0 }));
            sum += weight;
            for (one, first) in unseen.iter().enumerate() {
                for (other, second) in seen.iter().enumerate() {
                    chances[one + other] += weight * first * second;
                }
            }
        }
        chances.iter_mut().for_each(|chance| *chance /= sum);
        Ok(Remaining { chances })
    }

    /// Chance that at least so many remain.
    pub fn at_least(&self, cracked: u32) -> f64 {
        self.chances.iter().skip(cracked as usize).rev().sum()
    }

    /// How many remain in the mean.
    pub fn mean(&self) -> f64 {
        self.chances.iter().enumerate().map(|(number, chance)| number as f64 * chance).sum()
    }
}

fn row(name: &'static str, blades: u32) -> Result<()> {
    BLADES
        .refusal(name, i64::from(blades))
        .map_or(Ok(()), |(rule, remedy)| Err(Error::argument(name, blades, &rule, &remedy)))
}

fn at_most(name: &'static str, value: u32, most: u32) -> Result<()> {
    if value > most {
        let rule = format!("must be at most {most}");
        return Err(Error::argument(name, value, &rule, "count each blade once"));
    }
    Ok(())
}

/// Chances of each number of events in so many trials.
fn binomial(trials: u32, p: f64) -> Vec<f64> {
    (0..=trials).map(|events| binomial_exactly(f64::from(events), f64::from(trials), p)).collect()
}

/// Chance that of `drawn` blades, from a row of `blades` of which `cracked` are, `there` are cracked.
fn hypergeometric(there: u32, blades: u32, cracked: u32, drawn: u32) -> f64 {
    if there > cracked || there > drawn || drawn - there > blades - cracked {
        return 0.0;
    }
    let ln_choose = |of: u32, some: u32| {
        let ln_factorial = |n: u32| ln_gamma(f64::from(n) + 1.0);
        ln_factorial(of) - ln_factorial(some) - ln_factorial(of - some)
    };
    (ln_choose(cracked, there) + ln_choose(blades - cracked, drawn - there) - ln_choose(blades, drawn)).exp()
}

/// A chance as a percentage of two figures.
fn two_figures(chance: f64) -> String {
    let percent = 100.0 * chance;
    if !(percent > 0.0) {
        return "0".to_owned();
    }
    let decimals = (1 - percent.log10().floor() as i32).max(0) as usize;
    format!("{percent:.decimals$}")
}

/// A confidence in percent.
fn percent(confidence: f64) -> f64 {
    (1e6 * confidence).round() / 1e4
}
