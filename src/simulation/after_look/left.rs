//! What is still in a row after a look: how many cracks, how long, and how near to their end.

use super::blades::{CrackNow, Looked, RowNow};
use super::first_losses::{Cracks, FirstLosses};
use super::{
    Asked, Batches, FEWEST_LIVES, RowAfterLook, TOGETHER, Watch, batches, groups, key_of, refuse_if_thin, watched,
};
use crate::error::{Error, Result};
use crate::model::Study;
use crate::simulation::estimate::Estimate;
use crate::simulation::grown::GrowthQuestion;
use crate::simulation::life::Lives;
use crate::simulation::plan::RowPlan;
use rayon::prelude::*;
use std::ops::{ControlFlow, Range};

/// What is still in a row just after a look at the start of the study, and what other techniques would have left.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftInRow {
    /// What was asked.
    pub question: RowAfterLook,
    /// When the row is looked at: the start of the study.
    pub year: f64,
    /// The next outage of the row's unit after that, if there is one.
    pub next_outage_year: Option<f64>,
    /// Blades of the row.
    pub blades: u32,
    /// What the look left that was asked about.
    pub left: Left,
    /// What is there if nobody looks.
    pub unseen: Left,
    /// What each technique of the study would leave if it found nothing, in the study's order; `None` where that is so
    /// improbable that nobody can say.
    pub if_clean: Vec<Option<Left>>,
    /// At which size cracks of each hot spot lose their blade.
    pub critical: Vec<CriticalLength>,
    /// What to beware of, in sentences.
    pub warnings: Vec<String>,
}

/// What one look left.
#[derive(Debug, Clone, PartialEq)]
pub struct Left {
    /// Chance that the look finds so many; 1 where nobody looks.
    pub p_outcome: Estimate,
    /// Number of equal lives that would be as sure as those of this outcome.
    pub equal_lives: f64,
    /// Chance of each number of cracks left, from none on; the last stands for all that are more.
    pub p_number: Vec<Estimate>,
    /// Cracks left in the mean.
    pub cracks: Estimate,
    /// Mean length of these, in mm; not-a-number where none is ever left.
    pub mean_length_mm: Estimate,
    /// Mean length of the longest, in mm, 0 where none is left.
    pub longest_mean_mm: Estimate,
    /// Length in mm that the longest does not pass with 95 %.
    pub longest_95_mm: f64,
    /// For some lengths in mm: the chance that the longest crack left is longer, and how many are in the mean.
    pub longer: Vec<Longer>,
    /// For each hot spot: the chance that one of its cracks left is longer than each of the two lengths of
    /// [`CriticalLength::lengths_mm`].
    pub p_longer_than_critical: Vec<[Estimate; 2]>,
    /// Chance that a crack left passes its own limit before the next outage, if nothing is done, by lives with planted cracks: of
    /// the look asked about, and if nobody looks. `None` of the others, and without an outage.
    pub p_lost_before_next: Option<Estimate>,
}

/// Cracks that are longer than a length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Longer {
    /// Surface length in mm.
    pub length_mm: f64,
    /// Chance that any is longer.
    pub p_any: Estimate,
    /// How many are, in the mean.
    pub cracks: Estimate,
}

/// At which size cracks of a hot spot lose their blade.
#[derive(Debug, Clone, PartialEq)]
pub struct CriticalLength {
    /// Id of the hot spot in its root.
    pub hot_spot: String,
    /// Surface length in mm below which one in twenty loses its blade, and the median.
    pub lengths_mm: [f64; 2],
    /// Their depths.
    pub depths_mm: [f64; 2],
}

/// Largest number of cracks left that is told from more.
const MOST_CRACKS: usize = 40;
/// Lengths asked for, in mm times ten: preferred numbers (ISO 3, R20), and the same times ten and a hundred.
const LENGTHS: [f64; 20] =
    [1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0];
const DECADES: [f64; 3] = [10.0, 1.0, 0.1];
/// Cracks that are grown to find at which size blades are lost.
const GROWN: u64 = 2_000;
/// Shares of the cracks whose sizes at the loss are told.
const CRITICAL: [f64; 2] = [0.05, 0.5];

/// Where numbers stand in the sums of a batch.
struct Layout {
    lengths_mm: Vec<f64>,
    hot_spots: usize,
}

const CHANCE: usize = 0;
const SQUARE: usize = 1;
const LIVES: usize = 2;
const CRACKS: usize = 3;
const LENGTH: usize = 4;
const LONGEST: usize = 5;
const NUMBERS: usize = 6;
const LONGER: usize = NUMBERS + MOST_CRACKS + 1;

impl Layout {
    fn any_longer(&self, length: usize) -> usize {
        LONGER + length
    }

    fn cracks_longer(&self, length: usize) -> usize {
        LONGER + self.lengths_mm.len() + length
    }

    fn critical(&self, hot_spot: usize, share: usize) -> usize {
        LONGER + 2 * self.lengths_mm.len() + 2 * hot_spot + share
    }

    fn len(&self) -> usize {
        LONGER + 2 * self.lengths_mm.len() + 2 * self.hot_spots
    }
}

/// A look that lives are held against: by one of the techniques, or by nobody; and how many blades it finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Outcome {
    technique: Option<usize>,
    found: usize,
}

impl Study {
    /// What is still in a row after a look at the start of the study: cracks, lengths, and how near these are to the critical
    /// size; beside what other techniques would have left if they had found nothing, and what is there if nobody looks.
    ///
    /// Called blades are replaced, with the blades that come out together with them. Lives of the row, as the study has it or
    /// its records leave it, count by how probable the outcome is in each, given its cracks and how well that inspection sees.
    ///
    /// # Errors
    /// Refuses names that are not in the study, more finds than blades, and an outcome that hardly any life has.
    ///
    /// # Example
    /// ```
    /// use serrata::Study;
    /// use serrata::simulation::RowAfterLook;
    ///
    /// let study = Study::load("demo-data/demo-study.toml")?;
    /// let question = RowAfterLook { lives: 2_048, ..RowAfterLook::new("cedar-lp1-front") };
    /// let answer = study.left_in_row(&question.looked_at("eddy-array", 0))?;
    /// // What a clean look leaves is less than what is there before it.
    /// assert!(answer.left.cracks.value < answer.unseen.cracks.value);
    /// # Ok::<(), serrata::Error>(())
    /// ```
    pub fn left_in_row(&self, question: &RowAfterLook) -> Result<LeftInRow> {
        self.left_in_row_with(question, &mut |_| ControlFlow::Continue(()))
    }

    /// As [`Study::left_in_row`]; from time to time `ask` is told how many lives were lived, and may stop the work.
    ///
    /// # Errors
    /// As there, and when the work was stopped.
    pub fn left_in_row_with(
        &self,
        question: &RowAfterLook,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<LeftInRow> {
        let asked = self.look_up(question)?;
        let row = &self.rows[asked.row];
        let critical = self.critical_lengths(asked.row, ask)?;
        let outages = &self.units[row.unit].outages.years;
        let next_outage_year = outages.iter().copied().find(|year| *year > self.start_year);
        let ahead = next_outage_year.map_or(1.0, |year| year - self.start_year);
        let parts = self.at_the_look(Asked { technique: None, ..asked }, ahead + 0.1);
        let studies = self.in_parts(&parts);
        let techniques: Vec<usize> = (0..self.techniques.len()).collect();
        let plan = |study: &Study| RowPlan::with_techniques(study, &study.rows[0], &techniques);
        let plans: Vec<RowPlan> = studies.iter().map(plan).collect::<Result<_>>()?;
        let nobody = Outcome { technique: None, found: 0 };
        let clean = techniques.iter().map(|&technique| Outcome { technique: Some(technique), found: 0 });
        let own = Outcome { technique: asked.technique, found: question.found as usize };
        let outcomes: Vec<Outcome> = [own, nobody].into_iter().chain(clean).collect();
        let lengths_mm = DECADES.iter().flat_map(|parts| LENGTHS.iter().map(move |length| length / parts)).collect();
        let layout = Layout { lengths_mm, hot_spots: critical.len() };
        let lived = Lived {
            studies: &studies,
            plans: &plans,
            question,
            techniques: &techniques,
            outcomes: &outcomes,
            layout: &layout,
            critical: &critical,
        };
        let batches = batches(question.lives, studies.len());
        let sums = watched(question.threads, question.lives, ask, |watch| {
            batches
                .par_iter()
                .map(|(part, lives)| lived.batch(*part, lives.clone(), &watch))
                .collect::<Result<Vec<_>>>()
        })?;
        let of_outcome = |number: usize| Batches {
            parts: batches.iter().map(|(part, _)| *part).collect(),
            sums: sums.iter().map(|sums| sums[number].clone()).collect(),
        };
        let all: Vec<Batches> = (0..outcomes.len()).map(of_outcome).collect();
        let mut warnings = self.warnings_of_looks(asked.row);
        let mut left: Vec<Left> = all.iter().map(|batches| Left::of(batches, &layout)).collect();
        refuse_if_thin(self, question, left[0].p_outcome.value, left[0].equal_lives)?;
        if let Some(next) = next_outage_year {
            // The look asked about, and nobody's: others would take as long each.
            for (left, outcome) in left.iter_mut().zip([own, nobody]) {
                let asked = Asked { technique: outcome.technique, ..asked };
                let lost = self.lost_before(next, asked, outcome, question, ask)?;
                warnings.extend(lost.iter().filter(|_| outcome == own).filter_map(|(_, warning)| warning.clone()));
                left.p_lost_before_next = lost.map(|(chance, _)| chance);
            }
            warnings.dedup();
        }
        let mut left = left.into_iter();
        let mut next = || left.next().ok_or_else(|| Error::never_comes_through(&row.id));
        let (asked_about, unseen) = (next()?, next()?);
        Ok(LeftInRow {
            question: question.clone(),
            year: self.start_year,
            next_outage_year,
            blades: row.blades,
            left: asked_about,
            unseen,
            if_clean: left.map(|left| (left.equal_lives >= FEWEST_LIVES).then_some(left)).collect(),
            critical,
            warnings,
        })
    }

    /// Chance that a crack which a look leaves is lost until a year; none where hardly any life has the outcome.
    fn lost_before(
        &self,
        year: f64,
        asked: Asked,
        outcome: Outcome,
        question: &RowAfterLook,
        ask: &mut dyn FnMut(u64) -> ControlFlow<()>,
    ) -> Result<Option<(Estimate, Option<String>)>> {
        let of_outcome = RowAfterLook { found: outcome.found as u32, ..question.clone() };
        let planted = question.lives;
        let ahead = year - self.start_year + 0.1;
        let mut losses = watched(question.threads, question.lives, &mut |_| ask(question.lives), |watch| {
            FirstLosses::of(self, asked, &of_outcome, planted, ahead, Cracks::Left, &watch)
        })?;
        losses.choose(year);
        Ok((losses.equal_lives() >= FEWEST_LIVES).then(|| (losses.until(year), losses.warning(year))))
    }

    /// At which size cracks of each hot spot of a row lose their blade.
    fn critical_lengths(&self, row: usize, ask: &mut dyn FnMut(u64) -> ControlFlow<()>) -> Result<Vec<CriticalLength>> {
        let root = &self.roots[self.rows[row].root];
        let of_spot = |spot: &crate::model::fleet::HotSpot| {
            let asked = GrowthQuestion {
                row: Some(self.rows[row].id.clone()),
                cracks: GROWN,
                ..GrowthQuestion::new(&format!("{}.{}", root.id, spot.id))
            };
            let grown = self.grow_with(&asked, &mut |_| ask(0))?;
            Ok(CriticalLength {
                hot_spot: spot.id.clone(),
                lengths_mm: CRITICAL.map(|share| grown.quantile(share, |crack| crack.critical_length_mm).value),
                depths_mm: CRITICAL.map(|share| grown.quantile(share, |crack| crack.critical_depth_mm).value),
            })
        };
        root.hot_spots.iter().map(of_spot).collect()
    }

    /// What to beware of in any answer about a row after a look.
    pub(super) fn warnings_of_looks(&self, row: usize) -> Vec<String> {
        let row = &self.rows[row];
        let mut warnings = Vec::new();
        if !self.is_given_records() && row.past_looks.iter().any(|look| look.found.is_some()) {
            warnings.push(format!(
                "What past_looks of {} say they found is not used: give it to the study first (study.given).",
                row.id
            ));
        } else if !self.is_given_records() && !row.past_looks.is_empty() {
            warnings.push(format!(
                "What the past looks at {} found is not known to the study: each life draws it. Its records would tell more.",
                row.id
            ));
        }
        warnings
    }
}

/// Lives that are held against outcomes of looks.
struct Lived<'a> {
    studies: &'a [Study],
    plans: &'a [RowPlan],
    question: &'a RowAfterLook,
    techniques: &'a [usize],
    outcomes: &'a [Outcome],
    layout: &'a Layout,
    critical: &'a [CriticalLength],
}

impl Lived<'_> {
    /// Sums of a batch, by outcome.
    fn batch(&self, part: usize, lives: Range<u64>, watch: &Watch) -> Result<Vec<Vec<f64>>> {
        let (study, plan) = (&self.studies[part], &self.plans[part]);
        let mut sums = vec![vec![0.0; self.layout.len()]; self.outcomes.len()];
        let mut engine = Lives::new(plan, study);
        let (key, groups) = (key_of(self.question.seed, plan, part), groups(study));
        for first in lives.clone().step_by(TOGETHER as usize) {
            let numbers = first..(first + TOGETHER).min(lives.end);
            watch.add(numbers.end - numbers.start)?;
            let keys: Vec<_> = numbers.map(|number| key.child(number)).collect();
            let count = keys.len();
            engine.begin(keys.into_iter()).ok_or_else(|| Error::never_comes_through(&study.rows[0].id))?;
            for life in 0..count {
                let row = RowNow::of(engine.batch(), life, groups, self.techniques);
                for (outcome, sums) in self.outcomes.iter().zip(&mut sums) {
                    self.add(&row, *outcome, plan, sums);
                }
            }
        }
        Ok(sums)
    }

    /// Adds what one outcome leaves in one life.
    fn add(&self, row: &RowNow, outcome: Outcome, plan: &RowPlan, sums: &mut [f64]) {
        let looked = match outcome.technique {
            Some(technique) => {
                let false_call = -(-plan.inspection.techniques[technique].false_call_hazard).exp_m1();
                Looked::by(row, technique, false_call, outcome.found)
            }
            None => Looked::by_nobody(row),
        };
        let chance = looked.chance();
        sums[LIVES] += 1.0;
        sums[CHANCE] += chance;
        sums[SQUARE] += chance * chance;
        if chance == 0.0 {
            return;
        }
        let bundles = &row.bundles;
        let counts: Vec<usize> = bundles.iter().map(|bundle| bundle.present().count()).collect();
        let numbers = looked.numbers(&counts, MOST_CRACKS);
        sums[NUMBERS..].iter_mut().zip(numbers).for_each(|(sum, number)| *sum += number);
        for (bundle, stays) in bundles.iter().zip(looked.each_stays()) {
            for length_mm in bundle.present().filter_map(|crack| crack.length_mm) {
                sums[CRACKS] += stays;
                sums[LENGTH] += stays * length_mm;
                let shorter = self.layout.lengths_mm.partition_point(|other| *other < length_mm);
                (0..shorter).for_each(|number| sums[self.layout.cracks_longer(number)] += stays);
            }
        }
        let mut order: Vec<usize> = (0..bundles.len()).filter(|&bundle| counts[bundle] > 0).collect();
        order.sort_by(|&one, &other| bundles[other].longest_mm().total_cmp(&bundles[one].longest_mm()));
        let mut all = order.clone();
        all.extend((0..bundles.len()).filter(|&bundle| counts[bundle] == 0));
        let first_go = looked.first_go(&all);
        for (place, &bundle) in order.iter().enumerate() {
            sums[LONGEST] += bundles[bundle].longest_mm() * (first_go[place] - first_go[place + 1]);
        }
        for (number, length_mm) in self.layout.lengths_mm.iter().enumerate() {
            let longer = order.partition_point(|&bundle| bundles[bundle].longest_mm() > *length_mm);
            sums[self.layout.any_longer(number)] += first_go[0] - first_go[longer];
        }
        let with = |is_meant: &dyn Fn(&CrackNow) -> bool| {
            let has = |bundle: usize| bundles[bundle].present().any(is_meant);
            if (0..bundles.len()).any(has) { chance - looked.none_stays(has) } else { 0.0 }
        };
        for (hot_spot, critical) in self.critical.iter().enumerate() {
            for (share, most_mm) in critical.lengths_mm.iter().enumerate() {
                let is_longer =
                    |crack: &CrackNow| crack.hot_spot == hot_spot && crack.length_mm.is_some_and(|mm| mm > *most_mm);
                sums[self.layout.critical(hot_spot, share)] += with(&is_longer);
            }
        }
    }
}

impl Left {
    fn of(batches: &Batches, layout: &Layout) -> Self {
        let equal_lives = batches.total(CHANCE).powi(2) / batches.total(SQUARE);
        let chance = |index: usize| batches.chance(index, CHANCE, equal_lives);
        let longer = |number: usize| Longer {
            length_mm: layout.lengths_mm[number],
            p_any: chance(layout.any_longer(number)),
            cracks: batches.mean(layout.cracks_longer(number), CHANCE),
        };
        let longer: Vec<Longer> = (0..layout.lengths_mm.len()).map(longer).collect();
        let p_number: Vec<Estimate> = (NUMBERS..LONGER).map(chance).collect();
        Left {
            p_outcome: batches.chance(CHANCE, LIVES, batches.total(LIVES)),
            equal_lives,
            longest_95_mm: longest_95_mm(1.0 - p_number[0].value, &longer),
            p_number,
            cracks: batches.mean(CRACKS, CHANCE),
            mean_length_mm: batches.mean(LENGTH, CRACKS),
            longest_mean_mm: batches.mean(LONGEST, CHANCE),
            longer,
            p_longer_than_critical: (0..layout.hot_spots)
                .map(|spot| [0, 1].map(|share| chance(layout.critical(spot, share))))
                .collect(),
            p_lost_before_next: None,
        }
    }
}

/// The length that the longest crack does not pass with 95 %: the chance is taken as a straight line over the logarithm of the
/// length.
fn longest_95_mm(any: f64, longer: &[Longer]) -> f64 {
    const PASSES: f64 = 0.05;
    if any <= PASSES {
        return 0.0;
    }
    let Some(place) = longer.iter().position(|longer| longer.p_any.value <= PASSES) else { return f64::INFINITY };
    let Some(before) = place.checked_sub(1) else { return longer[0].length_mm };
    let [from, to] = [&longer[before], &longer[place]];
    let share = (from.p_any.value - PASSES) / (from.p_any.value - to.p_any.value);
    from.length_mm * (to.length_mm / from.length_mm).powf(share)
}
