//! What is believed of a fleet given its records: samples, and what they come to.

use super::draws;
use super::fleet::{self, Entries, FleetSamples, RowWeights};
use super::history::{History, histories};
use super::likelihood::{Fineness, RowModel};
use super::outlook::Question;
use super::row::{self, Draws, RowPrior, Watch};
use super::shared::{Shared, SharedNumber, shared_numbers};
use super::tables::YEARS_AHEAD;
use crate::error::{Error, Kind, Result};
use crate::math::normal_density;
use crate::model::{Posterior, RowId, Study};
use crate::random::Key;
use crate::simulation::estimate::Estimate;
use crate::simulation::inspection::InspectionPlan;
use crate::simulation::nature::NaturePlan;
use crate::simulation::normal_component::effective_number;
use crate::simulation::parallel::{Run, ask_while};
use crate::statistics::quadrature::normal_rule;
use crate::statistics::records::Records;
use rayon::prelude::*;
use std::ops::ControlFlow;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

/// How a fleet is sampled given its records.
#[derive(Debug, Clone, PartialEq)]
pub struct Learning {
    /// Draws of what the blades of each row share, in each repeat.
    pub draws: u32,
    /// Possible cracks of each hot spot; a power of two at most 32,768.
    pub cracks: u32,
    /// Repeats with cracks and draws of their own: what they differ by is the error.
    pub repeats: u32,
    /// Draws of each row that are asked what is in it and what comes of it; the others only say how probable each is.
    pub asked: u32,
    /// Seed.
    pub seed: u64,
    /// Threads; 0 for as many as the machine has.
    pub threads: usize,
}

impl Default for Learning {
    fn default() -> Self {
        Learning { draws: 320, cracks: 1024, repeats: 4, asked: 48, seed: 1, threads: 0 }
    }
}

/// A number that is known but for sampling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sampled {
    /// The number.
    pub value: f64,
    /// Its standard error, from the repeats.
    pub standard_error: f64,
}

/// Mean and standard deviation of something that is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Believed {
    /// Mean.
    pub mean: Sampled,
    /// Standard deviation.
    pub sd: Sampled,
}

/// What is believed of a row.
#[derive(Debug, Clone, PartialEq)]
pub struct RowBelief {
    /// The row.
    pub row: RowId,
    /// Its looks before the study: year and technique, by number.
    pub looks: Vec<(f64, usize)>,
    /// Blades that were called then.
    pub finds: usize,
    /// Row factor; not-a-number where it is fixed.
    pub row_factor: Believed,
    /// Logarithm of the row's factor on growth, by hot spot, beside what is uncertain.
    pub ln_growth: Vec<Believed>,
    /// Shift of ln q50 by the inspection at each look, beside what is uncertain.
    pub shifts: Vec<Believed>,
    /// Expected cracks.
    pub cracks: Sampled,
    /// Mean length of these, in mm.
    pub mean_length_mm: Sampled,
    /// Chance that there is none.
    pub p_none: Sampled,
    /// Lengths in mm, and the chance that no crack is longer.
    pub p_none_longer: Vec<(f64, Sampled)>,
    /// Mean length of the longest crack in mm, 0 where there is none; and its 95 % point.
    pub longest_mean_mm: Sampled,
    /// See there.
    pub longest_95_mm: Sampled,
    /// The next outage, if there is one.
    pub next_outage_year: Option<f64>,
    /// Moments, years apart and the next outage, and the chance that a blade is lost until then if nobody looks.
    pub p_loss: Vec<(f64, Estimate)>,
    /// The same month by month, from sums over possible cracks: coarse where losses are rare.
    pub p_loss_by_month: Vec<(f64, Sampled)>,
    /// Blades that each technique would call at the next outage; none without an outage.
    pub called_next: Vec<Sampled>,
    /// Chances of numbers of blades that the techniques asked for call then, one technique after another.
    pub(super) counts_next: Vec<f64>,
    /// Effective number of draws.
    pub effective_draws: f64,
}

/// What is believed of a fleet.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// Logarithm of the probability of the records, and that no blade was lost before the study starts.
    pub ln_evidence: Sampled,
    /// What is uncertain, in the order of the study: logarithm of each factor.
    pub uncertain: Vec<Believed>,
    /// Correlations of these.
    pub correlations: Vec<Vec<f64>>,
    /// Rows with records.
    pub rows: Vec<RowBelief>,
    /// Effective number of draws of what is uncertain; that of draws where nothing is.
    pub effective_draws: f64,
}

/// A row with its history, ready to be sampled.
pub(super) struct RowPast {
    pub row: usize,
    pub history: History,
    pub nature: NaturePlan,
    pub inspection: InspectionPlan,
    pub in_service_year: f64,
    pub numbers: Vec<SharedNumber>,
    pub entries: Entries,
    pub question: Question,
}

impl RowPast {
    /// All rows of which there are records.
    pub fn all(study: &Study, records: &Records) -> Result<Vec<Self>> {
        let histories = histories(study, records)?;
        let known = histories.into_iter().enumerate().filter_map(|(row, history)| Some((row, history?)));
        known.map(|(row, history)| Self::new(study, row, history)).collect()
    }

    fn new(study: &Study, row: usize, history: History) -> Result<Self> {
        // The start of the study stands in its calendar, so that sizes are known there.
        let mut parts = study.clone().into_parts();
        let unit = parts.rows[row].unit;
        let outages = &mut parts.units[unit].outages.years;
        let next = outages.iter().position(|year| *year > study.start_year);
        let next_year = next.map(|next| outages[next]);
        // No later outage is asked for, and each would cost its sizes.
        *outages = std::iter::once(study.start_year).chain(next_year).collect();
        let last = next_year.into_iter().fold(study.start_year + YEARS_AHEAD, f64::max);
        parts.horizon_years = last - study.start_year + 0.1;
        parts.rows[row].past_looks.clone_from(&history.looks);
        let made = Study::of_checked(parts).sharing_paths(study);
        let nature = NaturePlan::new(&made, &made.rows[row])?;
        let inspection = InspectionPlan::new(&made, &made.rows[row], |_| true);
        let numbers = shared_numbers(&nature, &inspection, &history);
        let techniques: Vec<usize> = history.looks.iter().map(|look| look.technique).collect();
        let entries = Entries::new(nature.uncertain.clone(), &numbers, &techniques);
        let mut years: Vec<f64> =
            (1..=(12.0 * YEARS_AHEAD) as u32).map(|month| study.start_year + f64::from(month) / 12.0).collect();
        years.extend(next_year);
        years.sort_by(f64::total_cmp);
        years.dedup();
        let question = Question {
            lengths_mm: lengths_mm(&nature),
            years,
            next_outage: next_year.map(|_| nature.calendar.start + 1),
            techniques: (0..study.techniques.len()).collect(),
            most_called: None,
        };
        let in_service_year = study.rows[row].in_service_year;
        Ok(RowPast { row, history, nature, inspection, in_service_year, numbers, entries, question })
    }

    fn model(&self, fineness: Fineness) -> RowModel<'_> {
        let variance = self.entries.hazard_variance();
        let next = self.question.next_outage.map(|outage| self.nature.calendar.years[outage]);
        let ahead: Vec<f64> = self.question.years.iter().copied().chain(next).collect();
        RowModel::new((&self.nature, &self.inspection), &self.history, self.in_service_year, variance, &ahead, fineness)
    }
}

/// Lengths in equal ratios, from those that hardly any crack is shorter than to those that hardly any comes to.
fn lengths_mm(nature: &NaturePlan) -> Vec<f64> {
    const COUNT: i32 = 64;
    let initial = |spot: &crate::simulation::nature::HotSpotPlan| spot.initial_depth.at_normal(-3.0);
    let shortest = nature.hot_spots.iter().map(initial).fold(f64::INFINITY, f64::min).max(0.02);
    let longest = (250.0 * shortest).max(40.0);
    let ratio = (longest / shortest).powf(1.0 / f64::from(COUNT));
    (0..=COUNT).map(|number| shortest * ratio.powi(number)).collect()
}

/// One repeat of a row, sampled.
pub(super) struct RowRepeat<'p> {
    model: RowModel<'p>,
    weights: RowWeights,
}

/// One repeat of what a row says, given the fleet.
struct RowSums {
    row_factor: [f64; 2],
    numbers: Vec<[f64; 2]>,
    answers: Vec<f64>,
    effective: f64,
}

/// A study given its records.
#[derive(Debug, Clone)]
pub struct Given {
    /// The study, whose lives go on from what was found and what was not.
    pub study: Study,
    /// What is believed of it now.
    pub belief: Belief,
}

impl Study {
    /// The study given the records of its looks: what was found, and what was not found.
    ///
    /// Blades that were called are taken as replaced at that inspection; a blade without a line at an inspection was not
    /// looked at there. Rows without records and without `past_looks` are given the fact that they lost no blade. A row with
    /// `past_looks` of which there are no records stays as it was, but for what is uncertain.
    ///
    /// Given the row factor, the growth of the row and the shifts of its looks, which are sampled, blades are independent and
    /// cracks that were missed are drawn exactly. Where cracks can join, each is weighed as if it stood alone; lives that go
    /// on have them join.
    ///
    /// # Errors
    /// Lists all lines that do not fit the study; refuses what cannot be learned, and records that are impossible under it.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::Learning;
    /// use serrata::statistics::records::{Format, Records};
    ///
    /// let study = Study::load("tests/engine/data/given/a.toml")?;
    /// let records = Records::load("tests/engine/data/given/b.csv", &Format::default())?;
    /// let learning = Learning { draws: 64, cracks: 256, ..Learning::default() };
    /// let given = study.given(&records, &learning)?;
    /// // Three blades of twenty were found cracked: this row is worse than most.
    /// assert!(given.belief.rows[0].row_factor.mean.value > 1.0);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn given(&self, records: &Records, learning: &Learning) -> Result<Given> {
        self.given_with(records, learning, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::given`]; from time to time `ask` is told how many draws were taken, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn given_with(
        &self,
        records: &Records,
        learning: &Learning,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Given> {
        learning.check()?;
        fleet::check(self)?;
        let pasts = RowPast::all(self, records)?;
        let run = Run { threads: learning.threads, ..Run::default() };
        // Threads of its own: those of a library do not outlive a fork.
        let pool = rayon::ThreadPoolBuilder::new().num_threads(run.threads_used()).build().map_err(|reason| {
            let rule = format!("threads cannot be started: {reason}");
            Error::argument("threads", learning.threads, &rule, "ask for fewer")
        })?;
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        let watch = Watch { stop: &stop, done: &done };
        let mut given = ask_while(|| pool.install(|| self.given_pasts(&pasts, learning, &watch)), &stop, &done, ask)?;
        let before = done.load(Ordering::Relaxed);
        let risks = given.study.risks_unseen(YEARS_AHEAD as u32, learning, &mut |_| ask(before))?;
        for row in &mut given.belief.rows {
            let at = |(years, risk): &(f64, Estimate)| (self.start_year + years, *risk);
            row.p_loss = risks[row.row.0].iter().map(at).collect();
        }
        Ok(given)
    }

    /// The same on the threads at hand, without asking.
    #[cfg(test)]
    pub(super) fn given_now(&self, pasts: &[RowPast], learning: &Learning) -> Result<Given> {
        let (stop, done) = (AtomicBool::new(false), AtomicU64::new(0));
        self.given_pasts(pasts, learning, &Watch { stop: &stop, done: &done })
    }

    /// Samples all rows, and what is uncertain of all of them, in all repeats.
    fn sampled<'p>(
        &self,
        pasts: &'p [RowPast],
        learning: &Learning,
        watch: &Watch,
    ) -> Result<(Vec<Vec<RowRepeat<'p>>>, Vec<FleetSamples>)> {
        let tasks: Vec<(usize, u32)> =
            (0..learning.repeats).flat_map(|repeat| (0..pasts.len()).map(move |row| (row, repeat))).collect();
        let sample = |&(row, repeat): &(usize, u32)| pasts[row].sample(self, learning, repeat, watch);
        let mut sampled: Vec<RowRepeat> = tasks.par_iter().map(sample).collect::<Result<_>>()?;
        let mut repeats: Vec<Vec<RowRepeat>> = Vec::new();
        for _ in 0..learning.repeats {
            let rest = sampled.split_off(pasts.len());
            repeats.push(std::mem::replace(&mut sampled, rest));
        }
        let of_fleet = |(repeat, rows): (usize, &Vec<RowRepeat>)| {
            let weights: Vec<&RowWeights> = rows.iter().map(|row| &row.weights).collect();
            let seed = learning.seed_of(usize::MAX, repeat as u32);
            fleet::sample(&weights, self.uncertain.len(), 4 * learning.draws as usize, seed)
        };
        let fleets: Vec<FleetSamples> = repeats.par_iter().enumerate().map(of_fleet).collect();
        Ok((repeats, fleets))
    }

    /// The logarithm of the chance of some histories.
    pub(super) fn evidence(&self, pasts: &[RowPast], learning: &Learning, watch: &Watch) -> Result<Sampled> {
        let (_, fleets) = self.sampled(pasts, learning, watch)?;
        Ok(Sampled::over(fleets.iter().map(|fleet| fleet.ln_chance)))
    }

    pub(super) fn given_pasts(&self, pasts: &[RowPast], learning: &Learning, watch: &Watch) -> Result<Given> {
        let (repeats, fleets) = self.sampled(pasts, learning, watch)?;
        let posterior = self.posterior_of(pasts, &repeats, &fleets, learning);
        let parts = repeats
            .into_iter()
            .zip(&fleets)
            .flat_map(|(rows, fleet)| rows.into_iter().enumerate().map(move |(row, sampled)| (row, fleet, sampled)));
        let sums: Vec<(usize, RowSums)> = parts
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(row, fleet, mut sampled)| (row, pasts[row].sums(&mut sampled, fleet, learning)))
            .collect();
        let of_row =
            |row: usize| sums.iter().filter(|(other, _)| *other == row).map(|(_, sums)| sums).collect::<Vec<_>>();
        let rows = pasts.iter().enumerate().map(|(row, past)| past.belief(self, &of_row(row))).collect();
        let belief = Belief::of(self, &fleets, rows);
        belief.refuse_if_thin(self)?;
        Ok(Given { study: self.going_on(pasts, posterior), belief })
    }

    /// Equally likely draws of all repeats.
    fn posterior_of(
        &self,
        pasts: &[RowPast],
        repeats: &[Vec<RowRepeat>],
        fleets: &[FleetSamples],
        learning: &Learning,
    ) -> Posterior {
        /// Values of what is uncertain, of all draws of a row.
        const FLEETS: usize = 1_024;
        let all = if self.uncertain.is_empty() { fleets.len() } else { FLEETS };
        let of_repeat = all.div_ceil(fleets.len());
        let each = (draws::DRAWS / (of_repeat * fleets.len())).max(1);
        let key = Key::from_seed(learning.seed).named("draws given records");
        let chosen: Vec<Vec<&Vec<f64>>> =
            (0..).zip(fleets).map(|(repeat, fleet)| draws::of_fleet(fleet, of_repeat, key.uniform(repeat))).collect();
        let mut rows = vec![None; self.rows.len()];
        for (place, past) in pasts.iter().enumerate() {
            let mut row = past.without_draws();
            for (repeat, chosen) in repeats.iter().zip(&chosen) {
                past.add_draws(&repeat[place].weights, chosen, each, &mut row);
            }
            rows[past.row] = Some(row);
        }
        Posterior { uncertain: chosen.into_iter().flatten().cloned().collect(), rows }
    }

    /// The study whose lives go on from the histories of its rows.
    fn going_on(&self, pasts: &[RowPast], posterior: Posterior) -> Study {
        let mut parts = self.clone().into_parts();
        for past in pasts {
            let row = &mut parts.rows[past.row];
            row.past_looks.clone_from(&past.history.looks);
            row.renewed = past.history.renewed(row.in_service_year);
        }
        parts.posterior = Some(Arc::new(posterior));
        Study::of_checked(parts).sharing_paths(self)
    }
}

impl Learning {
    /// Refuses what cannot be done.
    pub(super) fn check(&self) -> Result<()> {
        let least = |name: &str, number: u32, least: u32| {
            if number >= least {
                return Ok(());
            }
            Err(Error::argument(name, number, &format!("must be at least {least}"), "ask for more"))
        };
        least("draws", self.draws, 32)?;
        least("cracks", self.cracks, 64)?;
        least("repeats", self.repeats, 2)?;
        least("asked", self.asked, 1)?;
        /// Points that can be scrambled.
        const MOST: u32 = 1 << 15;
        if self.cracks > MOST || self.draws > MOST {
            let rule = format!("must be at most {MOST}");
            return Err(Error::argument("draws, cracks", self.cracks.max(self.draws), &rule, "ask for more repeats"));
        }
        Ok(())
    }

    /// Scrambles the points of a row in a repeat.
    fn seed_of(&self, row: usize, repeat: u32) -> u32 {
        Key::from_seed(self.seed).child(row as u64).child(repeat.into()).draw(0).bits() as u32
    }
}

impl RowPast {
    fn sample(&self, study: &Study, learning: &Learning, repeat: u32, watch: &Watch) -> Result<RowRepeat<'_>> {
        let seed = learning.seed_of(self.row, repeat);
        let fineness = Fineness {
            cracks: learning.cracks as usize,
            cracks_of_find: (learning.cracks as usize / 8).max(32),
            // Some cracks in each.
            cells: (learning.cracks as usize / 8).clamp(8, 96),
            seed,
        };
        let mut model = self.model(fineness);
        let prior =
            RowPrior::new(self.numbers.len(), &self.entries, &model.lattice).ok_or_else(|| self.impossible(study))?;
        let draws = Draws {
            count: learning.draws as usize,
            fitting: (learning.draws as usize / 2).max(64),
            seed: seed ^ 0x5555,
        };
        let samples = row::sample(&mut model, &self.numbers, &prior, draws, watch).ok_or_else(|| Error {
            kind: Kind::Interrupted {
                done: watch.done.load(Ordering::Relaxed),
                wanted: u64::from(learning.repeats * learning.draws) * study.rows.len() as u64,
                of: "draws",
            },
        })?;
        if samples.iter().all(|sample| sample.ln_chances.iter().all(|ln| *ln == f64::NEG_INFINITY)) {
            return Err(self.impossible(study));
        }
        let weights = RowWeights::new(model.lattice.clone(), self.entries.clone(), samples);
        Ok(RowRepeat { model, weights })
    }

    fn impossible(&self, study: &Study) -> Error {
        Error {
            kind: Kind::Contradiction {
                what: format!(
                    "rows.{}: what its records say cannot come about under the study",
                    study.rows[self.row].id
                ),
                remedy: "compare the measured lengths with what cracks of the study can come to".to_owned(),
            },
        }
    }

    /// What one repeat says of the row.
    fn sums(&self, sampled: &mut RowRepeat, fleet: &FleetSamples, learning: &Learning) -> RowSums {
        let weights = &sampled.weights;
        let (count, width) = (weights.samples().len(), weights.lattice().len());
        let mut joint = vec![0.0; count * width];
        let (mut row_factor, mut numbers) = ([0.0; 2], vec![[0.0; 2]; self.numbers.len()]);
        // For each sample how likely the shifts of the next look are, by technique.
        let techniques = self.inspection.techniques.len();
        let nodes: Vec<ShiftNodes> = (0..techniques).map(|at| ShiftNodes::new(self, at)).collect();
        let mut shifts: Vec<Vec<f64>> = (0..count).flat_map(|_| nodes.iter().map(ShiftNodes::weights)).collect();
        let mut ln_weights = Vec::new();
        for (values, weight) in fleet.values.iter().zip(&fleet.weights).filter(|(_, weight)| **weight > 1e-9) {
            weights.ln_weights(values, &mut ln_weights);
            let own = normalised(&ln_weights);
            let prior = weights.prior(values);
            let entry = |entries: &dyn Fn(usize) -> f64| -> f64 {
                values.iter().enumerate().map(|(uncertain, t)| entries(uncertain) * t).sum()
            };
            let of_hazard = (-self.entries.row.of_hazard(values)).exp();
            let of_numbers: Vec<f64> =
                (0..numbers.len()).map(|number| entry(&|uncertain| self.entries.numbers[uncertain][number])).collect();
            let of_techniques: Vec<f64> = (0..techniques).map(|at| self.entries.row.of_technique(at, values)).collect();
            for (sample, own) in own.iter().enumerate().filter(|(_, own)| **own > 1e-9) {
                let own = weight * own;
                for (at, part) in weights.hazard_weights(sample, &prior).into_iter().enumerate() {
                    joint[sample * width + at] += own * part;
                    let factor = weights.lattice().factors[at] * of_hazard;
                    row_factor[0] += own * part * factor;
                    row_factor[1] += own * part * factor * factor;
                }
                let values = &weights.samples()[sample].values;
                for ((sums, value), of_uncertain) in numbers.iter_mut().zip(values).zip(&of_numbers) {
                    let alone = value - of_uncertain;
                    sums[0] += own * alone;
                    sums[1] += own * alone * alone;
                }
                let of_sample = shifts[sample * techniques..].iter_mut();
                for ((weights, nodes), shift) in of_sample.zip(&nodes).zip(&of_techniques) {
                    nodes.add(own, *shift, weights);
                }
            }
        }
        let of_sample: Vec<f64> = joint.chunks(width).map(|own| own.iter().sum()).collect();
        let likely = |sample: usize| -> Vec<Vec<(f64, f64)>> {
            let own = shifts[sample * techniques..].iter().zip(&nodes);
            own.map(|(weights, nodes)| nodes.normalised(weights)).collect()
        };
        let answers = self.answers(sampled, &joint, &of_sample, &likely, learning);
        RowSums {
            row_factor: mean_and_sd(row_factor),
            numbers: numbers.into_iter().map(mean_and_sd).collect(),
            answers,
            // Without anything to draw the sum over row factors is exact.
            effective: if self.numbers.is_empty() { f64::from(learning.draws) } else { effective_number(&of_sample) },
        }
    }

    /// All that is asked of the row, in one line of numbers.
    fn answers(
        &self,
        sampled: &mut RowRepeat,
        joint: &[f64],
        of_sample: &[f64],
        likely: &dyn Fn(usize) -> Vec<Vec<(f64, f64)>>,
        learning: &Learning,
    ) -> Vec<f64> {
        let RowRepeat { model, weights } = sampled;
        let width = weights.lattice().len();
        let mut sums: Vec<f64> = Vec::new();
        for (sample, share) in resampled(of_sample, learning.asked as usize) {
            let shared = Shared::of(
                &self.numbers,
                &weights.samples()[sample].values,
                self.nature.hot_spots.len(),
                self.history.looks.len(),
            );
            let answers = model.answers(&shared, &likely(sample), &self.question);
            let own = &joint[sample * width..][..width];
            let mean = |numbers: &Vec<f64>| {
                share / of_sample[sample] * own.iter().zip(numbers).map(|(weight, number)| weight * number).sum::<f64>()
            };
            let all = [&answers.cracks, &answers.lengths_mm, &answers.none].into_iter();
            let all = all.chain(&answers.none_longer).chain(&answers.none_lost).chain(&answers.called_next);
            let all = all.chain(answers.counts_next.iter().flatten());
            let means: Vec<f64> = all.map(mean).collect();
            if sums.is_empty() {
                sums = means;
            } else {
                sums.iter_mut().zip(means).for_each(|(sum, mean)| *sum += mean);
            }
        }
        sums
    }

    /// What all repeats together say.
    fn belief(&self, study: &Study, repeats: &[&RowSums]) -> RowBelief {
        let over = |of: &dyn Fn(&RowSums) -> f64| Sampled::over(repeats.iter().map(|sums| of(sums)));
        let (lengths, years) = (self.question.lengths_mm.len(), self.question.years.len());
        let called = 3 + lengths + years;
        let counts = called + self.question.next_outage.map_or(0, |_| self.question.techniques.len());
        let longest =
            |sums: &RowSums| longest(&self.question.lengths_mm, sums.answers[2], &sums.answers[3..3 + lengths]);
        let number = |wanted: &dyn Fn(&SharedNumber) -> Option<f64>| {
            let found = self.numbers.iter().position(|number| wanted(number).is_some());
            let known = |part: usize| {
                found.map_or(Sampled { value: 0.0, standard_error: 0.0 }, |index| {
                    let sigma = wanted(&self.numbers[index]).unwrap_or_default();
                    over(&|sums| sigma * sums.numbers[index][part])
                })
            };
            Believed { mean: known(0), sd: known(1) }
        };
        let growth = |spot: usize| {
            number(&|number| match number {
                SharedNumber::Growth { hot_spots, sigma } if hot_spots.contains(&spot) => Some(*sigma),
                _ => None,
            })
        };
        let shift = |wanted: usize| {
            number(&|number| match number {
                SharedNumber::Look { look, sigma } if *look == wanted => Some(*sigma),
                _ => None,
            })
        };
        let is_fixed = study.scatter.row_factor.fixed().is_some();
        let factor = |part: usize| {
            if is_fixed {
                Sampled { value: f64::NAN, standard_error: f64::NAN }
            } else {
                over(&|sums| sums.row_factor[part])
            }
        };
        RowBelief {
            row: RowId(self.row),
            looks: self.history.looks.iter().map(|look| (look.year, look.technique)).collect(),
            finds: self.history.finds,
            row_factor: Believed { mean: factor(0), sd: factor(1) },
            ln_growth: (0..self.nature.hot_spots.len()).map(growth).collect(),
            shifts: (0..self.history.looks.len()).map(shift).collect(),
            cracks: over(&|sums| sums.answers[0]),
            mean_length_mm: over(&|sums| sums.answers[1] / sums.answers[0]),
            p_none: over(&|sums| sums.answers[2]),
            p_none_longer: (0..lengths)
                .map(|at| (self.question.lengths_mm[at], over(&|sums| sums.answers[3 + at])))
                .collect(),
            longest_mean_mm: over(&|sums| longest(sums)[0]),
            longest_95_mm: over(&|sums| longest(sums)[1]),
            next_outage_year: self.question.next_outage.map(|outage| self.nature.calendar.years[outage]),
            p_loss: Vec::new(),
            p_loss_by_month: (0..years)
                .map(|at| (self.question.years[at], over(&|sums| 1.0 - sums.answers[3 + lengths + at])))
                .collect(),
            called_next: (called..counts).map(|at| over(&|sums| sums.answers[at])).collect(),
            counts_next: (counts..repeats[0].answers.len()).map(|at| over(&|sums| sums.answers[at]).value).collect(),
            effective_draws: repeats.iter().map(|sums| sums.effective).sum(),
        }
    }
}

/// Shifts of the next look by a technique, from which its calls are summed.
struct ShiftNodes {
    shifts: Vec<f64>,
    sigma: f64,
    /// Weights of the shifts where nothing is uncertain.
    known: Option<Vec<f64>>,
}

impl ShiftNodes {
    fn new(past: &RowPast, technique: usize) -> Self {
        /// Shifts where nothing is uncertain but the inspection.
        const SHIFTS: usize = 5;
        /// Else: so many in each standard deviation of an inspection, as far out, and at the most.
        const PER_SIGMA: f64 = 2.0;
        const REACH: f64 = 4.5;
        const MOST: f64 = 60.0;
        let sigma = past.inspection.techniques[technique].inspection_sigma;
        let uncertain = past.entries.row.techniques.iter().map(|entries| entries[technique].powi(2)).sum::<f64>();
        if uncertain == 0.0 {
            let rule = if sigma > 0.0 { normal_rule(SHIFTS) } else { vec![(0.0, 1.0)] };
            let (shifts, weights) = rule.into_iter().map(|(number, weight)| (sigma * number, weight)).unzip();
            return ShiftNodes { shifts, sigma, known: Some(weights) };
        }
        let reach = REACH * (sigma * sigma + uncertain).sqrt();
        let steps = (2.0 * reach * PER_SIGMA / sigma).ceil().min(MOST);
        let shifts = (0..=steps as u32).map(|step| 2.0 * reach * f64::from(step) / steps - reach);
        ShiftNodes { shifts: shifts.collect(), sigma: sigma.max(2.0 * reach / steps), known: None }
    }

    fn weights(&self) -> Vec<f64> {
        vec![0.0; if self.known.is_some() { 0 } else { self.shifts.len() }]
    }

    /// Adds an inspection about a shift of its technique.
    fn add(&self, weight: f64, about: f64, weights: &mut [f64]) {
        for (sum, shift) in weights.iter_mut().zip(&self.shifts) {
            *sum += weight * normal_density((shift - about) / self.sigma);
        }
    }

    fn normalised(&self, weights: &[f64]) -> Vec<(f64, f64)> {
        let weights = self.known.as_deref().unwrap_or(weights);
        let sum: f64 = weights.iter().sum();
        self.shifts.iter().zip(weights).map(|(shift, weight)| (*shift, weight / sum)).collect()
    }
}

/// Mean length of the longest crack and its 95 % point, from the chance that there is none and of none longer than some.
fn longest(lengths_mm: &[f64], none: f64, none_longer: &[f64]) -> [f64; 2] {
    const POINT: f64 = 0.95;
    let mut mean = lengths_mm[0] * (1.0 - none);
    let mut point = if none >= POINT { 0.0 } else { f64::NAN };
    for (ends, chances) in lengths_mm.windows(2).zip(none_longer.windows(2)) {
        // The chance is taken as a straight line over the logarithm of the length.
        let ln_ratio = (ends[1] / ends[0]).ln();
        let slope = (chances[1] - chances[0]) / ln_ratio;
        mean += (1.0 - chances[0]) * (ends[1] - ends[0]) - slope * (ends[1] * ln_ratio - ends[1] + ends[0]);
        if point.is_nan() && chances[1] >= POINT {
            point = ends[0] * ((POINT - chances[0]) / slope).max(0.0).exp();
        }
    }
    [mean, point]
}

/// Mean and standard deviation, from the means of a number and of its square.
fn mean_and_sd([mean, square]: [f64; 2]) -> [f64; 2] {
    [mean, (square - mean * mean).max(0.0).sqrt()]
}

/// Weights whose logarithms are given; they add up to 1.
pub(super) fn normalised(ln_weights: &[f64]) -> Vec<f64> {
    let most = ln_weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = ln_weights.iter().map(|ln| (ln - most).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|weight| weight / sum).collect()
}

/// So many of some weighted things, evenly, each with its share; all of them if they are no more.
fn resampled(weights: &[f64], count: usize) -> Vec<(usize, f64)> {
    if weights.len() <= count {
        return weights.iter().copied().enumerate().filter(|(_, weight)| *weight > 0.0).collect();
    }
    let mut chosen: Vec<(usize, f64)> = Vec::new();
    let (mut passed, mut wanted) = (0.0, 0.5);
    for (index, weight) in weights.iter().enumerate() {
        passed += weight * count as f64;
        while wanted < passed && wanted < count as f64 {
            match chosen.last_mut() {
                Some((last, share)) if *last == index => *share += 1.0 / count as f64,
                _ => chosen.push((index, 1.0 / count as f64)),
            }
            wanted += 1.0;
        }
    }
    chosen
}

impl Sampled {
    /// The mean over repeats.
    fn over(repeats: impl Iterator<Item = f64> + Clone) -> Self {
        let count = repeats.clone().count() as f64;
        let value = repeats.clone().sum::<f64>() / count;
        let square: f64 = repeats.map(|one| (one - value).powi(2)).sum();
        Sampled { value, standard_error: (square / (count * (count - 1.0))).sqrt() }
    }
}

/// Draws that count in full, below which nothing is said.
const FEWEST_DRAWS: f64 = 50.0;

impl Belief {
    /// Refuses answers of too few draws.
    fn refuse_if_thin(&self, study: &Study) -> Result<()> {
        let of_rows = self.rows.iter().map(|row| (format!("rows.{}", study.row(row.row).id), row.effective_draws));
        let all = of_rows.chain([("what is uncertain".to_owned(), self.effective_draws)]);
        let Some((what, draws)) = all.min_by(|one, other| one.1.total_cmp(&other.1)) else { return Ok(()) };
        if draws >= FEWEST_DRAWS {
            return Ok(());
        }
        Err(Error::data(
            "thin",
            format!(
                "{what}: the records leave {draws:.0} draws that count, of which at least {FEWEST_DRAWS} are needed"
            ),
            "what is found must not lie far out of what the study lets expect, or the draws must be many",
            "ask for more draws; if that does not help, look which input the finds contradict",
        ))
    }

    fn of(study: &Study, fleets: &[FleetSamples], rows: Vec<RowBelief>) -> Self {
        let size = study.uncertain.len();
        let moment = |fleet: &FleetSamples, of: &dyn Fn(&[f64]) -> f64| {
            fleet.values.iter().zip(&fleet.weights).map(|(values, weight)| weight * of(values)).sum::<f64>()
        };
        let mean = |fleet: &FleetSamples, at: usize| moment(fleet, &|values| values[at]);
        let covariance = |fleet: &FleetSamples, one: usize, other: usize| {
            moment(fleet, &|values| values[one] * values[other]) - mean(fleet, one) * mean(fleet, other)
        };
        let over = |of: &dyn Fn(&FleetSamples) -> f64| Sampled::over(fleets.iter().map(of));
        let believed = |at: usize| {
            let sigma = study.uncertain[at].sigma_log;
            Believed {
                mean: over(&|fleet| sigma * mean(fleet, at)),
                sd: over(&|fleet| sigma * covariance(fleet, at, at).max(0.0).sqrt()),
            }
        };
        let correlation = |one: usize, other: usize| {
            let own = |at: usize| over(&|fleet| covariance(fleet, at, at)).value;
            over(&|fleet| covariance(fleet, one, other)).value / (own(one) * own(other)).sqrt()
        };
        let effective = || fleets.iter().map(|fleet| effective_number(&fleet.weights)).sum();
        let of_rows = rows.iter().map(|row| row.effective_draws).fold(f64::INFINITY, f64::min);
        Belief {
            ln_evidence: over(&|fleet| fleet.ln_chance),
            uncertain: (0..size).map(believed).collect(),
            correlations: (0..size).map(|one| (0..size).map(|other| correlation(one, other)).collect()).collect(),
            rows,
            effective_draws: if size > 0 { effective() } else { of_rows },
        }
    }
}
