//! Tunes a proposal by lives that count for nothing else.
//!
//! The cross-entropy method (Rubinstein and Kroese, "The Cross-Entropy Method", Springer 2004; from memory): cracks are
//! planted, those that are lost are weighted by how probable they are, and normal distributions with the moments of these
//! are proposed next. While few are lost, those count that come nearest to it; while few of them carry all the weight,
//! weights are raised to a power below 1. There is a distribution for each hot spot, strategy and third of the years, so
//! that none is forgotten that is rarer than the others.

use super::proposal::{DEFENSIVE, Proposal};
use super::sums::PlantedSums;
use super::{Company, PlantedLife, PlantedLives};
use crate::error::Result;
use crate::simulation::life::UnitLives;
use crate::simulation::nature::{Driver, NaturePlan};
use crate::simulation::normal_component::{Component, effective_number, moments};
use crate::simulation::parallel::Run;

/// Lives of a round: some, and more for each distribution that is made; and the most.
const LIVES: usize = 512;
const LIVES_EACH: usize = 128;
const MOST_LIVES: usize = 2_048;
/// The fewest lives of a round.
const FEWEST_LIVES: u64 = 256;
const MOST_ROUNDS: u64 = 10;
/// Rounds in a row whose weights all counted in full, after which it is enough.
const ENOUGH_ROUNDS: u64 = 3;
/// Rounds, the last ones, of which distributions are made.
const POOLED: usize = 3;
/// Parts of the horizon that have distributions of their own.
const PERIODS: usize = 3;
/// Losses from which a distribution is made, and those that weights are to leave.
const FEWEST: usize = 15;
const ENOUGH: f64 = 60.0;
/// How much wider than what was seen distributions are made, as factors on variances, each with its share: a proposal must
/// not be too narrow anywhere.
const WIDER: [(f64, f64); 2] = [(1.15, 0.85), (2.5, 0.15)];

/// One planted life, and what became of it.
struct Sample {
    place: usize,
    hot_spot: usize,
    generation: usize,
    values: Vec<f64>,
    /// Weight of its place and numbers.
    weight: f64,
    /// How near it came to a loss, if nobody looked.
    progress: f64,
    /// For each strategy in which the planted crack was lost the weight in all, and the period.
    lost: Vec<Option<(f64, usize)>>,
}

/// Tunes a proposal for one row, unless it is stopped; `key` is that of each row's lives.
pub(super) fn tune(
    lives: &PlantedLives,
    engine: &mut UnitLives,
    run: &Run,
    is_stopped: &dyn Fn() -> bool,
) -> Result<Option<Proposal>> {
    let plan = &lives.rows[lives.group.rows[lives.place]];
    let mut policies = plan.strategies.iter().map(|strategy| &strategy.policy);
    let crack_soon_again = policies.any(|policy| policy.dressing.is_some() || policy.takes_used_blades());
    let mut proposal = Proposal::by_the_law(&plan.nature, &plan.inspection, crack_soon_again);
    let distributions = lives.study.strategies.len() * PERIODS * plan.nature.hot_spots.len();
    let useful = (LIVES + LIVES_EACH * distributions).min(MOST_LIVES) as u64;
    // A pilot takes no more than the lives that it is for.
    let count = useful.min((run.trials + run.planted_lives) / MOST_ROUNDS).max(FEWEST_LIVES);
    let strategies = lives.study.strategies.len();
    let mut settled = 0;
    let mut pooled: Vec<Vec<Sample>> = Vec::new();
    for round in 0..MOST_ROUNDS {
        // First only the way has to be found.
        let few = (count / 2).max(FEWEST_LIVES);
        let lived = if settled == 0 && round + (POOLED as u64) < MOST_ROUNDS { few } else { count };
        let Some((samples, _)) = live_round(lives, engine, &proposal, round, lived, is_stopped)? else {
            return Ok(None);
        };
        pooled.push(samples);
        // Rounds before the last ones are of proposals that were far off.
        let last = &pooled[pooled.len().saturating_sub(POOLED)..];
        let samples: Vec<&Sample> = last.iter().flatten().collect();
        settled = if improve(&mut proposal, &samples, strategies) { settled + 1 } else { 0 };
        if settled == ENOUGH_ROUNDS || round + 1 == MOST_ROUNDS {
            share_out(&mut proposal, &samples, strategies);
            break;
        }
    }
    let Some((_, outlook)) = live_round(lives, engine, &proposal, MOST_ROUNDS, count, is_stopped)? else {
        return Ok(None);
    };
    (proposal.outlook, proposal.outlook_lives) = (outlook, count);
    Ok(Some(proposal))
}

type Round = (Vec<Sample>, Vec<PlantedSums>);

fn live_round(
    lives: &PlantedLives,
    engine: &mut UnitLives,
    proposal: &Proposal,
    round: u64,
    count: u64,
    is_stopped: &dyn Fn() -> bool,
) -> Result<Option<Round>> {
    let key = |row: usize| (lives.key)(row).child(round);
    // Where cracks come from is learned fast, without others; what the run may expect, as it will be lived.
    let company = if round == MOST_ROUNDS { Company::All } else { Company::NoneIfApart };
    let round_lives = PlantedLives { key: &key, company, ..*lives };
    let years = lives.study.horizon_years;
    let period = |year: u32| ((f64::from(year) / years * PERIODS as f64) as usize).min(PERIODS - 1);
    let strategies = lives.study.strategies.len();
    let hot_spots = proposal.spots.len();
    let mut outlook = vec![PlantedSums::new(years.ceil() as usize, hot_spots); strategies];
    let mut samples: Vec<Sample> = Vec::with_capacity(count as usize);
    let nature = &lives.rows[lives.group.rows[lives.place]].nature;
    let all = round_lives.live(engine, proposal, 0..count, is_stopped, |life| {
        for (sums, loss) in outlook.iter_mut().zip(life.losses) {
            loss.iter().for_each(|loss| sums.add(loss, life.number));
        }
        let of = |loss: &Option<super::PlantedLoss>| loss.map(|loss| (loss.fate.weight, period(loss.fate.loss.year)));
        let lost = life.losses.iter().map(of).collect();
        samples.push(Sample::new(proposal, nature, life, lost));
    })?;
    if !all {
        return Ok(None);
    }
    Ok(Some((samples, outlook)))
}

impl Sample {
    fn new(proposal: &Proposal, nature: &NaturePlan, life: &PlantedLife, lost: Vec<Option<(f64, usize)>>) -> Self {
        let planted = life.planted;
        let hot_spot = planted.hot_spot as usize;
        let holds = |place: &super::proposal::PlaceShare| {
            place.hot_spot == hot_spot && nature.cohorts[place.cohort].blades.contains(&planted.blade)
        };
        Sample {
            place: proposal.places.iter().position(holds).unwrap_or(0),
            hot_spot,
            generation: planted.generation as usize,
            values: proposal.spots[hot_spot].drivers.iter().map(|driver| driver.of(&planted.numbers)).collect(),
            weight: planted.weight,
            progress: life.progress,
            lost,
        }
    }
}

/// Makes a proposal of what became of the lives by the one before: whether all weights counted in full.
fn improve(proposal: &mut Proposal, samples: &[&Sample], strategies: usize) -> bool {
    let mut is_settled = samples.iter().any(|sample| sample.lost.iter().any(Option::is_some));
    for (hot_spot, spot) in proposal.spots.iter_mut().enumerate() {
        let own: Vec<&Sample> = samples.iter().copied().filter(|sample| sample.hot_spot == hot_spot).collect();
        let mut components = Vec::new();
        for (strategy, period) in (0..strategies).flat_map(|one| (0..PERIODS).map(move |other| (one, other))) {
            let lost = |sample: &&Sample| {
                let (weight, _) = sample.lost[strategy].filter(|(weight, when)| *when == period && *weight > 0.0)?;
                Some((sample.values.clone(), sample.weight, weight / sample.weight))
            };
            let lost: Vec<(Vec<f64>, f64, f64)> = own.iter().filter_map(lost).collect();
            if lost.len() >= FEWEST {
                let (weights, in_full) = tempered(&lost);
                is_settled &= in_full;
                let values: Vec<&[f64]> = lost.iter().map(|(values, ..)| &values[..]).collect();
                components.extend(fit(&values, &weights, &spot.drivers));
            }
        }
        if components.is_empty() {
            is_settled = false;
            components.extend(fit_nearest(own, &spot.drivers));
        }
        let all: f64 = components.iter().map(|component| component.share).sum();
        components.iter_mut().for_each(|component| component.share *= (1.0 - DEFENSIVE) / all);
        spot.propose(components);
    }
    is_settled
}

/// Weights of lost cracks, raised so far that enough count; and whether that is in full.
fn tempered(lost: &[(Vec<f64>, f64, f64)]) -> (Vec<f64>, bool) {
    let weights = |power: f64| -> Vec<f64> {
        let log = |(_, weight, rest): &(Vec<f64>, f64, f64)| weight.ln() + power * rest.ln();
        let largest = lost.iter().map(log).fold(f64::NEG_INFINITY, f64::max);
        lost.iter().map(|one| (log(one) - largest).exp()).collect()
    };
    let enough = ENOUGH.min(lost.len() as f64 / 4.0);
    let counts = |power: f64| effective_number(&weights(power)) >= enough;
    if counts(1.0) {
        return (weights(1.0), true);
    }
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if counts(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    (weights(low), false)
}

/// While hardly any is lost: the tenth that comes nearest to it.
fn fit_nearest(mut own: Vec<&Sample>, drivers: &[Driver]) -> Vec<Component> {
    own.retain(|sample| sample.progress > f64::NEG_INFINITY);
    own.sort_by(|one, other| other.progress.total_cmp(&one.progress));
    own.truncate((own.len() / 10).max(FEWEST));
    let values: Vec<&[f64]> = own.iter().map(|sample| &sample.values[..]).collect();
    fit(&values, &vec![1.0; values.len()], drivers)
}

/// Normal distributions with the moments of some weighted points, but wider.
fn fit(values: &[&[f64]], weights: &[f64], drivers: &[Driver]) -> Vec<Component> {
    if values.len() < FEWEST {
        return Vec::new();
    }
    let Some((mean, covariance)) = moments(values, weights, drivers.len()) else { return Vec::new() };
    let wider = |(factor, share): (f64, f64)| {
        let covariance: Vec<f64> = covariance.iter().map(|number| factor * number).collect();
        Component::new(share, mean.clone(), &covariance)
    };
    WIDER.into_iter().filter_map(wider).collect()
}

/// Shares the planted cracks among places and generations, by the root of what each adds to the variance.
fn share_out(proposal: &mut Proposal, samples: &[&Sample], strategies: usize) {
    let shares = |number_of: &dyn Fn(&Sample) -> usize, drawn: &[f64]| {
        let mut shares = vec![0.0; drawn.len()];
        for strategy in 0..strategies {
            let mut squares = vec![0.0; drawn.len()];
            for sample in samples {
                if let Some((weight, _)) = sample.lost[strategy] {
                    squares[number_of(sample)] += weight * weight;
                }
            }
            let roots: Vec<f64> = squares.iter().zip(drawn).map(|(square, share)| (square * share).sqrt()).collect();
            let all: f64 = roots.iter().sum();
            if all > 0.0 {
                shares.iter_mut().zip(&roots).for_each(|(share, root)| *share += root / all);
            }
        }
        shares
    };
    let drawn: Vec<f64> = proposal.places.iter().map(|place| place.share).collect();
    let places = shares(&|sample| sample.place, &drawn);
    let generations = shares(&|sample| sample.generation, &proposal.generations);
    proposal.share_out(&places, &generations);
}

#[cfg(test)]
mod tests {
    use super::super::proposal::tests::{drawn, spot};
    use super::super::proposal::{PlaceShare, SpotProposal};
    use super::*;
    use crate::math::normal_cdf;

    /// Tunes a proposal for a limit that numbers pass below zero, as [`tune`] does; which is what is tried here.
    fn tuned(limit: &dyn Fn(&[f64]) -> f64, dimensions: usize) -> SpotProposal {
        let mut proposal = Proposal {
            places: vec![PlaceShare { cohort: 0, hot_spot: 0, share: 1.0 }],
            generations: vec![1.0],
            spots: vec![spot(dimensions, Vec::new())],
            outlook: Vec::new(),
            outlook_lives: 0,
        };
        let mut rounds: Vec<Vec<Sample>> = Vec::new();
        for round in 0..MOST_ROUNDS {
            let sample = |(values, weight): (Vec<f64>, f64)| {
                let progress = -limit(&values);
                let lost = vec![(progress > 0.0).then_some((weight, 0))];
                Sample { place: 0, hot_spot: 0, generation: 0, values, weight, progress, lost }
            };
            rounds.push(drawn(&proposal.spots[0], round, MOST_LIVES as u64).into_iter().map(sample).collect());
            let last: Vec<&Sample> = rounds[rounds.len().saturating_sub(POOLED)..].iter().flatten().collect();
            improve(&mut proposal, &last, 1);
        }
        proposal.spots.remove(0)
    }

    /// Problems of the Repository and Black-box Reliability Challenge 2019 (Rozsas and Slobbe), with probabilities by
    /// quadrature: those of the repository are rounded, and some are off by per cents.
    #[test]
    fn published_rare_events_are_found() {
        type Problem = (&'static str, usize, fn(&[f64]) -> f64, f64);
        let problems: [Problem; 8] = [
            (
                "RP22",
                2,
                |x| 2.5 - (x[0] + x[1]) / 2.0_f64.sqrt() + 0.1 * (x[0] - x[1]).powi(2),
                4.207_305_511_299_618e-3,
            ),
            (
                "RP25",
                2,
                |x| (x[0] * x[0] - 8.0 * x[1] + 16.0).max(-16.0 * x[0] + x[1] + 32.0),
                4.148_566_293_759_747e-5,
            ),
            (
                "RP28",
                2,
                |x| (78_064.0 + 11_710.0 * x[0]) * (0.010_4 + 0.001_56 * x[1]) - 146.14,
                1.453_294_655_002_541e-7,
            ),
            ("RP31", 2, |x| 2.0 - x[1] + 256.0 * x[0].powi(4), 3.226_681_209_587_691e-3),
            ("RP33", 3, |x| (27.0_f64.sqrt() - x[0] - x[1] - x[2]).min(3.0 - x[2]), 2.575_597_790_800_259_3e-3),
            ("RP89", 2, |x| (8.0 - x[0] * x[0] - x[1]).min(6.0 - x[0] / 5.0 - x[1]), 5.471_280_529_020_617_5e-3),
            ("RP111", 2, |x| 12.5 - (x[0] * x[1]).abs(), 8.035_085_964_959_796e-7),
            ("RP54", 20, |x| x.iter().map(|x| -normal_cdf(-x).ln()).sum::<f64>() - 8.951, 9.906_030_725_172_171e-4),
        ];
        for (name, dimensions, limit, expected) in problems {
            let spot = tuned(&limit, dimensions);
            const DRAWS: u64 = 20_000;
            let (mut sum, mut square) = (0.0, 0.0);
            for (_, weight) in drawn(&spot, 99, DRAWS).into_iter().filter(|(values, _)| limit(values) < 0.0) {
                sum += weight;
                square += weight * weight;
            }
            let n = DRAWS as f64;
            let (mean, error) = (sum / n, ((square / n - (sum / n).powi(2)) / n).sqrt());
            eprintln!("{name}: {mean:.4e} +- {:.1} % for {expected:.4e}", 100.0 * error / mean);
            assert!((mean - expected).abs() < 4.0 * error, "{name}: {mean} +- {error} for {expected}");
            assert!(error < 0.06 * mean, "{name}: {mean} +- {error}");
        }
    }
}
